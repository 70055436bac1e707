//! How long a proof of dead holds.
//!
//! It was made at one moment, behind locks that were on then. Leaving the site ends it: nobody knows what happened meanwhile. Power that
//! can reach the board ends it together with the list of sources, the locks and the wait: the whole isolation is made again. A source that
//! is found later asks for the wait and the proof again. All this only while work inside is left; what was recorded
//! under a living proof stays, and nothing new is recorded inside on one that has ended.
//!
//! Once it was proved dead again, what makes ready for power and switching on are recorded again as well, so the last word on a board is
//! always the newest act.

use super::plan::Plan;
use crate::job_file::body::{Body, LeftAs, Place};
use crate::job_file::file::OrderKey;
use crate::job_file::record::{Evidence, PhaseEvent, Record};
use crate::method::plan::{BoardPart, Step};

/// How long a proof of dead holds while nobody records anything at the boards, in microseconds. A house rule, no standard's figure.
pub const PROOF_SPAN_US: u64 = 60 * 60 * 1_000_000;

/// Why evidence of isolating and proving is asked for anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ending {
    /// The crew left the site with the locks on.
    Left,
    /// Nothing was recorded at the boards for [`PROOF_SPAN_US`].
    Silent,
    /// A lock came off, or power could reach the board.
    Power,
    /// It was isolated anew, and so proved dead, since this step was last done.
    ProvedAgain,
    /// A further source was found and locked off afterwards.
    SourceFound,
    /// Conductors were tested again afterwards, and the tester was not proved after that.
    TestedAgain,
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

/// Boards at which a step has a part other than working inside, with these parts.
pub(super) fn bound_to<'m>(plan: &Plan<'m>, step: usize) -> impl Iterator<Item = (&'m str, BoardPart)> {
    plan.step(step)
        .duties()
        .iter()
        .filter(|duty| duty.part != BoardPart::Inside)
        .map(|duty| (duty.id.as_str(), duty.part))
}

/// What ended the evidence of a step that has this part at a board; `None` while nothing did.
pub(super) fn ended(
    plan: &Plan<'_>,
    record: &Record<'_>,
    step: usize,
    (board, part): (&str, BoardPart),
    silent: Option<OrderKey>,
) -> Option<Ended> {
    let power = || power(plan, record, board);
    match part {
        BoardPart::Inside => None,
        BoardPart::Isolates => {
            let power = power();
            power.max(source_found(plan, record, step, board, power))
        }
        BoardPart::TesterBefore | BoardPart::Dead | BoardPart::TesterAfter => {
            let power = power();
            let left = left(record, |left_as| left_as == LeftAs::IsolatedAndLocked);
            let left = left.map(|at| Ended { at, by: Ending::Left });
            let silent = silent.map(|at| Ended { at, by: Ending::Silent });
            let agreed = agreed(plan, record, board);
            let ended = power.max(left).max(silent).max(agreed).max(source_found(plan, record, step, board, power));
            if part == BoardPart::TesterAfter { ended.max(tested_again(plan, record, board)) } else { ended }
        }
        BoardPart::Ends | BoardPart::BeforePower => {
            isolated_again(plan, record, board).map(|at| Ended { at, by: Ending::ProvedAgain })
        }
    }
}

/// The first act at the last of the isolating steps that come before a step, since power could last reach the board. A step opens after
/// all of them, so this is later than its evidence only where one of them did not apply then, as with a source that was found since, or
/// where a lead had it done again.
fn source_found(plan: &Plan<'_>, record: &Record<'_>, step: usize, board: &str, power: Option<Ended>) -> Option<Ended> {
    let before = plan.needs_of(step).iter().map(|need| plan.step(need.step));
    let isolating = before.filter(|before| before.is_part(board, BoardPart::Isolates));
    let first = isolating.filter_map(|before| {
        let returned = record.returns.range(Place::of(&before.id, 0, "")..);
        let returned = returned.take_while(|(place, _)| place.step == before.id);
        let returned = returned.filter_map(|(_, returns)| returns.last_key_value().map(|(key, _)| *key)).max();
        // What always applies may have been let through by a lead and be recorded late: no source was found by that.
        if before.when.is_none() && returned.is_none() {
            return None;
        }
        let since = power.map(|power| power.at).max(returned);
        let acts = of_step(record, &before.id).filter(|act| !record.replaced.contains_key(&act.key.id));
        acts.map(|act| act.key).filter(|act| since.is_none_or(|since| *act > since)).min()
    });
    first.max().map(|at| Ended { at, by: Ending::SourceFound })
}

/// When it was last agreed to switch on: what makes ready for power and is no work inside.
fn agreed(plan: &Plan<'_>, record: &Record<'_>, board: &str) -> Option<Ended> {
    let agreeing =
        |step: &&Step| step.is_part(board, BoardPart::BeforePower) && !step.is_part(board, BoardPart::Inside);
    let ids = plan.method().steps.iter().filter(agreeing).map(|step| step.id.as_str());
    let at = ids.filter_map(|id| of_step(record, id).map(|act| act.key).max()).max();
    at.map(|at| Ended { at, by: Ending::Agreed })
}

