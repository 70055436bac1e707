//! How long was waited: never early, sometimes late.
//!
//! Two things count. The page's monotonic clock while it was awake, as the entry tells it; and a span whose two ends the
//! server vouches for, whatever clocks, sleep and restarts did to the phone. The span begins when the last evidence of
//! the steps before had reached the server: it was made before that. It ends at the last moment of the server's that
//! the phone had seen when it wrote the wait: the wait was written after that. What really passed is never less.

use super::answer::{Answer, OpenWhy};
use super::plan::Plan;
use crate::job_file::body::{Body, Place};
use crate::job_file::file::OrderKey;
use crate::job_file::record::{Evidence, Record};
use crate::method::plan::WaitNeed;

pub(super) fn wait_answer(
    record: &Record<'_>,
    plan: &Plan<'_>,
    place: &Place,
    counting: &[Evidence<'_>],
    need: &WaitNeed,
    ended: Option<OrderKey>,
) -> Answer {
    let model = need.unit.map_or_else(|| record.model_of_slot(place.slot), |kind| record.model_of_kind(kind));
    let maker_ms = match &need.model {
        None => 0,
        Some(key) => match model.and_then(|model| model.value(key)) {
            Some(micro) => u64::try_from(micro / 1_000).unwrap_or(0),
            None => return Answer::NotDetermined { by: None, why: OpenWhy::NoMakerFigure(key.clone()) },
        },
    };
    let read_ms =
        need.reading.as_deref().map_or(0, |id| read_ms(record, &Place::of(&place.step, place.slot, id), ended));
    let designed = need.design.as_deref().and_then(|key| record.design_value(key)).map_or(0, rounded_up_ms);
    let want = maker_ms.max(u64::from(need.seconds.unwrap_or(0)) * 1_000).max(read_ms).max(designed);
    let longest = counting
        .iter()
        .filter_map(|evidence| match evidence.body {
            Body::Waited(waited) => {
                Some((waited.elapsed_ms.max(vouched_ms(record, plan, place, evidence)), evidence.key.id))
            }
            _ => None,
        })
        .max_by_key(|(elapsed, _)| *elapsed);
    match longest {
        Some((elapsed, id)) if elapsed >= want => Answer::Met { by: vec![id] },
        Some((elapsed, _)) => Answer::Missing { have: elapsed, want },
        None => Answer::Missing { have: 0, want },
    }
}

/// Milliseconds that a person read off; 0 where nothing was read yet: the step needs that reading too.
fn read_ms(record: &Record<'_>, place: &Place, ended: Option<OrderKey>) -> u64 {
    let micro = match record.counting_since(place, ended).last().map(|evidence| evidence.body) {
        Some(Body::Reading(reading)) => reading.micro.unwrap_or(0),
        _ => 0,
    };
    rounded_up_ms(micro)
}

/// Milliseconds of a figure in millionths of a second: a wait may be longer than what was read or computed, never shorter.
fn rounded_up_ms(micro: i64) -> u64 {
    u64::try_from(micro).unwrap_or(0).div_ceil(1_000)
}

/// Milliseconds between the two ends that the server vouches for; 0 where it does not.
fn vouched_ms(record: &Record<'_>, plan: &Plan<'_>, place: &Place, evidence: &Evidence<'_>) -> u64 {
    let start = started_by(record, plan, place, evidence);
    let end = record.stamped_by(evidence.held.entry.header.seen);
    start.zip(end).map_or(0, |(start, end)| end.saturating_sub(start) / 1_000)
}

/// Server time by which all evidence that the steps before had when the wait was written has arrived.
fn started_by(record: &Record<'_>, plan: &Plan<'_>, place: &Place, wait: &Evidence<'_>) -> Option<u64> {
    let step = plan.index_of(&place.step)?;
    let before: Vec<&str> = plan.needs_of(step).iter().map(|need| plan.step(need.step).id.as_str()).collect();
    let mut latest = None;
    for at in record.evidence.keys().filter(|at| before.contains(&at.step.as_str())) {
        for evidence in record.counting(at).iter().filter(|evidence| evidence.key < wait.key) {
            let stamp = evidence.held.stamp?;
            latest = latest.max(Some(stamp.time_us));
        }
    }
    latest
}
