//! How long a proof of dead holds.
//!
//! It was made at one moment, behind locks that were on then. Leaving the site ends it: nobody knows what happened meanwhile. Power that
//! can reach the board ends it together with the locks and the wait: the whole isolation is made again. It is asked for again only while
//! work inside that board is left; what was recorded under a living proof stays.
//!
//! Once it was proved dead again, switching on is recorded again as well, so the last word on a board is always the newest act.

use super::plan::Plan;
use crate::job_file::body::{LeftAs, Place};
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
    /// It was isolated anew, and so proved dead, since this step was last done.
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

/// What ended the evidence of a step that has this part at a board; `None` while nothing did.
pub(super) fn ended(plan: &Plan<'_>, record: &Record<'_>, board: &str, part: BoardPart) -> Option<Ended> {
    match part {
        BoardPart::Inside => None,
        BoardPart::Isolates => power(plan, record, board),
        BoardPart::TesterBefore | BoardPart::Dead | BoardPart::TesterAfter => {
            let left = left(record, |left_as| left_as == LeftAs::IsolatedAndLocked);
            power(plan, record, board).max(left.map(|at| Ended { at, by: Ending::Left }))
        }
        BoardPart::Ends => isolated_again(plan, record, board).map(|at| Ended { at, by: Ending::ProvedAgain }),
    }
}

/// The last time that power could reach a board. What was recorded when the locks came off counts though it was corrected or is to be
/// done again: they did come off. Whoever leaves without saying that the locks stay on has left it open.
fn power(plan: &Plan<'_>, record: &Record<'_>, board: &str) -> Option<Ended> {
    let left = left(record, |left_as| left_as != LeftAs::IsolatedAndLocked);
    acts(plan, record, board, BoardPart::Ends).max().max(left).map(|at| Ended { at, by: Ending::Power })
}

/// When a board was last isolated as a whole: one record that is made again, or a further photo, is no isolation.
fn isolated_again(plan: &Plan<'_>, record: &Record<'_>, board: &str) -> Option<OrderKey> {
    acts(plan, record, board, BoardPart::Isolates).min()
}

fn left(record: &Record<'_>, which: impl Fn(LeftAs) -> bool) -> Option<OrderKey> {
    let is_such = |event: &PhaseEvent| matches!(event, PhaseEvent::Paused(left_as) if which(*left_as));
    record.phases.iter().rev().find(|(_, (event, _))| is_such(event)).map(|(key, _)| *key)
}

/// For each step of this part that has records: its newest act. A correction is none: it says better what was done before.
fn acts(plan: &Plan<'_>, record: &Record<'_>, board: &str, part: BoardPart) -> impl Iterator<Item = OrderKey> {
    let ids = plan.method().steps.iter().filter(move |step| step.is_part(board, part)).map(|step| step.id.as_str());
    ids.filter_map(|id| {
        let from = record.evidence.range(Place::of(id, 0, "")..);
        let all = from.take_while(|(place, _)| place.step == id).flat_map(|(_, all)| all);
        all.filter(|evidence| evidence.body.corrects().is_none()).map(|evidence| evidence.key).max()
    })
}
