//! Since when an edition holds, and when it is withdrawn.

use super::Rule;
use crate::identification::Date;

/// The days of an edition.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Edition {
    /// Its first day; `None` for a law that is cited as it stands.
    pub valid_from: Option<Date>,
    /// The day on which it is withdrawn and holds no longer; `None` while nobody has withdrawn it.
    pub valid_until: Option<Date>,
}

/// Why an edition does not hold on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lapse {
    /// It holds only from this day on.
    NotYet(Date),
    /// It was withdrawn on this day.
    Withdrawn(Date),
}

impl Edition {
    /// Why it does not hold on that day; `None` where it does.
    pub fn lapse(self, day: Date) -> Option<Lapse> {
        let withdrawn = self.valid_until.filter(|until| day >= *until).map(Lapse::Withdrawn);
        withdrawn.or_else(|| self.valid_from.filter(|from| day < *from).map(Lapse::NotYet))
    }
}

impl Rule {
    /// Why the edition behind the rule does not hold on that day.
    pub fn lapse(&self, day: Date) -> Option<Lapse> {
        self.days?.lapse(day)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Place, RuleSet};
    use super::*;

    fn day(text: &str) -> Date {
        Date::parse(text).expect("tests write dates")
    }

    #[test]
    fn the_first_day_counts_and_the_day_of_withdrawal_does_not() {
        let edition = Edition { valid_from: Some(day("2022-03-28")), valid_until: Some(day("2026-10-15")) };
        for (on, lapse) in [
            ("2022-03-27", Some(Lapse::NotYet(day("2022-03-28")))),
            ("2022-03-28", None),
            ("2026-10-14", None),
            ("2026-10-15", Some(Lapse::Withdrawn(day("2026-10-15")))),
        ] {
            assert_eq!(edition.lapse(day(on)), lapse, "{on}");
        }
        let law = Edition { valid_from: None, valid_until: None };
        assert_eq!(law.lapse(day("1900-01-01")), None);
    }

    #[test]
    fn every_rule_of_a_standard_has_its_days() {
        for place in Place::ALL {
            for rule in RuleSet::of(place).rules {
                let Some(edition) = rule.days else {
                    assert!(rule.source.standard.is_empty(), "{}", rule.id);
                    continue;
                };
                let as_it_stands = ["in force", "by Land"].contains(&rule.source.edition);
                assert_eq!(edition.valid_from.is_none(), as_it_stands, "{}", rule.id);
                let upright = edition.valid_from.zip(edition.valid_until).is_none_or(|(from, until)| from < until);
                assert!(upright, "{}", rule.id);
            }
        }
    }

    #[test]
    fn the_editions_before_the_fourth_amendment_end() {
        let uk = RuleSet::of(Place::Uk);
        let withdrawn = Some(Lapse::Withdrawn(day("2026-10-15")));
        let all: Vec<_> = uk.rules.iter().filter(|rule| rule.source.standard == "BS 7671").collect();
        assert_eq!(all.len(), 15);
        for rule in all {
            assert_eq!(
                (rule.lapse(day("2026-10-14")), rule.lapse(day("2026-11-29"))),
                (None, withdrawn),
                "{}",
                rule.id
            );
        }
        let others = uk.rules.iter().filter(|rule| rule.source.standard != "BS 7671");
        assert!(others.into_iter().all(|rule| rule.lapse(day("2026-11-29")).is_none()));
    }
}
