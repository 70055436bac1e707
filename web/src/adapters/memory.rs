//! A store in memory that can be told to fail: what screens and sync are tested on.

use super::file_bytes::FileBytes;
use crate::ports::Later;
use crate::ports::local_store::{JobRow, JobRows, LocalStore, MakeEntries, Space, StoreError};
use domain::ids::{EntryId, Hash32, JobId};
use domain::job_file::Entry;
use domain::job_file::body::MethodRef;
use domain::tray::shelf::resend;
use domain::tray::{Delivery, EntryRow, OnDevice, PhotoDelivery, PhotoRole, PhotoRow, Plan, Shelf};
use std::cell::{Cell, RefCell};
use std::collections::{BTreeMap, BTreeSet};

/// The store.
#[derive(Default)]
pub struct Memory {
    /// What is kept.
    pub shelf: RefCell<Shelf>,
    texts: RefCell<BTreeMap<(Space, String), Vec<u8>>>,
    opened: RefCell<BTreeMap<JobId, u64>>,
    /// The next writes fail so, one after the other.
    pub failures: RefCell<Vec<StoreError>>,
    /// Written by another window just before entries made here are kept, one at a time.
    pub meanwhile: RefCell<Vec<Entry>>,
    /// So many photos read back as other bytes than were written.
    pub altered_reads: Cell<u32>,
    /// The next write of a text fails so.
    pub text_failure: RefCell<Option<StoreError>>,
    /// Texts are said to be written and are not.
    pub forgets_texts: Cell<bool>,
}

impl Memory {
    /// The texts that are kept, in no order that matters.
    pub fn texts(&self) -> Vec<Vec<u8>> {
        self.texts.borrow().values().cloned().collect()
    }

    fn write<T>(&self, act: impl FnOnce(&mut Shelf) -> T) -> Result<T, StoreError> {
        let failure = self.failures.borrow_mut().pop();
        match failure {
            Some(error) => Err(error),
            None => Ok(act(&mut self.shelf.borrow_mut())),
        }
    }
}

fn rows_of(shelf: &Shelf, job: JobId) -> u32 {
    u32::try_from(shelf.entries.values().filter(|(of, _)| *of == job).count()).expect("a few")
}

fn now<'a, T: 'a>(result: T) -> Later<'a, T> {
    Box::pin(core::future::ready(result))
}

