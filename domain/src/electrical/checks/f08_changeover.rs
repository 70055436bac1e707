//! F08-CHANGEOVER: does a changeover unit bear what flows through it in either position? I_n ≥ max(I_device, I_inverter).
//!
//! In the grid's position the device before it lets through its rated current for ever, in the island's position the inverter gives its
//! rated output. A. The switch has no release of its own, so the device before it is its overload protection: IEC 60364-5-53:2019,
//! 536.4 and NEC 2023, 702.5 (clauses to be checked). Inclusive.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo =
    CheckInfo { id: "F08-CHANGEOVER", title: "check.F08-CHANGEOVER", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 4] = [
    // 1 IEC, 2 NEC.
    InputInfo::needed("size_series", Unit::Count),
    // Before the unit, on the grid's side.
    InputInfo::needed("device_rating", Unit::Ampere),
    // The inverter's.
    InputInfo::needed("current", Unit::Ampere),
    InputInfo::optional("changeover_rating", Unit::Ampere),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const AMPERES_MAX: i64 = 100_000 * MICRO;
    let nec = gather.whole("size_series", 1, 2)? == 2;
    let device = gather.need("device_rating", 1, AMPERES_MAX)?;
    let current = gather.need("current", 0, AMPERES_MAX)?;
    let rating = gather.maybe("changeover_rating", 1, AMPERES_MAX)?;
    let least = device.max(current);
    let numbers = format!("max({}, {}) = {} A", plain(device), plain(current), plain(least));
    let source = if nec {
        Source { standard: "NEC", edition: "2023", clause: "702.5", mark: Mark::Check }
    } else {
        Source { standard: "IEC 60364-5-53", edition: "2019", clause: "536.4", mark: Mark::Check }
    };
    let mut check = gather
        .check("I_n ≥ max(I_device, I_inverter)", numbers, source)
        .with_result("rating_min", Unit::Ampere, least)
        .with_limit(Unit::Ampere, Limit::at_least(least));
    check.verdict = match rating {
        None => Verdict::NotDetermined(Why::RatingMissing),
        Some(rating) if rating < least => Verdict::Fail(Why::Overloaded),
        Some(_) => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;

    #[test]
    fn either_position_may_ask_for_more() {
        let unit = |rating, device, current| {
            let pairs = [("size_series", "1"), ("device_rating", device), ("current", current)];
            good("F08-CHANGEOVER", &[&pairs[..], &[("changeover_rating", rating)]].concat()).verdict
        };
        assert_eq!(unit("80", "80", "21.7"), Verdict::Pass);
        assert_eq!(unit("79.999999", "80", "21.7"), Verdict::Fail(Why::Overloaded));
        assert_eq!(unit("63", "16", "63.000001"), Verdict::Fail(Why::Overloaded));
        let open = good("F08-CHANGEOVER", &[("size_series", "2"), ("device_rating", "80"), ("current", "0")]);
        assert_eq!(open.verdict, Verdict::NotDetermined(Why::RatingMissing));
    }
}
