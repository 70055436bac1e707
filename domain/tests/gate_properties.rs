//! No sequence of entries, however odd, opens a stop-work gate without its evidence; and what a job file means, breaches
//! included, follows from the set of its entries and not from the order in which they came.
#![cfg(feature = "methods")]
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

mod built_in;
mod rehearsal;

use domain::ids::EntryId;
use domain::job_file::body::*;
use domain::job_file::{Body, Draft, Entry, JobFile, Place, Stamp, fold};
use domain::method::Method;
use domain::method::gate::{Answer, Plan, StepRef, StepState};
use domain::method::load::compose;
use domain::method::plan::{Requirement, When};
use proptest::prelude::*;
use rehearsal::{Line, Log, Who, id, lead, perfect_run, photo_file, server, tech, ways};
use std::sync::OnceLock;

/// The shortest of the methods, and good work on it, from which odd work is made.
fn fuse() -> &'static (Method, Log) {
    static FUSE: OnceLock<(Method, Log)> = OnceLock::new();
    FUSE.get_or_init(|| {
        let method = compose("replace-fuse.toml", built_in::FILES).unwrap().method;
        let way = ways(&method).remove(0);
        let log = perfect_run(&Plan::of(&method), &way);
        (method, log)
    })
}

/// What somebody does who is careless, in a hurry, or worse.
#[derive(Clone, Debug)]
enum Odd {
    /// Leaves an entry out.
    Skip,
    /// Writes it at once and again later.
    Twice,
    /// Somebody else writes it.
    By(u8),
    /// Asks for a departure instead, and allows it.
    Depart(bool),
    /// Writes evidence of another step before it.
    Early(usize),
    /// Takes the entry back afterwards.
    TakeBack,
    /// Says that the server found something.
    Found(u8),
    /// The lead sends the step back.
    SendBack,
    /// Stops, and resolves by oneself.
    Stop,
}

fn odd() -> impl Strategy<Value = Odd> {
    prop_oneof![
        4 => Just(Odd::Skip),
        1 => Just(Odd::Twice),
        2 => (0..4_u8).prop_map(Odd::By),
        3 => any::<bool>().prop_map(Odd::Depart),
        3 => (0..400_usize).prop_map(Odd::Early),
        2 => Just(Odd::TakeBack),
        2 => (0..6_u8).prop_map(Odd::Found),
        1 => Just(Odd::SendBack),
        1 => Just(Odd::Stop),
    ]
}

fn somebody(number: u8) -> Who {
    match number {
        0 => lead(),
        1 => server(),
        2 => (tech().0, lead().1),
        _ => (domain::ids::PersonId::of(id(1, 9)), domain::ids::DeviceId::of(id(2, 9))),
    }
}

const OPENING: usize = 5;

