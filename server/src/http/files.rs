//! The web app's files. An address of a screen gets `index.html`, for the app does its own routing. Any other that is no file is
//! 404: to a browser with the app as the page that says so, to everybody else as a problem, so that whoever looks after the
//! service under a usual name is not told by a page that all is well, and no browser runs a page as a script.
//!
//! Files lie packed beside themselves (`cargo xtask web`) and travel as they lie; what has no packed form is packed on the way out.
//! Whether a file is still the same is told by its bytes and not by its age: a version that is put back is older than the one that it
//! replaces, and files of one build may have the time of another.

use std::path::Path;

use axum::body::{Body, to_bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, Uri, header};
use axum::response::{IntoResponse, Response};
use domain::ids::Hash32;
use tower::ServiceExt as _;
use tower_http::services::ServeDir;

use super::may_name_something;
use crate::error::ApiError;
use crate::state::AppState;

/// What the addresses of the app's screens begin with. A suite compares it with the app's own table.
pub const SCREENS: [&str; 16] = [
    "about",
    "catalogue",
    "day",
    "desk",
    "jobs",
    "link",
    "menu",
    "people",
    "plan",
    "registration",
    "rule-sets",
    "settings",
    "sign-in",
    "sign-out",
    "tray",
    "units",
];

/// Digits of the hash that the web build writes into a file's name; such a file never changes.
const HASH_DIGITS: usize = 16;
const FOR_EVER: &str = "public, max-age=31536000, immutable";
/// Asked again each time, and answered with 304 if it is still the same.
const ASK_AGAIN: &str = "no-cache";
/// A picture that a page shows twice is fetched once; a new one of the app's comes through its worker, which asks again.
const FOR_AN_HOUR: &str = "public, max-age=3600";
const ICONS: &str = "/icons/";
const INDEX: &str = "/index.html";
/// More than any file without a hash in its name has; what is larger goes out without a mark.
const MARKED_BYTES_MAX: usize = 8 * 1024 * 1024;
/// What asks by age or for a part.
const NOT_ASKED: [header::HeaderName; 5] =
    [header::IF_MODIFIED_SINCE, header::IF_UNMODIFIED_SINCE, header::IF_MATCH, header::IF_RANGE, header::RANGE];

/// Serves a file of `WEB_DIST`.
pub async fn serve_file(State(state): State<AppState>, request: Request) -> Response {
    let Some(dist) = state.config.web_dist.clone() else {
        return (StatusCode::NOT_FOUND, "This server has no web app to show: WEB_DIST is not set.\n").into_response();
    };
    if !may_name_something(request.uri().path()) {
        return ApiError::NotFound.into_response();
    }
    if request.method() != Method::GET && request.method() != Method::HEAD {
        return StatusCode::METHOD_NOT_ALLOWED.into_response();
    }
    let path = request.uri().path().to_owned();
    let (parts, _) = request.into_parts();
    let again = |uri: Uri| {
        let mut request = Request::new(Body::empty());
        *request.method_mut() = parts.method.clone();
        *request.headers_mut() = parts.headers.clone();
        if !has_hash(uri.path()) {
            for name in NOT_ASKED {
                request.headers_mut().remove(name);
            }
        }
        *request.uri_mut() = uri;
        request
    };
    if path != "/" {
        let found = from_folder(&dist, again(parts.uri.clone())).await;
        if found.status() != StatusCode::NOT_FOUND || !is_page(&path) {
            return with_mark(with_cache(found, &path), &path, &parts.headers).await;
        }
        if !is_screen(&path) && !wants_a_page(&parts.headers) {
            return ApiError::NotFound.into_response();
        }
    }
    let mut page = with_cache(from_folder(&dist, again(Uri::from_static(INDEX))).await, INDEX);
    if page.status() == StatusCode::OK && !is_screen(&path) {
        *page.status_mut() = StatusCode::NOT_FOUND;
    }
    with_mark(page, INDEX, &parts.headers).await
}

