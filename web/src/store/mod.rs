//! The job files on this device, for screens: [`JobStore`].
//!
//! Screens load, write and follow; they know neither IndexedDB nor chains. A write is done when it is on the disk, and a
//! screen follows the store and not its own hope: after a write the job's revision changes, here and in other windows.
//!
//! - [`JobStore::load_job`], [`JobStore::list_jobs`]: what is here;
//! - [`JobStore::write_entries`]: entries and photos, all or nothing; [`JobStore::photograph`]: a chosen file to evidence;
//! - drafts, reference data, methods, photo bytes;
//! - [`JobStore::job_revision`], [`JobStore::revision`]: signals to read again by.
//!
//! **Never enters:** a rule (those are in `domain`), the network ([`crate::sync`]), a browser type.

mod known;
mod likeness;
mod numbers;
mod photos;
mod probe;
mod reference;
mod rescue;
mod revisions;
mod sealed;
mod write;

#[cfg(test)]
mod sealed_tests;
#[cfg(test)]
pub(crate) mod tests;

pub use likeness::{Ask, Other};
pub use photos::{PhotographError, Staged};
pub use probe::trial;
pub use reference::{Instrument, MethodLine, Model, Reference};
pub use rescue::{entry_to_bring, photo_to_bring};
pub(crate) use write::KEEP_CONFIRMED_MS;
pub use write::{NewEntry, NewPhoto, SaveError};

use crate::adapters::clock::DeviceClock;
use crate::adapters::device_key::DeviceKey;
use crate::adapters::file_bytes::FileBytes;
use crate::adapters::ids::DeviceIds;
use crate::adapters::indexed_db::IndexedDb;
use crate::adapters::row_key::RowKey;
use crate::ports::clock::{Clock, Ids};
use crate::ports::local_store::{LocalStore, Space, StoreError};
use crate::ports::signer::Signer;
use domain::ids::{DeviceId, EntryId, FirmId, Hash32, JobId, PersonId};
use domain::job_file::JobFile;
use domain::job_file::body::MethodRef;
use domain::method::Method;
use domain::tray::{Counts, Delivery, PhotoRow};
use known::{KnownFiles, ReadFile};
use leptos::prelude::ArcRwSignal;
use likeness::Likenesses;
use revisions::Revisions;
use sealed::SealedStore;
use std::cell::Cell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// Who writes: the session's firm, person and enrolment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Who {
    /// The tenant.
    pub firm: FirmId,
    /// The author of what is written.
    pub person: PersonId,
    /// On which enrolment.
    pub device: DeviceId,
}

/// A job file as it is here.
#[derive(Clone, Debug, Default)]
pub struct LoadedJob {
    /// Every entry that this app can read.
    pub file: Rc<JobFile>,
    /// Everything up to here was pulled: what new entries name as `seen`.
    pub position: u64,
    /// How far each entry got on its way to the server.
    pub deliveries: BTreeMap<EntryId, Delivery>,
    /// Photos that were taken on this device.
    pub photos: Vec<PhotoRow>,
    /// Entries whose bytes this app cannot read: of a newer app, or damaged. They are kept.
    pub unreadable: Vec<EntryId>,
}

/// A job in the list of those on the device.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct JobOnDevice {
    /// Which.
    pub job: JobId,
    /// Pulled up to here; 0 while only its name is known.
    pub position: u64,
    /// When a screen last opened it, device clock; 0: never.
    pub opened_ms: u64,
    /// What of it is not confirmed.
    pub counts: Counts,
}

struct Inner {
    who: Who,
    local: Rc<dyn LocalStore>,
    clock: Rc<dyn Clock>,
    ids: Rc<dyn Ids>,
    signer: Option<Rc<dyn Signer>>,
    revisions: Revisions,
    likenesses: Likenesses,
    known: KnownFiles,
    /// The number that the server drew last.
    drawn_number: Cell<Option<Hash32>>,
}

/// The store of one person on this device. Clones are the same store.
#[derive(Clone)]
pub struct JobStore(Rc<Inner>);

