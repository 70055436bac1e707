//! From a chosen file to evidence. The untouched bytes are kept before anything is decoded, for decoding a large photo is
//! what kills a page.

use super::JobStore;
use super::likeness::Ask;
use super::write::{NewEntry, NewPhoto, SaveError};
use crate::adapters::camera::ChosenFile;
use crate::adapters::file_bytes::FileBytes;
use crate::adapters::photo::{self, Decoded};
use crate::ports::camera::{Original, PhotoRefusal, TakenPhoto};
use crate::ports::local_store::StoreError;
use domain::evidence::warning::Warning;
use domain::evidence::whole;
use domain::ids::{CaptureId, EntryId, Hash32, JobId};
use domain::job_file::body::{MediaType, PhotoFile, PhotoOrigin};
use serde::{Deserialize, Serialize};

const STAGED: &str = "staged/";

/// A photo whose bytes are here and whose entry was not written: the page ended in between, or a person should look at it
/// first. A screen offers it for the place that it was taken for.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Staged {
    /// SHA-256 of its bytes.
    pub hash: Hash32,
    /// The job.
    pub job: JobId,
    /// What the screen wrote down about the place, in its own words.
    pub place: String,
    /// Why a person should look at it first; empty before it was measured.
    #[serde(default)]
    pub warnings: Vec<Warning>,
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
    /// It is staged, and a person should look at it before it becomes evidence.
    Doubtful(Box<Staged>),
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
        let (place, warnings) = (place.into(), Vec::new());
        Self { hash, job, place, warnings, bytes, width, height, media, capture, taken_ms, origin }
    }

    /// Type of the file.
    pub const fn media(&self) -> MediaType {
        self.media
    }
}

impl JobStore {
    /// Reads a chosen file and keeps its bytes, makes a preview, and writes the entries that `entries` makes of both,
    /// all in one transaction. `opened_ms` is when the chooser was opened, `place` what the screen wants to know again
    /// should the page end in between, `ask` what the photo is measured against first.
    ///
    /// # Errors
    /// [`PhotographError`].
    pub async fn photograph(
        &self,
        job: JobId,
        place: &str,
        file: ChosenFile,
        opened_ms: u64,
        ask: Ask,
        entries: impl FnOnce(&TakenPhoto) -> Vec<NewEntry>,
    ) -> Result<Vec<EntryId>, PhotographError> {
        let now_ms = self.0.clock.now_ms();
        let capture = self.0.ids.capture(now_ms);
        let original = photo::read(file, capture, opened_ms, now_ms).await?;
        let staged = self.stage(job, place, &original).await?;
        self.finish(job, original, staged, ask, entries).await
    }

    /// The same for a photo that is staged.
    ///
    /// # Errors
    /// [`PhotographError`]; [`PhotoRefusal::Unreadable`] when its bytes are gone.
    pub async fn photograph_staged(
        &self,
        staged: Staged,
        ask: Ask,
        entries: impl FnOnce(&TakenPhoto) -> Vec<NewEntry>,
    ) -> Result<Vec<EntryId>, PhotographError> {
        let bytes = self.0.local.photo_bytes(staged.hash).await?.ok_or(PhotoRefusal::Unreadable)?;
        let Staged { hash, job, bytes: length, width, height, media, capture, taken_ms, origin, .. } = staged;
        let file = PhotoFile { hash, bytes: length, width, height, media };
        self.finish(job, Original { file, bytes, capture, taken_ms, origin }, Some(staged), ask, entries).await
    }

    async fn finish(
        &self,
        job: JobId,
        original: Original,
        staged: Option<Staged>,
        ask: Ask,
        entries: impl FnOnce(&TakenPhoto) -> Vec<NewEntry>,
    ) -> Result<Vec<EntryId>, PhotographError> {
        let Decoded { preview, grey } = photo::decode(&original).await;
        let mut warnings = match (&grey, &ask) {
            (Some(grey), _) => self.warnings(original.file.hash, grey, &ask),
            (None, Ask::For { .. }) => vec![Warning::NotShown],
            (None, Ask::Nothing) => Vec::new(),
        };
        // Half a picture is drawn by most browsers, the rest of it grey.
        if matches!(ask, Ask::For { .. }) && is_cut(original.file.media, &original.bytes) {
            warnings = vec![Warning::Cut];
        }
        // What could not be staged would be lost with the page while somebody thinks about it: that one is not asked about.
        if let (Some(staged), false) = (staged, warnings.is_empty()) {
            let staged = Staged { warnings, ..staged };
            self.note_staged(&staged).await?;
            return Err(PhotographError::Doubtful(Box::new(staged)));
        }
        let taken = TakenPhoto { original, preview };
        let ids = self.write_entries(job, entries(&taken), NewPhoto::of(&taken)).await?;
        self.delete_draft(&format!("{STAGED}{}", taken.hash())).await?;
        Ok(ids)
    }

    async fn stage(&self, job: JobId, place: &str, original: &Original) -> Result<Option<Staged>, PhotographError> {
        let staged = Staged::of(job, place, original);
        match self.0.local.put_photo_bytes(staged.hash, original.bytes.clone()).await {
            Ok(()) => {
                self.note_staged(&staged).await?;
                Ok(Some(staged))
            }
            // Room is made when the entry is written; staging is a precaution and no condition.
            Err(StoreError::QuotaExceeded) => Ok(None),
            Err(error) => Err(error.into()),
        }
    }

    async fn note_staged(&self, staged: &Staged) -> Result<(), StoreError> {
        let note = serde_json::to_vec(staged).unwrap_or_default();
        self.put_draft(&format!("{STAGED}{}", staged.hash), note).await
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

/// Above this length the end of a file is looked for at its end first; what stands in a picture's head is not that long.
const SHORT_BYTES: u64 = 1024 * 1024;
/// So much of the end of a long file.
const END_BYTES: u64 = 64 * 1024;

fn is_cut(media: MediaType, bytes: &FileBytes) -> bool {
    let length = bytes.len();
    if media == MediaType::Jpeg && length > SHORT_BYTES {
        let end = bytes.slice(length - END_BYTES, length).to_vec();
        if end.windows(2).any(|window| window == [0xff, 0xd9]) {
            return false;
        }
    }
    whole::is_cut(media, &bytes.to_vec())
}