impl LocalStore for Memory {
    fn job(&self, job: JobId) -> Later<'_, Result<JobRows, StoreError>> {
        let shelf = self.shelf.borrow();
        now(Ok(JobRows {
            entries: shelf
                .entries
                .iter()
                .filter(|(_, (of, _))| *of == job)
                .map(|(id, (_, row))| (*id, row.clone()))
                .collect(),
            photos: shelf.photos.values().filter(|row| row.job == job).cloned().collect(),
            position: shelf.jobs.get(&job).map_or(0, |here| here.position),
            rows: rows_of(&shelf, job),
        }))
    }

    fn jobs(&self) -> Later<'_, Result<Vec<JobRow>, StoreError>> {
        let opened = self.opened.borrow();
        let row = |(job, here): (&JobId, &domain::tray::JobHere)| JobRow {
            job: *job,
            position: here.position,
            asked: here.asked,
            opened_ms: opened.get(job).copied().unwrap_or(0),
        };
        now(Ok(self.shelf.borrow().jobs.iter().map(row).collect()))
    }

    fn keep(
        &self,
        job: JobId,
        make: MakeEntries,
        photos: Vec<(PhotoRow, FileBytes)>,
    ) -> Later<'_, Result<Vec<Entry>, StoreError>> {
        now(self.write(|shelf| {
            let position = shelf.jobs.get(&job).map_or(0, |here| here.position);
            let rows: Vec<_> = shelf
                .entries
                .iter()
                .filter(|(_, (of, _))| *of == job)
                .map(|(id, (_, row))| (*id, row.clone()))
                .collect();
            let entries = make(&rows, position);
            let photos: Vec<(PhotoRow, Vec<u8>)> =
                photos.into_iter().map(|(row, bytes)| (row, bytes.to_vec())).collect();
            shelf.keep(&entries, &photos);
            entries
        }))
    }

    fn keep_on(
        &self,
        job: JobId,
        rows: u32,
        envelopes: Vec<(EntryId, Vec<u8>)>,
        photos: Vec<(PhotoRow, FileBytes)>,
    ) -> Later<'_, Result<bool, StoreError>> {
        let meanwhile = self.meanwhile.borrow_mut().pop();
        if let Some(entry) = meanwhile {
            self.shelf.borrow_mut().keep(&[entry], &[]);
        }
        if rows_of(&self.shelf.borrow(), job) != rows {
            return now(Ok(false));
        }
        now(self.write(|shelf| {
            let photos: Vec<(PhotoRow, Vec<u8>)> =
                photos.into_iter().map(|(row, bytes)| (row, bytes.to_vec())).collect();
            shelf.keep(&[], &photos);
            for (id, envelope) in envelopes {
                let row = EntryRow { envelope: envelope.into(), stamp: None, delivery: Delivery::FRESH };
                shelf.entries.entry(id).or_insert((job, row));
            }
            shelf.jobs.entry(job).or_default();
            true
        }))
    }

    fn note_opened(&self, job: JobId, now_ms: u64, asked: bool) -> Later<'_, Result<(), StoreError>> {
        self.opened.borrow_mut().insert(job, now_ms);
        now(self.write(|shelf| {
            if asked {
                shelf.jobs.entry(job).or_default().asked = true;
            }
        }))
    }

    fn send_again(&self, job: JobId) -> Later<'_, Result<(), StoreError>> {
        now(self.write(|shelf| {
            for (_, row) in shelf.entries.values_mut().filter(|(of, _)| *of == job) {
                resend::entry(row);
            }
            for row in shelf.photos.values_mut().filter(|row| row.job == job) {
                resend::photo(row);
            }
        }))
    }

    fn on_device(&self) -> Later<'_, Result<OnDevice, StoreError>> {
        now(Ok(self.shelf.borrow().on_device()))
    }

    fn apply(&self, plan: Plan) -> Later<'_, Result<BTreeSet<JobId>, StoreError>> {
        now(self.write(|shelf| {
            shelf.apply(plan);
            shelf.jobs.keys().copied().collect()
        }))
    }

    fn envelopes(&self, ids: Vec<EntryId>) -> Later<'_, Result<Vec<Option<Vec<u8>>>, StoreError>> {
        let shelf = self.shelf.borrow();
        now(Ok(ids.iter().map(|id| shelf.entries.get(id).map(|(_, row)| row.envelope.to_vec())).collect()))
    }

    fn photo_bytes(&self, hash: Hash32) -> Later<'_, Result<Option<FileBytes>, StoreError>> {
        if let Some(left) = self.altered_reads.get().checked_sub(1) {
            self.altered_reads.set(left);
            return now(Ok(Some(FileBytes::of(&[]))));
        }
        now(Ok(self.shelf.borrow().photo_bytes.get(&hash).map(|bytes| FileBytes::of(bytes))))
    }

    fn put_photo_bytes(&self, hash: Hash32, bytes: FileBytes) -> Later<'_, Result<(), StoreError>> {
        now(self.write(|shelf| {
            shelf.photo_bytes.insert(hash, bytes.to_vec());
        }))
    }

    fn drop_staged_bytes(&self, hash: Hash32) -> Later<'_, Result<(), StoreError>> {
        now(self.write(|shelf| {
            if !shelf.photos.keys().any(|key| key.hash == hash) {
                shelf.photo_bytes.remove(&hash);
            }
        }))
    }

    fn free_space(&self, before_ms: u64, at_least: u64) -> Later<'_, Result<u64, StoreError>> {
        now(self.write(|shelf| {
            let mut spare: Vec<(u64, PhotoRow)> = shelf
                .photos
                .values()
                .filter(|row| row.role == PhotoRole::Original && row.bytes_here)
                .filter_map(|row| match row.delivery {
                    PhotoDelivery::Confirmed { at_ms } => Some((at_ms, row.clone())),
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
                shelf.photo_bytes.remove(&row.file.hash);
                shelf.photos.insert(row.key(), PhotoRow { bytes_here: false, ..row });
            }
            freed
        }))
    }

    fn text(&self, space: Space, key: String) -> Later<'_, Result<Option<Vec<u8>>, StoreError>> {
        now(Ok(self.texts.borrow().get(&(space, key)).cloned()))
    }

    fn put_text(&self, space: Space, key: String, bytes: Vec<u8>) -> Later<'_, Result<(), StoreError>> {
        if let Some(error) = self.text_failure.take() {
            return now(Err(error));
        }
        if !self.forgets_texts.get() {
            self.texts.borrow_mut().insert((space, key), bytes);
        }
        now(Ok(()))
    }

    fn delete_text(&self, space: Space, key: String) -> Later<'_, Result<(), StoreError>> {
        self.texts.borrow_mut().remove(&(space, key));
        now(Ok(()))
    }

    fn text_keys(&self, space: Space, prefix: String) -> Later<'_, Result<Vec<String>, StoreError>> {
        let texts = self.texts.borrow();
        now(Ok(texts
            .keys()
            .filter(|(of, key)| *of == space && key.starts_with(&prefix))
            .map(|(_, key)| key.clone())
            .collect()))
    }

    fn reference(&self) -> Later<'_, Result<Option<Vec<u8>>, StoreError>> {
        now(Ok(self.shelf.borrow().reference.as_ref().map(|(_, bytes)| bytes.clone())))
    }

    fn forget_all(&self) -> Later<'_, Result<(), StoreError>> {
        self.texts.borrow_mut().clear();
        now(self.write(|shelf| *shelf = Shelf::default()))
    }

    fn method(&self, method: MethodRef) -> Later<'_, Result<Option<Vec<u8>>, StoreError>> {
        now(Ok(self.shelf.borrow().methods.get(&method).cloned()))
    }
}
