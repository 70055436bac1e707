//! How sharp and how bright a picture is, in whole thousandths.
//!
//! Sharpness by blurring once more: what is sharp loses much of the difference between neighbours, what is blurred hardly
//! any. Unlike the strength of edges alone this does not call a plain wall blurred because it is plain. Only what stands out of the
//! sensor's grain is asked, for grain is sharp in every picture, and both directions are, for a hand that moved blurs one of them.

use super::grey::Grey;

/// What was measured of one picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Measures {
    /// 0 blurred to 1000 sharp.
    pub sharpness: u16,
    /// Grey value that nine tenths of the picture are darker than.
    pub bright: u8,
    /// Thousandths of the picture that are burnt out: as good as white, without any detail.
    pub burnt: u16,
}

/// Pixels to each side in the second blur.
const REACH: usize = 4;
/// Difference of neighbours that is the grain of a sensor and no edge, in grey values, at least.
const GRAIN_MIN: u32 = 10;
/// So many times the common difference of neighbours is grain as well.
const GRAIN_TIMES: u32 = 4;
/// Edges that a picture has at least, per hundred lines; with fewer there is nothing to be sharp.
const EDGES_MIN: u64 = 20;
/// One direction has at least this part of the other's edges: where it has fewer a hand moved.
const SHAKEN_TIMES: u64 = 12;
/// Grey value from which on a pixel counts as burnt out.
const WHITE: u8 = 250;

impl Measures {
    /// Measures a picture made small to [`super::grey::LONG_EDGE`].
    pub fn of(picture: &Grey) -> Self {
        let mut counts = [0_usize; 256];
        picture.pixels().iter().for_each(|value| counts[usize::from(*value)] += 1);
        let all = picture.pixels().len();
        let mut below = 0;
        let bright = counts.iter().position(|count| {
            below += count;
            below * 10 >= all * 9
        });
        let burnt: usize = counts[usize::from(WHITE)..].iter().sum();
        Self {
            sharpness: sharpness(picture),
            bright: u8::try_from(bright.unwrap_or(255)).unwrap_or(255),
            burnt: u16::try_from(burnt * 1000 / all).unwrap_or(1000),
        }
    }
}

/// Of the two directions the worse one counts: a hand that moved leaves the edges along its way sharp.
fn sharpness(picture: &Grey) -> u16 {
    let (wide, high) = (picture.width(), picture.height());
    let across = Edges::of(wide, high, |along, line| picture.at(along, line));
    let down = Edges::of(high, wide, |along, line| picture.at(line, along));
    let (few, many) = if across.count < down.count { (&across, &down) } else { (&down, &across) };
    if many.count * 100 < EDGES_MIN * (wide + high) as u64 / 2 || few.count * SHAKEN_TIMES < many.count {
        return 0;
    }
    across.sharpness().min(down.sharpness())
}

/// What stands out of the grain along the lines of one direction.
struct Edges {
    count: u64,
    /// Sum of their differences, and how much of it one more blur takes away.
    all: u64,
    lost: u64,
}

impl Edges {
    fn of(length: usize, lines: usize, at: impl Fn(usize, usize) -> u8) -> Self {
        let grain = grain(length, lines, &at);
        let mut edges = Self { count: 0, all: 0, lost: 0 };
        let mut sums = vec![0_u32; length + 1];
        for line in 0..lines {
            for along in 0..length {
                sums[along + 1] = sums[along] + u32::from(at(along, line));
            }
            let blurred = |along: usize| {
                let (from, to) = (along.saturating_sub(REACH), (along + REACH + 1).min(length));
                (sums[to] - sums[from]) * 16 / (to - from) as u32
            };
            for along in 1..length {
                let before = u32::from(at(along, line).abs_diff(at(along - 1, line)));
                if before > grain {
                    let after = blurred(along).abs_diff(blurred(along - 1));
                    edges.count += 1;
                    edges.all += u64::from(before * 16);
                    edges.lost += u64::from((before * 16).saturating_sub(after));
                }
            }
        }
        edges
    }

    fn sharpness(&self) -> u16 {
        u16::try_from((self.lost * 1000).checked_div(self.all).unwrap_or(0)).unwrap_or(1000)
    }
}

/// Differences of neighbours up to here are grain: most of any picture is plain, so the common difference is the sensor's.
fn grain(length: usize, lines: usize, at: &impl Fn(usize, usize) -> u8) -> u32 {
    let mut counts = [0_usize; 256];
    for line in 0..lines {
        for along in 1..length {
            counts[usize::from(at(along, line).abs_diff(at(along - 1, line)))] += 1;
        }
    }
    let half = lines * (length - 1) / 2;
    let mut below = 0;
    let common = counts.iter().position(|count| {
        below += count;
        below >= half
    });
    (u32::try_from(common.unwrap_or(0)).unwrap_or(255) * GRAIN_TIMES).max(GRAIN_MIN)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(value: impl Fn(usize, usize) -> u8) -> Grey {
        let pixels = (0..128 * 128).map(|at| value(at % 128, at / 128)).collect();
        Grey::of(128, 128, pixels).expect("128 by 128")
    }

    #[test]
    fn a_hard_edge_is_sharp_and_a_soft_one_is_not() {
        let hard = Measures::of(&picture(|x, y| if (x / 16 + y / 16) % 2 == 0 { 20 } else { 220 }));
        // From dark to light and back within 32 pixels, in both directions.
        let ramp = |at: usize| (at % 32).min(32 - at % 32) * 7;
        let soft = Measures::of(&picture(|x, y| (ramp(x) + ramp(y)) as u8));
        assert!(hard.sharpness > 700, "{hard:?}");
        assert!(soft.sharpness < hard.sharpness / 2, "{soft:?} {hard:?}");
    }

    #[test]
    fn grain_is_no_edge_and_edges_of_one_direction_alone_are_a_hand_that_moved() {
        let grain = Measures::of(&picture(|x, y| (120 + (x * 7 + y * 13 + x * y) % 9) as u8));
        assert_eq!(grain.sharpness, 0, "{grain:?}");
        let moved = Measures::of(&picture(|_, y| if y / 16 % 2 == 0 { 20 } else { 220 }));
        assert_eq!(moved.sharpness, 0, "{moved:?}");
    }

    #[test]
    fn a_plain_wall_has_nothing_to_be_sharp() {
        assert_eq!(Measures::of(&picture(|_, _| 128)).sharpness, 0);
    }

    #[test]
    fn dark_and_burnt_out() {
        let dark = Measures::of(&picture(|x, _| if x < 100 { 3 } else { 9 }));
        assert_eq!((dark.bright, dark.burnt), (9, 0));
        let half = Measures::of(&picture(|x, _| if x < 64 { 250 } else { 249 }));
        assert_eq!(half.burnt, 500);
    }
}
