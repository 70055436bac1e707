//! Pictures as phones take them: real JPEGs of several megapixels with an orientation tag and a position in their Exif.
//!
//! Upright, every picture has a red corner top left, green top right, blue bottom left and yellow bottom right; the
//! stored pixels are turned so that only a reader of the tag sees them upright. Nothing here is a photo of anything.

use image::codecs::jpeg::JpegEncoder;
use image::imageops::{FilterType, resize, thumbnail};
use image::{ExtendedColorType, ImageEncoder as _, RgbImage};

/// The corners of an upright picture: top left, top right, bottom left, bottom right.
pub const CORNERS: [[u8; 3]; 4] = [[220, 30, 30], [30, 180, 60], [40, 60, 220], [230, 210, 40]];

/// A picture to make.
#[derive(Clone, Copy, Debug)]
pub struct Picture {
    /// Pixels across when upright.
    pub width: u32,
    /// Pixels down when upright.
    pub height: u32,
    /// Exif orientation, 1 to 8.
    pub orientation: u8,
    /// Makes pictures different from each other.
    pub seed: u32,
}

impl Picture {
    /// The JPEG file.
    ///
    /// # Panics
    /// An orientation outside 1 to 8, or a size that the encoder does not take.
    pub fn jpeg(self) -> Vec<u8> {
        self.stored(&self.upright())
    }

    /// The same out of focus: nothing in it is sharp.
    ///
    /// # Panics
    /// As [`Self::jpeg`].
    pub fn blurred_jpeg(self) -> Vec<u8> {
        let Self { width, height, .. } = self;
        let coarse = thumbnail(&self.upright(), width / 48, height / 48);
        self.stored(&resize(&coarse, width, height, FilterType::Triangle))
    }

    /// The same without light.
    ///
    /// # Panics
    /// As [`Self::jpeg`].
    pub fn dark_jpeg(self) -> Vec<u8> {
        let mut dark = self.upright();
        dark.iter_mut().for_each(|value| *value /= 10);
        self.stored(&dark)
    }

    fn stored(self, upright: &RgbImage) -> Vec<u8> {
        let stored = turned(upright, self.orientation);
        let mut plain = Vec::new();
        JpegEncoder::new_with_quality(&mut plain, 88)
            .write_image(stored.as_raw(), stored.width(), stored.height(), ExtendedColorType::Rgb8)
            .expect("the encoder takes any size up to 65,535 pixels");
        with_exif(&plain, self.orientation)
    }

    /// The pixels as a person sees them.
    pub fn upright(self) -> RgbImage {
        let (width, height) = (self.width, self.height);
        let corner = width.min(height) / 4;
        RgbImage::from_fn(width, height, |x, y| {
            let left = x < corner;
            let right = x >= width - corner;
            let top = y < corner;
            let bottom = y >= height - corner;
            let colour = match (left, right, top, bottom) {
                (true, _, true, _) => CORNERS[0],
                (_, true, true, _) => CORNERS[1],
                (true, _, _, true) => CORNERS[2],
                (_, true, _, true) => CORNERS[3],
                _ => {
                    // Coarse blocks with a little grain: compresses to a size like that of a photo.
                    let block = (x / 32).wrapping_mul(73_856_093) ^ (y / 32).wrapping_mul(19_349_663) ^ self.seed;
                    let grain = (x.wrapping_mul(31) ^ y.wrapping_mul(17) ^ self.seed) % 23;
                    let shade = u8::try_from(block.wrapping_mul(2_654_435_761) >> 24).unwrap_or(0);
                    let grain = u8::try_from(grain).unwrap_or(0);
                    [shade.saturating_add(grain), shade / 2 + grain, 255 - shade.max(grain)]
                }
            };
            image::Rgb(colour)
        })
    }
}

