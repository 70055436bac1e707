//! Photos come in by tus 1.0 and are read through a job that names them.
//!
//! [`create`] begins an upload, [`upload`] goes on with it, [`finish`] turns it into a photo, [`read`] hands photos out,
//! [`expire`] removes what nobody went on with. Bytes are [`crate::photos`].
//!
//! Whoever belongs to the firm may send a photo for any job, known here or not: it may come before the entry that names
//! it, before its job, and after the work was given to somebody else. That opens nothing, for a photo is only ever read
//! through an entry that names it, in a job that the reader may see.

mod create;
mod expire;
mod finish;
mod queries;
mod read;
mod transfers;
mod upload;

use std::time::Duration;

use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode};
use axum::response::{IntoResponse, Response};

pub use create::{create_upload, describe_uploads};
pub use expire::expire_uploads;
pub use read::{get_photo, get_upright, list_photos};
pub use transfers::Transfers;
pub use upload::{drop_upload, go_on_with_upload, head_upload};

use crate::clock::DAY_US;
use crate::error::ApiError;
use crate::photos::store::{PhotoStore, StoreFault};
use crate::state::AppState;

/// How long an upload waits for its next part.
const UPLOAD_GOOD_US: i64 = 7 * DAY_US;
/// After so many bytes a part is put away and counts: what a server that dies may cost at most.
const PART_FLUSH_BYTES: usize = 1024 * 1024;
/// A body that brings nothing for so long is over. Its connection may be half open for many minutes.
const IDLE_MAX: Duration = Duration::from_secs(30);

const TUS_VERSION: HeaderValue = HeaderValue::from_static("1.0.0");
const TUS_RESUMABLE: HeaderName = HeaderName::from_static("tus-resumable");
const UPLOAD_OFFSET: HeaderName = HeaderName::from_static("upload-offset");
const UPLOAD_LENGTH: HeaderName = HeaderName::from_static("upload-length");
const UPLOAD_EXPIRES: HeaderName = HeaderName::from_static("upload-expires");
const UPLOAD_METADATA: HeaderName = HeaderName::from_static("upload-metadata");
const HAVE: HeaderName = HeaderName::from_static("witnessmark-have");
const STORED: HeaderName = HeaderName::from_static("witnessmark-stored");

fn store(state: &AppState) -> PhotoStore {
    state.photo_store()
}

impl From<StoreFault> for ApiError {
    fn from(fault: StoreFault) -> Self {
        match fault {
            StoreFault::Full => Self::StorageFull,
            StoreFault::Unavailable(cause) => Self::Unavailable(cause),
        }
    }
}

/// A client of another tus version must not go on. One that names none is taken at its word.
fn require_tus(headers: &HeaderMap) -> Result<(), ApiError> {
    match headers.get(TUS_RESUMABLE) {
        Some(version) if version != TUS_VERSION => Err(ApiError::Precondition("tus_version")),
        Some(_) | None => Ok(()),
    }
}

fn number(headers: &HeaderMap, name: &HeaderName) -> Result<u64, ApiError> {
    let text = headers.get(name).and_then(|value| value.to_str().ok());
    text.and_then(|text| text.trim().parse().ok()).ok_or_else(|| ApiError::Malformed(format!("{name} is not a number")))
}

/// An answer with the headers of tus.
fn tus(status: StatusCode, headers: &[(HeaderName, HeaderValue)]) -> Response {
    let mut response = status.into_response();
    mark_tus(&mut response, headers);
    response
}

fn mark_tus(response: &mut Response, headers: &[(HeaderName, HeaderValue)]) {
    response.headers_mut().insert(TUS_RESUMABLE, TUS_VERSION);
    for (name, value) in headers {
        response.headers_mut().insert(name.clone(), value.clone());
    }
}

/// A moment as `Upload-Expires` wants it.
fn http_date(us: i64) -> HeaderValue {
    let moment = jiff::Timestamp::from_microsecond(us).unwrap_or(jiff::Timestamp::UNIX_EPOCH);
    let text = moment.strftime("%a, %d %b %Y %H:%M:%S GMT").to_string();
    HeaderValue::from_str(&text).expect("a date is ASCII")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_are_written_as_http_wants_them() {
        assert_eq!(http_date(784_111_777_000_000), "Sun, 06 Nov 1994 08:49:37 GMT");
        assert_eq!(http_date(i64::MAX), "Thu, 01 Jan 1970 00:00:00 GMT");
    }
}
