//! What a person was told: saved here, with the server. Anything that is taken back later is a contradiction.

use std::collections::{BTreeMap, BTreeSet};

use domain::ids::{EntryId, Hash32, JobId};
use domain::job_file::{Entry, Stamp};
use domain::tray::{PhotoKey, PhotoRow, PhotoWrite, Plan, Write};

/// The words of one device.
#[derive(Clone, Debug, Default)]
pub struct Ledger {
    /// "Saved on this device": the hash of each entry's bytes.
    pub entries_saved: BTreeMap<EntryId, (JobId, Hash32)>,
    /// The same of photo files.
    pub photos_saved: BTreeSet<PhotoKey>,
    /// "With the server": own entries and their stamps.
    pub acknowledged: BTreeMap<EntryId, Stamp>,
    /// The same of photo files.
    pub photos_stored: BTreeSet<PhotoKey>,
    /// Stamps of all entries that were seen, others' too.
    pub stamps: BTreeMap<EntryId, Stamp>,
    /// Of each job, how far everything was pulled.
    pub positions: BTreeMap<JobId, u64>,
    /// What contradicts what was said before, and what nobody should have been told.
    pub contradictions: Vec<String>,
}

impl Ledger {
    pub(super) fn saved(&mut self, entry: &Entry, photos: &[(PhotoRow, Vec<u8>)]) {
        self.entries_saved.insert(entry.header.id, (entry.header.job, Hash32::sha256(entry.bytes())));
        self.photos_saved.extend(photos.iter().map(|(row, _)| row.key()));
    }

    /// Hears what an answer means before it is written down.
    pub fn told(&mut self, plan: &Plan) {
        for write in &plan.writes {
            match write {
                Write::Confirm(id, stamp) => {
                    self.acknowledged.insert(*id, *stamp);
                    self.stamped(*id, *stamp);
                }
                Write::Store { id, stamp, .. } => {
                    if self.entries_saved.contains_key(id) {
                        self.acknowledged.insert(*id, *stamp);
                    }
                    self.stamped(*id, *stamp);
                }
                Write::Position(job, position) => {
                    let before = self.positions.insert(*job, *position).unwrap_or(0);
                    if *position < before {
                        self.contradictions.push(format!("job {job} went back from position {before} to {position}"));
                    }
                }
                Write::Photo(key, PhotoWrite::Confirm { .. }) => {
                    self.photos_stored.insert(*key);
                }
                Write::Photo(key, PhotoWrite::SetAside(why)) => {
                    self.contradictions.push(format!("photo {} was set aside: {why:?}", key.hash));
                }
                Write::Hold(id, why) => self.contradictions.push(format!("entry {id} is held: {why:?}")),
                Write::SetAside(id, why) => self.contradictions.push(format!("entry {id} was set aside: {why:?}")),
                Write::Epoch { offer_again: true, .. } => {
                    self.contradictions.push("the server says that it was restored".to_owned());
                }
                Write::Rest { .. }
                | Write::Drop(_)
                | Write::Epoch { .. }
                | Write::Photo(..)
                | Write::Reference { .. }
                | Write::Method(..) => {}
            }
        }
    }

    fn stamped(&mut self, id: EntryId, stamp: Stamp) {
        let before = self.stamps.insert(id, stamp);
        if let Some(before) = before
            && before != stamp
        {
            self.contradictions.push(format!("entry {id} was stamped {before:?} and then {stamp:?}"));
        }
    }
}
