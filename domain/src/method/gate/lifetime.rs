//! How long a proof of dead holds.
//!
//! It was made at one moment, behind locks that were on then. Leaving the site ends it: nobody knows what happened meanwhile. So does a
//! lock that changes hands; and for whoever left the others and came back it has ended, while those who stayed go on. Power that
//! can reach the board ends it together with the list of sources, the locks and the wait: the whole isolation is made again. A source that
//! is found later asks for the wait and the proof again. All this only while work inside is left; what was recorded
//! under a living proof stays, and nothing new is recorded inside on one that has ended.
//!
//! Once it was proved dead again, what makes ready for power and switching on are recorded again as well, so the last word on a board is
//! always the newest act.

use super::plan::Plan;
use crate::electrical::rule_set::{PROOF_SPAN, PROOF_SPAN_KEY};
use crate::ids::PersonId;
use crate::job_file::body::{Body, LeftAs, Place};
use crate::job_file::file::OrderKey;
use crate::job_file::record::{Evidence, PhaseEvent, Record};
use crate::method::plan::{BoardPart, Step};

/// How long a proof of dead holds while nobody records anything at the boards, in microseconds, where the job's rules do not say. A house
/// rule, no standard's figure.
pub const PROOF_SPAN_US: u64 = 60 * 60 * 1_000_000;
/// So long somebody may be busy with what they began under a living proof, in microseconds.
const BUSY_US: u64 = 2 * 60 * 60 * 1_000_000;

/// Why evidence of isolating and proving is asked for anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ending {
    /// The crew left the site with the locks on.
    Left,
    /// Nothing was recorded at the boards for too long.
    Silent,
    /// A lock came off, or power could reach the board.
    Power,
    /// It was isolated anew, and so proved dead, since this step was last done.
    ProvedAgain,
    /// A further source was found and locked off afterwards.
    SourceFound,
    /// Conductors were tested again afterwards, and the tester was not proved after that.
    TestedAgain,
    /// A lock changed hands: who has it now has proved nothing behind it.
    LockHandedOver,
    /// Who asks was away while the others worked on.
    Away,
    /// It was agreed to switch on: which locks have come off since, nobody has recorded yet.
    Agreed,
}

/// What ended the evidence of a step: older evidence counts for nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Ended {
    /// The entry that ended it.
    pub at: OrderKey,
    /// Why.
    pub by: Ending,
}

/// The parts that a step has at boards, other than working inside.
pub(super) fn parts_of<'m>(plan: &Plan<'m>, step: usize) -> impl Iterator<Item = BoardPart> + 'm {
    let duties = plan.step(step).duties();
    let is_first = |at: &usize| duties[..*at].iter().all(|before| before.part != duties[*at].part);
    let own = (0..duties.len()).filter(move |at| is_first(at)).map(move |at| duties[at].part);
    own.filter(|part| *part != BoardPart::Inside)
}

/// What the entries say about the boards of a job, worked out in one round. All boards count together: one list of locks isolates them, one
/// agreement switches them on, and the covers are closed on all of them.
#[derive(Clone, Debug, Default)]
pub(super) struct Lifetime {
    pub(super) presence: Presence,
    pub(super) signs: Signs,
}

/// What may have ended evidence.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Signs {
    power: Option<OrderKey>,
    left: Option<OrderKey>,
    agreed: Option<OrderKey>,
    tested: Option<OrderKey>,
    isolated_again: Option<OrderKey>,
    handed_over: Option<OrderKey>,
    /// Who left the others, and when they last went or came.
    away: Vec<(PersonId, OrderKey)>,
    /// Isolating steps that may have been done after others that they come before, and when they first were.
    found: Vec<(usize, OrderKey)>,
}

