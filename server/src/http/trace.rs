//! One line a request, and the cause of an inner failure: the only place where errors are logged.
//!
//! The line has the route's pattern, never the address itself: addresses hold link tokens and ids. No e-mail, name,
//! token, body or network address is ever logged.

use std::sync::Arc;
use std::time::Instant;

use axum::extract::{MatchedPath, Request};
use axum::middleware::Next;
use axum::response::Response;

use crate::error::ApiError;

/// Logs the request that passes.
pub async fn requests(request: Request, next: Next) -> Response {
    let method = request.method().clone();
    let route =
        request.extensions().get::<MatchedPath>().map_or_else(|| "(file)".to_owned(), |path| path.as_str().to_owned());
    let began = Instant::now();
    let response = next.run(request).await;
    let status = response.status().as_u16();
    let took_ms = began.elapsed().as_millis();
    match response.extensions().get::<Arc<ApiError>>().map(AsRef::as_ref) {
        Some(ApiError::Internal(cause)) => {
            tracing::error!(%method, route, status, took_ms, "request failed: {cause:#}");
        }
        Some(ApiError::Unavailable(cause)) => {
            tracing::warn!(%method, route, status, took_ms, "request came at a bad time: {cause:#}");
        }
        Some(error) => tracing::info!(%method, route, status, took_ms, code = error.answer().1, "request refused"),
        None => tracing::info!(%method, route, status, took_ms, "request served"),
    }
    response
}
