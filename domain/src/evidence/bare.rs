//! Whether a picture is nothing but a picture: no position, no maker of the phone, no words. What goes to people outside
//! the firm must be that, whoever made the file.

use super::image_header::sniff;
use crate::job_file::body::MediaType;

/// Holds the picture and its colours and nothing else. `false` for whatever cannot be read to its end.
///
/// ```
/// use domain::evidence::bare::is_bare;
/// assert!(!is_bare(b"not a picture"));
/// ```
pub fn is_bare(bytes: &[u8]) -> bool {
    let bare = match sniff(bytes).map(|head| head.media) {
        Some(MediaType::Jpeg) => bare_jpeg(bytes),
        Some(MediaType::Png) => bare_png(bytes),
        Some(MediaType::Webp) => bare_webp(bytes),
        Some(MediaType::Heif) | None => None,
    };
    bare.is_some()
}

/// Walks every segment to the end, which must be the end of the file: phones hang films behind their pictures.
fn bare_jpeg(bytes: &[u8]) -> Option<()> {
    let mut at = 2;
    loop {
        (*bytes.get(at)? == 0xff).then_some(())?;
        let marker = *bytes.get(at + 1)?;
        match marker {
            0xff => at += 1,
            0x01 | 0xd0..=0xd8 => at += 2,
            0xd9 => return (at + 2 == bytes.len()).then_some(()),
            _ => {
                let length = usize::from(u16::from_be_bytes(bytes.get(at + 2..at + 4)?.try_into().ok()?));
                let content = bytes.get(at + 4..at + 2 + length)?;
                may_stand(marker, content).then_some(())?;
                at += 2 + length;
                if marker == 0xda {
                    at = end_of_scan(bytes, at)?;
                }
            }
        }
    }
}

/// Application segments: the format's own, the colour profile, and how colours are coded. No comments.
fn may_stand(marker: u8, content: &[u8]) -> bool {
    match marker {
        0xe0 => content.starts_with(b"JFIF\0"),
        0xe2 => content.starts_with(b"ICC_PROFILE\0"),
        0xee => content.starts_with(b"Adobe"),
        0xe1..=0xef | 0xfe => false,
        _ => true,
    }
}

/// In picture data a marker's first byte is followed by zero, or by a restart.
fn end_of_scan(bytes: &[u8], from: usize) -> Option<usize> {
    let mut at = from;
    loop {
        match (bytes.get(at)?, bytes.get(at + 1)?) {
            (0xff, 0x00 | 0xd0..=0xd7) => at += 2,
            (0xff, 0xff) => at += 1,
            (0xff, _) => return Some(at),
            _ => at += 1,
        }
    }
}

fn bare_png(bytes: &[u8]) -> Option<()> {
    const PLAIN: [&[u8]; 11] =
        [b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"gAMA", b"cHRM", b"sRGB", b"iCCP", b"sBIT", b"pHYs"];
    let mut at = 8;
    loop {
        let length = usize::try_from(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?)).ok()?;
        let kind = bytes.get(at + 4..at + 8)?;
        PLAIN.contains(&kind).then_some(())?;
        at = at.checked_add(length)?.checked_add(12)?;
        if kind == b"IEND" {
            return (at == bytes.len()).then_some(());
        }
    }
}

fn bare_webp(bytes: &[u8]) -> Option<()> {
    const PLAIN: [&[u8]; 5] = [b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP"];
    let whole = usize::try_from(u32::from_le_bytes(bytes.get(4..8)?.try_into().ok()?)).ok()?;
    (whole.checked_add(8)? == bytes.len()).then_some(())?;
    let mut at = 12;
    while at < bytes.len() {
        PLAIN.contains(&bytes.get(at..at + 4)?).then_some(())?;
        let length = usize::try_from(u32::from_le_bytes(bytes.get(at + 4..at + 8)?.try_into().ok()?)).ok()?;
        at = at.checked_add(8)?.checked_add(length)?.checked_add(length % 2)?;
    }
    (at == bytes.len()).then_some(())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test that panics has failed")]
mod tests {
    use super::*;
    use image::{DynamicImage, ImageFormat};

    fn picture(format: ImageFormat) -> Vec<u8> {
        let mut bytes = std::io::Cursor::new(Vec::new());
        DynamicImage::new_rgb8(40, 30).write_to(&mut bytes, format).unwrap();
        bytes.into_inner()
    }

    #[test]
    fn a_picture_alone_is_bare() {
        for format in [ImageFormat::Jpeg, ImageFormat::Png, ImageFormat::WebP] {
            let bytes = picture(format);
            assert!(is_bare(&bytes), "{format:?}");
            assert!(!is_bare(&[&bytes[..], b"and a film"].concat()), "{format:?}");
            for end in 0..bytes.len() {
                assert!(!is_bare(&bytes[..end]), "{format:?} {end}");
            }
        }
    }

    #[test]
    fn a_position_a_comment_or_a_note_is_seen() {
        let bytes = picture(ImageFormat::Jpeg);
        for (marker, content) in [(0xe1_u8, &b"Exif\0\0GPS"[..]), (0xfe, b"at home"), (0xed, b"note"), (0xe2, b"MPF\0")]
        {
            let length = u16::try_from(content.len() + 2).unwrap().to_be_bytes();
            let with = [&bytes[..2], &[0xff, marker], &length, content, &bytes[2..]].concat();
            assert!(!is_bare(&with), "{marker:x}");
        }
        let bytes = picture(ImageFormat::Png);
        let note = [&[0, 0, 0, 1][..], b"eXIf", b"x", &[0; 4]].concat();
        let (before, after) = bytes.split_at(bytes.len() - 12);
        assert!(!is_bare(&[before, &note, after].concat()));
    }

    proptest::proptest! {
        #[test]
        fn any_bytes_are_answered(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..200)) {
            let _ = is_bare(&[&[0xff, 0xd8, 0xff][..], &bytes].concat());
            let _ = is_bare(&[&b"\x89PNG\r\n\x1a\n"[..], &bytes].concat());
        }
    }
}
