//! Where the battery stands: energy and every location rule that holds there.

use super::inputs::Design;
use super::sheet::Bench;
use super::sheet::From::{Field, Fixed, Given, List, Maybe};
use crate::electrical::rule_set::{Rule, RuleSet, Topic};
use crate::electrical::units::MICRO;
use crate::electrical::{Verdict, judge::Why};

/// The field that takes an about-key; rules name fields of the form.
fn field_of(rule: &Rule) -> Option<&'static str> {
    super::field(rule.about).map(|field| field.key)
}

/// The maker's distance that goes with a rule's; makers say nothing of doors and boilers.
fn maker_field(about: &str) -> Option<&'static str> {
    match about {
        "above_distance_m" => Some("maker_above_distance_m"),
        "working_depth_m" => Some("maker_front_distance_m"),
        "unit_distance_m" => Some("maker_side_distance_m"),
        _ => None,
    }
}

/// The rule on the energy of a design's location; one whose condition was not answered with yes does not hold.
pub(super) fn energy_rule<'r>(rules: &'r RuleSet, design: &Design) -> Option<&'r Rule> {
    let location = design.location()?;
    let all = || rules.about(Topic::EnergyLocation).filter(|rule| rule.holds_at(location));
    let is_met = |rule: &&Rule| !rule.about.is_empty() && design.get(rule.about) == Some(MICRO);
    all().find(is_met).or_else(|| all().find(|rule| rule.about.is_empty()))
}

fn energy(bench: &mut Bench<'_>) {
    let rules = bench.rules;
    let by_location = energy_rule(rules, bench.design);
    let figure = |rule: Option<&Rule>| Fixed(rule.and_then(|rule| rule.value).map(|value| value.micro));
    let first = |topic| rules.about(topic).next();
    let named = by_location.or(first(Topic::EnergyDemand)).or(first(Topic::EnergyUnit)).or(first(Topic::ScopeTo));
    let each = bench.design.get("module_wh");
    let stacks: Vec<i64> =
        bench.design.stacked().into_iter().filter_map(|modules| modules.checked_mul(each?)).collect();
    bench.run(
        "energy",
        "F14",
        named,
        &[
            ("unit_energy", List(stacks, &["modules", "module_wh"])),
            ("unit_limit", figure(first(Topic::EnergyUnit))),
            ("location_limit", figure(by_location)),
            ("further_demand_above", figure(first(Topic::EnergyDemand))),
            ("scope_min", figure(first(Topic::ScopeFrom))),
            ("scope_max", figure(first(Topic::ScopeTo))),
            ("energy_elsewhere", Maybe("energy_elsewhere_wh")),
            ("locations_apart", figure(first(Topic::LocationsApart))),
            ("no_location_rule", Fixed(named.is_none().then_some(MICRO))),
        ],
    );
}

/// The makers' distances that no rule of the place asks for.
fn maker_distances(bench: &mut Bench<'_>) {
    for (key, distance, maker) in [
        ("maker_left", "left_distance_m", "maker_side_distance_m"),
        ("maker_right", "right_distance_m", "maker_side_distance_m"),
        ("maker_above", "above_distance_m", "maker_above_distance_m"),
        ("maker_front", "working_depth_m", "maker_front_distance_m"),
    ] {
        bench.run(
            key,
            "F16",
            None,
            &[("rule_kind", Fixed(Some(MICRO))), ("maker_distance", Field(maker)), ("reading", Field(distance))],
        );
    }
}

