//! F17: may the system be connected first and notified afterwards, or must the network operator agree before?
//! Rated current of all units of the premises on each line conductor, the worst one against the rule set's threshold.
//!
//! UK: EREC G98 up to and including 16 A per phase (3.68 kW at 230 V, 11.04 kW on three phases), G99 above or without a
//! type test. P in W, I in A, unrounded figures are compared. A unit of three phases puts P/(3·U0) on each line, one of a
//! single phase P/U0 on its own, U0 line to neutral and never 400; on a split phase U is the whole voltage, one unit across it has
//! P/U and one between a line and the neutral 2·P/U. What fits no supply (three phases on a single one, two lines of three) is
//! counted at P/U on every line. Where the rule set has no threshold (elsewhere than UK and IE) consent always comes first.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F17", title: "check.F17", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 9] = [
    // Of the supply; 2 is a split phase.
    InputInfo::needed("phases", Unit::Count),
    // Line to neutral; of a split phase the whole.
    InputInfo::needed("nominal_voltage", Unit::Volt),
    // Every inverter of the premises.
    InputInfo::list("inverter_power", Unit::Watt, true),
    // Of each, in the same order: 1 to 3, 2 across a split phase; those of the supply when absent.
    InputInfo::list("inverter_phases", Unit::Count, false),
    // Of each, in the same order: which line one of a single phase is on; the first when absent.
    InputInfo::list("inverter_line", Unit::Count, false),
    InputInfo::optional("notify_threshold", Unit::Ampere),
    // 1: every unit has a type test that the operator knows.
    InputInfo::optional("type_tested", Unit::Count),
    // 1: connecting first and notifying afterwards is planned.
    InputInfo::optional("notify_planned", Unit::Count),
    // 1: the operator's agreement is on file.
    InputInfo::optional("consent", Unit::Count),
];

/// A third of P/U on one line.
const THIRD: i64 = 1;
const WHOLE: i64 = 3 * THIRD;

/// How much of its power a unit puts on a line conductor (1, 2…), in thirds of P/U.
fn share(supply: i64, unit: i64, own: i64, line: i64) -> i64 {
    match (supply, unit) {
        (3, 3) => THIRD,
        (3, 1) if own == line => WHOLE,
        // Half of the voltage, so twice the current.
        (2, 1) if own == line => 2 * WHOLE,
        (2 | 3, 1) => 0,
        (_, _) => WHOLE,
    }
}

/// What all units put on one line conductor.
struct Sum {
    line: i64,
    /// The powers in the smallest whole parts, for the formula with numbers.
    terms: String,
    /// What those are divided by beside U.
    parts: i64,
    /// Millionths of a watt, in thirds.
    thirds: i128,
}

