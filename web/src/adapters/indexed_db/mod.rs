//! The device's store on IndexedDB, over `web-sys` and one thin wrapper of our own.
//!
//! Why no wrapper crate: what matters here is exactly what such crates hide. A transaction must ask for strict
//! durability, count as done on its `complete` event and not on a request's, say "the device is full" as a variant and
//! not as text, be rolled back when dropped, and be repeated as a whole after the browser has lost its database. That is
//! [`transaction`], some two hundred lines.
//!
//! [`schema`] has the object stores and one upgrade step a version, [`rows`] turns rows into objects and back, [`store`]
//! is [`crate::ports::local_store::LocalStore`] ([`keep`] is its write of evidence); [`keys`] has what entries are signed with and
//! rows are sealed under. One database a person, so that nobody sends another's work.
//!
//! **Never enters:** a decision. What an answer of the server means for a row is decided by `domain::tray::shelf`; here
//! the rows concerned are loaded, handed over and written back, all in one transaction.
//!
//! Everything (bytes, hashes) is prepared before a transaction opens, and inside one nothing foreign is awaited: it ends
//! by itself as soon as control returns to the browser without a pending request.

mod keep;
mod keys;
mod rows;
mod schema;
mod store;
mod transaction;

pub use store::IndexedDb;