impl Lifetime {
    pub(super) fn of(plan: &Plan<'_>, record: &Record<'_>) -> Self {
        let steps = &plan.method().steps;
        let mut newest: Vec<Option<OrderKey>> = vec![None; steps.len()];
        let (mut tested, mut at_boards) = (None, Vec::new());
        // The places of a step stand together.
        let mut same: Option<(&str, Option<usize>)> = None;
        for (place, all) in &record.evidence {
            let index = match same {
                Some((step, index)) if step == place.step => index,
                _ => plan.index_of(&place.step).filter(|index| !steps[*index].duties().is_empty()),
            };
            same = Some((&place.step, index));
            let Some(index) = index else { continue };
            let step = &steps[index];
            for act in all.iter().filter(|evidence| evidence.body.corrects().is_none()) {
                newest[index] = newest[index].max(Some(act.key));
                if has(step, BoardPart::Dead) && matches!(act.body, Body::Reading(_)) {
                    tested = tested.max(Some(act.key));
                }
                if has(step, BoardPart::Inside) || step.duties().iter().any(|duty| proves(duty.part)) {
                    at_boards.push((act.key, step, place.slot));
                }
            }
        }
        let newest_of = |which: &dyn Fn(&Step) -> bool| {
            steps.iter().zip(&newest).filter(|(step, _)| which(step)).filter_map(|(_, at)| *at).max()
        };
        // What was recorded when the locks came off counts though it was corrected, is to be done again, or was not let through: they did
        // come off. Whoever leaves without saying that the locks stay on has left it open.
        let refused = record.power_refused.last().copied();
        let open = left(record, |left_as| left_as != LeftAs::IsolatedAndLocked);
        let open = open.max(left_alone(record));
        let power = newest_of(&|step| has(step, BoardPart::Ends)).max(refused).max(open);
        // Isolated and proved as a whole: by the records that nothing stands in for, of steps that always apply. One of them that is made
        // again, or a further photo, is no isolation.
        let whole = |step: &Step| {
            let isolates = step.duties().iter().any(|duty| duty.part == BoardPart::Isolates || proves(duty.part));
            step.stop_work && step.when.is_none() && isolates
        };
        let isolated_again =
            steps.iter().zip(&newest).filter(|(step, _)| whole(step)).map(|(_, at)| *at).min().flatten();
        let signs = Signs {
            power,
            left: left(record, |left_as| left_as == LeftAs::IsolatedAndLocked),
            agreed: newest_of(&|step| has(step, BoardPart::BeforePower) && !has(step, BoardPart::Inside)),
            tested,
            isolated_again,
            handed_over: record.locks_handed.last_key_value().map(|(key, _)| *key),
            away: away(record),
            found: (0..steps.len()).filter_map(|index| Some((index, found(record, &steps[index], power)?))).collect(),
        };
        Self { presence: Presence::of(record, at_boards), signs }
    }
}

/// What ended proofs of dead for whoever asks, and not for everybody.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Since {
    /// The last record before a silence that was too long at the moment that is asked for.
    pub(super) silent: Option<OrderKey>,
    /// When the person who asks last left the others or came back to them.
    pub(super) away: Option<OrderKey>,
}

impl Signs {
    /// When somebody last left the others or came back to them; `None` for whoever never left.
    pub(super) fn away_of(&self, person: PersonId) -> Option<OrderKey> {
        self.away.iter().find(|(who, _)| *who == person).map(|(_, at)| *at)
    }

    /// What ended the evidence of a step that has this part; `None` while nothing did.
    pub(super) fn ended(&self, plan: &Plan<'_>, step: usize, part: BoardPart, since: Since) -> Option<Ended> {
        let by = |at: Option<OrderKey>, by| at.map(|at| Ended { at, by });
        let power = by(self.power, Ending::Power);
        // A step opens after all isolating steps before it, so only what did not apply then, or was done again, is later than its evidence.
        let before = self.found.iter().filter(|(found, _)| plan.needs_of(step).iter().any(|need| need.step == *found));
        let found = by(before.map(|(_, at)| *at).max(), Ending::SourceFound);
        let proof = power.max(found).max(by(self.left, Ending::Left)).max(by(since.silent, Ending::Silent));
        let proof = proof.max(by(self.handed_over, Ending::LockHandedOver)).max(by(since.away, Ending::Away));
        let proof = proof.max(by(self.agreed, Ending::Agreed));
        match part {
            BoardPart::Inside => None,
            BoardPart::Isolates => power.max(found),
            BoardPart::TesterBefore | BoardPart::Dead => proof,
            BoardPart::TesterAfter => proof.max(by(self.tested, Ending::TestedAgain)),
            BoardPart::Ends | BoardPart::BeforePower => by(self.isolated_again, Ending::ProvedAgain),
        }
    }
}

/// When a source was first locked off since power could last reach the boards, where that may be later than what follows it: the source is
/// there by a choice, or a lead had the step done again. What always applies may have been let pass by a lead and be recorded late, and no
/// source is found by that.
fn found(record: &Record<'_>, step: &Step, power: Option<OrderKey>) -> Option<OrderKey> {
    if !has(step, BoardPart::Isolates) {
        return None;
    }
    let returned = record.returns.range(Place::of(&step.id, 0, "")..);
    let returned = returned.take_while(|(place, _)| place.step == step.id);
    let returned = returned.filter_map(|(_, returns)| returns.last_key_value().map(|(key, _)| *key)).max();
    if step.when.is_none() && returned.is_none() {
        return None;
    }
    let since = power.max(returned);
    let acts = of_step(record, &step.id).filter(|act| !record.replaced.contains_key(&act.key.id));
    acts.map(|act| act.key).filter(|act| since.is_none_or(|since| *act > since)).min()
}

fn has(step: &Step, part: BoardPart) -> bool {
    step.duties().iter().any(|duty| duty.part == part)
}

/// Tests for voltage, or the tester.
pub(super) const fn proves(part: BoardPart) -> bool {
    matches!(part, BoardPart::TesterBefore | BoardPart::Dead | BoardPart::TesterAfter)
}

