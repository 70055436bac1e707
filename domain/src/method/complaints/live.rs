//! Tests at a board that is open while it is live: opened with care before, closed again after, both as holds.

use super::{Complaint, order};
use crate::method::plan::{LiveDuty, LivePart, Method, Step};
use std::collections::BTreeSet;

pub(super) fn complain(method: &Method, found: &mut BTreeSet<Complaint>) {
    for (step, duty) in method.steps.iter().filter_map(|step| Some((step, step.live.as_ref()?))) {
        if method.board(&duty.id).is_none() {
            found.insert(Complaint::UnknownBoard { step: step.id.clone(), board: duty.id.clone() });
        }
        if duty.part != LivePart::Tests && !(step.hold && step.safety_critical) {
            found.insert(Complaint::LiveWithoutCare { step: step.id.clone() });
        }
        let lacks = |without| Complaint::LiveNotEnclosed { step: step.id.clone(), without };
        if duty.part != LivePart::Opens && !has_before(method, step, duty, LivePart::Opens) {
            found.insert(lacks("opening it before"));
        }
        let closed_after = |closing: &Step| {
            let before = order::all_before(method, &closing.id);
            closing.is_live(&duty.id, LivePart::Closes) && before.iter().any(|at| method.steps[*at].id == step.id)
        };
        if duty.part != LivePart::Closes && !method.steps.iter().any(closed_after) {
            found.insert(lacks("closing it after"));
        }
    }
}

fn has_before(method: &Method, step: &Step, duty: &LiveDuty, part: LivePart) -> bool {
    order::all_before(method, &step.id).iter().any(|at| method.steps[*at].is_live(&duty.id, part))
}
