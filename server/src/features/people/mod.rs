//! The people of the firm: everybody sees names, roles and tickets; the owner invites, changes and shuts out.

mod firm;
mod pin;
mod queries;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use domain::ids::PersonId;
use domain::people::{Action, Ownership, Permit, Role};
use serde::{Deserialize, Serialize};

pub use firm::patch_firm;
pub use pin::set_pin;

use crate::auth::{Caller, refresh};
use crate::db::person::{
    self, NewPerson, Person, TicketJson, acceptable_name, acceptable_tickets, insert_person, load_person,
    reference_changed,
};
use crate::db::{Db, FirmTx};
use crate::error::{ApiError, OnConstraint as _};
use crate::firms::{self, Purpose};
use crate::http::{Body, Path};
use crate::state::AppState;

/// `POST /api/people`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Invite {
    email: String,
    display_name: String,
    roles: Vec<Role>,
    language: String,
}

/// Its answer. The link is shown once: only its hash is kept.
#[derive(Serialize)]
pub struct Invited {
    person: Person,
    link: String,
}

/// `POST /api/people/{id}/reset`.
#[derive(Serialize)]
pub struct Reset {
    link: String,
}

/// `PATCH /api/people/{id}`: what is absent stays.
#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub struct Change {
    roles: Option<Vec<Role>>,
    active: Option<bool>,
    display_name: Option<String>,
    language: Option<String>,
    decimal: Option<String>,
    tickets: Option<Vec<TicketJson>>,
}

impl Change {
    /// Touches what only an owner changes.
    const fn is_of_owner(&self) -> bool {
        self.roles.is_some() || self.active.is_some() || self.display_name.is_some() || self.tickets.is_some()
    }

    const fn is_of_preferences(&self) -> bool {
        self.language.is_some() || self.decimal.is_some()
    }
}

/// `GET /api/people`.
///
/// # Errors
/// The database.
pub async fn list_people(caller: Caller, State(db): State<Db>) -> Result<Json<Vec<Person>>, ApiError> {
    let mut tx = db.begin_for(&caller).await?;
    caller.may(Action::SeePeople, Ownership::Firm)?;
    Ok(Json(firms::visible_people(&mut tx, &caller).await?))
}

/// `POST /api/people`.
///
/// # Errors
/// [`ApiError::NotPermitted`], `email_taken`, [`ApiError::Invalid`] with the field.
pub async fn invite_person(
    caller: Caller,
    State(state): State<AppState>,
    Body(body): Body<Invite>,
) -> Result<(StatusCode, Json<Invited>), ApiError> {
    let mut tx = state.db.begin_for(&caller).await?;
    caller.may(Action::InvitePerson, Ownership::Firm)?;
    let id = PersonId::of(state.clock.new_id());
    let person = NewPerson {
        id,
        email: body.email,
        display_name: body.display_name,
        roles: body.roles,
        language: body.language,
        tickets: Vec::new(),
        password_hash: None,
        created_us: state.clock.now_us(),
    };
    insert_person(&mut tx, &person).await?;
    let link = firms::make_link(&mut tx, &state.clock, &state.config, Purpose::Invitation, Some(id)).await?;
    reference_changed(&mut tx).await?;
    let person = load_person(&mut tx, id).await?;
    tx.commit().await?;
    Ok((StatusCode::CREATED, Json(Invited { person, link })))
}

/// `PATCH /api/people/{id}`.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::NotFound`], `last_owner`, [`ApiError::Invalid`] with the field.
pub async fn change_person(
    caller: Caller,
    State(state): State<AppState>,
    Path(id): Path<PersonId>,
    Body(change): Body<Change>,
) -> Result<Json<Person>, ApiError> {
    let mut tx = state.db.begin_for(&caller).await?;
    if change.is_of_preferences() {
        caller.may(Action::ChangePreferences, caller.ownership_of(id))?;
    }
    // Two owners who demote each other at once must not both succeed.
    firms::lock_firm(&mut tx).await?;
    let before = load_person(&mut tx, id).await?;
    if change.is_of_owner() {
        let permit = caller.may(Action::ChangePerson, caller.ownership_of(id))?;
        change_standing(&mut tx, permit, &before, &change, state.clock.now_us()).await?;
    }
    if change.is_of_preferences() {
        let language = change.language.as_deref().unwrap_or(&before.language);
        let decimal = change.decimal.as_deref().unwrap_or(&before.decimal);
        queries::set_preferences(&mut tx, id, language, decimal).await.on_constraint(person::answer_of)?;
    }
    reference_changed(&mut tx).await?;
    let after = load_person(&mut tx, id).await?;
    let shows_last_seen = firms::load_firm(&mut tx).await?.shows_last_seen;
    tx.commit().await?;
    Ok(Json(after.as_seen_by(&caller, shows_last_seen)))
}

async fn change_standing(
    tx: &mut FirmTx,
    _: Permit,
    before: &Person,
    change: &Change,
    now_us: i64,
) -> Result<(), ApiError> {
    let name = match &change.display_name {
        Some(name) => acceptable_name(name, "display_name")?,
        None => before.display_name.clone(),
    };
    let active = change.active.unwrap_or(before.active);
    let roles = person::words_of(change.roles.as_ref().unwrap_or(&before.roles));
    let tickets = match &change.tickets {
        Some(tickets) => acceptable_tickets(tickets, now_us)?,
        None => serde_json::to_value(&before.tickets).map_err(ApiError::internal)?,
    };
    queries::set_standing(
        tx,
        before.id,
        &queries::NewStanding { name: &name, active, roles: &roles, tickets: &tickets },
    )
    .await
    .on_constraint(person::answer_of)?;
    if !queries::has_active_owner(tx).await? {
        return Err(ApiError::Conflict("last_owner"));
    }
    if before.active && !active {
        refresh::end_all_of_person(tx, before.id, now_us).await?;
    }
    Ok(())
}

/// `POST /api/people/{id}/reset`. For somebody who never followed their invitation it is another invitation.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::NotFound`], `person_inactive`.
pub async fn reset_person(
    caller: Caller,
    State(state): State<AppState>,
    Path(id): Path<PersonId>,
) -> Result<Json<Reset>, ApiError> {
    let mut tx = state.db.begin_for(&caller).await?;
    caller.may(Action::ResetPassword, caller.ownership_of(id))?;
    let person = load_person(&mut tx, id).await?;
    if !person.active {
        return Err(ApiError::Conflict("person_inactive"));
    }
    let purpose = if queries::has_password(&mut tx, id).await? { Purpose::Reset } else { Purpose::Invitation };
    let link = firms::make_link(&mut tx, &state.clock, &state.config, purpose, Some(id)).await?;
    tx.commit().await?;
    Ok(Json(Reset { link }))
}
