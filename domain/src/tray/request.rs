//! What a device asks of the server and what comes back, without any of the bytes that the store can add itself.

use super::row::PhotoKey;
use crate::ids::{EntryId, JobId};
use crate::job_file::body::MethodRef;
use crate::wire::sync::{PullReply, PushReply};

/// One step of the conversation.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Request {
    /// Send these entries, in this order; the store has their envelopes.
    Push(Vec<EntryId>),
    /// Ask what is new.
    Pull {
        /// Server life that the positions belong to.
        epoch: Vec<u8>,
        /// Positions.
        have: Vec<(JobId, u64)>,
        /// Jobs that were opened here beyond the usual ones.
        also: Vec<JobId>,
        /// How many items wait here.
        waiting: u32,
        /// How far the chain goes in each job of which something waits here.
        written: Vec<(JobId, u64)>,
    },
    /// Fetch people, instruments and catalogue.
    Reference,
    /// Fetch one method.
    Method(MethodRef),
    /// Move a photo one step on.
    Photo(PhotoKey, PhotoStep),
}

/// One step of an upload (tus 1.0).
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PhotoStep {
    /// Make an upload of so many bytes.
    Create {
        /// Length of the whole file.
        bytes: u64,
    },
    /// Ask how much has arrived. A device never trusts its own count: the server may have lost its tail.
    Ask {
        /// Address of the upload.
        upload: String,
    },
    /// Send a slice.
    Send {
        /// Address of the upload.
        upload: String,
        /// First byte.
        from: u64,
        /// Behind the last byte.
        to: u64,
    },
}

/// What came back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// To [`Request::Push`].
    Push(PushReply),
    /// To [`Request::Pull`].
    Pull(PullReply),
    /// To [`Request::Reference`]: the JSON as it came, its version and the methods that it lists.
    Reference {
        /// Version of the data.
        version: u64,
        /// The answer's bytes.
        bytes: Vec<u8>,
        /// Methods of the firm.
        methods: Vec<MethodRef>,
    },
    /// To [`Request::Method`]: its CBOR.
    Method(Vec<u8>),
    /// To [`Request::Photo`].
    Photo(PhotoAnswer),
    /// To any of them.
    Failed(Failure),
}

/// How an upload stands.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum PhotoAnswer {
    /// The server has these bytes for this job.
    Have,
    /// The upload exists at this address.
    Created {
        /// Its address.
        upload: String,
    },
    /// So many bytes have arrived.
    At {
        /// How many.
        offset: u64,
        /// How long the slice took; 0 when nothing was sent.
        elapsed_ms: u64,
    },
    /// The store does not have the bytes any more.
    BytesLost,
}

/// Why there is no answer to use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Failure {
    /// Nothing came back, or it broke off.
    NoConnection,
    /// Something answered that is not our server: a login page of the network, a proxy.
    NotOurServer,
    /// Our server said no.
    Status {
        /// HTTP status.
        status: u16,
        /// The wait that it asked for, already reckoned against the server's own clock.
        retry_after_ms: Option<u64>,
    },
    /// It looks like our server, and the content cannot be read.
    Unreadable,
}
