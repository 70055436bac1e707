//! Coming, going, and who is who: sign-in, one-time links, sign-out, own settings, people and devices, menu, cautions.
//!
//! **Never enters:** anything about jobs.

pub mod about;
mod devices;
mod firm;
pub mod link;
pub mod menu;
pub mod people;
pub mod person;
mod pin;
pub mod settings;
pub mod sign_in;
pub mod sign_out;
mod still_on;
mod tickets;
mod view_model;
