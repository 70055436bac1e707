//! What stands before the power: settings and consent before the grid, and every conductor that was taken off tightened again.

use super::{Complaint, has_unit, order};
use crate::electrical::Unit;
use crate::job_file::body::UnitKind;
use crate::method::plan::{BoardPart, GridPart, Method, Requirement, Step};
use std::collections::BTreeSet;

pub(super) fn complain(method: &Method, found: &mut BTreeSet<Complaint>) {
    grid(method, found);
    torque(method, found);
}

fn before<'m>(method: &'m Method, step: &str) -> BTreeSet<&'m str> {
    order::all_before(method, step).iter().map(|at| method.steps[*at].id.as_str()).collect()
}

fn grid(method: &Method, found: &mut BTreeSet<Complaint>) {
    let doing = |part| method.steps.iter().filter(move |step| step.grid == Some(part));
    if has_unit(method, UnitKind::Inverter) && !method.boards().is_empty() && doing(GridPart::Joins).next().is_none() {
        found.insert(Complaint::NobodyJoins);
    }
    for step in doing(GridPart::Joins) {
        let before = before(method, &step.id);
        let lacks = |without: &str| Complaint::JoinsUnset { step: step.id.clone(), without: without.to_owned() };
        if doing(GridPart::Sets).next().is_none() {
            found.insert(lacks("any setting"));
        }
        found.extend(doing(GridPart::Sets).filter(|set| !before.contains(set.id.as_str())).map(|set| lacks(&set.id)));
        let asks = |other: &&Step| other.needs_consent && before.contains(other.id.as_str());
        if !step.needs_consent && !method.steps.iter().any(|other| asks(&other)) {
            found.insert(Complaint::JoinsWithoutConsent { step: step.id.clone() });
        }
    }
}

fn torque(method: &Method, found: &mut BTreeSet<Complaint>) {
    let ends = method.steps.iter().filter(|step| step.duties().iter().any(|duty| duty.part == BoardPart::Ends));
    let before_power: Vec<BTreeSet<&str>> = ends.map(|step| before(method, &step.id)).collect();
    for step in &method.steps {
        for terminal in step.loosens.iter().flatten() {
            let tightens = |again: &&Step| again.tightens.iter().flatten().any(|own| own == terminal);
            let follows = |again: &&Step| before(method, &again.id).contains(step.id.as_str());
            let in_time = |again: &&Step| before_power.iter().all(|before| before.contains(again.id.as_str()));
            if !method.steps.iter().any(|again| tightens(&again) && follows(&again) && in_time(&again)) {
                found.insert(Complaint::LeftLoose { step: step.id.clone(), terminal: terminal.clone() });
            }
        }
        if step.tightens.is_some() && !(step.hold && step.requirements.iter().any(is_torque)) {
            found.insert(Complaint::TightensNothing { step: step.id.clone() });
        }
    }
}

fn is_torque(requirement: &Requirement) -> bool {
    matches!(requirement, Requirement::Reading(need) if need.unit == Unit::NewtonMetre && need.instrument.is_some())
}
