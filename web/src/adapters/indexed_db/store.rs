//! [`LocalStore`] on IndexedDB.

use super::keep::{keep_on_once, keep_once};
use super::rows::{bytes_of, entry_object, entry_of, job_object, job_of, photo_key, photo_object, photo_of, value_of};
use super::schema::{self, BY_JOB, BY_OPEN, DRAFTS, ENTRIES, Handle, JOBS, KV, PHOTO_BYTES, PHOTOS};
use super::transaction::{Mode, Transaction};
use crate::adapters::file_bytes::FileBytes;
use crate::ports::Later;
use crate::ports::local_store::{JobRow, JobRows, LocalStore, MakeEntries, Space, StoreError};
use domain::ids::{EntryId, Hash32, JobId, PersonId};
use domain::job_file::Entry;
use domain::job_file::body::MethodRef;
use domain::tray::shelf::resend;
use domain::tray::{
    EntryRow, JobHere, OnDevice, PhotoDelivery, PhotoKey, PhotoRole, PhotoRow, Plan, Shelf, TrayEntry, TrayPhoto, Write,
};
use js_sys::ArrayBuffer;
use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};
use wasm_bindgen::{JsCast, JsValue};
use web_sys::IdbDatabase;

const EPOCH: &str = "sync/epoch";
const REFERENCE: &str = "sync/reference";
const METHOD_PREFIX: &str = "sync/method/";
/// Texts of the app stand apart from what sync keeps in the same object store.
const APP_PREFIX: &str = "app/";

/// One person's database in this browser.
pub struct IndexedDb {
    name: String,
    pub(super) handle: RefCell<Option<Handle>>,
    pub(super) opened: Cell<u32>,
}

impl IndexedDb {
    /// Opens (or makes) the database of a person.
    ///
    /// # Errors
    /// [`StoreError`]: there is none here, another window blocks it, or a newer app wrote it.
    pub async fn open(person: PersonId) -> Result<Self, StoreError> {
        Self::named(format!("witnessmark-{person}")).await
    }

    /// Opens (or makes) a database that belongs to no person.
    ///
    /// # Errors
    /// As [`IndexedDb::open`].
    pub async fn named(name: String) -> Result<Self, StoreError> {
        let own = Self { name, handle: RefCell::default(), opened: Cell::default() };
        own.handle().await?;
        Ok(own)
    }

    async fn handle(&self) -> Result<Handle, StoreError> {
        let held = self.handle.borrow().as_ref().filter(|handle| !handle.is_dead.get()).cloned();
        if let Some(handle) = held {
            return Ok(handle);
        }
        let handle = schema::open(&self.name).await?;
        self.handle.replace(Some(handle.clone()));
        self.opened.set(self.opened.get() + 1);
        Ok(handle)
    }

    /// Does it, and once more as a whole when the browser had lost its database: phones end the storage process of pages
    /// in the background.
    pub(super) async fn again<T>(
        &self,
        act: impl AsyncFn(&IdbDatabase) -> Result<T, StoreError>,
    ) -> Result<T, StoreError> {
        match act(&self.handle().await?.db).await {
            Err(StoreError::ConnectionLost) => {
                if let Some(dead) = self.handle.take() {
                    dead.db.close();
                }
                act(&self.handle().await?.db).await
            }
            result => result,
        }
    }
}

/// Drafts change with every keystroke; what the app remembers is written seldom and must be there after a kill.
const fn written(space: Space) -> Mode {
    match space {
        Space::Draft => Mode::Write,
        Space::App => Mode::Evidence,
    }
}

const fn space_of(space: Space) -> (&'static str, &'static str) {
    match space {
        Space::Draft => (DRAFTS, ""),
        Space::App => (KV, APP_PREFIX),
    }
}

fn method_key(method: &MethodRef) -> String {
    format!("{METHOD_PREFIX}{}/{}/{}", method.hash, method.version, method.id)
}

fn method_of(key: &str) -> Option<MethodRef> {
    let mut parts = key.strip_prefix(METHOD_PREFIX)?.splitn(3, '/');
    let hash = Hash32::from_hex(parts.next()?)?;
    let version = parts.next()?.parse().ok()?;
    Some(MethodRef { id: parts.next()?.into(), version, hash })
}

fn reference_of(bytes: &[u8]) -> Option<(u64, &[u8])> {
    let (version, json) = bytes.split_first_chunk::<8>()?;
    Some((u64::from_be_bytes(*version), json))
}

