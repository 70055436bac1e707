//! The catalogue: instruments with their calibration, models with the makers' figures, methods with their paper sheets.
//!
//! Changes go to the server at once; devices learn of them with their next pull. A job pins what it uses, so nothing here changes an
//! old job. Start with [`page`]; what is typed or pasted is read in [`view_model`].
//!
//! **Never enters:** job files.

mod instruments;
mod methods;
mod models;
pub mod page;
pub mod view_model;
mod words;
