//! What was recorded at the tests of a sheet, and which tests must be made again because another one failed.

use super::sheet::{Line, Sheet};
use super::test_sheet::{Test, opened_again};
use crate::electrical::{Check, ParsedReading, Verdict, judge};
use crate::job_file::body::Body;
use crate::method::gate::{Answer, LimitInfo, LimitSource, stored_reading};
use crate::method::plan::{ReadingNeed, Requirement};

/// A place of the method at which a test is recorded.
#[derive(Clone, Debug)]
pub struct Point<'a> {
    pub step: &'a str,
    pub need: &'a Requirement,
    /// How the gate judges what counts there.
    pub answer: &'a Answer,
    /// The limit of the step.
    pub limit: &'a LimitInfo,
    /// Oldest first.
    pub facts: Vec<Fact<'a>>,
}

/// One recorded fact that nobody took back.
#[derive(Clone, Copy, Debug)]
pub struct Fact<'a> {
    /// Microseconds since 1970 UTC.
    pub at: u64,
    pub body: &'a Body,
    /// Stands; otherwise a later one stands in its place.
    pub counts: bool,
}

/// What a fact came to. The worse is the greater.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Came {
    Passed,
    Undetermined,
    Failed,
}

/// How a test stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Something that it asks for is not recorded.
    NotMade,
    Failed,
    /// Another test failed after it was made: the key of that one.
    OpenedBy(&'static str),
    Undetermined,
    Passed,
}

impl Point<'_> {
    /// Is this where the test is recorded?
    pub fn is_of(&self, test: &Test) -> bool {
        test.read_at().contains(&(self.step, self.need.id()))
    }

    /// By the limit of the step and by that of the sheet; the worse one counts.
    pub fn came(&self, fact: &Fact<'_>, line: Option<&Line>) -> Came {
        let by_gate = match self.answer {
            Answer::Failed { .. } if fact.counts => Came::Failed,
            Answer::NotDetermined { .. } if fact.counts => Came::Undetermined,
            _ => Came::Passed,
        };
        let by_limits = match (self.need, fact.body) {
            (Requirement::Reading(need), Body::Reading(reading)) => {
                let stored = stored_reading(need, reading);
                let compared = line.and_then(Line::check).filter(|check| self.is_for_sheet(need, check));
                by_step(self.limit, &stored)
                    .max(compared.map_or(Came::Passed, |check| came(check.judge_reading(&stored))))
            }
            (Requirement::Choice(need), Body::Choice(choice)) => {
                let bad = need.options.iter().any(|option| option.id == choice.option && option.fails);
                if bad { Came::Failed } else { Came::Passed }
            }
            _ => Came::Passed,
        };
        by_gate.max(by_limits)
    }

    /// A step that computes by the same formula knows more than the sheet does: the test voltage that was set, the resistance
    /// of the leads. A reading of another kind (a voltage beside a resistance) is not what the sheet has a limit for.
    fn is_for_sheet(&self, need: &ReadingNeed, check: &Check) -> bool {
        let same_formula =
            matches!(self.limit, LimitInfo::Known { source: LimitSource::Check(own), .. } if own.id == check.id);
        !same_formula && check.limit.is_some_and(|limit| limit.unit == need.unit)
    }
}

const fn came(verdict: Verdict) -> Came {
    match verdict {
        Verdict::Pass | Verdict::NotApplicable(_) => Came::Passed,
        Verdict::NotDetermined(_) => Came::Undetermined,
        Verdict::Fail(_) => Came::Failed,
    }
}

fn by_step(limit: &LimitInfo, stored: &ParsedReading) -> Came {
    match limit {
        LimitInfo::None => Came::Passed,
        LimitInfo::Known { source: LimitSource::Check(check), .. } => came(check.judge_reading(stored)),
        LimitInfo::Known { limit, .. } => came(judge(stored, limit)),
        LimitInfo::NoMakerFigure { .. } | LimitInfo::InputMissing { .. } => Came::Undetermined,
    }
}

