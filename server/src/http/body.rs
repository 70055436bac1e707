//! Bodies that are read by hand. Whoever is refused before everything was read must still be heard out for a while: a
//! connection that closes on somebody who is sending looks like a broken network to them, and they try for ever.

use std::time::Duration;

use axum::body::{Body, BodyDataStream, Bytes};
use futures_util::StreamExt as _;

use crate::error::ApiError;

/// Bytes that are read and thrown away, so that a refusal arrives.
const DRAIN_BYTES_MAX: usize = 16 * 1024 * 1024;
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
