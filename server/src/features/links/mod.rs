//! One-time links: the first owner of a firm, an invitation, a new password. Making them is `firms::make_link`.
//!
//! A token is 32 random bytes; the database has only its hash. `GET` says what the link is for and uses nothing up,
//! for mail programs open links by themselves.

mod queries;

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use domain::ids::PersonId;
use domain::people::Role;
use serde::{Deserialize, Serialize};

use crate::auth::refresh;
use crate::auth::secret_hash;
use crate::db::person::{NewPerson, acceptable_name, insert_person, load_person, reference_changed};
use crate::db::{Db, FirmTx};
use crate::error::ApiError;
use crate::firms::{self, Purpose};
use crate::http::{Body, ClientAddress, Path};
use crate::state::AppState;

/// `GET /api/setup`.
#[derive(Serialize)]
pub struct Setup {
    needed: bool,
}

/// `GET /api/links/{token}`.
#[derive(Serialize)]
pub struct LinkView {
    purpose: Purpose,
    #[serde(skip_serializing_if = "Option::is_none")]
    email: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    display_name: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    firm_name: Option<String>,
}

/// `POST /api/links/{token}`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FollowLink {
    password: String,
    display_name: Option<String>,
    firm_name: Option<String>,
    email: Option<String>,
}

/// `GET /api/setup`: does this installation still wait for its first owner?
///
/// # Errors
/// The database.
pub async fn get_setup(State(db): State<Db>) -> Result<Json<Setup>, ApiError> {
    Ok(Json(Setup { needed: !db.owner_exists().await? }))
}

/// `GET /api/links/{token}`.
///
/// # Errors
/// [`ApiError::NotFound`], [`ApiError::LinkUsed`], [`ApiError::LinkExpired`].
pub async fn get_link(
    State(state): State<AppState>,
    ClientAddress(address): ClientAddress,
    Path(token): Path<String>,
) -> Result<Json<LinkView>, ApiError> {
    let now = state.clock.now_us();
    state.limits.take_address(address, now)?;
    let (mut tx, link) = open(&state.db, &token, now).await?;
    let firm = firms::load_firm(&mut tx).await?;
    let person = match link.person {
        Some(person) => Some(load_person(&mut tx, person).await?),
        None => None,
    };
    Ok(Json(LinkView {
        purpose: link.purpose,
        email: person.as_ref().and_then(|person| person.email.clone()),
        display_name: person.map(|person| person.display_name),
        firm_name: Some(firm.name).filter(|name| !name.is_empty()),
    }))
}

/// `POST /api/links/{token}`: once.
///
/// # Errors
/// As [`get_link`]; [`ApiError::Invalid`] for a password or a name that will not do; `email_taken`.
pub async fn follow_link(
    State(state): State<AppState>,
    ClientAddress(address): ClientAddress,
    Path(token): Path<String>,
    Body(body): Body<FollowLink>,
) -> Result<StatusCode, ApiError> {
    let now = state.clock.now_us();
    state.limits.take_address(address, now)?;
    // Looked up first, so that a dead link costs no hashing; taken in the second transaction, so that none is held
    // while hashing.
    drop(open(&state.db, &token, now).await?);
    let hash = state.passwords.hash(&body.password).await?;
    let (mut tx, link) = open(&state.db, &token, now).await?;
    if !queries::use_link(&mut tx, link.id, now).await? {
        return Err(ApiError::LinkUsed);
    }
    match (link.purpose, link.person) {
        (Purpose::FirstOwner, _) => make_first_owner(&mut tx, &state, &body, &hash).await?,
        (Purpose::Invitation | Purpose::Reset, Some(person)) => {
            queries::set_password(&mut tx, person, &hash).await?;
            if let (Purpose::Invitation, Some(name)) = (link.purpose, &body.display_name) {
                queries::set_name(&mut tx, person, &acceptable_name(name, "display_name")?).await?;
                reference_changed(&mut tx).await?;
            }
            // Whoever had a session with the old password has none with the new one.
            refresh::end_all_of_person(&mut tx, person, now).await?;
        }
        (Purpose::Invitation | Purpose::Reset, None) => {
            return Err(ApiError::internal(anyhow::anyhow!("a link for a person without a person")));
        }
    }
    tx.commit().await?;
    Ok(StatusCode::NO_CONTENT)
}

struct Link {
    id: uuid::Uuid,
    purpose: Purpose,
    person: Option<PersonId>,
}

async fn open(db: &Db, token: &str, now_us: i64) -> Result<(FirmTx, Link), ApiError> {
    let hash = secret_hash(token);
    let mut tx = db.begin_for_link(&hash).await?.ok_or(ApiError::NotFound)?;
    let row = queries::link(&mut tx, &hash).await?.ok_or(ApiError::NotFound)?;
    if row.used_us.is_some() {
        return Err(ApiError::LinkUsed);
    }
    if row.expires_us <= now_us {
        return Err(ApiError::LinkExpired);
    }
    let purpose = Purpose::of_word(&row.purpose)
        .ok_or_else(|| ApiError::internal(anyhow::anyhow!("links.purpose holds {}", row.purpose)))?;
    Ok((tx, Link { id: row.id, purpose, person: row.person_id.map(PersonId::of) }))
}

async fn make_first_owner(tx: &mut FirmTx, state: &AppState, body: &FollowLink, hash: &str) -> Result<(), ApiError> {
    let needed = |value: &Option<String>, code| value.clone().ok_or(ApiError::Invalid(code));
    let firm_name = acceptable_name(&needed(&body.firm_name, "firm_name")?, "firm_name")?;
    let person = NewPerson {
        id: PersonId::of(state.clock.new_id()),
        email: needed(&body.email, "email")?,
        display_name: needed(&body.display_name, "display_name")?,
        // A small firm's owner plans and decides too; they can give this role away later.
        roles: vec![Role::Owner, Role::Lead],
        language: "en".to_owned(),
        tickets: Vec::new(),
        password_hash: Some(hash.to_owned()),
        created_us: state.clock.now_us(),
    };
    insert_person(tx, &person).await?;
    firms::change_firm(tx, &firm_name, false).await?;
    reference_changed(tx).await
}
