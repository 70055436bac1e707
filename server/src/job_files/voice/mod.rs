//! Answers by which a lead allows a departure over the telephone: drawn when a job is handed out, shown one at a time.
//!
//! The server's own device writes their hashes into the log, where phones find them; the answers themselves stay in a table
//! that nothing else reads. For which places one is drawn, and which of them still works, `domain::people::voice` says.
//! **Never enters:** an answer in a log line.

mod queries;

use domain::ids::{EntryId, JobId, PersonId};
use domain::job_file::body::{VoiceAnswerShown, VoiceAnswers};
use domain::job_file::{Body, Draft, Entry, Place, fold};
use domain::method::gate::Plan;
use domain::people::voice::{NotShown, PLACES_MAX, to_be_shown};

use super::append::{Appended, FirmLock, append};
use super::load::load;
use super::project::method_of;
use super::{queries as log, wire};
use crate::auth::Caller;
use crate::clock::Clock;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::firms;
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
        let device = firms::server_device(tx).await?;
        // The server is nobody: its device stands where a person would.
        let author = PersonId::of(device.uuid());
        let issue = write_own(tx, clock, job, author, Body::VoiceAnswers(batch)).await?;
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
    write_own(tx, &state.clock, job, me, Body::VoiceAnswerShown(VoiceAnswerShown { issue, at })).await?;
    Ok(answer)
}

/// An entry by the server's own device.
async fn write_own(
    tx: &mut FirmTx,
    clock: &Clock,
    job: JobId,
    author: PersonId,
    body: Body,
) -> Result<EntryId, ApiError> {
    let mut lock = FirmLock::take(tx).await?;
    let device = firms::server_device(tx).await?;
    let (head, seen) = log::chain_head(tx, job, device).await?;
    let now_us = clock.now_us();
    let id = EntryId::of(clock.new_id());
    let draft = Draft { id, firm: tx.firm(), job, author, device, salt: clock.new_salt(), body };
    let entry = Entry::write(draft, head, seen, wire(now_us), wire(lock.last_stamp_us()));
    match append(tx, &mut lock, now_us, &[entry]).await?.as_slice() {
        [Appended::Stored(_)] => Ok(id),
        other => Err(ApiError::internal(anyhow::anyhow!("an entry of the server's own was not stored: {other:?}"))),
    }
}
