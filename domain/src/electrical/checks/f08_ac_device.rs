//! F08-AC: protective device and cable of the alternating side, factor·I_B ≤ I_n ≤ I_z.
//!
//! I_B the inverter's greatest continuous current in A. Factor 1 by IEC 60364-4-43:2008, 433.1; 1.25 for continuous
//! loads and sources by NEC 2023, 705.28 (clause to be checked). The cable's rating I_z is an input with its own source.

use super::f08_dc_fuse::{IEC_SIZES, NEC_SIZES, next_size};
use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F08-AC", title: "check.F08-AC", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 5] = [
    // 1 IEC, 2 NEC.
    InputInfo::needed("size_series", Unit::Count),
    InputInfo::needed("current", Unit::Ampere),
    InputInfo::optional("device_rating", Unit::Ampere),
    InputInfo::optional("cable_rating", Unit::Ampere),
    InputInfo::optional("maker_fuse_max", Unit::Ampere),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const AMPERES_MAX: i64 = 100_000 * MICRO;
    let nec = gather.whole("size_series", 1, 2)? == 2;
    let current = gather.need("current", 0, AMPERES_MAX)?;
    let device = gather.maybe("device_rating", 1, AMPERES_MAX)?;
    let cable = gather.maybe("cable_rating", 1, AMPERES_MAX)?;
    let maker = gather.maybe("maker_fuse_max", 1, AMPERES_MAX)?;
    let percent = if nec { 125 } else { 100 };
    let least = quotient("current", i128::from(current) * percent, 100)?;
    let factor = if nec { "1.25" } else { "1" };
    let numbers = format!("{factor} · {} = {} A", plain(current), plain(least));
    let source = if nec {
        Source { standard: "NEC", edition: "2023", clause: "705.28", mark: Mark::Check }
    } else {
        Source { standard: "IEC 60364-4-43", edition: "2008", clause: "433.1", mark: Mark::Sure }
    };
    let mut check = gather
        .check("factor · I_B ≤ I_n ≤ I_z, I_maker", numbers, source)
        .with_result("rating_min", Unit::Ampere, least)
        .with_limit(Unit::Ampere, Limit { at_least: Some(least), at_most: [cable, maker].into_iter().flatten().min() });
    if let Some(size) = next_size(if nec { &NEC_SIZES } else { &IEC_SIZES }, least) {
        check = check.with_result("next_size", Unit::Ampere, size);
    }
    check.verdict = match (device, cable) {
        (Some(device), _) if device < least => Verdict::Fail(Why::FuseTooSmall),
        (Some(device), Some(cable)) if device > cable => Verdict::Fail(Why::AboveCableRating),
        (Some(device), _) if maker.is_some_and(|most| device > most) => Verdict::Fail(Why::AboveMakerFuse),
        (None, _) => Verdict::NotDetermined(Why::NoReading),
        (Some(_), None) => Verdict::NotDetermined(Why::RatingMissing),
        (Some(_), Some(_)) => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;
    use crate::electrical::units::Quantity;

    fn device(series: &str, current: &str, more: &[(&str, &str)]) -> Check {
        good("F08-AC", &[&[("size_series", series), ("current", current)][..], more].concat())
    }

    #[test]
    fn the_next_size_by_both_series() {
        for (series, current, size) in
            [("1", "16", "16"), ("1", "21.74", "25"), ("1", "16.000001", "20"), ("2", "32", "40"), ("2", "24", "30")]
        {
            let next = device(series, current, &[]).result("next_size").map(Quantity::plain);
            assert_eq!(next.as_deref(), Some(size), "{current}");
        }
    }

    #[test]
    fn the_edges_and_one_past() {
        let chosen = |rating, cable, maker| {
            device("2", "32", &[("device_rating", rating), ("cable_rating", cable), ("maker_fuse_max", maker)]).verdict
        };
        assert_eq!(chosen("40", "40", "40"), Verdict::Pass);
        assert_eq!(chosen("39.999999", "40", "40"), Verdict::Fail(Why::FuseTooSmall));
        assert_eq!(chosen("40", "39.999999", "40"), Verdict::Fail(Why::AboveCableRating));
        assert_eq!(chosen("40", "40", "39.999999"), Verdict::Fail(Why::AboveMakerFuse));
        assert_eq!(device("2", "32", &[]).verdict, Verdict::NotDetermined(Why::NoReading));
        let bare = device("1", "16", &[("device_rating", "20")]).verdict;
        assert_eq!(bare, Verdict::NotDetermined(Why::RatingMissing));
    }
}
