//! F19: heat of a direct-current arc at the working distance, IE = 0.01·U·I_arc·t/D², in cal/cm². A screening figure.
//!
//! NFPA 70E:2024, Annex D.5, also used with AS/NZS 5139: U in V (the stack's greatest), I_arc half of the bolted fault
//! current in A, t in s (2 s when unknown), D in cm; three times as much inside an enclosure. From 1.2 cal/cm² on,
//! arc-rated protection and controls are asked for; below it nothing is said to be harmless. The method is stated up to 1000 V.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F19", title: "check.F19", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 5] = [
    InputInfo::needed("stack_voltage_max", Unit::Volt),
    // Bolted; half of it feeds the arc.
    InputInfo::needed("fault_current", Unit::Ampere),
    InputInfo::optional("clearing_time", Unit::Second),
    // 0.45 m when absent.
    InputInfo::optional("working_distance", Unit::Metre),
    // 1: inside an enclosure.
    InputInfo::optional("enclosed", Unit::Count),
];

/// The screening level; at it protection is asked for.
const LEVEL: i64 = 1_200_000;

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let voltage = gather.need("stack_voltage_max", MICRO, 1_000 * MICRO)?;
    let fault = gather.need("fault_current", 1, 1_000_000 * MICRO)?;
    let given = gather.maybe("clearing_time", 1, 60 * MICRO)?;
    let distance = gather.maybe("working_distance", 100_000, 10 * MICRO)?.unwrap_or(450_000);
    let enclosed = gather.maybe_whole("enclosed", 0, 1)? == Some(1);
    let time = given.unwrap_or(2 * MICRO);
    let factor: i128 = if enclosed { 3 } else { 1 };
    // 0.01 · U · I/2 · t / (100·D)²: five powers of ten below and the units' millionths.
    let top = factor * i128::from(voltage) * i128::from(fault) * i128::from(time);
    let bottom = 2_000_000 * i128::from(distance) * i128::from(distance);
    let heat = quotient("fault_current", top, bottom)?;
    let numbers = format!(
        "IE = {factor} · 0.01 · {} · ({} / 2) · {} / (100 · {})² = {} cal/cm²",
        plain(voltage),
        plain(fault),
        plain(time),
        plain(distance),
        plain(heat)
    );
    let source = Source { standard: "NFPA 70E", edition: "2024", clause: "Annex D.5", mark: Mark::Sure };
    let mut check = gather
        .check("IE = 0.01 · U · I_arc · t / D²; I_arc = I_bf / 2; enclosed × 3", numbers, source)
        .with_result("arc_heat", Unit::CaloriePerSquareCentimetre, heat)
        .with_limit(Unit::CaloriePerSquareCentimetre, Limit::at_most(LEVEL - 1));
    if given.is_none() {
        check.notes.push(CheckNote::ClearingTimeAssumed);
    }
    check.verdict = if heat >= LEVEL { Verdict::NotDetermined(Why::ArcProtectionNeeded) } else { Verdict::Pass };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;

    fn arc(volts: &str, amperes: &str, seconds: &str, enclosed: &str) -> Check {
        let pairs = [
            ("stack_voltage_max", volts),
            ("fault_current", amperes),
            ("clearing_time", seconds),
            ("working_distance", "0.45"),
            ("enclosed", enclosed),
        ];
        good("F19", &pairs)
    }

    #[test]
    fn worked_examples() {
        for (volts, amperes, seconds, open, enclosed) in [
            ("51.2", "4000", "0.1", "0.0506", "0.1517"),
            ("400", "2000", "2", "3.95", "11.85"),
            ("400", "6000", "0.05", "0.296", "0.889"),
            ("800", "3000", "2", "11.85", "35.56"),
        ] {
            near(arc(volts, amperes, seconds, "0").result("arc_heat"), open);
            near(arc(volts, amperes, seconds, "1").result("arc_heat"), enclosed);
        }
    }

    #[test]
    fn the_edge_and_one_past() {
        // 0.01 · 100 · (4860 / 2) · 1 / 45² = 1.2
        assert_eq!(arc("100", "4859.99", "1", "0").verdict, Verdict::Pass);
        assert_eq!(arc("100", "4860", "1", "0").verdict, Verdict::NotDetermined(Why::ArcProtectionNeeded));
        let unknown = good("F19", &[("stack_voltage_max", "400"), ("fault_current", "2000")]);
        assert_eq!(unknown.notes, [CheckNote::ClearingTimeAssumed]);
        near(unknown.result("arc_heat"), "3.95");
    }

    #[test]
    fn nothing_is_computed_above_a_thousand_volts() {
        let at = |volts| run("F19", &[("stack_voltage_max", volts), ("fault_current", "2000")]).map(|_| ());
        assert_eq!(at("1000"), Ok(()));
        assert_eq!(at("1000.000001"), Err(InputFault::OutOfRange { key: "stack_voltage_max" }));
    }
}
