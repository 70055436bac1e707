//! A job on a desk: everything that was recorded with its verdicts, and the decisions that only a lead makes.
//!
//! [`view_model`] says what stands against passing, who may decide, and which entries a decision becomes; [`page`] wires;
//! [`steps`] shows evidence; [`decide`] is the one dialog for all decisions, [`seal`] what comes after them.
//!
//! **Never enters:** recording evidence; that is done on site.

mod decide;
mod head;
pub mod page;
mod review;
mod seal;
mod steps;
mod telephone;
pub mod view_model;
mod waiting;

#[cfg(test)]
mod tests;
