//! Photos of a job: the list, the originals, and the server's own small view of them.

use axum::Json;
use axum::body::Body;
use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use domain::ids::{EntryId, Hash32, JobId};
use serde::Serialize;

use super::{queries, store};
use crate::auth::Caller;
use crate::error::ApiError;
use crate::http::Path;
use crate::job_files::project::project_dirty;
use crate::job_files::visible::require_visible;
use crate::photos::media::Media;
use crate::photos::view::upright_jpeg;
use crate::state::AppState;

/// A hash names its bytes for ever; only the person's own browser may keep them.
const CACHE: &str = "private, max-age=31536000, immutable";

/// One file that the job names.
#[derive(Serialize)]
pub struct NamedPhoto {
    hash: Hash32,
    bytes: i64,
    role: String,
    entry: EntryId,
    #[serde(skip_serializing_if = "Option::is_none")]
    arrived_us: Option<i64>,
}

/// `GET /api/jobs/{job}/photos`.
///
/// # Errors
/// [`ApiError::NotFound`] for a job that is not the caller's to see.
pub async fn list_photos(
    caller: Caller,
    State(state): State<AppState>,
    Path(job): Path<JobId>,
) -> Result<Json<Vec<NamedPhoto>>, ApiError> {
    project_dirty(&state, caller.firm).await?;
    let mut tx = state.db.begin_for(&caller).await?;
    require_visible(&mut tx, &caller, job).await?;
    let rows = queries::photos_of(&mut tx, job).await?;
    tx.commit().await?;
    let named = rows.into_iter().filter_map(|row| {
        let hash = Hash32::of(row.sha256.try_into().ok()?);
        let entry = EntryId::of(row.entry_id);
        Some(NamedPhoto { hash, bytes: row.bytes, role: row.role, entry, arrived_us: row.arrived_us })
    });
    Ok(Json(named.collect()))
}

/// `GET /api/jobs/{job}/photos/{sha256}`: the untouched bytes.
///
/// # Errors
/// [`ApiError::NotFound`]: not a job of the caller's, not named in it, or not arrived.
pub async fn get_photo(
    caller: Caller,
    State(state): State<AppState>,
    Path((job, sha256)): Path<(JobId, String)>,
    headers: HeaderMap,
) -> Result<Response, ApiError> {
    let (sha256, media) = readable(&state, &caller, job, &sha256).await?;
    if let Some(same) = not_changed(&headers, &etag(sha256, "o")) {
        return Ok(same);
    }
    let opened = store(&state).open(caller.firm, sha256).await?;
    let opened =
        opened.ok_or_else(|| ApiError::internal(anyhow::anyhow!("the store lacks a photo that has arrived")))?;
    let mut response =
        picture(Body::from_stream(opened.stream), opened.bytes, media.content_type(), &etag(sha256, "o"));
    if matches!(media, Media::Other) {
        response.headers_mut().insert(header::CONTENT_DISPOSITION, HeaderValue::from_static("attachment"));
    }
    Ok(response)
}

/// `GET /api/jobs/{job}/photos/{sha256}/upright`: upright, small, without metadata.
///
/// # Errors
/// As [`get_photo`], and [`ApiError::NoView`] where none can be made.
pub async fn get_upright(
    caller: Caller,
    State(state): State<AppState>,
    Path((job, sha256)): Path<(JobId, String)>,
    headers: HeaderMap,
) -> Result<Response, ApiError> {
    let (sha256, media) = readable(&state, &caller, job, &sha256).await?;
    if let Some(same) = not_changed(&headers, &etag(sha256, "u")) {
        return Ok(same);
    }
    let jpeg = upright_jpeg(&store(&state), caller.firm, sha256, media).await?;
    let bytes = jpeg.len() as u64;
    Ok(picture(Body::from(jpeg), bytes, "image/jpeg", &etag(sha256, "u")))
}

/// The way to any photo: through a job that the caller may see and that names it.
async fn readable(state: &AppState, caller: &Caller, job: JobId, sha256: &str) -> Result<(Hash32, Media), ApiError> {
    let sha256 = Hash32::from_hex(sha256).ok_or(ApiError::NotFound)?;
    project_dirty(state, caller.firm).await?;
    let mut tx = state.db.begin_for(caller).await?;
    require_visible(&mut tx, caller, job).await?;
    let media = queries::media_of_named(&mut tx, job, sha256).await?.ok_or(ApiError::NotFound)?;
    tx.commit().await?;
    Ok((sha256, Media::of_word(&media)))
}

fn etag(sha256: Hash32, which: &str) -> String {
    format!("\"{}-{which}\"", sha256.hex())
}

fn not_changed(headers: &HeaderMap, etag: &str) -> Option<Response> {
    let same = headers.get(header::IF_NONE_MATCH).is_some_and(|value| value == etag);
    same.then(|| {
        (StatusCode::NOT_MODIFIED, [(header::ETAG, etag.to_owned()), (header::CACHE_CONTROL, CACHE.to_owned())])
            .into_response()
    })
}

fn picture(body: Body, bytes: u64, content_type: &'static str, etag: &str) -> Response {
    let headers = [
        (header::CONTENT_TYPE, content_type.to_owned()),
        (header::CONTENT_LENGTH, bytes.to_string()),
        (header::CACHE_CONTROL, CACHE.to_owned()),
        (header::ETAG, etag.to_owned()),
    ];
    (headers, body).into_response()
}
