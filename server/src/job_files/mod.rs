//! Job files in the database: the one way in, the way out, and the projections that are made of them.
//!
//! [`append::append`] is the only function that writes to the log, for people's entries and for the server's own.
//! [`load`] gives a job file back as the domain knows it, [`project`] folds it into rows for lists, [`own`] writes entries of the server's device, [`findings`] writes
//! what only the server can know, [`countersigns`] decides what is under a countersignature, [`turns`] lets a firm's requests wait without a connection, [`visible`] says who may see a job, [`voice`] draws and shows answers for the telephone, [`worker`] projects soon after a push.
//!
//! What several features need stands here, because features do not import each other. **Never enters:** requests and
//! answers; what an entry means (that is `domain::job_file`).

pub mod append;
mod countersigns;
pub mod findings;
pub mod load;
pub(crate) mod own;
pub mod project;
mod queries;
pub mod turns;
pub mod visible;
pub mod voice;
pub mod worker;

use domain::wire::text::folded;

/// What a search for a lot compares; what is longer than any lot is cut, for an index takes no endless text.
pub(crate) fn lot_search(lot: &str) -> String {
    const CHARS_MAX: usize = 100;
    folded(lot).chars().take(CHARS_MAX).collect()
}

/// A number of the wire in a bigint. What is larger than any bigint is only ever a forged or broken clock; the envelope
/// keeps the truth and the column is for searching.
pub(crate) fn cut(number: u64) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

/// A number that the database keeps and that cannot be negative.
pub(crate) fn wire(number: i64) -> u64 {
    u64::try_from(number).unwrap_or(0)
}
