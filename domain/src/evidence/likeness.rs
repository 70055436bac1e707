//! Whether two pictures show the same, by a perceptual hash that survives re-encoding, brightness and a small crop.
//!
//! Only ever a warning: eight equal modules look alike, and a person knows better.

use super::grey::{Grey, Sums};

/// Rows and columns of the grid.
const GRID: usize = 16;
/// Words of 64 bits: one bit for each two neighbours across, and one for each two down.
const WORDS: usize = GRID * GRID * 2 / 64;
/// Thousandths of the picture that a comparison lets the edges move by.
const EDGES: [usize; 3] = [0, 25, 50];

/// The hash of one picture: where it grows clearly brighter and where clearly darker, for the whole picture and for its
/// inner parts. What is plain says nothing, so that a wall does not make two pictures alike or unlike.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Likeness {
    /// The whole, and then the parts that a crop of up to a twentieth would leave.
    hashes: Vec<Hash>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Hash {
    brighter: [u64; WORDS],
    darker: [u64; WORDS],
}

impl Hash {
    /// Steps that the other one does not have, and all steps of both.
    fn compare(&self, other: &Self) -> (u32, u32) {
        let sides = [(&self.brighter, &other.brighter), (&self.darker, &other.darker)];
        let words = sides.into_iter().flat_map(|(one, other)| one.iter().zip(other));
        words.fold((0, 0), |(unlike, all), (one, other)| {
            (unlike + (one ^ other).count_ones(), all + one.count_ones() + other.count_ones())
        })
    }
}

impl Likeness {
    /// The hash of a picture.
    pub fn of(picture: &Grey) -> Self {
        let (width, height) = (picture.width(), picture.height());
        let sums = Sums::of(picture);
        let mut hashes = vec![hash(&sums, (0, width), (0, height))];
        for left in EDGES {
            for right in EDGES {
                for top in EDGES {
                    for bottom in EDGES {
                        if left + right + top + bottom > 0 && left + right <= 50 && top + bottom <= 50 {
                            let x = (width * left / 1000, width - width * right / 1000);
                            let y = (height * top / 1000, height - height * bottom / 1000);
                            hashes.push(hash(&sums, x, y));
                        }
                    }
                }
            }
        }
        Self { hashes }
    }

    /// Thousandths of the steps from field to field that the two do not share, at the best fit of one picture's whole in
    /// the other: 0 the same, 1000 nothing in common.
    pub fn distance(&self, other: &Self) -> u32 {
        let best = |whole: &Hash, parts: &[Hash]| {
            let shares = parts.iter().map(|part| part.compare(whole));
            shares.map(|(unlike, all)| (unlike * 1000).checked_div(all).unwrap_or(0)).min()
        };
        let there = best(&self.hashes[0], &other.hashes).unwrap_or(1000);
        let back = best(&other.hashes[0], &self.hashes).unwrap_or(1000);
        there.min(back)
    }
}

fn hash(picture: &Sums, x: (usize, usize), y: (usize, usize)) -> Hash {
    let edge = |range: (usize, usize), at: usize| range.0 + (range.1 - range.0) * at / (GRID + 1);
    let field = |column: usize, row: usize| {
        let mean = picture.mean_256((edge(x, column), edge(x, column + 1)), (edge(y, row), edge(y, row + 1)));
        i64::from(mean)
    };
    let fields: Vec<Vec<i64>> = (0..=GRID).map(|row| (0..=GRID).map(|column| field(column, row)).collect()).collect();
    let mut steps = Vec::with_capacity(GRID * GRID * 2);
    for row in 0..GRID {
        for column in 0..GRID {
            steps.push(fields[row][column + 1] - fields[row][column]);
            steps.push(fields[row + 1][column] - fields[row][column]);
        }
    }
    // Clear is what is more than the mean step: so neither brightness nor a weak light changes what counts.
    let clear = steps.iter().map(|step| step.abs()).sum::<i64>() / steps.len() as i64;
    let mut hash = Hash { brighter: [0; WORDS], darker: [0; WORDS] };
    for (at, step) in steps.iter().enumerate() {
        hash.brighter[at / 64] |= u64::from(*step > clear) << (at % 64);
        hash.darker[at / 64] |= u64::from(*step < -clear) << (at % 64);
    }
    hash
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(value: impl Fn(usize, usize) -> u8) -> Grey {
        let pixels = (0..200 * 150).map(|at| value(at % 200, at / 200)).collect();
        Grey::of(200, 150, pixels).expect("200 by 150")
    }
    fn scene(x: usize, y: usize) -> u8 {
        (x * x / 37 + y * y * 3 / 23 + x * y / 11) as u8 / 2
    }

    #[test]
    fn brightness_does_not_matter_and_another_scene_does() {
        let one = Likeness::of(&picture(scene));
        assert_eq!(one.distance(&one), 0);
        assert!(one.distance(&Likeness::of(&picture(|x, y| scene(x, y) + 40))) < 60);
        assert!(one.distance(&Likeness::of(&picture(|x, y| scene(y, x + 31)))) > 400);
    }
}
