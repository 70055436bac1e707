//! F08-ICN: can the protective device of the alternating side interrupt the fault current that is possible where it sits? I_cn ≥ I_k.
//!
//! I_k is the greatest prospective current there, in A; that of the supply's origin is on the safe side. IEC 60364-4-43:2008, 434.5.1;
//! NEC 2023, 110.9. A device before it may lend it more than its own mark; then the figure is the one that the makers state for both
//! together. What the inverter adds meets other faults and other devices and is far less.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F08-ICN", title: "check.F08-ICN", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 3] = [
    // 1 IEC, 2 NEC.
    InputInfo::needed("size_series", Unit::Count),
    InputInfo::needed("fault_current", Unit::Ampere),
    InputInfo::optional("breaking_capacity", Unit::Ampere),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const AMPERES_MAX: i64 = 1_000_000 * MICRO;
    let nec = gather.whole("size_series", 1, 2)? == 2;
    let fault = gather.need("fault_current", 1, AMPERES_MAX)?;
    let breaking = gather.maybe("breaking_capacity", 1, AMPERES_MAX)?;
    let numbers = format!("{} ≥ {} A", breaking.map_or_else(|| "?".to_string(), plain), plain(fault));
    let source = if nec {
        Source { standard: "NEC", edition: "2023", clause: "110.9", mark: Mark::Sure }
    } else {
        Source { standard: "IEC 60364-4-43", edition: "2008", clause: "434.5.1", mark: Mark::Sure }
    };
    let mut check = gather.check("I_cn ≥ I_k", numbers, source).with_limit(Unit::Ampere, Limit::at_least(fault));
    check.verdict = match breaking {
        None => Verdict::NotDetermined(Why::RatingMissing),
        Some(breaking) if breaking < fault => Verdict::Fail(Why::BreakingCapacityTooLow),
        Some(_) => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;

    #[test]
    fn the_edge_and_one_past() {
        let device = |breaking| {
            let pairs = [("size_series", "1"), ("fault_current", "6000"), ("breaking_capacity", breaking)];
            good("F08-ICN", &pairs).verdict
        };
        assert_eq!(device("6000"), Verdict::Pass);
        assert_eq!(device("5999.999999"), Verdict::Fail(Why::BreakingCapacityTooLow));
        let unknown = good("F08-ICN", &[("size_series", "2"), ("fault_current", "6000")]);
        assert_eq!(unknown.verdict, Verdict::NotDetermined(Why::RatingMissing));
        assert_eq!(unknown.source.standard, "NEC");
    }
}
