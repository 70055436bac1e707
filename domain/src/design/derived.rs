//! Figures that a method asks for and that follow from the design, for those that nobody entered.

use super::inputs::Design;
use super::place::energy_rule;
use crate::electrical::rule_set::{RuleSet, Topic};

/// Keys of the job file's design entry with their figures; what was entered by hand stays.
pub fn derived(design: &Design, rules: &RuleSet) -> Vec<(&'static str, i64)> {
    let energy_limit = design.location().and_then(|location| energy_rule(rules, location)?.value);
    let cap = rules.find(Topic::EarthCap, "main_earth").and_then(|rule| rule.value);
    let stack = || {
        let cells = design.in_series()?.checked_mul(design.whole("module_cells")?)?;
        cells.checked_mul(design.get("module_cell_max_v")?)
    };
    let all = [
        ("dc_nominal_v", stack()),
        ("energy_limit_wh", energy_limit.map(|limit| limit.micro)),
        ("energy_total_wh", design.energy()),
        ("pe_cap_ohm", cap.map(|cap| cap.micro)),
        ("stack_gravity_height_m", design.gravity_height()),
        ("stack_mass_kg", design.stack_mass()),
    ];
    all.into_iter()
        .filter_map(|(key, value)| Some((key, value?)))
        .filter(|(key, _)| design.get(key).is_none())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::electrical::rule_set::Place;

    #[test]
    fn a_method_gets_what_follows() {
        let mut design = Design::parse(
            "modules = 8\nmodule_cells = 16\nmodule_cell_max_v = 3.6\nmodule_wh = 2560\nmodule_mass_kg = 28\n\
             location_kind = indoor",
        )
        .expect("well formed");
        let found = derived(&design, &RuleSet::of(Place::Uk));
        let expected = [
            ("dc_nominal_v", 460_800_000),
            ("energy_limit_wh", 40_000_000_000),
            ("energy_total_wh", 20_480_000_000),
            ("stack_mass_kg", 224_000_000),
        ];
        assert_eq!(found, expected);
        design.set("stack_mass_kg", 1);
        assert!(derived(&design, &RuleSet::of(Place::Uk)).iter().all(|(key, _)| *key != "stack_mass_kg"));
        let australian = derived(&design, &RuleSet::of(Place::Au));
        assert!(australian.contains(&("pe_cap_ohm", 500_000)));
        assert!(derived(&Design::new(), &RuleSet::of(Place::De)).is_empty());
    }
}
