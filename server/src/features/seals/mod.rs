//! Seals of jobs: making one, the list of them, the pack, and the key that anybody may compare.
//!
//! How a seal is made is [`crate::handover::seal`]'s; when it may be made, `domain::seal::ready` says. **Never enters:** the secret
//! half of the key.

use axum::Json;
use axum::body::Body as ResponseBody;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use domain::ids::{Hash32, JobId, hex};
use domain::people::{Action, Ownership, may};
use serde::{Deserialize, Serialize};

use crate::auth::Caller;
use crate::error::ApiError;
use crate::handover::report::known_language;
use crate::handover::seal::{self, SealJson, Standing};
use crate::http::{Body, Path};
use crate::job_files::worker::project_soon;
use crate::state::AppState;

/// `POST /api/jobs/{job}/seal`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Ask {
    /// Two letters: language of the report in the pack.
    #[serde(default)]
    language: String,
}

/// Seals a job that has passed.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::NotFound`], [`ApiError::NotReadyToSeal`], [`ApiError::Conflict`]
/// `seal_key_missing`.
pub async fn seal_job(
    caller: Caller,
    State(state): State<AppState>,
    Path(job): Path<JobId>,
    Body(ask): Body<Ask>,
) -> Result<Json<SealJson>, ApiError> {
    caller.may(Action::SealJob, Ownership::Firm)?;
    let made = seal::seal_job(&state, &caller, job, known_language(&ask.language)).await?;
    project_soon(&state, caller.firm);
    Ok(Json(made))
}

/// `GET /api/jobs/{job}/seals`: all of them, and what stands in the way of the next.
///
/// # Errors
/// [`ApiError::NotFound`].
pub async fn list_seals(
    caller: Caller,
    State(state): State<AppState>,
    Path(job): Path<JobId>,
) -> Result<Json<Standing>, ApiError> {
    may_see(&caller)?;
    seal::standing(&state, &caller, job).await.map(Json)
}

/// `GET /api/jobs/{job}/seals/{number}/pack`: the pack as it was sealed.
///
/// # Errors
/// [`ApiError::NotFound`].
pub async fn get_pack(
    caller: Caller,
    State(state): State<AppState>,
    Path((job, number)): Path<(JobId, i32)>,
) -> Result<Response, ApiError> {
    may_see(&caller)?;
    let opened = seal::open_pack(&state, &caller, job, number).await?;
    let name = format!("witnessmark-{}-seal-{number}.zip", job.short());
    let headers = [
        (header::CONTENT_TYPE, "application/zip".to_owned()),
        (header::CONTENT_LENGTH, opened.bytes.to_string()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
        (header::CACHE_CONTROL, "private, no-store".to_owned()),
    ];
    Ok((headers, ResponseBody::from_stream(opened.stream)).into_response())
}

fn may_see(caller: &Caller) -> Result<(), ApiError> {
    if may(&caller.roles, Action::SeeJob, Ownership::Firm).is_none() {
        caller.may(Action::SeeJob, Ownership::Own)?;
    }
    Ok(())
}

/// The public key of this installation's seals.
#[derive(Serialize)]
pub struct SealKeyJson {
    /// P-256, uncompressed SEC 1, hexadecimal.
    key: String,
    /// SHA-256 of it, hexadecimal.
    fingerprint: Hash32,
    /// The same in groups, as it is printed.
    grouped: String,
}

/// `GET /.well-known/witnessmark-seal-key`: for anybody, without signing in.
///
/// # Errors
/// [`ApiError::NotFound`] where this installation has no key.
pub async fn get_seal_key(State(state): State<AppState>) -> Result<Json<SealKeyJson>, ApiError> {
    let sealing = state.sealing.as_ref().ok_or(ApiError::NotFound)?;
    let fingerprint = sealing.fingerprint();
    Ok(Json(SealKeyJson { key: hex(&sealing.key().public()), fingerprint, grouped: fingerprint.grouped() }))
}
