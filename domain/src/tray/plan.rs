//! What to write after an answer. The store applies a whole plan in one transaction, in order, or none of it.

use super::row::{AsideWhy, PhotoKey};
use crate::ids::{EntryId, JobId};
use crate::job_file::body::MethodRef;
use crate::job_file::file::Stamp;
use crate::wire::sync::HeldWhy;

/// Writes in their order; empty when an answer changes nothing that is kept.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Plan {
    /// The writes.
    pub writes: Vec<Write>,
}

/// One local write. Repeating one changes nothing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Write {
    /// The server has stamped this entry.
    Confirm(EntryId, Stamp),
    /// The server keeps the bytes and a person must look. It counts as delivered and stays visible.
    Hold(EntryId, HeldWhy),
    /// Kept and shown; not sent again by itself.
    SetAside(EntryId, AsideWhy),
    /// This entry failed alone; it rests and the others go on.
    Rest {
        /// Which.
        id: EntryId,
        /// Failures so far.
        tries: u16,
        /// Not before this.
        not_before_ms: u64,
    },
    /// An entry from the server. If the id is here with the same bytes, it gets the stamp; with other bytes, ours stays
    /// and goes to the server, which answers [`HeldWhy::SameIdOtherBytes`].
    Store {
        /// Of which job.
        job: JobId,
        /// Which.
        id: EntryId,
        /// Its stamp.
        stamp: Stamp,
        /// As it came.
        envelope: Vec<u8>,
    },
    /// Everything of the job up to here is on the device.
    Position(JobId, u64),
    /// The person may no longer see the job. The store looks again inside its transaction, and keeps the job when
    /// anything of it is not confirmed: somebody may have written while the answer was under way.
    Drop(JobId),
    /// Which server life the positions belong to. `offer_again`: it is another one than before, so positions return to
    /// 0, and every kept entry and photo is offered again, for the server may have lost any of them.
    Epoch {
        /// Its name.
        epoch: Vec<u8>,
        /// Not the first contact.
        offer_again: bool,
    },
    /// About a photo.
    Photo(PhotoKey, PhotoWrite),
    /// People, instruments, catalogue: the JSON as it came.
    Reference {
        /// Version.
        version: u64,
        /// Bytes.
        bytes: Vec<u8>,
    },
    /// A method whose hash was checked.
    Method(MethodRef, Vec<u8>),
}

/// A change of a photo's row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PhotoWrite {
    /// The server has its bytes.
    Confirm {
        /// Device clock.
        at_ms: u64,
    },
    /// Where its upload is and how far; `None`: it must be made anew.
    Upload {
        /// Address.
        upload: Option<String>,
        /// Bytes that arrived.
        offset: u64,
    },
    /// Other bytes arrived than the hash names: once more from the start.
    StartOver,
    /// It failed alone; it rests and the others go on.
    Rest {
        /// Failures so far.
        tries: u16,
        /// Not before this.
        not_before_ms: u64,
    },
    /// Kept and shown; not sent again by itself.
    SetAside(AsideWhy),
}

impl Plan {
    pub(super) fn push(&mut self, write: Write) {
        self.writes.push(write);
    }

    pub(super) fn photo(&mut self, key: PhotoKey, write: PhotoWrite) {
        self.writes.push(Write::Photo(key, write));
    }
}
