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

use crate::error::ApiError;
use crate::state::AppState;

/// Bytes of a JSON body. Sync and photos have limits of their own.
pub const JSON_BYTES_MAX: usize = 64 * 1024;
/// How long an ordinary request may take.
const TIME_MAX: Duration = Duration::from_secs(60);
/// How long a part of a photo may take on a slow line, and a report whose photos nobody has looked at yet.
const TIME_MAX_LONG: Duration = Duration::from_secs(300);

/// A JSON body, or our kind of error.
#[derive(FromRequest)]
#[from_request(via(axum::Json), rejection(ApiError))]
pub struct Body<T>(pub T);

/// Parts of the address, or "not found".
#[derive(FromRequestParts)]
#[from_request(via(axum::extract::Path), rejection(ApiError))]
pub struct Path<T>(pub T);

/// The query behind the `?`, or our kind of error.
#[derive(FromRequestParts)]
#[from_request(via(axum::extract::Query), rejection(ApiError))]
pub struct Query<T>(pub T);

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
