//! What a device keeps, in memory: the reference for every store. The simulation and the browser's tests run on it, and
//! IndexedDB does the same on disk.

use super::on_device::{JobHere, OnDevice, TrayEntry, TrayPhoto};
use super::plan::{PhotoWrite, Plan, Write};
use super::row::{Delivery, EntryRow, PhotoDelivery, PhotoKey, PhotoRow};
use crate::ids::{EntryId, Hash32, JobId};
use crate::job_file::body::MethodRef;
use crate::job_file::{Entry, JobFile};
use std::collections::BTreeMap;

/// Everything that a device keeps.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Shelf {
    /// Entries by id, with their job.
    pub entries: BTreeMap<EntryId, (JobId, EntryRow)>,
    /// Photos.
    pub photos: BTreeMap<PhotoKey, PhotoRow>,
    /// Photo bytes by hash.
    pub photo_bytes: BTreeMap<Hash32, Vec<u8>>,
    /// Jobs.
    pub jobs: BTreeMap<JobId, JobHere>,
    /// The server's life.
    pub epoch: Vec<u8>,
    /// Reference data as it came, with its version.
    pub reference: Option<(u64, Vec<u8>)>,
    /// Methods.
    pub methods: BTreeMap<MethodRef, Vec<u8>>,
}

/// What a confirmation does to a row.
pub fn confirm_row(row: &mut EntryRow, stamp: crate::job_file::Stamp) {
    row.stamp = Some(stamp);
    row.delivery = Delivery::Confirmed;
}

/// What an entry from the server makes of the row that is here, if any.
pub fn merge_pulled(here: Option<EntryRow>, envelope: Vec<u8>, stamp: crate::job_file::Stamp) -> EntryRow {
    match here {
        None => EntryRow { envelope: envelope.into(), stamp: Some(stamp), delivery: Delivery::Confirmed },
        Some(mut row) if row.envelope.as_slice() == envelope.as_slice() => {
            confirm_row(&mut row, stamp);
            row
        }
        Some(row) => match row.delivery {
            // The server has never been given our bytes, or has lost them: they go, and it answers that it holds them.
            // To call them held now would leave them on this device alone.
            Delivery::Waiting { .. } => row,
            Delivery::Confirmed => EntryRow { delivery: Delivery::FRESH, ..row },
            Delivery::Held(_) | Delivery::Aside(_) => row,
        },
    }
}

/// What a new life of the server does to an entry: it is offered again, with a clean slate. What a person must look at
/// stays so.
pub fn offer_entry_again(row: &mut EntryRow) {
    match row.delivery {
        Delivery::Confirmed | Delivery::Waiting { .. } | Delivery::Held(_) => row.delivery = Delivery::FRESH,
        Delivery::Aside(_) => {}
    }
}

/// The same for a photo whose bytes are still here.
pub fn offer_photo_again(row: &mut PhotoRow) {
    match row.delivery {
        PhotoDelivery::Confirmed { .. } | PhotoDelivery::Waiting { .. } if row.bytes_here => {
            row.delivery = PhotoDelivery::fresh();
        }
        PhotoDelivery::Confirmed { .. } | PhotoDelivery::Waiting { .. } | PhotoDelivery::Aside(_) => {}
    }
}

/// What a write does to a photo's row. A confirmed photo stays confirmed: only a new life of the server reopens it.
pub fn change_photo(row: &mut PhotoRow, change: PhotoWrite) {
    let PhotoDelivery::Waiting { tries, not_before_ms, upload, offset, restarted } = &mut row.delivery else {
        if let (PhotoDelivery::Aside(_), PhotoWrite::Confirm { at_ms }) = (&row.delivery, &change) {
            row.delivery = PhotoDelivery::Confirmed { at_ms: *at_ms };
        }
        return;
    };
    match change {
        PhotoWrite::Confirm { at_ms } => row.delivery = PhotoDelivery::Confirmed { at_ms },
        PhotoWrite::Upload { upload: address, offset: arrived } => {
            if arrived > *offset {
                (*tries, *not_before_ms) = (0, 0);
            }
            (*upload, *offset) = (address, arrived);
        }
        PhotoWrite::StartOver => {
            (*upload, *offset, *restarted) = (None, 0, true);
        }
        PhotoWrite::Rest { tries: failed, not_before_ms: until } => (*tries, *not_before_ms) = (failed, until),
        PhotoWrite::SetAside(why) => row.delivery = PhotoDelivery::Aside(why),
    }
}

/// What a person's "send it again" does. Each says whether anything changed.
pub mod resend {
    use super::{Delivery, EntryRow, PhotoDelivery, PhotoRow};

    /// An entry that was set aside or rests goes again.
    pub fn entry(row: &mut EntryRow) -> bool {
        match row.delivery {
            Delivery::Aside(_) | Delivery::Waiting { tries: 1.., .. } => {
                row.delivery = Delivery::FRESH;
                true
            }
            Delivery::Waiting { tries: 0, .. } | Delivery::Confirmed | Delivery::Held(_) => false,
        }
    }

