//! What every request passes: limits, headers, the log line, and the extractors that speak our error shape.
//!
//! **Never enters:** anything about one feature.

pub mod body;
pub mod files;
pub mod headers;
pub mod trace;

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::time::Duration;

use axum::extract::{ConnectInfo, FromRequest, FromRequestParts, Request};
use axum::http::header;
use axum::http::request::Parts;
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use domain::wire::text::composed;
use serde::Deserialize;
use serde::de::{DeserializeOwned, Deserializer, Error as _};
use serde_json::Value;

use crate::error::ApiError;
use crate::state::AppState;

/// Bytes of a JSON body. Sync and photos have limits of their own.
pub const JSON_BYTES_MAX: usize = 64 * 1024;
/// How long an ordinary request may take.
const TIME_MAX: Duration = Duration::from_secs(60);
/// How long a part of a photo may take on a slow line, and a report whose photos nobody has looked at yet.
const TIME_MAX_LONG: Duration = Duration::from_secs(300);

/// A JSON body, or our kind of error. This is the door for texts: whatever looks the same is the same behind it (NFC), and
/// none holds the character NUL, for which the database has no place.
pub struct Body<T>(pub T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequest<S> for Body<T> {
    type Rejection = ApiError;

    async fn from_request(request: Request, state: &S) -> Result<Self, ApiError> {
        let axum::Json(Clean(body)) = axum::Json::<Clean<T>>::from_request(request, state).await?;
        Ok(Self(body))
    }
}

/// JSON whose texts are clean.
struct Clean<T>(T);

impl<'de, T: DeserializeOwned> Deserialize<'de> for Clean<T> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let mut value = Value::deserialize(from)?;
        clean(&mut value).map_err(D::Error::custom)?;
        serde_json::from_value(value).map(Self).map_err(D::Error::custom)
    }
}

fn clean(value: &mut Value) -> Result<(), &'static str> {
    const NUL: &str = "a text holds the character U+0000";
    match value {
        Value::String(text) if text.contains('\0') => return Err(NUL),
        Value::String(text) => *text = composed(text).into_owned(),
        Value::Array(all) => all.iter_mut().try_for_each(clean)?,
        Value::Object(all) => {
            for (key, value) in all.iter_mut() {
                if key.contains('\0') {
                    return Err(NUL);
                }
                clean(value)?;
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => {}
    }
    Ok(())
}

/// Parts of the address, or "not found".
#[derive(FromRequestParts)]
#[from_request(via(axum::extract::Path), rejection(ApiError))]
pub struct Path<T>(pub T);

/// The query behind the `?`, or our kind of error.
pub struct Query<T>(pub T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequestParts<S> for Query<T> {
    type Rejection = ApiError;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, ApiError> {
        // A NUL that is no escape is no part of any address: the connection's own reader refuses it.
        if parts.uri.query().is_some_and(|query| query.contains("%00")) {
            return Err(ApiError::Malformed("a text holds the character U+0000".to_owned()));
        }
        let axum::extract::Query(query) = axum::extract::Query::<T>::from_request_parts(parts, state).await?;
        Ok(Self(query))
    }
}

/// Bytes of one part of an address: no file system takes a longer name, and none of our ids is half as long.
const PART_BYTES_MAX: usize = 255;

/// Whether a path can name anything. One part that is endless or holds a NUL names nothing anywhere, and is "not found" before a
/// database or a folder is asked.
pub fn may_name_something(path: &str) -> bool {
    path.split('/').all(|part| part.len() <= PART_BYTES_MAX && !part.contains("%00"))
}

/// "Not found" for what can name nothing.
pub async fn sane_address(request: Request, next: Next) -> Response {
    if may_name_something(request.uri().path()) { next.run(request).await } else { ApiError::NotFound.into_response() }
}

/// An answer in CBOR that `domain` encoded.
pub struct Cbor(pub Vec<u8>);

impl IntoResponse for Cbor {
    fn into_response(self) -> Response {
        ([(header::CONTENT_TYPE, domain::wire::sync::MEDIA_TYPE)], self.0).into_response()
    }
}

/// The network address of the client, for limits only: it is never stored and never logged.
#[derive(Clone, Copy, Debug)]
pub struct ClientAddress(pub IpAddr);

impl FromRequestParts<AppState> for ClientAddress {
    type Rejection = std::convert::Infallible;

    async fn from_request_parts(parts: &mut Parts, state: &AppState) -> Result<Self, Self::Rejection> {
        if state.config.trust_forwarded_for {
            // The last one was written by our own front; those before it may be anybody's invention.
            let forwarded = parts.headers.get_all("x-forwarded-for").iter().next_back();
            let last = forwarded.and_then(|value| value.to_str().ok()).and_then(|text| text.rsplit(',').next());
            if let Some(address) = last.and_then(|text| text.trim().parse().ok()) {
                return Ok(Self(address));
            }
        }
        let socket = parts.extensions.get::<ConnectInfo<SocketAddr>>();
        Ok(Self(socket.map_or(IpAddr::V4(Ipv4Addr::UNSPECIFIED), |info| info.0.ip())))
    }
}

/// Within `nest` the address has lost its "/api".
fn time_max(path: &str) -> Duration {
    let long = path.starts_with("/photos") || [".pdf", "/seal", "/pack"].iter().any(|end| path.ends_with(end));
    if long { TIME_MAX_LONG } else { TIME_MAX }
}

/// Ends a request that takes too long.
pub async fn time_limit(request: Request, next: Next) -> Response {
    let limit = time_max(request.uri().path());
    match tokio::time::timeout(limit, next.run(request)).await {
        Ok(response) => response,
        Err(_) => ApiError::TimedOut.into_response(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_come_in_clean() {
        let read = |text: &str| serde_json::from_str::<Clean<Value>>(text).map(|Clean(value)| value);
        let typed = "{\"name\": \"Be\u{301}cu\", \"all\": [{\"kind\": \"e\\u0301\"}, 1, null]}";
        let clean = serde_json::json!({"name": "Bécu", "all": [{"kind": "é"}, 1, null]});
        assert_eq!(read(typed).expect("nothing is wrong with it"), clean);
        for bad in [r#"{"name": "a\u0000"}"#, r#"{"all": [{"kind": "\u0000"}]}"#, r#"{"a\u0000": 1}"#] {
            assert!(read(bad).is_err_and(|error| error.to_string().contains("U+0000")), "{bad}");
        }
    }

    #[test]
    fn endless_parts_of_an_address_name_nothing() {
        let long = "a".repeat(PART_BYTES_MAX);
        assert!(may_name_something("/") && may_name_something(&format!("/jobs/{long}/{long}")));
        for path in [format!("/assets/{long}b"), "/methods/a%00b/1".to_owned(), format!("/{long}b/x")] {
            assert!(!may_name_something(&path), "{path}");
        }
    }

    #[test]
    fn photos_and_papers_may_take_their_time_and_nothing_else() {
        for path in
            ["/photos/1", "/jobs/1/report.pdf", "/jobs/1/seal", "/jobs/1/seals/2/pack", "/methods/a/1/sheet.pdf"]
        {
            assert_eq!(time_max(path), TIME_MAX_LONG, "{path}");
        }
        for path in ["/sync/push", "/jobs/1", "/jobs/1/photos", "/jobs/1/registration.csv"] {
            assert_eq!(time_max(path), TIME_MAX, "{path}");
        }
    }
}
