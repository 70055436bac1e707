//! Signatures of devices: whether an entry is what its device signed, and what is doubtful about where it came from.
//!
//! A device's key is P-256, made by the browser and never out of it; it signs the header's bytes (envelope key 3, 64 bytes,
//! r then s). Headers are chained, so a good signature vouches for all that stand before it in the chain without a gap.
//! The server looks after it has acknowledged: a doubt is a finding and never a loss.

use super::body::DoubtCode;
use super::entry::{Entry, Envelope};
use super::file::{Held, JobFile};
use crate::ids::{DeviceId, EntryId, Hash32, PersonId};
use crate::wire::from_bytes;
use p256::ecdsa::signature::Verifier;
use p256::ecdsa::{Signature, VerifyingKey};
use std::collections::{BTreeMap, BTreeSet};

/// Does this signature stand over these bytes under this public key (SEC 1)?
pub fn is_signed(key: &[u8], bytes: &[u8], signature: &[u8]) -> bool {
    let (Ok(key), Ok(signature)) = (VerifyingKey::from_sec1_bytes(key), Signature::from_slice(signature)) else {
        return false;
    };
    key.verify(bytes, &signature).is_ok()
}

/// Length of a public key, uncompressed SEC 1.
pub const KEY_BYTES: usize = 65;

/// Is this a public key that signatures can be checked with?
pub fn is_key(bytes: &[u8]) -> bool {
    bytes.len() == KEY_BYTES && VerifyingKey::from_sec1_bytes(bytes).is_ok()
}

/// The signature in an entry's envelope.
pub fn signature_of(entry: &Entry) -> Option<Vec<u8>> {
    let envelope: Envelope = from_bytes(entry.bytes()).ok()?;
    envelope.signature.map(|signature| signature.to_vec())
}

/// How an entry's own signature stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signed {
    /// It has none.
    No,
    /// Its device signed these bytes.
    Good,
    /// Something else stands there.
    Bad,
}

/// Looks at one entry's signature under its device's public key. Without a key none can be good.
pub fn check(entry: &Entry, key: Option<&[u8]>) -> Signed {
    let Ok(envelope) = from_bytes::<Envelope>(entry.bytes()) else { return Signed::Bad };
    match (envelope.signature, key) {
        (None, _) => Signed::No,
        (Some(signature), Some(key)) if is_signed(key, &envelope.header, &signature) => Signed::Good,
        (Some(_), _) => Signed::Bad,
    }
}

/// What is known of an enrolment.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Enrolment {
    /// Whose.
    pub person: PersonId,
    /// Its public key, SEC 1; absent where it never had one.
    pub key: Option<Vec<u8>>,
    /// When its key became known, server clock, microseconds since 1970 UTC: what arrived before is not asked for a signature.
    /// Absent where that is not known; then all of it is.
    pub key_since_us: Option<u64>,
    /// When it was revoked, server clock, microseconds since 1970 UTC.
    pub revoked_us: Option<u64>,
}

/// What is doubtful about where an entry came from. It is kept, shown, and a person decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Doubt {
    /// The signature is not that of its device over these bytes.
    BadSignature,
    /// The device has a key, and nothing signed stands at this place of the chain or after it.
    NotSigned,
    /// No such enrolment.
    UnknownDevice,
    /// The enrolment is somebody else's.
    NotTheirDevice,
    /// It continues the same entry of its device as another one, which arrived first.
    Fork(EntryId),
    /// It arrived after its device was revoked. It may have been made before, and is kept either way.
    AfterRevocation,
}

impl Doubt {
    /// As the server writes it into the log; a fork is a finding of its own.
    pub const fn code(self) -> Option<DoubtCode> {
        match self {
            Self::BadSignature => Some(DoubtCode::BadSignature),
            Self::NotSigned => Some(DoubtCode::NotSigned),
            Self::UnknownDevice => Some(DoubtCode::UnknownDevice),
            Self::NotTheirDevice => Some(DoubtCode::NotTheirDevice),
            Self::AfterRevocation => Some(DoubtCode::AfterRevocation),
            Self::Fork(_) => None,
        }
    }
}

/// How closely signatures are looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Look {
    /// Each one.
    Each,
    /// From the end of a chain back to the first good one, which vouches for the rest. A device whose key is not known yet is
    /// left alone: its key brings its jobs round again.
    Runs,
}

