//! Every job of the firm, passed and withdrawn ones too, found by name, street, town or number.
//!
//! The server looks, for it has them all; what is looked for stands in the address.
//!
//! **Never enters:** what a job needs or lacks; its desk says that.

pub mod page;
pub mod view_model;
