//! F16: one rule on where a battery may stand. A distance is the shortest from edge to edge, in m, and passes when not
//! below the larger of the rule and the maker's figure; a prohibition fails regardless of distance; a demand is met, not met, or
//! not made in the case that is given.
//!
//! Which rules apply, with edition, clause and mark, is data of the rule set. Less than the distance can be allowed by a
//! test report, but only once the authority accepted it. Valid up to 1 km.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F16", title: "check.F16", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 7] = [
    // 1 distance, 2 prohibition, 3 demand.
    InputInfo::needed("rule_kind", Unit::Count),
    InputInfo::optional("rule_distance", Unit::Metre),
    InputInfo::optional("maker_distance", Unit::Metre),
    // 1 a test report is attached, 2 and the authority accepted it.
    InputInfo::optional("exception", Unit::Count),
    // Of a prohibition: 1 the battery stands in such a place.
    InputInfo::optional("place_is_such", Unit::Count),
    // Of a demand: 0 not met, 1 met, 2 its case is not given.
    InputInfo::optional("demand_met", Unit::Count),
    InputInfo::optional(READING, Unit::Metre),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const METRES_MAX: i64 = 1_000 * MICRO;
    let kind = gather.whole("rule_kind", 1, 3)?;
    let rule = gather.maybe("rule_distance", 0, METRES_MAX)?;
    let maker = gather.maybe("maker_distance", 0, METRES_MAX)?;
    let exception = gather.maybe_whole("exception", 0, 2)?.unwrap_or(0);
    let such = gather.maybe_whole("place_is_such", 0, 1)?;
    let met = gather.maybe_whole("demand_met", 0, 2)?;
    let reading = gather.reading()?;
    // Which standard it is, the rule says; the sheet puts it in.
    let source = Source { standard: "", edition: "", clause: "rule set", mark: Mark::Check };
    if kind != 1 {
        let (formula, answer, on_yes, on_no) = if kind == 2 {
            ("not in this place", such, Verdict::Fail(Why::LocationProhibited), Verdict::Pass)
        } else {
            ("must be there", met, Verdict::Pass, Verdict::Fail(Why::RequirementNotMet))
        };
        let mut check = gather.check(formula, answer.map_or_else(|| "?".to_string(), |code| code.to_string()), source);
        check.verdict = match answer {
            None => Verdict::NotDetermined(Why::RequirementOpen),
            Some(1) => on_yes,
            Some(2) => Verdict::NotApplicable(Why::DoesNotApply),
            Some(_) => on_no,
        };
        return Ok(check);
    }
    let Some(least) = rule.into_iter().chain(maker).max() else {
        return Err(InputFault::Missing { key: "rule_distance" });
    };
    let show = |value: Option<i64>| value.map_or_else(|| "?".to_string(), plain);
    let there = reading.as_ref().and_then(|reading| reading.value).map(|value| value.micro);
    let numbers = format!("d = {} m; max({}, {}) = {} m", show(there), show(rule), show(maker), plain(least));
    let mut check = gather
        .check("d ≥ max(rule, maker)", numbers, source)
        .with_result("distance_least", Unit::Metre, least)
        .with_limit(Unit::Metre, Limit::at_least(least))
        .concluded(reading);
    if maker.is_none() {
        check.notes.push(CheckNote::MakerDistanceMissing);
    }
    if let Verdict::Fail(_) = check.verdict {
        let below_maker = reading_below(&check, maker);
        check.verdict = match exception {
            2 if !below_maker => {
                check.notes.push(CheckNote::AuthorityAccepted);
                Verdict::Pass
            }
            1 if !below_maker => Verdict::NotDetermined(Why::AuthorityMustAccept),
            _ => Verdict::Fail(Why::TooClose),
        };
    }
    Ok(check)
}

/// An authority can allow less than a rule, never less than the maker.
fn reading_below(check: &Check, maker: Option<i64>) -> bool {
    let reading = check.inputs.iter().find(|(key, _)| *key == READING).map(|(_, quantity)| quantity.micro);
    reading.zip(maker).is_some_and(|(reading, maker)| reading < maker)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, run};
    use super::*;

    fn distance(rule: &str, metres: &str, more: &[(&str, &str)]) -> Verdict {
        good("F16", &[&[("rule_kind", "1"), ("rule_distance", rule), (READING, metres)][..], more].concat()).verdict
    }

    #[test]
    fn worked_examples() {
        assert_eq!(distance("0.6", "0.55", &[]), Verdict::Fail(Why::TooClose));
        assert_eq!(distance("0.6", "0.62", &[]), Verdict::Pass);
        assert_eq!(distance("1", "0.9", &[]), Verdict::Fail(Why::TooClose));
        assert_eq!(distance("1", "1", &[]), Verdict::Pass);
        assert_eq!(distance("0.914", "0.9144", &[]), Verdict::Pass);
        let loft = [("rule_kind", "2"), ("place_is_such", "1"), (READING, "50")];
        assert_eq!(good("F16", &loft).verdict, Verdict::Fail(Why::LocationProhibited));
        // Two units 24 inches apart with a fire-test report.
        assert_eq!(
            distance("0.914", "0.6096", &[("exception", "1")]),
            Verdict::NotDetermined(Why::AuthorityMustAccept)
        );
        assert_eq!(distance("0.914", "0.6096", &[("exception", "2")]), Verdict::Pass);
    }

    #[test]
    fn the_edges_and_one_past() {
        assert_eq!(distance("0.914", "0.914", &[]), Verdict::Pass);
        assert_eq!(distance("0.914", "0.913999", &[]), Verdict::Fail(Why::TooClose));
        let maker = [("maker_distance", "1.2")];
        assert_eq!(distance("0.914", "1.2", &maker), Verdict::Pass);
        assert_eq!(distance("0.914", "1.199999", &maker), Verdict::Fail(Why::TooClose));
        let accepted = [("maker_distance", "0.7"), ("exception", "2")];
        assert_eq!(distance("0.914", "0.7", &accepted), Verdict::Pass);
        assert_eq!(distance("0.914", "0.699999", &accepted), Verdict::Fail(Why::TooClose));
    }

    #[test]
    fn prohibitions_and_demands_wait_for_an_answer() {
        let verdict = |pairs: &[(&str, &str)]| good("F16", pairs).verdict;
        assert_eq!(verdict(&[("rule_kind", "2")]), Verdict::NotDetermined(Why::RequirementOpen));
        assert_eq!(verdict(&[("rule_kind", "2"), ("place_is_such", "0")]), Verdict::Pass);
        assert_eq!(verdict(&[("rule_kind", "3"), ("demand_met", "1")]), Verdict::Pass);
        assert_eq!(verdict(&[("rule_kind", "3"), ("demand_met", "0")]), Verdict::Fail(Why::RequirementNotMet));
        assert_eq!(verdict(&[("rule_kind", "3")]), Verdict::NotDetermined(Why::RequirementOpen));
        let outside = verdict(&[("rule_kind", "3"), ("demand_met", "2")]);
        assert_eq!(outside, Verdict::NotApplicable(Why::DoesNotApply), "no pass");
        let wrong = run("F16", &[("rule_kind", "2"), ("place_is_such", "2")]);
        assert_eq!(wrong.err(), Some(InputFault::OutOfRange { key: "place_is_such" }), "a place is such or not");
        let none = run("F16", &[("rule_kind", "1"), (READING, "1")]);
        assert_eq!(none.err(), Some(InputFault::Missing { key: "rule_distance" }));
    }
}
