//! What a job file means: a pure function of the set of entries, whatever the order in which they came.
//!
//! Each entry is first judged against what its own device held when it was written: its own chain and the job up to
//! `seen`. What the gates of that view would not have let through is a *breach*: it is kept and shown and counts for
//! nothing. So nobody's honest work becomes a breach because of somebody else's later entry.

use super::absorb::{absorb, is_by_server};
use super::body::{Body, CrewRole, DeviationByVoice, LeftAs};
use super::countersigns::decisions;
use super::entry::Content;
use super::file::{Held, JobFile, OrderKey};
use super::record::PhaseEvent;
use super::sealing::{after_seal, is_no_news};
use crate::ids::{DeviceId, EntryId, PersonId};
use crate::method::gate::{Gate, Obstacle, Plan, Touched};
use crate::method::plan::{BoardPart, Requirement};
use std::collections::{BTreeMap, BTreeSet};

/// Why an entry is a breach.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BreachWhy {
    /// The step was shut.
    StepShut(Vec<Obstacle>),
    /// The method or the job has no such place.
    NoSuchPlace,
    /// The author was not on the job.
    NotOnJob,
    /// Only a lead may do this.
    NotLead,
    /// It replaces somebody else's entry.
    NotYours,
    /// The file was opened before.
    AlreadyPlanned,
    /// Nothing but its evidence opens this step.
    StopWorkStep,
    /// The job was not complete.
    NotComplete,
    /// What it names is not in the file.
    NothingThere,
    /// The server found another PIN under the countersignature.
    WrongPin,
    /// The answer given by voice is not the one for this place.
    WrongAnswer,
    /// The answer given by voice was used before.
    AnswerUsed,
    /// Only the server's own device writes this.
    NotServer,
    /// A stop is taken back by whoever stopped, at once or not at all.
    StopStands,
}

/// So long whoever stopped the work may take it back by themselves, microseconds. House rule: a slip of the thumb is seen at once, and
/// whoever has begun to look into it has seen something.
pub const TAKE_BACK_US: u64 = 60_000_000;

/// An entry that the gate would not have let through on the device that made it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Breach {
    /// Why.
    pub why: BreachWhy,
    /// A lead has dealt with it, in this remark.
    pub settled: Option<EntryId>,
}

/// Where a job stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Phase {
    /// No crew or no day yet.
    Planned,
    /// Handed out.
    WithCrew,
    /// Evidence is there.
    OnSite,
    /// The crew left the site in this state.
    Paused(LeftAs),
    /// The lead looks at it.
    ForReview,
    /// Something must be done again.
    Returned,
    /// Review passed; the seal comes after it.
    Passed,
    /// Sealed; what arrives now asks for the next seal.
    Sealed,
    /// Will not be done.
    Withdrawn,
}

impl Phase {
    /// The review has passed.
    pub const fn has_passed(self) -> bool {
        matches!(self, Self::Passed | Self::Sealed)
    }

    /// Nobody works on the job any more.
    pub const fn is_over(self) -> bool {
        matches!(self, Self::Passed | Self::Sealed | Self::Withdrawn)
    }
}

/// The meaning of a job file.
#[derive(Clone, Debug)]
pub struct JobState<'p, 'a> {
    /// The file that was folded.
    pub file: &'a JobFile,
    /// Everything that counts, behind the method's gates.
    pub gate: Gate<'p, 'a>,
    /// Where the job stands.
    pub phase: Phase,
    /// What was not let through.
    pub breaches: BTreeMap<EntryId, Breach>,
    /// What arrived after the review had passed: kept outside, shown.
    pub late: BTreeSet<EntryId>,
    /// What arrived after the newest seal and asks for the next.
    pub after_seal: BTreeSet<EntryId>,
    /// The order of every entry.
    pub keys: BTreeMap<EntryId, OrderKey>,
    /// Entries that continue the same entry of their device as another one.
    pub forks: BTreeSet<EntryId>,
}

impl JobState<'_, '_> {
    /// Breaches that nobody has dealt with.
    pub fn open_breaches(&self) -> impl Iterator<Item = (&EntryId, &Breach)> {
        self.breaches.iter().filter(|(_, breach)| breach.settled.is_none())
    }
}