/// The last time that a voltage was read between conductors of a board.
fn tested_again(plan: &Plan<'_>, record: &Record<'_>, board: &str) -> Option<Ended> {
    let read = acts(plan, record, board, BoardPart::Dead, |body| matches!(body, Body::Reading(_))).max();
    read.map(|at| Ended { at, by: Ending::TestedAgain })
}

/// When the crew was at the boards of a job, as far as their records tell. All boards count together: one list of locks isolates them, and
/// whoever works at one would see somebody at another.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Presence {
    /// The last record before the latest silence of [`PROOF_SPAN_US`] between two.
    before_silence: Option<OrderKey>,
    newest: Option<OrderKey>,
}

impl Presence {
    pub(super) fn of(plan: &Plan<'_>, record: &Record<'_>) -> Self {
        let at_boards = plan.method().steps.iter().filter(|step| is_at_a_board(step));
        let mut all: Vec<(OrderKey, &Step, u16)> = at_boards
            .flat_map(|step| of_step(record, &step.id).map(move |act| (act.key, step, act.body.evidence_place())))
            .map(|(key, step, place)| (key, step, place.map_or(0, |place| place.slot)))
            .collect();
        all.sort_unstable_by_key(|(key, ..)| *key);
        let mut presence = Self::default();
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
        self.newest.map(|newest| newest.at.saturating_add(PROOF_SPAN_US))
    }

    /// Until when somebody may be busy with what they began.
    pub(super) fn busy_until(&self) -> Option<u64> {
        self.holds_until().map(|until| until.saturating_add(2 * PROOF_SPAN_US))
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
        begun.max().is_some_and(|key| now <= key.at.saturating_add(2 * PROOF_SPAN_US))
    }
}

/// Proves or works inside.
fn is_at_a_board(step: &Step) -> bool {
    step.duties().iter().any(|duty| match duty.part {
        BoardPart::TesterBefore | BoardPart::Dead | BoardPart::TesterAfter | BoardPart::Inside => true,
        BoardPart::Isolates | BoardPart::Ends | BoardPart::BeforePower => false,
    })
}

/// The last time that power could reach a board. What was recorded when the locks came off counts though it was corrected or is to be
/// done again: they did come off. Whoever leaves without saying that the locks stay on has left it open.
fn power(plan: &Plan<'_>, record: &Record<'_>, board: &str) -> Option<Ended> {
    let left = left(record, |left_as| left_as != LeftAs::IsolatedAndLocked);
    let refused = record
        .power_refused
        .iter()
        .filter(|(id, _)| plan.method().step(id).is_some_and(|step| step.is_part(board, BoardPart::Ends)));
    let refused = refused.map(|(_, key)| *key).max();
    let acts = acts(plan, record, board, BoardPart::Ends, |_| true).max();
    acts.max(refused).max(left).map(|at| Ended { at, by: Ending::Power })
}

/// When a board was last isolated and proved as a whole: by the records that nothing stands in for, of steps that always apply. One of
/// them that is made again, or a further photo, is no isolation.
fn isolated_again(plan: &Plan<'_>, record: &Record<'_>, board: &str) -> Option<OrderKey> {
    let whole = |step: &&Step| {
        step.stop_work
            && step.when.is_none()
            && step
                .duties()
                .iter()
                .any(|duty| duty.id == board && (duty.part == BoardPart::Isolates || proves(duty.part)))
    };
    let ids = plan.method().steps.iter().filter(whole).map(|step| step.id.as_str());
    let newest = ids.map(|id| of_step(record, id).map(|act| act.key).max());
    newest.min().flatten()
}

/// Tests for voltage, or the tester.
pub(super) const fn proves(part: BoardPart) -> bool {
    matches!(part, BoardPart::TesterBefore | BoardPart::Dead | BoardPart::TesterAfter)
}

fn left(record: &Record<'_>, which: impl Fn(LeftAs) -> bool) -> Option<OrderKey> {
    let is_such = |event: &PhaseEvent| matches!(event, PhaseEvent::Paused(left_as) if which(*left_as));
    record.phases.iter().rev().find(|(_, (event, _))| is_such(event)).map(|(key, _)| *key)
}

/// For each step of this part that has records of this kind: its newest act.
fn acts(
    plan: &Plan<'_>,
    record: &Record<'_>,
    board: &str,
    part: BoardPart,
    which: fn(&Body) -> bool,
) -> impl Iterator<Item = OrderKey> {
    let ids = plan.method().steps.iter().filter(move |step| step.is_part(board, part)).map(|step| step.id.as_str());
    ids.filter_map(move |id| of_step(record, id).filter(|act| which(act.body)).map(|act| act.key).max())
}

/// What was done at a step. A correction is no act: it says better what was done before.
fn of_step<'r, 'a>(record: &'r Record<'a>, id: &'r str) -> impl Iterator<Item = &'r Evidence<'a>> {
    let from = record.evidence.range(Place::of(id, 0, "")..);
    let all = from.take_while(move |(place, _)| place.step == id).flat_map(|(_, all)| all);
    all.filter(|evidence| evidence.body.corrects().is_none())
}
