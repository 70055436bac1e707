//! Two drawings of a design as SVG text: the single-line diagram and the stack with its distances.
//!
//! Everything is a line of `currentColor` on nothing, so it prints black on white and shows in light and dark alike.
//! Labels are designations, figures and units only, the same in every language. Sizes are fixed steps and no measure of the
//! real thing: nothing may overlap whatever the figures are.

mod single_line;
mod stack;
mod svg;
mod symbols;

pub use single_line::single_line;
pub use stack::stack_drawing;

use super::inputs::Design;
use crate::electrical::{Prefix, Quantity, Unit};

/// Up to three decimals and the unit: `0.914 m`.
fn figure(unit: Unit, micro: i64) -> String {
    let text = Quantity::of(unit, micro).format(3, Prefix::One, '.');
    let number = text.trim_end_matches('0').trim_end_matches('.');
    if unit == Unit::Count { number.to_owned() } else { format!("{number} {}", unit.symbol()) }
}
