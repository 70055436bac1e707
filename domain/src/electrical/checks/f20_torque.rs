//! F20-TORQUE: does a setting stay inside the maker's window with the tool's error? N·m.
//!
//! setting·(1 − a) ≥ window_min and setting·(1 + a) ≤ window_max, a the tool's accuracy in %. Common classes of
//! ISO 6789-1:2017 are 6 % up to 10 N·m and 4 % above (to be checked); they are taken when the tool's is not given.
//! The window is the maker's. 1 N·m = 8.8507 lbf·in; readings in other units are converted where they are typed.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain, quotient};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F20-TORQUE", title: "check.F20-TORQUE", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 4] = [
    InputInfo::optional("torque_min", Unit::NewtonMetre),
    InputInfo::optional("torque_max", Unit::NewtonMetre),
    InputInfo::optional("tool_accuracy", Unit::Percent),
    InputInfo::optional(READING, Unit::NewtonMetre),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const TORQUE_MAX: i64 = 10_000 * MICRO;
    let low = gather.maybe("torque_min", 0, TORQUE_MAX)?;
    let high = gather.maybe("torque_max", 0, TORQUE_MAX)?;
    let accuracy = gather.maybe("tool_accuracy", 0, 50 * MICRO)?;
    let setting = gather.maybe(READING, 0, TORQUE_MAX)?;
    let error = accuracy.unwrap_or(match setting {
        Some(setting) if setting <= 10 * MICRO => 6 * MICRO,
        Some(_) | None => 4 * MICRO,
    });
    let hundred = 100 * i128::from(MICRO);
    let bound = |torque: i64, share: i128| quotient("torque_min", i128::from(torque) * hundred, hundred + share);
    // The settings that keep both ends inside the window.
    let least = low.map(|low| bound(low, -i128::from(error))).transpose()?;
    let most = high.map(|high| bound(high, i128::from(error))).transpose()?;
    let show = |value: Option<i64>| value.map_or_else(|| "?".to_string(), plain);
    let numbers = format!(
        "{} / (1 − {} %) = {} N·m; {} / (1 + {} %) = {} N·m",
        show(low),
        plain(error),
        show(least),
        show(high),
        plain(error),
        show(most)
    );
    let source = Source { standard: "ISO 6789-1", edition: "2017", clause: "accuracy", mark: Mark::Check };
    let mut check = gather
        .check("M_min / (1 − a) ≤ M ≤ M_max / (1 + a)", numbers, source)
        .with_limit(Unit::NewtonMetre, Limit { at_least: least, at_most: most });
    check.verdict = match (least.zip(most), setting) {
        (None, _) => Verdict::NotDetermined(Why::NoMakerLimit),
        (Some(_), None) => Verdict::NotDetermined(Why::NoReading),
        (Some((least, _)), Some(setting)) if setting < least => Verdict::Fail(Why::BelowMinimum),
        (Some((_, most)), Some(setting)) if setting > most => Verdict::Fail(Why::AboveMaximum),
        (Some(_), Some(_)) => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;

    fn set(low: &str, high: &str, torque: &str) -> Verdict {
        good("F20-TORQUE", &[("torque_min", low), ("torque_max", high), (READING, torque)]).verdict
    }

    #[test]
    fn the_tool_takes_its_part_of_the_window() {
        // 12 N·m with 4 %: 11.52 to 12.48.
        assert_eq!(set("11.52", "12.48", "12"), Verdict::Pass);
        assert_eq!(set("11.520001", "13", "12"), Verdict::Fail(Why::BelowMinimum));
        assert_eq!(set("11", "12.479999", "12"), Verdict::Fail(Why::AboveMaximum));
        // 5 N·m with 6 %: 4.7 to 5.3.
        assert_eq!(set("4.7", "5.3", "5"), Verdict::Pass);
        assert_eq!(set("4.700001", "5.3", "5"), Verdict::Fail(Why::BelowMinimum));
        let unknown = good("F20-TORQUE", &[("torque_min", "5"), (READING, "6")]).verdict;
        assert_eq!(unknown, Verdict::NotDetermined(Why::NoMakerLimit));
    }
}
