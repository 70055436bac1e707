//! Answers by which a lead allows a departure over the telephone: drawn when a job is handed out, shown one at a time.
//!
//! The server's own device writes their hashes into the log, where phones find them; the answers themselves stay in a table
//! that nothing else reads. For which places one is drawn, and which of them still works, `domain::people::voice` says.
//! **Never enters:** an answer in a log line.

mod queries;

use domain::ids::{FirmId, JobId};
use domain::job_file::body::{VoiceAnswerShown, VoiceAnswers};
use domain::job_file::{Body, Place, fold};
use domain::method::gate::Plan;
use domain::people::voice::{NotShown, PLACES_MAX, to_be_shown, wanting};

use super::load::load;
use super::own::write_own;
use super::project::method_of;
use super::queries::{answers_come, lock_projection, own_wanting_answers, wants_answers};
use crate::auth::Caller;
use crate::clock::Clock;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::state::AppState;

/// Jobs of their own for which somebody waits at a pull.
const OWN_IN_LINE_MAX: usize = 4;

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

/// Draws what a job waits for, with no connection held while the slow hashes are made. False: nothing was wanted, or somebody else
/// drew it meanwhile.
///
/// # Errors
/// The database.
pub async fn draw_wanted(state: &AppState, firm: FirmId, job: JobId) -> Result<bool, ApiError> {
    let mut tx = state.db.begin_for_firm(firm).await?;
    if !wants_answers(&mut tx, job).await? {
        return Ok(false);
    }
    let Some(loaded) = load(&mut tx, job).await? else { return Ok(false) };
    let method = method_of(state, &loaded.file).await?;
    tx.commit().await?;
    let Some(method) = method else { return Ok(false) };
    let clock = state.clock.clone();
    let drawn = tokio::task::spawn_blocking(move || {
        let plan = Plan::of(&method.method);
        let places = wanting(&fold(&loaded.file, &plan));
        draw(&clock, &places)
    })
    .await
    .map_err(|error| ApiError::internal(anyhow::anyhow!("answers could not be drawn: {error}")))?;
    let mut tx = state.db.begin_for_firm(firm).await?;
    lock_projection(&mut tx).await?;
    if !answers_come(&mut tx, job).await? {
        return Ok(false);
    }
    write(&mut tx, &state.clock, job, drawn).await?;
    tx.commit().await?;
    Ok(true)
}

/// Draws for the next jobs in whose crew the caller is: they may be out of reach a minute from now.
///
/// # Errors
/// The database.
pub async fn draw_for_crew(state: &AppState, caller: &Caller) -> Result<bool, ApiError> {
    let mut tx = state.db.begin_for(caller).await?;
    let jobs = own_wanting_answers(&mut tx, caller.person, OWN_IN_LINE_MAX).await?;
    tx.commit().await?;
    let mut drew = false;
    for job in jobs {
        drew |= draw_wanted(state, caller.firm, JobId::of(job)).await?;
    }
    Ok(drew)
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
