//! Proving dead: the tester proved, every pair of conductors tested, the tester proved again, before anybody works inside.
//!
//! Order and instrument as in EN 50110-1 and HSE GS38 (two-pole detector of IEC 61243-3); what counts as dead is a house
//! rule, [`DEAD_MAX`].

use super::{Complaint, order, unknown_in};
use crate::electrical::Unit;
use crate::method::plan::{
    Board, BoardPart, Conductor, LimitRule, Method, Micro, ReadingNeed, Requirement, Step, When,
};
use std::collections::BTreeSet;

/// Volts up to which a steady reading counts as dead, in millionths.
const DEAD_MAX: Micro = Micro(10_000_000);
/// Kind of instrument that may prove dead.
const DETECTOR: &str = "two-pole-detector";

const PROOFS: [(BoardPart, &str); 3] =
    [(BoardPart::TesterBefore, "tester-before"), (BoardPart::Dead, "dead"), (BoardPart::TesterAfter, "tester-after")];

/// What a proof begins with and what ends it.
const LIFETIME: [(BoardPart, &str); 3] =
    [(BoardPart::Isolates, "isolates"), (BoardPart::BeforePower, "before-power"), (BoardPart::Ends, "ends")];

pub(super) fn complain(method: &Method, found: &mut BTreeSet<Complaint>) {
    for step in &method.steps {
        of_step(method, step, found);
    }
    for board in method.boards() {
        of_board(method, board, found);
    }
}

fn of_step(method: &Method, step: &Step, found: &mut BTreeSet<Complaint>) {
    for duty in step.duties() {
        if method.board(&duty.id).is_none() {
            found.insert(Complaint::UnknownBoard { step: step.id.clone(), board: duty.id.clone() });
        }
        let proves = PROOFS.iter().any(|(part, _)| *part == duty.part);
        if proves && !(step.hold && step.stop_work) {
            found.insert(Complaint::ProofCanBeTalkedPast { step: step.id.clone() });
        }
    }
    for need in readings(step) {
        let Some(pair) = &need.pair else { continue };
        let tests = |board: &&Board| step.is_part(&board.id, BoardPart::Dead) && board.has_pair(pair);
        if !method.boards().iter().any(|board| tests(&board)) {
            found.insert(Complaint::UnknownPair { step: step.id.clone(), requirement: need.id.clone() });
        }
        if !proves_dead(need) {
            found.insert(Complaint::WeakDeadLimit { step: step.id.clone(), requirement: need.id.clone() });
        }
        let before = order::all_before(method, &step.id);
        for when in method.conductors_of(step, need).filter_map(|conductor| conductor.when.as_ref()) {
            if !before.iter().any(|at| method.steps[*at].id == when.step) {
                let (step, requirement) = (step.id.clone(), need.id.clone());
                let from = format!("{}.{}", when.step, when.requirement);
                found.insert(Complaint::ReadsAhead { step, requirement, from });
            }
        }
    }
}

fn readings(step: &Step) -> impl Iterator<Item = &ReadingNeed> {
    step.requirements.iter().filter_map(|requirement| match requirement {
        Requirement::Reading(need) => Some(need),
        _ => None,
    })
}

fn proves_dead(need: &ReadingNeed) -> bool {
    let most = match &need.limit {
        Some(LimitRule::Constant(limit)) => limit.at_most,
        Some(LimitRule::Model(_) | LimitRule::Check(_) | LimitRule::Design(_)) | None => None,
    };
    need.unit == Unit::Volt && need.instrument.as_deref() == Some(DETECTOR) && most.is_some_and(|most| most <= DEAD_MAX)
}

