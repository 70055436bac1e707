//! Editions behind a sheet that do not hold on the job's day: it is computed all the same, and says so.

use super::sheet::Sheet;
use crate::electrical::rule_set::{Lapse, Rule, RuleSet, Topic};
use crate::identification::Date;

/// An edition that a sheet went by and that does not hold on the job's day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct OutOfForce {
    pub standard: &'static str,
    pub edition: &'static str,
    pub lapse: Lapse,
}

impl Sheet {
    /// Each edition once, in the order of the rules, by the rules that made this sheet and by a day that the caller knows.
    pub fn out_of_force(&self, rules: &RuleSet, day: Date) -> Vec<OutOfForce> {
        let mut found: Vec<OutOfForce> = Vec::new();
        for rule in rules.rules.iter().filter(|rule| self.goes_by(rule)) {
            let Some(lapse) = rule.lapse(day) else { continue };
            let one = OutOfForce { standard: rule.source.standard, edition: rule.source.edition, lapse };
            if !found.contains(&one) {
                found.push(one);
            }
        }
        found
    }

    /// Whether a line or a notice names the rule, or all lines lean on it.
    fn goes_by(&self, rule: &Rule) -> bool {
        let named = |id: &str| {
            let lines = self.lines.iter().chain(&self.limits).filter_map(|line| line.rule);
            lines.map(|(own, _)| own).chain(self.notices.iter().map(|notice| notice.rule)).any(|own| own == id)
        };
        matches!(rule.topic, Topic::SizeSeries | Topic::VoltageFactor | Topic::RcdKind) || named(rule.id)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Design, sheet};
    use super::*;
    use crate::electrical::rule_set::Place;

    const TERRACE: &str = include_str!("../../tests/golden/designs/uk-terrace.design.txt");

    fn day(text: &str) -> Date {
        Date::parse(text).expect("tests write dates")
    }

    fn found(place: Place, on: &str) -> Vec<(&'static str, &'static str, Lapse)> {
        let (design, rules) = (Design::parse(TERRACE).expect("well formed"), RuleSet::of(place));
        let all = sheet(&design, &rules).out_of_force(&rules, day(on));
        all.into_iter().map(|one| (one.standard, one.edition, one.lapse)).collect()
    }

    #[test]
    fn a_withdrawn_edition_is_told_once_and_judges_on() {
        let withdrawn = Lapse::Withdrawn(day("2026-10-15"));
        let expected = [("BS 7671", "2018+A2:2022", withdrawn), ("BS 7671", "2018+A3:2024", withdrawn)];
        assert_eq!(found(Place::Uk, "2026-10-15"), expected);
        assert_eq!(found(Place::Uk, "2026-10-14"), []);
        assert_eq!(found(Place::De, "2026-10-15"), []);
        let early = Lapse::NotYet(day("2024-07-31"));
        let road = ("ADR", "2025", Lapse::NotYet(day("2025-01-01")));
        assert_eq!(found(Place::Uk, "2024-07-30"), [("BS 7671", "2018+A3:2024", early), road]);
        assert_eq!(found(Place::Uk, "2024-12-31"), [road]);
    }

    #[test]
    fn only_what_the_sheet_goes_by_is_told() {
        let rules = RuleSet::of(Place::Uk);
        // Outdoors nobody asks for fire detection, indoors somebody does.
        let named = |location: &str| {
            let design = Design::parse(&format!("location_kind = {location}")).expect("well formed");
            let all = sheet(&design, &rules).out_of_force(&rules, day("2019-01-01"));
            all.iter().any(|one| one.standard == "BS 5839-6")
        };
        assert_eq!((named("outdoor_wall"), named("indoor")), (false, true));
    }
}
