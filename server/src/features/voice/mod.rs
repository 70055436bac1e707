//! A lead allows a departure over the telephone: the server shows one answer, and that it did so is an entry.
//!
//! **Never enters:** more than one answer in a reply. What an answer does is said in `domain::people::voice`.

use axum::Json;
use axum::extract::State;
use domain::ids::JobId;
use domain::job_file::Place;
use domain::people::{Action, Ownership};
use serde::{Deserialize, Serialize};

use crate::auth::Caller;
use crate::error::ApiError;
use crate::http::{Body, Path};
use crate::job_files::project::project_dirty;
use crate::job_files::visible::require_visible;
use crate::job_files::voice::{draw_wanted, show};
use crate::job_files::worker::project_soon;
use crate::state::AppState;

/// `POST /api/jobs/{job}/voice-answers`: for which place.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ask {
    step: String,
    slot: u16,
    requirement: String,
}

/// Its answer.
#[derive(Serialize)]
pub struct Shown {
    /// Three groups of four.
    answer: String,
}

/// Shows one answer to a lead of the job. Each showing is an entry.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::NotFound`], [`ApiError::TooMany`], [`ApiError::Conflict`] `no_answer`.
pub async fn show_answer(
    caller: Caller,
    State(state): State<AppState>,
    Path(job): Path<JobId>,
    Body(ask): Body<Ask>,
) -> Result<Json<Shown>, ApiError> {
    caller.may(Action::WriteDecision, Ownership::Firm)?;
    // What the crew changed a moment ago may want an answer that is not drawn yet.
    project_dirty(&state, caller.firm).await?;
    if draw_wanted(&state, caller.firm, job).await? {
        project_dirty(&state, caller.firm).await?;
    }
    let mut tx = state.db.begin_for(&caller).await?;
    require_visible(&mut tx, &caller, job).await?;
    state.limits.take_showing(caller.person, state.clock.now_us())?;
    let at = Place::of(&ask.step, ask.slot, &ask.requirement);
    let answer = show(&mut tx, &state, &caller, job, at).await?;
    tx.commit().await?;
    project_soon(&state, caller.firm);
    Ok(Json(Shown { answer }))
}
