//! What a device keeps. IndexedDB in the browser, [`domain::tray::Shelf`] in memory.

use super::Later;
use crate::adapters::file_bytes::FileBytes;
use domain::ids::{EntryId, Hash32, JobId};
use domain::job_file::Entry;
use domain::job_file::body::MethodRef;
use domain::tray::{EntryRow, OnDevice, PhotoRow, Plan};
use std::collections::BTreeSet;
use std::rc::Rc;

/// Why the store did not do it. Nothing of the transaction has happened then.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StoreError {
    /// The device is full.
    QuotaExceeded,
    /// The browser lost its database, again after it was reopened.
    ConnectionLost,
    /// Another window holds an older version of the database open.
    Blocked,
    /// The database was written by a newer app.
    NewerData,
    /// This browser has no database, or not in this mode.
    NoDatabase,
    /// Something is here that the key of this device does not open, or there is no key any more. It is kept.
    KeyLost,
    /// Anything else, in the browser's words: for the log, never for a person.
    Refused(String),
}

/// Which texts: drafts of screens, or what the app itself remembers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Space {
    /// What somebody was typing, or which camera was open.
    Draft,
    /// Preferences and marks of the app.
    App,
}

/// A job as the store knows it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct JobRow {
    /// Which.
    pub job: JobId,
    /// Pulled up to here.
    pub position: u64,
    /// Opened here beyond the usual ones.
    pub asked: bool,
    /// When a screen last opened it, device clock; 0: never.
    pub opened_ms: u64,
}

/// Everything of a job that is needed to show it.
#[derive(Clone, Debug, Default)]
pub struct JobRows {
    /// Entries.
    pub entries: Vec<(EntryId, EntryRow)>,
    /// Photos.
    pub photos: Vec<PhotoRow>,
    /// Pulled up to here.
    pub position: u64,
    /// Rows of entries, also those that this app cannot read.
    pub rows: u32,
}

/// Makes the entries of one write from the job's rows as they stand inside the transaction and the position pulled. It may
/// be called twice: once more after a lost connection.
pub type MakeEntries = Rc<dyn Fn(&[(EntryId, EntryRow)], u64) -> Vec<Entry>>;

/// A device's store. Each call is one transaction.
pub trait LocalStore {
    /// Everything of one job except photo bytes.
    fn job(&self, job: JobId) -> Later<'_, Result<JobRows, StoreError>>;
    /// All jobs.
    fn jobs(&self) -> Later<'_, Result<Vec<JobRow>, StoreError>>;
    /// Keeps evidence: the chain is read, the entries made and everything written in one strictly durable transaction,
    /// and success means that it is on the disk. Entries whose id is there already are left as they are.
    fn keep(
        &self,
        job: JobId,
        make: MakeEntries,
        photos: Vec<(PhotoRow, FileBytes)>,
    ) -> Later<'_, Result<Vec<Entry>, StoreError>>;
    /// Keeps entries that were made from the job as it stood with so many rows, as [`LocalStore::keep`] does: their envelopes.
    /// `false`: the job has moved on since, and nothing was written.
    fn keep_on(
        &self,
        job: JobId,
        rows: u32,
        envelopes: Vec<(EntryId, Vec<u8>)>,
        photos: Vec<(PhotoRow, FileBytes)>,
    ) -> Later<'_, Result<bool, StoreError>>;
    /// Notes that a screen opened the job; `asked`: it is beyond the usual ones and should be pulled.
    fn note_opened(&self, job: JobId, now_ms: u64, asked: bool) -> Later<'_, Result<(), StoreError>>;
    /// Entries and photos of a job that were set aside or rest go again.
    fn send_again(&self, job: JobId) -> Later<'_, Result<(), StoreError>>;

    /// Describes the device for the tray.
    fn on_device(&self) -> Later<'_, Result<OnDevice, StoreError>>;
    /// Applies a plan as a whole and names the jobs that it touched.
    fn apply(&self, plan: Plan) -> Later<'_, Result<BTreeSet<JobId>, StoreError>>;
    /// Envelopes of these entries, in this order; `None` where one is gone.
    fn envelopes(&self, ids: Vec<EntryId>) -> Later<'_, Result<Vec<Option<Vec<u8>>>, StoreError>>;

    /// Bytes of a photo.
    fn photo_bytes(&self, hash: Hash32) -> Later<'_, Result<Option<FileBytes>, StoreError>>;
    /// Writes the bytes of a photo by themselves: staged before its entry, or once more when reading back went wrong.
    fn put_photo_bytes(&self, hash: Hash32, bytes: FileBytes) -> Later<'_, Result<(), StoreError>>;
    /// Drops bytes that no photo of any job names.
    fn drop_staged_bytes(&self, hash: Hash32) -> Later<'_, Result<(), StoreError>>;
    /// Drops bytes of confirmed originals: all that were confirmed before `before_ms`, then the oldest ones until
    /// `at_least` bytes are free. Answers how many were freed.
    fn free_space(&self, before_ms: u64, at_least: u64) -> Later<'_, Result<u64, StoreError>>;

    /// A text of the app or of a screen.
    fn text(&self, space: Space, key: String) -> Later<'_, Result<Option<Vec<u8>>, StoreError>>;
    /// Writes one.
    fn put_text(&self, space: Space, key: String, bytes: Vec<u8>) -> Later<'_, Result<(), StoreError>>;
    /// Deletes one.
    fn delete_text(&self, space: Space, key: String) -> Later<'_, Result<(), StoreError>>;
    /// Keys that begin so, sorted.
    fn text_keys(&self, space: Space, prefix: String) -> Later<'_, Result<Vec<String>, StoreError>>;

    /// Reference data as it came.
    fn reference(&self) -> Later<'_, Result<Option<Vec<u8>>, StoreError>>;
    /// Leaves nothing here: rows, bytes, drafts and keys.
    fn forget_all(&self) -> Later<'_, Result<(), StoreError>>;
    /// A method's CBOR.
    fn method(&self, method: MethodRef) -> Later<'_, Result<Option<Vec<u8>>, StoreError>>;
}
