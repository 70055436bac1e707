//! Headers of every answer.

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;
use domain::seal::names::VERIFIER_NAME;
use domain::wire::sync::{PROTOCOL_HEADER, PROTOCOL_VALUE};

use crate::state::AppState;

/// Only our own files; pictures that the app made itself come as `blob:`. Styles may stand in attributes, for the stack
/// is drawn with computed sizes.
const CONTENT_SECURITY_POLICY: &str = "default-src 'self'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self' 'unsafe-inline'; \
     img-src 'self' blob: data:; media-src 'self' blob:; connect-src 'self'; worker-src 'self'; manifest-src 'self'; \
     object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'";
/// The page that checks a pack is one file and names in itself, by hash, the one script and the one style that may run:
/// where both policies stand, a browser keeps to the stricter.
const VERIFIER_POLICY: &str = "default-src 'none'; script-src 'unsafe-inline' 'wasm-unsafe-eval'; style-src 'unsafe-inline'; \
     base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
/// The camera is ours; the rest of a phone's senses we do not ask for.
const PERMISSIONS_POLICY: &str =
    "camera=(self), screen-wake-lock=(self), geolocation=(), microphone=(), payment=(), usb=()";
const STRICT_TRANSPORT_SECURITY: &str = "max-age=31536000";

/// Marks each answer of `/api` as ours, errors too: a device tells it from a hotel's login page by this.
pub async fn protocol(request: Request, next: Next) -> Response {
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    headers.insert(HeaderName::from_static(PROTOCOL_HEADER), HeaderValue::from_static(PROTOCOL_VALUE));
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}

/// What tells a browser to be strict.
pub async fn security(State(state): State<AppState>, request: Request, next: Next) -> Response {
    let is_verifier = request.uri().path().strip_prefix('/') == Some(VERIFIER_NAME);
    let mut response = next.run(request).await;
    let headers = response.headers_mut();
    let mut set = |name, value| {
        headers.insert(name, HeaderValue::from_static(value));
    };
    set(header::CONTENT_SECURITY_POLICY, if is_verifier { VERIFIER_POLICY } else { CONTENT_SECURITY_POLICY });
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    set(header::REFERRER_POLICY, "no-referrer");
    set(HeaderName::from_static("permissions-policy"), PERMISSIONS_POLICY);
    set(HeaderName::from_static("cross-origin-opener-policy"), "same-origin");
    set(HeaderName::from_static("cross-origin-resource-policy"), "same-origin");
    if state.config.is_https() {
        set(header::STRICT_TRANSPORT_SECURITY, STRICT_TRANSPORT_SECURITY);
    }
    response
}