pub(super) async fn job_rows(tx: &Transaction, job: JobId) -> Result<Vec<(EntryId, JobId, EntryRow)>, StoreError> {
    let rows = tx.all_where(ENTRIES, BY_JOB, &job.to_string().into()).await?;
    Ok(rows.iter().filter_map(entry_of).collect())
}

pub(super) async fn job_row(tx: &Transaction, job: JobId) -> Result<JobRow, StoreError> {
    let row = tx.get(JOBS, &job.to_string())?.await?;
    Ok(job_of(&row).unwrap_or(JobRow { job, position: 0, asked: false, opened_ms: 0 }))
}

/// The rows that a plan concerns.
#[derive(Default)]
struct Reach {
    entries: BTreeSet<EntryId>,
    photos: BTreeSet<PhotoKey>,
    dropped: BTreeSet<JobId>,
    everything: bool,
}

impl Reach {
    fn of(plan: &Plan) -> Self {
        let mut reach = Self::default();
        for write in &plan.writes {
            match write {
                Write::Confirm(id, _)
                | Write::Hold(id, _)
                | Write::SetAside(id, _)
                | Write::Rest { id, .. }
                | Write::Store { id, .. } => {
                    reach.entries.insert(*id);
                }
                Write::Photo(key, _) => {
                    reach.photos.insert(*key);
                }
                Write::Drop(job) => {
                    reach.dropped.insert(*job);
                }
                Write::Epoch { offer_again, .. } => reach.everything |= offer_again,
                Write::Position(..) | Write::Reference { .. } | Write::Method(..) => {}
            }
        }
        reach
    }
}

async fn load(tx: &Transaction, reach: &Reach) -> Result<(Shelf, BTreeMap<JobId, JobRow>), StoreError> {
    let mut shelf = Shelf::default();
    let jobs: BTreeMap<JobId, JobRow> =
        tx.all(JOBS).await?.iter().filter_map(job_of).map(|row| (row.job, row)).collect();
    shelf.jobs = jobs.iter().map(|(job, row)| (*job, JobHere { position: row.position, asked: row.asked })).collect();
    let mut objects = Vec::new();
    if reach.everything {
        objects = tx.all(ENTRIES).await?;
    } else {
        // All are asked for before the first is awaited: one trip to the database and not one each.
        let asked: Result<Vec<_>, _> = reach.entries.iter().map(|id| tx.get(ENTRIES, &id.to_string())).collect();
        for asked in asked? {
            objects.push(asked.await?);
        }
        for job in &reach.dropped {
            objects.extend(tx.all_where(ENTRIES, BY_JOB, &job.to_string().into()).await?);
        }
    }
    shelf.entries = objects.iter().filter_map(entry_of).map(|(id, job, row)| (id, (job, row))).collect();
    let objects = if reach.everything || !reach.dropped.is_empty() {
        tx.all(PHOTOS).await?
    } else {
        let mut objects = Vec::new();
        for key in &reach.photos {
            objects.push(tx.get(PHOTOS, &photo_key(key))?.await?);
        }
        objects
    };
    shelf.photos = objects.iter().filter_map(photo_of).map(|row| (row.key(), row)).collect();
    if let Some(epoch) = bytes_of(&tx.get(KV, EPOCH)?.await?) {
        shelf.epoch = epoch;
    }
    Ok((shelf, jobs))
}

fn write_back(
    tx: &Transaction,
    before: &Shelf,
    after: &Shelf,
    jobs: &BTreeMap<JobId, JobRow>,
) -> Result<BTreeSet<JobId>, StoreError> {
    let mut touched = BTreeSet::new();
    for (id, (job, row)) in &after.entries {
        if before.entries.get(id) != Some(&(*job, row.clone())) {
            tx.put(ENTRIES, &entry_object(*id, *job, row), None)?;
            touched.insert(*job);
        }
    }
    for (id, (job, _)) in before.entries.iter().filter(|(id, _)| !after.entries.contains_key(id)) {
        tx.delete(ENTRIES, &id.to_string())?;
        touched.insert(*job);
    }
    for (key, row) in &after.photos {
        if before.photos.get(key) != Some(row) {
            tx.put(PHOTOS, &photo_object(row), None)?;
            touched.insert(key.job);
        }
    }
    for key in before.photos.keys().filter(|key| !after.photos.contains_key(key)) {
        tx.delete(PHOTOS, &photo_key(key))?;
        if !after.photos.keys().any(|kept| kept.hash == key.hash) {
            tx.delete(PHOTO_BYTES, &key.hash.hex())?;
        }
    }
    for (job, here) in &after.jobs {
        if before.jobs.get(job) != Some(here) {
            let opened_ms = jobs.get(job).map_or(0, |row| row.opened_ms);
            let row = JobRow { job: *job, position: here.position, asked: here.asked, opened_ms };
            tx.put(JOBS, &job_object(&row), None)?;
            touched.insert(*job);
        }
    }
    for job in before.jobs.keys().filter(|job| !after.jobs.contains_key(job)) {
        tx.delete(JOBS, &job.to_string())?;
        touched.insert(*job);
    }
    if after.epoch != before.epoch {
        tx.put(KV, &value_of(&after.epoch), Some(EPOCH))?;
    }
    if let Some((version, json)) = &after.reference {
        tx.put(KV, &value_of(&[&version.to_be_bytes(), json.as_slice()].concat()), Some(REFERENCE))?;
    }
    for (method, bytes) in &after.methods {
        tx.put(KV, &value_of(bytes), Some(&method_key(method)))?;
    }
    Ok(touched)
}