/// Whether a decoded picture stands upright: each corner has its colour, roughly, as JPEG keeps it.
pub fn stands_upright(picture: &RgbImage) -> bool {
    let (width, height) = picture.dimensions();
    let inset_x = (width / 12).max(1);
    let inset_y = (height / 12).max(1);
    let points = [
        (inset_x, inset_y),
        (width - inset_x, inset_y),
        (inset_x, height - inset_y),
        (width - inset_x, height - inset_y),
    ];
    points.into_iter().zip(CORNERS).all(|((x, y), wanted)| {
        let seen = picture.get_pixel(x.min(width - 1), y.min(height - 1)).0;
        seen.into_iter().zip(wanted).all(|(seen, wanted)| seen.abs_diff(wanted) < 40)
    })
}

/// Turns upright pixels into what a phone stores under an orientation tag.
fn turned(upright: &RgbImage, orientation: u8) -> RgbImage {
    use image::imageops::{flip_horizontal, flip_vertical, rotate90, rotate180, rotate270};
    match orientation {
        1 => upright.clone(),
        2 => flip_horizontal(upright),
        3 => rotate180(upright),
        4 => flip_vertical(upright),
        // The tag says: stored rows are the visual left side (5, 8) or right side (6, 7).
        5 => flip_horizontal(&rotate90(upright)),
        6 => rotate270(upright),
        7 => flip_horizontal(&rotate270(upright)),
        8 => rotate90(upright),
        other => panic!("there is no orientation {other}"),
    }
}

/// Puts an Exif segment with orientation and position behind the start marker of a JPEG.
fn with_exif(jpeg: &[u8], orientation: u8) -> Vec<u8> {
    let tiff = exif_tiff(orientation);
    let length = u16::try_from(tiff.len() + 8).expect("the segment is small");
    let mut out = jpeg[..2].to_vec();
    out.extend([0xff, 0xe1]);
    out.extend(length.to_be_bytes());
    out.extend(b"Exif\0\0");
    out.extend(tiff);
    out.extend(&jpeg[2..]);
    out
}

/// A little-endian TIFF block: orientation in the first directory, a made-up position in the second.
fn exif_tiff(orientation: u8) -> Vec<u8> {
    let mut tiff = Vec::new();
    tiff.extend(b"II*\0");
    tiff.extend(8u32.to_le_bytes());
    let field = |tiff: &mut Vec<u8>, tag: u16, kind: u16, count: u32, value: [u8; 4]| {
        tiff.extend(tag.to_le_bytes());
        tiff.extend(kind.to_le_bytes());
        tiff.extend(count.to_le_bytes());
        tiff.extend(value);
    };
    // First directory at 8: two fields end at 8 + 2 + 24 + 4 = 38.
    tiff.extend(2u16.to_le_bytes());
    field(&mut tiff, 0x0112, 3, 1, [orientation, 0, 0, 0]);
    field(&mut tiff, 0x8825, 4, 1, 38u32.to_le_bytes());
    tiff.extend(0u32.to_le_bytes());
    // Position directory at 38: four fields end at 38 + 2 + 48 + 4 = 92; the two triples of fractions follow.
    tiff.extend(4u16.to_le_bytes());
    field(&mut tiff, 1, 2, 2, *b"N\0\0\0");
    field(&mut tiff, 2, 5, 3, 92u32.to_le_bytes());
    field(&mut tiff, 3, 2, 2, *b"E\0\0\0");
    field(&mut tiff, 4, 5, 3, 116u32.to_le_bytes());
    tiff.extend(0u32.to_le_bytes());
    for (number, over) in [(12u32, 1u32), (34, 1), (56, 1), (7, 1), (8, 1), (9, 1)] {
        tiff.extend(number.to_le_bytes());
        tiff.extend(over.to_le_bytes());
    }
    tiff
}

