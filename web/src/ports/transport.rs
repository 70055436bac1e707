//! The way to the server.

use super::Later;
use crate::adapters::file_bytes::FileBytes;
use domain::ids::JobId;
use domain::job_file::body::MethodRef;
use domain::tray::{Answer, PhotoKey};
use domain::wire::sync::{Pull, Push};
use std::rc::Rc;

/// A request with everything in it.
#[derive(Clone, Debug)]
pub enum Outgoing {
    /// Entries.
    Push(Push),
    /// What is new?
    Pull(Pull),
    /// People, instruments, catalogue.
    Reference,
    /// One method.
    Method(MethodRef),
    /// Make an upload.
    CreateUpload(PhotoKey, u64),
    /// How far is it?
    AskUpload(PhotoKey, String),
    /// A slice that begins at this byte.
    SendSlice {
        /// Which photo: the answer must name its hash.
        key: PhotoKey,
        /// Address of the upload.
        upload: String,
        /// First byte.
        from: u64,
        /// The slice.
        slice: FileBytes,
    },
}

/// Sends one request and says what came back. It never fails: a failure is an answer.
pub trait Transport {
    /// Sends.
    fn send(&self, outgoing: Outgoing) -> Later<'_, Answer>;
    /// Follows the server's news until the stream ends or cannot be had, and calls `news` at each: something is there to ask for.
    fn follow<'a>(&'a self, news: &'a dyn Fn()) -> Later<'a, ()>;
    /// Ends the stream.
    fn hang_up(&self);
    /// The page woke: a request that has been silent for too long is given up, for its socket may be dead.
    fn woke(&self);
}

/// What became of an attempt to renew the access.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Renewal {
    /// There is a new token.
    Renewed,
    /// The person must sign in.
    SignInNeeded,
    /// It is not known: the server could not be reached.
    NoConnection,
    /// It is not known: somebody else answered in the server's place.
    NotOurServer,
}

/// How the transport gets at the session, which belongs to the shell.
#[derive(Clone)]
pub struct Access {
    /// The access token, if there is one.
    pub token: Rc<dyn Fn() -> Option<String>>,
    /// Renews it, unless that has happened since the token given was read.
    pub renew: Rc<dyn Fn(Option<String>) -> Later<'static, Renewal>>,
}

/// The address of a photo as the desks fetch it.
pub fn photo_path(job: JobId, hash: domain::ids::Hash32) -> String {
    format!("/api/jobs/{job}/photos/{hash}")
}
