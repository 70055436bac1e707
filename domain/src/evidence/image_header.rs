//! Type and pixel size of a picture from its leading bytes, so that nothing is decoded before its size is known.
//!
//! A name or a declared type is never asked: phones get both wrong.

use crate::job_file::body::MediaType;

/// So many leading bytes are enough for every camera file seen so far: a JPEG carries its thumbnail and metadata before
/// its size.
pub const HEAD_BYTES: usize = 256 * 1024;

/// What the leading bytes say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ImageHeader {
    /// Type.
    pub media: MediaType,
    /// Pixels across as stored; 0 when unknown.
    pub width: u32,
    /// Pixels down as stored; 0 when unknown.
    pub height: u32,
}

impl ImageHeader {
    /// Pixels in all; `None` when the size is unknown.
    pub const fn pixels(&self) -> Option<u64> {
        match self.width as u64 * self.height as u64 {
            0 => None,
            pixels => Some(pixels),
        }
    }
}

/// Reads the head of a file; `None` when it is no picture of a kind that this app keeps.
///
/// ```
/// use domain::evidence::image_header::sniff;
/// assert_eq!(sniff(b"%PDF-1.7"), None);
/// ```
pub fn sniff(head: &[u8]) -> Option<ImageHeader> {
    let (media, size) = if head.starts_with(&[0xff, 0xd8, 0xff]) {
        (MediaType::Jpeg, jpeg_size(head))
    } else if head.starts_with(b"\x89PNG\r\n\x1a\n") {
        (MediaType::Png, png_size(head))
    } else if head.starts_with(b"RIFF") && head.get(8..12) == Some(b"WEBP") {
        (MediaType::Webp, webp_size(head))
    } else if is_heif(head) {
        (MediaType::Heif, None)
    } else {
        return None;
    };
    let (width, height) = size.unwrap_or((0, 0));
    Some(ImageHeader { media, width, height })
}

/// Walks the segments of a JPEG up to its first frame header.
fn jpeg_size(head: &[u8]) -> Option<(u32, u32)> {
    let mut at = 2;
    loop {
        if *head.get(at)? != 0xff {
            return None;
        }
        let marker = *head.get(at + 1)?;
        match marker {
            // Fill bytes before a marker are allowed.
            0xff => at += 1,
            // Markers without a length.
            0x01 | 0xd0..=0xd8 => at += 2,
            // Picture data or the end came before any frame header.
            0xd9 | 0xda => return None,
            // Frame headers; C4, C8 and CC in between are other things.
            0xc0..=0xc3 | 0xc5..=0xc7 | 0xc9..=0xcb | 0xcd..=0xcf => {
                let (height, width) = (be16(head, at + 5)?, be16(head, at + 7)?);
                return Some((width, height));
            }
            _ => {
                let length = usize::try_from(be16(head, at + 2)?).ok()?;
                if length < 2 {
                    return None;
                }
                at += 2 + length;
            }
        }
    }
}

fn png_size(head: &[u8]) -> Option<(u32, u32)> {
    (head.get(12..16)? == b"IHDR").then_some(())?;
    Some((be32(head, 16)?, be32(head, 20)?))
}

fn webp_size(head: &[u8]) -> Option<(u32, u32)> {
    match head.get(12..16)? {
        b"VP8X" => Some((le24(head, 24)? + 1, le24(head, 27)? + 1)),
        b"VP8L" => {
            (*head.get(20)? == 0x2f).then_some(())?;
            let bits = u32::from_le_bytes(head.get(21..25)?.try_into().ok()?);
            Some(((bits & 0x3fff) + 1, ((bits >> 14) & 0x3fff) + 1))
        }
        b"VP8 " => {
            (head.get(23..26)? == [0x9d, 0x01, 0x2a]).then_some(())?;
            Some((le16(head, 26)? & 0x3fff, le16(head, 28)? & 0x3fff))
        }
        _ => None,
    }
}