/// JPEG files that stand inside other bytes (a PDF keeps them as they are).
pub fn jpegs_inside(bytes: &[u8]) -> Vec<&[u8]> {
    const START: &[u8] = b"stream\n";
    const START_CR: &[u8] = b"stream\r\n";
    const END: &[u8] = b"endstream";
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(step) = find(&bytes[at..], b"stream") {
        let begin = at + step;
        let rest = &bytes[begin..];
        let skip = if rest.starts_with(START_CR) { START_CR.len() } else { START.len() };
        let Some(content) = rest.get(skip..) else { break };
        let Some(length) = find(content, END) else { break };
        if content.starts_with(&[0xff, 0xd8, 0xff]) {
            found.push(content[..length].trim_ascii_end());
        }
        at = begin + skip + length + END.len();
    }
    found
}

fn find(bytes: &[u8], wanted: &[u8]) -> Option<usize> {
    bytes.windows(wanted.len()).position(|window| window == wanted)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that panics has failed")]
    use super::*;
    use domain::evidence::grey::{Grey, LONG_EDGE};
    use domain::evidence::likeness::Likeness;
    use domain::evidence::measure::Measures;
    use domain::evidence::warning::{ALIKE_MAX, Warning, warnings};
    use domain::job_file::Place;
    use image::{DynamicImage, ImageDecoder as _, ImageReader};

    #[test]
    fn each_orientation_is_upright_only_for_a_reader_of_the_tag() {
        for orientation in 1..=8 {
            let bytes = Picture { width: 400, height: 300, orientation, seed: 7 }.jpeg();
            let mut decoder =
                ImageReader::new(std::io::Cursor::new(&bytes)).with_guessed_format().unwrap().into_decoder().unwrap();
            let tag = decoder.orientation().unwrap();
            let mut picture = DynamicImage::from_decoder(decoder).unwrap();
            assert_eq!(stands_upright(&picture.to_rgb8()), orientation == 1, "stored pixels of {orientation}");
            picture.apply_orientation(tag);
            assert!(stands_upright(&picture.to_rgb8()), "turned pixels of {orientation}");
        }
    }
    /// As a device measures it.
    fn seen(picture: &RgbImage) -> Grey {
        let (width, height) = picture.dimensions();
        let most = |edge: u32| edge * LONG_EDGE / width.max(height);
        let small = image::imageops::grayscale(&thumbnail(picture, most(width), most(height)));
        let (width, height) = (small.width() as usize, small.height() as usize);
        Grey::of(width, height, small.into_raw()).unwrap()
    }

    fn told(picture: &RgbImage) -> Vec<Warning> {
        let grey = seen(picture);
        warnings(Measures::of(&grey), &Likeness::of(&grey), &Place::of("s", 0, "p"), &[])
    }

    /// Suites take them for good photos: a warning would stop a save that they wait for.
    #[test]
    fn a_drawn_picture_is_sharp_and_bright_and_unlike_the_next_one() {
        for (width, height) in [(1_632, 1_224), (2_592, 1_944), (3_264, 2_448), (3_024, 4_032)] {
            let picture = Picture { width, height, orientation: 1, seed: 12 }.upright();
            assert_eq!(told(&picture), [], "{width} by {height}: {:?}", Measures::of(&seen(&picture)));
        }
        let small = |seed| Picture { width: 1_632, height: 1_224, orientation: 1, seed }.upright();
        let many: Vec<Likeness> = (0..10).map(|number| Likeness::of(&seen(&small(number * 7_919 + 1)))).collect();
        for (at, one) in many.iter().enumerate() {
            let nearest = many[..at].iter().map(|other| one.distance(other)).min().unwrap_or(1_000);
            assert!(nearest > ALIKE_MAX, "picture {at} is {nearest} from another one");
        }
    }

    #[test]
    fn a_blurred_and_a_dark_one_are_told_as_that() {
        let picture = Picture { width: 1_632, height: 1_224, orientation: 1, seed: 3 };
        let read = |bytes: Vec<u8>| image::load_from_memory(&bytes).unwrap().into_rgb8();
        assert_eq!(told(&read(picture.blurred_jpeg())), [Warning::Blurred]);
        assert_eq!(told(&read(picture.dark_jpeg())), [Warning::Dark]);
    }
}
