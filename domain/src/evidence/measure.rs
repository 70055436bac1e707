//! How sharp and how bright a picture is, in whole thousandths.
//!
//! Sharpness by blurring once more: what is sharp loses much of the difference between neighbours, what is blurred hardly
//! any. Unlike the strength of edges alone this does not call a plain wall blurred because it is plain. The strongest
//! parts of the picture decide: one readable label is enough, whatever the wall around it looks like.

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
/// Edge of a square part of the picture.
const PART: usize = 64;
/// Sum of differences in a part, per pixel in 256ths, below which there is nothing to be sharp.
const PLAIN_256: u64 = 2 * 256;
/// Of the parts with something in them, every fourth one counts as the strongest.
const STRONGEST: usize = 4;
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

fn sharpness(picture: &Grey) -> u16 {
    let mut parts: Vec<(u64, u64)> = Vec::new();
    for top in (0..picture.height()).step_by(PART) {
        for left in (0..picture.width()).step_by(PART) {
            let (right, bottom) = ((left + PART).min(picture.width()), (top + PART).min(picture.height()));
            let across = lost(right - left, bottom - top, |along, line| picture.at(left + along, top + line));
            let down = lost(bottom - top, right - left, |along, line| picture.at(left + line, top + along));
            let sum = (across.0 + down.0, across.1 + down.1);
            let pixels = ((right - left) * (bottom - top)) as u64;
            if sum.0 * 256 >= PLAIN_256 * pixels * 2 {
                parts.push(sum);
            }
        }
    }
    parts.sort_by_key(|(all, lost)| core::cmp::Reverse(lost * 1000 / all));
    let strongest = parts.len().div_ceil(STRONGEST).max(1).min(parts.len());
    let (all, lost) = parts[..strongest].iter().fold((0, 0), |sum, part| (sum.0 + part.0, sum.1 + part.1));
    u16::try_from((lost * 1000).checked_div(all).unwrap_or(0)).unwrap_or(1000)
}

/// Sum of differences between neighbours along lines, and how much of it one more blur takes away.
fn lost(length: usize, lines: usize, at: impl Fn(usize, usize) -> u8) -> (u64, u64) {
    let (mut all, mut lost) = (0_u64, 0_u64);
    for line in 0..lines {
        let values: Vec<i64> = (0..length).map(|along| i64::from(at(along, line))).collect();
        let mut sums = vec![0_i64; length + 1];
        for (along, value) in values.iter().enumerate() {
            sums[along + 1] = sums[along] + value;
        }
        let blurred: Vec<i64> = (0..length)
            .map(|along| {
                let (from, to) = (along.saturating_sub(REACH), (along + REACH + 1).min(length));
                (sums[to] - sums[from]) * 16 / (to - from) as i64
            })
            .collect();
        for along in 1..length {
            let before = (values[along] - values[along - 1]).abs() * 16;
            let after = (blurred[along] - blurred[along - 1]).abs();
            all += before.unsigned_abs();
            lost += (before - after).max(0).unsigned_abs();
        }
    }
    (all / 16, lost / 16)
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
        let hard = Measures::of(&picture(|x, _| if x / 16 % 2 == 0 { 20 } else { 220 }));
        let soft = Measures::of(&picture(|x, _| (x % 32 * 6) as u8));
        assert!(hard.sharpness > 700, "{hard:?}");
        assert!(soft.sharpness < hard.sharpness / 2, "{soft:?} {hard:?}");
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
