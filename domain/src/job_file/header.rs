//! The part of an entry that is hashed, chained, signed and sealed. It names no person in words and holds no free text.

use crate::ids::{DeviceId, EntryId, FirmId, Hash32, JobId, PersonId};
use minicbor::{Decode, Encode};
use sha2::{Digest, Sha256};

/// Version of the header's bytes. A change of any byte needs a new one and its own golden bytes.
pub const HEADER_VERSION: u8 = 1;

/// Stands before the header's bytes when they are hashed, so that no other kind of record can have the same hash.
const HASH_PREFIX: &[u8] = b"witnessmark entry header 1\0";

/// Who, on which device, when, in which place of the chain, and which body.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Header {
    /// [`HEADER_VERSION`].
    #[n(0)]
    pub version: u8,
    /// UUIDv7 made on the device when the screen opened, so that a second tap is the same entry.
    #[n(1)]
    pub id: EntryId,
    /// The tenant.
    #[n(2)]
    pub firm: FirmId,
    /// The job whose file this belongs to.
    #[n(3)]
    pub job: JobId,
    /// Who wrote it.
    #[n(4)]
    pub author: PersonId,
    /// On which enrolment.
    #[n(5)]
    pub device: DeviceId,
    /// Counts the device's entries in this job from 1.
    #[n(6)]
    pub seq: u64,
    /// The device's hybrid clock, microseconds since 1970 UTC: later than all that the device holds.
    #[n(7)]
    pub hlc: u64,
    /// Hash of the device's previous header in this job; [`Hash32::NONE`] for its first.
    #[n(8)]
    pub prev: Hash32,
    /// Position of the job that the device had pulled when it wrote this.
    #[n(9)]
    pub seen: u64,
    /// Which body ([`super::body::Body::kind`]).
    #[n(10)]
    pub kind: u32,
    /// An app that does not know the kind must shut the job's gates.
    #[n(11)]
    pub must_understand: bool,
    /// SHA-256 of 16 random bytes and the body, so that a body can be erased and nobody can guess what it was.
    #[n(12)]
    pub body_hash: Hash32,
}

impl Header {
    /// The hash that the next header of this device names as `prev`. `bytes` are the header's bytes as they came.
    pub fn hash_of(bytes: &[u8]) -> Hash32 {
        let mut sha = Sha256::new();
        sha.update(HASH_PREFIX);
        sha.update(bytes);
        Hash32::of(sha.finalize().into())
    }
}

/// The hash of a body with its salt.
pub fn body_hash(salt: &[u8; 16], body: &[u8]) -> Hash32 {
    let mut sha = Sha256::new();
    sha.update(salt);
    sha.update(body);
    Hash32::of(sha.finalize().into())
}
