//! Limits for this installation's measurements, before anything is measured: what flows into the method.

use super::sheet::Bench;
use super::sheet::From::{Field, Fixed, List, Maybe};
use crate::electrical::rule_set::{Rule, Topic};
use crate::electrical::units::MICRO;

/// All limits. Their verdicts are "no reading"; whoever measures judges by [`crate::electrical::Check::judge_reading`].
pub(super) fn limits(bench: &mut Bench<'_>) {
    supply(bench);
    continuity(bench);
    if !bench.is_american() {
        earth_fault(bench);
    }
    insulation(bench);
    communication(bench);
    discharge(bench);
}

/// A bus at extra-low voltage, and its two terminators.
fn communication(bench: &mut Bench<'_>) {
    /// Any extra-low voltage has the same limit.
    const BUS_VOLTAGE: i64 = 24 * MICRO;
    const SELV: i64 = 2 * MICRO;
    const TERMINATOR: i64 = 120 * MICRO;
    bench.run(
        "insulation_comms",
        "F05",
        None,
        &[("circuit_kind", Fixed(Some(SELV))), ("nominal_voltage", Fixed(Some(BUS_VOLTAGE)))],
    );
    bench.run("bus_termination", "F18", None, &[("terminator", List(vec![TERMINATOR; 2], &[]))]);
}

/// The wait before anybody touches the inverter's terminals, where its capacitor is known: until the reading that proves them dead
/// can be had, which lies below the touch threshold of the standard.
fn discharge(bench: &mut Bench<'_>) {
    /// The highest reading that the methods take for dead, a figure of this house.
    const DEAD_MAX: i64 = 10 * MICRO;
    if bench.design.get("capacitance_f").is_some() || bench.design.get("bleed_ohm").is_some() {
        bench.run(
            "discharge",
            "F09",
            None,
            &[
                ("start_voltage", bench.stack_voltage("stack_voltage_max")),
                ("bleed_resistance", Field("bleed_ohm")),
                ("capacitance", Field("capacitance_f")),
                ("threshold_voltage", Fixed(Some(DEAD_MAX))),
                ("maker_wait", Field("discharge_wait_s")),
            ],
        );
    }
}

fn supply(bench: &mut Bench<'_>) {
    let end = |about| bench.rules.find(Topic::VoltageBand, about).copied();
    let (low, high) = (end("low"), end("high"));
    let figure = |rule: Option<Rule>| Fixed(rule.and_then(|rule| rule.value).map(|value| value.micro));
    bench.run(
        "supply_voltage",
        "SUPPLY-BAND",
        low.as_ref(),
        &[("nominal_voltage", Field("ac_nominal_v")), ("band_low", figure(low)), ("band_high", figure(high))],
    );
}

fn continuity(bench: &mut Bench<'_>) {
    let cap = bench.rules.find(Topic::EarthCap, "main_earth").copied();
    let local = bench.design.get("pe_cap_ohm").or(cap.and_then(|rule| rule.value).map(|value| value.micro));
    bench.run(
        "pe_continuity",
        "F04",
        cap.as_ref(),
        &[
            ("conductor_size", Field("pe_size_mm2")),
            ("conductor_class", Field("pe_class")),
            ("resistance_per_km", Maybe("pe_ohm_per_km")),
            ("length", Field("pe_length_m")),
            ("temperature", Field("ambient_c")),
            ("joints", Field("pe_joints")),
            ("local_cap", Fixed(local)),
        ],
    );
}

fn earth_fault(bench: &mut Bench<'_>) {
    if bench.is_tt() {
        bench.run("electrode", "F10-TT", None, &[("residual_current", Field("rcd_residual_a"))]);
    } else {
        let share = bench.rules.about(Topic::ColdShare).next().copied();
        let mut pairs = bench.loop_pairs();
        pairs.push(("cold_share", Fixed(share.and_then(|rule| rule.value).map(|value| value.micro))));
        bench.run("loop_measured", "F10", share.as_ref(), &pairs);
    }
    let kind = bench.design.get("rcd_kind").or_else(|| bench.rules.figure(Topic::RcdKind));
    let times: Vec<Rule> = bench.rules.about(Topic::RcdTime).copied().collect();
    for rule in &times {
        let multiple: Option<i64> = rule.about.parse::<i64>().ok().map(|multiple| multiple * MICRO);
        bench.run(rule.id, "F11", Some(rule), &[("rcd_kind", Fixed(kind)), ("test_multiple", Fixed(multiple))]);
    }
}

fn insulation(bench: &mut Bench<'_>) {
    bench.run(
        "insulation_dc",
        "F05",
        None,
        &[("circuit_kind", Fixed(Some(MICRO))), ("nominal_voltage", bench.stack_voltage("stack_voltage_max"))],
    );
    bench.run(
        "insulation_ac",
        "F05",
        None,
        &[("circuit_kind", Fixed(Some(MICRO))), ("nominal_voltage", Field("ac_nominal_v"))],
    );
}
