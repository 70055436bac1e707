//! The rules of a battery installation's records: what may be written, what opens, what is missing, what was computed.
//!
//! Everything that decides stands here once and runs natively on the server and as WebAssembly in the browser.
//! **Never enters:** input or output, async, a clock, randomness, floating point in anything stored or compared.
//! Time, ids and random bytes come in as arguments.
//!
//! Start with [`job_file`] (the log and its fold), then [`method`] (the plan of work and its gates).

pub mod bounds;
pub mod design;
pub mod electrical;
pub mod evidence;
pub mod identification;
pub mod ids;
pub mod intake;
pub mod job_file;
pub mod method;
pub mod pack;
pub mod people;
pub mod registration;
pub mod rehearsal;
pub mod schedule;
pub mod seal;
pub mod tray;
pub mod wire;
