//! `POST /api/photos`: begins an upload, or says that it is not needed.

use axum::extract::State;
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::response::Response;
use base64::Engine as _;
use domain::ids::{Hash32, JobId};
use domain::people::{Action, Ownership};
use domain::wire::limits::PHOTO_BYTES_MAX;

use super::finish::{Outcome, finish};
use super::{
    HAVE, UPLOAD_EXPIRES, UPLOAD_GOOD_US, UPLOAD_LENGTH, UPLOAD_METADATA, UPLOAD_OFFSET, http_date, number, queries,
    require_tus, tus,
};
use crate::auth::Caller;
use crate::error::ApiError;
use crate::job_files::cut;
use crate::state::AppState;

/// Begins an upload, finds the one that this person already began for this photo, or says that the bytes are here.
///
/// # Errors
/// [`ApiError::TooLarge`], [`ApiError::Malformed`]; [`ApiError::ChecksumMismatch`] where all of it lay here and was something else.
pub async fn create_upload(
    caller: Caller,
    State(state): State<AppState>,
    headers: HeaderMap,
) -> Result<Response, ApiError> {
    require_tus(&headers)?;
    let length = number(&headers, &UPLOAD_LENGTH)?;
    if length > PHOTO_BYTES_MAX {
        return Err(ApiError::TooLarge);
    }
    if length == 0 {
        return Err(ApiError::Malformed("a photo has at least one byte".to_owned()));
    }
    let metadata = headers.get(UPLOAD_METADATA).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let announced = Announced::read(metadata)?;
    let now_us = state.clock.now_us();
    let mut tx = state.db.begin_for(&caller).await?;
    caller.may(Action::SendPhoto, Ownership::Own)?;
    if queries::has_arrived(&mut tx, announced.job, announced.sha256).await? {
        return Ok(tus(StatusCode::OK, &[(HAVE, HeaderValue::from_static("1"))]));
    }
    let upload = queries::NewUpload {
        id: state.clock.new_id(),
        job: announced.job,
        person: caller.person,
        sha256: announced.sha256,
        length: cut(length),
        created_us: now_us,
        expires_us: now_us + UPLOAD_GOOD_US,
    };
    // The answer to the first request may have been lost: the second finds the same upload and what it holds already.
    let found = queries::find_upload(&mut tx, &upload).await?;
    if let Some(whole) = found.as_ref().filter(|row| row.received == upload.length) {
        let lock = state.clock.new_id();
        queries::lock_upload(&mut tx, whole.id, caller.person, lock, now_us).await?;
        tx.commit().await?;
        // Every byte came, and whoever took the last of them was killed before it became a photo: it does so now.
        return Ok(match finish(&state, caller.firm, whole.id, lock).await? {
            Outcome::Stored(_) => tus(StatusCode::OK, &[(HAVE, HeaderValue::from_static("1"))]),
            Outcome::OtherBytes => return Err(ApiError::ChecksumMismatch),
        });
    }
    let row = match found {
        Some(row) => row,
        None => {
            queries::insert_upload(&mut tx, &upload).await?;
            queries::BegunRow { id: upload.id, received: 0, expires_us: upload.expires_us }
        }
    };
    tx.commit().await?;
    let location = format!("/api/photos/uploads/{}", row.id);
    Ok(tus(
        StatusCode::CREATED,
        &[
            (header::LOCATION, HeaderValue::from_str(&location).expect("an id is ASCII")),
            (UPLOAD_OFFSET, HeaderValue::from(row.received)),
            (UPLOAD_EXPIRES, http_date(row.expires_us)),
        ],
    ))
}

/// `OPTIONS /api/photos`: what of tus is spoken here.
pub async fn describe_uploads() -> Response {
    tus(
        StatusCode::NO_CONTENT,
        &[
            (HeaderName::from_static("tus-version"), super::TUS_VERSION),
            (HeaderName::from_static("tus-extension"), HeaderValue::from_static("creation,expiration,termination")),
            (HeaderName::from_static("tus-max-size"), HeaderValue::from(PHOTO_BYTES_MAX)),
        ],
    )
}

/// What `Upload-Metadata` must say.
#[derive(Debug, PartialEq, Eq)]
struct Announced {
    sha256: Hash32,
    job: JobId,
}

impl Announced {
    /// `sha256 <base64 of hex>,job <base64>`; other keys are for other people.
    fn read(metadata: &str) -> Result<Self, ApiError> {
        let value = |wanted: &str| {
            let pair = metadata.split(',').map(str::trim).find_map(|pair| {
                let (key, value) = pair.split_once(' ')?;
                (key == wanted).then(|| value.trim())
            })?;
            let bytes = base64::engine::general_purpose::STANDARD.decode(pair).ok()?;
            String::from_utf8(bytes).ok()
        };
        let wrong = |key: &str| ApiError::Malformed(format!("Upload-Metadata has no {key} as announced in the API"));
        Ok(Self {
            sha256: value("sha256").and_then(|hex| Hash32::from_hex(&hex)).ok_or_else(|| wrong("sha256"))?,
            job: value("job").and_then(|id| id.parse().ok()).ok_or_else(|| wrong("job"))?,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn metadata_is_read_or_refused() {
        let b64 = |text: &str| base64::engine::general_purpose::STANDARD.encode(text);
        let hash = Hash32::sha256(b"photo");
        let job = JobId::of(domain::ids::uuid_v7(1_767_225_600_000, &[1; 10]));
        let good = format!("filename {}, sha256 {},job {}", b64("a.jpg"), b64(&hash.hex()), b64(&job.to_string()));
        assert_eq!(Announced::read(&good).ok(), Some(Announced { sha256: hash, job }));
        for bad in [
            String::new(),
            format!("sha256 {}", b64(&hash.hex())),
            format!("sha256 {},job {}", hash.hex(), b64(&job.to_string())),
            format!("sha256 {},job {}", b64("zz"), b64(&job.to_string())),
            format!("sha256 {},job {}", b64(&hash.hex()), b64("../..")),
        ] {
            assert!(matches!(Announced::read(&bad), Err(ApiError::Malformed(_))), "{bad}");
        }
    }
}
