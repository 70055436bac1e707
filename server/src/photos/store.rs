//! The store of photo bytes, on whatever `object_store` can reach: a folder, an S3-compatible service, memory in tests.
//!
//! Prefixes: `uploads/{upload}/{part}` while bytes come in, `{firm}/{sha256}` for verified originals, `{firm}/pack-{id}` for sealed packs,
//! `upright/{firm}/{sha256}` for derivatives, which may be thrown away at any time.
//!
//! An original comes into being only by [`PhotoStore::finish`], which hashes every byte on its way. So whatever lies
//! under a hash has that hash, and writing it twice changes nothing.

use std::path::{Path as FsPath, PathBuf};
use std::sync::Arc;

use bytes::Bytes;
use domain::ids::{FirmId, Hash32};
use futures_util::stream::{BoxStream, StreamExt as _, TryStreamExt as _};
use object_store::path::Path;
use object_store::{ObjectStore, PutPayload, WriteMultipart};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use super::media::{Media, SNIFF_BYTES};

/// Chunks on their way to a service at the same time; each is held in memory.
const CHUNKS_IN_FLIGHT: usize = 2;

/// Why the store did not do it.
#[derive(Debug, thiserror::Error)]
pub enum StoreFault {
    /// No room is left. Facts still go through; photos wait.
    #[error("the photo store is full")]
    Full,
    /// It does not answer, or says something else than expected.
    #[error("the photo store does not answer")]
    Unavailable(#[source] anyhow::Error),
}

impl From<object_store::Error> for StoreFault {
    fn from(error: object_store::Error) -> Self {
        let error = anyhow::Error::from(error);
        let disk_is_full = error
            .chain()
            .filter_map(|cause| cause.downcast_ref::<std::io::Error>())
            .any(|io| matches!(io.kind(), std::io::ErrorKind::StorageFull | std::io::ErrorKind::QuotaExceeded));
        if disk_is_full || service_is_full(&error) { Self::Full } else { Self::Unavailable(error) }
    }
}

/// What S3-compatible services say when no room is left; the protocol itself has no word for it.
const FULL: [&str; 3] = ["507 Insufficient Storage", "<Code>QuotaExceeded</Code>", "StorageFull</Code>"];

/// `object_store` keeps the type of its error to itself, so its words are read. One that is missed is "does not answer": the phone
/// waits then too, and is told less.
fn service_is_full(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        let words = cause.to_string();
        FULL.iter().any(|full| words.contains(full))
    })
}

/// What [`PhotoStore::finish`] made of the parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finished {
    /// They have the announced hash and are kept under it.
    Kept {
        /// How many bytes.
        bytes: u64,
        /// What they are.
        media: Media,
    },
    /// They have another hash, or a part is gone: nothing is kept under the announced one.
    OtherBytes,
}

/// An object that is being read.
pub struct Opened {
    /// Its size.
    pub bytes: u64,
    /// Its content.
    pub stream: BoxStream<'static, Result<Bytes, object_store::Error>>,
}

/// Photo bytes by hash.
#[derive(Clone)]
pub struct PhotoStore {
    objects: Arc<dyn ObjectStore>,
    /// The folder behind `objects`, if it is one: `object_store` leaves it to the system when bytes reach the disk.
    folder: Option<Arc<FsPath>>,
}

impl PhotoStore {
    /// Over an opened store; `folder` where the store is a folder of this machine.
    pub fn new(objects: Arc<dyn ObjectStore>, folder: Option<PathBuf>) -> Self {
        Self { objects, folder: folder.map(Arc::from) }
    }

    /// Keeps one part of an upload. Whether it counts is for the upload's row to say.
    ///
    /// # Errors
    /// The store does not take it.
    pub async fn append(&self, upload: Uuid, part: Uuid, bytes: Bytes) -> Result<(), StoreFault> {
        self.objects.put(&part_key(upload, part), PutPayload::from_bytes(bytes)).await?;
        Ok(())
    }