fn sum_of(line: i64, powers: &[i64], shares: &[i64]) -> Sum {
    let common = if shares.iter().all(|share| share % WHOLE == 0) { WHOLE } else { THIRD };
    let term = |(power, share): (&i64, &i64)| match share / common {
        1 => plain(*power),
        times => format!("{times} · {}", plain(*power)),
    };
    let counted = || powers.iter().zip(shares).filter(|(_, share)| **share > 0);
    Sum {
        line,
        terms: counted().map(term).collect::<Vec<_>>().join(" + "),
        parts: WHOLE / common,
        thirds: counted().map(|(power, share)| i128::from(*power) * i128::from(*share)).sum(),
    }
}

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const MISSING: InputFault = InputFault::Missing { key: "inverter_power" };
    let powers = gather.list("inverter_power", 0, 10_000_000 * MICRO)?;
    let phases = gather.whole("phases", 1, 3)?;
    if powers.is_empty() {
        return Err(MISSING);
    }
    let units = codes(&mut gather, "inverter_phases", powers.len(), phases)?;
    let own = codes(&mut gather, "inverter_line", powers.len(), 1)?;
    let voltage = gather.need("nominal_voltage", MICRO, 1_000 * MICRO)?;
    let threshold = gather.maybe("notify_threshold", 0, 1_000 * MICRO)?;
    let tested = gather.maybe_whole("type_tested", 0, 1)?;
    let notify = gather.maybe_whole("notify_planned", 0, 1)? == Some(1);
    let consent = gather.maybe_whole("consent", 0, 1)? == Some(1);
    let on_line = |line: i64| {
        let shares: Vec<i64> = units.iter().zip(&own).map(|(unit, own)| share(phases, *unit, *own, line)).collect();
        sum_of(line, &powers, &shares)
    };
    let sums: Vec<Sum> = (1..=phases).map(on_line).collect();
    let is_even = sums.windows(2).all(|pair| pair[0].thirds == pair[1].thirds);
    // Of those that carry the most the first.
    let worst = sums.iter().rev().max_by_key(|sum| sum.thirds).ok_or(MISSING)?;
    let whole = i128::from(voltage) * i128::from(WHOLE);
    let current = quotient("nominal_voltage", worst.thirds * i128::from(MICRO), whole)?;
    let name = if is_even { String::new() } else { format!("_L{}", worst.line) };
    let numbers =
        format!("I{name} = ({}) / ({} · {}) = {} A", worst.terms, worst.parts, plain(voltage), plain(current));
    let source = Source { standard: "", edition: "", clause: "rule set", mark: Mark::Check };
    let mut check = gather
        .check(
            "I = Σ(P / (phases · U0)) on the worst line ≤ threshold: notify afterwards; above: consent first",
            numbers,
            source,
        )
        .with_result("phase_current", Unit::Ampere, current);
    if let Some(threshold) = threshold {
        check = check.with_limit(Unit::Ampere, Limit::at_most(threshold));
    }
    // Unrounded: ΣP in thirds · 10^6 against 3 · threshold · U, both in 10^-12.
    let above = threshold.map(|most| worst.thirds * i128::from(MICRO) > i128::from(most) * whole);
    let notify_allowed = above == Some(false) && tested == Some(1);
    let certainly_not = above != Some(false) || tested == Some(0);
    check.verdict = if consent || notify_allowed {
        Verdict::Pass
    } else if notify && certainly_not {
        Verdict::Fail(Why::ConsentNeeded)
    } else if certainly_not {
        Verdict::NotDetermined(Why::ConsentNeeded)
    } else {
        Verdict::NotDetermined(Why::RatingMissing)
    };
    Ok(check)
}

