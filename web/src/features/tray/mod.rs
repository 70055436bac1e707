//! What is only on this device, what is on its way, what the server has confirmed and what it would not take, in words.
//!
//! **Never enters:** sending itself ([`crate::sync`]).

pub mod bring_in;
pub mod page;
mod self_test;
pub mod view_model;
mod wifi;
