//! What is on the device, as far as sync must know. The store describes itself with it before each request.

use super::row::{Delivery, EntryRow, PhotoDelivery, PhotoKey, PhotoRole, PhotoRow};
use super::sealed;
use super::{REST_MAX_MS, STUCK_TRIES};
use crate::ids::{DeviceId, EntryId, JobId};
use crate::job_file::Entry;
use crate::job_file::body::MethodRef;
use std::collections::{BTreeMap, BTreeSet};

/// An entry that the server has not stamped, or that must be offered again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TrayEntry {
    /// Which.
    pub id: EntryId,
    /// Of which job.
    pub job: JobId,
    /// Whose chain.
    pub device: DeviceId,
    /// Its place in the chain.
    pub seq: u64,
    /// When it was written, by its device's hybrid clock; `None` where this app cannot read its header.
    pub made_ms: Option<u64>,
    /// Bytes of its envelope.
    pub bytes: usize,
    /// It was stamped by an earlier life of the server.
    pub again: bool,
    /// How far it got; never `Confirmed`.
    pub delivery: Delivery,
}

impl TrayEntry {
    /// The tray's view of a row; `None` when there is nothing left to do for it. `job` and `id` are the row's key
    /// columns: they stand even where the envelope is of a newer app.
    pub fn of(id: EntryId, job: JobId, row: &EntryRow) -> Option<Self> {
        if row.delivery == Delivery::Confirmed {
            return None;
        }
        let header = match Entry::read(&row.envelope) {
            Ok(entry) => Some(entry.header),
            // Sealed on this device: its header stands in the clear.
            Err(_) => sealed::header_of(&row.envelope),
        };
        let (device, seq) =
            header.as_ref().map_or_else(|| (DeviceId::of(id.uuid()), 0), |header| (header.device, header.seq));
        let made_ms = header.map(|header| header.hlc / 1_000);
        let again = row.stamp.is_some();
        Some(Self { id, job, device, seq, made_ms, bytes: row.envelope.len(), again, delivery: row.delivery })
    }
}

/// A photo file that the server has not confirmed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TrayPhoto {
    /// Which, in which job.
    pub key: PhotoKey,
    /// Previews travel first.
    pub role: PhotoRole,
    /// How many bytes.
    pub bytes: u64,
    /// When it was kept here.
    pub added_ms: u64,
    /// How far it got; never `Confirmed`.
    pub delivery: PhotoDelivery,
}

impl TrayPhoto {
    /// The tray's view of a row; `None` when the server has it.
    pub fn of(row: &PhotoRow) -> Option<Self> {
        match row.delivery {
            PhotoDelivery::Confirmed { .. } => None,
            PhotoDelivery::Waiting { .. } | PhotoDelivery::Aside(_) => Some(Self {
                key: row.key(),
                role: row.role,
                bytes: row.file.bytes,
                added_ms: row.added_ms,
                delivery: row.delivery.clone(),
            }),
        }
    }
}

/// A job on the device.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct JobHere {
    /// Everything of the job up to here was pulled.
    pub position: u64,
    /// Somebody opened it here although it is not among the usual ones.
    pub asked: bool,
}

/// The whole of it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OnDevice {
    /// Entries that are not confirmed.
    pub entries: Vec<TrayEntry>,
    /// Photos that are not confirmed.
    pub photos: Vec<TrayPhoto>,
    /// Jobs with their positions.
    pub jobs: BTreeMap<JobId, JobHere>,
    /// The server life that the positions belong to; empty before the first contact.
    pub epoch: Vec<u8>,
    /// Version of the reference data here; 0 when there is none.
    pub reference_version: u64,
    /// Methods here.
    pub methods: BTreeSet<MethodRef>,
}

/// How much is in a tray, for the sign in the corner.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Entries on their way.
    pub entries: u32,
    /// Previews on their way.
    pub previews: u32,
    /// Originals on their way.
    pub originals: u32,
    /// Bytes of photos on their way.
    pub photo_bytes: u64,
    /// Of those on their way, how many failed again and again and rest between tries.
    pub stuck: u32,
    /// Entries that the server holds for a person to look at.
    pub held: u32,
    /// Entries and photos set aside.
    pub aside: u32,
    /// When the oldest of what is on its way or set aside was made, device clock: since then it is on this device only.
    pub oldest_ms: Option<u64>,
}

impl Counts {
    /// Items that are on this device only.
    pub const fn waiting(&self) -> u32 {
        self.entries + self.previews + self.originals
    }

    fn only_here_since(&mut self, ms: Option<u64>) {
        self.oldest_ms = [self.oldest_ms, ms].into_iter().flatten().min();
    }

    fn add_entry(&mut self, entry: &TrayEntry) {
        match entry.delivery {
            Delivery::Waiting { tries, .. } => {
                self.entries += 1;
                self.stuck += u32::from(tries >= STUCK_TRIES);
                self.only_here_since(entry.made_ms);
            }
            Delivery::Held(_) => self.held += 1,
            Delivery::Aside(_) => {
                self.aside += 1;
                self.only_here_since(entry.made_ms);
            }
            Delivery::Confirmed => {}
        }
    }

    fn add_photo(&mut self, photo: &TrayPhoto) {
        match &photo.delivery {
            PhotoDelivery::Waiting { tries, offset, .. } => {
                match photo.role {
                    PhotoRole::Preview => self.previews += 1,
                    PhotoRole::Original => self.originals += 1,
                }
                self.photo_bytes += photo.bytes.saturating_sub(*offset);
                self.stuck += u32::from(*tries >= STUCK_TRIES);
                self.only_here_since(Some(photo.added_ms));
            }
            PhotoDelivery::Aside(_) => {
                self.aside += 1;
                self.only_here_since(Some(photo.added_ms));
            }
            PhotoDelivery::Confirmed { .. } => {}
        }
    }
}

impl OnDevice {
    /// Those of these methods that are not here.
    pub(super) fn without(&self, methods: Vec<MethodRef>) -> impl Iterator<Item = MethodRef> {
        methods.into_iter().filter(|method| !self.methods.contains(method))
    }

    /// Counts over everything.
    pub fn counts(&self) -> Counts {
        let mut counts = Counts::default();
        self.entries.iter().for_each(|entry| counts.add_entry(entry));
        self.photos.iter().for_each(|photo| counts.add_photo(photo));
        counts
    }

    /// Counts by job; a job without anything is absent.
    pub fn counts_by_job(&self) -> BTreeMap<JobId, Counts> {
        let mut by_job: BTreeMap<JobId, Counts> = BTreeMap::new();
        self.entries.iter().for_each(|entry| by_job.entry(entry.job).or_default().add_entry(entry));
        self.photos.iter().for_each(|photo| by_job.entry(photo.key.job).or_default().add_photo(photo));
        by_job
    }

    /// Nothing of this job is unconfirmed, held or set aside: the device may forget it.
    pub fn is_clear(&self, job: JobId) -> bool {
        !self.entries.iter().any(|entry| entry.job == job) && !self.photos.iter().any(|photo| photo.key.job == job)
    }
}

/// A time has come. One that is absurdly far ahead was written by a clock that has since been set back.
pub(super) const fn is_due(not_before_ms: u64, now_ms: u64) -> bool {
    not_before_ms <= now_ms || not_before_ms - now_ms > REST_MAX_MS
}
