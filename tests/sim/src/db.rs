//! A model of Postgres and of the photo store: what is committed, who holds the firm's lock, and what a transaction that
//! has not committed wants to write. A crash forgets every open transaction and nothing else.

use crate::Bytes;
use domain::ids::{DeviceId, EntryId, Hash32, JobId, PersonId};
use domain::intake::Numbering;
use domain::job_file::{Entry, JobFile, Stamp};
use domain::tray::PhotoKey;
use domain::wire::sync::HeldWhy;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::rc::Rc;

/// A row of the log.
#[derive(Clone, Debug)]
pub(crate) struct Row {
    pub(crate) entry: Rc<Entry>,
    pub(crate) bytes: Bytes,
    pub(crate) stamp: Stamp,
}

/// An entry that a person must look at.
#[derive(Clone, Debug)]
pub(crate) struct HeldRow {
    pub(crate) entry: Rc<Entry>,
    pub(crate) bytes: Bytes,
    pub(crate) why: HeldWhy,
    pub(crate) stored: bool,
}

/// A photo on its way.
#[derive(Clone, Debug)]
pub(crate) struct Upload {
    pub(crate) key: PhotoKey,
    pub(crate) person: PersonId,
    pub(crate) length: u64,
    pub(crate) received: u64,
    /// What the bytes are; the network may have changed some on their way.
    pub(crate) content: Bytes,
}

/// Everything that is committed.
#[derive(Clone, Debug, Default)]
pub(crate) struct Tables {
    pub(crate) epoch: Vec<u8>,
    pub(crate) jobs: BTreeMap<JobId, BTreeMap<u64, Row>>,
    pub(crate) by_id: BTreeMap<EntryId, (JobId, u64)>,
    pub(crate) held: BTreeMap<Hash32, HeldRow>,
    pub(crate) last_stamp_us: u64,
    pub(crate) devices: BTreeMap<DeviceId, (PersonId, bool)>,
    pub(crate) uploads: BTreeMap<u64, Upload>,
    pub(crate) photos: BTreeMap<Hash32, Bytes>,
    pub(crate) arrived: BTreeSet<PhotoKey>,
}

/// What a transaction writes when it commits.
#[derive(Clone, Debug)]
pub(crate) enum DbWrite {
    Append(Row),
    Hold(HeldRow),
    ReleaseHeld(Hash32),
    Clock(u64),
    Upload(u64, Upload),
    EndUpload(u64),
    Photo(Hash32, Bytes),
    Arrived(PhotoKey),
}

/// The database and its lock.
#[derive(Clone, Debug, Default)]
pub(crate) struct Db {
    pub(crate) tables: Tables,
    /// The call whose transaction has the firm's lock.
    pub(crate) locked_by: Option<u64>,
    pub(crate) waiting: VecDeque<u64>,
    /// A sequence: it never goes back, not even when a transaction does. Only a planted fault uses it.
    pub(crate) sequences: BTreeMap<JobId, u64>,
    pub(crate) next_upload: u64,
    pub(crate) up: bool,
}

impl Tables {
    pub(crate) fn head(&self, job: JobId) -> u64 {
        self.jobs.get(&job).and_then(|rows| rows.last_key_value()).map_or(0, |(position, _)| *position)
    }

    pub(crate) fn row(&self, id: EntryId) -> Option<&Row> {
        let (job, position) = self.by_id.get(&id)?;
        self.jobs.get(job)?.get(position)
    }

    pub(crate) fn numbering(&self) -> Numbering {
        Numbering {
            last_stamp_us: self.last_stamp_us,
            heads: self.jobs.keys().map(|job| (*job, self.head(*job))).collect(),
        }
    }

    /// These very bytes are kept, in the log or for a person to look at.
    pub(crate) fn has_bytes(&self, id: EntryId, bytes: &[u8]) -> bool {
        self.row(id).is_some_and(|row| *row.bytes == *bytes) || self.held.contains_key(&Hash32::sha256(bytes))
    }

    pub(crate) fn file(&self, job: JobId) -> JobFile {
        let mut file = JobFile::default();
        for row in self.jobs.get(&job).into_iter().flat_map(BTreeMap::values) {
            file.absorb((*row.entry).clone(), Some(row.stamp));
        }
        file
    }

    /// Gives the rows that are new.
    pub(crate) fn apply(&mut self, writes: &[DbWrite]) {
        for write in writes {
            match write {
                DbWrite::Append(row) => {
                    let header = &row.entry.header;
                    self.jobs.entry(header.job).or_default().insert(row.stamp.position, row.clone());
                    self.by_id.insert(header.id, (header.job, row.stamp.position));
                }
                DbWrite::Hold(held) => {
                    self.held.entry(Hash32::sha256(&held.bytes)).or_insert_with(|| held.clone());
                }
                DbWrite::ReleaseHeld(hash) => {
                    if let Some(held) = self.held.get_mut(hash) {
                        held.stored = true;
                    }
                }
                DbWrite::Clock(last) => self.last_stamp_us = *last,
                DbWrite::Upload(id, upload) => {
                    self.uploads.insert(*id, upload.clone());
                }
                DbWrite::EndUpload(id) => {
                    self.uploads.remove(id);
                }
                DbWrite::Photo(hash, content) => {
                    self.photos.entry(*hash).or_insert_with(|| content.clone());
                }
                DbWrite::Arrived(key) => {
                    self.arrived.insert(*key);
                }
            }
        }
    }
}
