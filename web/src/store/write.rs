//! Writing: bodies become entries at the end of this device's chain, together with their photos, or not at all.

use super::JobStore;
use crate::adapters::file_bytes::FileBytes;
use crate::ports::camera::{Original, Preview, TakenPhoto};
use crate::ports::local_store::{MakeEntries, StoreError};
use domain::ids::{CaptureId, EntryId, JobId};
use domain::job_file::body::PhotoFile;
use domain::job_file::sealing::wants_number;
use domain::job_file::{Body, Content, Draft, Entry};
use domain::tray::{PhotoDelivery, PhotoRole, PhotoRow};
use domain::wire::limits::ENTRY_BYTES_MAX;
use std::cell::Cell;
use std::rc::Rc;

/// Photos that were confirmed stay for so long; they go sooner only when the device is full.
pub(crate) const KEEP_CONFIRMED_MS: u64 = 14 * 24 * 60 * 60 * 1_000;
/// Freed on top of what a write needs, so that small records can always be saved.
const RESERVE_BYTES: u64 = 8 * 1024 * 1024;

/// How often a job may move on under a hand that signs before that hand writes without a signature.
const TRIES_SIGNED: u32 = 4;

/// One entry to be written.
#[derive(Clone, Debug)]
pub struct NewEntry {
    /// Given by a screen that made it when it opened; otherwise a new one is made.
    pub id: Option<EntryId>,
    /// What it says.
    pub body: Body,
}

impl From<Body> for NewEntry {
    fn from(body: Body) -> Self {
        Self { id: None, body }
    }
}

impl From<(EntryId, Body)> for NewEntry {
    fn from((id, body): (EntryId, Body)) -> Self {
        Self { id: Some(id), body }
    }
}

/// One photo file to be written.
#[derive(Clone, Debug)]
pub struct NewPhoto {
    /// Hash, size, pixels, type.
    pub file: PhotoFile,
    /// What it is for.
    pub role: PhotoRole,
    /// The act of capture.
    pub capture: CaptureId,
    /// The bytes.
    pub bytes: FileBytes,
}

impl NewPhoto {
    /// Original and preview of one capture.
    pub fn of(taken: &TakenPhoto) -> Vec<Self> {
        let Original { file, bytes, capture, .. } = taken.original.clone();
        let original = Self { file, role: PhotoRole::Original, capture, bytes };
        let preview = taken.preview.clone().map(|Preview { file, bytes }| Self {
            file,
            role: PhotoRole::Preview,
            capture,
            bytes,
        });
        core::iter::once(original).chain(preview).collect()
    }
}

/// Why nothing was saved. What was to be saved is still in the caller's hands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SaveError {
    /// The store; [`StoreError::QuotaExceeded`] after confirmed photos were dropped already.
    Store(StoreError),
    /// An entry over [`ENTRY_BYTES_MAX`].
    TooLarge,
    /// The id is there with another content.
    OtherContent(EntryId),
    /// A photo read back otherwise than it was written, twice. The entry is there, so the bytes must be kept and offered
    /// again: the screen keeps them and says so.
    ReadBack,
}

impl From<StoreError> for SaveError {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl JobStore {
    /// Writes entries and photos of one job: all or nothing, in one strictly durable transaction, at the end of this
    /// device's chain as it stands inside that transaction, each signed with the device's key where there is one. Returns the ids in the order given. An entry whose id is
    /// there already with the same content is not written again: a second tap changes nothing.
    ///
    /// # Errors
    /// [`SaveError`].
    pub async fn write_entries(
        &self,
        job: JobId,
        entries: Vec<NewEntry>,
        photos: Vec<NewPhoto>,
    ) -> Result<Vec<EntryId>, SaveError> {
        let now_ms = self.0.clock.now_ms();
        let drafts = self.drafts(job, entries, now_ms)?;
        let ids: Vec<EntryId> = drafts.iter().map(|draft| draft.id).collect();
        let added_ms = now_ms;
        let rows: Vec<(PhotoRow, FileBytes)> = photos
            .into_iter()
            .map(|photo| {
                let NewPhoto { file, role, capture, bytes } = photo;
                let delivery = PhotoDelivery::fresh();
                (PhotoRow { job, file, role, capture, added_ms, bytes_here: true, delivery }, bytes)
            })
            .collect();
        let conflict: Rc<Cell<Option<EntryId>>> = Rc::default();
        let make = self.maker(job, drafts, Rc::clone(&conflict));
        let mut result = self.keep(job, &make, &rows).await;
        if result == Err(StoreError::QuotaExceeded) {
            let needed = rows.iter().map(|(_, bytes)| bytes.len()).sum::<u64>() + RESERVE_BYTES;
            let limit = now_ms.saturating_sub(KEEP_CONFIRMED_MS);
            if self.0.local.free_space(limit, needed).await? > 0 {
                result = self.keep(job, &make, &rows).await;
            }
        }
        result?;
        if let Some(id) = conflict.get() {
            return Err(SaveError::OtherContent(id));
        }
        for (row, bytes) in &rows {
            self.read_back(row, bytes).await?;
        }
        self.changed([job]);
        self.0.revisions.wrote();
        Ok(ids)
    }

