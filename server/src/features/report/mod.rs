//! Paper: the verification report of a job and the sheet of a method.
//!
//! [`domain::pack`] decides what a report says, [`crate::handover::report`] gathers what it needs, [`crate::paper`] lays it out.

mod sheet;

use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use domain::ids::JobId;
use domain::people::{Action, Ownership, may};
use serde::Deserialize;

pub use sheet::get_sheet;

use crate::auth::Caller;
use crate::error::ApiError;
use crate::handover::report::{self, Outside, known_language};
use crate::http::{Path, Query};
use crate::job_files::load::load;
use crate::job_files::project::{method_of, project_dirty};
use crate::job_files::visible::require_visible;
use crate::state::AppState;

/// The query of both papers.
#[derive(Deserialize)]
pub struct Ask {
    /// Two letters; English where absent or unknown.
    #[serde(default)]
    language: String,
}

/// `GET /api/jobs/{job}/report.pdf?language=`: the verification report with its photos.
///
/// # Errors
/// [`ApiError::NotFound`]: not a job that the caller may see, or its method is not on this server.
pub async fn get_report(
    caller: Caller,
    State(state): State<AppState>,
    Path(job): Path<JobId>,
    Query(ask): Query<Ask>,
) -> Result<Response, ApiError> {
    project_dirty(&state, caller.firm).await?;
    let mut tx = state.db.begin_for(&caller).await?;
    if may(&caller.roles, Action::SeeJob, Ownership::Firm).is_none() {
        caller.may(Action::SeeJob, Ownership::Own)?;
    }
    require_visible(&mut tx, &caller, job).await?;
    let loaded = load(&mut tx, job).await?.ok_or(ApiError::NotFound)?;
    let method = method_of(&state, &loaded.file).await?.ok_or(ApiError::NotFound)?;
    let mut outside = Outside::load(&mut tx, &caller, job, &ask.language).await?;
    tx.commit().await?;
    outside.seal.key = state.fingerprint();
    let pdf = report::pdf(&state, caller.firm, &loaded.file, &method, job, &outside).await?;
    Ok(pdf_response(pdf, &format!("report-{}.pdf", job.short())))
}

fn pdf_response(pdf: Vec<u8>, name: &str) -> Response {
    let headers = [
        (header::CONTENT_TYPE, "application/pdf".to_owned()),
        (header::CONTENT_DISPOSITION, format!("attachment; filename=\"{name}\"")),
        (header::CACHE_CONTROL, "private, no-store".to_owned()),
    ];
    (headers, pdf).into_response()
}
