//! From what a job file says to the design that is checked, and to the rules that check it.

use super::inputs::Design;
use crate::electrical::rule_set::Place;
use crate::electrical::units::MICRO;

/// Among a job's figures: the place of the rule set by its code.
pub const RULES_PLACE: &str = "rule_set_place";
/// Among a job's figures: the version of the rule set.
pub const RULES_VERSION: &str = "rule_set_version";

/// By which rules a job is designed: as its figures say, else as its plan's label does.
pub fn place_of_job(figures: &[(String, i64)], rule_set: &str) -> Place {
    let coded =
        figures.iter().find(|(key, _)| key == RULES_PLACE).and_then(|(_, micro)| Place::from_code(micro / MICRO));
    coded.or_else(|| Place::from_word(rule_set.split(' ').next()?)).unwrap_or(Place::Neutral)
}

/// Modules on record, of places as (new, has a serial); `None` while one is still unread, and where modules were there before:
/// the record does not say how many of those the stack has kept.
pub fn modules_on_record(places: impl Iterator<Item = (bool, bool)>) -> Option<i64> {
    let mut count = 0;
    for (new, read) in places {
        if !new || !read {
            return None;
        }
        count += 1;
    }
    (count > 0).then_some(count)
}

/// What was built, as far as it is known: the figures as they stand, and as many modules as have serials.
pub fn as_built(design: &Design, modules: Option<i64>) -> Design {
    let mut built = design.clone();
    if let Some(modules) = modules {
        built.set("modules", modules * MICRO);
    }
    built
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_figures_name_the_rules_and_else_the_label_does() {
        let coded = [(RULES_PLACE.to_owned(), Place::Uk.code() * MICRO)];
        assert_eq!(place_of_job(&coded, "de 1"), Place::Uk);
        assert_eq!(place_of_job(&[], "de 1"), Place::De);
        assert_eq!(place_of_job(&[], "atlantis 1"), Place::Neutral);
    }

    #[test]
    fn modules_count_once_all_of_them_are_read_and_new() {
        let modules = |places: &[(bool, bool)]| modules_on_record(places.iter().copied());
        assert_eq!(modules(&[(true, true), (true, true)]), Some(2));
        assert_eq!(modules(&[(true, true), (true, false)]), None);
        assert_eq!(modules(&[(false, true), (true, true)]), None);
        assert_eq!(modules(&[]), None);
    }
}
