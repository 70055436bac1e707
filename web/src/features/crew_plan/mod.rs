//! The lead's home: people by days, jobs without crew or day, and what waits for a decision.
//!
//! Start with [`view_model::plan`].

pub mod page;
pub mod view_model;

#[cfg(test)]
mod tests;
