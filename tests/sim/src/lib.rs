//! A whole firm in one process and from one seed: phones, server processes, a database, networks and people, all of which
//! fail. The phones run the very functions of `domain::tray` that the browser runs, the server those of `domain::intake`.
//!
//! `world.rs` is the clock and the list of what happens next, `device.rs` a phone, `server.rs` the processes over `db.rs`,
//! `net.rs` what lies between, `people.rs` those who work, `check.rs` what must be true after each step and at the end,
//! `proofs.rs` the same for proofs of dead, `planted.rs` the faults that prove that the checks see. Start with [`run()`].
//!
//! **Never enters:** the real server, a clock, a thread within a run: the same seed gives the same run for ever.

mod check;
mod db;
mod device;
mod faults;
mod net;
mod options;
mod people;
mod planted;
mod proofs;
mod rng;
mod run;
mod server;
mod uploads;
mod world;

pub use options::Options;
pub use planted::Planted;
pub use run::{Outcome, run};

/// Bytes that several hold and nobody changes.
pub(crate) type Bytes = std::rc::Rc<[u8]>;