    /// A signature takes a moment, and no transaction may be kept open for it. So entries are made and signed first, and put
    /// only if the job still stands as it did then.
    async fn keep(&self, job: JobId, make: &MakeEntries, photos: &[(PhotoRow, FileBytes)]) -> Result<(), StoreError> {
        if let Some(signer) = &self.0.signer {
            for _ in 0..TRIES_SIGNED {
                let here = self.0.local.job(job).await?;
                let made = make(&here.entries, here.position);
                let Some(signatures) = signer.sign(made.iter().map(Entry::header_bytes).collect()).await else { break };
                let signed = made.into_iter().zip(signatures).map(|(entry, by)| entry.with_signature(by));
                let signed = signed.map(|entry| (entry.header.id, entry.bytes().to_vec())).collect();
                if self.0.local.keep_on(job, here.rows, signed, photos.to_vec()).await? {
                    return Ok(());
                }
            }
        }
        // Work is never lost over a signature: what cannot be signed is kept without one.
        self.0.local.keep(job, Rc::clone(make), photos.to_vec()).await.map(drop)
    }

    fn drafts(&self, job: JobId, entries: Vec<NewEntry>, now_ms: u64) -> Result<Vec<Draft>, SaveError> {
        let who = self.0.who;
        let draft = |NewEntry { id, body }| Draft {
            id: id.unwrap_or_else(|| self.0.ids.entry(now_ms)),
            firm: who.firm,
            job,
            author: who.person,
            device: who.device,
            salt: self.0.ids.salt(),
            body,
        };
        let drafts: Vec<Draft> = entries.into_iter().map(draft).collect();
        // The header is far smaller than this margin.
        let is_small = |draft: &Draft| draft.body.to_bytes().len() + 1_024 <= ENTRY_BYTES_MAX;
        if drafts.iter().all(is_small) { Ok(drafts) } else { Err(SaveError::TooLarge) }
    }

    /// Makes the entries from the job file inside the transaction. If an id is there with another content, nothing is
    /// made at all.
    fn maker(&self, job: JobId, drafts: Vec<Draft>, conflict: Rc<Cell<Option<EntryId>>>) -> MakeEntries {
        let clock = Rc::clone(&self.0.clock);
        let device = self.0.who.device;
        let store = self.clone();
        let number = self.number_draft(job, clock.now_ms());
        Rc::new(move |rows, seen| {
            let file = store.0.known.read(job, rows).file;
            conflict.set(None);
            let (mut head, mut latest) = (file.chain_head(device), file.latest_at());
            let mut made = Vec::new();
            let number = number.as_ref().filter(|(number, _)| wants_number(&file, device, number, clock.now_us()));
            for draft in &drafts {
                match file.get(draft.id).map(|held| &held.entry.content) {
                    None => {
                        // The server's number goes first: what follows it was not made before it was drawn.
                        if let Some((_, draft)) = number.filter(|_| made.is_empty()) {
                            let entry = Entry::write(draft.clone(), head, seen, clock.now_us(), latest);
                            head = entry.as_head();
                            latest = latest.max(head.hlc);
                            made.push(entry);
                        }
                        let entry = Entry::write(draft.clone(), head, seen, clock.now_us(), latest);
                        head = entry.as_head();
                        latest = latest.max(head.hlc);
                        made.push(entry);
                    }
                    Some(Content::Body(body)) if *body == draft.body => {}
                    Some(Content::Body(_) | Content::Unknown | Content::Unreadable | Content::Erased) => {
                        conflict.set(Some(draft.id));
                        return Vec::new();
                    }
                }
            }
            made
        })
    }

    /// Some browsers have stored a photo as nothing, or as other bytes. So it is read back before anybody says "saved".
    async fn read_back(&self, row: &PhotoRow, bytes: &FileBytes) -> Result<(), SaveError> {
        for try_again in [true, false] {
            let kept = self.0.local.photo_bytes(row.file.hash).await?;
            if let Some(kept) = kept
                && kept.len() == row.file.bytes
                && kept.sha256().await.is_none_or(|hash| hash == row.file.hash)
            {
                return Ok(());
            }
            if try_again {
                self.0.local.put_photo_bytes(row.file.hash, bytes.clone()).await?;
            }
        }
        Err(SaveError::ReadBack)
    }
}