async fn apply_once(db: &IdbDatabase, plan: &Plan) -> Result<BTreeSet<JobId>, StoreError> {
    let reach = Reach::of(plan);
    let tx = Transaction::begin(db, &[ENTRIES, JOBS, PHOTOS, PHOTO_BYTES, KV], Mode::Write)?;
    let (before, jobs) = load(&tx, &reach).await?;
    let mut after = before.clone();
    after.apply(plan.clone());
    let touched = write_back(&tx, &before, &after, &jobs)?;
    tx.commit().await?;
    Ok(touched)
}

async fn on_device_once(db: &IdbDatabase) -> Result<OnDevice, StoreError> {
    let tx = Transaction::begin(db, &[ENTRIES, JOBS, PHOTOS, KV], Mode::Read)?;
    let open = JsValue::from(1);
    let entries = tx.all_where(ENTRIES, BY_OPEN, &open).await?;
    let photos = tx.all_where(PHOTOS, BY_OPEN, &open).await?;
    let jobs = tx.all(JOBS).await?;
    let epoch = tx.get(KV, EPOCH)?.await?;
    let reference = tx.get(KV, REFERENCE)?.await?;
    let keys = tx.keys(KV).await?;
    Ok(OnDevice {
        entries: entries
            .iter()
            .filter_map(entry_of)
            .filter_map(|(id, job, row)| TrayEntry::of(id, job, &row))
            .collect(),
        photos: photos.iter().filter_map(photo_of).filter_map(|row| TrayPhoto::of(&row)).collect(),
        jobs: jobs
            .iter()
            .filter_map(job_of)
            .map(|row| (row.job, JobHere { position: row.position, asked: row.asked }))
            .collect(),
        epoch: bytes_of(&epoch).unwrap_or_default(),
        reference_version: bytes_of(&reference).as_deref().and_then(reference_of).map_or(0, |(version, _)| version),
        methods: keys.iter().filter_map(|key| method_of(key)).collect(),
    })
}

async fn free_once(db: &IdbDatabase, before_ms: u64, at_least: u64) -> Result<u64, StoreError> {
    let tx = Transaction::begin(db, &[PHOTOS, PHOTO_BYTES], Mode::Write)?;
    let rows: Vec<PhotoRow> = tx.all(PHOTOS).await?.iter().filter_map(photo_of).collect();
    let is_confirmed = |row: &PhotoRow| matches!(row.delivery, PhotoDelivery::Confirmed { .. });
    // Bytes that another row still has to send stay.
    let needed: BTreeSet<Hash32> = rows.iter().filter(|row| !is_confirmed(row)).map(|row| row.file.hash).collect();
    let mut spare: Vec<(u64, PhotoRow)> = rows
        .into_iter()
        .filter(|row| row.role == PhotoRole::Original && row.bytes_here && !needed.contains(&row.file.hash))
        .filter_map(|row| match row.delivery {
            PhotoDelivery::Confirmed { at_ms } => Some((at_ms, row)),
            PhotoDelivery::Waiting { .. } | PhotoDelivery::Aside(_) => None,
        })
        .collect();
    spare.sort_by_key(|(at_ms, row)| (*at_ms, row.key()));
    let mut freed = 0;
    for (at_ms, row) in spare {
        if at_ms >= before_ms && freed >= at_least {
            break;
        }
        freed += row.file.bytes;
        tx.delete(PHOTO_BYTES, &row.file.hash.hex())?;
        tx.put(PHOTOS, &photo_object(&PhotoRow { bytes_here: false, ..row }), None)?;
    }
    tx.commit().await?;
    Ok(freed)
}

