//! Planning a job: site, method, units, design figures, consent, crew and day on one page; later the same page changes them.
//!
//! [`draft`] is what was typed, [`view_model::read`] turns it into entries or says what is wrong, [`page`] shows it. Saving is one write:
//! a job is there with all of its plan or not at all. [`meanwhile`] puts an open form onto what others changed, so that only the person's
//! own changes are written.
//!
//! **Never enters:** a rule about what a job needs on site; those are the method's and `domain`'s.

mod checks;
mod clashes;
pub mod draft;
mod form;
pub mod meanwhile;
pub mod page;
mod sections;
pub mod view_model;
mod words;

#[cfg(test)]
mod tests;
