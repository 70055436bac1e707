//! What is on a device and not yet confirmed by the server, and the one conversation that gets it there.
//!
//! [`Tray`] is two pure calls around one await: [`Tray::next_request`] says what to send now, [`Tray::take_reply`] turns
//! the answer into a [`Plan`] of local writes. The store (IndexedDB in the browser, [`Shelf`] in tests and in the
//! simulation) applies the plan in one transaction and describes itself anew as [`OnDevice`].
//!
//! Three rules hold whatever the network does: nothing is removed before the server has confirmed the same bytes;
//! nothing is forgotten, for a refusal is kept and shown; and one bad item never stops the others.
//!
//! **Never enters:** sentences, the network, a clock, randomness. Time and jitter come in as arguments.
//! Start with [`Tray`] in `machine.rs`.

mod age;
mod elsewhere;
mod facts;
mod footing;
mod line;
mod link;
mod lost;
mod machine;
mod on_device;
mod photos;
mod plan;
mod request;
mod row;
pub mod sealed;
pub mod shelf;
mod status;
mod word;

#[cfg(test)]
mod tests;

pub use age::{DAY_MS, URGENT_FROM_MS, Urgency, WARN_FROM_MS, days_between};
pub use elsewhere::{Elsewhere, TAKE_OVER_MS};
pub use footing::{Concern, Footing, Probe, QUOTA_SMALL};
pub use line::{HeldBack, Line, PhotoRule};
pub use link::{Link, Stop};
pub use lost::{Enrolled, silent_since};
pub use machine::Tray;
pub use on_device::{Counts, JobHere, OnDevice, TrayEntry, TrayPhoto};
pub use plan::{PhotoWrite, Plan, Write};
pub use request::{Answer, Failure, PhotoAnswer, PhotoStep, Request};
pub use row::{AsideWhy, Delivery, EntryRow, NotARow, PhotoDelivery, PhotoKey, PhotoRole, PhotoRow};
pub use shelf::Shelf;
pub use status::{Class, class_of};
pub use word::Word;

/// How often a device with nothing to send asks what is new.
pub const PULL_EVERY_MS: u64 = 5_000;
/// The same while a stream tells it when to ask: only in case the stream is dead and nobody has noticed.
pub const PULL_EVERY_LIVE_MS: u64 = 60_000;
/// The longest that an item or a lane rests. A time further ahead than this comes from a clock that was set back.
pub const REST_MAX_MS: u64 = 6 * 60 * 60 * 1_000;
/// Failures of one item, each with a healthy connection around it, after which it rests and is shown as stuck.
pub const STUCK_TRIES: u16 = 3;
