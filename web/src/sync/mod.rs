//! Sending and fetching while the app is open: one pass at a time among all windows.
//!
//! [`driver`] is the loop over `domain::tray`: what to send, the answer, what to write. [`ground`] opens the store of
//! whoever is signed in and keeps a driver running over it; screens get both from [`use_local`]. [`device_key`] tells the key once.
//!
//! **Never enters:** a decision about an answer (those are in `domain::tray`), words.

mod device_key;
pub mod driver;
pub mod ground;

#[cfg(test)]
mod tests;

pub use driver::{SyncHandle, SyncView, Turn, Wish};
pub use ground::{Ground, Local, Opening, use_ground, use_local};
