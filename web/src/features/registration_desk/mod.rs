//! The office's queue: what makers still need, and what the server holds for a person to look at.
//!
//! The server decides what is missing ([`domain::registration`]); this room shows it. Start with [`view_model`].

mod details;
mod held;
pub mod page;
pub mod view_model;
mod words;
