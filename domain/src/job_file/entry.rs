//! One immutable fact, as bytes and as meaning.

use super::body::Body;
use super::header::{HEADER_VERSION, Header, body_hash};
use crate::ids::{DeviceId, EntryId, FirmId, Hash32, JobId, PersonId};
use crate::wire::limits::ENTRY_BYTES_MAX;
use crate::wire::{canonical, from_bytes, to_bytes};
use minicbor::{Decode, Encode, bytes::ByteVec};

/// What travels and is stored: header and body as byte strings, so that nobody ever re-encodes them.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Envelope {
    /// The header's bytes: what is hashed, chained and signed.
    #[n(0)]
    pub header: ByteVec,
    /// 16 random bytes; absent once the body is erased.
    #[n(1)]
    pub salt: Option<ByteVec>,
    /// The body's bytes; absent once it is erased.
    #[n(2)]
    pub body: Option<ByteVec>,
    /// P-256 signature over the header's bytes, 64 bytes; absent in entries made before devices had keys.
    #[n(3)]
    pub signature: Option<ByteVec>,
}

/// Why bytes are not an entry. The server keeps nothing of these.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotAnEntry {
    /// Over [`ENTRY_BYTES_MAX`].
    TooLarge,
    /// Not deterministic CBOR of an envelope, header or body.
    Malformed,
    /// A header of a version that this program does not know.
    Version(u8),
    /// The body does not belong to the header.
    BodyHash,
    /// `seq` begins at 1, and only the first entry of a chain has no predecessor.
    Chain,
}

/// What an entry says, as far as this app can read it.
///
/// Nearly every entry has a body; boxing it to please the few that have none would cost the many an allocation.
#[derive(Clone, Debug, PartialEq, Eq)]
#[allow(clippy::large_enum_variant, reason = "the large variant is the usual one")]
pub enum Content {
    /// Known and read.
    Body(Body),
    /// A kind of a newer app, kept byte for byte.
    Unknown,
    /// A known kind whose body does not fit it.
    Unreadable,
    /// The body was erased.
    Erased,
}

/// A checked entry with the exact bytes that it came in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// The header.
    pub header: Header,
    /// The content.
    pub content: Content,
    /// Hash of the header's bytes.
    pub hash: Hash32,
    bytes: Vec<u8>,
}

/// What a new entry needs from outside: nothing in `domain` reads a clock or draws a number.
#[derive(Clone, Debug)]
pub struct Draft {
    /// Its id.
    pub id: EntryId,
    /// The tenant.
    pub firm: FirmId,
    /// The job.
    pub job: JobId,
    /// Who writes.
    pub author: PersonId,
    /// On which enrolment.
    pub device: DeviceId,
    /// 16 random bytes.
    pub salt: [u8; 16],
    /// What it says.
    pub body: Body,
}

/// Where a device's chain in a job stands: what its next entry continues.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ChainHead {
    /// `seq` of the last entry; 0 when there is none.
    pub seq: u64,
    /// Hash of the last header.
    pub hash: Hash32,
    /// Its `hlc`.
    pub hlc: u64,
}

impl ChainHead {
    /// Before the first entry.
    pub const START: Self = Self { seq: 0, hash: Hash32::NONE, hlc: 0 };
}

impl Entry {
    /// Writes a new entry at the end of a device's chain.
    ///
    /// `now_us` is the device's clock; `latest_at` the greatest `at` that the device holds of this job; `seen` the
    /// position that it has pulled.
    pub fn write(draft: Draft, head: ChainHead, seen: u64, now_us: u64, latest_at: u64) -> Self {
        let body = draft.body.to_bytes();
        let header = Header {
            version: HEADER_VERSION,
            id: draft.id,
            firm: draft.firm,
            job: draft.job,
            author: draft.author,
            device: draft.device,
            seq: head.seq + 1,
            hlc: now_us.max(latest_at + 1).max(head.hlc + 1),
            prev: head.hash,
            seen,
            kind: draft.body.kind(),
            must_understand: draft.body.must_understand(),
            body_hash: body_hash(&draft.salt, &body),
        };
        let header_bytes = to_bytes(&header);
        let hash = Header::hash_of(&header_bytes);
        let envelope = Envelope {
            header: header_bytes.into(),
            salt: Some(draft.salt.to_vec().into()),
            body: Some(body.into()),
            signature: None,
        };
        Self { header, content: Content::Body(draft.body), hash, bytes: to_bytes(&envelope) }
    }

    /// Reads and checks the bytes of an envelope.
    ///
    /// # Errors
    /// [`NotAnEntry`]: such bytes are refused, since nothing can be said about them.
    pub fn read(bytes: &[u8]) -> Result<Self, NotAnEntry> {
        if bytes.len() > ENTRY_BYTES_MAX {
            return Err(NotAnEntry::TooLarge);
        }
        canonical::check(bytes).map_err(|_| NotAnEntry::Malformed)?;
        let envelope: Envelope = from_bytes(bytes).map_err(|_| NotAnEntry::Malformed)?;
        canonical::check(&envelope.header).map_err(|_| NotAnEntry::Malformed)?;
        let header: Header = from_bytes(&envelope.header).map_err(|_| NotAnEntry::Malformed)?;
        if header.version != HEADER_VERSION {
            return Err(NotAnEntry::Version(header.version));
        }
        if header.seq == 0 || (header.seq == 1) != (header.prev == Hash32::NONE) {
            return Err(NotAnEntry::Chain);
        }
        let content = match (&envelope.salt, &envelope.body) {
            (Some(salt), Some(body)) => {
                let salt: &[u8; 16] = salt.as_slice().try_into().map_err(|_| NotAnEntry::Malformed)?;
                canonical::check(body).map_err(|_| NotAnEntry::Malformed)?;
                if body_hash(salt, body) != header.body_hash {
                    return Err(NotAnEntry::BodyHash);
                }
                match Body::of(header.kind, body) {
                    Some(Ok(body)) => Content::Body(body),
                    Some(Err(_)) => Content::Unreadable,
                    None => Content::Unknown,
                }
            }
            (None, None) => Content::Erased,
            (Some(_), None) | (None, Some(_)) => return Err(NotAnEntry::Malformed),
        };
        let hash = Header::hash_of(&envelope.header);
        Ok(Self { header, content, hash, bytes: bytes.to_vec() })
    }

    /// The header's bytes: what is hashed, chained and signed.
    pub fn header_bytes(&self) -> Vec<u8> {
        from_bytes::<Envelope>(&self.bytes).map(|envelope| envelope.header.to_vec()).unwrap_or_default()
    }

    /// The same entry with its device's signature. Hash and chain do not change: they cover the header only.
    #[must_use]
    pub fn with_signature(mut self, signature: Vec<u8>) -> Self {
        if let Ok(envelope) = from_bytes::<Envelope>(&self.bytes) {
            self.bytes = to_bytes(&Envelope { signature: Some(signature.into()), ..envelope });
        }
        self
    }

    /// The envelope's bytes as they came.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// The body, when it is known, readable and there.
    pub const fn body(&self) -> Option<&Body> {
        match &self.content {
            Content::Body(body) => Some(body),
            Content::Unknown | Content::Unreadable | Content::Erased => None,
        }
    }

    /// Where the chain stands after this entry.
    pub const fn as_head(&self) -> ChainHead {
        ChainHead { seq: self.header.seq, hash: self.hash, hlc: self.header.hlc }
    }
}
