//! Pictures for the demo's photos: a plate, bolts and a paint line across them, drawn, so that nobody takes them for a
//! photo of anything.

use image::codecs::jpeg::JpegEncoder;
use image::{Rgb, RgbImage};

/// The grid that is drawn on.
const WIDTH: u32 = 800;
const HEIGHT: u32 = 600;
const QUALITY: u8 = 80;
/// Width and height of a picture.
pub const SIZE: (u32, u32) = (WIDTH / 2, HEIGHT / 2);
/// Width and height of its preview.
pub const SMALL: (u32, u32) = (WIDTH / 4, HEIGHT / 4);

/// A JPEG that differs for each number, and its preview.
///
/// # Panics
/// Never: the sizes are those of this file.
pub fn draw(number: u32) -> (Vec<u8>, Vec<u8>) {
    let of = |(width, height): (u32, u32)| {
        encode(&RgbImage::from_fn(width, height, |x, y| point(number, x * WIDTH / width, y * HEIGHT / height)))
    };
    (of(SIZE), of(SMALL))
}

fn point(number: u32, x: u32, y: u32) -> Rgb<u8> {
    let shade = |base: u32, step: u32| u8::try_from(base + (number * step) % 60).unwrap_or(u8::MAX);
    // The number as a row of light and dark squares, so that no two pictures are the same.
    let square = x / 20;
    if (20..40).contains(&y) && (4..36).contains(&square) {
        return if number >> (square - 4) & 1 == 1 { Rgb([30, 30, 30]) } else { Rgb([225, 225, 220]) };
    }
    let on_plate = (100..WIDTH - 100).contains(&x) && (120..HEIGHT - 120).contains(&y);
    if !on_plate {
        // A faint grid, as of blocks: shows at once whether a picture stands upright.
        let joint = y % 80 < 3 || (x + (y / 80 % 2) * 60) % 120 < 3;
        return if joint { Rgb([120, 118, 112]) } else { Rgb([shade(150, 7), shade(148, 11), shade(140, 5)]) };
    }
    let bolts = 2 + number % 5;
    for bolt in 0..bolts {
        let (centre_x, centre_y) = (160 + bolt * 480 / bolts + 40, HEIGHT / 2 + (bolt * number * 37) % 90);
        let (dx, dy) = (x.abs_diff(centre_x), y.abs_diff(centre_y));
        if dx < 5 && dy < 60 {
            return Rgb([235, 120, 30]);
        }
        if dx * dx + dy * dy < 34 * 34 {
            return Rgb([190, 194, 198]);
        }
    }
    Rgb([shade(70, 3), shade(76, 3), shade(84, 3)])
}

fn encode(picture: &RgbImage) -> Vec<u8> {
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
        .encode_image(picture)
        .expect("writing a small picture into memory cannot fail");
    jpeg
}
