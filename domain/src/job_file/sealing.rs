//! Bodies that belong to the seal, and what arrived after it.

use super::body::Body;
use super::file::JobFile;
use super::record::Record;
use crate::ids::{DeviceId, EntryId, Hash32, PersonId};
use minicbor::{Decode, Encode};
use std::collections::BTreeSet;

/// The server has sealed the file up to a position. It stands outside of the seal that it tells of.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Sealed {
    /// Seals of a job count from 1.
    #[n(0)]
    pub number: u32,
    /// The last position inside.
    #[n(1)]
    pub up_to: u64,
    /// SHA-256 of the manifest that was signed.
    #[n(2)]
    pub manifest: Hash32,
    /// Fingerprint of the key that signed it.
    #[n(3)]
    pub key: Hash32,
    /// Who asked for it.
    #[n(4)]
    pub by: PersonId,
}

/// A number that the server drew: what follows it in its device's chain is younger.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct DrawnNumber {
    /// The number.
    #[n(0)]
    pub number: Hash32,
}

/// The newest seal of a record.
pub fn last_seal<'a>(record: &Record<'a>) -> Option<&'a Sealed> {
    record.seals.values().copied().max_by_key(|sealed| sealed.number)
}

/// What arrived after the newest seal and is a reason for the next one. What the server writes by itself is none, and
/// neither is one of its numbers, which says nothing of the job.
pub(super) fn after_seal(file: &JobFile, record: &Record<'_>) -> BTreeSet<EntryId> {
    let Some(last) = last_seal(record) else { return BTreeSet::new() };
    file.iter()
        .filter(|held| held.stamp.is_some_and(|stamp| stamp.position > last.up_to))
        .filter(|held| !held.entry.body().is_some_and(is_no_news))
        .map(|held| held.entry.header.id)
        .collect()
}

/// Says nothing that a person would have to look at after review or seal.
pub(super) const fn is_no_news(body: &Body) -> bool {
    matches!(
        body,
        Body::Sealed(_) | Body::Finding(_) | Body::OriginDoubt(_) | Body::DrawnNumber(_) | Body::VoiceAnswers(_)
    )
}

/// Microseconds of a day.
const DAY_US: u64 = 24 * 60 * 60 * 1_000_000;

/// Whether a device that is about to write should write the server's number first: once a job and day, and never before the entry that
/// opens the file has arrived, for the server could not tell where it belongs.
pub fn wants_number(file: &JobFile, device: DeviceId, number: &Hash32, now_us: u64) -> bool {
    let today = now_us / DAY_US;
    file.head() > 0
        && !file.iter().filter(|held| held.entry.header.device == device).any(|held| match held.entry.body() {
            Some(Body::DrawnNumber(drawn)) => drawn.number == *number || held.entry.header.hlc / DAY_US >= today,
            _ => false,
        })
}
