//! STACK-SUM: a stack's voltage against the sum of its modules, ±1 %, a house figure. V.
//!
//! After each module the modules so far are given; at the inverter's terminals all of them. A negative stack is
//! reversed, and a negative module must be looked at before any sum. Valid up to 2 kV a module.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, joined, plain, quotient, sum};
use crate::electrical::check::{Cause, Check, Mark, ReadingTerms, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "STACK-SUM", title: "check.STACK-SUM", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 2] =
    [InputInfo::list("module_voltage", Unit::Volt, true), InputInfo::optional(READING, Unit::Volt)];

const REVERSED: [Cause; 1] = [Cause { from: i64::MIN, to: -1, why: Why::PolarityReversed }];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let voltages = gather.list("module_voltage", -2_000 * MICRO, 2_000 * MICRO)?;
    if voltages.is_empty() {
        return Err(InputFault::Missing { key: "module_voltage" });
    }
    let reading = gather.reading()?;
    let reversed = voltages.iter().any(|voltage| *voltage < 0);
    let total = sum("module_voltage", &voltages)?;
    let low = quotient("module_voltage", i128::from(total) * 99, 100)?;
    let high = quotient("module_voltage", i128::from(total) * 101, 100)?;
    let numbers = format!(
        "ΣU = {} = {} V; 0.99 · ΣU = {} V; 1.01 · ΣU = {} V",
        joined(&voltages, " + "),
        plain(total),
        plain(low),
        plain(high)
    );
    let source = Source { standard: "", edition: "", clause: "±1 %", mark: Mark::House };
    let mut check = gather.check("0.99 · ΣU_module ≤ U_stack ≤ 1.01 · ΣU_module", numbers, source).with_result(
        "sum",
        Unit::Volt,
        total,
    );
    check.terms = ReadingTerms { causes: &REVERSED, ..ReadingTerms::default() };
    check.house = &[Why::BelowMinimum, Why::AboveMaximum];
    if reversed {
        // No limit: a sum with a reversed module in it would pass a stack that has one.
        check.terms.limit_missing = Some(Why::PolarityReversed);
        check.verdict = Verdict::Fail(Why::PolarityReversed);
        return Ok(check);
    }
    Ok(check.with_limit(Unit::Volt, Limit::between(low, high)).concluded(reading))
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;

    fn stack(reading: &str) -> Verdict {
        good("STACK-SUM", &[("module_voltage", "51.2 51.3 51.25 51.2 51.2 51.2 51.3 51.35"), (READING, reading)])
            .verdict
    }

    #[test]
    fn one_percent_to_both_sides() {
        // The modules add up to 410 V.
        assert_eq!(stack("410"), Verdict::Pass);
        assert_eq!(stack("405.9"), Verdict::Pass);
        assert_eq!(stack("405.899999"), Verdict::Fail(Why::BelowMinimum));
        assert_eq!(stack("414.1"), Verdict::Pass);
        assert_eq!(stack("414.100001"), Verdict::Fail(Why::AboveMaximum));
        // One module missing, one reversed.
        assert_eq!(stack("358.7"), Verdict::Fail(Why::BelowMinimum));
        assert_eq!(stack("-410"), Verdict::Fail(Why::PolarityReversed));
    }

    #[test]
    fn outside_of_one_percent_is_a_fail_by_a_house_figure_and_reversed_is_none() {
        let by_house = |reading| {
            let check = good("STACK-SUM", &[("module_voltage", "51.2 51.2"), (READING, reading)]);
            (check.verdict, check.fails_by_house_figure())
        };
        assert_eq!(by_house("101.375999"), (Verdict::Fail(Why::BelowMinimum), true));
        assert_eq!(by_house("102.4"), (Verdict::Pass, false));
        assert_eq!(by_house("-102.4"), (Verdict::Fail(Why::PolarityReversed), false));
    }

    #[test]
    fn without_a_reading_or_with_a_reversed_module() {
        let limits = good("STACK-SUM", &[("module_voltage", "51.2 51.2")]);
        assert_eq!(limits.verdict, Verdict::NotDetermined(Why::NoReading));
        assert_eq!(limits.limit.map(|limit| limit.limit), Some(Limit::between(101_376_000, 103_424_000)));
        let reversed = good("STACK-SUM", &[("module_voltage", "51.2 -51.2"), (READING, "0")]);
        assert_eq!((reversed.verdict, reversed.limit), (Verdict::Fail(Why::PolarityReversed), None));
    }
}