/// The least of a working space's depth by voltage to earth and by what stands opposite: the rules hold in these cases.
fn working_case(bench: &Bench<'_>) -> Result<&'static str, Vec<&'static str>> {
    const LOW: i64 = 150 * MICRO;
    const HIGH: i64 = 600 * MICRO;
    let Some(stack) = bench.result("stack_window", "stack_voltage_max") else {
        let window = bench.lines.iter().find(|line| line.key == "stack_window");
        return Err(window.map(|line| line.missing.clone()).unwrap_or_default());
    };
    // A battery has no earthed conductor of its own, so its whole voltage counts. Of a split phase half of it does, which is low.
    let three_phases = bench.design.whole("phases") == Some(3);
    let network = bench.design.get("ac_nominal_v").filter(|_| three_phases).unwrap_or(0);
    let opposite = said(bench.design, "opposite_kind");
    match (stack.max(network), opposite) {
        (volts, _) if volts <= LOW => Ok("to_150_v"),
        (volts, _) if volts > HIGH => Ok("above_600_v"),
        (_, Some("opposite_clear")) => Ok("condition_1"),
        (_, Some("opposite_grounded")) => Ok("condition_2"),
        (_, Some("opposite_live")) => Ok("condition_3"),
        (_, _) => Err(vec!["opposite_kind"]),
    }
}

const DEPTH: &str = "working_depth_m";

/// One line for the depth of the working space, under the id of the rule that asks for the least.
fn working_depth(bench: &mut Bench<'_>) {
    let depths: Vec<Rule> = bench
        .rules
        .about(Topic::Distance)
        .filter(|rule| rule.about == DEPTH && !rule.case.is_empty())
        .copied()
        .collect();
    let Some(least) = depths.iter().min_by_key(|rule| rule.value.map(|value| value.micro)) else { return };
    let given = working_case(bench);
    let too_close = bench.design.get(DEPTH).is_some() && !is_met(bench.design, least, DEPTH);
    match given {
        Ok(case) => match depths.iter().find(|rule| rule.holds_in(case)) {
            Some(rule) => distance(bench, least.id, rule, DEPTH),
            None => bench.settle(least.id, Some(least), Verdict::NotDetermined(Why::NoLimit), Vec::new()),
        },
        // Whatever the case, that is too little.
        Err(_) if too_close => distance(bench, least.id, least, DEPTH),
        Err(asked) => bench.settle(least.id, Some(least), Verdict::NotDetermined(Why::RequirementOpen), asked),
    }
}

fn distance(bench: &mut Bench<'_>, key: &'static str, rule: &Rule, field: &'static str) {
    let mut pairs = vec![
        ("rule_kind", Fixed(Some(MICRO))),
        ("rule_distance", Fixed(rule.value.map(|value| value.micro))),
        ("reading", Field(field)),
    ];
    // A fire test says nothing about the room that a person needs for work.
    if !field.starts_with("working_") {
        pairs.push(("exception", Maybe("distance_exception")));
    }
    pairs.extend(maker_field(rule.about).map(|maker| ("maker_distance", Maybe(maker))));
    bench.run(key, "F16", Some(rule), &pairs);
}

