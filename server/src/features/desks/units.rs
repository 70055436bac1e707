//! `GET /api/units?q=`: the serial ledger. Where is this unit, and which units of this lot are where?

use axum::Json;
use axum::extract::State;
use domain::identification::Serial;
use domain::ids::{EntryId, JobId};
use domain::people::{Action, Ownership};
use serde::{Deserialize, Serialize};

use super::jobs::SEARCH_CHARS_MAX;
use super::queries;
use crate::auth::Caller;
use crate::error::ApiError;
use crate::http::Query;
use crate::job_files::project::project_dirty;
use crate::state::AppState;

/// Rows of one answer: a lot has fewer units at one firm.
const ROWS_MAX: i64 = 1_000;

/// The query of `GET /api/units`.
#[derive(Deserialize)]
pub struct Ask {
    /// The beginning of a serial, a whole lot, or a GTIN. Empty: the newest.
    #[serde(default)]
    q: String,
}

/// A serial that was recorded.
#[derive(Serialize)]
pub struct UnitRow {
    serial: String,
    /// How it was found: `serial`, `look_alike` (only if characters that look alike are taken for equal: compare the label),
    /// `lot`, `gtin`, or `newest` where nothing was asked.
    found_by: String,
    /// `counts`, `replaced`, `breach` or `late`.
    standing: String,
    slot: i32,
    kind: Option<String>,
    maker: String,
    model: String,
    gtin: Option<String>,
    lot: Option<String>,
    job: JobId,
    short: String,
    job_state: String,
    householder: String,
    street: String,
    town: String,
    day: String,
    entry: EntryId,
    read_us: i64,
}

/// Looks units up.
///
/// # Errors
/// [`ApiError::NotPermitted`].
pub async fn list_units(
    caller: Caller,
    State(state): State<AppState>,
    Query(ask): Query<Ask>,
) -> Result<Json<Vec<UnitRow>>, ApiError> {
    caller.may(Action::SeeUnits, Ownership::Firm)?;
    project_dirty(&state, caller.firm).await?;
    let mut tx = state.db.begin_for(&caller).await?;
    let asked: String = ask.q.trim().chars().take(SEARCH_CHARS_MAX).filter(|c| !c.is_control()).collect();
    let serial = Serial::of(&asked).ok();
    let search = queries::UnitSearch {
        everything: asked.is_empty(),
        match_key: serial.as_ref().map(|serial| serial.match_key.clone()),
        skeleton: serial.map(|serial| serial.skeleton),
        text: asked,
    };
    let rows = queries::units(&mut tx, &search, ROWS_MAX).await?;
    tx.commit().await?;
    let rows = rows.into_iter().map(|row| UnitRow {
        serial: row.stored,
        found_by: row.found_by,
        standing: row.standing,
        slot: row.slot,
        kind: row.kind,
        maker: row.maker,
        model: row.model,
        gtin: row.gtin,
        lot: row.lot,
        job: JobId::of(row.job_id),
        short: JobId::of(row.job_id).short(),
        job_state: row.job_state,
        householder: row.householder,
        street: row.street,
        town: row.town,
        day: row.day,
        entry: EntryId::of(row.entry_id),
        read_us: row.read_us,
    });
    Ok(Json(rows.collect()))
}