/// The perfect log with odd things done at these places.
fn odd_log(perfect: &Log, deeds: &[(usize, Odd)]) -> Vec<Line> {
    let mut out: Vec<Line> = Vec::new();
    let mut extra = 0;
    let mut fresh = |kind| {
        extra += 1;
        EntryId::of(id(kind, extra))
    };
    for (at, line) in perfect.lines.iter().enumerate() {
        let deed = deeds.iter().find(|(place, _)| at >= OPENING && *place == at).map(|(_, deed)| deed);
        let place = line.body.evidence_place().cloned().unwrap_or_else(|| Place::of("take-out-fuses", 0, "photo"));
        match deed {
            None => out.push(line.clone()),
            Some(Odd::Skip) => {}
            Some(Odd::Twice) => {
                out.push(line.clone());
                out.push(Line { id: fresh(61), ..line.clone() });
            }
            Some(Odd::By(who)) => out.push(Line { who: somebody(*who), ..line.clone() }),
            Some(Odd::Depart(by_lead)) => {
                let asked = fresh(62);
                let remark = fresh(63);
                let body = DeviationAsked { at: place, remark, photo: photo_file(9_000), preview: None };
                out.push(Line { who: tech(), id: asked, body: Body::DeviationAsked(body) });
                let who = if *by_lead { lead() } else { tech() };
                let body = Body::DeviationDecided(DeviationDecided { asked, allowed: true, remark: None });
                out.push(Line { who, id: fresh(64), body });
            }
            Some(Odd::Early(other)) => {
                let other = &perfect.lines[OPENING + other % (perfect.lines.len() - OPENING)];
                out.push(Line { id: fresh(65), ..other.clone() });
                out.push(line.clone());
            }
            Some(Odd::TakeBack) => {
                out.push(line.clone());
                let body = Body::Retraction(Retraction { target: line.id, remark: None });
                out.push(Line { who: line.who, id: fresh(66), body });
            }
            Some(Odd::Found(code)) => {
                let code = [
                    FindingCode::SerialElsewhere,
                    FindingCode::PhotoElsewhere,
                    FindingCode::ForkedChain,
                    FindingCode::PreviewDiffers,
                    FindingCode::CountersignConfirmed,
                    FindingCode::CountersignWrong,
                ][usize::from(*code)];
                out.push(line.clone());
                let finding = Finding { code, about: line.id, other: Some(EntryId::of(id(0, 0))) };
                out.push(Line { who: server(), id: fresh(67), body: Body::Finding(finding) });
            }
            Some(Odd::SendBack) => {
                out.push(line.clone());
                let remark = fresh(68);
                out.push(Line { who: lead(), id: fresh(60), body: Body::Returned(Returned { at: place, remark }) });
            }
            Some(Odd::Stop) => {
                let stop = fresh(69);
                let body = Body::StopWork(StopWork { cause: StopCause::Other, at: None, remark: None });
                out.push(Line { who: tech(), id: stop, body });
                let body = Body::StopResolved(StopResolved { stop, remark: stop });
                out.push(Line { who: tech(), id: fresh(60), body });
                out.push(line.clone());
            }
        }
    }
    out
}

/// The file that these lines make, one after another, each device having seen `lag` entries less than there are.
fn file_of(lines: &[Line], lag: u64) -> JobFile {
    let mut log = Log::default();
    if lag == 0 {
        lines.iter().for_each(|line| log.write(line.who, line.id, line.body.clone()));
        return log.file;
    }
    let mut file = JobFile::default();
    let template = fuse().1.file.iter().next().unwrap().entry.header.clone();
    for (number, line) in lines.iter().enumerate() {
        let made = number as u64 + 1;
        let draft = Draft {
            id: line.id,
            firm: template.firm,
            job: template.job,
            author: line.who.0,
            device: line.who.1,
            salt: [7; 16],
            body: line.body.clone(),
        };
        let time_us = rehearsal::START_US + made * 1_000_000;
        let seen = number as u64 - (number as u64).min(lag);
        let entry = Entry::write(draft, file.chain_head(line.who.1), seen, time_us, 0);
        file.absorb(entry, Some(Stamp { time_us, position: made }));
    }
    file
}

/// Whether a conductor of this reading is one that somebody on the job said is not there.
fn has_no_conductor(file: &JobFile, plan: &Plan<'_>, at: StepRef, requirement: &Requirement) -> bool {
    let Requirement::Reading(need) = requirement else { return false };
    let step = plan.step(at.step);
    let mut there = plan.method().conductors_of(step, need).filter_map(|conductor| conductor.when.as_ref());
    there.any(|when| {
        // The choice, and what it is itself asked on, however far back.
        let above = |when: &&When| plan.method().step(&when.step).and_then(|step| step.when.as_ref());
        let mut all = core::iter::successors(Some(when), above).take(9);
        all.any(|when| {
            let place = Place::of(&when.step, 0, &when.requirement);
            file.iter().any(|held| match held.entry.body() {
                Some(Body::Choice(choice)) => choice.at == place && !when.is.contains(&choice.option),
                _ => false,
            })
        })
    })
}