    /// Streams the parts through SHA-256 into the place of a photo.
    ///
    /// # Errors
    /// The store does not answer. What was written until then is dropped.
    pub async fn finish(
        &self,
        upload: Uuid,
        parts: &[Uuid],
        firm: FirmId,
        sha256: Hash32,
    ) -> Result<Finished, StoreFault> {
        let key = photo_key(firm, sha256);
        let mut writer = WriteMultipart::new(self.objects.put_multipart(&key).await?);
        let mut sha = Sha256::new();
        let mut head = Vec::with_capacity(SNIFF_BYTES);
        let mut size: u64 = 0;
        for part in parts {
            let opened = match self.objects.get(&part_key(upload, *part)).await {
                Ok(opened) => opened,
                Err(object_store::Error::NotFound { .. }) => {
                    writer.abort().await?;
                    return Ok(Finished::OtherBytes);
                }
                Err(error) => {
                    let _ = writer.abort().await;
                    return Err(error.into());
                }
            };
            let mut stream = opened.into_stream();
            loop {
                let chunk = match stream.try_next().await {
                    Ok(Some(chunk)) => chunk,
                    Ok(None) => break,
                    Err(error) => {
                        let _ = writer.abort().await;
                        return Err(error.into());
                    }
                };
                sha.update(&chunk);
                size += chunk.len() as u64;
                head.extend(chunk.iter().take(SNIFF_BYTES - head.len().min(SNIFF_BYTES)));
                writer.wait_for_capacity(CHUNKS_IN_FLIGHT).await?;
                writer.put(chunk);
            }
        }
        if sha.finalize()[..] != sha256.bytes()[..] {
            writer.abort().await?;
            return Ok(Finished::OtherBytes);
        }
        writer.finish().await?;
        self.reach_the_disk(&key).await?;
        Ok(Finished::Kept { bytes: size, media: Media::sniff(&head) })
    }

    /// Opens an original.
    ///
    /// # Errors
    /// The store does not answer.
    pub async fn open(&self, firm: FirmId, sha256: Hash32) -> Result<Option<Opened>, StoreFault> {
        self.open_key(&photo_key(firm, sha256)).await
    }

    /// Opens a derivative, if one was made.
    ///
    /// # Errors
    /// The store does not answer.
    pub async fn open_upright(&self, firm: FirmId, sha256: Hash32) -> Result<Option<Opened>, StoreFault> {
        self.open_key(&upright_key(firm, sha256)).await
    }

    /// Keeps a derivative.
    ///
    /// # Errors
    /// The store does not take it.
    pub async fn keep_upright(&self, firm: FirmId, sha256: Hash32, jpeg: Bytes) -> Result<(), StoreFault> {
        self.objects.put(&upright_key(firm, sha256), PutPayload::from_bytes(jpeg)).await?;
        Ok(())
    }

    /// Drops one part that does not count.
    ///
    /// # Errors
    /// The store does not answer.
    pub async fn drop_part(&self, upload: Uuid, part: Uuid) -> Result<(), StoreFault> {
        absent_is_fine(self.objects.delete(&part_key(upload, part)).await)
    }

