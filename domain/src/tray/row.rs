//! Rows that a device keeps: what the thing is, and how far it got on its way to the server.
//!
//! A row's bytes begin with a format byte ([`PLAIN`]; 1 is set aside for sealed rows), then CBOR. The envelope inside
//! an entry's row is never re-encoded.

use crate::ids::{CaptureId, Hash32, JobId};
use crate::job_file::body::PhotoFile;
use crate::job_file::file::Stamp;
use crate::wire::sync::{HeldWhy, RefusedWhy};
use crate::wire::{from_bytes, to_bytes};
use minicbor::bytes::ByteVec;
use minicbor::{Decode, Encode};

/// Format byte of a row that is not sealed.
const PLAIN: u8 = 0;

/// Why something was set aside: it is kept and shown, and goes again only when a person asks for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode)]
pub enum AsideWhy {
    /// The server keeps nothing of it, by its verdict.
    #[n(0)]
    Refused(#[n(0)] RefusedWhy),
    /// Too large for the server even alone.
    #[n(1)]
    TooLarge,
    /// An HTTP status that a repeat does not change.
    #[n(2)]
    Status(#[n(0)] u16),
    /// The server got other bytes than the hash names, twice.
    #[n(3)]
    WrongBytes,
    /// The browser has lost the bytes.
    #[n(4)]
    BytesLost,
}

/// How far an entry got.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode)]
pub enum Delivery {
    /// On this device only, or to be offered again to a restored server.
    #[n(0)]
    Waiting {
        /// Failures of this entry alone while the connection was healthy.
        #[n(0)]
        tries: u16,
        /// Not before this time, device clock.
        #[n(1)]
        not_before_ms: u64,
    },
    /// The server has stamped these bytes.
    #[n(1)]
    Confirmed,
    /// The server keeps the bytes and a person must look.
    #[n(2)]
    Held(#[n(0)] HeldWhy),
    /// Set aside.
    #[n(3)]
    Aside(#[n(0)] AsideWhy),
}

impl Delivery {
    /// Not yet tried.
    pub const FRESH: Self = Self::Waiting { tries: 0, not_before_ms: 0 };
}

/// An entry as a device keeps it.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct EntryRow {
    /// The envelope's bytes as they came.
    #[n(0)]
    pub envelope: ByteVec,
    /// The server's stamp, once there is one.
    #[n(1)]
    pub stamp: Option<Stamp>,
    /// How far it got.
    #[n(2)]
    pub delivery: Delivery,
}

/// What a photo file is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Encode, Decode)]
#[cbor(index_only)]
pub enum PhotoRole {
    /// Small; travels first.
    #[n(0)]
    Preview,
    /// The untouched file.
    #[n(1)]
    Original,
}

/// A photo file in a job. The same bytes in two jobs are two rows: the server wants to know of both.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Encode, Decode)]
#[cbor(map)]
pub struct PhotoKey {
    /// The job.
    #[n(0)]
    pub job: JobId,
    /// SHA-256 of the bytes.
    #[n(1)]
    pub hash: Hash32,
}

/// How far a photo got.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
pub enum PhotoDelivery {
    /// Not all of it is with the server.
    #[n(0)]
    Waiting {
        /// Failures of this photo alone while the connection was healthy.
        #[n(0)]
        tries: u16,
        /// Not before this time, device clock.
        #[n(1)]
        not_before_ms: u64,
        /// Address of the upload, once there is one.
        #[n(2)]
        upload: Option<String>,
        /// Bytes that the server had when it last said so; shown, never trusted.
        #[n(3)]
        offset: u64,
        /// It was started over because the bytes that arrived were others.
        #[n(4)]
        restarted: bool,
    },
    /// The server has bytes of this hash.
    #[n(1)]
    Confirmed {
        /// When it said so, device clock: the safety window counts from here.
        #[n(0)]
        at_ms: u64,
    },
    /// Set aside.
    #[n(2)]
    Aside(#[n(0)] AsideWhy),
}

impl PhotoDelivery {
    /// Not yet tried.
    pub const fn fresh() -> Self {
        Self::Waiting { tries: 0, not_before_ms: 0, upload: None, offset: 0, restarted: false }
    }
}

/// A photo file as a device knows it. Its bytes lie apart, so that a list of photos never loads them.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct PhotoRow {
    /// The job.
    #[n(0)]
    pub job: JobId,
    /// Hash, size, pixels and type.
    #[n(1)]
    pub file: PhotoFile,
    /// What it is for.
    #[n(2)]
    pub role: PhotoRole,
    /// The act of capture.
    #[n(3)]
    pub capture: CaptureId,
    /// When it was kept here, device clock.
    #[n(4)]
    pub added_ms: u64,
    /// The bytes are on this device.
    #[n(5)]
    pub bytes_here: bool,
    /// How far it got.
    #[n(6)]
    pub delivery: PhotoDelivery,
}

impl PhotoRow {
    /// Its name on this device.
    pub const fn key(&self) -> PhotoKey {
        PhotoKey { job: self.job, hash: self.file.hash }
    }
}

/// Why bytes are not a row of this app.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotARow {
    /// A format of a newer app.
    Format(u8),
    /// The content is damaged.
    Damaged,
}

impl EntryRow {
    /// The row's bytes.
    pub fn to_bytes(&self) -> Vec<u8> {
        with_format(to_bytes(self))
    }

    /// Reads a row.
    ///
    /// # Errors
    /// [`NotARow`].
    pub fn read(bytes: &[u8]) -> Result<Self, NotARow> {
        from_bytes(plain(bytes)?).map_err(|_| NotARow::Damaged)
    }
}

impl PhotoRow {
    /// The row's bytes.
    pub fn to_bytes(&self) -> Vec<u8> {
        with_format(to_bytes(self))
    }

    /// Reads a row.
    ///
    /// # Errors
    /// [`NotARow`].
    pub fn read(bytes: &[u8]) -> Result<Self, NotARow> {
        from_bytes(plain(bytes)?).map_err(|_| NotARow::Damaged)
    }
}

fn with_format(content: Vec<u8>) -> Vec<u8> {
    let mut out = Vec::with_capacity(content.len() + 1);
    out.push(PLAIN);
    out.extend_from_slice(&content);
    out
}

fn plain(bytes: &[u8]) -> Result<&[u8], NotARow> {
    match bytes.split_first() {
        Some((&PLAIN, content)) => Ok(content),
        Some((&format, _)) => Err(NotARow::Format(format)),
        None => Err(NotARow::Damaged),
    }
}
