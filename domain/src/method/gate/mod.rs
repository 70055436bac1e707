//! Which steps of a job are open, satisfied or shut, and by what.
//!
//! [`Plan`] is a method with its dependencies worked out once; [`Gate`] puts a [`Record`] behind it and answers. A
//! step's requirements are judged in [`answer`], its limits found in [`limit`].
//!
//! Satisfaction of a step depends on its own evidence alone, and a step is open when everything before it, however far
//! back, is satisfied. So one failing record behind a gate shuts all that follows, and asking costs no recursion.

mod answer;
mod before;
mod lifetime;
mod limit;
mod plan;
mod serial;
mod signed;
mod wait;
mod why;

pub use answer::{Answer, FailWhy, OpenWhy, stored_reading};
pub use lifetime::{Ended, Ending, PROOF_SPAN_US};
pub use limit::{LimitInfo, LimitSource};
pub use plan::{Need, Plan, Reach};
pub use serial::SlotSerial;
pub use why::{Lack, Missing, Why};

use self::before::Before;
use self::lifetime::{Lifetime, Presence, Signs, Since};
use super::plan::{BoardPart, Requirement, Step, When};
use crate::ids::{EntryId, PersonId};
use crate::job_file::body::{ConsentState, Place};
use crate::job_file::record::{PhaseEvent, Record};
use std::collections::BTreeMap;

/// One step of a job: its index in the method and the slot that it is repeated for (0 when it is not).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StepRef {
    /// Index into [`super::Method::steps`].
    pub step: usize,
    /// Slot, or 0.
    pub slot: u16,
}

/// What stands between a person and a step.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Obstacle {
    /// Another step is not satisfied.
    Step(StepRef),
    /// Work is stopped.
    StopWork(EntryId),
    /// The crew has left and not come back.
    Paused,
    /// Who asks has left the others and not come back.
    Away,
    /// The review has passed.
    Passed,
    /// The job will not be done.
    Withdrawn,
    /// An entry of a newer app shuts the gates.
    NeedsNewerApp,
    /// The lead has not said which units the job has.
    EquipmentMissing,
    /// The network operator's consent is not in the job file.
    ConsentMissing,
}

/// What a step is in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StepState {
    /// A choice has switched it off.
    NotApplicable,
    /// Something stands before it.
    Locked {
        /// All of it, nearest last.
        by: Vec<Obstacle>,
    },
    /// Evidence is missing and may be recorded.
    Open,
    /// Evidence is there and does not do.
    Failed,
    /// All that is missing is covered by departures that a lead allowed.
    Deviating,
    /// All evidence is there.
    Satisfied,
}

/// Everything about one step of a job.
#[derive(Clone, Debug)]
pub struct StepView<'m> {
    /// Which.
    pub at: StepRef,
    /// Its words and requirements.
    pub step: &'m Step,
    /// What it is in.
    pub state: StepState,
    /// An answer for each requirement, in their order.
    pub answers: Vec<Answer>,
    /// Cautions to acknowledge first, by id.
    pub cautions_unread: Vec<String>,
    /// The lead wants it done again, with which remark.
    pub returned: Option<EntryId>,
    /// What ended evidence that is there.
    pub ended: Option<Ended>,
    /// What is recorded here counts from this entry on: what ended anything older, whether or not there was any.
    pub since: Option<EntryId>,
    /// It is work inside a board whose proof of dead has ended: what stands here may be corrected, nothing new is recorded.
    pub lapsed: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Applies {
    Yes,
    No,
    NotKnown,
}

#[derive(Clone, Debug)]
struct Standing {
    applies: Applies,
    answers: Vec<Answer>,
    cautions_unread: Vec<String>,
    ended: Option<Ended>,
}

impl Standing {
    fn is_done(&self) -> bool {
        match self.applies {
            Applies::No => true,
            Applies::NotKnown => false,
            Applies::Yes => self.cautions_unread.is_empty() && self.answers.iter().all(Answer::lets_through),
        }
    }
}

