//! Bodies that are read by hand. Whoever is refused before everything was read must still be heard out for a while: a
//! connection that closes on somebody who is sending looks like a broken network to them, and they try for ever.

use std::time::Duration;

use std::io::Read as _;

use axum::body::{Body, BodyDataStream, Bytes};
use axum::http::{HeaderMap, header};
use flate2::read::MultiGzDecoder;
use futures_util::StreamExt as _;

use crate::error::ApiError;

/// Bytes that are read and thrown away, so that a refusal arrives.
const DRAIN_BYTES_MAX: usize = 16 * 1024 * 1024;
/// How a body may be packed. Answers of sync say it in `Accept-Encoding`, as RFC 7694 has it.
pub const PACKING: &str = "gzip";
/// How long that may take.
const DRAIN_TIME_MAX: Duration = Duration::from_secs(10);

/// Reads a body of at most so many bytes.
///
/// # Errors
/// [`ApiError::TooLarge`]; [`ApiError::Malformed`] when it breaks off.
pub async fn read(body: Body, most: usize) -> Result<Bytes, ApiError> {
    let mut stream = body.into_data_stream();
    let mut all = Vec::new();
    while let Some(chunk) = stream.next().await {
        let chunk = chunk.map_err(|error| ApiError::Malformed(format!("the body broke off: {error}")))?;
        if all.len() + chunk.len() > most {
            drain(stream).await;
            return Err(ApiError::TooLarge);
        }
        all.extend_from_slice(&chunk);
    }
    Ok(Bytes::from(all))
}

/// Reads a body of at most so many bytes, before and after it is unpacked.
///
/// # Errors
/// [`ApiError::TooLarge`]; [`ApiError::MediaType`] for another packing than [`PACKING`]; [`ApiError::Malformed`] when it breaks off.
pub async fn read_packed(headers: &HeaderMap, body: Body, most: usize) -> Result<Bytes, ApiError> {
    let packing = headers.get(header::CONTENT_ENCODING).map(|value| value.as_bytes().to_ascii_lowercase());
    let bytes = match packing.as_deref() {
        None | Some(b"identity") => return read(body, most).await,
        Some(packing) if packing == PACKING.as_bytes() => read(body, most).await?,
        Some(_) => {
            drain(body.into_data_stream()).await;
            return Err(ApiError::MediaType);
        }
    };
    let mut plain = Vec::new();
    // A few bytes can stand for gigabytes: one more than is allowed is read and no more.
    MultiGzDecoder::new(&bytes[..])
        .take(most as u64 + 1)
        .read_to_end(&mut plain)
        .map_err(|error| ApiError::Malformed(format!("not packed with {PACKING}: {error}")))?;
    if plain.len() > most { Err(ApiError::TooLarge) } else { Ok(Bytes::from(plain)) }
}

/// Hears somebody out whose request is refused.
pub async fn drain(mut stream: BodyDataStream) {
    let mut left = DRAIN_BYTES_MAX;
    let reading = async {
        while let Some(Ok(chunk)) = stream.next().await {
            let Some(less) = left.checked_sub(chunk.len()) else { break };
            left = less;
        }
    };
    // What has not come by then gets the closed connection after all.
    let _ = tokio::time::timeout(DRAIN_TIME_MAX, reading).await;
}
