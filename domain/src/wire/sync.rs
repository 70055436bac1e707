//! Messages between a device and the server, version 1. Additive only: a peer ignores keys that it does not know.
//!
//! Push carries envelopes and is answered entry by entry; pull carries positions and is answered with a manifest and
//! what is missing. Both are repeatable: the same message twice has the same effect as once.

use crate::ids::{DeviceId, EntryId, FirmId, Hash32, JobId};
use crate::job_file::body::MethodRef;
use crate::job_file::file::Stamp;
use minicbor::bytes::ByteVec;
use minicbor::{Decode, Encode};

/// Version of these messages.
pub const SYNC_VERSION: u8 = 1;
/// A message of so many bytes and more goes out packed, if the server has said that it takes that: below it a header costs more.
pub const PACK_FROM_BYTES: usize = 1_024;
/// The response header that tells our server's answers from a hotel's login page.
pub const PROTOCOL_HEADER: &str = "witnessmark-protocol";
/// Its value.
pub const PROTOCOL_VALUE: &str = "1";
/// Media type of both directions.
pub const MEDIA_TYPE: &str = "application/cbor";

/// Entries on their way to the server.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Push {
    /// [`SYNC_VERSION`].
    #[n(0)]
    pub version: u8,
    /// The sending device.
    #[n(1)]
    pub device: DeviceId,
    /// Envelopes in chain order, byte for byte as they were stored.
    #[n(2)]
    pub entries: Vec<ByteVec>,
}

/// The server's word on a push: one verdict an entry, in the order of the push.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct PushReply {
    /// [`SYNC_VERSION`].
    #[n(0)]
    pub version: u8,
    /// Which server life this is.
    #[n(1)]
    pub epoch: ByteVec,
    /// Server clock, microseconds since 1970 UTC.
    #[n(2)]
    pub server_us: u64,
    /// Verdicts.
    #[n(3)]
    pub verdicts: Vec<PushVerdict>,
}

/// What became of one entry.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
pub enum PushVerdict {
    /// Stored now.
    #[n(0)]
    Stored(#[n(0)] Stamp),
    /// Was there already, the same bytes.
    #[n(1)]
    Had(#[n(0)] Stamp),
    /// The server keeps the bytes and a person must look.
    #[n(2)]
    Held(#[n(0)] HeldWhy),
    /// The server keeps nothing; the device keeps and shows it.
    #[n(3)]
    Refused(#[n(0)] RefusedWhy),
}

/// Why an entry is held.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum HeldWhy {
    /// Another entry has this id.
    #[n(0)]
    SameIdOtherBytes,
    /// The author is not the person who is signed in.
    #[n(1)]
    AuthorNotYou,
    /// The device is not an enrolment of the author.
    #[n(2)]
    DeviceNotYours,
    /// The author's role may not write this kind.
    #[n(3)]
    RoleMayNot,
    /// The device was revoked.
    #[n(4)]
    DeviceRevoked,
    /// There is no such job, and this entry does not open one.
    #[n(5)]
    NoSuchJob,
    /// The body does not fit its kind.
    #[n(6)]
    BodyUnreadable,
}

/// Why the server keeps nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum RefusedWhy {
    /// Not an entry at all.
    #[n(0)]
    Malformed,
    /// Over the size limit.
    #[n(1)]
    TooLarge,
    /// Not of this firm.
    #[n(2)]
    OtherFirm,
    /// A header of a version that this server does not know.
    #[n(3)]
    Version,
}

/// What a device has.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Pull {
    /// [`SYNC_VERSION`].
    #[n(0)]
    pub version: u8,
    /// The sending device.
    #[n(1)]
    pub device: DeviceId,
    /// The epoch that its positions belong to; empty at first.
    #[n(2)]
    pub epoch: ByteVec,
    /// Position by job.
    #[n(3)]
    pub have: Vec<(JobId, u64)>,
    /// Jobs asked for beyond the usual ones (an old job that the office opens).
    #[n(4)]
    pub also: Vec<JobId>,
    /// How many items wait on the device: the server shows it to the office.
    #[n(5)]
    pub waiting: u32,
    /// How far its chain goes in each job of which something waits here. With `have` it says what it had received before it wrote more.
    #[n(6)]
    pub written: Vec<(JobId, u64)>,
}

/// What a device lacks.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct PullReply {
    /// [`SYNC_VERSION`].
    #[n(0)]
    pub version: u8,
    /// Which server life this is; another than the device's means: offer everything again.
    #[n(1)]
    pub epoch: ByteVec,
    /// Server clock, microseconds since 1970 UTC.
    #[n(2)]
    pub server_us: u64,
    /// The jobs that this person may see now.
    #[n(3)]
    pub manifest: Vec<JobHead>,
    /// Missing entries, by job in position order.
    #[n(4)]
    pub entries: Vec<PulledEntry>,
    /// There are more: pull again.
    #[n(5)]
    pub more: bool,
    /// Methods that the jobs of the manifest pin.
    #[n(6)]
    pub methods: Vec<MethodRef>,
    /// Changes with people, instruments or catalogue of the firm.
    #[n(7)]
    pub reference_version: u64,
    /// The tenant.
    #[n(8)]
    pub firm: FirmId,
    /// A number that the server drew, for the device to write into the files that it works on; absent from older servers.
    #[n(9)]
    pub drawn_number: Option<Hash32>,
}

/// A job and how far it goes on the server.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct JobHead {
    /// Which.
    #[n(0)]
    pub job: JobId,
    /// Its last position.
    #[n(1)]
    pub position: u64,
}

/// An entry on its way to a device.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct PulledEntry {
    /// Of which job.
    #[n(0)]
    pub job: JobId,
    /// Which.
    #[n(1)]
    pub id: EntryId,
    /// Its stamp.
    #[n(2)]
    pub stamp: Stamp,
    /// The envelope as it was pushed.
    #[n(3)]
    pub envelope: ByteVec,
}
