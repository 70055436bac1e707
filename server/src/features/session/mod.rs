//! Sign in, refresh, sign out.
//!
//! A session that ran out stops sending, never working: the app keeps everything and asks for a sign-in when it suits.

mod queries;

use std::sync::Arc;

use axum::Json;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{AppendHeaders, IntoResponse, Response};
use domain::ids::{DeviceId, PersonId};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::auth::limiter::SignInLimits;
use crate::auth::password::Passwords;
use crate::auth::refresh::{self, Rotation};
use crate::auth::tokens::{ACCESS_S, Tokens};
use crate::auth::{Caller, require_own_app, secret_hash};
use crate::clock::Clock;
use crate::db::person::{Person, load_person};
use crate::db::{Db, FirmTx};
use crate::error::ApiError;
use crate::firms::{self, Firm};
use crate::http::{Body, ClientAddress};
use crate::state::AppState;

/// Characters of a device's label; a longer one is cut.
const LABEL_CHARS_MAX: usize = 120;

/// `POST /api/session`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SignIn {
    email: String,
    password: String,
    /// The enrolment that this browser profile had for this person.
    device: Option<Uuid>,
    device_label: String,
}

/// What the app needs to work for somebody.
#[derive(Serialize)]
pub struct Session {
    access_token: String,
    expires_in_s: i64,
    person: Person,
    firm: Firm,
    device: DeviceId,
    server_us: i64,
}

/// `POST /api/session`.
///
/// # Errors
/// [`ApiError::SignInRefused`], [`ApiError::PersonInactive`] (only to somebody who knows the password),
/// [`ApiError::TooMany`].
pub async fn sign_in(
    State(state): State<AppState>,
    ClientAddress(address): ClientAddress,
    Body(body): Body<SignIn>,
) -> Result<Response, ApiError> {
    let email = body.email.trim().to_lowercase();
    let limits: &Arc<SignInLimits> = &state.limits;
    let now = state.clock.now_us();
    limits.take_address(address, now)?;
    limits.take_email(&email, now)?;
    let found = find_credentials(&state.db, &email).await?;
    // Out of any transaction: hashing takes longer than a connection should be held.
    let hash = found.as_ref().and_then(|row| row.password_hash.clone());
    let passwords: &Passwords = &state.passwords;
    let right = passwords.verify(&body.password, hash).await?;
    let Some(credentials) = found.filter(|_| right) else { return Err(ApiError::SignInRefused) };
    if !credentials.active {
        return Err(ApiError::PersonInactive);
    }
    limits.give_back(address, &email);

    let person = PersonId::of(credentials.id);
    let mut tx = state.db.begin_for_firm(credentials.firm).await?;
    let device = enrolment(&mut tx, &state.clock, person, &body).await?;
    let secret = refresh::begin(&mut tx, &state.clock, person, device).await?;
    let session = session_of(&mut tx, &state.clock, &state.tokens, person, device).await?;
    tx.commit().await?;
    Ok(with_cookie(secret, session))
}

/// `POST /api/session/refresh`.
///
/// # Errors
/// [`ApiError::SessionEnded`], [`ApiError::SessionReplayed`], [`ApiError::DeviceRevoked`], [`ApiError::PersonInactive`]:
/// all keep what is on the device and ask for a sign-in.
pub async fn refresh_session(State(state): State<AppState>, headers: HeaderMap) -> Result<Response, ApiError> {
    require_own_app(&headers)?;
    let Some(presented) = refresh::presented(&headers) else { return Err(ApiError::SessionEnded) };
    let Some(mut tx) = state.db.begin_for_refresh_token(&secret_hash(presented)).await? else {
        return Ok(without_cookie(ApiError::SessionEnded));
    };
    match refresh::rotate(&mut tx, &state.clock, &state.tokens, presented).await? {
        Rotation::Ended => Ok(without_cookie(explain_end(&mut tx, presented).await?)),
        Rotation::Replayed => {
            tx.commit().await?;
            Ok(without_cookie(ApiError::SessionReplayed))
        }
        Rotation::Next { secret, person, device } => {
            let session = session_of(&mut tx, &state.clock, &state.tokens, person, device).await?;
            tx.commit().await?;
            Ok(with_cookie(secret, session))
        }
    }
}

/// `DELETE /api/session`. Doing it again changes nothing.
///
/// # Errors
/// [`ApiError::HeaderMissing`].
pub async fn sign_out(
    State(db): State<Db>,
    State(clock): State<Clock>,
    headers: HeaderMap,
) -> Result<Response, ApiError> {
    require_own_app(&headers)?;
    if let Some(presented) = refresh::presented(&headers)
        && let Some(mut tx) = db.begin_for_refresh_token(&secret_hash(presented)).await?
    {
        refresh::end(&mut tx, &clock, presented).await?;
        tx.commit().await?;
    }
    Ok((StatusCode::NO_CONTENT, AppendHeaders([(header::SET_COOKIE, refresh::no_cookie())])).into_response())
}

async fn find_credentials(db: &Db, email: &str) -> Result<Option<queries::Credentials>, ApiError> {
    match db.begin_for_sign_in(email).await? {
        None => Ok(None),
        Some(mut tx) => Ok(queries::credentials(&mut tx, email).await?),
    }
}

/// The enrolment that the browser had, if it is this person's and still good; else a new one. So two people on one
/// tablet, or one person on two, never share one.
async fn enrolment(tx: &mut FirmTx, clock: &Clock, person: PersonId, body: &SignIn) -> Result<DeviceId, ApiError> {
    let label: String = body.device_label.trim().chars().take(LABEL_CHARS_MAX).collect();
    if let Some(device) = body.device
        && queries::touch_device(tx, device, person, clock.now_us()).await?
    {
        return Ok(DeviceId::of(device));
    }
    let device = DeviceId::of(clock.new_id());
    queries::insert_device(tx, device, person, &label, clock.now_us()).await?;
    Ok(device)
}

async fn session_of(
    tx: &mut FirmTx,
    clock: &Clock,
    tokens: &Tokens,
    person: PersonId,
    device: DeviceId,
) -> Result<Session, ApiError> {
    let now = clock.now_us();
    queries::touch_person(tx, person, now).await?;
    let person = load_person(tx, person).await?;
    let caller = Caller { person: person.id, firm: tx.firm(), device, roles: person.roles.clone() };
    Ok(Session {
        access_token: tokens.sign(&caller, now)?,
        expires_in_s: ACCESS_S,
        firm: firms::load_firm(tx).await?,
        person,
        device,
        server_us: now,
    })
}

/// A refused refresh says whether somebody shut the person or the device out, so that the app can say so too.
async fn explain_end(tx: &mut FirmTx, presented: &str) -> Result<ApiError, ApiError> {
    Ok(match queries::standing_of_token(tx, &secret_hash(presented)).await? {
        Some((false, _)) => ApiError::PersonInactive,
        Some((true, true)) => ApiError::DeviceRevoked,
        Some((true, false)) | None => ApiError::SessionEnded,
    })
}

fn with_cookie(secret: String, session: Session) -> Response {
    (AppendHeaders([(header::SET_COOKIE, refresh::cookie(&secret))]), Json(session)).into_response()
}

fn without_cookie(error: ApiError) -> Response {
    (AppendHeaders([(header::SET_COOKIE, refresh::no_cookie())]), error).into_response()
}
