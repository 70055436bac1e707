//! Who may see a job. Asked after its projection is up to date, so that an assignment works at once.

use std::cmp::Reverse;

use domain::ids::{JobId, PersonId};
use domain::people::{Action, Ownership, may};

use super::queries;
use crate::auth::Caller;
use crate::clock::DAY_US;
use crate::db::FirmTx;
use crate::error::ApiError;

/// How long a job that is finished or withdrawn still goes to devices by itself. Older ones are asked for by name.
const FINISHED_SHOWN_US: i64 = 60 * DAY_US;

/// May the caller see every job of the firm?
pub fn sees_all(caller: &Caller) -> bool {
    may(&caller.roles, Action::SeeJob, Ownership::Firm).is_some()
}

/// May the caller see this job? Theirs is a job whose crew they are in, or in whose file they wrote.
///
/// # Errors
/// The database.
pub async fn may_see(tx: &mut FirmTx, caller: &Caller, job: JobId) -> Result<bool, ApiError> {
    Ok(queries::may_see(tx, job, caller.person, sees_all(caller)).await?)
}

/// The same, as the answer that it means: nobody learns of a job that is not theirs.
///
/// # Errors
/// [`ApiError::NotFound`], or the database.
pub async fn require_visible(tx: &mut FirmTx, caller: &Caller, job: JobId) -> Result<(), ApiError> {
    if may_see(tx, caller, job).await? { Ok(()) } else { Err(ApiError::NotFound) }
}

/// Those whose job it is, whatever their roles: its crew, and whoever wrote in its file.
///
/// # Errors
/// The database.
pub async fn people_with_a_part(tx: &mut FirmTx, job: JobId) -> Result<Vec<PersonId>, ApiError> {
    Ok(queries::people_with_a_part(tx, job).await?.into_iter().map(PersonId::of).collect())
}

/// A job that goes to a device.
#[derive(Debug)]
pub struct VisibleJob {
    /// Which.
    pub job: JobId,
    /// Its last position.
    pub head: i64,
    /// The method that it pins: id, version, SHA-256.
    pub method: Option<(String, u32, Vec<u8>)>,
}

/// The jobs that a device of the caller should hold now, what changed last first. `also`: jobs asked for by name.
///
/// # Errors
/// The database.
pub async fn visible_jobs(
    tx: &mut FirmTx,
    caller: &Caller,
    also: &[JobId],
    now_us: i64,
) -> Result<Vec<VisibleJob>, ApiError> {
    let mut rows = queries::visible_jobs(tx, caller.person, sees_all(caller), also, now_us - FINISHED_SHOWN_US).await?;
    rows.sort_unstable_by_key(|row| (Reverse(row.changed_us), row.job_id));
    let visible = rows.into_iter().map(|row| {
        let version = row.method_version.and_then(|version| u32::try_from(version).ok());
        let method = match (row.method_id, version, row.method_hash) {
            (Some(id), Some(version), Some(hash)) => Some((id, version, hash)),
            (_, _, _) => None,
        };
        VisibleJob { job: JobId::of(row.job_id), head: row.head, method }
    });
    Ok(visible.collect())
}
