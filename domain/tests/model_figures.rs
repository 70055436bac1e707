//! The table of manufacturers' figures says of each which checks read it: here each is changed, and every method read.
#![cfg(feature = "methods")]
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

mod built_in;
mod six_designs;

use domain::design::{Design, MODEL_FIGURES, ModelFigure, Sheet, sheet};
use domain::electrical::rule_set::RuleSet;
use domain::job_file::body::UnitKind;
use domain::method::load::compose;
use domain::method::plan::{CheckCall, LimitRule, Method, Repeat, Requirement, Step};
use six_designs::DESIGNS;
use std::collections::{BTreeMap, BTreeSet};

/// What must be so for some figures to matter at all.
const SETTINGS: [&str; 3] = ["", "location_kind = attached_garage", "location_kind = detached_garage"];

type Readers = BTreeMap<(UnitKind, String), (BTreeSet<String>, bool)>;

fn said(sheet: &Sheet) -> BTreeMap<&'static str, (Option<&'static str>, String)> {
    let lines = sheet.lines.iter().chain(&sheet.limits);
    lines.map(|line| (line.key, (line.check().map(|check| check.id), format!("{line:?}")))).collect()
}

/// Ids of the checks whose lines say something else with another figure.
fn on_the_sheet(figure: &ModelFigure, field: &str) -> BTreeSet<String> {
    let mut ids = BTreeSet::new();
    for (place, text) in DESIGNS {
        let rules = RuleSet::of(place);
        for setting in SETTINGS {
            let mut design = Design::parse(text).unwrap();
            for (key, value) in Design::parse(setting).unwrap().values() {
                design.set(key, value);
            }
            let before = said(&sheet(&design, &rules));
            let now = design.get(field).unwrap_or(1_000_000);
            let others = if figure.is_answer { vec![0, 1_000_000] } else { vec![now * 3, now / 3, now + 1_000_000] };
            for value in others {
                let mut other = design.clone();
                other.set(field, value);
                let after = said(&sheet(&other, &rules));
                let changed = after.iter().filter(|(key, (_, said))| before.get(*key).is_none_or(|own| own.1 != *said));
                ids.extend(changed.filter_map(|(_, (id, _))| id.map(str::to_owned)));
            }
        }
    }
    ids
}

fn kind_of_word(word: &str) -> UnitKind {
    serde_json::from_value(serde_json::Value::String(word.to_owned())).unwrap()
}

fn kind_of_slot(step: &Step) -> UnitKind {
    match step.repeat {
        Some(Repeat::Module) => UnitKind::Module,
        Some(Repeat::Stack) => UnitKind::ControlUnit,
        Some(Repeat::ExistingInverter) => UnitKind::Inverter,
        Some(Repeat::Unit) | None => panic!("{}: a figure of no kind of unit", step.id),
    }
}

fn called(step: &Step, call: &CheckCall, into: &mut Readers) {
    for input in &call.inputs {
        let parts: Vec<&str> = input.from.split('.').collect();
        let (kind, key) = match parts[..] {
            ["model", key] => (kind_of_slot(step), key),
            ["model", kind, key] => (kind_of_word(kind), key),
            _ => continue,
        };
        into.entry((kind, key.to_owned())).or_default().0.insert(call.check.clone());
    }
}

fn by_the_method(method: &Method, into: &mut Readers) {
    for step in &method.steps {
        for need in &step.requirements {
            match need {
                Requirement::Reading(reading) => {
                    for limit in reading.limits() {
                        match limit {
                            LimitRule::Model(limit) => {
                                let kind = limit.unit.unwrap_or_else(|| kind_of_slot(step));
                                for key in limit.at_least.iter().chain(&limit.at_most) {
                                    into.entry((kind, key.clone())).or_default().1 = true;
                                }
                            }
                            LimitRule::Check(call) => called(step, call, into),
                            LimitRule::Constant(_) | LimitRule::Design(_) => {}
                        }
                    }
                }
                Requirement::Check(check) => called(step, &check.call, into),
                Requirement::Wait(wait) => {
                    if let Some(key) = &wait.model {
                        let kind = wait.unit.unwrap_or_else(|| kind_of_slot(step));
                        into.entry((kind, key.clone())).or_default().1 = true;
                    }
                }
                _ => {}
            }
        }
    }
}

/// No figure is asked for that nothing reads, none is read that the form does not have, and what the form says of it is so.
#[test]
fn the_table_names_every_reader() {
    let mut found = Readers::new();
    for name in built_in::METHODS {
        by_the_method(&compose(name, built_in::FILES).unwrap_or_else(|fault| panic!("{fault}")).method, &mut found);
    }
    for figure in MODEL_FIGURES {
        if let Some(field) = figure.fills {
            let ids = on_the_sheet(figure, field);
            found.entry((figure.kind, figure.key.to_owned())).or_default().0.extend(ids);
        }
    }
    let mut told = Readers::new();
    for figure in MODEL_FIGURES {
        let checks = figure.checks().map(str::to_owned).collect();
        told.insert((figure.kind, figure.key.to_owned()), (checks, figure.on_site));
    }
    let mut wrong = Vec::new();
    for key in told.keys().chain(found.keys()).collect::<BTreeSet<_>>() {
        if told.get(key) != found.get(key) {
            wrong.push(format!("{key:?}: the table {:?}, found {:?}", told.get(key), found.get(key)));
        }
    }
    let unread: Vec<_> = found.iter().filter(|(_, (checks, on_site))| checks.is_empty() && !on_site).collect();
    assert!(wrong.is_empty() && unread.is_empty(), "{}\nunread: {unread:?}", wrong.join("\n"));
}
