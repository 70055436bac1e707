//! F11-TYPE: does the residual-current device see the fault currents of an inverter?
//!
//! Type B, unless the maker states that no smooth direct fault current can flow or there is at least simple separation
//! (IEC 60364-7-712:2017, IEC 62109-1); then type A at least. No statement by the maker counts as none.

use super::{CheckInfo, Gather, InputFault, InputInfo};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F11-TYPE", title: "check.F11-TYPE", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 3] = [
    // 1: the maker states that no smooth direct fault current can flow.
    InputInfo::optional("no_smooth_dc", Unit::Count),
    // 1: at least simple separation between the battery and the alternating side.
    InputInfo::optional("simple_separation", Unit::Count),
    // 1 AC, 2 A, 3 F, 4 B.
    InputInfo::optional("rcd_type", Unit::Count),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let stated = gather.maybe_whole("no_smooth_dc", 0, 1)? == Some(1);
    let separated = gather.maybe_whole("simple_separation", 0, 1)? == Some(1);
    let chosen = gather.maybe_whole("rcd_type", 1, 4)?;
    let least = if stated || separated { 2 } else { 4 };
    let names = ["AC", "A", "F", "B"];
    let name = |code: i64| names.get(usize::try_from(code - 1).unwrap_or(0)).copied().unwrap_or("");
    let numbers = format!("type {}", name(least));
    let source = Source { standard: "IEC 60364-7-712", edition: "2017", clause: "712.531.3.5", mark: Mark::Check };
    let mut check = gather
        .check("type B, or A where no smooth direct fault current can flow", numbers, source)
        .with_result("rcd_type_least", Unit::Count, least * MICRO)
        .with_limit(Unit::Count, Limit::at_least(least * MICRO));
    check.verdict = match chosen {
        None => Verdict::NotDetermined(Why::NoReading),
        Some(chosen) if chosen < least => Verdict::Fail(Why::RcdTypeUnsuitable),
        Some(_) => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;

    fn rcd(pairs: &[(&str, &str)]) -> Verdict {
        good("F11-TYPE", pairs).verdict
    }

    #[test]
    fn type_b_unless_the_maker_says_otherwise() {
        assert_eq!(rcd(&[("rcd_type", "4")]), Verdict::Pass);
        assert_eq!(rcd(&[("rcd_type", "3")]), Verdict::Fail(Why::RcdTypeUnsuitable));
        assert_eq!(rcd(&[("rcd_type", "2"), ("no_smooth_dc", "1")]), Verdict::Pass);
        assert_eq!(rcd(&[("rcd_type", "2"), ("simple_separation", "1")]), Verdict::Pass);
        assert_eq!(rcd(&[("rcd_type", "1"), ("no_smooth_dc", "1")]), Verdict::Fail(Why::RcdTypeUnsuitable));
        assert_eq!(rcd(&[("rcd_type", "2"), ("no_smooth_dc", "0")]), Verdict::Fail(Why::RcdTypeUnsuitable));
        assert_eq!(rcd(&[]), Verdict::NotDetermined(Why::NoReading));
    }
}
