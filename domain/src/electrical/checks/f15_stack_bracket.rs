//! F15: force on the anti-tip bracket of a stack that stands on the floor, T = max(0, W·(f·h − b/2) / h_b).
//!
//! W = 9.81·m in N, h height of the centre of gravity, b depth, h_b height of the bracket, all in m; f is the sideways
//! push as a share of the weight: 0.1 for people leaning on it is a house figure, earthquakes follow ASCE 7-22 or
//! EN 1998. Without a bracket the stack tips when f > b/(2h). The bracket's capacity is its maker's. Statics only,
//! valid for a stiff stack on a level floor.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F15", title: "check.F15", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 6] = [
    InputInfo::needed("mass", Unit::Kilogram),
    InputInfo::needed("gravity_height", Unit::Metre),
    InputInfo::needed("depth", Unit::Metre),
    InputInfo::needed("bracket_height", Unit::Metre),
    InputInfo::needed("push_factor", Unit::Count),
    InputInfo::optional("bracket_capacity", Unit::Newton),
];

/// The push of a person who leans on it, as a share of the weight: a figure of this house, where nobody gives another one.
pub const LEANING: i64 = MICRO / 10;

/// Hundredths of a newton per kilogram.
const GRAVITY: i128 = 981;

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const METRES_MAX: i64 = 10 * MICRO;
    let mass = gather.need("mass", 1, 10_000 * MICRO)?;
    let height = gather.need("gravity_height", 1_000, METRES_MAX)?;
    let depth = gather.need("depth", 1_000, METRES_MAX)?;
    let bracket = gather.need("bracket_height", 1_000, METRES_MAX)?;
    let push = gather.need("push_factor", 0, 10 * MICRO)?;
    let capacity = gather.maybe("bracket_capacity", 0, 1_000_000 * MICRO)?;

    let micro = i128::from(MICRO);
    let weight = quotient("mass", i128::from(mass) * GRAVITY, 100)?;
    // Twice the arm f·h − b/2, in 10^-12 m.
    let double_arm = 2 * i128::from(push) * i128::from(height) - i128::from(depth) * micro;
    let signed = quotient("bracket_height", i128::from(weight) * double_arm, 2 * micro * i128::from(bracket))?;
    let force = signed.max(0);
    let tipping = quotient("gravity_height", i128::from(depth) * micro, 2 * i128::from(height))?;
    let numbers = format!(
        "W = 9.81 · {} = {} N; T = {} · ({} · {} − {}/2) / {} = {} N; b/(2h) = {}",
        plain(mass),
        plain(weight),
        plain(weight),
        plain(push),
        plain(height),
        plain(depth),
        plain(bracket),
        plain(signed),
        plain(tipping)
    );
    let (clause, mark) = if push == LEANING { ("statics; f = 0.1", Mark::House) } else { ("statics", Mark::Sure) };
    let source = Source { standard: "", edition: "", clause, mark };
    let mut check = gather
        .check("T = max(0, W · (f · h − b/2) / h_b); W = 9.81 · m", numbers, source)
        .with_result("weight", Unit::Newton, weight)
        .with_result("bracket_force", Unit::Newton, force)
        .with_result("signed_force", Unit::Newton, signed)
        .with_result("tipping_factor", Unit::Count, tipping);
    if let Some(capacity) = capacity {
        check = check.with_limit(Unit::Newton, Limit::at_most(capacity));
    }
    check.house = if push == LEANING { &[Why::AboveMaximum] } else { &[] };
    // From the arm itself, for the rounded force may already be zero.
    if double_arm > 0 {
        check.notes.push(CheckNote::TipsWithoutBracket);
    }
    check.verdict = match capacity {
        Some(capacity) if force > capacity => Verdict::Fail(Why::AboveMaximum),
        None if double_arm > 0 => Verdict::NotDetermined(Why::NoMakerLimit),
        Some(_) | None => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;
    use crate::electrical::units::Quantity;

    type Stack<'a> = (&'a str, &'a str, &'a str, &'a str);

    fn stack<'a>(stack: Stack<'a>, push: &'a str, more: &[(&'a str, &'a str)]) -> Check {
        let mut pairs = vec![
            ("mass", stack.0),
            ("gravity_height", stack.1),
            ("depth", stack.2),
            ("bracket_height", stack.3),
            ("push_factor", push),
        ];
        pairs.extend(more);
        good("F15", &pairs)
    }

    const SLIM: Stack<'static> = ("240", "0.75", "0.18", "1.4");

    #[test]
    fn only_the_push_of_this_house_fails_by_a_house_figure() {
        // 2354.4 N · (0.1 · 1.5 − 0.09) / 1.4 = 100.9 N
        let tall = ("240", "1.5", "0.18", "1.4");
        for (push, is_by_house) in [("0.1", true), ("0.11", false)] {
            let check = stack(tall, push, &[("bracket_capacity", "100")]);
            assert_eq!(check.verdict, Verdict::Fail(Why::AboveMaximum), "{push}");
            assert_eq!((check.fails_by_house_figure(), check.source.mark == Mark::House), (is_by_house, is_by_house));
        }
        assert!(!stack(tall, "0.1", &[("bracket_capacity", "101")]).fails_by_house_figure());
    }

    #[test]
    fn worked_examples() {
        for (unit, at_03, at_05, tipping) in [
            (SLIM, "227.0", "479.3", "0.120"),
            (("180", "0.60", "0.17", "1.1"), "152.5", "345.1", "0.142"),
            (("300", "0.90", "0.35", "1.5"), "186.4", "539.6", "0.194"),
        ] {
            let leaned = stack(unit, "0.1", &[]);
            assert_eq!(leaned.result("bracket_force").map(Quantity::plain).as_deref(), Some("0"));
            assert_eq!(leaned.verdict, Verdict::Pass);
            near(leaned.result("tipping_factor"), tipping);
            near(stack(unit, "0.3", &[]).result("bracket_force"), at_03);
            near(stack(unit, "0.5", &[]).result("bracket_force"), at_05);
        }
        near(stack(SLIM, "0.1", &[]).result("signed_force"), "-25.2");
    }

    #[test]
    fn the_edges_and_one_past() {
        assert_eq!(stack(SLIM, "0.12", &[]).verdict, Verdict::Pass);
        let past = stack(SLIM, "0.120001", &[]);
        assert_eq!(past.verdict, Verdict::NotDetermined(Why::NoMakerLimit));
        assert_eq!(past.notes, [CheckNote::TipsWithoutBracket]);
        // 2354.4 N · (0.3 · 0.75 − 0.09) / 1.4
        let held = |capacity| stack(SLIM, "0.3", &[("bracket_capacity", capacity)]).verdict;
        assert_eq!(held("227.031429"), Verdict::Pass);
        assert_eq!(held("227.031428"), Verdict::Fail(Why::AboveMaximum));
    }
}
