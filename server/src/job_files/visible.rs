//! Who may see a job. Asked after its projection is up to date, so that an assignment works at once.

use std::cmp::Reverse;
use std::collections::BTreeMap;

use domain::ids::{JobId, PersonId};
use domain::job_file::{Body, Entry};
use domain::people::{Action, Ownership, may};
use uuid::Uuid;

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

/// The methods of jobs whose projection does not say, for it is still to be made: what opened them says it.
async fn opening_methods(
    tx: &mut FirmTx,
    rows: &[queries::VisibleRow],
) -> Result<BTreeMap<Uuid, (String, u32, Vec<u8>)>, ApiError> {
    let open: Vec<Uuid> = rows.iter().filter(|row| row.method_id.is_none()).map(|row| row.job_id).collect();
    let Some((planned, _)) = Body::KINDS.iter().find(|(_, name)| *name == "JobPlanned").filter(|_| !open.is_empty())
    else {
        return Ok(BTreeMap::new());
    };
    let planned = queries::first_of_kind(tx, &open, *planned).await?;
    let methods = planned.into_iter().filter_map(|row| {
        let entry = Entry::read(&row.envelope).ok()?;
        let Some(Body::JobPlanned(plan)) = entry.body() else { return None };
        let method = &plan.method;
        Some((row.job_id, (method.id.clone(), method.version, method.hash.bytes().to_vec())))
    });
    Ok(methods.collect())
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
    let mut opening = opening_methods(tx, &rows).await?;
    let visible = rows.into_iter().map(|row| {
        let version = row.method_version.and_then(|version| u32::try_from(version).ok());
        let method = match (row.method_id, version, row.method_hash) {
            (Some(id), Some(version), Some(hash)) => Some((id, version, hash)),
            (_, _, _) => opening.remove(&row.job_id),
        };
        VisibleJob { job: JobId::of(row.job_id), head: row.head, method }
    });
    Ok(visible.collect())
}
