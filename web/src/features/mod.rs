//! What people do here, one folder each.
//!
//! **Never enters:** `web_sys`, rules; one feature does not reach into another.

pub mod job;
pub mod session;
pub mod words;
