//! The test sheet of a job as rows: what is measured in which order, its limit, what is on record, what must be made again. Pure.

use domain::design::{
    Circuit, Design, Fact, Line, Point, Sheet, Stage, Standing, Test, opened_again, sheet, standing, test_sheet,
};
use domain::electrical::rule_set::FirmRules;
use domain::ids::PersonId;
use domain::method::gate::{LimitInfo, StepState};
use domain::method::plan::Requirement;

pub use domain::design::Came;

use super::view_model::{as_built, rules_of_job, with_models};
use super::words::line_name;
use crate::features::job::load::{EvidenceStanding, JobView, RequirementCard, StepCard};
use crate::features::words::{evidence, limit, limit_source, prefix_of, step_title};
use crate::i18n::{Key, Words};
use crate::key;

/// Everything that the screen shows.
#[derive(Clone, Debug, PartialEq)]
pub struct TestRows {
    /// The rule set by which the limits were computed.
    pub rules: String,
    /// In the order in which they are made.
    pub rows: Vec<TestRow>,
}

/// One test.
#[derive(Clone, Debug, PartialEq)]
pub struct TestRow {
    /// Stable name, for tests of the screen.
    pub key: &'static str,
    /// Before or after the first power-up.
    pub stage: Stage,
    /// What is measured.
    pub name: String,
    /// On which circuit.
    pub circuit: Key,
    /// What must be unplugged first.
    pub disconnect: Vec<Key>,
    /// Its limit; absent where the test has none.
    pub line: Option<Line>,
    /// How it stands.
    pub standing: Standing,
    /// The test that opened it again, by its name.
    pub opened_by: Option<String>,
    /// The others that are made again when it fails.
    pub again: Vec<String>,
    /// What is on record, oldest first.
    pub records: Vec<Record>,
    /// Where it is recorded.
    pub step: Option<(String, u16)>,
}

/// One recorded value.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// What was asked, with the step where that is repeated.
    pub label: String,
    /// What was recorded.
    pub value: String,
    /// By the limits.
    pub came: Came,
    /// Another value stands in its place.
    pub replaced: bool,
    /// The step's own limit and whose word it is, where it has one.
    pub limit: Option<(String, String)>,
    /// Who.
    pub by: PersonId,
    /// When, microseconds since 1970 UTC.
    pub at_us: u64,
}

/// The rows of a job, by its figures as saved, its models and the modules on record.
///
/// # Errors
/// The label of the job's rules, where they are not on this device.
pub fn test_rows(w: Words, view: &JobView, rule_set: &str, own: &[FirmRules]) -> Result<TestRows, String> {
    let named = rules_of_job(&view.design, rule_set);
    let rules = named.find(own).ok_or_else(|| named.label())?;
    let design = Design::of_values(view.design.iter().map(|(key, micro)| (key.as_str(), *micro)));
    let design = as_built(&with_models(&design, view.equipment.as_ref()), &view.units);
    let sheet = sheet(&design, &rules);
    let tests = test_sheet(&design, &sheet);
    let points = points(view);
    let only_points: Vec<Point<'_>> = points.iter().map(|(_, _, point)| point.clone()).collect();
    let name = |key: &str| test_key(key).map_or_else(|| line_name(w, &rules, key), |key| w.say(key).to_owned());
    let row = |test: &Test| {
        let standing = standing(&tests, &sheet, &only_points, test);
        let own = || points.iter().filter(|(_, _, point)| point.is_of(test));
        let others = opened_again(&tests, test.key).into_iter().filter(|key| *key != test.key);
        TestRow {
            key: test.key,
            stage: test.stage,
            name: name(test.key),
            circuit: circuit(test.circuit),
            disconnect: test.disconnect.iter().filter_map(|word| disconnect(word)).collect(),
            line: test.limit.and_then(|key| sheet.line(key).cloned()),
            standing,
            opened_by: match standing {
                Standing::OpenedBy(key) => Some(name(key)),
                Standing::NotMade | Standing::Failed | Standing::Undetermined | Standing::Passed => None,
            },
            again: others.map(name).collect(),
            records: own().flat_map(|(step, card, point)| records(w, step, card, point, &sheet, test)).collect(),
            step: own().next().map(|(step, ..)| (step.id.clone(), step.slot)),
        }
    };
    Ok(TestRows { rules: rules.label(), rows: tests.iter().map(row).collect() })
}

