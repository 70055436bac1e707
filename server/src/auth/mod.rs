//! Who is asking. [`Caller`] is the proof of an access token; a handler that takes it as its first parameter cannot be
//! reached without one.
//!
//! [`tokens`] signs and reads access tokens (10 minutes, in the app's memory only); [`refresh`] rotates the cookie that
//! gets new ones; [`password`] hashes; [`limiter`] slows down guessing.
//! **Never enters:** what somebody may do: that is `domain::people::permissions`, asked through [`Caller::may`].

pub mod limiter;
pub mod password;
pub mod pins;
mod queries;
pub mod refresh;
pub mod tokens;

use axum::extract::FromRequestParts;
use axum::http::HeaderMap;
use axum::http::header::AUTHORIZATION;
use axum::http::request::Parts;
use domain::ids::{DeviceId, FirmId, PersonId};
use domain::people::{Action, Ownership, Permit, Role, may};
use sha2::{Digest as _, Sha256};

use crate::error::ApiError;
use crate::state::AppState;

/// The person, firm and device of a valid access token.
///
/// Its roles are those of the token; [`crate::db::Db::begin_for`] refuses the token when they are no longer true.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caller {
    /// Who.
    pub person: PersonId,
    /// Of which firm.
    pub firm: FirmId,
    /// On which enrolment.
    pub device: DeviceId,
    /// Sorted.
    pub roles: Vec<Role>,
}

impl Caller {
    /// Asks the permission table.
    ///
    /// # Errors
    /// [`ApiError::NotPermitted`].
    pub fn may(&self, action: Action, ownership: Ownership) -> Result<Permit, ApiError> {
        may(&self.roles, action, ownership).ok_or(ApiError::NotPermitted)
    }

    /// How the caller stands to something of this person.
    pub fn ownership_of(&self, person: PersonId) -> Ownership {
        if person == self.person { Ownership::Own } else { Ownership::Firm }
    }
}

impl FromRequestParts<AppState> for Caller {
    type Rejection = ApiError;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> Result<Self, ApiError> {
        let header = parts.headers.get(AUTHORIZATION).ok_or(ApiError::TokenMissing)?;
        let token = header.to_str().ok().and_then(|text| text.strip_prefix("Bearer ")).ok_or(ApiError::TokenInvalid)?;
        state.tokens.read(token.trim(), state.clock.now_us())
    }
}

/// The header that a page of another origin cannot send without asking first, and so the proof that a change by cookie
/// comes from our own app.
pub const OWN_APP_HEADER: &str = "x-witnessmark";

/// # Errors
/// [`ApiError::HeaderMissing`].
pub(crate) fn require_own_app(headers: &HeaderMap) -> Result<(), ApiError> {
    match headers.get(OWN_APP_HEADER) {
        Some(value) if value == "1" => Ok(()),
        Some(_) | None => Err(ApiError::HeaderMissing),
    }
}

/// A secret for a cookie or a link: 32 random bytes as 43 characters that need no escaping.
pub(crate) fn new_secret() -> String {
    use base64::Engine as _;
    base64::engine::general_purpose::URL_SAFE_NO_PAD.encode(rand::random::<[u8; 32]>())
}

/// What the database keeps of a secret. It has full entropy, so a fast hash is enough.
pub(crate) fn secret_hash(secret: &str) -> [u8; 32] {
    Sha256::digest(secret.as_bytes()).into()
}
