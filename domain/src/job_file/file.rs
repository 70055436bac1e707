//! The set of entries that somebody holds of one job. Merging two is their union; order is computed, never stored.

use super::body::Body;
use super::entry::{ChainHead, Draft, Entry};
use crate::ids::{DeviceId, EntryId, FirmId, Hash32, JobId, PersonId, uuid_v7};
use minicbor::{Decode, Encode};
use std::collections::{BTreeMap, BTreeSet};

/// What the server adds on arrival, under the firm's lock: never part of the entry's bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Stamp {
    /// Server time, microseconds since 1970 UTC, never going back within a firm.
    #[n(0)]
    pub time_us: u64,
    /// Place in the job's order of arrival, from 1 without gaps.
    #[n(1)]
    pub position: u64,
}

/// An entry with its stamp, once it has one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Held {
    /// The fact.
    pub entry: Entry,
    /// The server's stamp.
    pub stamp: Option<Stamp>,
}

/// Where an entry stands in the fold: `(at, device, seq)`, and its id so that even a forked chain has one order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct OrderKey {
    /// When, as far as anybody can vouch for it: microseconds since 1970 UTC.
    pub at: u64,
    /// Breaks ties.
    pub device: DeviceId,
    /// Breaks ties within a device.
    pub seq: u64,
    /// Breaks ties of a forked chain.
    pub id: EntryId,
}

/// What became of an entry that was offered to a job file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Absorbed {
    /// It was not there.
    New,
    /// It was there; nothing changed.
    Had,
    /// It was there and now has a stamp.
    Stamped,
    /// The same id with other bytes is there; nothing changed.
    Conflict,
}

/// All entries of one job that are held here.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct JobFile {
    entries: BTreeMap<EntryId, Held>,
}

impl JobFile {
    /// A file that says these things, by nobody: for a plan that is not written yet. It never leaves the caller.
    pub fn imagined(job: JobId, bodies: impl IntoIterator<Item = Body>) -> Self {
        let (mut file, mut head) = (Self::default(), ChainHead::START);
        let nobody = uuid_v7(0, &[1; 10]);
        for (number, body) in (1_u64..).zip(bodies) {
            let draft = Draft {
                id: EntryId::of(uuid_v7(number, &[2; 10])),
                firm: FirmId::of(nobody),
                job,
                author: PersonId::of(nobody),
                device: DeviceId::of(nobody),
                salt: [0; 16],
                body,
            };
            let entry = Entry::write(draft, head, 0, number, head.hlc);
            head = entry.as_head();
            file.absorb(entry, None);
        }
        file
    }

    /// Words that are nothing but the name under a confirmation or a signature, whether that counts or not: they are read there and are
    /// no notes.
    pub fn names(&self) -> BTreeSet<EntryId> {
        let named = |held: &Held| match held.entry.body()? {
            Body::Confirmation(confirmation) => confirmation.named_in,
            Body::Signature(signature) => signature.named_in,
            _ => None,
        };
        self.iter().filter_map(named).collect()
    }

    /// Takes an entry in. Doing it again, or in another order, changes nothing.
    pub fn absorb(&mut self, entry: Entry, stamp: Option<Stamp>) -> Absorbed {
        match self.entries.get_mut(&entry.header.id) {
            None => {
                self.entries.insert(entry.header.id, Held { entry, stamp });
                Absorbed::New
            }
            Some(held) if held.entry.bytes() != entry.bytes() => Absorbed::Conflict,
            Some(held) if held.stamp.is_none() && stamp.is_some() => {
                held.stamp = stamp;
                Absorbed::Stamped
            }
            Some(_) => Absorbed::Had,
        }
    }

    /// How many entries.
    pub fn len(&self) -> usize {
        self.entries.len()
    }

    /// Nothing is held.
    pub fn is_empty(&self) -> bool {
        self.entries.is_empty()
    }

    /// One entry.
    pub fn get(&self, id: EntryId) -> Option<&Held> {
        self.entries.get(&id)
    }

    /// All entries by id.
    pub fn iter(&self) -> impl Iterator<Item = &Held> {
        self.entries.values()
    }

    /// The greatest position held: what a new entry names as `seen`.
    pub fn head(&self) -> u64 {
        self.entries.values().filter_map(|held| held.stamp).map(|stamp| stamp.position).max().unwrap_or(0)
    }

    /// Where a device's chain stands.
    pub fn chain_head(&self, device: DeviceId) -> ChainHead {
        self.entries
            .values()
            .filter(|held| held.entry.header.device == device)
            .max_by_key(|held| (held.entry.header.seq, held.entry.header.id))
            .map_or(ChainHead::START, |held| held.entry.as_head())
    }

    /// The greatest `at` held; a new entry's `hlc` must be later.
    pub fn latest_at(&self) -> u64 {
        self.order_keys().values().map(|key| key.at).max().unwrap_or(0)
    }

    /// By how much a device's clock ran ahead of the server's when its newest stamped entry was written, in microseconds; 0 where nothing
    /// tells of it.
    pub fn ahead_us(&self, device: DeviceId) -> u64 {
        let own = self.entries.values().filter(|held| held.entry.header.device == device);
        let newest = own
            .filter_map(|held| held.stamp.map(|stamp| (held.entry.header.seq, held, stamp)))
            .max_by_key(|(seq, ..)| *seq);
        newest.map_or(0, |(_, held, stamp)| held.entry.header.hlc.saturating_sub(stamp.time_us))
    }

    /// The fold order of every entry.
    ///
    /// `at = max(at(prev), min(hlc, stamp))`, and plain `hlc` while there is no stamp. So a fast clock cannot win for
    /// ever, and nothing comes before what its own device wrote earlier.
    pub fn order_keys(&self) -> BTreeMap<EntryId, OrderKey> {
        let mut by_seq: Vec<&Held> = self.entries.values().collect();
        by_seq.sort_by_key(|held| (held.entry.header.device, held.entry.header.seq, held.entry.header.id));
        let mut at_by_hash: BTreeMap<Hash32, u64> = BTreeMap::new();
        let mut keys = BTreeMap::new();
        for held in by_seq {
            let header = &held.entry.header;
            let own = held.stamp.map_or(header.hlc, |stamp| header.hlc.min(stamp.time_us));
            let before = at_by_hash.get(&header.prev).copied().unwrap_or(0);
            let at = own.max(before);
            at_by_hash.insert(held.entry.hash, at);
            keys.insert(header.id, OrderKey { at, device: header.device, seq: header.seq, id: header.id });
        }
        keys
    }
}
