//! Where the inputs of checks come from: does the source exist, in the right unit, and is it there in time?

use super::{Complaint, has_unit, kind_name, order};
use crate::electrical::{CheckInfo, Unit, all};
use crate::job_file::body::UnitKind;
use crate::method::plan::{CheckCall, LimitRule, Method, Requirement, Step};
use std::collections::BTreeSet;

/// Input key of the measured value, which the gate puts in itself.
const READING: &str = "reading";

const KINDS: [UnitKind; 6] = [
    UnitKind::Module,
    UnitKind::ControlUnit,
    UnitKind::Inverter,
    UnitKind::Changeover,
    UnitKind::Meter,
    UnitKind::Gateway,
];

pub(super) fn complain(method: &Method, found: &mut BTreeSet<Complaint>) {
    for step in &method.steps {
        for requirement in &step.requirements {
            match requirement {
                Requirement::Check(need) => call(method, step, &need.id, &need.call, found),
                Requirement::Reading(need) => {
                    for limit in need.limits().filter_map(LimitRule::call) {
                        call(method, step, &need.id, limit, found);
                        takes_reading(step, &need.id, need.unit, limit, found);
                    }
                }
                Requirement::Photo(_)
                | Requirement::Serial(_)
                | Requirement::Confirmation(_)
                | Requirement::Choice(_)
                | Requirement::Wait(_)
                | Requirement::Countersign(_)
                | Requirement::Signature(_)
                | Requirement::Words(_) => {}
            }
        }
    }
}

fn info_of(check: &str) -> Option<&'static CheckInfo> {
    all().iter().find(|info| info.id == check)
}

/// A reading can be limited only by a check that judges readings of its unit.
fn takes_reading(step: &Step, requirement: &str, unit: Unit, call: &CheckCall, found: &mut BTreeSet<Complaint>) {
    let Some(info) = info_of(&call.check) else { return };
    if !info.inputs.iter().any(|input| input.key == READING && input.unit == unit) {
        found.insert(Complaint::CheckTakesNoReading {
            step: step.id.clone(),
            requirement: requirement.to_owned(),
            check: call.check.clone(),
        });
    }
}

fn call(method: &Method, step: &Step, requirement: &str, call: &CheckCall, found: &mut BTreeSet<Complaint>) {
    let at = || (step.id.clone(), requirement.to_owned());
    let Some(info) = info_of(&call.check) else {
        let (step, requirement) = at();
        found.insert(Complaint::UnknownCheck { step, requirement, check: call.check.clone() });
        return;
    };
    for (index, input) in call.inputs.iter().enumerate() {
        let (step_id, requirement) = at();
        let from = input.from.clone();
        let known = info.inputs.iter().find(|known| known.key == input.key);
        let again = call.inputs[..index].iter().any(|earlier| earlier.key == input.key);
        let Some(known) = known.filter(|known| known.many || !again) else {
            found.insert(Complaint::UnusableInput { step: step_id, requirement, key: input.key.clone() });
            continue;
        };
        let Some(source) = Source::parse(method, step, &input.from) else {
            found.insert(Complaint::UnresolvedSource { step: step_id, requirement, from });
            continue;
        };
        if source.several && !known.many {
            found.insert(Complaint::UnusableInput { step: step_id, requirement, key: input.key.clone() });
        } else if source.unit.is_some_and(|unit| unit != known.unit) {
            found.insert(Complaint::OtherUnit { step: step_id, requirement, from });
        } else if let Some(read) = source.step
            && read != step.id
            && !order::all_before(method, &step.id).iter().any(|before| method.steps[*before].id == read)
        {
            found.insert(Complaint::ReadsAhead { step: step_id, requirement, from });
        }
    }
    let given = |key: &str| call.inputs.iter().any(|input| input.key == key);
    for input in info.inputs.iter().filter(|input| input.required && !given(input.key)) {
        let (step, requirement) = at();
        found.insert(Complaint::InputNotGiven { step, requirement, key: input.key.to_owned() });
    }
}

/// What an input source leads to.
struct Source<'m> {
    /// Known for design figures, counts and readings; only a catalogue knows it for models.
    unit: Option<Unit>,
    /// The step whose readings it takes.
    step: Option<&'m str>,
    several: bool,
}

impl<'m> Source<'m> {
    /// `None` for a source that leads nowhere.
    fn parse(method: &'m Method, step: &Step, from: &str) -> Option<Self> {
        let parts: Vec<&str> = from.split('.').collect();
        if parts.iter().any(|part| part.is_empty()) {
            return None;
        }
        let one = |unit| Self { unit, step: None, several: false };
        match parts.as_slice() {
            ["design", key] => method.design.iter().find(|field| field.key == *key).map(|field| one(Some(field.unit))),
            ["constant", figure] => figure.parse::<i64>().is_ok().then(|| one(None)),
            ["count", kind] => known_kind(method, kind).then(|| one(Some(Unit::Count))),
            ["model", _key] => step.repeat.is_some().then(|| one(None)),
            ["model", kind, _key] => known_kind(method, kind).then(|| one(None)),
            [head @ ("reading" | "readings" | "readings-to-here"), read, requirement] => {
                let read = method.step(read)?;
                let Requirement::Reading(need) = read.requirement(requirement)? else { return None };
                // "Same slot" and "up to this slot" mean something between two steps repeated for the same units only.
                let slots_agree = match *head {
                    "reading" => read.repeat.is_none() || read.repeat == step.repeat,
                    "readings-to-here" => read.repeat.is_some() && read.repeat == step.repeat,
                    _ => read.repeat.is_some(),
                };
                let several = *head != "reading";
                slots_agree.then_some(Self { unit: Some(need.unit), step: Some(&read.id), several })
            }
            _ => None,
        }
    }
}

fn known_kind(method: &Method, name: &str) -> bool {
    KINDS.into_iter().any(|kind| kind_name(kind) == name && has_unit(method, kind))
}
