//! Electrical values: what a meter showed, what was allowed, and the arithmetic between the two.
//!
//! The room turns typed text into a [`units::Quantity`] ([`reading`]), compares it with a [`judge::Limit`] ([`mod@judge`])
//! and works out limits that depend on the design ([`checks`]), each as a [`check::Check`] that can be redone by hand. Which limits hold where is
//! data ([`rule_set`]).
//! **Never enters:** sentences for people (reasons are enums), limits that only a maker can know (they come in as
//! inputs and their absence is "not determined"), published current-capacity tables, floats in anything stored.
//!
//! Start with [`units`], then [`reading::parse_reading`], [`judge::judge`], [`check::Check`], [`checks::compute`].
//! [`catalogue`] lists the kinds of measurement with the range outside which a typing slip is likely.

pub mod catalogue;
pub mod check;
pub mod checks;
pub mod codes;
pub mod judge;
pub mod reading;
pub mod rule_set;
pub mod units;

pub use check::{Check, CheckLimit, CheckNote, Inputs, Mark, Source};
pub use checks::{CheckInfo, InputFault, InputInfo, all, compute};
pub use judge::{Limit, Verdict, Why, judge};
pub use reading::{Cmp, FieldSpec, Note, NumberLocale, ParsedReading, Quality, QuantityKind, parse_reading};
pub use units::{Prefix, Quantity, Unit};
