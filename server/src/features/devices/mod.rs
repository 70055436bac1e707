//! Enrolments: one's own for everybody, all for the owner. A revoked one gets no new token; what it still delivers is
//! held for somebody to look at.

mod queries;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use domain::ids::{DeviceId, PersonId};
use domain::people::{Action, Ownership, may};
use serde::Serialize;

use crate::auth::{Caller, refresh};
use crate::clock::Clock;
use crate::db::Db;
use crate::error::ApiError;
use crate::firms;
use crate::http::Path;

/// `Device` of the API.
#[derive(Serialize)]
pub struct Device {
    id: DeviceId,
    person: PersonId,
    label: String,
    created_us: i64,
    /// One's own always; others' once the firm shows such things.
    #[serde(skip_serializing_if = "Option::is_none")]
    last_contact_us: Option<i64>,
    /// Entries and photos that it had not delivered when it was last here.
    waiting: i32,
    #[serde(skip_serializing_if = "Option::is_none")]
    app_build: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    revoked_us: Option<i64>,
    /// The one that asks.
    here: bool,
}

/// `GET /api/devices`.
///
/// # Errors
/// The database.
pub async fn list_devices(caller: Caller, State(db): State<Db>) -> Result<Json<Vec<Device>>, ApiError> {
    let mut tx = db.begin_for(&caller).await?;
    caller.may(Action::SeeDevices, Ownership::Own)?;
    let shows_last_seen = firms::load_firm(&mut tx).await?.shows_last_seen;
    let sees_all = may(&caller.roles, Action::SeeDevices, Ownership::Firm).is_some();
    let rows = queries::devices(&mut tx, (!sees_all).then_some(caller.person)).await?;
    let shown = rows.into_iter().map(|row| {
        let person = PersonId::of(row.person_id);
        let shows_contact = shows_last_seen || person == caller.person;
        Device {
            id: DeviceId::of(row.id),
            person,
            label: row.label,
            created_us: row.created_us,
            last_contact_us: row.last_contact_us.filter(|_| shows_contact),
            waiting: row.waiting,
            app_build: row.app_build,
            revoked_us: row.revoked_us,
            here: row.id == caller.device.uuid(),
        }
    });
    Ok(Json(shown.collect()))
}

/// `DELETE /api/devices/{id}`: revokes. Doing it again changes nothing.
///
/// # Errors
/// [`ApiError::NotFound`], also for a colleague's device: whoever may not revoke it need not learn of it.
pub async fn revoke_device(
    caller: Caller,
    State(db): State<Db>,
    State(clock): State<Clock>,
    Path(id): Path<DeviceId>,
) -> Result<StatusCode, ApiError> {
    let mut tx = db.begin_for(&caller).await?;
    let person = queries::person_of_device(&mut tx, id).await?.map(PersonId::of).ok_or(ApiError::NotFound)?;
    caller.may(Action::RevokeDevice, caller.ownership_of(person)).map_err(|_| ApiError::NotFound)?;
    let now = clock.now_us();
    queries::revoke(&mut tx, id, now).await?;
    refresh::end_all_on_device(&mut tx, id, now).await?;
    tx.commit().await?;
    Ok(StatusCode::NO_CONTENT)
}