impl LocalStore for IndexedDb {
    fn job(&self, job: JobId) -> Later<'_, Result<JobRows, StoreError>> {
        Box::pin(self.again(async move |db| {
            let tx = Transaction::begin(db, &[ENTRIES, JOBS, PHOTOS], Mode::Read)?;
            let objects = tx.all_where(ENTRIES, BY_JOB, &job.to_string().into()).await?;
            let photos = tx.all_where(PHOTOS, BY_JOB, &job.to_string().into()).await?;
            let position = job_row(&tx, job).await?.position;
            let rows = u32::try_from(objects.len()).unwrap_or(u32::MAX);
            let entries = objects.iter().filter_map(entry_of).map(|(id, _, row)| (id, row)).collect();
            Ok(JobRows { entries, photos: photos.iter().filter_map(photo_of).collect(), position, rows })
        }))
    }

    fn jobs(&self) -> Later<'_, Result<Vec<JobRow>, StoreError>> {
        Box::pin(self.again(async |db| {
            let tx = Transaction::begin(db, &[JOBS], Mode::Read)?;
            Ok(tx.all(JOBS).await?.iter().filter_map(job_of).collect())
        }))
    }

    fn keep(
        &self,
        job: JobId,
        make: MakeEntries,
        photos: Vec<(PhotoRow, FileBytes)>,
    ) -> Later<'_, Result<Vec<Entry>, StoreError>> {
        Box::pin(self.again(async move |db| keep_once(db, job, &make, &photos).await))
    }

    fn keep_on(
        &self,
        job: JobId,
        rows: u32,
        envelopes: Vec<(EntryId, Vec<u8>)>,
        photos: Vec<(PhotoRow, FileBytes)>,
    ) -> Later<'_, Result<bool, StoreError>> {
        Box::pin(self.again(async move |db| keep_on_once(db, job, rows, &envelopes, &photos).await))
    }

    fn note_opened(&self, job: JobId, now_ms: u64, asked: bool) -> Later<'_, Result<(), StoreError>> {
        Box::pin(self.again(async move |db| {
            let tx = Transaction::begin(db, &[JOBS], Mode::Write)?;
            let row = tx.get(JOBS, &job.to_string())?.await?;
            let row = match job_of(&row) {
                Some(row) => JobRow { opened_ms: now_ms, asked: row.asked || asked, ..row },
                // Noting a job that is not here would make it look as if it were.
                None if !asked => return Ok(()),
                None => JobRow { job, position: 0, asked, opened_ms: now_ms },
            };
            tx.put(JOBS, &job_object(&row), None)?;
            tx.commit().await
        }))
    }

    fn send_again(&self, job: JobId) -> Later<'_, Result<(), StoreError>> {
        Box::pin(self.again(async move |db| {
            let tx = Transaction::begin(db, &[ENTRIES, PHOTOS], Mode::Write)?;
            for (id, job, mut row) in job_rows(&tx, job).await? {
                if resend::entry(&mut row) {
                    tx.put(ENTRIES, &entry_object(id, job, &row), None)?;
                }
            }
            for object in tx.all_where(PHOTOS, BY_JOB, &job.to_string().into()).await? {
                if let Some(mut row) = photo_of(&object)
                    && resend::photo(&mut row)
                {
                    tx.put(PHOTOS, &photo_object(&row), None)?;
                }
            }
            tx.commit().await
        }))
    }

    fn on_device(&self) -> Later<'_, Result<OnDevice, StoreError>> {
        Box::pin(self.again(async |db| on_device_once(db).await))
    }

    fn apply(&self, plan: Plan) -> Later<'_, Result<BTreeSet<JobId>, StoreError>> {
        Box::pin(self.again(async move |db| apply_once(db, &plan).await))
    }

    fn envelopes(&self, ids: Vec<EntryId>) -> Later<'_, Result<Vec<Option<Vec<u8>>>, StoreError>> {
        Box::pin(self.again(async move |db| {
            let tx = Transaction::begin(db, &[ENTRIES], Mode::Read)?;
            let asked: Result<Vec<_>, _> = ids.iter().map(|id| tx.get(ENTRIES, &id.to_string())).collect();
            let mut envelopes = Vec::with_capacity(ids.len());
            for asked in asked? {
                envelopes.push(entry_of(&asked.await?).map(|(_, _, row)| row.envelope.into()));
            }
            Ok(envelopes)
        }))
    }

    fn photo_bytes(&self, hash: Hash32) -> Later<'_, Result<Option<FileBytes>, StoreError>> {
        Box::pin(self.again(async move |db| {
            let tx = Transaction::begin(db, &[PHOTO_BYTES], Mode::Read)?;
            let value = tx.get(PHOTO_BYTES, &hash.hex())?.await?;
            Ok(value.dyn_into::<ArrayBuffer>().ok().map(FileBytes::of_buffer))
        }))
    }

    fn put_photo_bytes(&self, hash: Hash32, bytes: FileBytes) -> Later<'_, Result<(), StoreError>> {
        Box::pin(self.again(async move |db| {
            let buffer: JsValue = bytes.buffer().into();
            let tx = Transaction::begin(db, &[PHOTO_BYTES], Mode::Evidence)?;
            tx.put(PHOTO_BYTES, &buffer, Some(&hash.hex()))?;
            tx.commit().await
        }))
    }

    fn drop_staged_bytes(&self, hash: Hash32) -> Later<'_, Result<(), StoreError>> {
        Box::pin(self.again(async move |db| {
            let tx = Transaction::begin(db, &[PHOTOS, PHOTO_BYTES], Mode::Write)?;
            if !tx.all(PHOTOS).await?.iter().filter_map(photo_of).any(|row| row.file.hash == hash) {
                tx.delete(PHOTO_BYTES, &hash.hex())?;
            }
            tx.commit().await
        }))
    }

    fn free_space(&self, before_ms: u64, at_least: u64) -> Later<'_, Result<u64, StoreError>> {
        Box::pin(self.again(async move |db| free_once(db, before_ms, at_least).await))
    }

    fn text(&self, space: Space, key: String) -> Later<'_, Result<Option<Vec<u8>>, StoreError>> {
        Box::pin(self.again(async move |db| {
            let (store, prefix) = space_of(space);
            let tx = Transaction::begin(db, &[store], Mode::Read)?;
            Ok(bytes_of(&tx.get(store, &format!("{prefix}{key}"))?.await?))
        }))
    }

    fn put_text(&self, space: Space, key: String, bytes: Vec<u8>) -> Later<'_, Result<(), StoreError>> {
        Box::pin(self.again(async move |db| {
            let (store, prefix) = space_of(space);
            let tx = Transaction::begin(db, &[store], written(space))?;
            tx.put(store, &value_of(&bytes), Some(&format!("{prefix}{key}")))?;
            tx.commit().await
        }))
    }

    fn delete_text(&self, space: Space, key: String) -> Later<'_, Result<(), StoreError>> {
        Box::pin(self.again(async move |db| {
            let (store, prefix) = space_of(space);
            let tx = Transaction::begin(db, &[store], written(space))?;
            tx.delete(store, &format!("{prefix}{key}"))?;
            tx.commit().await
        }))
    }

    fn text_keys(&self, space: Space, prefix: String) -> Later<'_, Result<Vec<String>, StoreError>> {
        Box::pin(self.again(async move |db| {
            let (store, own) = space_of(space);
            let tx = Transaction::begin(db, &[store], Mode::Read)?;
            let keys = tx.keys(store).await?;
            Ok(keys
                .iter()
                .filter_map(|key| key.strip_prefix(own))
                .filter(|key| key.starts_with(&prefix))
                .map(String::from)
                .collect())
        }))
    }

    fn reference(&self) -> Later<'_, Result<Option<Vec<u8>>, StoreError>> {
        Box::pin(self.again(async |db| {
            let tx = Transaction::begin(db, &[KV], Mode::Read)?;
            let value = bytes_of(&tx.get(KV, REFERENCE)?.await?);
            Ok(value.as_deref().and_then(reference_of).map(|(_, json)| json.to_vec()))
        }))
    }

    fn forget_all(&self) -> Later<'_, Result<(), StoreError>> {
        Box::pin(async {
            if let Some(handle) = self.handle.take() {
                handle.is_dead.set(true);
                handle.db.close();
            }
            schema::delete(&self.name).await
        })
    }

    fn method(&self, method: MethodRef) -> Later<'_, Result<Option<Vec<u8>>, StoreError>> {
        Box::pin(self.again(async move |db| {
            let tx = Transaction::begin(db, &[KV], Mode::Read)?;
            Ok(bytes_of(&tx.get(KV, &method_key(&method))?.await?))
        }))
    }
}
