//! From what a job file says to the design that is checked, and to the rules that check it.

use super::inputs::Design;
use crate::electrical::rule_set::{Place, RulesName};
use crate::electrical::units::MICRO;
use crate::job_file::body::UnitKind;
use crate::method::gate::Gate;

/// Among a job's figures: the place of the rule set by its code.
pub const RULES_PLACE: &str = "rule_set_place";
/// Among a job's figures: the version of the rule set.
pub const RULES_VERSION: &str = "rule_set_version";

/// Among a job's figures: the firm's own version on top; absent where the built-in rules hold.
pub const RULES_FIRM: &str = "rule_set_firm";

/// By which rules a job is designed: as its figures say, else as its plan's label does.
pub fn rules_of_job(figures: &[(String, i64)], label: &str) -> RulesName {
    let number = |key: &str| figures.iter().find(|(own, _)| own == key).map(|(_, micro)| micro / MICRO);
    let version = |key: &str| number(key).and_then(|number| u32::try_from(number).ok());
    let coded = number(RULES_PLACE).and_then(Place::from_code).map(|place| RulesName {
        version: version(RULES_VERSION).unwrap_or(1),
        firm_version: version(RULES_FIRM),
        ..RulesName::built_in(place)
    });
    coded.or_else(|| RulesName::parse(label)).unwrap_or_else(|| RulesName::built_in(Place::Neutral))
}

/// Modules on record by the gate: only a serial that it takes says that the module is there.
pub fn modules_of_job(gate: &mut Gate<'_, '_>) -> Option<i64> {
    let equipment = gate.record().equipment.as_ref()?.value;
    let is_module = |model: u16| {
        let model = equipment.models.get(usize::from(model));
        model.is_some_and(|model| model.kind == UnitKind::Module)
    };
    let modules = equipment.slots.iter().filter(|slot| is_module(slot.model));
    let places: Vec<(bool, bool)> = modules
        .map(|slot| (slot.new, gate.serial_of(slot.number).is_some_and(|serial| serial.standing().is_some())))
        .collect();
    modules_on_record(places.into_iter())
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
        assert_eq!(rules_of_job(&coded, "de 1 firm 2").label(), "uk 1");
        assert_eq!(rules_of_job(&[], "de 1").label(), "de 1");
        assert_eq!(rules_of_job(&[], "de 1 firm 2").label(), "de 1 firm 2");
        assert_eq!(rules_of_job(&[], "atlantis 1").label(), "neutral 1");
        let own = [coded[0].clone(), (RULES_VERSION.to_owned(), MICRO), (RULES_FIRM.to_owned(), 3 * MICRO)];
        assert_eq!(rules_of_job(&own, "de 1").label(), "uk 1 firm 3");
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
