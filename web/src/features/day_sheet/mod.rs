//! The technician's jobs by day, today first. Everything comes from the device, so it is there without a connection.
//!
//! **Never enters:** jobs of others; what a device holds for its person is the server's word.

pub mod cards;
pub mod page;
pub mod rows;
pub mod view_model;
