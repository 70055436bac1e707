//! What this service can say when it does not do what was asked: one enum, one table to status and code.
//!
//! Bodies are `application/problem+json` (RFC 9457) with a stable `code` that the app turns into a sentence, and the id of the
//! request, which the log has too. The cause
//! of an inner failure is logged once, by the layer that sees the answer leave (`http::trace`), and never shown.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use axum::Json;
use axum::extract::rejection::{BytesRejection, JsonRejection, PathRejection, QueryRejection};
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use domain::seal::ready::Obstacle;
use serde_json::json;

use crate::http::trace;

/// Why something was not done.
#[derive(Debug, thiserror::Error)]
pub enum ApiError {
    /// No bearer token.
    #[error("no access token")]
    TokenMissing,
    /// Run out, or its roles are no longer true: refresh and try again.
    #[error("access token out of date")]
    TokenExpired,
    /// Not one of ours.
    #[error("access token not valid")]
    TokenInvalid,
    /// Wrong e-mail or password; which one is not said.
    #[error("sign-in refused")]
    SignInRefused,
    /// The refresh token is unknown, ran out or was ended: sign in again.
    #[error("session ended")]
    SessionEnded,
    /// A refresh token was presented a second time after its successor had been used: the whole family is ended.
    #[error("refresh token replayed")]
    SessionReplayed,
    /// The enrolment was revoked.
    #[error("device revoked")]
    DeviceRevoked,
    /// The person no longer works here.
    #[error("person inactive")]
    PersonInactive,
    /// The permission table says no.
    #[error("not permitted")]
    NotPermitted,
    /// A change by cookie without the header that no foreign page can send.
    #[error("header x-witnessmark missing")]
    HeaderMissing,
    /// Does not exist, or not for this firm: nobody learns which.
    #[error("not found")]
    NotFound,
    /// Method not known at this address.
    #[error("method not allowed")]
    MethodNotAllowed,
    /// A one-time link that was used.
    #[error("link used")]
    LinkUsed,
    /// A one-time link that ran out.
    #[error("link expired")]
    LinkExpired,
    /// Something else is there already; the code says what.
    #[error("conflict: {0}")]
    Conflict(&'static str),
    /// Well formed, and still not acceptable; the code says what.
    #[error("invalid: {0}")]
    Invalid(&'static str),
    /// A rule set that cannot be: the code says what, the text names the rule.
    #[error("rule refused: {0} {1}")]
    RuleRefused(&'static str, String),
    /// A job that cannot be sealed: what stands in the way.
    #[error("not ready to be sealed: {0:?}")]
    NotReadyToSeal(Vec<Obstacle>),
    /// Not what this address takes. The words are for developers.
    #[error("malformed: {0}")]
    Malformed(String),
    /// Over a size limit.
    #[error("too large")]
    TooLarge,
    /// A media type that this address does not take.
    #[error("unsupported media type")]
    MediaType,
    /// A condition in a header does not hold; the code says which.
    #[error("precondition failed: {0}")]
    Precondition(&'static str),
    /// The bytes do not have the hash that was announced (tus: 460).
    #[error("checksum mismatch")]
    ChecksumMismatch,
    /// An upload that was there and is gone.
    #[error("gone")]
    Gone,
    /// Too often; try again after this time.
    #[error("too many tries")]
    TooMany(Duration),
    /// No picture can be made of these bytes; they can be had as they are.
    #[error("no view of this photo")]
    NoView,
    /// The photo store is full: photos wait, everything else goes on.
    #[error("photo store full")]
    StorageFull,
    /// Took too long.
    #[error("timed out")]
    TimedOut,
    /// The database or the photo store does not answer at the moment.
    #[error("unavailable")]
    Unavailable(#[source] anyhow::Error),
    /// This process should get no requests for now; which part of it and what is wrong there, by the part's name.
    #[error("not ready: {0:?}")]
    NotReady(BTreeMap<&'static str, String>),
    /// Our fault.
    #[error("internal")]
    Internal(#[source] anyhow::Error),
}

/// tus 1.0, extension checksum: the bytes are not what was announced.
const STATUS_CHECKSUM_MISMATCH: u16 = 460;

impl ApiError {
    /// An inner failure with its cause.
    pub fn internal(cause: impl Into<anyhow::Error>) -> Self {
        Self::Internal(cause.into())
    }

    /// Status and stable code.
    pub fn answer(&self) -> (StatusCode, &'static str) {
        use StatusCode as S;
        match self {
            Self::TokenMissing => (S::UNAUTHORIZED, "token_missing"),
            Self::TokenExpired => (S::UNAUTHORIZED, "token_expired"),
            Self::TokenInvalid => (S::UNAUTHORIZED, "token_invalid"),
            Self::SignInRefused => (S::UNAUTHORIZED, "sign_in_refused"),
            Self::SessionEnded => (S::UNAUTHORIZED, "session_ended"),
            Self::SessionReplayed => (S::UNAUTHORIZED, "session_replayed"),
            Self::DeviceRevoked => (S::UNAUTHORIZED, "device_revoked"),
            Self::PersonInactive => (S::UNAUTHORIZED, "person_inactive"),
            Self::NotPermitted => (S::FORBIDDEN, "not_permitted"),
            Self::HeaderMissing => (S::FORBIDDEN, "header_missing"),
            Self::NotFound => (S::NOT_FOUND, "not_found"),
            Self::MethodNotAllowed => (S::METHOD_NOT_ALLOWED, "method_not_allowed"),
            Self::LinkUsed => (S::GONE, "link_used"),
            Self::LinkExpired => (S::GONE, "link_expired"),
            Self::Conflict(code) => (S::CONFLICT, code),
            Self::Invalid(code) | Self::RuleRefused(code, _) => (S::UNPROCESSABLE_ENTITY, code),
            Self::NotReadyToSeal(_) => (S::UNPROCESSABLE_ENTITY, "not_ready_to_seal"),
            Self::Malformed(_) => (S::BAD_REQUEST, "malformed"),
            Self::TooLarge => (S::PAYLOAD_TOO_LARGE, "too_large"),
            Self::MediaType => (S::UNSUPPORTED_MEDIA_TYPE, "media_type"),
            Self::Precondition(code) => (S::PRECONDITION_FAILED, code),
            Self::ChecksumMismatch => {
                let status = S::from_u16(STATUS_CHECKSUM_MISMATCH).expect("460 is a status number");
                (status, "checksum_mismatch")
            }
            Self::Gone => (S::GONE, "gone"),
            Self::TooMany(_) => (S::TOO_MANY_REQUESTS, "too_many_tries"),
            Self::NoView => (S::UNSUPPORTED_MEDIA_TYPE, "no_view"),
            Self::StorageFull => (S::INSUFFICIENT_STORAGE, "storage_full"),
            Self::TimedOut => (S::SERVICE_UNAVAILABLE, "timed_out"),
            Self::Unavailable(_) => (S::SERVICE_UNAVAILABLE, "unavailable"),
            Self::NotReady(_) => (S::SERVICE_UNAVAILABLE, "not_ready"),
            Self::Internal(_) => (S::INTERNAL_SERVER_ERROR, "internal"),
        }
    }
}

impl IntoResponse for ApiError {
    fn into_response(self) -> Response {
        let (status, code) = self.answer();
        let mut body = json!({
            "type": "about:blank",
            "title": status.canonical_reason().unwrap_or("Checksum Mismatch"),
            "status": status.as_u16(),
            "code": code,
        });
        if let Self::NotReady(parts) = &self {
            // What is wrong with them is in the log: this answer goes to anybody.
            body["parts"] = json!(parts.keys().collect::<Vec<_>>());
        }
        if let Self::Malformed(detail) | Self::RuleRefused(_, detail) = &self {
            body["detail"] = json!(detail);
        }
        if let Some(request) = trace::current_request() {
            body["request"] = json!(request);
        }
        if let Self::NotReadyToSeal(obstacles) = &self {
            body["obstacles"] = json!(obstacles);
        }
        let mut response = (status, Json(body)).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
        if status == StatusCode::UNAUTHORIZED {
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        }
        if let Self::TooMany(wait) = &self {
            // Rounded up: a client that waits exactly so long must not come a moment early.
            headers.insert(header::RETRY_AFTER, HeaderValue::from(wait.as_secs() + 1));
        }
        response.extensions_mut().insert(Arc::new(self));
        response
    }
}

impl From<sqlx::Error> for ApiError {
    fn from(error: sqlx::Error) -> Self {
        if is_away(&error) {
            Self::Unavailable(error.into())
        } else if is_about_values(&error) {
            Self::Invalid("value")
        } else {
            Self::Internal(error.into())
        }
    }
}

/// SQLSTATE class 22, data exception, and 54, limit exceeded: the database understood, and a value is not one that it can hold. The
/// door looks for what is known to be so; this is for what it does not know.
fn is_about_values(error: &sqlx::Error) -> bool {
    let code = error.as_database_error().and_then(|database| database.code());
    code.is_some_and(|code| code.starts_with("22") || code.starts_with("54"))
}

/// Classes of SQLSTATE that say nothing about what was asked: no connection, no resources, an operator or a crash stepped in, and
/// a database that has just become a replica.
const AWAY: [&str; 4] = ["08", "53", "57P", "25006"];

/// The database stops, starts, or moves. A device that were told "internal" would look for the fault in what it sent.
fn is_away(error: &sqlx::Error) -> bool {
    match error {
        sqlx::Error::PoolTimedOut | sqlx::Error::Io(_) | sqlx::Error::PoolClosed | sqlx::Error::WorkerCrashed => true,
        sqlx::Error::Database(database) => {
            database.code().is_some_and(|code| AWAY.iter().any(|class| code.starts_with(class)))
        }
        _ => false,
    }
}

impl From<JsonRejection> for ApiError {
    fn from(rejection: JsonRejection) -> Self {
        match rejection {
            JsonRejection::MissingJsonContentType(_) => Self::MediaType,
            JsonRejection::BytesRejection(bytes) => bytes.into(),
            // The text names a field and a position, and may repeat a value: only the asking client sees it.
            JsonRejection::JsonDataError(error) => Self::Malformed(error.body_text()),
            JsonRejection::JsonSyntaxError(error) => Self::Malformed(error.body_text()),
            other => Self::Malformed(other.body_text()),
        }
    }
}

impl From<BytesRejection> for ApiError {
    fn from(rejection: BytesRejection) -> Self {
        if rejection.status() == StatusCode::PAYLOAD_TOO_LARGE {
            Self::TooLarge
        } else {
            Self::Malformed(rejection.body_text())
        }
    }
}

impl From<PathRejection> for ApiError {
    /// An address whose parts cannot be ids names nothing.
    fn from(_: PathRejection) -> Self {
        Self::NotFound
    }
}

impl From<QueryRejection> for ApiError {
    fn from(rejection: QueryRejection) -> Self {
        Self::Malformed(rejection.body_text())
    }
}

/// Turns the violation of a named constraint into the answer that it means.
pub trait OnConstraint<T> {
    /// `answer` is asked with the constraint's name; where it has nothing to say, the error is as usual.
    ///
    /// # Errors
    /// As said.
    fn on_constraint(self, answer: impl FnOnce(&str) -> Option<ApiError>) -> Result<T, ApiError>;
}

impl<T> OnConstraint<T> for Result<T, sqlx::Error> {
    fn on_constraint(self, answer: impl FnOnce(&str) -> Option<ApiError>) -> Result<T, ApiError> {
        self.map_err(|cause| {
            let constraint = cause.as_database_error().and_then(|database| database.constraint());
            constraint.and_then(answer).unwrap_or_else(|| cause.into())
        })
    }
}
