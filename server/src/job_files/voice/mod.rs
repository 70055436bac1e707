//! Answers by which a lead allows a departure over the telephone: drawn when a job is handed out, shown one at a time.
//!
//! The server's own device writes their hashes into the log, where phones find them; the answers themselves stay in a table
//! that nothing else reads. For which places one is drawn, and which of them still works, `domain::people::voice` says.
//! **Never enters:** an answer in a log line.

mod queries;

use domain::ids::JobId;
use domain::job_file::body::{VoiceAnswerShown, VoiceAnswers};
use domain::job_file::{Body, Place, fold};
use domain::method::gate::Plan;
use domain::people::voice::{NotShown, PLACES_MAX, to_be_shown};

use super::load::load;
use super::own::write_own;
use super::project::method_of;
use crate::auth::Caller;
use crate::clock::Clock;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::state::AppState;

/// A batch of answers that is not written yet.
pub(super) struct Drawn {
    places: Vec<Place>,
    batch: VoiceAnswers,
    answers: Vec<String>,
}

/// Draws answers for these places. The slow hash takes milliseconds a place: not on a thread that serves requests.
pub(super) fn draw(clock: &Clock, places: &[Place]) -> Vec<Drawn> {
    let batches = places.chunks(PLACES_MAX).map(|places| {
        let (batch, answers) = domain::people::voice::issue(clock.new_salt(), places, &mut || clock.new_bits());
        Drawn { places: places.to_vec(), batch, answers }
    });
    batches.collect()
}

/// Writes what was drawn: the hashes into the log, the answers beside it.
///
/// # Errors
/// The database.
pub(super) async fn write(tx: &mut FirmTx, clock: &Clock, job: JobId, drawn: Vec<Drawn>) -> Result<(), ApiError> {
    for Drawn { places, batch, answers } in drawn {
        let issue = write_own(tx, clock, job, None, Body::VoiceAnswers(batch)).await?;
        queries::keep_answers(tx, job, issue, &places, &answers).await?;
    }
    Ok(())
}

/// Shows the caller, a lead of this job, the answer for one place; that is an entry, with the caller as its author.
///
/// # Errors
/// [`ApiError::NotFound`], [`ApiError::NotPermitted`] where the caller is no lead of this job, [`ApiError::Conflict`]
/// `no_answer` where none is drawn for this place (a stop-work step, a job that is over), or the database.
pub async fn show(
    tx: &mut FirmTx,
    state: &AppState,
    caller: &Caller,
    job: JobId,
    at: Place,
) -> Result<String, ApiError> {
    let loaded = load(tx, job).await?.ok_or(ApiError::NotFound)?;
    let method = method_of(state, &loaded.file).await?.ok_or(ApiError::Conflict("no_answer"))?;
    let (me, place) = (caller.person, at.clone());
    // The fold of a large job takes a while: not on a thread that serves requests.
    let issue = tokio::task::spawn_blocking(move || {
        let plan = Plan::of(&method.method);
        to_be_shown(&fold(&loaded.file, &plan), me, &place).map_err(|why| match why {
            NotShown::NotALead => ApiError::NotPermitted,
            NotShown::NoAnswer => ApiError::Conflict("no_answer"),
        })
    })
    .await
    .map_err(|error| ApiError::internal(anyhow::anyhow!("the fold of a job failed: {error}")))??;
    let answer = queries::answer(tx, issue, &at).await?.ok_or(ApiError::Conflict("no_answer"))?;
    write_own(tx, &state.clock, job, Some(me), Body::VoiceAnswerShown(VoiceAnswerShown { issue, at })).await?;
    Ok(answer)
}
