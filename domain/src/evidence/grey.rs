//! A small grey picture: what all measures work on.

/// Long edge to which a device makes a picture small before it measures: the thresholds were tuned at this size.
pub const LONG_EDGE: u32 = 512;

/// Grey values row by row, 0 black to 255 white.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grey {
    width: usize,
    height: usize,
    pixels: Vec<u8>,
}

impl Grey {
    /// Wraps grey values; `None` if they are not `width` × `height`, or one of these is 0.
    pub fn of(width: usize, height: usize, pixels: Vec<u8>) -> Option<Self> {
        (width > 0 && height > 0 && width.checked_mul(height) == Some(pixels.len())).then_some(Self {
            width,
            height,
            pixels,
        })
    }

    /// From red, green, blue, opacity, as a canvas gives them; luma of ITU-R BT.601 in 256ths.
    pub fn of_rgba(width: usize, height: usize, rgba: &[u8]) -> Option<Self> {
        let luma = |p: &[u8]| (77 * u32::from(p[0]) + 150 * u32::from(p[1]) + 29 * u32::from(p[2])) >> 8;
        if !rgba.len().is_multiple_of(4) {
            return None;
        }
        // 77 + 150 + 29 = 256, so the sum stays below 256 · 256.
        Self::of(width, height, rgba.chunks_exact(4).map(|p| luma(p) as u8).collect())
    }

    /// Pixels across.
    pub const fn width(&self) -> usize {
        self.width
    }

    /// Pixels down.
    pub const fn height(&self) -> usize {
        self.height
    }

    /// All values, row by row.
    pub fn pixels(&self) -> &[u8] {
        &self.pixels
    }

    /// One value; the nearest one at the edge for a place outside.
    // Called for each pixel several times; the browser build is made for size and would call it.
    #[inline(always)]
    pub fn at(&self, x: usize, y: usize) -> u8 {
        self.pixels[y.min(self.height - 1) * self.width + x.min(self.width - 1)]
    }
}

/// Sums of a picture from its corner, so that the mean of any rectangle takes four looks.
#[derive(Clone, Debug)]
pub struct Sums {
    width: usize,
    height: usize,
    /// One row and one column more than the picture.
    sums: Vec<u64>,
}

impl Sums {
    /// Of a picture.
    pub fn of(picture: &Grey) -> Self {
        let (width, height) = (picture.width, picture.height);
        let mut sums = vec![0; (width + 1) * (height + 1)];
        for (y, row) in picture.pixels.chunks_exact(width).enumerate() {
            let mut line = 0;
            for (x, value) in row.iter().enumerate() {
                line += u64::from(*value);
                sums[(y + 1) * (width + 1) + x + 1] = sums[y * (width + 1) + x + 1] + line;
            }
        }
        Self { width, height, sums }
    }

    /// Mean of a rectangle, in 256ths of a grey value; an empty one counts as its first pixel.
    pub fn mean_256(&self, x: (usize, usize), y: (usize, usize)) -> u32 {
        let (left, top) = (x.0.min(self.width - 1), y.0.min(self.height - 1));
        let (right, bottom) = (x.1.max(left + 1).min(self.width), y.1.max(top + 1).min(self.height));
        let at = |x: usize, y: usize| self.sums[y * (self.width + 1) + x];
        let sum = at(right, bottom) + at(left, top) - at(left, bottom) - at(right, top);
        u32::try_from(sum * 256 / ((right - left) * (bottom - top)) as u64).unwrap_or(u32::MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_must_fit_and_white_is_white() {
        assert!(Grey::of(2, 2, vec![0; 3]).is_none());
        assert!(Grey::of(0, 2, Vec::new()).is_none());
        assert!(Grey::of_rgba(1, 1, &[255, 255, 255]).is_none());
        let white = Grey::of_rgba(1, 1, &[255, 255, 255, 0]).expect("one pixel");
        assert_eq!(white.pixels(), [255]);
        let grey = Grey::of(2, 1, vec![10, 20]).expect("two pixels");
        assert_eq!(Sums::of(&grey).mean_256((0, 2), (0, 1)), 15 * 256);
        assert_eq!(Sums::of(&grey).mean_256((1, 1), (0, 1)), 20 * 256);
        assert_eq!(grey.at(9, 9), 20);
    }
}
