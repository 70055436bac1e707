//! The server's own small view of an original: upright, without metadata, so without the place where it was taken.

use std::io::Cursor;

use domain::wire::limits::DECODE_PIXELS_MAX;
use fast_image_resize::images::{TypedImage, TypedImageRef};
use fast_image_resize::pixels::U8x3;
use fast_image_resize::{FilterType, ResizeAlg, ResizeOptions, Resizer};
use image::codecs::jpeg::JpegEncoder;
use image::{DynamicImage, ImageDecoder as _, ImageReader, Limits, RgbImage};

/// Longer side of the view, pixels.
pub const SIDE_MAX: u32 = 1_600;
/// JPEG quality: text on a label stays readable.
const QUALITY: u8 = 82;
/// Bytes that decoding may take: three channels of the largest picture that is decoded, and room for the decoder.
const DECODE_BYTES_MAX: u64 = DECODE_PIXELS_MAX * 3 + 64 * 1024 * 1024;

/// Why there is no view.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum NoView {
    /// Not a format that is decoded here.
    #[error("no decoder for this format")]
    Format,
    /// More than [`DECODE_PIXELS_MAX`].
    #[error("too many pixels")]
    TooLarge,
    /// Not what its first bytes promise.
    #[error("broken picture")]
    Broken,
}

/// Makes the view of a picture: a JPEG.
///
/// # Errors
/// [`NoView`].
pub fn make(original: &[u8]) -> Result<Vec<u8>, NoView> {
    let mut reader = ImageReader::new(Cursor::new(original)).with_guessed_format().map_err(|_| NoView::Broken)?;
    if reader.format().is_none() {
        return Err(NoView::Format);
    }
    let mut limits = Limits::no_limits();
    limits.max_alloc = Some(DECODE_BYTES_MAX);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(fault)?;
    let (width, height) = decoder.dimensions();
    if u64::from(width) * u64::from(height) > DECODE_PIXELS_MAX {
        return Err(NoView::TooLarge);
    }
    let orientation = decoder.orientation().unwrap_or(image::metadata::Orientation::NoTransforms);
    let picture = DynamicImage::from_decoder(decoder).map_err(fault)?.into_rgb8();
    let mut picture = DynamicImage::ImageRgb8(reduced(picture)?);
    picture.apply_orientation(orientation);
    let mut jpeg = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut jpeg, QUALITY);
    encoder.encode_image(&picture).map_err(|_| NoView::Broken)?;
    Ok(jpeg)
}

/// The longer side is [`SIDE_MAX`] at most.
fn reduced(picture: RgbImage) -> Result<RgbImage, NoView> {
    let longer = picture.width().max(picture.height());
    if longer <= SIDE_MAX {
        return Ok(picture);
    }
    let to_scale = |side: u32| (u64::from(side) * u64::from(SIDE_MAX)).div_ceil(u64::from(longer)) as u32;
    let mut small = RgbImage::new(to_scale(picture.width()), to_scale(picture.height()));
    let (width, height) = small.dimensions();
    // For this kind of pixel alone: the resizer for every kind is two minutes of compiling.
    let from = TypedImageRef::<U8x3>::from_buffer(picture.width(), picture.height(), &picture);
    let mut to = TypedImage::<U8x3>::from_buffer(width, height, &mut small).map_err(|_| NoView::Broken)?;
    let by = ResizeOptions::new().resize_alg(ResizeAlg::Convolution(FilterType::CatmullRom));
    Resizer::new().resize_typed(&from.map_err(|_| NoView::Broken)?, &mut to, &by).map_err(|_| NoView::Broken)?;
    drop(to);
    Ok(small)
}

fn fault(error: image::ImageError) -> NoView {
    match error {
        image::ImageError::Unsupported(_) => NoView::Format,
        image::ImageError::Limits(_) => NoView::TooLarge,
        image::ImageError::Decoding(_)
        | image::ImageError::Encoding(_)
        | image::ImageError::Parameter(_)
        | image::ImageError::IoError(_) => NoView::Broken,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;
    use image::{ImageEncoder as _, Rgb, RgbImage};

    /// Left half red, right half blue.
    fn two_halves(width: u32, height: u32) -> RgbImage {
        RgbImage::from_fn(width, height, |x, _| if x < width / 2 { Rgb([255, 0, 0]) } else { Rgb([0, 0, 255]) })
    }

    /// A JPEG whose EXIF says how it is to be turned.
    fn jpeg(picture: &RgbImage, orientation: u8) -> Vec<u8> {
        // TIFF header and one directory with one entry: 0x0112, SHORT, one value.
        let mut exif = b"II\x2a\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0".to_vec();
        exif.extend([orientation, 0, 0, 0, 0, 0, 0, 0]);
        let mut out = Vec::new();
        let mut encoder = JpegEncoder::new_with_quality(&mut out, 95);
        encoder.set_exif_metadata(exif).unwrap();
        encoder.encode_image(picture).unwrap();
        out
    }

    #[test]
    fn a_view_is_small_upright_and_says_nothing_of_its_origin() {
        // 6: the camera was held so that the picture must be turned a quarter clockwise.
        let original = jpeg(&two_halves(2_000, 1_000), 6);
        assert!(original.windows(4).any(|four| four == b"Exif"));
        let view = make(&original).unwrap();
        let picture = image::load_from_memory(&view).unwrap().to_rgb8();
        assert_eq!(picture.dimensions(), (800, 1_600));
        assert!(picture.get_pixel(400, 100).0[0] > 200, "what was left is on top");
        assert!(picture.get_pixel(400, 1_500).0[2] > 200);
        assert!(!view.windows(4).any(|four| four == b"Exif"));
    }

    #[test]
    fn a_small_picture_is_not_blown_up() {
        let view = make(&jpeg(&two_halves(40, 20), 1)).unwrap();
        assert_eq!(image::load_from_memory(&view).unwrap().width(), 40);
    }

    #[test]
    fn what_cannot_be_shown_says_why() {
        assert_eq!(make(b"\0\0\0\x18ftypheic\0\0\0\0"), Err(NoView::Format));
        assert_eq!(make(b"not a picture"), Err(NoView::Format));
        let mut cut = jpeg(&two_halves(400, 200), 1);
        cut.truncate(30);
        assert_eq!(make(&cut), Err(NoView::Broken));
        let mut png = Vec::new();
        image::codecs::png::PngEncoder::new(&mut png)
            .write_image(two_halves(2, 2).as_raw(), 2, 2, image::ExtendedColorType::Rgb8)
            .unwrap();
        // A header that promises 60 000 × 60 000 pixels, with its checksum set right.
        png[16..20].copy_from_slice(&60_000_u32.to_be_bytes());
        png[20..24].copy_from_slice(&60_000_u32.to_be_bytes());
        let sum = crc32(&png[12..29]);
        png[29..33].copy_from_slice(&sum.to_be_bytes());
        assert_eq!(make(&png), Err(NoView::TooLarge));
    }

    fn crc32(bytes: &[u8]) -> u32 {
        !bytes.iter().fold(u32::MAX, |mut crc, byte| {
            crc ^= u32::from(*byte);
            for _ in 0..8 {
                crc = if crc & 1 == 1 { (crc >> 1) ^ 0xedb8_8320 } else { crc >> 1 };
            }
            crc
        })
    }
}