/// A record behind a plan.
#[derive(Clone, Debug)]
pub struct Gate<'p, 'a> {
    plan: &'p Plan<'p>,
    record: Record<'a>,
    standing: BTreeMap<StepRef, Standing>,
    before: Before,
    /// For which moment it answers, microseconds since 1970 UTC; none: for none, as somebody reads it who is not at the boards.
    now: Option<u64>,
    /// For whom it answers; none: for nobody who would work there.
    by: Option<PersonId>,
    lifetime: Option<Lifetime>,
    /// Whether work inside a board is left, once somebody asked.
    left_inside: Option<bool>,
    /// What had ended the evidence of each step when `standing` was worked out, and from what that was found.
    ends: Vec<Option<Ended>>,
    found_from: FoundFrom,
    /// Nothing was recorded, and no other moment asked for, since `ends` was last looked at.
    settled: bool,
}

/// From what it was found which evidence has ended.
#[derive(Clone, Debug, Default)]
struct FoundFrom {
    signs: Signs,
    since: Since,
    is_left_inside: bool,
}

impl<'p, 'a> Gate<'p, 'a> {
    /// An empty record behind a plan.
    pub fn new(plan: &'p Plan<'p>) -> Self {
        Self {
            plan,
            record: Record::default(),
            standing: BTreeMap::new(),
            before: Before::default(),
            now: None,
            by: None,
            lifetime: None,
            left_inside: None,
            ends: vec![None; plan.method().steps.len()],
            found_from: FoundFrom::default(),
            settled: true,
        }
    }

