//! The small upright view of an original, made one at a time on a thread of its own.

pub use pictures::upright::NoView;
use pictures::upright::make;
use tokio::sync::Semaphore;

/// One at a time: two of the largest pictures at once would be most of a small server's memory.
static ONE_AT_A_TIME: Semaphore = Semaphore::const_new(1);

/// Makes the view of a picture.
///
/// # Errors
/// [`NoView`].
pub async fn of(original: Vec<u8>) -> Result<Vec<u8>, NoView> {
    let _turn = ONE_AT_A_TIME.acquire().await.expect("this semaphore is never closed");
    // A decoder that panics on hostile bytes is a broken picture, not a broken server.
    tokio::task::spawn_blocking(move || make(&original)).await.unwrap_or(Err(NoView::Broken))
}
