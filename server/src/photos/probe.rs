//! Is the photo store one that can be worked with? Tried at the start, for its first failure would otherwise be a photo on a roof.

use anyhow::{Context as _, ensure};
use bytes::Bytes;
use object_store::path::Path;
use object_store::{ObjectStore, PutPayload};
use uuid::Uuid;

/// What stays in the store, so that a look at it tells a store that is empty from one that is not there: a folder whose disk was
/// not mounted is a folder too.
const MARK: &str = "probe/store";
const WORDS: &[u8] = b"Witnessmark keeps photos here.\n";

const NOT_WRITTEN: &str = "PHOTO_STORE: nothing can be written there. A folder must belong to the server's user; the keys of a \
     service are read from AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY";

/// Writes, reads and removes an object, and leaves the mark.
///
/// # Errors
/// What did not go, in a sentence for whoever starts the server.
pub async fn try_out(objects: &dyn ObjectStore, id: Uuid) -> anyhow::Result<()> {
    let at = Path::from(format!("probe/{id}"));
    let written = PutPayload::from_bytes(Bytes::from_static(WORDS));
    objects.put(&at, written.clone()).await.context(NOT_WRITTEN)?;
    let read = read(objects, &at).await.context("PHOTO_STORE: what was written cannot be read")?;
    ensure!(read == WORDS, "PHOTO_STORE: it gives other bytes than were written");
    objects.delete(&at).await.context("PHOTO_STORE: what was written cannot be removed")?;
    objects.put(&Path::from(MARK), written).await.context(NOT_WRITTEN)?;
    Ok(())
}

/// Looks whether the store answers and is still the same.
///
/// # Errors
/// It does not, or the mark is gone.
pub async fn is_there(objects: &dyn ObjectStore) -> anyhow::Result<()> {
    objects.head(&Path::from(MARK)).await.map(drop).context("the photo store")
}

async fn read(objects: &dyn ObjectStore, at: &Path) -> object_store::Result<Bytes> {
    objects.get(at).await?.bytes().await
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use object_store::local::LocalFileSystem;
    use object_store::memory::InMemory;

    use super::*;

    #[tokio::test]
    async fn a_store_that_was_tried_is_there_until_it_is_gone() {
        let store = InMemory::new();
        assert!(is_there(&store).await.is_err(), "nobody has tried it");
        try_out(&store, Uuid::nil()).await.unwrap();
        is_there(&store).await.unwrap();
        assert!(store.head(&Path::from(format!("probe/{}", Uuid::nil()))).await.is_err(), "only the mark stays");
        try_out(&store, Uuid::nil()).await.unwrap();
        store.delete(&Path::from(MARK)).await.unwrap();
        assert!(is_there(&store).await.is_err());
    }

    #[tokio::test]
    async fn a_store_that_cannot_be_written_to_says_so() {
        let folder = std::env::temp_dir().join(format!("witnessmark-probe-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let store = LocalFileSystem::new_with_prefix(&folder).unwrap();
        // A file where a folder is wanted: that stops root too, whom no permission stops.
        std::fs::write(folder.join("probe"), "").unwrap();
        let error = try_out(&store, Uuid::nil()).await.unwrap_err().to_string();
        std::fs::remove_dir_all(&folder).unwrap();
        assert_eq!(error, NOT_WRITTEN);
    }
}
