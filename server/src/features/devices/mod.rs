//! Enrolments: one's own for everybody, all for the owner. A revoked one gets no new token; what it still delivers is
//! held for somebody to look at. Each tells the key that it signs with, once.

mod queries;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use domain::ids::{DeviceId, PersonId, from_hex};
use domain::job_file::signature::is_key;
use domain::people::{Action, Ownership, may};
use serde::{Deserialize, Serialize};

use crate::auth::{Caller, refresh};
use crate::clock::Clock;
use crate::db::Db;
use crate::error::ApiError;
use crate::firms;
use crate::http::{Body, Path};

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
    /// Since when its entries are expected to be signed.
    #[serde(skip_serializing_if = "Option::is_none")]
    key_us: Option<i64>,
    /// When another key than the known one was offered last.
    #[serde(skip_serializing_if = "Option::is_none")]
    key_refused_us: Option<i64>,
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
            key_us: row.key_us,
            key_refused_us: row.key_refused_us,
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

/// `PUT /api/devices/{id}/key`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NewKey {
    /// Public, uncompressed SEC 1, hexadecimal.
    key: String,
}

/// `PUT /api/devices/{id}/key`: the key that the entries of this enrolment are signed with; once, and only by itself. Jobs
/// that it has written in are looked at anew: its signatures can be checked from now on.
///
/// # Errors
/// [`ApiError::NotFound`] for any other device, [`ApiError::Invalid`] `key`, [`ApiError::Conflict`] `key_known`: another
/// key is known, and stays.
pub async fn set_key(
    caller: Caller,
    State(db): State<Db>,
    State(clock): State<Clock>,
    Path(id): Path<DeviceId>,
    Body(new): Body<NewKey>,
) -> Result<StatusCode, ApiError> {
    if id != caller.device {
        return Err(ApiError::NotFound);
    }
    caller.may(Action::Sync, Ownership::Own)?;
    let key = from_hex(&new.key).filter(|key| is_key(key)).ok_or(ApiError::Invalid("key"))?;
    let now = clock.now_us();
    let mut tx = db.begin_for(&caller).await?;
    if queries::set_key(&mut tx, id, &key, now).await? {
        queries::look_again(&mut tx, id).await?;
        tx.commit().await?;
        return Ok(StatusCode::NO_CONTENT);
    }
    if queries::key(&mut tx, id).await?.as_deref() == Some(key.as_slice()) {
        return Ok(StatusCode::NO_CONTENT);
    }
    queries::note_refused_key(&mut tx, id, now).await?;
    tx.commit().await?;
    Err(ApiError::Conflict("key_known"))
}