impl PartialEq for JobStore {
    fn eq(&self, other: &Self) -> bool {
        Rc::ptr_eq(&self.0, &other.0)
    }
}

impl core::fmt::Debug for JobStore {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "JobStore({:?})", self.0.who)
    }
}

impl JobStore {
    /// Opens the person's database in this browser.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn open(who: Who) -> Result<Self, StoreError> {
        let local = Rc::new(IndexedDb::open(who.person).await?);
        let signer = DeviceKey::of(Rc::clone(&local), who.device);
        let sealer = RowKey::of(Rc::clone(&local));
        let local = SealedStore::over(local, Rc::new(sealer));
        let store = Self::signing(who, Rc::new(local), Rc::new(DeviceClock), Rc::new(DeviceIds), Some(Rc::new(signer)));
        store.0.revisions.follow_other_windows(who.person);
        Ok(store)
    }

    /// Over any store, clock and chance: for tests.
    pub fn over(who: Who, local: Rc<dyn LocalStore>, clock: Rc<dyn Clock>, ids: Rc<dyn Ids>) -> Self {
        Self::signing(who, local, clock, ids, None)
    }

    /// The same with a key that entries are signed with.
    pub fn signing(
        who: Who,
        local: Rc<dyn LocalStore>,
        clock: Rc<dyn Clock>,
        ids: Rc<dyn Ids>,
        signer: Option<Rc<dyn Signer>>,
    ) -> Self {
        let (revisions, likenesses, known) = (Revisions::default(), Likenesses::default(), KnownFiles::default());
        let drawn_number = Cell::default();
        Self(Rc::new(Inner { who, local, clock, ids, signer, revisions, likenesses, known, drawn_number }))
    }

    /// Whose store this is.
    pub fn who(&self) -> Who {
        self.0.who
    }

    /// The store itself, for sync.
    pub(crate) fn local(&self) -> Rc<dyn LocalStore> {
        Rc::clone(&self.0.local)
    }

    /// The device's clock.
    pub fn clock(&self) -> Rc<dyn Clock> {
        Rc::clone(&self.0.clock)
    }

    /// Chance: [`Ids::entry`] gives the id that a screen keeps from its opening, so that a second tap is the same entry.
    pub fn ids(&self) -> Rc<dyn Ids> {
        Rc::clone(&self.0.ids)
    }

    /// The public half of the key that entries are signed with; `None` in a browser that has none.
    pub async fn public_key(&self) -> Option<Vec<u8>> {
        self.0.signer.as_ref()?.public().await
    }

    /// A new entry's id.
    pub fn new_entry_id(&self) -> EntryId {
        self.0.ids.entry(self.0.clock.now_ms())
    }

    /// A new job's id.
    pub fn new_job_id(&self) -> JobId {
        JobId::of(self.new_entry_id().uuid())
    }

    /// Changes whenever anything of this job changed on this device, in this window or another.
    pub fn job_revision(&self, job: JobId) -> ArcRwSignal<u64> {
        self.0.revisions.of_job(job)
    }

    /// Changes whenever anything changed: jobs, trays, reference data.
    pub fn revision(&self) -> ArcRwSignal<u64> {
        self.0.revisions.of_all()
    }

    pub(crate) fn changed(&self, jobs: impl IntoIterator<Item = JobId>) {
        self.0.revisions.changed(jobs);
    }

    /// Something waits to be sent.
    pub(crate) fn wrote(&self) {
        self.0.revisions.wrote();
    }

    /// Calls `listen` after each local write of this window: sync wakes by it.
    pub(crate) fn on_write(&self, listen: impl Fn() + 'static) {
        self.0.revisions.on_write(Rc::new(listen));
    }

    pub(crate) fn tell_contact(&self) {
        self.0.revisions.tell_contact();
    }

    /// Calls `listen` when the server has answered another window.
    pub(crate) fn on_contact_elsewhere(&self, listen: impl Fn() + 'static) {
        self.0.revisions.on_contact(Rc::new(listen));
    }

    /// Loads a job file. An unknown job is an empty one.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn load_job(&self, job: JobId) -> Result<LoadedJob, StoreError> {
        let rows = self.0.local.job(job).await?;
        let ReadFile { file, unreadable } = self.0.known.read(job, &rows.entries);
        let deliveries = rows.entries.iter().map(|(id, row)| (*id, row.delivery)).collect();
        Ok(LoadedJob { file, position: rows.position, deliveries, photos: rows.photos, unreadable })
    }

    /// The jobs on this device.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn list_jobs(&self) -> Result<Vec<JobOnDevice>, StoreError> {
        let rows = self.0.local.jobs().await?;
        let counts = self.0.local.on_device().await?.counts_by_job();
        let job = |row: crate::ports::local_store::JobRow| JobOnDevice {
            job: row.job,
            position: row.position,
            opened_ms: row.opened_ms,
            counts: counts.get(&row.job).copied().unwrap_or_default(),
        };
        Ok(rows.into_iter().map(job).collect())
    }

    /// A screen opens this job. `ask`: it may not be among the usual ones (the office opens an old job), so that sync
    /// fetches it.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn open_job(&self, job: JobId, ask: bool) -> Result<(), StoreError> {
        self.0.local.note_opened(job, self.0.clock.now_ms(), ask).await?;
        if ask {
            self.0.revisions.wrote();
        }
        Ok(())
    }

    /// A person asks for what was set aside or rests in this job to be sent again.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn send_again(&self, job: JobId) -> Result<(), StoreError> {
        self.0.local.send_again(job).await?;
        self.changed([job]);
        self.0.revisions.wrote();
        Ok(())
    }

    /// A draft of a screen: what was typed, which camera was open.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn draft(&self, key: &str) -> Result<Option<Vec<u8>>, StoreError> {
        self.0.local.text(Space::Draft, key.into()).await
    }

    /// Keeps a draft: with each change, for a phone may end the page at any moment.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn put_draft(&self, key: &str, bytes: Vec<u8>) -> Result<(), StoreError> {
        self.0.local.put_text(Space::Draft, key.into(), bytes).await
    }

    /// Drops a draft.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn delete_draft(&self, key: &str) -> Result<(), StoreError> {
        self.0.local.delete_text(Space::Draft, key.into()).await
    }

    /// Drafts whose keys begin so, sorted.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn draft_keys(&self, prefix: &str) -> Result<Vec<String>, StoreError> {
        self.0.local.text_keys(Space::Draft, prefix.into()).await
    }

    /// Something that the app remembers for this person.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn remembered(&self, key: &str) -> Result<Option<Vec<u8>>, StoreError> {
        self.0.local.text(Space::App, key.into()).await
    }

    /// Remembers it.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn remember(&self, key: &str, bytes: Vec<u8>) -> Result<(), StoreError> {
        self.0.local.put_text(Space::App, key.into(), bytes).await
    }

    /// People, instruments, catalogue and methods of the firm as they were last fetched; `None` before that.
    ///
    /// # Errors
    /// [`StoreError`]. Data that this app cannot read counts as not there: the next fetch replaces it.
    pub async fn reference(&self) -> Result<Option<Reference>, StoreError> {
        let bytes = self.0.local.reference().await?;
        Ok(bytes.and_then(|bytes| serde_json::from_slice(&bytes).ok()))
    }

    /// A method, once it is here.
    ///
    /// # Errors
    /// [`StoreError`]. A method of a newer form counts as not there.
    pub async fn method(&self, method: &MethodRef) -> Result<Option<Method>, StoreError> {
        let bytes = self.0.local.method(method.clone()).await?;
        Ok(bytes.and_then(|bytes| domain::wire::from_bytes(&bytes).ok()))
    }

    /// The person leaves and nothing waits: nothing of theirs stays, and least of all the key that opens it.
    ///
    /// # Errors
    /// [`StoreError`]: it is still here, or goes when another window has ended.
    pub async fn forget_all(&self) -> Result<(), StoreError> {
        self.0.local.forget_all().await
    }

    /// Bytes of a photo that is on this device.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn photo_bytes(&self, hash: Hash32) -> Result<Option<FileBytes>, StoreError> {
        self.0.local.photo_bytes(hash).await
    }
}
