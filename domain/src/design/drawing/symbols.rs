//! The symbols of IEC 60617 that a battery's single-line diagram needs, on a horizontal conductor around (x, y). Each
//! draws its own piece of conductor from x − 30 to x + 30.

use super::svg::{Anchor, Svg};

pub(super) const REACH: i32 = 30;

/// Fuse: the conductor runs through the box.
pub(super) fn fuse(svg: &mut Svg, x: i32, y: i32) {
    svg.line(x - REACH, y, x + REACH, y);
    svg.rect(x - 20, y - 8, 40, 16);
}

/// A make contact, open: the arm rises from the left end. Breakers and disconnectors add to it.
fn contact(svg: &mut Svg, x: i32, y: i32) {
    svg.line(x - REACH, y, x - 14, y);
    svg.line(x - 14, y, x + 14, y - 16);
    svg.line(x + 14, y, x + REACH, y);
}

/// Circuit breaker: a cross on the fixed contact.
pub(super) fn breaker(svg: &mut Svg, x: i32, y: i32) {
    contact(svg, x, y);
    svg.line(x + 9, y - 5, x + 19, y + 5);
    svg.line(x + 9, y + 5, x + 19, y - 5);
}

/// Switch-disconnector: a bar and a circle on the fixed contact.
pub(super) fn switch_disconnector(svg: &mut Svg, x: i32, y: i32) {
    contact(svg, x, y);
    svg.circle(x + 10, y, 4);
    svg.line(x + 14, y - 8, x + 14, y + 8);
}

/// Residual-current device: a switch that a summation transformer opens.
pub(super) fn residual_current(svg: &mut Svg, x: i32, y: i32) {
    svg.line(x - 40, y, x - 24, y);
    svg.line(x - 24, y, x, y - 14);
    svg.line(x, y, x + 40, y);
    svg.circle(x + 22, y, 9);
    svg.thin(x + 22, y + 9, x + 22, y + 22);
    svg.thin(x + 22, y + 22, x - 12, y + 22);
    svg.thin(x - 12, y + 22, x - 12, y - 7);
}

/// Energy meter: a box with a strip on top.
pub(super) fn meter(svg: &mut Svg, x: i32, y: i32) {
    svg.line(x - REACH, y, x - 22, y);
    svg.line(x + 22, y, x + REACH, y);
    svg.rect(x - 22, y - 22, 44, 44);
    svg.line(x - 22, y - 10, x + 22, y - 10);
    svg.text(x, y + 12, Anchor::Middle, "Wh");
}

/// Converter between alternating (left) and direct current (right), both ways.
pub(super) fn converter(svg: &mut Svg, x: i32, y: i32) {
    svg.line(x - REACH - 10, y, x - 26, y);
    svg.line(x + 26, y, x + REACH + 10, y);
    svg.rect(x - 26, y - 26, 52, 52);
    svg.line(x - 26, y + 26, x + 26, y - 26);
    // A wave above, direct current below the diagonal.
    svg.poly(&[(x - 20, y - 10), (x - 16, y - 15), (x - 12, y - 10), (x - 8, y - 5), (x - 4, y - 10)]);
    svg.line(x + 4, y + 10, x + 20, y + 10);
    svg.line(x + 4, y + 16, x + 9, y + 16);
    svg.line(x + 15, y + 16, x + 20, y + 16);
}

/// A battery of cells on a vertical conductor, from y − 20 to y + 20; the longer line is positive, above.
pub(super) fn battery(svg: &mut Svg, x: i32, y: i32) {
    svg.line(x, y - 20, x, y - 9);
    svg.line(x - 16, y - 9, x + 16, y - 9);
    svg.line(x - 8, y - 3, x + 8, y - 3);
    svg.line(x - 16, y + 3, x + 16, y + 3);
    svg.line(x - 8, y + 9, x + 8, y + 9);
    svg.line(x, y + 9, x, y + 20);
}

/// A cable with its number of conductors.
pub(super) fn cable(svg: &mut Svg, x: i32, y: i32, conductors: &str) {
    svg.line(x - 50, y, x + 50, y);
    svg.thin(x - 6, y + 9, x + 6, y - 9);
    svg.text(x + 14, y + 20, Anchor::Middle, conductors);
}

/// Earth, hanging from the point.
pub(super) fn earth(svg: &mut Svg, x: i32, y: i32) {
    svg.line(x, y, x, y + 14);
    svg.line(x - 16, y + 14, x + 16, y + 14);
    svg.line(x - 10, y + 20, x + 10, y + 20);
    svg.line(x - 4, y + 26, x + 4, y + 26);
}

/// The network: a ring with a wave.
pub(super) fn network(svg: &mut Svg, x: i32, y: i32) {
    svg.circle(x, y, 20);
    svg.poly(&[(x - 10, y), (x - 5, y - 7), (x, y), (x + 5, y + 7), (x + 10, y)]);
    svg.line(x + 20, y, x + 50, y);
}

/// Loads: an arrow away from the busbar.
pub(super) fn loads(svg: &mut Svg, x: i32, y: i32) {
    svg.line(x - REACH, y, x + REACH, y);
    svg.arrow(x + REACH + 8, y, 1, 0);
}
