//! What the server signs when a job is sealed: every entry with its stamp, every file with its hash, the devices' keys.

use super::tree;
use crate::ids::{DeviceId, EntryId, FirmId, Hash32, JobId, PersonId};
use crate::job_file::Stamp;
use crate::job_file::body::DrawnNumber;
use minicbor::bytes::ByteVec;
use minicbor::{Decode, Encode};

/// Version of the manifest's bytes. A change of any byte needs a new one.
pub const MANIFEST_VERSION: u8 = 1;
/// Stands before the manifest's bytes when they are signed.
pub const SIGNATURE_PREFIX: &[u8] = b"witnessmark seal 1\0";
/// Stands before the bytes of [`Erasures`] when they are signed.
pub const ERASURE_PREFIX: &[u8] = b"witnessmark erasure 1\0";
/// The kind of an entry that carries a number which the server drew and told devices: what follows it in its device's
/// chain was not made before the server drew it.
pub const NONCE_KIND: u32 = 52;
/// Bytes of such a number.
pub const NONCE_BYTES: usize = 32;

/// One sealed entry.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct SealedEntry {
    /// Its id.
    #[n(0)]
    pub id: EntryId,
    /// Hash of its header.
    #[n(1)]
    pub header: Hash32,
    /// When and where it arrived.
    #[n(2)]
    pub stamp: Stamp,
    /// Hash of its device's signature; absent where it has none.
    #[n(3)]
    pub signature: Option<Hash32>,
}

/// One enrolment whose entries are in the pack.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct SealedDevice {
    /// Which.
    #[n(0)]
    pub device: DeviceId,
    /// Whose.
    #[n(1)]
    pub person: PersonId,
    /// Its P-256 public key, uncompressed SEC 1, 65 bytes; absent where it never had one.
    #[n(2)]
    pub key: Option<ByteVec>,
    /// When it was revoked, microseconds since 1970 UTC.
    #[n(3)]
    pub revoked_us: Option<u64>,
    /// When the server learned of the key, microseconds since 1970 UTC: what arrived before could not be signed.
    #[n(4)]
    pub key_since_us: Option<u64>,
}

/// A number that the server drew.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct SealedNonce {
    /// The number.
    #[n(0)]
    pub nonce: Hash32,
    /// When it was drawn, microseconds since 1970 UTC.
    #[n(1)]
    pub drawn_us: u64,
}

/// One file of the pack.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct SealedFile {
    /// Its name in the archive.
    #[n(0)]
    pub name: String,
    /// SHA-256 of its bytes.
    #[n(1)]
    pub hash: Hash32,
    /// How many bytes.
    #[n(2)]
    pub bytes: u64,
}

/// The signed whole.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Manifest {
    /// [`MANIFEST_VERSION`].
    #[n(0)]
    pub version: u8,
    /// The tenant.
    #[n(1)]
    pub firm: FirmId,
    /// The job.
    #[n(2)]
    pub job: JobId,
    /// Seals of this job count from 1; what arrives later asks for the next.
    #[n(3)]
    pub number: u32,
    /// When it was sealed, server clock, microseconds since 1970 UTC.
    #[n(4)]
    pub sealed_us: u64,
    /// Entries in position order, from 1 without gaps.
    #[n(5)]
    pub entries: Vec<SealedEntry>,
    /// Photos that entries name and that are in the pack, ascending.
    #[n(6)]
    pub photos: Vec<Hash32>,
    /// Photos that entries name and that are not: recorded as absent, or erased.
    #[n(7)]
    pub photos_absent: Vec<Hash32>,
    /// Root over entries and photos ([`Manifest::computed_root`]).
    #[n(8)]
    pub root: Hash32,
    /// Enrolments, ascending.
    #[n(9)]
    pub devices: Vec<SealedDevice>,
    /// Numbers that the server drew and that entries carry.
    #[n(10)]
    pub nonces: Vec<SealedNonce>,
    /// Every other file of the archive, ascending by name. Entries and photos are not among them: what is listed above
    /// fixes their bytes, and a body can be erased later without breaking the seal.
    #[n(11)]
    pub files: Vec<SealedFile>,
    /// The server's public key, uncompressed SEC 1: a pack carries it, a reader compares its fingerprint.
    #[n(12)]
    pub key: ByteVec,
    /// Entries whose bodies were erased before the seal, or are left out of every pack.
    #[n(13)]
    pub erased: Vec<EntryId>,
    /// Photos that entries name and that the firm keeps to itself: originals, for they may tell a position.
    #[n(14)]
    pub photos_kept: Vec<Hash32>,
}

/// What was erased after the seal, signed like the manifest.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Erasures {
    /// [`MANIFEST_VERSION`].
    #[n(0)]
    pub version: u8,
    /// Of which seal: the hash of its manifest's bytes.
    #[n(1)]
    pub manifest: Hash32,
    /// When, server clock, microseconds since 1970 UTC.
    #[n(2)]
    pub erased_us: u64,
    /// Entries without their bodies.
    #[n(3)]
    pub entries: Vec<EntryId>,
    /// Photos that are gone.
    #[n(4)]
    pub photos: Vec<Hash32>,
}

impl Manifest {
    /// The root over what the manifest lists: entries with their stamps in position order, then photos.
    pub fn computed_root(&self) -> Hash32 {
        let entries = self.entries.iter().map(|entry| tree::leaf(&crate::wire::to_bytes(entry)));
        let photos = self.photos.iter().map(|hash| tree::leaf(hash.bytes()));
        tree::root(&entries.chain(photos).collect::<Vec<_>>())
    }

    /// The server key's fingerprint: SHA-256 of its bytes, as it is printed and published.
    pub fn fingerprint(&self) -> Hash32 {
        Hash32::sha256(&self.key)
    }
}

/// The body of an entry of [`NONCE_KIND`].
pub fn nonce_body(nonce: &Hash32) -> Vec<u8> {
    crate::wire::to_bytes(&DrawnNumber { number: *nonce })
}

/// Reads such a body.
pub fn nonce_of(body: &[u8]) -> Option<Hash32> {
    crate::wire::from_bytes::<DrawnNumber>(body).ok().map(|drawn| drawn.number)
}
