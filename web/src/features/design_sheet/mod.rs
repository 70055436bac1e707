//! The design sheet of a job: every figure of the design, every check on it, what would pass, and both drawings, while it is typed.
//!
//! [`view_model`] turns what was typed into a design and a sheet, and back into one entry; [`page`] wires; [`form`] has the fields,
//! [`results`] the checks, [`drawings`] the pictures, [`built`] what the visit changed, [`asked`] what the method asks for, [`state`] what a review says of it. [`test_page`] is the test sheet that follows from
//! the design, [`test_rows`] what stands on it.
//!
//! [`own_rules_page`] is the desk of the firm's own rule sets, [`own_rules`] what is typed there, read.
//!
//! **Never enters:** a formula or a limit; those are `domain`'s, which also draws.

mod asked;
mod built;
mod drawings;
mod editions;
mod form;
mod own_rules;
pub mod own_rules_page;
pub mod page;
mod results;
pub mod state;
pub mod test_page;
mod test_rows;
pub mod view_model;
pub mod words;

#[cfg(test)]
mod tests;