/// Whether evidence of the right kind, that nobody took back, stands in the file for a requirement that is met.
fn has_evidence(file: &JobFile, plan: &Plan<'_>, at: StepRef, requirement: &Requirement, answer: &Answer) -> bool {
    if *answer == Answer::NotApplicable {
        return has_no_conductor(file, plan, at, requirement);
    }
    let Answer::Met { by } = answer else { return false };
    let place = rehearsal::place(plan, at, requirement.id());
    let good = |entry: &EntryId| {
        let body = file.get(*entry).and_then(|held| held.entry.body());
        body.is_some_and(|body| body.evidence_place() == Some(&place))
    };
    match requirement {
        Requirement::Check(_) => by.is_empty(),
        Requirement::Photo(need) => by.len() >= usize::from(need.count) && by.iter().all(good),
        _ => !by.is_empty() && by.iter().all(good),
    }
}

/// Everything that a fold says, as text.
fn meaning(file: &JobFile, plan: &Plan<'_>) -> String {
    let mut state = fold(file, plan);
    let steps: Vec<StepState> = state.gate.steps().into_iter().map(|at| state.gate.view(at).state).collect();
    let stops: Vec<EntryId> = state.gate.record().open_stops().collect();
    format!("{steps:?} {:?} {:?} {stops:?} {:?}", state.breaches, state.phase, state.late)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn no_odd_sequence_opens_a_stop_work_gate(
        deeds in prop::collection::vec((OPENING..330_usize, odd()), 1..14),
        lag in 0..6_u64,
    ) {
        let (method, perfect) = fuse();
        let plan = Plan::of(method);
        let file = file_of(&odd_log(perfect, &deeds), lag);
        let mut state = fold(&file, &plan);
        for at in state.gate.steps() {
            let view = state.gate.view(at);
            let past = matches!(view.state, StepState::Satisfied | StepState::Deviating);
            if view.step.stop_work && past {
                prop_assert!(view.state == StepState::Satisfied, "{} was talked past", view.step.id);
                for (requirement, answer) in view.step.requirements.iter().zip(&view.answers) {
                    prop_assert!(
                        has_evidence(&file, &plan, at, requirement, answer),
                        "{} {} is done by {answer:?}", view.step.id, requirement.id()
                    );
                }
            }
            // Whatever is open or done has every stop-work step before it done by its own evidence.
            if past || view.state == StepState::Open {
                for before in stop_work_before(&mut state, at) {
                    prop_assert!(state.gate.is_done(before));
                }
            }
        }
    }

    #[test]
    fn the_order_of_arrival_changes_nothing(
        deeds in prop::collection::vec((OPENING..330_usize, odd()), 0..10),
        lag in 0..4_u64,
        turn in 0..1_000_usize,
    ) {
        let (method, perfect) = fuse();
        let plan = Plan::of(method);
        let file = file_of(&odd_log(perfect, &deeds), lag);
        let mut held: Vec<_> = file.iter().cloned().collect();
        let length = held.len();
        held.rotate_left(turn % length);
        held.sort_by_key(|held| held.entry.hash.bytes()[turn % 32]);
        let mut shuffled = JobFile::default();
        for held in &held {
            // First as it left the device, then once more with the server's stamp.
            shuffled.absorb(held.entry.clone(), None);
        }
        for held in held.iter().rev() {
            shuffled.absorb(held.entry.clone(), held.stamp);
        }
        prop_assert_eq!(meaning(&file, &plan), meaning(&shuffled, &plan));
    }
}

/// The stop-work steps that the method's text puts before a step.
fn stop_work_before(state: &mut domain::job_file::JobState<'_, '_>, at: StepRef) -> Vec<StepRef> {
    let plan = state.gate.plan();
    let before: Vec<usize> = plan.needs_of(at.step).iter().map(|need| need.step).collect();
    let steps = state.gate.steps();
    steps.into_iter().filter(|step| before.contains(&step.step) && plan.step(step.step).stop_work).collect()
}
