//! `GET /api/held`: entries that the server keeps and somebody must look at.

use axum::Json;
use axum::extract::State;
use domain::ids::{DeviceId, EntryId, JobId, PersonId};
use domain::job_file::Body;
use domain::people::{Action, Ownership};
use serde::Serialize;

use super::queries;
use crate::auth::Caller;
use crate::error::ApiError;
use crate::state::AppState;

/// Rows of one answer, newest first.
const ROWS_MAX: i64 = 500;

/// An entry that is held.
#[derive(Serialize)]
pub struct HeldRow {
    entry: EntryId,
    job: JobId,
    kind: i64,
    /// Name of the kind, where this server knows it.
    kind_name: Option<&'static str>,
    /// Who the entry says wrote it.
    author: PersonId,
    /// On which device, as it says.
    device: DeviceId,
    /// A word of `domain::wire::sync::HeldWhy`.
    why: String,
    /// Who sent it.
    by_person: PersonId,
    /// From which device.
    by_device: DeviceId,
    held_us: i64,
    bytes: i32,
}

/// All that is held and has not found its way into the log since.
///
/// # Errors
/// [`ApiError::NotPermitted`].
pub async fn list_held(caller: Caller, State(state): State<AppState>) -> Result<Json<Vec<HeldRow>>, ApiError> {
    caller.may(Action::SeeHeld, Ownership::Firm)?;
    let mut tx = state.db.begin_for(&caller).await?;
    let rows = queries::held(&mut tx, ROWS_MAX).await?;
    tx.commit().await?;
    let rows = rows.into_iter().map(|row| HeldRow {
        entry: EntryId::of(row.entry_id),
        job: JobId::of(row.job_id),
        kind: row.kind,
        kind_name: Body::KINDS.iter().find(|(kind, _)| i64::from(*kind) == row.kind).map(|(_, name)| *name),
        author: PersonId::of(row.author_id),
        device: DeviceId::of(row.device_id),
        why: row.why,
        by_person: PersonId::of(row.by_person),
        by_device: DeviceId::of(row.by_device),
        held_us: row.held_us,
        bytes: row.bytes,
    });
    Ok(Json(rows.collect()))
}
