//! Push and pull: how entries travel. Messages are `domain::wire::sync`, the log is [`crate::job_files`].
//!
//! Both calls may be repeated without harm: the same message twice has the effect of one. Nothing is acknowledged before
//! it is committed, and nothing that a person recorded is refused because a rule dislikes it.

mod pull;
mod push;
mod queries;

pub use pull::pull_entries;
pub use push::push_entries;

use axum::http::{HeaderMap, HeaderName, header};
use domain::wire::limits::PUSH_BYTES_MAX;
use domain::wire::sync::{MEDIA_TYPE, SYNC_VERSION};

use crate::error::ApiError;
use crate::http::{Cbor, body};

/// Bytes of a push with its frame: the limit is for the envelopes, and a client counts those.
const PUSH_BODY_BYTES_MAX: usize = PUSH_BYTES_MAX + 16 * 1024;

/// Bytes of a pull: 40 bytes a job, so more than twenty thousand jobs.
const PULL_BODY_BYTES_MAX: usize = 1024 * 1024;

/// The answer to a message, and how the next one may be packed.
type Taken = ([(HeaderName, &'static str); 1], Cbor);

fn taken(reply: Vec<u8>) -> Taken {
    ([(header::ACCEPT_ENCODING, body::PACKING)], Cbor(reply))
}

fn require_cbor(headers: &HeaderMap) -> Result<(), ApiError> {
    match headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()) {
        Some(MEDIA_TYPE) => Ok(()),
        Some(_) | None => Err(ApiError::MediaType),
    }
}

fn require_version(version: u8) -> Result<(), ApiError> {
    if version == SYNC_VERSION { Ok(()) } else { Err(ApiError::Invalid("sync_version")) }
}
