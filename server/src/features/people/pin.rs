//! A person's own PIN for countersignatures.

use axum::Json;
use axum::extract::State;
use domain::ids::PersonId;
use domain::people::Action;
use domain::people::pin::{is_pin, is_tried_first};
use serde::Deserialize;

use super::queries;
use crate::auth::Caller;
use crate::db::person::{self, Person, load_person};
use crate::error::ApiError;
use crate::http::{Body, ClientAddress, Path};
use crate::state::AppState;

/// `PUT /api/people/{id}/pin`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NewPin {
    /// Of their sign-in: whoever holds an open phone must not be able to countersign with it.
    password: String,
    pin: String,
}

/// `PUT /api/people/{id}/pin`: only one's own.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::Invalid`] `pin_form`, `pin_too_plain` or `password_wrong`, [`ApiError::TooMany`].
pub async fn set_pin(
    caller: Caller,
    State(state): State<AppState>,
    ClientAddress(address): ClientAddress,
    Path(id): Path<PersonId>,
    Body(new): Body<NewPin>,
) -> Result<Json<Person>, ApiError> {
    caller.may(Action::SetPin, caller.ownership_of(id))?;
    if !is_pin(&new.pin) {
        return Err(ApiError::Invalid("pin_form"));
    }
    if is_tried_first(&new.pin) {
        return Err(ApiError::Invalid("pin_too_plain"));
    }
    let mut tx = state.db.begin_for(&caller).await?;
    let email = load_person(&mut tx, id).await?.email.unwrap_or_default();
    let password_hash = queries::password_hash(&mut tx, id).await?;
    // Hashing takes longer than a connection should be held.
    tx.commit().await?;
    let now = state.clock.now_us();
    state.limits.take_address(address, now)?;
    state.limits.take_email(&email, now)?;
    if !state.passwords.verify(&new.password, password_hash).await? {
        return Err(ApiError::Invalid("password_wrong"));
    }
    state.limits.give_back(address, &email);
    let hash = state.passwords.hash_any(&new.pin).await?;
    let mut tx = state.db.begin_for(&caller).await?;
    person::set_pin(&mut tx, &state.clock, id, &new.pin, &hash).await?;
    let person = load_person(&mut tx, id).await?;
    tx.commit().await?;
    Ok(Json(person))
}