    /// What has been recorded.
    pub const fn record(&self) -> &Record<'a> {
        &self.record
    }

    /// The plan.
    pub const fn plan(&self) -> &'p Plan<'p> {
        self.plan
    }

    /// Changes the record; what may follow from it is worked out anew when it is next asked.
    pub(crate) fn record_mut(&mut self, touched: Touched<'_>) -> &mut Record<'a> {
        match touched {
            Touched::Nothing => return &mut self.record,
            Touched::Everything => self.forget(None),
            Touched::Place(place) => {
                let step = self.plan.index_of(&place.step);
                self.forget(step);
                if step.is_some_and(|step| self.plan.step(step).duties().is_empty()) {
                    return &mut self.record;
                }
            }
        }
        self.lifetime = None;
        &mut self.record
    }

    /// What was worked out about a step and all that read it; about every step if none is named.
    fn forget(&mut self, step: Option<usize>) {
        (self.left_inside, self.settled) = (None, false);
        match step {
            None => {
                self.standing.clear();
                self.before.forget_all();
            }
            Some(step) => {
                let readers = self.plan.readers_of(step);
                self.standing.retain(|at, _| at.step != step && !readers.contains(&at.step));
                self.before.forget(step);
                readers.iter().for_each(|reader| self.before.forget(*reader));
            }
        }
    }

    /// Answers for a moment and a person from here on, microseconds since 1970 UTC: a proof of dead ends when nobody records anything at the
    /// boards for too long, and for whoever was away. Without a moment only silences between two records count.
    pub fn answer_for(&mut self, now: Option<u64>, by: Option<PersonId>) {
        self.settled &= self.now == now && self.by == by;
        (self.now, self.by) = (now, by);
    }

    /// Forgets what was worked out about the steps whose evidence has ended, or has no longer, since then. Whether a proof holds depends on
    /// what was recorded at any board and on what is left inside; so it is looked at once before somebody is answered, and only the
    /// steps that it changes are worked out anew.
    fn settle(&mut self) {
        if core::mem::replace(&mut self.settled, true) {
            return;
        }
        let since = self.since();
        let signs = self.lifetime().signs.clone();
        let is_as_before = signs == self.found_from.signs && since == self.found_from.since;
        if !is_as_before {
            (self.found_from.signs, self.found_from.since) = (signs, since);
            // What is left inside is told by these: it is no matter for their own evidence.
            self.find_ends(true);
        }
        let is_left = self.is_left_inside();
        if !is_as_before || is_left != self.found_from.is_left_inside {
            self.found_from.is_left_inside = is_left;
            self.find_ends(false);
        }
    }

    fn find_ends(&mut self, of_those_that_tell: bool) {
        for step in 0..self.ends.len() {
            if self.plan.step(step).duties().is_empty() || self.tells_what_is_left(step) != of_those_that_tell {
                continue;
            }
            let ended = self.ended(step);
            if ended != self.ends[step] {
                self.ends[step] = ended;
                self.forget(Some(step));
                self.settled = true;
            }
        }
    }

    /// Until when a proof of dead, or what there is of one, holds if nobody records anything more at the boards, microseconds since 1970
    /// UTC. `None` where nothing was proved, where it has ended, and where no work inside is left.
    pub fn proof_holds_until(&mut self) -> Option<u64> {
        let presence = self.presence();
        let until = presence.holds_until().filter(|_| !presence.is_silent_at(self.now))?;
        self.is_left_inside().then_some(until)
    }

    /// Whether answers may change by the clock alone: a proof may end, or the time of somebody who began under it.
    pub fn changes_by_the_clock(&mut self) -> bool {
        let until = self.presence().busy_until();
        until.zip(self.now).is_some_and(|(until, now)| now <= until) && self.is_left_inside()
    }

    /// What ended proofs for whoever asks.
    fn since(&mut self) -> Since {
        let silent = self.presence().silent(self.now);
        Since { silent, away: self.by.and_then(|person| self.lifetime().signs.away_of(person)) }
    }

    fn presence(&mut self) -> Presence {
        self.lifetime().presence
    }

    fn lifetime(&mut self) -> &Lifetime {
        self.lifetime.get_or_insert_with(|| Lifetime::of(self.plan, &self.record))
    }

    /// Every step of the job in the method's order, repeated steps slot by slot.
    pub fn steps(&self) -> Vec<StepRef> {
        (0..self.plan.method().steps.len()).flat_map(|step| self.instances(step)).collect()
    }

    /// The repetitions of one step.
    pub fn instances(&self, step: usize) -> Vec<StepRef> {
        match self.plan.repeat_of(step) {
            None => vec![StepRef { step, slot: 0 }],
            Some(repeat) => self.record.slots(repeat).into_iter().map(|slot| StepRef { step, slot }).collect(),
        }
    }

    /// The step of a place, if the job has it.
    pub fn find(&self, place: &Place) -> Option<StepRef> {
        let step = self.plan.index_of(&place.step)?;
        self.instances(step).into_iter().find(|at| at.slot == place.slot)
    }

    /// Whether a step is done: satisfied, covered by an allowed departure, or not applicable.
    pub fn is_done(&mut self, at: StepRef) -> bool {
        self.standing(at).is_done()
    }

    /// What stands before a step; empty means that it may be worked.
    pub fn obstacles(&mut self, at: StepRef) -> Vec<Obstacle> {
        let (presence, now) = (self.presence(), self.now);
        // What was begun under a living proof is finished under it.
        let step = self.plan.step(at.step);
        let begun = now.is_some_and(|now| {
            presence.is_silent_at(Some(now)) && presence.was_begun(&self.record, step, at.slot, now)
        });
        if !begun {
            return self.obstacles_now(at);
        }
        let person = self.by;
        self.answer_for(None, person);
        let by = self.obstacles_now(at);
        self.answer_for(now, person);
        by
    }

    fn obstacles_now(&mut self, at: StepRef) -> Vec<Obstacle> {
        self.settle();
        let mut by = self.job_obstacles();
        if self.plan.step(at.step).needs_consent {
            let consent = self.record.consent.as_ref().map(|latest| latest.value.state);
            if !matches!(consent, Some(ConsentState::Granted | ConsentState::NotNeeded)) {
                by.push(Obstacle::ConsentMissing);
            }
        }
        let repeats_without_units = self.plan.repeat_of(at.step).is_some() && self.record.equipment.is_none();
        if repeats_without_units {
            by.push(Obstacle::EquipmentMissing);
        }
        let repeated_before = self.plan.needs_of(at.step).iter().any(|need| self.plan.repeat_of(need.step).is_some());
        if repeated_before && self.record.equipment.is_none() {
            by.push(Obstacle::EquipmentMissing);
        }
        self.before.refresh(self.plan, &self.record);
        for before in self.before.unknown(at) {
            let done = self.is_done(before);
            self.before.learn(before, done);
        }
        by.extend(self.before.undone(at).into_iter().map(Obstacle::Step));
        by.sort();
        by.dedup();
        by
    }

    /// What shuts every step of the job.
    pub fn job_obstacles(&self) -> Vec<Obstacle> {
        let mut by: Vec<Obstacle> = self.record.open_stops().map(Obstacle::StopWork).collect();
        match self.record.last_phase() {
            Some(PhaseEvent::Paused(_)) => by.push(Obstacle::Paused),
            Some(PhaseEvent::Passed | PhaseEvent::Sealed) => by.push(Obstacle::Passed),
            Some(PhaseEvent::Withdrawn) => by.push(Obstacle::Withdrawn),
            Some(PhaseEvent::Resumed | PhaseEvent::Submitted | PhaseEvent::Returned) | None => {}
        }
        if self.by.is_some_and(|person| self.record.is_away(person)) {
            by.push(Obstacle::Away);
        }
        if !self.record.not_understood.is_empty() {
            by.push(Obstacle::NeedsNewerApp);
        }
        by
    }

    /// Everything about a step.
    pub fn view(&mut self, at: StepRef) -> StepView<'p> {
        let by = self.obstacles(at);
        let step = self.plan.step(at.step);
        let standing = self.standing(at).clone();
        let returned = self.returned(at, &standing);
        let state = match standing.applies {
            Applies::No => StepState::NotApplicable,
            Applies::NotKnown => StepState::Locked { by },
            Applies::Yes if standing.is_done() && by.iter().all(|o| !matches!(o, Obstacle::Step(_))) => {
                let deviates = standing.answers.iter().any(|a| matches!(a, Answer::DeviationAllowed { .. }));
                if deviates { StepState::Deviating } else { StepState::Satisfied }
            }
            Applies::Yes if !by.is_empty() => StepState::Locked { by },
            Applies::Yes if standing.answers.iter().any(Answer::is_bad) => StepState::Failed,
            Applies::Yes => StepState::Open,
        };
        let ended = self.has_ended(at, &standing);
        let lapsed = !self.lapsed_before(at).is_empty();
        StepView {
            at,
            step,
            state,
            answers: standing.answers,
            cautions_unread: standing.cautions_unread,
            returned,
            ended,
            since: standing.ended.map(|ended| ended.at.id),
            lapsed,
        }
    }

    /// Steps that are not done, in the method's order.
    pub fn unfinished(&mut self) -> Vec<StepRef> {
        let missing_units = self.record.equipment.is_none();
        let mut open: Vec<StepRef> = self.steps().into_iter().filter(|at| !self.is_done(*at)).collect();
        if missing_units {
            // Without units the repeated steps have no instances; the job is not finished because of that.
            let repeated = (0..self.plan.method().steps.len()).filter(|step| self.plan.repeat_of(*step).is_some());
            open.extend(repeated.map(|step| StepRef { step, slot: 0 }));
        }
        open
    }

    /// The limit of a reading, for the screen before anything is typed.
    pub fn limit_at(&self, at: StepRef, requirement: &str) -> LimitInfo {
        match self.plan.step(at.step).requirement(requirement) {
            Some(Requirement::Reading(need)) => limit::limit_of(&self.record, self.plan, need, at.slot),
            _ => LimitInfo::None,
        }
    }

    /// A computed comparison of a step, when its inputs are there.
    pub fn check_at(&self, at: StepRef, requirement: &str) -> Option<crate::electrical::Check> {
        match self.plan.step(at.step).requirement(requirement) {
            Some(Requirement::Check(need)) => limit::run(&self.record, self.plan, &need.call, at.slot).ok(),
            _ => None,
        }
    }

    /// The place of a requirement of a step.
    pub fn place(&self, at: StepRef, requirement: &str) -> Place {
        Place::of(&self.plan.step(at.step).id, at.slot, requirement)
    }

    fn returned(&self, at: StepRef, standing: &Standing) -> Option<EntryId> {
        if standing.is_done() {
            return None;
        }
        let id = &self.plan.step(at.step).id;
        let of_step = self.record.returns.iter().filter(|(place, _)| place.step == *id && place.slot == at.slot);
        of_step
            .filter_map(|(_, returns)| returns.last_key_value())
            .max_by_key(|(key, _)| **key)
            .map(|(_, remark)| *remark)
    }

    fn standing(&mut self, at: StepRef) -> &Standing {
        self.settle();
        if !self.standing.contains_key(&at) {
            let standing = self.work_out(at);
            self.standing.insert(at, standing);
        }
        &self.standing[&at]
    }

    fn work_out(&mut self, at: StepRef) -> Standing {
        let ended = self.ends[at.step];
        self.work_out_since(at, ended)
    }

    fn work_out_since(&mut self, at: StepRef, ended: Option<Ended>) -> Standing {
        let step = self.plan.step(at.step);
        let applies = self.applies(at);
        let since = ended.map(|ended| ended.at);
        let mut answers = Vec::with_capacity(step.requirements.len());
        for requirement in &step.requirements {
            let found = answer::answer(&self.record, self.plan, step, at.slot, requirement, since);
            // What was read all the same is judged: an answer about the conductors hides no voltage.
            let is_there = !matches!(found, Answer::Missing { .. }) || self.is_between_conductors(at, requirement);
            answers.push(if is_there { found } else { Answer::NotApplicable });
        }
        let cautions_unread = step
            .cautions
            .iter()
            .filter(|id| self.plan.method().caution(id).is_some_and(|caution| caution.acknowledge))
            .filter(|id| !self.record.cautions_read.contains_key(&(step.id.clone(), at.slot, (*id).clone())))
            .cloned()
            .collect();
        Standing { applies, answers, cautions_unread, ended }
    }

    /// What ended the evidence of a step of isolating and proving, as long as work inside is left; and of what makes
    /// ready for power, once the board was isolated anew.
    fn ended(&mut self, step: usize) -> Option<Ended> {
        let plan = self.plan;
        if plan.step(step).duties().is_empty() {
            return None;
        }
        let since = self.since();
        let mut latest = None;
        for part in lifetime::parts_of(plan, step) {
            let ended = self.lifetime().signs.ended(plan, step, part, since);
            if ended > latest && (is_of_power(part) || self.is_left_inside()) {
                latest = ended;
            }
        }
        latest
    }

    /// Steps of isolating and proving whose evidence has ended, before a step of work inside that is done: what keeps new evidence out
    /// of it. Corrections are let in. A step that is not done is shut by its obstacles.
    pub fn lapsed_before(&mut self, at: StepRef) -> Vec<StepRef> {
        let plan = self.plan;
        if !plan.step(at.step).duties().iter().any(|duty| duty.part == BoardPart::Inside) || !self.is_done(at) {
            return Vec::new();
        }
        let since = self.since();
        let mut lapsed = Vec::new();
        for step in 0..plan.method().steps.len() {
            let signs = &self.lifetime().signs;
            let ended = lifetime::parts_of(plan, step)
                .filter(|part| !is_of_power(*part))
                .filter_map(|part| signs.ended(plan, step, part, since))
                .max();
            let Some(ended) = ended else { continue };
            let undone = self.instances(step).into_iter();
            lapsed.extend(undone.filter(|at| !self.work_out_since(*at, Some(ended)).is_done()));
        }
        lapsed
    }

    /// Whether work inside any board is left: one round of locks isolates all of them, and the covers are closed on all of them.
    fn is_left_inside(&mut self) -> bool {
        if let Some(known) = self.left_inside {
            return known;
        }
        let plan = self.plan;
        let tells = (0..plan.method().steps.len()).filter(|step| self.tells_what_is_left(*step));
        let steps: Vec<StepRef> = tells.flat_map(|step| self.instances(step)).collect();
        let is_left = steps.into_iter().any(|at| !self.is_done(at));
        self.left_inside = Some(is_left);
        is_left
    }

    /// Whether a step is one of those that say whether work inside is left. What proves one board and works inside another is none: that
    /// question would have no end.
    fn tells_what_is_left(&self, step: usize) -> bool {
        let mut duties = self.plan.step(step).duties().iter();
        duties.any(|duty| duty.part == BoardPart::Inside)
            && lifetime::parts_of(self.plan, step).all(|part| part == BoardPart::BeforePower)
    }

    /// What ended the evidence of a step, where there is any.
    fn has_ended(&self, at: StepRef, standing: &Standing) -> Option<Ended> {
        let ended = standing.ended?;
        let id = &self.plan.step(at.step).id;
        let mut of_step = self.record.evidence.iter().filter(|(place, _)| place.step == *id && place.slot == at.slot);
        of_step.any(|(_, all)| all.iter().any(|evidence| evidence.key <= ended.at)).then_some(ended)
    }

    /// Whether a reading between two conductors has both of them; any other requirement has what it needs.
    fn is_between_conductors(&mut self, at: StepRef, requirement: &Requirement) -> bool {
        let Requirement::Reading(need) = requirement else { return true };
        let plan = self.plan;
        plan.method()
            .conductors_of(plan.step(at.step), need)
            .filter_map(|conductor| conductor.when.as_ref())
            .all(|when| self.holds(at, when) != Applies::No)
    }

    fn applies(&mut self, at: StepRef) -> Applies {
        self.plan.step(at.step).when.as_ref().map_or(Applies::Yes, |when| self.holds(at, when))
    }

    /// Whether a choice was made so, as somebody at this step has to take it.
    fn holds(&mut self, at: StepRef, when: &When) -> Applies {
        let Some(step) = self.plan.index_of(&when.step) else { return Applies::NotKnown };
        let slot = if self.plan.repeat_of(step).is_some() { at.slot } else { 0 };
        if self.applies(StepRef { step, slot }) == Applies::No {
            return Applies::No;
        }
        // Which sources there are is found anew for a new isolation. Work that was chosen by them stays chosen.
        let isolates = self.plan.step(at.step).duties().iter().any(|duty| duty.part == BoardPart::Isolates);
        let since = if isolates { self.ends[step].map(|ended| ended.at) } else { None };
        let place = Place::of(&when.step, slot, &when.requirement);
        match answer::last_choice(&self.record, &place, since) {
            None => Applies::NotKnown,
            Some(option) if when.is.iter().any(|wanted| wanted == option) => Applies::Yes,
            Some(_) => Applies::No,
        }
    }
}

/// Ended by a new isolation instead of by power.
const fn is_of_power(part: BoardPart) -> bool {
    matches!(part, BoardPart::Ends | BoardPart::BeforePower)
}

/// What a change of the record may have changed in the gates.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Touched<'x> {
    /// Nothing that a step's own evidence depends on.
    Nothing,
    /// One place and what reads it.
    Place(&'x Place),
    /// Anything.
    Everything,
}
