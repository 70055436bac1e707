//! Every URL of the service on one page. What an address takes and gives stands in `docs/api.md`.

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::{from_fn, from_fn_with_state};
use axum::routing::{delete, get, patch, post};
use tower_http::compression::CompressionLayer;

use crate::error::ApiError;
use crate::features::{devices, health, links, people, reference, session};
use crate::http::{JSON_BYTES_MAX, files, headers, time_limit, trace};
use crate::state::AppState;

/// The whole service.
pub fn router(state: AppState) -> Router {
    Router::new()
        .nest("/api", api())
        .fallback(files::serve_file)
        .layer(CompressionLayer::new())
        .layer(from_fn_with_state(state.clone(), headers::security))
        .with_state(state)
}

fn api() -> Router<AppState> {
    Router::new()
        .route("/health", get(health::get_health))
        // --- session and people
        .route("/session", post(session::sign_in).delete(session::sign_out))
        .route("/session/refresh", post(session::refresh_session))
        .route("/setup", get(links::get_setup))
        .route("/links/{token}", get(links::get_link).post(links::follow_link))
        .route("/people", get(people::list_people).post(people::invite_person))
        .route("/people/{id}", patch(people::change_person))
        .route("/people/{id}/reset", post(people::reset_person))
        .route("/firm", patch(people::patch_firm))
        .route("/devices", get(devices::list_devices))
        .route("/devices/{id}", delete(devices::revoke_device))
        // --- reference data
        .route("/reference", get(reference::get_reference))
        .route("/methods/{id}/{version}", get(reference::get_method))
        .route("/instruments", get(reference::list_instruments).post(reference::add_instrument))
        .route("/instruments/{id}", patch(reference::change_instrument))
        .route("/models", get(reference::list_models).post(reference::add_model))
        .route("/models/{id}", patch(reference::change_model))
        // --- sync (features::sync): lines go here, each with its own `.layer(DefaultBodyLimit::max(…))`
        // --- photos (features::photos)
        // --- desks (features::desks)
        // --- report (features::report)
        .fallback(async || ApiError::NotFound)
        .method_not_allowed_fallback(async || ApiError::MethodNotAllowed)
        .layer(DefaultBodyLimit::max(JSON_BYTES_MAX))
        .layer(from_fn(time_limit))
        .layer(from_fn(trace::requests))
        .layer(from_fn(headers::protocol))
}
