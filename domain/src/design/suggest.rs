//! The smallest standard sizes that pass, and which check decides.

use super::inputs::Design;
use super::sheet::{Bench, Line};
use crate::electrical::checks::{SIZES, next_conductor_size};
use crate::electrical::rule_set::{RuleSet, Topic};
use crate::electrical::units::{MICRO, Unit};
use crate::electrical::{Inputs, Quantity, Verdict, compute};

/// One proposal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Suggestion {
    /// The field that it would fill.
    pub field: &'static str,
    pub value: Quantity,
    /// The check that asks for this much: its formula's number.
    pub decided_by: &'static str,
    /// Of a cable: the current that it must bear by whatever source its rating has; no table of ratings ships with us.
    pub rating_least: Option<Quantity>,
}

/// Modules beyond this are not tried; a taller string does not exist in a house.
const MODULES_TRIED: i64 = 40;

pub(super) fn suggestions(design: &Design, rules: &RuleSet, lines: &[Line]) -> Vec<Suggestion> {
    let bench = Bench { design, rules, lines: Vec::new() };
    let taken = |field, key, result, decided_by| {
        let check = lines.iter().find(|line| line.key == key)?.check()?;
        check.result(result).map(|value| Suggestion { field, value, decided_by, rating_least: None })
    };
    let found = [
        modules(design, lines),
        taken("dc_fuse_a", "dc_fuse", "next_size", "F08"),
        dc_cable(&bench, lines),
        taken("ac_breaker_a", "ac_device", "next_size", "F08-AC"),
        ac_cable(&bench),
        taken("pe_size_mm2", "pe_size", "size_to_use", if bench.is_american() { "F03-NEC" } else { "F03" }),
        taken("rcd_type", "rcd_type", "rcd_type_least", "F11-TYPE"),
    ];
    found.into_iter().flatten().collect()
}

/// A cable's size; it must bear what the device before it lets through.
fn size(bench: &Bench<'_>, field: &'static str, micro: i64, decided_by: &'static str) -> Suggestion {
    let device = if field == "dc_cable_size_mm2" { "dc_fuse_a" } else { "ac_breaker_a" };
    let rating_least = bench.design.get(device).map(|rating| Quantity::of(Unit::Ampere, rating));
    Suggestion { field, value: Quantity::of(Unit::SquareMillimetre, micro), decided_by, rating_least }
}

/// The fewest modules that reach the window without leaving it, when those planned do not fit.
fn modules(design: &Design, lines: &[Line]) -> Option<Suggestion> {
    let check = lines.iter().find(|line| line.key == "stack_window")?.check()?;
    if check.verdict == Verdict::Pass {
        return None;
    }
    let (low, high) = (design.get("inverter_dc_min_v")?, design.get("inverter_dc_max_v")?);
    let strings = design.whole("strings").unwrap_or(1).clamp(1, 100);
    let cells = i128::from(design.whole("module_cells")?);
    let (least, most) = (i128::from(design.get("module_cell_min_v")?), i128::from(design.get("module_cell_max_v")?));
    let top = i128::from(design.get("dc_device_rating_v").map_or(high, |rating| rating.min(high)));
    let fits = |modules: &i64| {
        let modules = i128::from(*modules) * cells;
        modules * least >= i128::from(low) && modules * most <= top
    };
    let number = (1..=MODULES_TRIED).find(fits)?;
    let value = Quantity::whole(Unit::Count, number * strings);
    Some(Suggestion { field: "modules", value, decided_by: check.id, rating_least: None })
}

/// By voltage drop; what the cable must bear is the fuse's, and its rating stays an input.
fn dc_cable(bench: &Bench<'_>, lines: &[Line]) -> Option<Suggestion> {
    let check = lines.iter().find(|line| line.key == "dc_drop")?.check()?;
    check.limit?;
    let found = smallest_by(check.id, &check.inputs, "conductor_size")?;
    Some(size(bench, "dc_cable_size_mm2", found, "F02"))
}

/// Tries the standard sizes in the same check with all else equal.
fn smallest_by(id: &str, given: &[(&'static str, Quantity)], key: &str) -> Option<i64> {
    SIZES.iter().map(|thousandths| thousandths * 1_000).find(|size| {
        let pairs = given.iter().filter(|(name, _)| *name != key).map(|(name, value)| (*name, value.micro));
        let mut inputs: Inputs = pairs.collect();
        inputs.set(key, *size);
        compute(id, &inputs).is_ok_and(|check| check.verdict == Verdict::Pass)
    })
}

/// By voltage drop and by loop impedance; the larger of both decides.
fn ac_cable(bench: &Bench<'_>) -> Option<Suggestion> {
    let by_drop = ac_cable_by_drop(bench);
    let by_loop = ac_cable_by_loop(bench);
    match (by_drop, by_loop) {
        (Some(drop), Some(fault)) if fault > drop => Some(size(bench, "ac_cable_size_mm2", fault, "F10")),
        (Some(drop), _) => Some(size(bench, "ac_cable_size_mm2", drop, "F02")),
        (None, Some(fault)) => Some(size(bench, "ac_cable_size_mm2", fault, "F10")),
        (None, None) => None,
    }
}

fn ac_cable_by_drop(bench: &Bench<'_>) -> Option<i64> {
    let rule = bench.ac_drop_rule()?;
    let kind = if bench.design.whole("phases") == Some(3) { 3 } else { 2 };
    let given = [
        ("supply_kind", kind * MICRO),
        ("drop_method", 2 * MICRO),
        ("current", bench.design.ac_current()?),
        ("nominal_voltage", bench.design.get("ac_nominal_v")?),
        ("length", bench.design.get("ac_cable_length_m")?),
        ("power_factor", bench.design.get("ac_power_factor").unwrap_or(MICRO)),
        ("drop_limit", rule.value?.micro),
    ];
    let given = given.map(|(key, micro)| (key, Quantity::of(Unit::Count, micro)));
    smallest_by("F02", &given, "conductor_size")
}

fn ac_cable_by_loop(bench: &Bench<'_>) -> Option<i64> {
    if bench.is_american() || bench.is_tt() {
        return None;
    }
    let mut inputs = Inputs::new();
    inputs.set("earth_voltage", bench.design.get("ac_nominal_v")?);
    inputs.set("breaker_type", bench.design.get("ac_breaker_type")?);
    inputs.set("device_rating", bench.design.get("ac_breaker_a")?);
    for (key, topic) in [("trip_table", Topic::TripTable), ("voltage_factor", Topic::VoltageFactor)] {
        if let Some(figure) = bench.figure(topic) {
            inputs.set(key, figure);
        }
    }
    let most = compute("F10", &inputs).ok()?.result("loop_max")?.micro;
    let sizes = SIZES.iter().map(|thousandths| thousandths * 1_000);
    let fits = |size: &i64| bench.planned_loop(Some(*size)).is_some_and(|planned| planned <= most);
    sizes.into_iter().find(fits).and_then(next_conductor_size)
}