fn of_board(method: &Method, board: &Board, found: &mut BTreeSet<Complaint>) {
    let id = || board.id.clone();
    let doing = |part| method.steps.iter().filter(move |step| step.is_part(&board.id, part));
    for (part, word) in PROOFS.into_iter().chain(LIFETIME) {
        if doing(part).next().is_none() {
            found.insert(Complaint::BoardWithoutPart { board: id(), part: word });
        }
    }
    for when in board.conductors.iter().filter_map(|conductor| conductor.when.as_ref()) {
        let names = unknown_in(method, when).into_iter();
        found.extend(names.map(|names| Complaint::UnknownConductorWhen { board: id(), names }));
    }
    if board.conductors.len() < 2 {
        found.insert(Complaint::BoardOfOneConductor { board: id() });
    }
    if doing(BoardPart::Inside).next().is_none() {
        found.insert(Complaint::NobodyInside { board: id() });
    }
    for (index, one) in board.conductors.iter().enumerate() {
        for other in &board.conductors[index + 1..] {
            if !is_tested(method, doing(BoardPart::Dead), one, other) {
                let pair = format!("{} and {}", one.id, other.id);
                found.insert(Complaint::BoardWithoutPair { board: id(), pair });
            }
        }
    }
    // Whoever works inside, however late, waits for all three records; the records wait for each other and for the locks. Locks come off
    // once nobody has work left inside.
    use BoardPart::{BeforePower, Dead, Ends, Inside, Isolates, TesterAfter, TesterBefore};
    for (step, waits_for) in [
        (TesterBefore, &[Isolates][..]),
        (Dead, &[TesterBefore]),
        (TesterAfter, &[TesterBefore, Dead]),
        (Inside, &[TesterBefore, Dead, TesterAfter]),
        (Ends, &[Inside, BeforePower]),
    ] {
        for (one, part) in doing(step).flat_map(|one| waits_for.iter().map(move |part| (one, *part))) {
            let before = order::all_before(method, &one.id);
            for other in doing(part).filter(|other| !before.iter().any(|at| method.steps[*at].id == other.id)) {
                let (step_id, without) = (one.id.clone(), other.id.clone());
                found.insert(match step {
                    Inside => Complaint::InsideBeforeDead { step: step_id, without },
                    Ends if part == BeforePower => Complaint::PowerBeforeReady { step: step_id, without },
                    Ends => Complaint::PowerBeforeInside { step: step_id, without },
                    TesterBefore | Dead | TesterAfter | Isolates | BeforePower => {
                        Complaint::ProofOutOfOrder { step: step_id, without }
                    }
                });
            }
        }
    }
}

/// Whether this pair is read whenever both conductors are there: a step that reads it may be switched off together with one of them
/// only, and several may share the answers by which one of them is there.
fn is_tested<'m>(
    method: &'m Method,
    steps: impl Iterator<Item = &'m Step>,
    one: &'m Conductor,
    other: &'m Conductor,
) -> bool {
    let is_pair = |(a, b): &(String, String)| (*a == one.id && *b == other.id) || (*a == other.id && *b == one.id);
    let reads = |step: &&Step| readings(step).any(|need| need.pair.as_ref().is_some_and(is_pair));
    let on: Vec<Option<&When>> = steps.filter(reads).map(|step| step.when.as_ref()).collect();
    let is_on = |there: &When, option: &String| {
        let mut same = on.iter().flatten().filter(|on| on.step == there.step && on.requirement == there.requirement);
        same.any(|on| on.is.contains(option))
    };
    let mut there = [one, other].into_iter().flat_map(|conductor| conditions(method, conductor));
    on.contains(&None) || (!on.is_empty() && there.any(|there| there.is.iter().all(|option| is_on(there, option))))
}

/// Everything that must have been chosen for a conductor to be there: its own choice, and what that choice itself is asked on.
fn conditions<'m>(method: &'m Method, conductor: &'m Conductor) -> impl Iterator<Item = &'m When> {
    let above = |when: &&'m When| method.step(&when.step).and_then(|step| step.when.as_ref());
    // Conditions that go round in a circle are complained of elsewhere.
    core::iter::successors(conductor.when.as_ref(), above).take(method.steps.len())
}
