//! The design sheet: every check on a design, as one pure function.

use super::inputs::Design;
use super::notices::{NoticeLine, notices};
use super::suggest::{Suggestion, suggestions};
use super::{limits, lines, place};
use crate::electrical::rule_set::{Loosened, Rule, RuleSet, Topic};
use crate::electrical::{Check, CheckNote, InputFault, Inputs, Mark, Source, Verdict, compute, judge::Why};

/// What a check on the design came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    Computed(Box<Check>),
    /// Fields must be filled in first; they stand in [`Line::missing`].
    Missing,
    /// A figure outside the formula's valid range: the check's input key.
    OutOfRange(&'static str),
    /// Nothing to compute: the design or the rules settle it.
    Settled(Verdict),
}

/// One check of the sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Line {
    /// What is checked, or the id of the location rule.
    pub key: &'static str,
    pub outcome: Outcome,
    /// The rule whose figure or demand was used, and where it stands.
    pub rule: Option<(&'static str, Source)>,
    /// The field that was measured, of a distance.
    pub measures: Option<&'static str>,
    /// The choice of the form by which the rule does not apply.
    pub because: Option<&'static str>,
    /// Fields that would let the check say more.
    pub missing: Vec<&'static str>,
}

impl Line {
    pub fn verdict(&self) -> Verdict {
        match &self.outcome {
            Outcome::Computed(check) => check.verdict,
            Outcome::Missing => Verdict::NotDetermined(Why::RatingMissing),
            Outcome::OutOfRange(_) => Verdict::NotDetermined(Why::OutsideSanity),
            Outcome::Settled(verdict) => *verdict,
        }
    }

    /// It is a fail that no standard asks for, only a figure of this house.
    pub fn fails_by_house_figure(&self) -> bool {
        self.check().is_some_and(Check::fails_by_house_figure)
    }

    pub fn check(&self) -> Option<&Check> {
        match &self.outcome {
            Outcome::Computed(check) => Some(check),
            Outcome::Missing | Outcome::OutOfRange(_) | Outcome::Settled(_) => None,
        }
    }
}

/// Everything that is computed from a design.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    /// The rule set by id and version, for every verdict below.
    pub rules: String,
    /// What the firm loosened in it.
    pub loosened: Vec<Loosened>,
    /// Checks on the design itself.
    pub lines: Vec<Line>,
    /// Limits for what will be measured, with nothing measured yet.
    pub limits: Vec<Line>,
    pub suggestions: Vec<Suggestion>,
    pub notices: Vec<NoticeLine>,
    /// Fields that some check waits for, in the order of the checks.
    pub missing: Vec<&'static str>,
}

impl Sheet {
    /// The check or limit with that key.
    pub fn line(&self, key: &str) -> Option<&Line> {
        self.lines.iter().chain(&self.limits).find(|line| line.key == key)
    }
}

/// Checks a design by a rule set.
pub fn sheet(design: &Design, rules: &RuleSet) -> Sheet {
    let mut bench = Bench { design, rules, lines: Vec::with_capacity(48) };
    lines::electrical(&mut bench);
    place::location(&mut bench);
    lines::mechanical(&mut bench);
    lines::work(&mut bench);
    lines::backup(&mut bench);
    lines::grid(&mut bench);
    let checks = bench.lines.len();
    limits::limits(&mut bench);
    let mut lines = bench.lines;
    let limits = lines.split_off(checks);
    let mut missing = Vec::new();
    for field in lines.iter().flat_map(|line| &line.missing) {
        if !missing.contains(field) {
            missing.push(field);
        }
    }
    Sheet {
        rules: rules.label(),
        loosened: rules.loosened.clone(),
        suggestions: suggestions(design, rules, &lines),
        notices: notices(rules, &lines),
        lines,
        limits,
        missing,
    }
}

/// Where an input of a check comes from.
pub(super) enum From {
    /// A field that the check needs.
    Field(&'static str),
    /// A field that it can do without.
    Maybe(&'static str),
    /// Worked out from other fields, which are named for whoever must fill them in.
    Given(Option<i64>, &'static [&'static str]),
    /// The same, several values.
    List(Vec<i64>, &'static [&'static str]),
    /// By the rule set, or a constant.
    Fixed(Option<i64>),
}

/// Where a figure comes from that no rule gave.
const MAKER: Source = Source { standard: "", edition: "", clause: "maker", mark: Mark::Sure };

/// Runs checks on a design.
pub(super) struct Bench<'a> {
    pub(super) design: &'a Design,
    pub(super) rules: &'a RuleSet,
    pub(super) lines: Vec<Line>,
}

