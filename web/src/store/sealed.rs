//! A store whose rows are sealed: entries, photos, drafts, what the app remembers and reference data. Around any store, which
//! goes on to see rows with their key columns, headers and deliveries, and never a body.
//!
//! Everything is sealed before the store's transaction opens and opened after it has ended. Plain rows, of an older app or of a
//! browser without ciphers, are read as they are. Work is never lost over a seal: what cannot be sealed is kept plain. What cannot
//! be opened is [`StoreError::KeyLost`], whatever else is there, so that it never looks like nothing.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

use domain::ids::{EntryId, Hash32, JobId};
use domain::job_file::Entry;
use domain::job_file::body::MethodRef;
use domain::tray::sealed::{SEALED_MARK, is_sealed, sealed_of, with_header};
use domain::tray::{EntryRow, OnDevice, PhotoRow, Plan, Write};

use crate::adapters::file_bytes::FileBytes;
use crate::ports::Later;
use crate::ports::local_store::{JobRow, JobRows, LocalStore, MakeEntries, Space, StoreError};
use crate::ports::sealer::Sealer;

/// How often a job may move on under a hand that seals before that hand writes plain rows.
const TRIES: u32 = 8;

/// Bytes as they are kept, and what they say: an open row is opened once and then compared.
#[derive(Clone)]
struct Opened {
    kept: Vec<u8>,
    plain: Vec<u8>,
}

/// The store.
pub(super) struct SealedStore {
    inner: Rc<dyn LocalStore>,
    sealer: Rc<dyn Sealer>,
    envelopes: RefCell<BTreeMap<EntryId, Opened>>,
    reference: RefCell<Option<Opened>>,
}

impl SealedStore {
    pub(super) fn over(inner: Rc<dyn LocalStore>, sealer: Rc<dyn Sealer>) -> Self {
        Self { inner, sealer, envelopes: RefCell::default(), reference: RefCell::default() }
    }

    async fn seal_envelopes(&self, envelopes: Vec<(EntryId, Vec<u8>)>) -> Vec<(EntryId, Vec<u8>)> {
        if envelopes.is_empty() {
            return envelopes;
        }
        let plain = envelopes.iter().map(|(_, envelope)| FileBytes::of(envelope)).collect();
        let Some(sealed) = self.sealer.seal(plain).await else { return envelopes };
        let kept = |((id, plain), sealed): ((EntryId, Vec<u8>), FileBytes)| {
            match with_header(&plain, sealed.to_vec().get(SEALED_MARK.len()..).unwrap_or_default()) {
                Some(kept) => {
                    self.envelopes.borrow_mut().insert(id, Opened { kept: kept.clone(), plain });
                    (id, kept)
                }
                // Of a newer app, whose header nobody here can find.
                None => (id, plain),
            }
        };
        envelopes.into_iter().zip(sealed).map(kept).collect()
    }

    /// Envelopes in the clear, in the order given.
    async fn open_envelopes(&self, kept: Vec<(EntryId, Vec<u8>)>) -> Result<Vec<Vec<u8>>, StoreError> {
        let mut plain: Vec<Vec<u8>> = Vec::with_capacity(kept.len());
        let (mut shut, mut asked) = (Vec::new(), Vec::new());
        for (at, (id, bytes)) in kept.iter().enumerate() {
            let known =
                self.envelopes.borrow().get(id).filter(|known| known.kept == *bytes).map(|known| known.plain.clone());
            plain.push(match known {
                Some(known) => known,
                None if is_sealed(bytes) => {
                    let sealed = sealed_of(bytes).ok_or(StoreError::KeyLost)?;
                    shut.push(at);
                    asked.push(FileBytes::of(&[SEALED_MARK.as_slice(), &sealed].concat()));
                    Vec::new()
                }
                None => bytes.clone(),
            });
        }
        if asked.is_empty() {
            return Ok(plain);
        }
        for (at, opened) in shut.into_iter().zip(self.sealer.open(asked).await) {
            let opened = opened.ok_or(StoreError::KeyLost)?.to_vec();
            let (id, bytes) = &kept[at];
            let known = Opened { kept: bytes.clone(), plain: opened.clone() };
            self.envelopes.borrow_mut().insert(*id, known);
            plain[at] = opened;
        }
        Ok(plain)
    }

    async fn seal_one(&self, plain: Vec<u8>) -> Vec<u8> {
        let sealed = self.sealer.seal(vec![FileBytes::of(&plain)]).await;
        sealed.and_then(|mut sealed| sealed.pop()).map_or(plain, |sealed| sealed.to_vec())
    }

    async fn seal_file(&self, bytes: FileBytes) -> FileBytes {
        let sealed = self.sealer.seal(vec![bytes.clone()]).await;
        sealed.and_then(|mut sealed| sealed.pop()).unwrap_or(bytes)
    }