/// Folds a job file behind a method.
pub fn fold<'p, 'a>(file: &'a JobFile, plan: &'p Plan<'p>) -> JobState<'p, 'a> {
    let keys = file.order_keys();
    let mut breaches: BTreeMap<EntryId, Breach> =
        judge_all(file, plan, &keys).into_iter().map(|(id, why)| (id, Breach { why, settled: None })).collect();
    for id in wrong_pins(file) {
        breaches.entry(id).or_insert(Breach { why: BreachWhy::WrongPin, settled: None });
    }
    let late = late_entries(file, &breaches);
    let mut gate = Gate::new(plan);
    for held in file.iter() {
        let id = held.entry.header.id;
        match breaches.get(&id) {
            Some(breach) => note_power(&mut gate, held, keys[&id], &breach.why),
            None if late.contains(&id) => {}
            None => absorb(&mut gate, held, keys[&id]),
        }
    }
    for (entry, remark) in &gate.record().settled {
        if let Some(breach) = breaches.get_mut(entry) {
            breach.settled = Some(*remark);
        }
    }
    let phase = phase_of(&gate);
    let after_seal = after_seal(file, gate.record());
    JobState { file, gate, phase, breaches, late, after_seal, keys, forks: forks_of(file) }
}

/// The same for whoever stands at the boards at a moment, microseconds since 1970 UTC: a proof of dead may have ended since the last entry.
pub fn fold_at<'p, 'a>(file: &'a JobFile, plan: &'p Plan<'p>, now: u64) -> JobState<'p, 'a> {
    let mut state = fold(file, plan);
    state.gate.answer_for(Some(now), None);
    state
}

/// The same for one person: who was away meanwhile proves again though the others work on.
pub fn fold_for<'p, 'a>(file: &'a JobFile, plan: &'p Plan<'p>, now: u64, by: PersonId) -> JobState<'p, 'a> {
    let mut state = fold(file, plan);
    state.gate.answer_for(Some(now), Some(by));
    state
}

/// Countersignatures of this file under which the server found a wrong PIN.
fn wrong_pins(file: &JobFile) -> Vec<EntryId> {
    let countersigns =
        |id: &EntryId| matches!(file.get(*id).and_then(|held| held.entry.body()), Some(Body::Countersign(_)));
    let wrong = decisions(file).into_iter().filter(|(_, right)| !right).map(|(id, _)| id);
    wrong.filter(countersigns).collect()
}

/// Position of the first pass of the review and everything of the crew that arrived after it.
fn late_entries(file: &JobFile, breaches: &BTreeMap<EntryId, Breach>) -> BTreeSet<EntryId> {
    let passed = file
        .iter()
        .filter(|held| matches!(held.entry.content, Content::Body(Body::Passed(_))))
        .filter(|held| !breaches.contains_key(&held.entry.header.id))
        .filter_map(|held| held.stamp.map(|stamp| stamp.position))
        .min();
    let Some(passed) = passed else { return BTreeSet::new() };
    file.iter()
        .filter(|held| held.stamp.is_some_and(|stamp| stamp.position > passed))
        .filter(|held| held.entry.body().is_some_and(|body| !body.is_lead_act() && !is_no_news(body)))
        .map(|held| held.entry.header.id)
        .collect()
}

fn forks_of(file: &JobFile) -> BTreeSet<EntryId> {
    let mut by_prev: BTreeMap<(DeviceId, [u8; 32]), Vec<EntryId>> = BTreeMap::new();
    for held in file.iter() {
        let header = &held.entry.header;
        by_prev.entry((header.device, *header.prev.bytes())).or_default().push(header.id);
    }
    by_prev.into_values().filter(|ids| ids.len() > 1).flatten().collect()
}

fn phase_of(gate: &Gate<'_, '_>) -> Phase {
    let record = gate.record();
    match record.last_phase() {
        Some(PhaseEvent::Withdrawn) => Phase::Withdrawn,
        Some(PhaseEvent::Sealed) => Phase::Sealed,
        Some(PhaseEvent::Passed) => Phase::Passed,
        Some(PhaseEvent::Submitted) => Phase::ForReview,
        Some(PhaseEvent::Returned) => Phase::Returned,
        Some(PhaseEvent::Paused(left_as)) => Phase::Paused(left_as),
        Some(PhaseEvent::Resumed) => Phase::OnSite,
        None if !record.evidence.is_empty() => Phase::OnSite,
        None => {
            let crew = record.crew.as_ref().is_some_and(|crew| !crew.value.crew.is_empty());
            if crew && record.schedule.is_some() { Phase::WithCrew } else { Phase::Planned }
        }
    }
}

