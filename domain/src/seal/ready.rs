//! When a job may be sealed, and what stands in the way. The server decides with it, the desk shows it beforehand.

use crate::ids::{EntryId, Hash32};
use crate::job_file::{JobState, sealing::last_seal};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// What stands in the way of a seal.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum Obstacle {
    /// The review has not passed.
    NotPassed,
    /// Nobody has dealt with this breach.
    Breach {
        /// The entry.
        entry: EntryId,
    },
    /// A photo has not arrived and nobody has said that it will not.
    Photo {
        /// SHA-256 of the file.
        photo: Hash32,
        /// The first entry that names it.
        entry: EntryId,
    },
    /// Entries of a newer app, which this one cannot judge.
    NeedsNewer,
    /// Everything is inside the newest seal.
    NothingNew,
}

/// What stands in the way of the next seal; nothing means that it may be made. `arrived`: photos that the server has.
pub fn obstacles(state: &JobState<'_, '_>, arrived: &BTreeSet<Hash32>) -> Vec<Obstacle> {
    let record = state.gate.record();
    let mut found = Vec::new();
    if !state.phase.has_passed() {
        found.push(Obstacle::NotPassed);
    }
    if !record.not_understood.is_empty() {
        found.push(Obstacle::NeedsNewer);
    }
    found.extend(state.open_breaches().map(|(entry, _)| Obstacle::Breach { entry: *entry }));
    let missing = photos_missing(state, arrived);
    found.extend(missing.into_iter().map(|(photo, entry)| Obstacle::Photo { photo, entry }));
    if found.is_empty() && last_seal(record).is_some() && state.after_seal.is_empty() {
        found.push(Obstacle::NothingNew);
    }
    found
}

/// Files that entries name, that have not arrived and that nobody has said will not come. Where an original will not
/// come, nobody waits for its preview.
fn photos_missing(state: &JobState<'_, '_>, arrived: &BTreeSet<Hash32>) -> BTreeMap<Hash32, EntryId> {
    let absent = &state.gate.record().photos_absent;
    let mut missing = BTreeMap::new();
    for held in state.file.iter().filter(|held| held.stamp.is_some()) {
        let Some(body) = held.entry.body() else { continue };
        let files = body.photo_files();
        if files.first().is_some_and(|original| absent.contains_key(&original.hash)) {
            continue;
        }
        for file in files.iter().filter(|file| !arrived.contains(&file.hash) && !absent.contains_key(&file.hash)) {
            missing.entry(file.hash).or_insert(held.entry.header.id);
        }
    }
    missing
}
