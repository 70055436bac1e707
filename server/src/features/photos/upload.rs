//! `HEAD`, `PATCH` and `DELETE /api/photos/uploads/{id}`.
//!
//! A phone's connection may die without our noticing, and it comes back within seconds. So the last to come is right: a
//! new PATCH, and a HEAD too, has the transfer before it put away what had arrived (`transfers.rs`) and takes the upload's lock.
//! One of another process ends at its next part, which then does not count. The offset only grows, and what a HEAD said stays true
//! until its client goes on.
//!
//! The receiving end runs as a task of its own: when the connection breaks, the server drops the request, and what had
//! arrived until then would be dropped with it.

use axum::body::{Body, BodyDataStream, Bytes};
use axum::extract::State;
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse as _, Response};
use domain::ids::{FirmId, Hash32};
use domain::people::{Action, Ownership};
use domain::wire::limits::PART_BYTES_MAX;
use futures_util::StreamExt as _;
use uuid::Uuid;

use super::finish::{Outcome, finish};
use super::transfers::Transfer;
use super::{
    IDLE_MAX, PART_FLUSH_BYTES, STORED, UPLOAD_EXPIRES, UPLOAD_GOOD_US, UPLOAD_LENGTH, UPLOAD_OFFSET, http_date,
    mark_tus, number, queries, require_tus, store, tus,
};
use crate::auth::Caller;
use crate::error::ApiError;
use crate::http::Path;
use crate::http::body::drain;
use crate::job_files::{cut, wire};
use crate::state::AppState;

const OFFSET_OCTET_STREAM: &str = "application/offset+octet-stream";

/// How far an upload is.
///
/// # Errors
/// [`ApiError::NotFound`], [`ApiError::Gone`].
pub async fn head_upload(
    caller: Caller,
    State(state): State<AppState>,
    Path(id): Path<Uuid>,
    headers: HeaderMap,
) -> Result<Response, ApiError> {
    require_tus(&headers)?;
    state.transfers.end(id, caller.person).await;
    let mut tx = state.db.begin_for(&caller).await?;
    let row = queries::unlock_upload(&mut tx, id, caller.person).await?.ok_or(ApiError::NotFound)?;
    tx.commit().await?;
    require_unexpired(&state, row.expires_us)?;
    Ok(tus(
        StatusCode::OK,
        &[
            (UPLOAD_OFFSET, HeaderValue::from(row.received)),
            (UPLOAD_LENGTH, HeaderValue::from(row.length)),
            (UPLOAD_EXPIRES, http_date(row.expires_us)),
            (header::CACHE_CONTROL, HeaderValue::from_static("no-store")),
        ],
    ))
}

/// Drops an upload.
///
/// # Errors
/// [`ApiError::NotFound`].
pub async fn drop_upload(
    caller: Caller,
    State(state): State<AppState>,
    Path(id): Path<Uuid>,
    headers: HeaderMap,
) -> Result<Response, ApiError> {
    require_tus(&headers)?;
    state.transfers.end(id, caller.person).await;
    let mut tx = state.db.begin_for(&caller).await?;
    queries::unlock_upload(&mut tx, id, caller.person).await?.ok_or(ApiError::NotFound)?;
    queries::delete_upload(&mut tx, id, None).await?;
    tx.commit().await?;
    store(&state).drop_upload(id).await?;
    Ok(tus(StatusCode::NO_CONTENT, &[]))
}

/// Takes the next bytes.
///
/// # Errors
/// [`ApiError::Conflict`] `offset` (with the right one in `Upload-Offset`), [`ApiError::MediaType`],
/// [`ApiError::TooLarge`], [`ApiError::ChecksumMismatch`] when it was the last part and the whole is something else.
pub async fn go_on_with_upload(
    caller: Caller,
    State(state): State<AppState>,
    Path(id): Path<Uuid>,
    headers: HeaderMap,
    body: Body,
) -> Response {
    let receiving = match accept(&caller, state, id, &headers).await {
        Ok(receiving) => receiving,
        Err(refusal) => {
            drain(body.into_data_stream()).await;
            return refusal;
        }
    };
    // A task: see the head of this file.
    let done = tokio::spawn(receiving.run(body.into_data_stream())).await;
    match done.map_err(ApiError::internal).and_then(|progress| progress) {
        Ok(progress) => progress.into_response(),
        Err(error) => error.into_response(),
    }
}

/// Takes the lock, or says why not.
async fn accept(caller: &Caller, state: AppState, id: Uuid, headers: &HeaderMap) -> Result<Receiving, Response> {
    let begun = begin(caller, &state, id, headers).await.map_err(ApiError::into_response)?;
    let Begun { row, lock, transfer, offset, announced } = begun;
    if wire(row.received) != offset {
        let mut response = ApiError::Conflict("offset").into_response();
        mark_tus(&mut response, &[(UPLOAD_OFFSET, HeaderValue::from(row.received))]);
        return Err(response);
    }
    let left = wire(row.length) - wire(row.received);
    if announced > left {
        return Err(ApiError::TooLarge.into_response());
    }
    let most = left.min(PART_BYTES_MAX);
    Ok(Receiving { state, firm: caller.firm, id, lock, received: row.received, most, transfer })
}

/// An upload whose lock this request has.
struct Begun {
    row: queries::UploadRow,
    lock: Uuid,
    transfer: Transfer,
    /// As the request says.
    offset: u64,
    announced: u64,
}

