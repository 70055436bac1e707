//! From a chosen file to evidence. The untouched bytes are kept before anything is decoded, for decoding a large photo is
//! what kills a page.

use super::JobStore;
use super::write::{NewEntry, NewPhoto, SaveError};
use crate::adapters::camera::ChosenFile;
use crate::adapters::photo;
use crate::ports::camera::{Original, PhotoRefusal, TakenPhoto};
use crate::ports::local_store::StoreError;
use domain::ids::{CaptureId, EntryId, Hash32, JobId};
use domain::job_file::body::{MediaType, PhotoFile, PhotoOrigin};
use serde::{Deserialize, Serialize};

const STAGED: &str = "staged/";

/// A photo whose bytes are here and whose entry was never written: the page ended in between. A screen offers it for the
/// place that it was taken for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Staged {
    /// SHA-256 of its bytes.
    pub hash: Hash32,
    /// The job.
    pub job: JobId,
    /// What the screen wrote down about the place, in its own words.
    pub place: String,
    bytes: u64,
    width: u32,
    height: u32,
    media: MediaType,
    capture: CaptureId,
    taken_ms: u64,
    origin: PhotoOrigin,
}

/// Why there is no evidence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PhotographError {
    /// The file is no photo.
    Refused(PhotoRefusal),
    /// It is one, and it could not be kept.
    NotSaved(SaveError),
}

impl From<PhotoRefusal> for PhotographError {
    fn from(refusal: PhotoRefusal) -> Self {
        Self::Refused(refusal)
    }
}

impl From<SaveError> for PhotographError {
    fn from(error: SaveError) -> Self {
        Self::NotSaved(error)
    }
}

impl From<StoreError> for PhotographError {
    fn from(error: StoreError) -> Self {
        Self::NotSaved(SaveError::Store(error))
    }
}

impl Staged {
    fn of(job: JobId, place: &str, original: &Original) -> Self {
        let PhotoFile { hash, bytes, width, height, media } = original.file;
        let Original { capture, taken_ms, origin, .. } = *original;
        Self { hash, job, place: place.into(), bytes, width, height, media, capture, taken_ms, origin }
    }
}

impl JobStore {
    /// Reads a chosen file and keeps its bytes, makes a preview, and writes the entries that `entries` makes of both,
    /// all in one transaction. `opened_ms` is when the chooser was opened, `place` what the screen wants to know again
    /// should the page end in between.
    ///
    /// # Errors
    /// [`PhotographError`].
    pub async fn photograph(
        &self,
        job: JobId,
        place: &str,
        file: ChosenFile,
        opened_ms: u64,
        entries: impl FnOnce(&TakenPhoto) -> Vec<NewEntry>,
    ) -> Result<Vec<EntryId>, PhotographError> {
        let now_ms = self.0.clock.now_ms();
        let capture = self.0.ids.capture(now_ms);
        let original = photo::read(file, capture, opened_ms, now_ms).await?;
        self.stage(job, place, &original).await?;
        self.finish(job, original, entries).await
    }

    /// The same for a photo that was staged before the page ended.
    ///
    /// # Errors
    /// [`PhotographError`]; [`PhotoRefusal::Unreadable`] when its bytes are gone.
    pub async fn photograph_staged(
        &self,
        staged: Staged,
        entries: impl FnOnce(&TakenPhoto) -> Vec<NewEntry>,
    ) -> Result<Vec<EntryId>, PhotographError> {
        let bytes = self.0.local.photo_bytes(staged.hash).await?.ok_or(PhotoRefusal::Unreadable)?;
        let Staged { hash, job, bytes: length, width, height, media, capture, taken_ms, origin, .. } = staged;
        let file = PhotoFile { hash, bytes: length, width, height, media };
        self.finish(job, Original { file, bytes, capture, taken_ms, origin }, entries).await
    }

    async fn finish(
        &self,
        job: JobId,
        original: Original,
        entries: impl FnOnce(&TakenPhoto) -> Vec<NewEntry>,
    ) -> Result<Vec<EntryId>, PhotographError> {
        let preview = photo::preview(&original).await;
        let taken = TakenPhoto { original, preview };
        let ids = self.write_entries(job, entries(&taken), NewPhoto::of(&taken)).await?;
        self.delete_draft(&format!("{STAGED}{}", taken.hash())).await?;
        Ok(ids)
    }

    async fn stage(&self, job: JobId, place: &str, original: &Original) -> Result<(), PhotographError> {
        let note = serde_json::to_vec(&Staged::of(job, place, original)).unwrap_or_default();
        match self.0.local.put_photo_bytes(original.file.hash, original.bytes.clone()).await {
            // Room is made when the entry is written; staging is a precaution and no condition.
            Ok(()) => Ok(self.put_draft(&format!("{STAGED}{}", original.file.hash), note).await?),
            Err(StoreError::QuotaExceeded) => Ok(()),
            Err(error) => Err(error.into()),
        }
    }

    /// Photos that were taken and never became evidence.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn staged_photos(&self) -> Result<Vec<Staged>, StoreError> {
        let mut staged = Vec::new();
        for key in self.draft_keys(STAGED).await? {
            staged.extend(self.draft(&key).await?.and_then(|note| serde_json::from_slice(&note).ok()));
        }
        Ok(staged)
    }

    /// A person says that a staged photo is not wanted.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn discard_staged(&self, hash: Hash32) -> Result<(), StoreError> {
        self.0.local.drop_staged_bytes(hash).await?;
        self.delete_draft(&format!("{STAGED}{hash}")).await
    }
}
