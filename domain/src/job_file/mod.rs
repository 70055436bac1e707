//! The job file: an append-only log of entries, merged by union and read by a pure fold.
//!
//! [`entry`] is one fact and its bytes, [`body`] what it can say, [`mod@file`] the set of them with their order, and
//! [`mod@fold`] what the set means: who is on the job, which steps are open, what is missing, what is a breach.
//!
//! **Never enters:** the network, a clock, anything that depends on the order in which entries arrived.

mod absorb;
pub mod body;
pub mod changes;
pub mod countersigns;
pub mod entry;
pub mod file;
pub mod fold;
pub mod header;
mod origin;
pub mod received;
pub mod record;
pub mod sealing;
#[cfg(feature = "signatures")]
pub mod signature;
mod vouched;

pub use body::{Body, Place};
pub use entry::{ChainHead, Content, Draft, Entry, Envelope, NotAnEntry};
pub use file::{Absorbed, Held, JobFile, OrderKey, Stamp};
pub use fold::{Breach, BreachWhy, JobState, Phase, TAKE_BACK_US, fold, fold_at, fold_for};

#[cfg(test)]
mod tests;