async fn begin(caller: &Caller, state: &AppState, id: Uuid, headers: &HeaderMap) -> Result<Begun, ApiError> {
    require_tus(headers)?;
    if headers.get(header::CONTENT_TYPE).is_none_or(|value| value != OFFSET_OCTET_STREAM) {
        return Err(ApiError::MediaType);
    }
    let offset = number(headers, &UPLOAD_OFFSET)?;
    let announced = match headers.get(header::CONTENT_LENGTH) {
        Some(_) => number(headers, &header::CONTENT_LENGTH)?,
        None => 0,
    };
    if announced > PART_BYTES_MAX {
        return Err(ApiError::TooLarge);
    }
    state.transfers.end(id, caller.person).await;
    // Before the lock: whoever sees that can reach this.
    let transfer = state.transfers.begin(id, caller.person);
    let lock = state.clock.new_id();
    let mut tx = state.db.begin_for(caller).await?;
    caller.may(Action::SendPhoto, Ownership::Own)?;
    let row = queries::lock_upload(&mut tx, id, caller.person, lock, state.clock.now_us()).await?;
    let row = row.ok_or(ApiError::NotFound)?;
    tx.commit().await?;
    require_unexpired(state, row.expires_us)?;
    Ok(Begun { row, lock, transfer, offset, announced })
}

fn require_unexpired(state: &AppState, expires_us: i64) -> Result<(), ApiError> {
    if state.clock.now_us() < expires_us { Ok(()) } else { Err(ApiError::Gone) }
}

/// How far it went.
struct Progress {
    received: i64,
    expires_us: i64,
    stored: Option<Hash32>,
}

impl Progress {
    fn into_response(self) -> Response {
        let mut headers =
            vec![(UPLOAD_OFFSET, HeaderValue::from(self.received)), (UPLOAD_EXPIRES, http_date(self.expires_us))];
        if let Some(sha256) = self.stored {
            headers.push((STORED, HeaderValue::from_str(&sha256.hex()).expect("hexadecimal is ASCII")));
        }
        tus(StatusCode::NO_CONTENT, &headers)
    }
}

/// One PATCH under way.
struct Receiving {
    state: AppState,
    firm: FirmId,
    id: Uuid,
    lock: Uuid,
    received: i64,
    /// Bytes that it may bring.
    most: u64,
    transfer: Transfer,
}

impl Receiving {
    async fn run(mut self, mut body: BodyDataStream) -> Result<Progress, ApiError> {
        let mut waiting: Vec<u8> = Vec::new();
        let mut taken: u64 = 0;
        let mut fault = None;
        loop {
            let next = tokio::select! {
                // What is here already counts before an end is looked for.
                biased;
                next = tokio::time::timeout(IDLE_MAX, body.next()) => next,
                () = self.transfer.stopped() => {
                    fault = Some(ApiError::Conflict("taken_over"));
                    break;
                }
            };
            match next {
                Ok(Some(Ok(chunk))) if taken + chunk.len() as u64 > self.most => {
                    fault = Some(ApiError::TooLarge);
                    break;
                }
                Ok(Some(Ok(chunk))) => {
                    taken += chunk.len() as u64;
                    waiting.extend_from_slice(&chunk);
                }
                Ok(None) => break,
                // Whatever broke, what is here counts: the client asks how far it came and goes on.
                Ok(Some(Err(error))) => {
                    fault = Some(ApiError::Malformed(format!("the body broke off: {error}")));
                    break;
                }
                Err(_) => {
                    fault = Some(ApiError::TimedOut);
                    break;
                }
            }
            if waiting.len() >= PART_FLUSH_BYTES {
                self.keep(std::mem::take(&mut waiting)).await?;
            }
        }
        let length = self.keep(waiting).await?;
        if let Some(fault) = fault {
            return Err(fault);
        }
        let expires_us = self.state.clock.now_us() + UPLOAD_GOOD_US;
        if self.received < length {
            return Ok(Progress { received: self.received, expires_us, stored: None });
        }
        match finish(&self.state, self.firm, self.id, self.lock).await? {
            Outcome::Stored(sha256) => Ok(Progress { received: self.received, expires_us, stored: Some(sha256) }),
            Outcome::OtherBytes => Err(ApiError::ChecksumMismatch),
        }
    }

    /// Puts a part away; it counts once the row says so. Gives the length of the whole.
    async fn keep(&mut self, bytes: Vec<u8>) -> Result<i64, ApiError> {
        let store = store(&self.state);
        let part = self.state.clock.new_id();
        let size = cut(bytes.len() as u64);
        if size > 0 {
            store.append(self.id, part, Bytes::from(bytes)).await?;
        }
        let now_us = self.state.clock.now_us();
        let counted = queries::Part { upload: self.id, lock: self.lock, part, from: self.received, bytes: size };
        let mut tx = self.state.db.begin_for_firm(self.firm).await?;
        let length = queries::count_part(&mut tx, &counted, now_us, now_us + UPLOAD_GOOD_US).await?;
        tx.commit().await?;
        match length {
            Some(length) => {
                self.received += size;
                Ok(length)
            }
            None => {
                // Somebody else goes on with this upload.
                store.drop_part(self.id, part).await?;
                Err(ApiError::Conflict("taken_over"))
            }
        }
    }
}