    async fn open_file(&self, kept: FileBytes) -> Result<FileBytes, StoreError> {
        if !is_sealed(&kept.head(SEALED_MARK.len())) {
            return Ok(kept);
        }
        self.sealer.open(vec![kept]).await.pop().flatten().ok_or(StoreError::KeyLost)
    }

    async fn open_one(&self, kept: Vec<u8>) -> Result<Vec<u8>, StoreError> {
        if !is_sealed(&kept) {
            return Ok(kept);
        }
        Ok(self.open_file(FileBytes::of(&kept)).await?.to_vec())
    }

    async fn seal_photos(&self, photos: Vec<(PhotoRow, FileBytes)>) -> Vec<(PhotoRow, FileBytes)> {
        let mut sealed = Vec::with_capacity(photos.len());
        for (row, bytes) in photos {
            sealed.push((row, self.seal_file(bytes).await));
        }
        sealed
    }

    async fn read_job(&self, job: JobId) -> Result<JobRows, StoreError> {
        let mut rows = self.inner.job(job).await?;
        let kept = rows.entries.iter().map(|(id, row)| (*id, row.envelope.to_vec())).collect();
        let plain = self.open_envelopes(kept).await?;
        for ((_, row), plain) in rows.entries.iter_mut().zip(plain) {
            row.envelope = plain.into();
        }
        Ok(rows)
    }

    async fn keep_sealed(
        &self,
        job: JobId,
        make: MakeEntries,
        photos: Vec<(PhotoRow, FileBytes)>,
    ) -> Result<Vec<Entry>, StoreError> {
        let sealed = self.seal_photos(photos).await;
        for _ in 0..TRIES {
            let here = self.read_job(job).await?;
            let made = make(&here.entries, here.position);
            let envelopes = made.iter().map(|entry| (entry.header.id, entry.bytes().to_vec())).collect();
            let envelopes = self.seal_envelopes(envelopes).await;
            if self.inner.keep_on(job, here.rows, envelopes, sealed.clone()).await? {
                return Ok(made);
            }
        }
        // In one transaction, from what is known to be open; whatever came in between is read in it as it is kept.
        let known = self.envelopes.borrow().clone();
        let open = move |rows: &[(EntryId, EntryRow)], position: u64| {
            let opened = |(id, row): &(EntryId, EntryRow)| {
                let known = known.get(id).filter(|known| known.kept == row.envelope.as_slice());
                let envelope = known.map_or_else(|| row.envelope.clone(), |known| known.plain.clone().into());
                (*id, EntryRow { envelope, ..row.clone() })
            };
            make(&rows.iter().map(opened).collect::<Vec<_>>(), position)
        };
        self.inner.keep(job, Rc::new(open), sealed).await
    }

    /// Entries that the server sends are sealed; one that is here already stays the bytes that are here, so that the store finds
    /// them the same.
    async fn sealed_plan(&self, plan: Plan) -> Result<Plan, StoreError> {
        let came: Vec<(EntryId, Vec<u8>)> = plan.writes.iter().filter_map(came_in).collect();
        let mut kept: BTreeMap<EntryId, Vec<u8>> = BTreeMap::new();
        if !came.is_empty() {
            let here = self.inner.envelopes(came.iter().map(|(id, _)| *id).collect()).await?;
            let here: Vec<(EntryId, Vec<u8>)> =
                came.iter().zip(here).filter_map(|((id, _), here)| Some((*id, here?))).collect();
            let opened = self.open_envelopes(here.clone()).await?;
            let came_bytes: BTreeMap<EntryId, &Vec<u8>> = came.iter().map(|(id, bytes)| (*id, bytes)).collect();
            for ((id, here), opened) in here.into_iter().zip(opened) {
                if came_bytes.get(&id).is_some_and(|came| **came == opened) {
                    kept.insert(id, here);
                }
            }
            let fresh = came.into_iter().filter(|(id, _)| !kept.contains_key(id)).collect();
            kept.extend(self.seal_envelopes(fresh).await);
        }
        let mut writes = Vec::with_capacity(plan.writes.len());
        for write in plan.writes {
            writes.push(match write {
                Write::Store { id, job, envelope, stamp } => {
                    let envelope = kept.remove(&id).unwrap_or(envelope);
                    Write::Store { id, job, envelope, stamp }
                }
                Write::Reference { version, bytes } => Write::Reference { version, bytes: self.seal_one(bytes).await },
                other => other,
            });
        }
        Ok(Plan { writes })
    }
}

fn came_in(write: &Write) -> Option<(EntryId, Vec<u8>)> {
    match write {
        Write::Store { id, envelope, .. } => Some((*id, envelope.clone())),
        _ => None,
    }
}

