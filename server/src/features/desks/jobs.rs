//! `GET /api/jobs` and `GET /api/jobs/{job}`.

use axum::Json;
use axum::extract::State;
use domain::ids::{JobId, PersonId, SiteId};
use serde::{Deserialize, Serialize};

use super::queries;
use crate::auth::Caller;
use crate::error::ApiError;
use crate::http::{Path, Query};
use crate::job_files::project::project_dirty;
use crate::job_files::visible::{require_visible, sees_all};
use crate::state::AppState;

/// Rows of one answer; `after` asks for the next.
pub(super) const PAGE_ROWS: i64 = 200;
/// Characters of a search that are looked at.
pub(super) const SEARCH_CHARS_MAX: usize = 100;

/// The query of `GET /api/jobs`.
#[derive(Deserialize)]
pub struct Ask {
    /// One state, or several with commas between.
    #[serde(default)]
    state: String,
    /// Part of a name, a street, a town, or the end of a job's id.
    #[serde(default)]
    q: String,
    /// The last job of the page before.
    after: Option<JobId>,
}

/// How many of how many.
#[derive(Serialize)]
pub struct Count {
    done: i32,
    total: i32,
}

/// Photos that entries name, originals only, and those of them that are here.
#[derive(Serialize)]
pub struct PhotoCount {
    named: i64,
    arrived: i64,
}

/// A job in a list.
#[derive(Serialize)]
pub struct JobRow {
    job: JobId,
    /// Six characters to say aloud.
    short: String,
    state: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    left_as: Option<String>,
    /// False: this server lacks the method that the job pins, so steps and breaches are not known.
    method_known: bool,
    method: Option<MethodName>,
    purpose: Option<String>,
    site: Option<SiteId>,
    householder: String,
    street: String,
    town: String,
    day: String,
    start: String,
    crew: Vec<PersonId>,
    steps: Count,
    holds: Count,
    entries: i64,
    breaches: i32,
    breaches_settled: i32,
    findings: i32,
    stops_open: i32,
    deviations_open: i32,
    late: i32,
    photos: PhotoCount,
    updated_us: i64,
}

/// A method by id and version.
#[derive(Serialize)]
pub struct MethodName {
    id: String,
    version: i64,
}

/// One job.
#[derive(Serialize)]
pub struct JobDetail {
    #[serde(flatten)]
    row: JobRow,
    /// Entries for this job that wait for somebody to look.
    held: i64,
}

/// Newest day first; jobs without a day come last.
///
/// # Errors
/// The database does not answer.
pub async fn list_jobs(
    caller: Caller,
    State(state): State<AppState>,
    Query(ask): Query<Ask>,
) -> Result<Json<Vec<JobRow>>, ApiError> {
    project_dirty(&state, caller.firm).await?;
    let mut tx = state.db.begin_for(&caller).await?;
    let filter = queries::JobFilter {
        person: caller.person,
        all: sees_all(&caller),
        states: ask.state.split(',').map(str::trim).filter(|word| !word.is_empty()).map(str::to_owned).collect(),
        part: ask.q.trim().chars().take(SEARCH_CHARS_MAX).collect(),
        after: ask.after,
    };
    let rows = queries::jobs(&mut tx, &filter, PAGE_ROWS).await?;
    tx.commit().await?;
    Ok(Json(rows.into_iter().map(JobRow::from).collect()))
}

/// One job, if the caller may see it.
///
/// # Errors
/// [`ApiError::NotFound`].
pub async fn get_job(
    caller: Caller,
    State(state): State<AppState>,
    Path(job): Path<JobId>,
) -> Result<Json<JobDetail>, ApiError> {
    project_dirty(&state, caller.firm).await?;
    let mut tx = state.db.begin_for(&caller).await?;
    require_visible(&mut tx, &caller, job).await?;
    let row = queries::job(&mut tx, job).await?.ok_or(ApiError::NotFound)?;
    let held = queries::held_of_job(&mut tx, job).await?;
    tx.commit().await?;
    Ok(Json(JobDetail { row: row.into(), held }))
}

impl From<queries::JobRowStored> for JobRow {
    fn from(row: queries::JobRowStored) -> Self {
        let job = JobId::of(row.job_id);
        let method = match (row.method_id, row.method_version) {
            (Some(id), Some(version)) => Some(MethodName { id, version }),
            (_, _) => None,
        };
        Self {
            job,
            short: job.short(),
            state: row.state,
            left_as: row.left_as,
            method_known: row.method_known,
            method,
            purpose: row.purpose,
            site: row.site_id.map(SiteId::of),
            householder: row.householder,
            street: row.street,
            town: row.town,
            day: row.day,
            start: row.start,
            crew: row.crew.into_iter().map(PersonId::of).collect(),
            steps: Count { done: row.steps_done, total: row.steps_total },
            holds: Count { done: row.holds_done, total: row.holds_total },
            entries: row.entries,
            breaches: row.breaches,
            breaches_settled: row.breaches_settled,
            findings: row.findings,
            stops_open: row.stops_open,
            deviations_open: row.deviations_open,
            late: row.late,
            photos: PhotoCount { named: row.photos_named, arrived: row.photos_arrived },
            updated_us: row.updated_us,
        }
    }
}
