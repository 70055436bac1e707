//! One step on the phone: its cautions, its act, its gate, and a part for each kind of evidence.
//!
//! [`page`] is the frame; [`requirement`] draws one requirement with what was recorded; the parts that record are [`photo`],
//! [`reading`], [`serial`] with [`scan`], [`confirmation`] (also choices), [`countersign`], [`signature`] and [`wait`]; [`deviation`] asks the lead,
//! [`staged`] about photos that are not evidence yet. What is shown is worked out in [`view_model`], pure. At each moment one
//! requirement is at work, and its action is the main one at the bottom.
//!
//! **Never enters:** a rule that decides whether evidence does; `domain` says so and the page shows it.

mod barrier;
mod confirmation;
mod countersign;
mod ctx;
mod deviation;
pub mod page;
mod photo;
mod reading;
mod reading_list;
mod requirement;
mod scan;
mod serial;
mod signature;
mod staged;
mod telephone;
pub mod view_model;
mod wait;
mod words;

#[cfg(test)]
mod tests;
