//! How long a proof of dead holds.
//!
//! It was made at one moment, behind locks that were on then. Leaving the site ends it: nobody knows what happened meanwhile. Power that
//! can reach the board ends it together with the list of sources, the locks and the wait: the whole isolation is made again. A source that
//! is found later asks for the wait and the proof again. All this only while work inside is left behind the same cover; what was recorded
//! under a living proof stays, and nothing new is recorded inside on one that has ended.
//!
//! Once it was proved dead again, what makes ready for power and switching on are recorded again as well, so the last word on a board is
//! always the newest act.

use super::plan::Plan;
use crate::job_file::body::{Body, LeftAs, Place};
use crate::job_file::file::OrderKey;
use crate::job_file::record::{PhaseEvent, Record};
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
            let ended = power.max(left).max(silent).max(source_found(plan, record, step, board, power));
            if part == BoardPart::TesterAfter { ended.max(tested_again(plan, record, board)) } else { ended }
        }
        BoardPart::Ends | BoardPart::BeforePower => {
            isolated_again(plan, record, board).map(|at| Ended { at, by: Ending::ProvedAgain })
        }
    }
}

/// The first act at the last of the isolating steps that come before a step, since power could last reach the board. A step opens after
/// all of them, so this is later than its evidence only if one of them did not apply then: a source was found since.
fn source_found(plan: &Plan<'_>, record: &Record<'_>, step: usize, board: &str, power: Option<Ended>) -> Option<Ended> {
    let before = plan.needs_of(step).iter().map(|need| plan.step(need.step));
    let isolating = before.filter(|before| before.is_part(board, BoardPart::Isolates));
    let first = isolating.filter_map(|before| {
        let acts = acts_of(record, &before.id, |_| true);
        acts.filter(|act| power.is_none_or(|power| *act > power.at)).min()
    });
    first.max().map(|at| Ended { at, by: Ending::SourceFound })
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
        let mut all: Vec<OrderKey> = plan
            .method()
            .steps
            .iter()
            .filter(|step| is_at_a_board(step))
            .flat_map(|step| at_step(record, step))
            .collect();
        all.sort_unstable();
        let silence = all.windows(2).rev().find(|pair| pair[1].at > pair[0].at.saturating_add(PROOF_SPAN_US));
        Self { before_silence: silence.map(|pair| pair[0]), newest: all.last().copied() }
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

    /// Whether work at a step was begun since the latest silence, and lately enough to be what keeps somebody busy.
    pub(super) fn was_begun(&self, record: &Record<'_>, step: &Step, now: Option<u64>) -> bool {
        let begun = at_step(record, step).filter(|key| self.before_silence.is_none_or(|silence| *key > silence)).max();
        begun.is_some_and(|key| now.is_none_or(|now| now <= key.at.saturating_add(2 * PROOF_SPAN_US)))
    }
}

/// Proves or works inside.
fn is_at_a_board(step: &Step) -> bool {
    step.duties().iter().any(|duty| match duty.part {
        BoardPart::TesterBefore | BoardPart::Dead | BoardPart::TesterAfter | BoardPart::Inside => true,
        BoardPart::Isolates | BoardPart::Ends | BoardPart::BeforePower => false,
    })
}

/// When something was done at a step, or its cautions were read.
fn at_step(record: &Record<'_>, step: &Step) -> impl Iterator<Item = OrderKey> {
    let cautions = record.cautions_read.range((step.id.clone(), 0, String::new())..);
    let read = cautions.take_while(|((id, ..), _)| *id == step.id).map(|(_, (_, key))| *key);
    acts_of(record, &step.id, |_| true).chain(read)
}

/// The last time that power could reach a board. What was recorded when the locks came off counts though it was corrected or is to be
/// done again: they did come off. Whoever leaves without saying that the locks stay on has left it open.
fn power(plan: &Plan<'_>, record: &Record<'_>, board: &str) -> Option<Ended> {
    let left = left(record, |left_as| left_as != LeftAs::IsolatedAndLocked);
    acts(plan, record, board, BoardPart::Ends, |_| true).max().max(left).map(|at| Ended { at, by: Ending::Power })
}

/// When a board was last isolated as a whole: one record that is made again, or a further photo, is no isolation.
fn isolated_again(plan: &Plan<'_>, record: &Record<'_>, board: &str) -> Option<OrderKey> {
    acts(plan, record, board, BoardPart::Isolates, |_| true).min()
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
    ids.filter_map(move |id| acts_of(record, id, which).max())
}

/// When something was done at a step. A correction is no act: it says better what was done before.
fn acts_of(record: &Record<'_>, id: &str, which: fn(&Body) -> bool) -> impl Iterator<Item = OrderKey> {
    let from = record.evidence.range(Place::of(id, 0, "")..);
    let all = from.take_while(move |(place, _)| place.step == id).flat_map(|(_, all)| all);
    all.filter(move |evidence| evidence.body.corrects().is_none() && which(evidence.body)).map(|evidence| evidence.key)
}
