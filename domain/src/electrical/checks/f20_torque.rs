//! F20-TORQUE: does a setting stay inside the maker's window with the tool's error? N·m.
//!
//! setting·(1 − a) ≥ window_min and setting·(1 + a) ≤ window_max, a the tool's accuracy in %. Common classes of
//! ISO 6789-1:2017 are 6 % up to 10 N·m and 4 % above (to be checked); they are taken when the tool's is not given. The settings that
//! pass are the same before and after one is typed: each end of the window has the class of the settings beside it.
//! Where no setting keeps the whole error inside, as where the maker names a single torque, the settings inside the window count
//! that are above M_max / (1 + a) and below M_min / (1 − a), and the check says so.
//! The window is the maker's. 1 N·m = 8.8507 lbf·in; readings in other units are converted where they are typed.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain, quotient};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F20-TORQUE", title: "check.F20-TORQUE", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 4] = [
    InputInfo::optional("torque_min", Unit::NewtonMetre),
    InputInfo::optional("torque_max", Unit::NewtonMetre),
    InputInfo::optional("tool_accuracy", Unit::Percent),
    InputInfo::optional(READING, Unit::NewtonMetre),
];

/// Classes of a tool whose own accuracy nobody gave: up to this torque, and above it.
const SMALL_MAX: i64 = 10 * MICRO;
const SMALL: i64 = 6 * MICRO;
const LARGE: i64 = 4 * MICRO;

/// One end of the settings that pass.
struct End {
    torque: i64,
    with_numbers: String,
}

fn divided(torque: i64, sign: char, error: i64) -> Result<End, InputFault> {
    let hundred = 100 * i128::from(MICRO);
    let share = if sign == '+' { i128::from(error) } else { -i128::from(error) };
    let end = quotient("torque_min", i128::from(torque) * hundred, hundred + share)?;
    let with_numbers = format!("{} / (1 {sign} {} %) = {} N·m", plain(torque), plain(error), plain(end));
    Ok(End { torque: end, with_numbers })
}

fn lower_end(low: i64, accuracy: Option<i64>) -> Result<End, InputFault> {
    let end = divided(low, '−', accuracy.unwrap_or(SMALL))?;
    if accuracy.is_some() || end.torque <= SMALL_MAX {
        return Ok(end);
    }
    // No small setting is high enough; of the others the smallest lies just above the bound.
    let end = divided(low, '−', LARGE)?;
    let torque = end.torque.max(SMALL_MAX + 1);
    let bounded = torque > end.torque;
    let with_numbers =
        if bounded { format!("{} < {} N·m", end.with_numbers, plain(torque)) } else { end.with_numbers };
    Ok(End { torque, with_numbers })
}

fn upper_end(high: i64, accuracy: Option<i64>) -> Result<End, InputFault> {
    let end = divided(high, '+', accuracy.unwrap_or(LARGE))?;
    if accuracy.is_some() || end.torque > SMALL_MAX { Ok(end) } else { divided(high, '+', SMALL) }
}

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const TORQUE_MAX: i64 = 10_000 * MICRO;
    // Nothing for a bound is a figure that nobody read: a lowest torque of nothing lets every torque pass.
    let low = gather.maybe("torque_min", 1, TORQUE_MAX)?;
    let high = gather.maybe("torque_max", 1, TORQUE_MAX)?;
    let accuracy = gather.maybe("tool_accuracy", 0, 50 * MICRO)?;
    let setting = gather.maybe(READING, 0, TORQUE_MAX)?;
    // The settings that keep both ends inside the window.
    let least = low.map(|low| lower_end(low, accuracy)).transpose()?;
    let most = high.map(|high| upper_end(high, accuracy)).transpose()?;
    let show = |end: Option<&End>| end.map_or_else(|| "?".to_string(), |end| end.with_numbers.clone());
    let numbers = format!("{}; {}", show(least.as_ref()), show(most.as_ref()));
    let (least, most) = (least.map(|end| end.torque), most.map(|end| end.torque));
    let is_narrow = least.zip(most).is_some_and(|(least, most)| least > most);
    // Then the settings that stay inside the window and leave the least of the error outside: all of a single torque.
    let (least, most) = if is_narrow { (low.max(most), high.min(least)) } else { (least, most) };
    let source = Source { standard: "ISO 6789-1", edition: "2017", clause: "accuracy", mark: Mark::Check };
    let mut check = gather
        .check("M_min / (1 − a) ≤ M ≤ M_max / (1 + a)", numbers, source)
        .with_limit(Unit::NewtonMetre, Limit { at_least: least, at_most: most });
    if is_narrow {
        check.notes.push(CheckNote::ToolCoarserThanWindow);
    }
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
    use super::super::support::{good, run};
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
        assert_eq!(set("4.700001", "6", "5"), Verdict::Fail(Why::BelowMinimum));
        // Around 10 N·m each setting has its own class.
        assert_eq!(set("9.4", "12", "10"), Verdict::Pass);
        assert_eq!(set("9.400001", "12", "10"), Verdict::Fail(Why::BelowMinimum));
        assert_eq!(set("9.5", "12", "10.000001"), Verdict::Pass);
        let unknown = good("F20-TORQUE", &[("torque_min", "5"), (READING, "6")]).verdict;
        assert_eq!(unknown, Verdict::NotDetermined(Why::NoMakerLimit));
    }

    #[test]
    fn a_single_torque_of_the_maker_can_be_met() {
        for (low, high, torque) in [("5", "5", "5"), ("4.9", "5.1", "5.1"), ("40", "41", "40")] {
            let check = good("F20-TORQUE", &[("torque_min", low), ("torque_max", high), (READING, torque)]);
            assert_eq!((check.verdict, &check.notes[..]), (Verdict::Pass, &[CheckNote::ToolCoarserThanWindow][..]));
        }
        assert_eq!(set("5", "5", "5.000001"), Verdict::Fail(Why::AboveMaximum));
        assert_eq!(set("4.9", "5.1", "4.899999"), Verdict::Fail(Why::BelowMinimum));
        // A window a little too narrow does not become wide.
        assert_eq!(set("4.700001", "5.3", "5"), Verdict::Pass);
        assert_eq!(set("4.700001", "5.3", "4.99"), Verdict::Fail(Why::BelowMinimum));
        assert_eq!(set("4.700001", "5.3", "5.01"), Verdict::Fail(Why::AboveMaximum));
        assert!(good("F20-TORQUE", &[("torque_min", "4.7"), ("torque_max", "5.3")]).notes.is_empty());
    }

    #[test]
    fn a_torque_of_nothing_is_a_figure_that_nobody_read() {
        for (low, high, key) in [("0", "12", "torque_min"), ("5", "0", "torque_max"), ("0", "0", "torque_min")] {
            let done = run("F20-TORQUE", &[("torque_min", low), ("torque_max", high), (READING, "1")]);
            assert_eq!(done.map(|_| ()), Err(InputFault::OutOfRange { key }), "{low} to {high}");
        }
    }

    #[test]
    fn the_window_shown_is_the_same_before_and_after() {
        for (low, high) in
            [("4.7", "5.3"), ("9", "12"), ("9.5", "10.2"), ("9.3", "10.5"), ("11.52", "12.48"), ("5", "20")]
        {
            let window = |more: &[(&str, &str)]| {
                good("F20-TORQUE", &[&[("torque_min", low), ("torque_max", high)][..], more].concat()).limit
            };
            let before = window(&[]);
            for setting in ["5", "9.9", "10", "10.000001", "12"] {
                assert_eq!(window(&[(READING, setting)]), before, "{low} to {high} at {setting}");
            }
        }
    }
}