/// How a test of the sheet stands by what is recorded at all of them.
pub fn standing(tests: &[Test], sheet: &Sheet, points: &[Point<'_>], test: &Test) -> Standing {
    let own = || points.iter().filter(|point| point.is_of(test));
    let counting =
        || own().flat_map(|point| point.facts.iter().filter(|fact| fact.counts).map(move |fact| (point, fact)));
    let worst = counting().map(|(point, fact)| point.came(fact, line_of(sheet, test))).max();
    let (Some(worst), Some(oldest)) = (worst, counting().map(|(_, fact)| fact.at).min()) else {
        return Standing::NotMade;
    };
    if worst == Came::Failed {
        return Standing::Failed;
    }
    let opened = tests.iter().filter(|other| other.key != test.key).find(|other| {
        last_failure(sheet, points, other).is_some_and(|at| at > oldest)
            && opened_again(tests, other.key).contains(&test.key)
    });
    if let Some(other) = opened {
        return Standing::OpenedBy(other.key);
    }
    if own().any(|point| !point.facts.iter().any(|fact| fact.counts)) {
        return Standing::NotMade;
    }
    if worst == Came::Passed { Standing::Passed } else { Standing::Undetermined }
}

/// When it last failed; a repair came after that, so what was measured before is worth nothing. A failure that was measured
/// anew still counts: the second reading does not say what had been changed in between.
fn last_failure(sheet: &Sheet, points: &[Point<'_>], test: &Test) -> Option<u64> {
    let facts = points.iter().filter(|point| point.is_of(test));
    let facts = facts.flat_map(|point| point.facts.iter().map(move |fact| (point, fact)));
    let failed = facts.filter(|(point, fact)| point.came(fact, line_of(sheet, test)) == Came::Failed);
    failed.map(|(_, fact)| fact.at).max()
}

fn line_of<'a>(sheet: &'a Sheet, test: &Test) -> Option<&'a Line> {
    sheet.line(test.limit?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::{Design, sheet, test_sheet};
    use crate::electrical::rule_set::{Place as Country, RuleSet};
    use crate::electrical::{Limit, Unit};
    use crate::ids::EntryId;
    use crate::job_file::body::{Place, Reading, ReadingQuality, Sign};
    use crate::method::plan::{Micro, Text};

    const HOUSE: &str = "phases = 1\nac_nominal_v = 230\nac_breaker_type = b\nac_breaker_a = 16\nload_1_w = 100";

    fn need(id: &str, unit: Unit) -> Requirement {
        Requirement::Reading(ReadingNeed {
            id: id.into(),
            label: Text::default(),
            unit,
            prefix: String::new(),
            sanity: (Micro(0), Micro(1_000_000_000_000_000)),
            instrument: None,
            limit: None,
            pair: None,
            by_choice: None,
        })
    }

    fn read(unit: Unit, micro: i64) -> Body {
        Body::Reading(Reading {
            at: Place::of("supply", 0, "loop"),
            raw: String::new(),
            micro: Some(micro),
            unit: unit.code(),
            sign: Sign::Equal,
            quality: ReadingQuality::Ok,
            instrument: None,
            corrects: None,
            test_voltage: None,
        })
    }

    static MET: Answer = Answer::Met { by: Vec::<EntryId>::new() };

    /// Points of the loop and of the trip time, each with its facts as (time, millionths, counts).
    fn standings(loops: &[(u64, i64, bool)], trips: &[(u64, i64, bool)]) -> [Standing; 3] {
        let design = Design::parse(HOUSE).expect("well formed");
        let sheet = sheet(&design, &RuleSet::of(Country::Neutral));
        let tests = test_sheet(&design, &sheet);
        let needs = [need("loop", Unit::Ohm), need("trip-time", Unit::Second)];
        let limits = [
            LimitInfo::None,
            LimitInfo::Known { limit: Limit::at_most(300_000), source: LimitSource::Method(String::new()) },
        ];
        let bodies = |facts: &[(u64, i64, bool)], unit| -> Vec<Body> {
            facts.iter().map(|(_, micro, _)| read(unit, *micro)).collect()
        };
        let bodies = [bodies(loops, Unit::Ohm), bodies(trips, Unit::Second)];
        let point = |which: usize, step: &'static str, given: &[(u64, i64, bool)]| Point {
            step,
            need: &needs[which],
            answer: &MET,
            limit: &limits[which],
            facts: given
                .iter()
                .zip(&bodies[which])
                .map(|((at, _, counts), body)| Fact { at: *at, body, counts: *counts })
                .collect(),
        };
        let points = [point(0, "supply", loops), point(1, "rcd-test", trips)];
        ["loop_measured", "IEC-RCD-1", "island_protection"].map(|key| {
            let test = tests.iter().find(|test| test.key == key).expect("on the sheet");
            standing(&tests, &sheet, &points, test)
        })
    }

    #[test]
    fn the_sheet_judges_what_the_method_records_without_a_limit() {
        // B 16 at 230 V trips at 80 A: 2.875 Ω hot, two thirds of it cold.
        assert_eq!(standings(&[(1, 1_900_000, true)], &[])[0], Standing::Passed);
        assert_eq!(standings(&[(1, 1_920_000, true)], &[])[0], Standing::Failed);
    }

    #[test]
    fn nothing_recorded_is_not_made() {
        assert_eq!(standings(&[], &[]), [Standing::NotMade; 3]);
    }

    #[test]
    fn a_failure_opens_what_was_measured_before_it_and_not_what_comes_after() {
        let failed = (5, 400_000, true);
        let [loops, trip, _] = standings(&[(1, 500_000, true)], &[failed]);
        assert_eq!((loops, trip), (Standing::OpenedBy("IEC-RCD-1"), Standing::Failed));
        assert_eq!(standings(&[(6, 500_000, true)], &[failed])[0], Standing::Passed);
        assert_eq!(standings(&[(5, 500_000, true)], &[failed])[0], Standing::Passed, "not before it");
    }

    #[test]
    fn a_repeated_test_has_passed_but_those_it_opened_stay_open() {
        let [loops, trip, _] = standings(&[(1, 500_000, true)], &[(5, 400_000, false), (7, 30_000, true)]);
        assert_eq!((loops, trip), (Standing::OpenedBy("IEC-RCD-1"), Standing::Passed));
    }
}