/// What is doubtful of a job file.
pub type Doubts = BTreeMap<EntryId, BTreeSet<Doubt>>;

/// All doubts of a job file, each entry's in their order; an entry without any is absent.
pub fn doubts(file: &JobFile, enrolments: &BTreeMap<DeviceId, Enrolment>) -> Doubts {
    look(file, enrolments, Look::Each)
}

/// The same at the price of one signature a device while all is well: what the server asks after each push.
pub fn doubts_on_arrival(file: &JobFile, enrolments: &BTreeMap<DeviceId, Enrolment>) -> Doubts {
    look(file, enrolments, Look::Runs)
}

fn look(file: &JobFile, enrolments: &BTreeMap<DeviceId, Enrolment>, look: Look) -> Doubts {
    let mut found: BTreeMap<EntryId, BTreeSet<Doubt>> = BTreeMap::new();
    let mut chains: BTreeMap<DeviceId, Vec<&Held>> = BTreeMap::new();
    for held in file.iter() {
        chains.entry(held.entry.header.device).or_default().push(held);
    }
    for (device, mut chain) in chains {
        chain.sort_by_key(|held| (held.entry.header.seq, held.entry.header.id));
        let enrolment = enrolments.get(&device);
        let mut doubt = |held: &Held, doubt| {
            found.entry(held.entry.header.id).or_default().insert(doubt);
        };
        forks(&chain, &mut doubt);
        let Some(enrolment) = enrolment else {
            chain.iter().for_each(|held| doubt(held, Doubt::UnknownDevice));
            continue;
        };
        // The server's own device is nobody's, and also writes down what it did for somebody: that it showed them an answer.
        let is_server = enrolment.person.uuid() == device.uuid();
        for held in &chain {
            if held.entry.header.author != enrolment.person && !is_server {
                doubt(held, Doubt::NotTheirDevice);
            }
            let arrived = held.stamp.map(|stamp| stamp.time_us);
            if enrolment.revoked_us.is_some_and(|revoked| arrived.is_none_or(|arrived| arrived >= revoked)) {
                doubt(held, Doubt::AfterRevocation);
            }
        }
        if enrolment.key.is_some() || look == Look::Each {
            signatures(&chain, enrolment, look, &mut doubt);
        }
    }
    found
}

fn forks<'h>(chain: &[&'h Held], doubt: &mut impl FnMut(&'h Held, Doubt)) {
    let mut by_prev: BTreeMap<Hash32, Vec<&'h Held>> = BTreeMap::new();
    for held in chain {
        by_prev.entry(held.entry.header.prev).or_default().push(held);
    }
    for mut twins in by_prev.into_values() {
        twins.sort_by_key(|held| (held.stamp.map_or(u64::MAX, |stamp| stamp.position), held.entry.header.id));
        let Some((first, later)) = twins.split_first() else { continue };
        later.iter().for_each(|held| doubt(held, Doubt::Fork(first.entry.header.id)));
    }
}

/// From the end of a chain to its beginning: a good signature vouches for what it continues.
fn signatures<'h>(chain: &[&'h Held], enrolment: &Enrolment, look: Look, doubt: &mut impl FnMut(&'h Held, Doubt)) {
    let key = enrolment.key.as_deref();
    let is_asked_for = |held: &Held| {
        let arrived = held.stamp.map(|stamp| stamp.time_us);
        key.is_some() && enrolment.key_since_us.zip(arrived).is_none_or(|(since, arrived)| arrived >= since)
    };
    let mut vouched: BTreeSet<Hash32> = BTreeSet::new();
    for held in chain.iter().rev() {
        let header = &held.entry.header;
        if vouched.contains(&held.entry.hash) {
            vouched.insert(header.prev);
            if look == Look::Each && check(&held.entry, key) == Signed::Bad {
                doubt(held, Doubt::BadSignature);
            }
            continue;
        }
        match check(&held.entry, key) {
            Signed::Bad => doubt(held, Doubt::BadSignature),
            Signed::No if is_asked_for(held) => doubt(held, Doubt::NotSigned),
            Signed::No => {}
            Signed::Good => {
                vouched.insert(header.prev);
            }
        }
    }
}

#[cfg(test)]
mod tests;