impl Bench<'_> {
    /// One check. A rule's source takes the place of "rule set" where a formula has none of its own.
    pub(super) fn run(&mut self, key: &'static str, check: &str, rule: Option<&Rule>, pairs: &[(&'static str, From)]) {
        let mut inputs = Inputs::new();
        let mut absent: Vec<&'static str> = Vec::new();
        for (name, from) in pairs {
            let values = match from {
                From::Field(field) => self.need(field, &mut absent),
                From::Maybe(field) => self.design.get(field).into_iter().collect(),
                From::Fixed(value) => value.iter().copied().collect(),
                From::Given(value, fields) => self.worked_out(value.iter().copied().collect(), fields, &mut absent),
                From::List(values, fields) => self.worked_out(values.clone(), fields, &mut absent),
            };
            for value in values {
                inputs.push(name, value);
            }
        }
        let rule = rule.map(|rule| (rule.id, rule.source));
        let outcome = match compute(check, &inputs) {
            Ok(mut check) => {
                if rule.is_some_and(|(_, source)| source.mark == Mark::House) {
                    check.house = &[Why::DropTooHigh, Why::BusbarOverloaded];
                }
                if !pairs.iter().any(|(name, _)| *name == "maker_distance") {
                    // No maker was asked, so none is missing.
                    check.notes.retain(|note| *note != CheckNote::MakerDistanceMissing);
                }
                if check.source.clause == "rule set" {
                    check.source = rule.map_or(MAKER, |(_, source)| source);
                }
                Outcome::Computed(Box::new(check))
            }
            Err(InputFault::OutOfRange { key } | InputFault::NotOne { key }) => Outcome::OutOfRange(key),
            Err(InputFault::Missing { .. } | InputFault::UnknownCheck) => Outcome::Missing,
        };
        let measures = pairs.iter().find_map(|(name, from)| match from {
            From::Field(field) if check == "F16" && *name == "reading" => Some(*field),
            _ => None,
        });
        let line = Line { key, outcome, rule, measures, because: None, missing: Vec::new() };
        let waits = matches!(
            line.verdict(),
            Verdict::NotDetermined(Why::NoReading | Why::NoMakerLimit | Why::RatingMissing | Why::NoLimit)
                | Verdict::NotDetermined(Why::RequirementOpen | Why::PositionUnknown | Why::AnchorNotTested)
        );
        self.lines.push(Line { missing: if waits { absent } else { Vec::new() }, ..line });
    }

    /// A line that needs no computation: what the design or the rules settle, or which fields are asked before anything is judged.
    pub(super) fn settle(
        &mut self,
        key: &'static str,
        rule: Option<&Rule>,
        verdict: Verdict,
        missing: Vec<&'static str>,
    ) {
        let rule = rule.map(|rule| (rule.id, rule.source));
        let outcome = Outcome::Settled(verdict);
        self.lines.push(Line { key, outcome, rule, measures: None, because: None, missing });
    }

    /// The answer in the form by which the last line does not apply.
    pub(super) fn because(&mut self, word: Option<&'static str>) {
        if let Some(line) = self.lines.last_mut() {
            line.because = word;
        }
    }

    fn need(&self, field: &'static str, absent: &mut Vec<&'static str>) -> Vec<i64> {
        let value = self.design.get(field);
        if value.is_none() && !absent.contains(&field) {
            absent.push(field);
        }
        value.into_iter().collect()
    }

    fn worked_out(&self, values: Vec<i64>, fields: &[&'static str], absent: &mut Vec<&'static str>) -> Vec<i64> {
        if values.is_empty() {
            for field in fields {
                self.need(field, absent);
            }
        }
        values
    }
}

/// What a line is called after.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LineName<'a> {
    /// A check or limit of the sheet's own: its key.
    Line(&'a str),
    /// A figure of the design that a rule is about: its key.
    Field(&'static str),
    /// The trip time at a multiple of the rated residual current: the multiple, with a point.
    RcdTime(&'static str),
}

/// What the line with that key is called after; lines that come from a rule have its id for a key.
pub fn line_name<'a>(rules: &RuleSet, key: &'a str) -> LineName<'a> {
    match rules.rule(key) {
        Some(rule) if rule.topic == Topic::RcdTime => LineName::RcdTime(rule.about),
        Some(rule) => LineName::Field(rule.about),
        None => LineName::Line(key),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::electrical::rule_set::Place;

    #[test]
    fn an_empty_design_asks_and_judges_nothing() {
        for place in Place::ALL {
            let empty = sheet(&Design::new(), &RuleSet::of(place));
            assert!(empty.missing.len() > 20, "{place:?}");
            for line in &empty.lines {
                assert!(!matches!(line.verdict(), Verdict::Pass | Verdict::Fail(_)), "{place:?} {}", line.key);
            }
        }
    }

    #[test]
    fn every_missing_field_is_one_of_the_form() {
        for place in Place::ALL {
            for field in sheet(&Design::new(), &RuleSet::of(place)).missing {
                assert!(super::super::field(field).is_some(), "{field}");
            }
        }
    }

    #[test]
    fn every_line_has_a_key_of_its_own() {
        for place in Place::ALL {
            let sheet = sheet(&Design::new(), &RuleSet::of(place));
            let keys: Vec<_> = sheet.lines.iter().chain(&sheet.limits).map(|line| line.key).collect();
            for (index, key) in keys.iter().enumerate() {
                assert!(!keys[index + 1..].contains(key), "{key} twice");
            }
        }
    }

    #[test]
    fn figures_beyond_all_reason_do_not_overflow() {
        for value in [i64::MIN, -1, 0, 1, 1_000_000, 3_000_000, i64::MAX - 775_807, i64::MAX] {
            let design = Design::of_values(super::super::FIELDS.iter().map(|field| (field.key, value)));
            for place in Place::ALL {
                let sheet = sheet(&design, &RuleSet::of(place));
                assert!(!sheet.lines.is_empty());
                super::super::single_line(&design, &sheet);
                super::super::stack_drawing(&design, &sheet);
            }
        }
    }
}