/// A box `ftyp` at the start whose major or compatible brands belong to the HEIF family.
fn is_heif(head: &[u8]) -> bool {
    const BRANDS: [&[u8]; 8] = [b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1", b"avif"];
    if head.get(4..8) != Some(b"ftyp") {
        return false;
    }
    let length = be32(head, 0).and_then(|length| usize::try_from(length).ok()).unwrap_or(0).min(head.len());
    let Some(brands) = head.get(8..length) else { return false };
    // The four bytes behind the major brand are its version and match nothing.
    brands.chunks_exact(4).any(|brand| BRANDS.contains(&brand))
}

fn be16(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?)))
}

fn be32(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?))
}

fn le16(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from(u16::from_le_bytes(bytes.get(at..at + 2)?.try_into().ok()?)))
}

fn le24(bytes: &[u8], at: usize) -> Option<u32> {
    let three = bytes.get(at..at + 3)?;
    Some(u32::from(three[0]) | u32::from(three[1]) << 8 | u32::from(three[2]) << 16)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is(media: MediaType, width: u32, height: u32) -> Option<ImageHeader> {
        Some(ImageHeader { media, width, height })
    }

    #[test]
    fn a_jpeg_is_walked_past_its_metadata() {
        let mut bytes = vec![0xff, 0xd8, 0xff, 0xe1, 0x00, 0x06, 1, 2, 3, 4];
        bytes.extend([0xff, 0xff, 0xc2, 0x00, 0x11, 0x08, 0x0b, 0xd0, 0x0f, 0xa0, 0x03]);
        assert_eq!(sniff(&bytes), is(MediaType::Jpeg, 4000, 3024));
        // The picture data begins and no size was seen.
        assert_eq!(sniff(&[0xff, 0xd8, 0xff, 0xda, 0, 2]), is(MediaType::Jpeg, 0, 0));
        // A segment that would not move the walk on.
        assert_eq!(sniff(&[0xff, 0xd8, 0xff, 0xe1, 0, 0, 0xff, 0xe1]), is(MediaType::Jpeg, 0, 0));
    }

    #[test]
    fn a_png_says_its_size_at_once() {
        let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR".to_vec();
        bytes.extend([0, 0, 2, 0x80, 0, 0, 1, 0xe0]);
        assert_eq!(sniff(&bytes), is(MediaType::Png, 640, 480));
        assert_eq!(sniff(&bytes[..18]), is(MediaType::Png, 0, 0));
    }

    #[test]
    fn each_webp_writes_its_size_in_its_own_way() {
        let start = |kind: &[u8]| [b"RIFF\0\0\0\0WEBP", kind, &[0, 0, 0, 0]].concat();
        let extended = [start(b"VP8X"), vec![0, 0, 0, 0, 0x7f, 0x02, 0, 0xdf, 0x01, 0]].concat();
        assert_eq!(sniff(&extended), is(MediaType::Webp, 640, 480));
        let packed: u32 = 639 | 479 << 14;
        let lossless = [start(b"VP8L"), vec![0x2f], packed.to_le_bytes().to_vec()].concat();
        assert_eq!(sniff(&lossless), is(MediaType::Webp, 640, 480));
        let lossy = [start(b"VP8 "), vec![0, 0, 0, 0x9d, 0x01, 0x2a, 0x80, 0x02, 0xe0, 0x01]].concat();
        assert_eq!(sniff(&lossy), is(MediaType::Webp, 640, 480));
    }

    #[test]
    fn heif_is_known_by_any_of_its_brands() {
        assert_eq!(sniff(b"\0\0\0\x18ftypheic\0\0\0\0mif1heic"), is(MediaType::Heif, 0, 0));
        assert_eq!(sniff(b"\0\0\0\x14ftypxxxx\0\0\0\0mif1"), is(MediaType::Heif, 0, 0));
        assert_eq!(sniff(b"\0\0\0\x14ftypisom\0\0\0\0mp42"), None);
    }

    proptest::proptest! {
        #[test]
        fn any_bytes_are_answered(kind in 0usize..5, rest in proptest::collection::vec(proptest::num::u8::ANY, 0..200)) {
            let starts: [&[u8]; 5] = [b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF\0\0\0\0WEBPVP8X", b"\0\0\0\x18ftyp", b""];
            let _ = sniff(&[starts[kind], rest.as_slice()].concat());
        }
    }
}