    /// Drops everything of an upload, also parts that never counted.
    ///
    /// # Errors
    /// The store does not answer.
    pub async fn drop_upload(&self, upload: Uuid) -> Result<(), StoreFault> {
        let prefix = Path::from_iter(["uploads".to_owned(), upload.to_string()]);
        let mut listed = self.objects.list(Some(&prefix));
        while let Some(meta) = listed.next().await {
            match meta {
                Ok(meta) => absent_is_fine(self.objects.delete(&meta.location).await)?,
                Err(object_store::Error::NotFound { .. }) => {}
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }

    /// Keeps a sealed pack.
    ///
    /// # Errors
    /// The store does not take it.
    pub async fn keep_pack(&self, firm: FirmId, object: Uuid, pack: Bytes) -> Result<(), StoreFault> {
        let key = pack_key(firm, object);
        self.objects.put(&key, PutPayload::from_bytes(pack)).await?;
        self.reach_the_disk(&key).await
    }

    /// Opens a sealed pack.
    ///
    /// # Errors
    /// The store does not answer.
    pub async fn open_pack(&self, firm: FirmId, object: Uuid) -> Result<Option<Opened>, StoreFault> {
        self.open_key(&pack_key(firm, object)).await
    }

    /// Drops a pack that no row names.
    ///
    /// # Errors
    /// The store does not answer.
    pub async fn drop_pack(&self, firm: FirmId, object: Uuid) -> Result<(), StoreFault> {
        absent_is_fine(self.objects.delete(&pack_key(firm, object)).await)
    }

    async fn open_key(&self, key: &Path) -> Result<Option<Opened>, StoreFault> {
        match self.objects.get(key).await {
            Ok(opened) => Ok(Some(Opened { bytes: opened.meta.size, stream: opened.into_stream() })),
            Err(object_store::Error::NotFound { .. }) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    /// A photo is confirmed to a phone only once it would survive a power cut: the phone may drop its own copy then.
    async fn reach_the_disk(&self, key: &Path) -> Result<(), StoreFault> {
        let Some(folder) = self.folder.clone() else { return Ok(()) };
        let file = folder.join(key.as_ref());
        let synced = tokio::task::spawn_blocking(move || -> std::io::Result<()> {
            std::fs::File::open(&file)?.sync_all()?;
            // The names too: the file's folder, and the folder in which that one may be new.
            for above in file.ancestors().skip(1).take(2) {
                std::fs::File::open(above)?.sync_all()?;
            }
            Ok(())
        });
        synced
            .await
            .map_err(|error| StoreFault::Unavailable(error.into()))?
            .map_err(|error| StoreFault::Unavailable(error.into()))
    }
}

fn absent_is_fine(result: Result<(), object_store::Error>) -> Result<(), StoreFault> {
    match result {
        Ok(()) | Err(object_store::Error::NotFound { .. }) => Ok(()),
        Err(error) => Err(error.into()),
    }
}

fn part_key(upload: Uuid, part: Uuid) -> Path {
    Path::from_iter(["uploads".to_owned(), upload.to_string(), part.to_string()])
}

fn photo_key(firm: FirmId, sha256: Hash32) -> Path {
    Path::from_iter([firm.to_string(), sha256.hex()])
}

/// Beside the firm's photos, so that whoever copies those has the packs too.
fn pack_key(firm: FirmId, object: Uuid) -> Path {
    Path::from_iter([firm.to_string(), format!("pack-{object}")])
}

fn upright_key(firm: FirmId, sha256: Hash32) -> Path {
    Path::from_iter(["upright".to_owned(), firm.to_string(), sha256.hex()])
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;
    use object_store::local::LocalFileSystem;
    use object_store::memory::InMemory;

    const FIRM: FirmId = FirmId::of(Uuid::from_u128(1));
    const OTHER_FIRM: FirmId = FirmId::of(Uuid::from_u128(2));
    const UPLOAD: Uuid = Uuid::from_u128(3);

    async fn read(opened: Option<Opened>) -> Option<Vec<u8>> {
        let opened = opened?;
        let chunks: Vec<Bytes> = opened.stream.try_collect().await.unwrap();
        let all = chunks.concat();
        assert_eq!(all.len() as u64, opened.bytes);
        Some(all)
    }

    /// What any store must do.
    async fn contract(store: PhotoStore) {
        let photo: Vec<u8> =
            [0xff, 0xd8, 0xff].into_iter().chain((0..12_000_000_u32).map(|n| (n % 251) as u8)).collect();
        let hash = Hash32::sha256(&photo);
        let cuts = [0, 5, 5_000_000, 11_000_000, photo.len()];
        let parts: Vec<Uuid> = (10..14).map(Uuid::from_u128).collect();
        for (part, ends) in parts.iter().zip(cuts.windows(2)) {
            store.append(UPLOAD, *part, Bytes::copy_from_slice(&photo[ends[0]..ends[1]])).await.unwrap();
        }
        // A part of a transfer that was taken over lies there and does not count.
        store.append(UPLOAD, Uuid::from_u128(99), Bytes::from_static(b"stray")).await.unwrap();

        assert!(read(store.open(FIRM, hash).await.unwrap()).await.is_none());
        let wrong = store.finish(UPLOAD, &parts[..3], FIRM, hash).await.unwrap();
        assert_eq!(wrong, Finished::OtherBytes);
        let turned = [parts[1], parts[0], parts[2], parts[3]];
        assert_eq!(store.finish(UPLOAD, &turned, FIRM, hash).await.unwrap(), Finished::OtherBytes);
        let missing = [parts[0], Uuid::from_u128(98)];
        assert_eq!(store.finish(UPLOAD, &missing, FIRM, hash).await.unwrap(), Finished::OtherBytes);
        assert!(read(store.open(FIRM, hash).await.unwrap()).await.is_none(), "a wrong hash is not kept");

        let kept = Finished::Kept { bytes: photo.len() as u64, media: Media::Jpeg };
        assert_eq!(store.finish(UPLOAD, &parts, FIRM, hash).await.unwrap(), kept);
        assert_eq!(store.finish(UPLOAD, &parts, FIRM, hash).await.unwrap(), kept, "twice is as once");
        assert_eq!(read(store.open(FIRM, hash).await.unwrap()).await, Some(photo));
        assert!(read(store.open(OTHER_FIRM, hash).await.unwrap()).await.is_none(), "firms are apart");

        store.drop_part(UPLOAD, parts[0]).await.unwrap();
        store.drop_upload(UPLOAD).await.unwrap();
        store.drop_upload(UPLOAD).await.unwrap();
        assert_eq!(store.finish(UPLOAD, &parts, FIRM, hash).await.unwrap(), Finished::OtherBytes);
        assert!(read(store.open(FIRM, hash).await.unwrap()).await.is_some(), "what was kept stays");

        assert!(read(store.open_upright(FIRM, hash).await.unwrap()).await.is_none());
        store.keep_upright(FIRM, hash, Bytes::from_static(b"small")).await.unwrap();
        assert_eq!(read(store.open_upright(FIRM, hash).await.unwrap()).await, Some(b"small".to_vec()));
    }

    #[tokio::test]
    async fn memory_keeps_the_contract() {
        contract(PhotoStore::new(Arc::new(InMemory::new()), None)).await;
    }

    #[tokio::test]
    async fn a_folder_keeps_the_contract() {
        let folder = std::env::temp_dir().join(format!("witnessmark-store-{}", std::process::id()));
        std::fs::create_dir_all(&folder).unwrap();
        let objects = LocalFileSystem::new_with_prefix(&folder).unwrap();
        contract(PhotoStore::new(Arc::new(objects), Some(folder.clone()))).await;
        let left: Vec<_> = std::fs::read_dir(folder.join(FIRM.to_string())).unwrap().collect();
        assert_eq!(left.len(), 1, "aborted writes leave nothing behind");
        std::fs::remove_dir_all(&folder).unwrap();
    }

    #[test]
    fn a_full_disk_has_its_own_answer() {
        let full = object_store::Error::Generic {
            store: "x",
            source: Box::new(std::io::Error::from(std::io::ErrorKind::StorageFull)),
        };
        assert!(matches!(StoreFault::from(full), StoreFault::Full));
        let other = object_store::Error::Generic { store: "x", source: Box::new(std::io::Error::other("no")) };
        assert!(matches!(StoreFault::from(other), StoreFault::Unavailable(_)));
    }
}
