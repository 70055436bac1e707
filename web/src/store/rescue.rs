//! Work of another device, out of a rescue file: it joins the tray as if it had been recorded here.

use std::collections::{BTreeMap, BTreeSet};

use domain::ids::{EntryId, JobId};
use domain::job_file::Entry;
use domain::tray::{Delivery, EntryRow, PhotoDelivery, PhotoRow};

use super::JobStore;
use crate::adapters::file_bytes::FileBytes;
use crate::ports::local_store::StoreError;

/// Out of a row of another device: what the server has not confirmed there. `None` for what it has, and for what cannot be read.
pub fn entry_to_bring(row: &[u8]) -> Option<Entry> {
    let row = EntryRow::read(row).ok()?;
    if row.delivery == Delivery::Confirmed {
        return None;
    }
    Entry::read(&row.envelope).ok()
}

/// As [`entry_to_bring`]; its bytes come apart.
pub fn photo_to_bring(row: &[u8]) -> Option<PhotoRow> {
    let row = PhotoRow::read(row).ok()?;
    match row.delivery {
        PhotoDelivery::Confirmed { .. } => None,
        PhotoDelivery::Waiting { .. } | PhotoDelivery::Aside(_) => {
            Some(PhotoRow { delivery: PhotoDelivery::fresh(), bytes_here: true, ..row })
        }
    }
}

/// Of one job.
#[derive(Default)]
struct Brought {
    entries: Vec<Entry>,
    photos: Vec<(PhotoRow, FileBytes)>,
}

impl JobStore {
    /// Takes in entries of this person that another device recorded, and photos with their bytes. What is here already stays as it is.
    /// Gives how many entries were new.
    ///
    /// # Errors
    /// [`StoreError`]; jobs before the one that failed have been taken in, and a second run takes in the rest.
    pub async fn bring_in(&self, entries: Vec<Entry>, photos: Vec<(PhotoRow, FileBytes)>) -> Result<usize, StoreError> {
        let mut by_job: BTreeMap<JobId, Brought> = BTreeMap::new();
        for entry in entries.into_iter().filter(|entry| entry.header.author == self.who().person) {
            by_job.entry(entry.header.job).or_default().entries.push(entry);
        }
        for photo in photos {
            by_job.entry(photo.0.job).or_default().photos.push(photo);
        }
        let mut taken = 0;
        for (job, Brought { entries, photos }) in by_job {
            let make = std::rc::Rc::new(move |rows: &[(EntryId, EntryRow)], _: u64| {
                let here: BTreeSet<EntryId> = rows.iter().map(|(id, _)| *id).collect();
                entries.iter().filter(|entry| !here.contains(&entry.header.id)).cloned().collect::<Vec<_>>()
            });
            taken += self.local().keep(job, make, photos).await?.len();
            self.changed([job]);
            self.wrote();
        }
        Ok(taken)
    }
}
