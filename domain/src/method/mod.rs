//! The versioned plan of work of a kind of job, and the gates that it puts in the way.
//!
//! [`plan`] is the data: stages, steps, requirements, cautions, each text in every language. [`gate`] says from a job
//! file and a method which steps are open, satisfied or shut and by what. [`load`] (feature `methods`) reads the TOML
//! file and [`complaints`] finds what is wrong with it.
//!
//! **Never enters:** words shown to a person other than those of the method file itself; reasons are enums.

pub mod complaints;
pub mod gate;
#[cfg(feature = "methods")]
pub mod load;
pub mod plan;

pub use plan::Method;
