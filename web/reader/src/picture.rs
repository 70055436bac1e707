//! A grey picture, and what lets a reader see more in it.

/// A picture larger than this is no frame of a camera and no label that the app made small.
const PIXELS_MAX: u64 = 5_000_000;
/// Of a thousand pixels so many may be brighter or darker than what counts as white and black: lamps, holes, noise.
const OUTLIERS_PER_MILLE: usize = 10;

/// Grey values, row by row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    width: usize,
    height: usize,
    grey: Vec<u8>,
}

impl Picture {
    /// `None` if there are not as many values as pixels, or too many or none.
    pub fn new(width: u32, height: u32, grey: Vec<u8>) -> Option<Self> {
        let pixels = u64::from(width) * u64::from(height);
        let is_whole = pixels > 0 && pixels <= PIXELS_MAX && usize::try_from(pixels) == Ok(grey.len());
        is_whole.then_some(Self { width: usize::try_from(width).ok()?, height: usize::try_from(height).ok()?, grey })
    }

    /// The same from red, green, blue and what a browser puts beside them.
    pub fn of_rgba(width: u32, height: u32, rgba: &[u8]) -> Option<Self> {
        if !rgba.len().is_multiple_of(4) {
            return None;
        }
        // Weights of the three in what an eye calls bright, in 256ths.
        let bright = |pixel: &[u8]| match pixel {
            [red, green, blue, _] => {
                ((77 * u32::from(*red) + 150 * u32::from(*green) + 29 * u32::from(*blue)) >> 8).to_le_bytes()[0]
            }
            _ => 0,
        };
        Self::new(width, height, rgba.chunks_exact(4).map(bright).collect())
    }

    /// Pixels across.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Pixels down.
    pub fn height(&self) -> usize {
        self.height
    }

    /// Grey values, row by row.
    pub fn grey(&self) -> &[u8] {
        &self.grey
    }

    /// Black made black and white white: in a dark roof all of a label lies within a few grey values, which a reader takes for one.
    pub(crate) fn stretched(&self) -> Self {
        let mut counts = [0_usize; 256];
        for value in &self.grey {
            counts[usize::from(*value)] += 1;
        }
        let outliers = self.grey.len() * OUTLIERS_PER_MILLE / 1_000;
        let is_past = |passed: &mut usize, value: usize| {
            *passed += counts[value];
            *passed > outliers
        };
        let (mut darker, mut brighter) = (0, 0);
        let low = (0..256).find(|value| is_past(&mut darker, *value)).unwrap_or(0);
        let high = (0..256).rev().find(|value| is_past(&mut brighter, *value)).unwrap_or(255);
        if high <= low {
            return self.clone();
        }
        let spread = |value: u8| ((usize::from(value).clamp(low, high) - low) * 255 / (high - low)).to_le_bytes()[0];
        Self { grey: self.grey.iter().map(|value| spread(*value)).collect(), ..*self }
    }

    /// Each pixel the mean of `across` times `down` around it, odd numbers both: grain goes, and with it what is as fine as grain.
    pub(crate) fn softened(&self, across: usize, down: usize) -> Self {
        self.averaged(across).turned().averaged(down).turned()
    }

    /// The mean of `span` neighbours in each row.
    fn averaged(&self, span: usize) -> Self {
        if span < 2 {
            return self.clone();
        }
        let half = span / 2;
        let mut grey = Vec::with_capacity(self.grey.len());
        for row in self.grey.chunks_exact(self.width) {
            let mut sum: usize = row.iter().take(half).map(|value| usize::from(*value)).sum();
            for at in 0..self.width {
                sum += row.get(at + half).map_or(0, |value| usize::from(*value));
                if at > half {
                    sum -= usize::from(row[at - half - 1]);
                }
                let count = (at + half + 1).min(self.width) - at.saturating_sub(half);
                grey.push((sum / count).to_le_bytes()[0]);
            }
        }
        Self { grey, ..*self }
    }

    /// Rows become columns.
    pub(crate) fn turned(&self) -> Self {
        let grey = (0..self.width).flat_map(|x| (0..self.height).map(move |y| (x, y)));
        let grey = grey.map(|(x, y)| self.grey[y * self.width + x]).collect();
        Self { width: self.height, height: self.width, grey }
    }
}

#[cfg(test)]
mod tests {
    use super::Picture;

    fn picture(width: u32, height: u32, grey: &[u8]) -> Picture {
        Picture::new(width, height, grey.to_vec()).expect("as many values as pixels")
    }

    #[test]
    fn what_is_no_picture_is_none() {
        assert_eq!(Picture::new(2, 2, vec![0; 3]), None);
        assert_eq!(Picture::new(0, 0, Vec::new()), None);
        assert_eq!(Picture::new(u32::MAX, u32::MAX, vec![0; 1]), None);
        assert_eq!(Picture::of_rgba(1, 1, &[1, 2, 3]), None);
        assert_eq!(Picture::of_rgba(2, 1, &[255, 255, 255, 255, 0, 0, 0, 255]), Some(picture(2, 1, &[255, 0])));
    }

    #[test]
    fn a_few_grey_values_become_all_of_them() {
        assert_eq!(picture(4, 1, &[10, 12, 14, 20]).stretched().grey(), [0, 51, 102, 255]);
        assert_eq!(picture(2, 1, &[7, 7]).stretched().grey(), [7, 7]);
        let mut lamp = vec![20; 1_000];
        (lamp[0], lamp[1]) = (255, 0);
        lamp[2..500].fill(10);
        assert_eq!(picture(1_000, 1, &lamp).stretched().grey()[1..3], [0, 0]);
        assert_eq!(picture(1_000, 1, &lamp).stretched().grey()[999], 255);
    }

    #[test]
    fn neighbours_are_averaged_and_edges_have_fewer() {
        assert_eq!(picture(4, 1, &[0, 30, 60, 90]).softened(3, 1).grey(), [15, 30, 60, 75]);
        assert_eq!(picture(1, 3, &[0, 30, 90]).softened(1, 3).grey(), [15, 40, 60]);
        assert_eq!(picture(1, 1, &[9]).softened(5, 5).grey(), [9]);
    }

    #[test]
    fn turning_keeps_what_is_there() {
        assert_eq!(picture(3, 2, &[1, 2, 3, 4, 5, 6]).turned(), picture(2, 3, &[1, 4, 2, 5, 3, 6]));
    }
}
