//! A label with a code as a camera sees it: somewhere in the frame, turned, blurred, with grain.

use rxing::common::BitMatrix;
use rxing::{BarcodeFormat, EncodeHints, MultiFormatWriter, Writer};

use super::chance::Chance;
use crate::Picture;

/// The kinds of code that labels of units carry, with a text of the shape that one finds on each.
pub const LABELS: [(BarcodeFormat, &str); 5] = [
    (BarcodeFormat::DATA_MATRIX, "WM-2600417-A"),
    (BarcodeFormat::QR_CODE, "https://example.test/u/WM-2600417-A"),
    (BarcodeFormat::CODE_128, "WM-2600417-A"),
    (BarcodeFormat::CODE_39, "WM-2600417"),
    (BarcodeFormat::ITF, "26004170012345"),
];
/// White around every code, in modules.
const QUIET: f64 = 12.0;
const BARS_HIGH: f64 = 50.0;

pub fn is_bars(format: BarcodeFormat) -> bool {
    !matches!(format, BarcodeFormat::DATA_MATRIX | BarcodeFormat::QR_CODE)
}

/// For [`code_with`]: the white around a code is drawn here.
pub fn no_margin() -> EncodeHints {
    EncodeHints { Margin: Some("0".to_owned()), ..EncodeHints::default() }
}

/// The modules of a code.
pub fn code_with(format: BarcodeFormat, text: &str, hints: &EncodeHints) -> BitMatrix {
    MultiFormatWriter.encode_with_hints(text, &format, 0, 0, hints).expect("a code")
}

/// How a code lies in the frame and what the camera makes of it.
#[derive(Clone, Copy, Debug)]
pub struct Scene {
    pub width: u32,
    pub height: u32,
    /// Pixels a module.
    pub module: f64,
    /// Turned by so many degrees.
    pub degrees: f64,
    /// Grey of white paper and of black ink.
    pub white: f64,
    pub black: f64,
    /// Spread of what is out of focus, in pixels.
    pub blur: f64,
    /// What a shaking hand smears, in pixels along a row.
    pub smear: u32,
}

impl Scene {
    /// Bright, sharp and still.
    pub const PLAIN: Self =
        Self { width: 640, height: 480, module: 4.0, degrees: 0.0, white: 235.0, black: 20.0, blur: 0.0, smear: 1 };

    /// Grey values before any grain: the mean of a few looks into each pixel, blurred.
    fn light(&self, code: &BitMatrix, bars: bool) -> Vec<f64> {
        let (across, down) = (f64::from(code.width()), if bars { BARS_HIGH } else { f64::from(code.height()) });
        let (sin, cos) = self.degrees.to_radians().sin_cos();
        let grey_at = |x: f64, y: f64| {
            let (x, y) = (x - f64::from(self.width) / 2.0, y - f64::from(self.height) / 2.0);
            let (u, v) =
                ((x * cos + y * sin) / self.module + across / 2.0, (y * cos - x * sin) / self.module + down / 2.0);
            if u < -QUIET || v < -QUIET || u > across + QUIET || v > down + QUIET {
                return f64::midpoint(self.white, self.black);
            }
            let is_inside = u >= 0.0 && v >= 0.0 && u < across && v < down;
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "inside the code")]
            let is_black = is_inside && code.get(u as u32, if bars { 0 } else { v as u32 });
            if is_black { self.black } else { self.white }
        };
        const LOOKS: [f64; 3] = [1.0 / 6.0, 0.5, 5.0 / 6.0];
        let pixel = |x: u32, y: u32| {
            let looks = LOOKS.iter().flat_map(|dy| LOOKS.iter().map(move |dx| (*dx, *dy)));
            looks.map(|(dx, dy)| grey_at(f64::from(x) + dx, f64::from(y) + dy)).sum::<f64>() / 9.0
        };
        let all = (0..self.height).flat_map(|y| (0..self.width).map(move |x| (x, y)));
        all.map(|(x, y)| pixel(x, y)).collect()
    }

    /// The picture; `grain` says what becomes of a grey value.
    pub fn seen(&self, format: BarcodeFormat, text: &str, grain: impl FnMut(f64) -> f64) -> Picture {
        self.of(&code_with(format, text, &no_margin()), is_bars(format), grain)
    }

    /// The same with these modules.
    pub fn of(&self, code: &BitMatrix, bars: bool, mut grain: impl FnMut(f64) -> f64) -> Picture {
        let mut light = self.light(code, bars);
        let bell = bell_of(self.blur);
        for high in [self.width as usize, self.height as usize] {
            light = turned(&spread(&light, high, &bell), high);
        }
        light = spread(&light, self.width as usize, &vec![1.0 / f64::from(self.smear); self.smear as usize]);
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped")]
        let grey = light.into_iter().map(|value| grain(value).clamp(0.0, 255.0) as u8).collect();
        Picture::new(self.width, self.height, grey).expect("as many values as pixels")
    }

    /// Bright enough that there is next to no grain.
    pub fn clear(&self, format: BarcodeFormat, text: &str) -> Picture {
        self.seen(format, text, |value| value)
    }
}

/// Weights of a bell of this spread, odd in number; their sum is 1.
fn bell_of(spread: f64) -> Vec<f64> {
    let far = (0..).take_while(|at| f64::from(*at) <= 3.0 * spread).last().unwrap_or(0);
    let weights: Vec<f64> = (-far..=far).map(|at| (-0.5 * (f64::from(at) / spread.max(0.01)).powi(2)).exp()).collect();
    let sum: f64 = weights.iter().sum();
    weights.into_iter().map(|weight| weight / sum).collect()
}

/// Each value of a row spread over its neighbours; beyond an edge the row goes on as it ends.
fn spread(values: &[f64], wide: usize, weights: &[f64]) -> Vec<f64> {
    if weights.len() < 2 {
        return values.to_vec();
    }
    let half = weights.len() / 2;
    let one = |row: &[f64], at: usize| -> f64 {
        weights
            .iter()
            .enumerate()
            .map(|(by, weight)| weight * row[(at + by).saturating_sub(half).min(row.len() - 1)])
            .sum()
    };
    values.chunks_exact(wide).flat_map(|row| (0..row.len()).map(move |at| one(row, at))).collect()
}

fn turned(values: &[f64], wide: usize) -> Vec<f64> {
    let high = values.len() / wide;
    (0..wide).flat_map(|x| (0..high).map(move |y| values[y * wide + x])).collect()
}

/// Grain of a sensor: of `full` electrons at white, with so many of its own making.
pub fn grain(chance: &mut Chance, white: f64, full: f64, own: f64) -> impl FnMut(f64) -> f64 + use<'_> {
    move |value| {
        let electrons = value / white * full;
        let seen = electrons + chance.bell() * (electrons.max(0.0) + own * own).sqrt();
        seen / full * white
    }
}
