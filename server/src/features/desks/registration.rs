//! The registration desk, and the data of one job as JSON and CSV.

use axum::Json;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use domain::ids::JobId;
use domain::people::{Action, Ownership};
use serde::Deserialize;

use super::queries;
use crate::auth::Caller;
use crate::clock::DAY_US;
use crate::error::ApiError;
use crate::handover::registration::{RegistrationJson, csv_of, of_job};
use crate::http::{Path, Query};
use crate::job_files::project::project_dirty;
use crate::job_files::visible::require_visible;
use crate::state::AppState;

/// Jobs of one answer: each is folded anew.
const PAGE_JOBS: i64 = 50;
/// A job that changed longer ago than any maker waits is no longer on the desk.
const DESK_SHOWN_US: i64 = 400 * DAY_US;

/// The query of `GET /api/registration`.
#[derive(Deserialize)]
pub struct Ask {
    /// The last job of the page before.
    after: Option<JobId>,
}

/// `GET /api/registration`: jobs with evidence, what changed last first.
///
/// # Errors
/// [`ApiError::NotPermitted`].
pub async fn list_registrations(
    caller: Caller,
    State(state): State<AppState>,
    Query(ask): Query<Ask>,
) -> Result<Json<Vec<RegistrationJson>>, ApiError> {
    caller.may(Action::SeeRegistration, Ownership::Firm)?;
    project_dirty(&state, caller.firm).await?;
    let mut tx = state.db.begin_for(&caller).await?;
    let since = state.clock.now_us() - DESK_SHOWN_US;
    let jobs = queries::jobs_to_register(&mut tx, since, ask.after, PAGE_JOBS).await?;
    let mut found = Vec::with_capacity(jobs.len());
    for (job, phase) in jobs {
        if let Some(registration) = of_job(&state, &mut tx, JobId::of(job), phase).await? {
            found.push(registration);
        }
    }
    tx.commit().await?;
    Ok(Json(found))
}

/// `GET /api/jobs/{job}/registration.json`.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::NotFound`].
pub async fn get_registration_json(
    caller: Caller,
    State(state): State<AppState>,
    Path(job): Path<JobId>,
) -> Result<Json<RegistrationJson>, ApiError> {
    one(&caller, &state, job).await.map(Json)
}

/// `GET /api/jobs/{job}/registration.csv`: UTF-8 with a byte order mark, commas, one line a unit.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::NotFound`].
pub async fn get_registration_csv(
    caller: Caller,
    State(state): State<AppState>,
    Path(job): Path<JobId>,
) -> Result<Response, ApiError> {
    let registration = one(&caller, &state, job).await?;
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8".to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"registration-{}.csv\"", job.short())),
    ];
    Ok((headers, csv_of(&registration)).into_response())
}

async fn one(caller: &Caller, state: &AppState, job: JobId) -> Result<RegistrationJson, ApiError> {
    caller.may(Action::SeeRegistration, Ownership::Firm)?;
    project_dirty(state, caller.firm).await?;
    let mut tx = state.db.begin_for(caller).await?;
    require_visible(&mut tx, caller, job).await?;
    let phase = queries::state_of(&mut tx, job).await?.ok_or(ApiError::NotFound)?;
    let found = of_job(state, &mut tx, job, phase).await?.ok_or(ApiError::NotFound)?;
    tx.commit().await?;
    Ok(found)
}
