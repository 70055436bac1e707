//! Every field of the sheet, one after another, in six complete designs: which lines read it, and what nothing, zero and far more do.
//!
//! No field may stand on the form that nothing reads, and leaving a figure out or typing zero never makes a pass of what was none.
#![cfg(feature = "methods")]
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

mod built_in;
mod six_designs;

use domain::design::{Design, FIELDS, Field, Sheet, sheet, single_line, stack_drawing};
use domain::electrical::Verdict;
use domain::electrical::rule_set::RuleSet;
use domain::method::load::compose;
use six_designs::DESIGNS;
use std::collections::{BTreeMap, BTreeSet};

/// What a sheet says, line by line, without what only tells which fields are open.
fn said(design: &Design, sheet: &Sheet) -> BTreeMap<String, String> {
    let lines = sheet.lines.iter().chain(&sheet.limits);
    let mut all: BTreeMap<String, String> = lines
        .map(|line| {
            let numbers =
                line.check().map(|check| format!("{} {:?} {:?}", check.with_numbers, check.limit, check.results));
            (line.key.to_owned(), format!("{:?} {numbers:?} {:?}", line.verdict(), line.because))
        })
        .collect();
    for suggestion in &sheet.suggestions {
        all.insert(format!("suggestion {}", suggestion.field), format!("{:?}", suggestion.value));
    }
    for notice in &sheet.notices {
        all.insert(format!("notice {}", notice.rule), format!("{notice:?}"));
    }
    all.insert("single line".to_owned(), single_line(design, sheet));
    all.insert("stack drawing".to_owned(), stack_drawing(design, sheet));
    all
}

fn changed(before: &BTreeMap<String, String>, after: &BTreeMap<String, String>) -> BTreeSet<String> {
    let keys: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
    keys.into_iter().filter(|key| before.get(*key) != after.get(*key)).cloned().collect()
}

/// Lines that pass now and did not before.
fn newly_passing(before: &Sheet, after: &Sheet) -> Vec<&'static str> {
    let passes = |sheet: &Sheet, key: &str| sheet.line(key).is_some_and(|line| line.verdict() == Verdict::Pass);
    let lines = after.lines.iter().chain(&after.limits).map(|line| line.key);
    lines.filter(|key| passes(after, key) && before.line(key).is_some() && !passes(before, key)).collect()
}

/// Other values that a field can have.
fn others(field: &Field, now: Option<i64>) -> Vec<i64> {
    if !field.choices.is_empty() {
        let first = i64::from(!field.is_yes_or_no());
        let codes = (0..field.choices.len() as i64).map(|code| (code + first) * 1_000_000);
        return codes.filter(|code| Some(*code) != now).collect();
    }
    let now = now.unwrap_or(1_000_000);
    vec![now.saturating_mul(3), now / 3, now + 1_000_000, now.saturating_add(50_000_000_000), 1_000]
}

/// What must be so for some fields to matter at all.
const SETTINGS: [&str; 9] = [
    "",
    "phases = 3\ninverter_phases = one_phase",
    "phases = 3\ninverter_phases = one_phase\ninverter_w = 3000\nexisting_inverter_phases = one_phase\nexisting_inverter_w = 3000",
    "location_kind = attached_garage",
    "location_kind = detached_garage",
    "inverter_w = 3000\nexisting_inverter_w = 0",
    "ac_protective_core_mm2 = 2.5\nac_cable_size_mm2 = 2.5\npe_size_mm2 = 2.5\ndc_cable_size_mm2 = 2.5",
    "ac_pe_kind = separate_pvc\npe_kind = separate_pvc\nac_protective_core_mm2 = 2.5\npe_size_mm2 = 2.5",
    "load_3_w = 900\nload_4_w = 900\nload_5_w = 900\nload_6_w = 900\nload_7_w = 900\nload_8_w = 900",
];

/// With this setting on top; an answer that another place's form has is left out.
fn set(design: &Design, setting: &str) -> Option<Design> {
    let mut design = design.clone();
    for (key, value) in Design::parse(setting).ok()?.values() {
        design.set(key, value);
    }
    Some(design)
}

#[test]
fn every_field_is_read_by_something() {
    let mut read_by: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for (place, text) in DESIGNS {
        let rules = RuleSet::of(place);
        let design = Design::parse(text).unwrap();
        for setting in SETTINGS {
            let Some(design) = set(&design, setting) else { panic!("{setting}") };
            let before = said(&design, &sheet(&design, &rules));
            for field in FIELDS {
                if read_by.get(field.key).is_some_and(|lines| !lines.is_empty()) {
                    continue;
                }
                let now = design.get(field.key);
                let cleared = now.map(|_| {
                    let mut other = design.clone();
                    other.clear(field.key);
                    other
                });
                let set = others(field, now).into_iter().map(|value| {
                    let mut other = design.clone();
                    other.set(field.key, value);
                    other
                });
                for other in cleared.into_iter().chain(set) {
                    let after = said(&other, &sheet(&other, &rules));
                    read_by.entry(field.key).or_default().extend(changed(&before, &after));
                }
            }
        }
    }
    // Some are read by the methods alone, on site.
    for name in built_in::METHODS {
        let method = compose(name, built_in::FILES).unwrap_or_else(|fault| panic!("{fault}")).method;
        for own in &method.design {
            if let Some(field) = FIELDS.iter().find(|field| field.key == own.key) {
                read_by.entry(field.key).or_default().insert(name.to_owned());
            }
        }
    }
    let unread: Vec<&str> =
        FIELDS.iter().map(|field| field.key).filter(|key| read_by.get(key).is_none_or(BTreeSet::is_empty)).collect();
    for (key, lines) in &read_by {
        println!("{key}: {}", lines.iter().map(String::as_str).collect::<Vec<_>>().join(", "));
    }
    assert_eq!(unread, Vec::<&str>::new(), "fields that nothing reads");
}

#[test]
fn leaving_out_or_zero_never_makes_a_pass() {
    let mut tried = 0;
    let mut made = Vec::new();
    for (place, text) in DESIGNS {
        let rules = RuleSet::of(place);
        let design = Design::parse(text).unwrap();
        let before = sheet(&design, &rules);
        for field in FIELDS.iter().filter(|field| field.choices.is_empty()) {
            let Some(now) = design.get(field.key) else { continue };
            let mut without = design.clone();
            without.clear(field.key);
            let mut zero = design.clone();
            zero.set(field.key, 0);
            for (how, other) in [("left out", &without), ("zero", &zero)] {
                if how == "zero" && now == 0 {
                    continue;
                }
                tried += 1;
                for line in newly_passing(&before, &sheet(other, &rules)) {
                    made.push(format!("{place:?} {} {how}: {line}", field.key));
                }
            }
        }
    }
    assert!(tried > 500, "{tried}");
    // No other inverter, or one that never charges from the grid, is a figure; leaving it out says the same.
    let allowed = [
        "Uk existing_inverter_w left out: grid_route",
        "Uk existing_inverter_w zero: grid_route",
        "De inverter_draw_w zero: controllable",
    ];
    made.retain(|one: &String| !allowed.contains(&one.as_str()));
    assert_eq!(made, Vec::<String>::new());
}