/// One code of 1 to 3 for each unit, `usual` where none is given.
pub(super) fn codes(
    gather: &mut Gather<'_>,
    key: &'static str,
    units: usize,
    usual: i64,
) -> Result<Vec<i64>, InputFault> {
    let given = gather.list(key, MICRO, 3 * MICRO)?;
    if given.iter().any(|code| code % MICRO != 0) {
        return Err(InputFault::OutOfRange { key });
    }
    match given.len() {
        0 => Ok(vec![usual; units]),
        count if count == units => Ok(given.iter().map(|code| code / MICRO).collect()),
        count if count < units => Err(InputFault::Missing { key }),
        _ => Err(InputFault::NotOne { key }),
    }
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;

    fn route(powers: &str, phases: &str, more: &[(&str, &str)]) -> Check {
        let pairs =
            [("inverter_power", powers), ("phases", phases), ("nominal_voltage", "230"), ("notify_threshold", "16")];
        good("F17", &[&pairs[..], more].concat())
    }

    const NOTIFY: [(&str, &str); 2] = [("type_tested", "1"), ("notify_planned", "1")];

    #[test]
    fn worked_examples() {
        for (powers, phases, current, verdict) in [
            ("5000", "1", "21.7", Verdict::Fail(Why::ConsentNeeded)),
            ("3680", "1", "16.0", Verdict::Pass),
            ("12000", "3", "17.4", Verdict::Fail(Why::ConsentNeeded)),
            ("11040", "3", "16.0", Verdict::Pass),
        ] {
            let check = route(powers, phases, &NOTIFY);
            near(check.result("phase_current"), current);
            assert_eq!(check.verdict, verdict, "{powers}");
        }
    }

    /// Powers, phases and lines of the units against 16 A on each line.
    fn on_lines(powers: &str, units: &str, lines: &str) -> Check {
        route(powers, "3", &[&NOTIFY[..], &[("inverter_phases", units), ("inverter_line", lines)]].concat())
    }

    #[test]
    fn the_worst_line_decides() {
        let single = on_lines("5000", "1", "2");
        near(single.result("phase_current"), "21.74");
        assert_eq!(single.verdict, Verdict::Fail(Why::ConsentNeeded));
        assert_eq!(single.with_numbers, "I_L2 = (5000) / (1 · 230) = 21.73913 A");
        let both = on_lines("6000 3680", "3 1", "1 1");
        near(both.result("phase_current"), "24.70");
        assert_eq!(both.verdict, Verdict::Fail(Why::ConsentNeeded));
        assert_eq!(both.with_numbers, "I_L1 = (6000 + 3 · 3680) / (3 · 230) = 24.695652 A");
        // On lines of their own each of them is within.
        let apart = on_lines("3680 3680", "1 1", "1 3");
        assert_eq!((apart.verdict, apart.with_numbers.as_str()), (Verdict::Pass, "I_L1 = (3680) / (1 · 230) = 16 A"));
        assert_eq!(on_lines("3680 3680", "1 1", "3 3").verdict, Verdict::Fail(Why::ConsentNeeded));
        // Unrounded: a millionth of a watt on one line.
        assert_eq!(on_lines("11040 0.000001", "3 1", "1 2").verdict, Verdict::Fail(Why::ConsentNeeded));
    }

    #[test]
    fn a_split_phase_has_half_of_its_voltage_to_neutral() {
        let split = |units| {
            let pairs =
                [("inverter_power", "4800"), ("phases", "2"), ("nominal_voltage", "240"), ("inverter_phases", units)];
            good("F17", &pairs).result("phase_current")
        };
        near(split("2"), "20");
        near(split("1"), "40");
        // What fits no supply is counted on the strict side.
        near(route("6900", "1", &[("inverter_phases", "3")]).result("phase_current"), "30");
        near(route("6900", "3", &[("inverter_phases", "2")]).result("phase_current"), "30");
    }

    #[test]
    fn every_unit_has_its_own_code() {
        let pairs = [("inverter_power", "100 200"), ("phases", "3"), ("nominal_voltage", "230")];
        let with = |units| super::super::support::run("F17", &[&pairs[..], &[("inverter_phases", units)]].concat());
        assert_eq!(with("1").err(), Some(InputFault::Missing { key: "inverter_phases" }));
        assert_eq!(with("1 1 1").err(), Some(InputFault::NotOne { key: "inverter_phases" }));
        assert_eq!(with("1 1.5").err(), Some(InputFault::OutOfRange { key: "inverter_phases" }));
    }

    #[test]
    fn the_edges_and_one_past() {
        // The current shown is 16 A, the one compared is not.
        let past = route("3680.000001", "1", &NOTIFY);
        assert_eq!(past.result("phase_current").map(|current| current.micro), Some(16_000_000));
        assert_eq!(past.verdict, Verdict::Fail(Why::ConsentNeeded));
        // Units already there are added.
        assert_eq!(route("1840 1840", "1", &NOTIFY).verdict, Verdict::Pass);
        assert_eq!(route("3000 1840", "1", &NOTIFY).verdict, Verdict::Fail(Why::ConsentNeeded));
    }

    #[test]
    fn consent_and_what_is_not_known() {
        assert_eq!(route("5000", "1", &[("consent", "1")]).verdict, Verdict::Pass);
        assert_eq!(route("5000", "1", &[]).verdict, Verdict::NotDetermined(Why::ConsentNeeded));
        assert_eq!(route("3680", "1", &[]).verdict, Verdict::NotDetermined(Why::RatingMissing));
        let untested = [("type_tested", "0"), ("notify_planned", "1")];
        assert_eq!(route("3680", "1", &untested).verdict, Verdict::Fail(Why::ConsentNeeded));
        let elsewhere = good("F17", &[("inverter_power", "100"), ("phases", "1"), ("nominal_voltage", "120")]);
        assert_eq!(elsewhere.verdict, Verdict::NotDetermined(Why::ConsentNeeded));
    }
}
