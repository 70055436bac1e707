//! F17-DRAW: must the operator be able to reduce what the system draws? In scope when the power drawn exceeds 4.2 kW.
//!
//! § 14a EnWG (DE), since 1 January 2024; units of one kind are added (to be checked). P in W. Only what is drawn from
//! the network counts, not what a battery gives. The threshold comes from the rule set.

use super::{CheckInfo, Gather, InputFault, InputInfo, joined, plain, sum};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F17-DRAW", title: "check.F17-DRAW", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 2] =
    [InputInfo::list("drawn_power", Unit::Watt, true), InputInfo::optional("draw_threshold", Unit::Watt)];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let drawn = gather.list("drawn_power", 0, 1_000_000 * MICRO)?;
    let threshold = gather.maybe("draw_threshold", 0, 1_000_000 * MICRO)?;
    if drawn.is_empty() {
        return Err(InputFault::Missing { key: "drawn_power" });
    }
    let total = sum("drawn_power", &drawn)?;
    let numbers = format!("P = {} = {} W", joined(&drawn, " + "), plain(total));
    let source = Source { standard: "EnWG", edition: "2024", clause: "§ 14a", mark: Mark::Sure };
    let mut check =
        gather.check("P = ΣP_drawn ≤ threshold", numbers, source).with_result("drawn_total", Unit::Watt, total);
    if let Some(threshold) = threshold {
        check = check.with_limit(Unit::Watt, Limit::at_most(threshold));
    }
    check.verdict = match threshold {
        None => Verdict::NotApplicable(Why::NothingToCompare),
        Some(threshold) if total > threshold => Verdict::NotDetermined(Why::ExtraRequirement),
        Some(_) => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;

    #[test]
    fn worked_examples_the_edge_and_one_past() {
        let drawn = |watts| good("F17-DRAW", &[("drawn_power", watts), ("draw_threshold", "4200")]).verdict;
        assert_eq!(drawn("4600"), Verdict::NotDetermined(Why::ExtraRequirement));
        assert_eq!(drawn("4200"), Verdict::Pass);
        assert_eq!(drawn("4200.000001"), Verdict::NotDetermined(Why::ExtraRequirement));
        assert_eq!(drawn("2100 2100.000001"), Verdict::NotDetermined(Why::ExtraRequirement));
        let elsewhere = good("F17-DRAW", &[("drawn_power", "9000")]).verdict;
        assert_eq!(elsewhere, Verdict::NotApplicable(Why::NothingToCompare));
    }
}