impl LocalStore for SealedStore {
    fn job(&self, job: JobId) -> Later<'_, Result<JobRows, StoreError>> {
        Box::pin(self.read_job(job))
    }

    fn jobs(&self) -> Later<'_, Result<Vec<JobRow>, StoreError>> {
        self.inner.jobs()
    }

    fn keep(
        &self,
        job: JobId,
        make: MakeEntries,
        photos: Vec<(PhotoRow, FileBytes)>,
    ) -> Later<'_, Result<Vec<Entry>, StoreError>> {
        Box::pin(self.keep_sealed(job, make, photos))
    }

    fn keep_on(
        &self,
        job: JobId,
        rows: u32,
        envelopes: Vec<(EntryId, Vec<u8>)>,
        photos: Vec<(PhotoRow, FileBytes)>,
    ) -> Later<'_, Result<bool, StoreError>> {
        Box::pin(async move {
            let envelopes = self.seal_envelopes(envelopes).await;
            let photos = self.seal_photos(photos).await;
            self.inner.keep_on(job, rows, envelopes, photos).await
        })
    }

    fn note_opened(&self, job: JobId, now_ms: u64, asked: bool) -> Later<'_, Result<(), StoreError>> {
        self.inner.note_opened(job, now_ms, asked)
    }

    fn send_again(&self, job: JobId) -> Later<'_, Result<(), StoreError>> {
        self.inner.send_again(job)
    }

    fn on_device(&self) -> Later<'_, Result<OnDevice, StoreError>> {
        self.inner.on_device()
    }

    fn apply(&self, plan: Plan) -> Later<'_, Result<BTreeSet<JobId>, StoreError>> {
        Box::pin(async move { self.inner.apply(self.sealed_plan(plan).await?).await })
    }

    fn envelopes(&self, ids: Vec<EntryId>) -> Later<'_, Result<Vec<Option<Vec<u8>>>, StoreError>> {
        Box::pin(async move {
            let kept = self.inner.envelopes(ids.clone()).await?;
            let here = ids.iter().zip(&kept).filter_map(|(id, kept)| Some((*id, kept.clone()?))).collect();
            let mut opened = self.open_envelopes(here).await?.into_iter();
            Ok(kept.into_iter().map(|kept| kept.and_then(|_| opened.next())).collect())
        })
    }

    fn photo_bytes(&self, hash: Hash32) -> Later<'_, Result<Option<FileBytes>, StoreError>> {
        Box::pin(async move {
            match self.inner.photo_bytes(hash).await? {
                Some(kept) => self.open_file(kept).await.map(Some),
                None => Ok(None),
            }
        })
    }

    fn put_photo_bytes(&self, hash: Hash32, bytes: FileBytes) -> Later<'_, Result<(), StoreError>> {
        Box::pin(async move { self.inner.put_photo_bytes(hash, self.seal_file(bytes).await).await })
    }

    fn drop_staged_bytes(&self, hash: Hash32) -> Later<'_, Result<(), StoreError>> {
        self.inner.drop_staged_bytes(hash)
    }

    fn free_space(&self, before_ms: u64, at_least: u64) -> Later<'_, Result<u64, StoreError>> {
        self.inner.free_space(before_ms, at_least)
    }

    fn text(&self, space: Space, key: String) -> Later<'_, Result<Option<Vec<u8>>, StoreError>> {
        Box::pin(async move {
            match self.inner.text(space, key).await? {
                Some(kept) => self.open_one(kept).await.map(Some),
                None => Ok(None),
            }
        })
    }

    fn put_text(&self, space: Space, key: String, bytes: Vec<u8>) -> Later<'_, Result<(), StoreError>> {
        Box::pin(async move { self.inner.put_text(space, key, self.seal_one(bytes).await).await })
    }

    fn delete_text(&self, space: Space, key: String) -> Later<'_, Result<(), StoreError>> {
        self.inner.delete_text(space, key)
    }

    fn text_keys(&self, space: Space, prefix: String) -> Later<'_, Result<Vec<String>, StoreError>> {
        self.inner.text_keys(space, prefix)
    }

    fn reference(&self) -> Later<'_, Result<Option<Vec<u8>>, StoreError>> {
        Box::pin(async move {
            let Some(kept) = self.inner.reference().await? else { return Ok(None) };
            let known = self.reference.borrow().clone().filter(|known| known.kept == kept);
            if let Some(known) = known {
                return Ok(Some(known.plain));
            }
            let plain = self.open_one(kept.clone()).await?;
            self.reference.replace(Some(Opened { kept, plain: plain.clone() }));
            Ok(Some(plain))
        })
    }

    fn method(&self, method: MethodRef) -> Later<'_, Result<Option<Vec<u8>>, StoreError>> {
        self.inner.method(method)
    }

    fn forget_all(&self) -> Later<'_, Result<(), StoreError>> {
        self.inner.forget_all()
    }
}