/// The mark of a file that may change, and the short answer to whoever has it already.
async fn with_mark(response: Response, path: &str, asked: &HeaderMap) -> Response {
    let bytes = response.headers().get(header::CONTENT_LENGTH).and_then(|bytes| bytes.to_str().ok()?.parse().ok());
    if response.status() != StatusCode::OK || has_hash(path) || bytes.unwrap_or(0) > MARKED_BYTES_MAX {
        return response;
    }
    let (mut parts, body) = response.into_parts();
    let Ok(bytes) = to_bytes(body, MARKED_BYTES_MAX).await else {
        return StatusCode::INTERNAL_SERVER_ERROR.into_response();
    };
    parts.headers.remove(header::LAST_MODIFIED);
    if bytes.is_empty() {
        // The answer to a HEAD.
        return Response::from_parts(parts, Body::empty());
    }
    // Weak, for what has no packed form is packed on the way out and stays the same file.
    let mark = format!("W/\"{}\"", &Hash32::sha256(&bytes).hex()[..HASH_DIGITS]);
    let is_known = asked
        .get_all(header::IF_NONE_MATCH)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .any(|marks| marks.split(',').any(|one| one.trim() == mark));
    parts.headers.insert(header::ETAG, HeaderValue::from_str(&mark).expect("hexadecimal is ASCII"));
    if is_known {
        parts.status = StatusCode::NOT_MODIFIED;
        for name in [header::CONTENT_LENGTH, header::CONTENT_ENCODING] {
            parts.headers.remove(name);
        }
        return Response::from_parts(parts, Body::empty());
    }
    Response::from_parts(parts, Body::from(bytes))
}

async fn from_folder(dist: &Path, request: Request) -> Response {
    let files = ServeDir::new(dist).append_index_html_on_directories(false).precompressed_br().precompressed_gzip();
    match files.oneshot(request).await {
        Ok(response) => response.map(Body::new),
        Err(never) => match never {},
    }
}

/// The last part of the path has no dot: not the name of a file.
fn is_page(path: &str) -> bool {
    !path.rsplit('/').next().unwrap_or_default().contains('.')
}

/// Home, or below one of the app's first parts.
fn is_screen(path: &str) -> bool {
    let first = path.split('/').find(|part| !part.is_empty());
    first.is_none_or(|first| SCREENS.contains(&first))
}

/// A browser that goes somewhere names the type; programs take anything.
fn wants_a_page(headers: &HeaderMap) -> bool {
    headers.get(header::ACCEPT).and_then(|value| value.to_str().ok()).is_some_and(|types| types.contains("text/html"))
}

fn with_cache(mut response: Response, path: &str) -> Response {
    let found = response.status().is_success() || response.status() == StatusCode::NOT_MODIFIED;
    let rule = match path {
        _ if found && has_hash(path) => FOR_EVER,
        _ if found && path.starts_with(ICONS) => FOR_AN_HOUR,
        _ => ASK_AGAIN,
    };
    let headers = response.headers_mut();
    headers.insert(header::CACHE_CONTROL, HeaderValue::from_static(rule));
    if found {
        // Said of what lies packed too, which whoever packs on the way out passes by.
        headers.insert(header::VARY, HeaderValue::from_static("accept-encoding"));
    }
    if headers.get(header::CONTENT_TYPE).is_some_and(|kind| kind == "text/html") {
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("text/html; charset=utf-8"));
    }
    response
}

/// `app-0123456789abcdef_bg.wasm`: the name holds a run of exactly sixteen hexadecimal digits.
fn has_hash(path: &str) -> bool {
    let name = path.rsplit('/').next().unwrap_or_default();
    name.split(|c: char| !c.is_ascii_alphanumeric())
        .any(|part| part.len() == HASH_DIGITS && part.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f')))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_with_the_hash_are_kept_for_ever() {
        for path in ["/app-0123456789abcdef.js", "/assets/app-0123456789abcdef_bg.wasm", "/x.0123456789abcdef.css"] {
            assert!(has_hash(path), "{path}");
        }
        for path in
            ["/index.html", "/sw.js", "/app-0123456789abcde.js", "/0123456789abcdef/a.js", "/app-0123456789ABCDEF.js"]
        {
            assert!(!has_hash(path), "{path}");
        }
    }

    #[test]
    fn screens_are_known_by_their_first_part() {
        for path in ["/", "//", "/day", "/jobs/17/steps/a/0", "/link/x", "/sign-in/"] {
            assert!(is_screen(path), "{path}");
        }
        for path in ["/healthz", "/metrics", "/jobsx", "/.git/config", "/api"] {
            assert!(!is_screen(path), "{path}");
        }
    }

    #[test]
    fn pages_have_no_dot_in_their_last_part() {
        assert!(is_page("/jobs/12") && is_page("/v1.2/jobs") && is_page("/"));
        assert!(!is_page("/app.js") && !is_page("/.well-known/.x"));
    }
}