/// What one device held, while its entries are judged one after another.
struct View<'p, 'a> {
    gate: Gate<'p, 'a>,
    /// Entries of others up to this position are in the gate.
    seen: u64,
    own: Vec<&'a Held>,
    next: usize,
}

/// Judges every entry against its own device's view.
///
/// An entry is judged once all that its view holds has been judged. Positions make that an order: nobody can have seen
/// a position that came after their own. Where a forged chain contradicts itself, the earliest arrival goes first.
fn judge_all<'p, 'a>(
    file: &'a JobFile,
    plan: &'p Plan<'p>,
    keys: &BTreeMap<EntryId, OrderKey>,
) -> BTreeMap<EntryId, BreachWhy> {
    let mut stamped: Vec<(u64, &Held)> =
        file.iter().filter_map(|held| held.stamp.map(|stamp| (stamp.position, held))).collect();
    stamped.sort_by_key(|(position, held)| (*position, held.entry.header.id));
    let mut views: BTreeMap<DeviceId, View<'p, 'a>> = BTreeMap::new();
    for held in file.iter() {
        let view = views.entry(held.entry.header.device).or_insert_with(|| View {
            gate: Gate::new(plan),
            seen: 0,
            own: Vec::new(),
            next: 0,
        });
        view.own.push(held);
    }
    for view in views.values_mut() {
        view.own.sort_by_key(|held| (held.entry.header.seq, held.entry.header.id));
    }

    let mut breaches: BTreeMap<EntryId, BreachWhy> = BTreeMap::new();
    let mut judged: BTreeSet<EntryId> = BTreeSet::new();
    // How many of `stamped`, from the front, are judged without a gap.
    let mut frontier = 0;
    while judged.len() < file.len() {
        while frontier < stamped.len() && judged.contains(&stamped[frontier].1.entry.header.id) {
            frontier += 1;
        }
        let known_to = stamped.get(frontier).map_or(u64::MAX, |(position, _)| position - 1);
        let ready = views
            .iter()
            .filter(|(_, view)| view.next < view.own.len())
            .map(|(device, view)| (*device, view.own[view.next]))
            .min_by_key(|(_, held)| {
                let waits = seen_by(held) > known_to;
                (waits, held.stamp.map_or(u64::MAX, |stamp| stamp.position), keys[&held.entry.header.id])
            })
            .map(|(device, _)| device);
        let Some(view) = ready.and_then(|device| views.get_mut(&device)) else { break };
        judge_next(view, &stamped, keys, &mut breaches);
        judged.insert(view.own[view.next].entry.header.id);
        view.next += 1;
    }
    breaches
}

/// The position up to which an entry's device can have seen the job.
fn seen_by(held: &Held) -> u64 {
    let seen = held.entry.header.seen;
    held.stamp.map_or(seen, |stamp| seen.min(stamp.position - 1))
}

