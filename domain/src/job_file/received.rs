//! Whether an entry says to have seen less than its device had received.
//!
//! Gates judge an entry by what its device had seen. Whoever could say "I have not seen that the locks are off" would be let in where a
//! gate is shut. A device says with each pull how far it has received a job and how far its own chain there goes; what it writes after
//! that cannot have seen less. No clock is asked.

use super::JobFile;
use crate::ids::{DeviceId, EntryId};
use std::collections::BTreeMap;

/// What a device said with a pull: its chain went so far, and it had received so much.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Received {
    /// The first place in its chain that was not written yet.
    pub from_seq: u64,
    /// Position up to which it had received the job.
    pub position: u64,
}

/// Entries that were written as if something of others were not there that their device had received, in the order of their chains.
pub fn seen_less(file: &JobFile, received: &BTreeMap<DeviceId, Vec<Received>>) -> Vec<EntryId> {
    let stamped = |held: &super::Held| held.stamp.map(|stamp| (stamp.position, held.entry.header.device));
    let by_position: BTreeMap<u64, DeviceId> = file.iter().filter_map(stamped).collect();
    let mut found: Vec<(DeviceId, u64, EntryId)> = Vec::new();
    for held in file.iter() {
        let header = &held.entry.header;
        let own = received.get(&header.device).into_iter().flatten().filter(|said| said.from_seq <= header.seq);
        let Some(had) = own.map(|said| said.position).max().filter(|had| *had > header.seen) else { continue };
        // What comes back of its own a device had before it was told so.
        if by_position.range(header.seen + 1..=had).any(|(_, device)| *device != header.device) {
            found.push((header.device, header.seq, header.id));
        }
    }
    found.sort_unstable();
    found.into_iter().map(|(_, _, id)| id).collect()
}