    /// A photo that was set aside or rests goes again, where its upload stood.
    pub fn photo(row: &mut PhotoRow) -> bool {
        match &mut row.delivery {
            PhotoDelivery::Aside(_) => row.delivery = PhotoDelivery::fresh(),
            PhotoDelivery::Waiting { tries, not_before_ms, .. } if *tries > 0 => (*tries, *not_before_ms) = (0, 0),
            PhotoDelivery::Waiting { .. } | PhotoDelivery::Confirmed { .. } => return false,
        }
        true
    }
}

/// What resting or refusing does to an entry's row. A row that was confirmed meanwhile stays so.
pub fn change_entry(row: &mut EntryRow, delivery: Delivery) {
    if row.delivery != Delivery::Confirmed {
        row.delivery = delivery;
    }
}

impl Shelf {
    /// Keeps new entries and photos. Nothing of it is seen before all of it is there.
    pub fn keep(&mut self, entries: &[Entry], photos: &[(PhotoRow, Vec<u8>)]) {
        for entry in entries {
            let row = EntryRow { envelope: entry.bytes().to_vec().into(), stamp: None, delivery: Delivery::FRESH };
            self.entries.entry(entry.header.id).or_insert((entry.header.job, row));
            self.jobs.entry(entry.header.job).or_default();
        }
        for (row, bytes) in photos {
            self.photos.entry(row.key()).or_insert_with(|| row.clone());
            self.photo_bytes.insert(row.file.hash, bytes.clone());
        }
    }

    /// The job file as it stands here.
    pub fn job_file(&self, job: JobId) -> JobFile {
        let mut file = JobFile::default();
        for (_, row) in self.entries.values().filter(|(of, _)| *of == job) {
            if let Ok(entry) = Entry::read(&row.envelope) {
                file.absorb(entry, row.stamp);
            }
        }
        file
    }

    /// Describes itself for the tray.
    pub fn on_device(&self) -> OnDevice {
        OnDevice {
            entries: self.entries.iter().filter_map(|(id, (job, row))| TrayEntry::of(*id, *job, row)).collect(),
            photos: self.photos.values().filter_map(TrayPhoto::of).collect(),
            jobs: self.jobs.clone(),
            epoch: self.epoch.clone(),
            reference_version: self.reference.as_ref().map_or(0, |(version, _)| *version),
            methods: self.methods.keys().cloned().collect(),
        }
    }

    /// Applies a plan.
    pub fn apply(&mut self, plan: Plan) {
        for write in plan.writes {
            self.write(write);
        }
    }

    fn write(&mut self, write: Write) {
        match write {
            Write::Confirm(id, stamp) => self.with_entry(id, |row| confirm_row(row, stamp)),
            Write::Hold(id, why) => self.with_entry(id, |row| change_entry(row, Delivery::Held(why))),
            Write::SetAside(id, why) => self.with_entry(id, |row| change_entry(row, Delivery::Aside(why))),
            Write::Rest { id, tries, not_before_ms } => {
                self.with_entry(id, |row| change_entry(row, Delivery::Waiting { tries, not_before_ms }));
            }
            Write::Store { job, id, stamp, envelope } => {
                let (own, here) = self.entries.remove(&id).map_or((job, None), |(own, row)| (own, Some(row)));
                self.entries.insert(id, (own, merge_pulled(here, envelope, stamp)));
                self.jobs.entry(job).or_default();
            }
            Write::Position(job, position) => self.jobs.entry(job).or_default().position = position,
            Write::Drop(job) => self.drop_job(job),
            Write::Epoch { epoch, offer_again } => {
                self.epoch = epoch;
                if offer_again {
                    self.jobs.values_mut().for_each(|job| job.position = 0);
                    self.entries.values_mut().for_each(|(_, row)| offer_entry_again(row));
                    self.photos.values_mut().for_each(offer_photo_again);
                }
            }
            Write::Photo(key, change) => {
                if let Some(row) = self.photos.get_mut(&key) {
                    change_photo(row, change);
                }
            }
            Write::Reference { version, bytes } => self.reference = Some((version, bytes)),
            Write::Method(method, bytes) => {
                self.methods.insert(method, bytes);
            }
        }
    }

    fn with_entry(&mut self, id: EntryId, change: impl FnOnce(&mut EntryRow)) {
        if let Some((_, row)) = self.entries.get_mut(&id) {
            change(row);
        }
    }

    fn drop_job(&mut self, job: JobId) {
        if !self.on_device().is_clear(job) {
            return;
        }
        self.jobs.remove(&job);
        self.entries.retain(|_, (of, _)| *of != job);
        self.photos.retain(|key, _| key.job != job);
        let photos = &self.photos;
        self.photo_bytes.retain(|hash, _| photos.keys().any(|key| key.hash == *hash));
    }
}