fn judge_next<'a>(
    view: &mut View<'_, 'a>,
    stamped: &[(u64, &'a Held)],
    keys: &BTreeMap<EntryId, OrderKey>,
    breaches: &mut BTreeMap<EntryId, BreachWhy>,
) {
    let held = view.own[view.next];
    let device = held.entry.header.device;
    let seen = seen_by(held);
    if seen > view.seen {
        let from = stamped.partition_point(|(position, _)| *position <= view.seen);
        let to = stamped.partition_point(|(position, _)| *position <= seen);
        for (_, other) in &stamped[from..to] {
            let id = other.entry.header.id;
            if other.entry.header.device == device {
                continue;
            }
            match breaches.get(&id) {
                Some(why) => note_power(&mut view.gate, other, keys[&id], why),
                None => absorb(&mut view.gate, other, keys[&id]),
            }
        }
        view.seen = seen;
    }
    let id = held.entry.header.id;
    view.gate.answer_for(Some(keys[&id].at), Some(held.entry.header.author));
    match judge(&mut view.gate, held, keys[&id].at) {
        Some(why) => {
            note_power(&mut view.gate, held, keys[&id], &why);
            breaches.insert(id, why);
        }
        None => absorb(&mut view.gate, held, keys[&id]),
    }
}

/// Who switches on at a step that was shut has switched on.
fn note_power(gate: &mut Gate<'_, '_>, held: &Held, key: OrderKey, why: &BreachWhy) {
    let place = held.entry.body().and_then(Body::evidence_place).filter(|_| matches!(why, BreachWhy::StepShut(_)));
    let step = place.and_then(|place| gate.plan().method().step(&place.step));
    if step.is_some_and(|step| step.duties().iter().any(|duty| duty.part == BoardPart::Ends)) {
        gate.record_mut(Touched::Everything).power_refused.insert(key);
    }
}

fn judge(gate: &mut Gate<'_, '_>, held: &Held, at: u64) -> Option<BreachWhy> {
    let author = held.entry.header.author;
    let body = held.entry.body()?;
    if let Some(place) = body.evidence_place() {
        return judge_evidence(gate, author, body, place);
    }
    if body.is_lead_act()
        && !matches!(body, Body::JobPlanned(_))
        && gate.record().role_of(author) != Some(CrewRole::Lead)
    {
        // The office corrects site data and consent; whether its role may is the server's table.
        let office_act = matches!(body, Body::SiteDetails(_) | Body::Consent(_) | Body::PhotoAbsent(_));
        return (!office_act).then_some(BreachWhy::NotLead);
    }
    match body {
        Body::JobPlanned(_) => gate.record().plan.is_some().then_some(BreachWhy::AlreadyPlanned),
        Body::Retraction(retraction) => match gate.record().stops.get(&retraction.target).filter(|stop| stop.by_itself)
        {
            Some(stop) if stop.by != author => Some(BreachWhy::NotYours),
            Some(stop) => (at.saturating_sub(stop.key.at) > TAKE_BACK_US).then_some(BreachWhy::StopStands),
            None => judge_replacement(gate, author, retraction.target),
        },
        Body::CautionsRead(read) => {
            not_on_job(gate, author).or_else(|| gate.find(&read.at).is_none().then_some(BreachWhy::NoSuchPlace))
        }
        Body::DeviationAsked(asked) => not_on_job(gate, author).or_else(|| match gate.find(&asked.at) {
            None => Some(BreachWhy::NoSuchPlace),
            Some(at) if gate.plan().step(at.step).stop_work => Some(BreachWhy::StopWorkStep),
            Some(at) => shut(gate, at),
        }),
        Body::DeviationDecided(decided) => {
            (!gate.record().deviations.contains_key(&decided.asked)).then_some(BreachWhy::NothingThere)
        }
        Body::StopResolved(resolved) => {
            (!gate.record().stops.contains_key(&resolved.stop)).then_some(BreachWhy::NothingThere)
        }
        Body::Submitted(_) => not_on_job(gate, author).or_else(|| incomplete(gate)),
        Body::Passed(_) => incomplete(gate),
        Body::Paused(_) | Body::Resumed(_) | Body::WentAway(_) | Body::CameBack(_) | Body::LockHandedOver(_) => {
            not_on_job(gate, author)
        }
        Body::DeviationByVoice(said) => not_on_job(gate, author).or_else(|| judge_voice(gate, said)),
        Body::VoiceAnswers(_) | Body::Sealed(_) => (!is_by_server(held)).then_some(BreachWhy::NotServer),
        Body::VoiceAnswerShown(shown) => {
            (!gate.record().voice_answers.contains_key(&shown.issue)).then_some(BreachWhy::NothingThere)
        }
        // A stop is never wrong, words are never shut out, and what belongs to evidence is judged with it.
        Body::StopWork(_)
        | Body::Remark(_)
        | Body::Finding(_)
        | Body::OriginDoubt(_)
        | Body::CountersignProof(_)
        | Body::Drawing(_)
        | Body::DrawnNumber(_) => None,
        Body::Equipment(_)
        | Body::DesignInputs(_)
        | Body::Consent(_)
        | Body::SiteDetails(_)
        | Body::Schedule(_)
        | Body::Assignment(_)
        | Body::Withdrawn(_)
        | Body::Returned(_)
        | Body::BreachSettled(_)
        | Body::PhotoAbsent(_) => None,
        // Answered above.
        Body::Photo(_)
        | Body::Reading(_)
        | Body::Serial(_)
        | Body::Confirmation(_)
        | Body::Choice(_)
        | Body::Waited(_)
        | Body::Countersign(_)
        | Body::Signature(_)
        | Body::Words(_) => None,
    }
}

fn judge_voice(gate: &Gate<'_, '_>, said: &DeviationByVoice) -> Option<BreachWhy> {
    let record = gate.record();
    let Some(deviation) = record.deviations.get(&said.asked) else { return Some(BreachWhy::NothingThere) };
    let at = &deviation.asked.at;
    if gate.find(at).is_none_or(|at| gate.plan().step(at.step).stop_work) {
        return Some(BreachWhy::StopWorkStep);
    }
    let hash = crate::people::voice::seal_of(said.proof);
    let batch = record.voice_answers.get(&said.issue);
    if !batch.is_some_and(|batch| batch.answers.iter().any(|answer| answer.at == *at && answer.hash == hash)) {
        return Some(BreachWhy::WrongAnswer);
    }
    let used = record.voice_said.values().any(|(_, before)| {
        before.issue == said.issue && record.deviations.get(&before.asked).is_some_and(|other| other.asked.at == *at)
    });
    used.then_some(BreachWhy::AnswerUsed)
}

fn judge_evidence(gate: &mut Gate<'_, '_>, author: PersonId, body: &Body, place: &super::Place) -> Option<BreachWhy> {
    if let Some(why) = not_on_job(gate, author) {
        return Some(why);
    }
    let Some(at) = gate.find(place) else { return Some(BreachWhy::NoSuchPlace) };
    let fits = gate.plan().step(at.step).requirement(&place.requirement).is_some_and(|need| fits(need, body));
    if !fits {
        return Some(BreachWhy::NoSuchPlace);
    }
    if let Some(target) = body.corrects()
        && let Some(why) = judge_correction(gate, author, target, place)
    {
        return Some(why);
    }
    shut(gate, at).or_else(|| {
        // What was done under a living proof may be said better; nothing new is done inside on one that has ended.
        let lapsed = if body.corrects().is_none() { gate.lapsed_before(at) } else { Vec::new() };
        (!lapsed.is_empty()).then(|| BreachWhy::StepShut(lapsed.into_iter().map(Obstacle::Step).collect()))
    })
}

const fn fits(need: &Requirement, body: &Body) -> bool {
    matches!(
        (need, body),
        (Requirement::Photo(_), Body::Photo(_))
            | (Requirement::Reading(_), Body::Reading(_))
            | (Requirement::Serial(_), Body::Serial(_))
            | (Requirement::Confirmation(_), Body::Confirmation(_))
            | (Requirement::Choice(_), Body::Choice(_))
            | (Requirement::Wait(_), Body::Waited(_))
            | (Requirement::Countersign(_), Body::Countersign(_))
            | (Requirement::Signature(_), Body::Signature(_))
            | (Requirement::Words(_), Body::Words(_))
    )
}

fn shut(gate: &mut Gate<'_, '_>, at: crate::method::gate::StepRef) -> Option<BreachWhy> {
    let by = gate.obstacles(at);
    (!by.is_empty()).then_some(BreachWhy::StepShut(by))
}

fn not_on_job(gate: &Gate<'_, '_>, author: PersonId) -> Option<BreachWhy> {
    gate.record().role_of(author).is_none().then_some(BreachWhy::NotOnJob)
}

fn incomplete(gate: &mut Gate<'_, '_>) -> Option<BreachWhy> {
    let open = !gate.unfinished().is_empty() || gate.record().open_stops().next().is_some();
    open.then_some(BreachWhy::NotComplete)
}

/// A correction says better what stands at the same place.
fn judge_correction(gate: &Gate<'_, '_>, author: PersonId, target: EntryId, place: &super::Place) -> Option<BreachWhy> {
    let is_there = gate.record().evidence.get(place).is_some_and(|all| all.iter().any(|one| one.key.id == target));
    if is_there { judge_replacement(gate, author, target) } else { Some(BreachWhy::NothingThere) }
}

fn judge_replacement(gate: &Gate<'_, '_>, author: PersonId, target: EntryId) -> Option<BreachWhy> {
    let all = gate.record().evidence.values().flatten();
    match all.into_iter().find(|evidence| evidence.key.id == target) {
        None => Some(BreachWhy::NothingThere),
        Some(found) if found.held.entry.header.author == author => None,
        Some(_) => Some(BreachWhy::NotYours),
    }
}
