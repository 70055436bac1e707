//! One line a request, and the cause of an inner failure: the only place where errors are logged.
//!
//! The line has the route's pattern, never the address itself: addresses hold link tokens and ids. No e-mail, name,
//! token, body or network address is ever logged. Each request has an id, its caller's or ours: it stands in the line, in the
//! answer's header, and in a problem, so that what somebody saw can be found.

use std::any::Any;
use std::sync::Arc;
use std::time::Instant;

use axum::extract::{MatchedPath, Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue};
use axum::middleware::Next;
use axum::response::{IntoResponse as _, Response};

use crate::clock::Clock;
use crate::error::ApiError;

/// Where the id of a request comes in and goes out.
pub const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");
/// A caller's id is taken if it is no longer.
const ID_BYTES_MAX: usize = 64;

tokio::task_local! {
    static CURRENT: String;
}

/// The id of the request that is being answered.
pub fn current_request() -> Option<String> {
    CURRENT.try_with(Clone::clone).ok()
}

/// Logs the request that passes.
pub async fn requests(State(clock): State<Clock>, request: Request, next: Next) -> Response {
    let id = id_of(request.headers()).map_or_else(|| clock.new_id().to_string(), str::to_owned);
    let mut response = CURRENT.scope(id.clone(), logged(id.clone(), request, next)).await;
    if let Ok(value) = HeaderValue::from_str(&id) {
        response.headers_mut().insert(REQUEST_ID, value);
    }
    response
}

/// The caller's own id, if it can stand in a log: whatever else it holds might be a name or a line of its own.
fn id_of(headers: &HeaderMap) -> Option<&str> {
    let id = headers.get(REQUEST_ID)?.to_str().ok()?;
    let sound = |byte: u8| byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'_' | b'.');
    ((1..=ID_BYTES_MAX).contains(&id.len()) && id.bytes().all(sound)).then_some(id)
}

async fn logged(request_id: String, request: Request, next: Next) -> Response {
    let method = request.method().clone();
    let route = request.extensions().get::<MatchedPath>().map(|path| path.as_str().to_owned());
    // Whoever looks after the service asks every few seconds, and files come by the dozen.
    let quiet = route.as_deref().is_none_or(|route| matches!(route, "/livez" | "/readyz"));
    let route = route.unwrap_or_else(|| "(file)".to_owned());
    let began = Instant::now();
    let response = next.run(request).await;
    let status = response.status().as_u16();
    let took_ms = u64::try_from(began.elapsed().as_millis()).unwrap_or(u64::MAX);
    match response.extensions().get::<Arc<ApiError>>().map(AsRef::as_ref) {
        Some(ApiError::Internal(cause)) => {
            tracing::error!(request_id, %method, route, status, took_ms, "request failed: {cause:#}");
        }
        Some(ApiError::Unavailable(cause)) => {
            tracing::warn!(request_id, %method, route, status, took_ms, "request came at a bad time: {cause:#}");
        }
        Some(ApiError::NotReady(parts)) => {
            tracing::warn!(request_id, %method, route, status, took_ms, ?parts, "not ready");
        }
        Some(error) => {
            tracing::info!(request_id, %method, route, status, took_ms, code = error.answer().1, "request refused");
        }
        None if quiet && response.status().is_success() => {
            tracing::debug!(request_id, %method, route, status, took_ms, "request served");
        }
        None => tracing::info!(request_id, %method, route, status, took_ms, "request served"),
    }
    response
}

/// A handler that panicked answers as any other failure of ours; without this its connection would just end. What it said goes
/// into the log and not to the caller.
#[allow(clippy::needless_pass_by_value, reason = "the layer gives it so")]
pub fn panicked(panic: Box<dyn Any + Send>) -> Response {
    let said = panic.downcast_ref::<String>().map(String::as_str).or_else(|| panic.downcast_ref::<&str>().copied());
    ApiError::internal(anyhow::anyhow!("a panic: {}", said.unwrap_or("without words"))).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_callers_id_is_taken_if_it_can_stand_in_a_log() {
        let read = |text: &str| {
            let headers = HeaderMap::from_iter([(REQUEST_ID, HeaderValue::from_str(text).expect("a header"))]);
            id_of(&headers).map(str::to_owned)
        };
        assert_eq!(read("01J-abc_d.9").as_deref(), Some("01J-abc_d.9"));
        assert_eq!(read(&"a".repeat(64)).map(|id| id.len()), Some(64));
        for bad in ["", "a b", "mira@larkfield.example", "a\"b", &"a".repeat(65)] {
            assert_eq!(read(bad), None, "{bad}");
        }
        assert_eq!(id_of(&HeaderMap::new()), None);
    }
}
