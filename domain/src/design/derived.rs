//! Figures that a method asks for and that follow from the design, for those that nobody entered.

use super::inputs::Design;
use super::place::energy_rule;
use super::sheet::{Line, Sheet};
use crate::electrical::rule_set::{RuleSet, Topic};

/// Keys of the job file's design entry with their figures; what was entered by hand stays.
pub fn derived(design: &Design, rules: &RuleSet, sheet: &Sheet) -> Vec<(&'static str, i64)> {
    let energy_limit = design.location().and_then(|location| energy_rule(rules, location)?.value);
    let cap = rules.find(Topic::EarthCap, "main_earth").and_then(|rule| rule.value);
    let reconnect = rules.find(Topic::Protection, "reconnect delay").and_then(|rule| rule.value);
    let check = |line: &str| sheet.line(line).and_then(Line::check);
    let result = |line: &str, key: &str| check(line)?.result(key).map(|value| value.micro);
    let most = |line: &str| check(line)?.limit?.limit.at_most;
    let stack = result("stack_window", "stack_voltage_max");
    let all = [
        ("backup_limit_w", design.get("inverter_w")),
        ("dc_nominal_v", stack),
        ("electrode_max_ohm", most("electrode")),
        ("energy_limit_wh", energy_limit.map(|limit| limit.micro)),
        ("energy_total_wh", design.energy()),
        ("fuse_breaking_a", result("dc_fuse", "fault_current")),
        ("fuse_rating_a", design.get("dc_fuse_a")),
        ("fuse_voltage_v", stack),
        ("loop_max_ohm", most("loop_measured")),
        ("pe_cap_ohm", cap.map(|cap| cap.micro)),
        ("reconnect_min_s", reconnect.map(|delay| delay.micro)),
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
    use crate::design::sheet;
    use crate::electrical::rule_set::Place;

    fn of(place: Place, text: &str) -> Vec<(&'static str, i64)> {
        let (design, rules) = (Design::parse(text).expect("well formed"), RuleSet::of(place));
        derived(&design, &rules, &sheet(&design, &rules))
    }

    #[test]
    fn a_method_gets_what_follows() {
        let text = "modules = 8\nmodule_cells = 16\nmodule_cell_min_v = 2.8\nmodule_cell_max_v = 3.6\nmodule_wh = 2560\n\
                    module_mass_kg = 28\nlocation_kind = indoor\nac_nominal_v = 230\nac_breaker_type = b\nac_breaker_a = 32";
        let expected = [
            ("dc_nominal_v", 460_800_000),
            ("energy_limit_wh", 40_000_000_000),
            ("energy_total_wh", 20_480_000_000),
            ("fuse_voltage_v", 460_800_000),
            // 0.8 · 230 · 0.95 / 160
            ("loop_max_ohm", 1_092_500),
            ("reconnect_min_s", 20_000_000),
            ("stack_mass_kg", 224_000_000),
        ];
        assert_eq!(of(Place::Uk, text), expected);
        let entered = format!("{text}\nstack_mass_kg = 250");
        assert!(of(Place::Uk, &entered).iter().all(|(key, _)| *key != "stack_mass_kg"));
        assert!(of(Place::Au, text).contains(&("pe_cap_ohm", 500_000)));
        assert_eq!(of(Place::De, "earthing = tt\nrcd_residual_a = 0.1")[0], ("electrode_max_ohm", 500_000_000));
        assert!(of(Place::Neutral, "").is_empty());
    }
}
