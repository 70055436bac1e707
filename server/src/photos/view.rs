//! The view of a photo that is in the store: made once, kept beside it.

use bytes::Bytes;
use domain::ids::{FirmId, Hash32};
use futures_util::TryStreamExt as _;
use tokio::sync::Semaphore;

use super::media::Media;
use super::store::{Opened, PhotoStore};
use super::upright::{self, NoView};
use crate::error::ApiError;

/// The view as bytes, from the store or made now.
///
/// # Errors
/// [`ApiError::NoView`] where none can be made; the store.
pub async fn upright_jpeg(store: &PhotoStore, firm: FirmId, sha256: Hash32, media: Media) -> Result<Bytes, ApiError> {
    if let Some(made) = store.open_upright(firm, sha256).await? {
        return read_all(made).await.map(Bytes::from);
    }
    match media {
        Media::Jpeg | Media::Png | Media::Webp => {}
        Media::Heif | Media::Other => return Err(ApiError::NoView),
    }
    let original = store.open(firm, sha256).await?;
    let original =
        original.ok_or_else(|| ApiError::internal(anyhow::anyhow!("the store lacks a photo that has arrived")))?;
    let jpeg = upright::of(read_all(original).await?).await.map_err(|why| match why {
        NoView::Format | NoView::TooLarge | NoView::Broken => ApiError::NoView,
    })?;
    let jpeg = Bytes::from(jpeg);
    // A cache: a store that is full must not keep anybody from looking.
    if let Err(error) = store.keep_upright(firm, sha256, jpeg.clone()).await {
        tracing::warn!(error = ?error, "the view of a photo was not kept");
    }
    Ok(jpeg)
}

/// Views that may wait to be made ahead, the photos of some ten jobs; more are made when somebody looks. One that waits
/// is a name and not a picture, so this many cost nothing.
const AHEAD_MAX: usize = 1_024;
static AHEAD: Semaphore = Semaphore::const_new(AHEAD_MAX);
/// An original lies in memory only while it is its turn.
static ONE_AHEAD: Semaphore = Semaphore::const_new(1);

/// Makes the view of a photo that has just arrived, in the background: a report of a hundred photos is then a matter of seconds.
pub fn make_ahead(store: PhotoStore, firm: FirmId, sha256: Hash32, media: Media) {
    let Ok(place) = AHEAD.try_acquire() else { return };
    tokio::spawn(async move {
        let _place = place;
        let _turn = ONE_AHEAD.acquire().await;
        // Whoever looks later is told why there is none.
        if let Err(error) = upright_jpeg(&store, firm, sha256, media).await {
            tracing::debug!(error = ?error, "no view was made ahead");
        }
    });
}

/// An opened object as a whole.
///
/// # Errors
/// The store stopped half-way.
pub async fn read_all(opened: Opened) -> Result<Vec<u8>, ApiError> {
    let mut all = Vec::with_capacity(usize::try_from(opened.bytes).unwrap_or(0));
    let mut stream = opened.stream;
    while let Some(chunk) = stream.try_next().await.map_err(|error| ApiError::Unavailable(error.into()))? {
        all.extend_from_slice(&chunk);
    }
    Ok(all)
}