/// Every requirement of a step that applies, with what was recorded there and neither taken back nor recorded out of turn.
fn points(view: &JobView) -> Vec<(&StepCard, &RequirementCard, Point<'_>)> {
    let mut points = Vec::new();
    for step in view.steps.iter().filter(|step| step.state != StepState::NotApplicable) {
        for card in &step.requirements {
            let facts = card.evidence.iter().filter(|item| stays(item.standing)).map(|item| Fact {
                at: item.at_us,
                body: &item.body,
                counts: item.standing == EvidenceStanding::Counts,
            });
            let point = Point {
                step: &step.id,
                need: &card.need,
                answer: &card.answer,
                limit: &card.limit,
                facts: facts.collect(),
            };
            points.push((step, card, point));
        }
    }
    points
}

const fn stays(standing: EvidenceStanding) -> bool {
    match standing {
        EvidenceStanding::Counts
        | EvidenceStanding::Corrected
        | EvidenceStanding::BeforeReturn
        | EvidenceStanding::Ended => true,
        EvidenceStanding::TakenBack | EvidenceStanding::Breach | EvidenceStanding::Late => false,
    }
}

fn records(
    w: Words,
    step: &StepCard,
    card: &RequirementCard,
    point: &Point<'_>,
    sheet: &Sheet,
    test: &Test,
) -> Vec<Record> {
    let line = test.limit.and_then(|key| sheet.line(key));
    let label = if step.slot > 0 { format!("{}, {}", step_title(w, step), card.label) } else { card.label.clone() };
    let shown = card.evidence.iter().filter(|item| stays(item.standing));
    shown
        .zip(&point.facts)
        .map(|(item, fact)| Record {
            label: label.clone(),
            value: evidence(w, card, item),
            came: point.came(fact, line),
            replaced: !fact.counts,
            limit: own_limit(w, card),
            by: item.by,
            at_us: item.at_us,
        })
        .collect()
}

fn own_limit(w: Words, card: &RequirementCard) -> Option<(String, String)> {
    let (LimitInfo::Known { limit: known, .. }, Requirement::Reading(need)) = (&card.limit, &card.need) else {
        return None;
    };
    Some((limit(w, *known, need.unit, prefix_of(need)), limit_source(w, &card.limit)?))
}

/// The name of a test; trip times have the name of their rule.
fn test_key(key: &str) -> Option<Key> {
    Some(match key {
        "continuity" => key!("design.test.continuity"),
        "insulation_dc" => key!("design.test.insulation_dc"),
        "insulation_ac" => key!("design.test.insulation_ac"),
        "separation" => key!("design.test.separation"),
        "polarity_dc" => key!("design.test.polarity_dc"),
        "polarity_ac" => key!("design.test.polarity_ac"),
        "phase_sequence" => key!("design.test.phase_sequence"),
        "network_loss" => key!("design.test.network_loss"),
        "island_neutral_link" => key!("design.test.island_neutral_link"),
        "island_protection" => key!("design.test.island_protection"),
        _ => return None,
    })
}

const fn circuit(circuit: Circuit) -> Key {
    match circuit {
        Circuit::Protective => key!("design.circuit.protective"),
        Circuit::Direct => key!("design.circuit.direct"),
        Circuit::Alternating => key!("design.circuit.alternating"),
        Circuit::Communication => key!("design.circuit.communication"),
        Circuit::Island => key!("design.circuit.island"),
    }
}

fn disconnect(word: &str) -> Option<Key> {
    Some(match word {
        "battery" => key!("design.disconnect.battery"),
        "inverter" => key!("design.disconnect.inverter"),
        "surge_protection" => key!("design.disconnect.surge_protection"),
        "meter" => key!("design.disconnect.meter"),
        "both_ends" => key!("design.disconnect.both_ends"),
        "power" => key!("design.disconnect.power"),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests may")]
    use super::*;

    #[test]
    fn every_test_and_everything_to_disconnect_has_words() {
        let w = Words::default();
        let text = "phases = 3\nload_1_w = 100\nearthing = tt";
        for place in domain::electrical::rule_set::Place::ALL {
            let rules = domain::electrical::rule_set::RuleSet::of(place);
            let design = Design::parse(text).unwrap();
            for test in test_sheet(&design, &sheet(&design, &rules)) {
                assert!(test.disconnect.iter().all(|word| disconnect(word).is_some()), "{:?}", test.disconnect);
                assert!(test_key(test.key).is_some() || line_name(w, &rules, test.key) != test.key, "{}", test.key);
            }
        }
    }
}
