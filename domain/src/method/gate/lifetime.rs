//! How long a proof of dead holds.
//!
//! It was made at one moment, behind locks that were on then. Leaving the site ends it: nobody knows what happened meanwhile. Power that
//! can reach the board ends it together with the locks and the wait: the whole isolation is made again. It is asked for again only while
//! work inside that board is left; what was recorded under a living proof stays.
//!
//! Once it was proved dead again, switching on is recorded again as well, so the last word on a board is always the newest act.

use super::StepRef;
use super::plan::Plan;
use crate::job_file::body::LeftAs;
use crate::job_file::file::OrderKey;
use crate::job_file::record::{PhaseEvent, Record};
use crate::method::plan::BoardPart;

/// Why evidence of isolating and proving is asked for anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Ending {
    /// The crew left the site with the locks on.
    Left,
    /// A lock came off, or power could reach the board.
    Power,
    /// It was isolated and proved dead anew since this step was last done.
    ProvedAgain,
}

/// What ended the evidence of a step: older evidence counts for nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Ended {
    /// The entry that ended it.
    pub at: OrderKey,
    /// Why.
    pub by: Ending,
}

/// Boards at which a step proves, isolates or ends, with its parts there.
pub(super) fn bound_to<'m>(plan: &Plan<'m>, step: usize) -> impl Iterator<Item = (&'m str, BoardPart)> {
    plan.step(step)
        .duties()
        .iter()
        .filter(|duty| duty.part != BoardPart::Inside)
        .map(|duty| (duty.id.as_str(), duty.part))
}

/// Repetitions of the steps that work inside a board.
pub(super) fn inside(plan: &Plan<'_>, record: &Record<'_>, board: &str) -> Vec<StepRef> {
    let works = |step: &usize| plan.step(*step).is_part(board, BoardPart::Inside);
    let of = |step| match plan.repeat_of(step) {
        None => vec![StepRef { step, slot: 0 }],
        Some(kind) => record.slots(kind).into_iter().map(|slot| StepRef { step, slot }).collect(),
    };
    (0..plan.method().steps.len()).filter(works).flat_map(of).collect()
}

/// What ended the evidence of a step that has this part at a board; `None` while nothing did.
pub(super) fn ended(plan: &Plan<'_>, record: &Record<'_>, board: &str, part: BoardPart) -> Option<Ended> {
    match part {
        BoardPart::Inside => None,
        BoardPart::Isolates => power(plan, record, board),
        BoardPart::TesterBefore | BoardPart::Dead | BoardPart::TesterAfter => {
            let left = left(record, |left_as| left_as == LeftAs::IsolatedAndLocked);
            power(plan, record, board).max(left.map(|at| Ended { at, by: Ending::Left }))
        }
        // A correction is no new act: it says better what was done before.
        BoardPart::Ends => {
            newest_act(plan, record, board, BoardPart::TesterAfter).map(|at| Ended { at, by: Ending::ProvedAgain })
        }
    }
}

/// The last time that power could reach a board. What was recorded when the locks came off counts though it was corrected or is to be
/// done again: they did come off. Whoever leaves without saying that the locks stay on has left it open.
fn power(plan: &Plan<'_>, record: &Record<'_>, board: &str) -> Option<Ended> {
    let left = left(record, |left_as| left_as != LeftAs::IsolatedAndLocked);
    newest_act(plan, record, board, BoardPart::Ends).max(left).map(|at| Ended { at, by: Ending::Power })
}

fn left(record: &Record<'_>, which: impl Fn(LeftAs) -> bool) -> Option<OrderKey> {
    let leavings = record.phases.iter().rev();
    leavings
        .filter_map(|(key, (event, _))| matches!(event, PhaseEvent::Paused(as_) if which(*as_)).then_some(*key))
        .next()
}

fn newest_act(plan: &Plan<'_>, record: &Record<'_>, board: &str, part: BoardPart) -> Option<OrderKey> {
    let ids = plan.method().steps.iter().filter(|step| step.is_part(board, part)).map(|step| step.id.as_str());
    let of_step = |id: &str| {
        let from = record.evidence.range(crate::job_file::body::Place::of(id, 0, "")..);
        let all = from.take_while(|(place, _)| place.step == id).flat_map(|(_, all)| all);
        all.filter(|evidence| evidence.body.corrects().is_none()).map(|evidence| evidence.key).max()
    };
    ids.filter_map(of_step).max()
}