fn left(record: &Record<'_>, which: impl Fn(LeftAs) -> bool) -> Option<OrderKey> {
    let is_such = |event: &PhaseEvent| matches!(event, PhaseEvent::Paused(left_as) if which(*left_as));
    record.phases.iter().rev().find(|(_, (event, _))| is_such(event)).map(|(key, _)| *key)
}

/// Who leaves "the others" where nobody stays took the last locks along, and said in no state what stayed behind.
fn left_alone(record: &Record<'_>) -> Option<OrderKey> {
    let mut left = record.whereabouts.iter().rev().filter(|(_, (_, is_away))| *is_away);
    left.find(|(at, (person, _))| !record.somebody_stays(*person, Some(**at))).map(|(at, _)| *at)
}

fn away(record: &Record<'_>) -> Vec<(PersonId, OrderKey)> {
    let mut last: Vec<(PersonId, OrderKey)> = Vec::new();
    for (key, (person, is_away)) in &record.whereabouts {
        match last.iter_mut().find(|(who, _)| who == person) {
            Some((_, at)) => *at = *key,
            None if *is_away => last.push((*person, *key)),
            // Who comes back with the whole crew had not left it.
            None => {}
        }
    }
    last
}

/// What was done at a step. A correction is no act: it says better what was done before.
fn of_step<'r, 'a>(record: &'r Record<'a>, id: &'r str) -> impl Iterator<Item = &'r Evidence<'a>> {
    let from = record.evidence.range(Place::of(id, 0, "")..);
    let all = from.take_while(move |(place, _)| place.step == id).flat_map(|(_, all)| all);
    all.filter(|evidence| evidence.body.corrects().is_none())
}

/// When the crew was at the boards of a job, as far as their records tell: whoever works at one would see somebody at another.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Presence {
    /// The last record before the latest silence that was too long.
    before_silence: Option<OrderKey>,
    newest: Option<OrderKey>,
    /// How long a silence may be, microseconds.
    span: u64,
}

/// By the job's rules, within what any rules may say.
fn span_of(record: &Record<'_>) -> u64 {
    let (least, most) = PROOF_SPAN;
    let own = record.design_value(PROOF_SPAN_KEY).and_then(|micro| u64::try_from(micro.clamp(least, most)).ok());
    own.unwrap_or(PROOF_SPAN_US)
}

impl Presence {
    /// From what was proved and done inside: when, at which step, in which slot.
    fn of(record: &Record<'_>, mut all: Vec<(OrderKey, &Step, u16)>) -> Self {
        all.sort_unstable_by_key(|(key, ..)| *key);
        let mut presence = Self { span: span_of(record), ..Self::default() };
        for (key, step, slot) in all {
            // Who began under a living proof was there all the time.
            if presence.is_silent_at(Some(key.at)) && !presence.was_begun(record, step, slot, key.at) {
                presence.before_silence = presence.newest;
            }
            presence.newest = Some(key);
        }
        presence
    }

    /// The last record before the crew was silent for too long; `now` is microseconds since 1970 UTC, where somebody asks for a moment.
    pub(super) fn silent(&self, now: Option<u64>) -> Option<OrderKey> {
        if self.is_silent_at(now) { self.newest } else { self.before_silence }
    }

    /// Whether it is the time since the newest record that is too long.
    pub(super) fn is_silent_at(&self, now: Option<u64>) -> bool {
        now.is_some_and(|now| self.holds_until().is_some_and(|until| now > until))
    }

    /// Until when a proof holds if nothing more is recorded.
    pub(super) fn holds_until(&self) -> Option<u64> {
        self.newest.map(|newest| newest.at.saturating_add(self.span))
    }

    /// Until when somebody may be busy with what they began.
    pub(super) fn busy_until(&self) -> Option<u64> {
        self.holds_until().map(|until| until.saturating_add(BUSY_US))
    }

    /// Whether work inside was begun here under the proof that held until the newest record, and lately enough to keep somebody busy until
    /// now. Reading the cautions begins it.
    pub(super) fn was_begun(&self, record: &Record<'_>, step: &Step, slot: u16, now: u64) -> bool {
        if !step.duties().iter().any(|duty| duty.part == BoardPart::Inside) {
            return false;
        }
        let acts = of_step(record, &step.id).filter(|act| act.body.evidence_place().is_some_and(|at| at.slot == slot));
        let cautions = record.cautions_read.range((step.id.clone(), slot, String::new())..);
        let read = cautions.take_while(|((id, at, _), _)| *id == step.id && *at == slot).map(|(_, (_, key))| *key);
        let returned = record.returned_since(&Place::of(&step.id, slot, ""));
        let begun = acts.map(|act| act.key).chain(read).filter(|key| {
            let under_proof = self.before_silence.is_none_or(|silence| *key > silence)
                && self.holds_until().is_some_and(|until| key.at <= until);
            under_proof && returned.is_none_or(|returned| *key > returned) && key.at <= now
        });
        begun.max().is_some_and(|key| now <= key.at.saturating_add(BUSY_US))
    }
}