/// Whether the design is in the case of a rule.
enum Case {
    Given,
    /// It is not, by what the form says or by a choice of it.
    NotGiven(Why, Option<&'static str>),
    /// That depends on this field.
    Open(&'static str),
}

fn case(design: &Design, rule: &Rule) -> Case {
    match rule.case {
        "backup" => match design.has_backup() {
            Some(true) => Case::Given,
            Some(false) => Case::NotGiven(Why::NoBackup, None),
            None => Case::Open("backup_output"),
        },
        "item_above" => match said(design, "above_kind") {
            Some("item_above") => Case::Given,
            Some(other) => Case::NotGiven(Why::DoesNotApply, Some(other)),
            None => Case::Open("above_kind"),
        },
        _ => Case::Given,
    }
}

/// The word that was chosen in a field.
fn said(design: &Design, key: &str) -> Option<&'static str> {
    super::field(key)?.choice(design.get(key)?)
}

/// What a rule asks for is there, so that its case need not be known.
fn is_met(design: &Design, rule: &Rule, field: &str) -> bool {
    let value = design.get(field);
    match rule.topic {
        Topic::Distance => value.zip(rule.value).is_some_and(|(metres, least)| metres >= least.micro),
        Topic::Demand => value == Some(MICRO),
        _ => false,
    }
}

fn by_case(bench: &mut Bench<'_>, rule: &Rule, field: &'static str) {
    match case(bench.design, rule) {
        Case::Given => rule_line(bench, rule, field),
        Case::Open(_) if is_met(bench.design, rule, field) => rule_line(bench, rule, field),
        Case::Open(asked) => {
            bench.settle(rule.id, Some(rule), Verdict::NotDetermined(Why::RequirementOpen), vec![asked]);
        }
        Case::NotGiven(why, word) => {
            bench.settle(rule.id, Some(rule), Verdict::NotApplicable(why), Vec::new());
            bench.because(word);
        }
    }
}

fn rule_line(bench: &mut Bench<'_>, rule: &Rule, field: &'static str) {
    let kind = |code: i64| ("rule_kind", Fixed(Some(code * MICRO)));
    match rule.topic {
        Topic::Distance => distance(bench, rule.id, rule, field),
        Topic::Prohibit => bench.run(rule.id, "F16", Some(rule), &[kind(2), ("place_is_such", Field(field))]),
        Topic::Demand => {
            let answer = bench.design.get(field);
            let outside = super::field(field).zip(answer).and_then(|(field, micro)| field.does_not_apply(micro));
            let met = if outside.is_some() { Fixed(Some(2 * MICRO)) } else { Field(field) };
            bench.run(rule.id, "F16", Some(rule), &[kind(3), ("demand_met", met)]);
            bench.because(outside);
        }
        _ => {}
    }
}

/// Every check on the location.
pub(super) fn location(bench: &mut Bench<'_>) {
    let Some(location) = bench.design.location() else {
        bench.run("location", "F16", None, &[("rule_kind", Given(None, &["location_kind"]))]);
        return;
    };
    energy(bench);
    maker_distances(bench);
    let rules = bench.rules;
    let one_stack = bench.design.stacked().len() < 2;
    for rule in rules.rules.iter().filter(|rule| rule.holds_at(location)) {
        let Some(field) = field_of(rule) else { continue };
        // One unit has no distance to another.
        if one_stack && field == "unit_distance_m" {
            continue;
        }
        if field == DEPTH && !rule.case.is_empty() {
            continue;
        }
        by_case(bench, rule, field);
    }
    working_depth(bench);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::electrical::rule_set::Place;

    #[test]
    fn every_location_rule_asks_for_a_field_of_the_form() {
        for place in Place::ALL {
            for rule in RuleSet::of(place).rules {
                if matches!(rule.topic, Topic::Distance | Topic::Prohibit | Topic::Demand) {
                    assert!(field_of(&rule).is_some(), "{} asks for {}", rule.id, rule.about);
                }
            }
        }
    }

    #[test]
    fn every_case_in_rules_is_one_that_the_sheet_knows() {
        const CASES: [&str; 6] = ["backup", "item_above", "to_150_v", "condition_1", "condition_2", "condition_3"];
        let mut seen = Vec::new();
        for rule in Place::ALL.into_iter().flat_map(|place| RuleSet::of(place).rules) {
            for case in rule.case.split(',').map(str::trim).filter(|case| !case.is_empty()) {
                assert!(CASES.contains(&case), "{}: {case}", rule.id);
                seen.push(case);
            }
        }
        assert!(CASES.iter().all(|case| seen.contains(case)), "{seen:?}");
    }

    #[test]
    fn locations_in_rules_are_locations_of_the_form() {
        for place in Place::ALL {
            for rule in RuleSet::of(place).rules.iter().filter(|rule| rule.topic != Topic::Notice) {
                for at in rule.at.split(',').map(str::trim).filter(|at| !at.is_empty()) {
                    assert!(super::super::field::LOCATIONS.contains(&at), "{}: {at}", rule.id);
                }
            }
        }
    }
}
