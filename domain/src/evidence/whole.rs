//! Whether the end of a picture's file is there. What was cut off is drawn as grey by most programs, and passes for a picture.

use crate::job_file::body::MediaType;

/// Whether the file ends before its picture does. Of formats that say nothing of their end: no.
///
/// What cameras hang behind a JPEG (a short film, a second picture) is no matter; a small picture in its head is not taken for the end.
pub fn is_cut(media: MediaType, bytes: &[u8]) -> bool {
    match media {
        MediaType::Jpeg => picture_data(bytes).is_none_or(|data| !has(data, &[0xff, 0xd9])),
        MediaType::Png => !has(bytes, b"IEND\xae\x42\x60\x82"),
        // The length of what follows stands at the fifth byte; a file may be padded beyond it.
        MediaType::Webp => bytes
            .get(4..8)
            .and_then(|length| length.try_into().ok())
            .is_none_or(|length| (bytes.len() as u64) < u64::from(u32::from_le_bytes(length)) + 8),
        MediaType::Heif => false,
    }
}

fn has(bytes: &[u8], what: &[u8]) -> bool {
    bytes.windows(what.len()).any(|window| window == what)
}

/// What stands behind the head of the first scan. Within it the bytes of an end mark stand for nothing else (ITU-T T.81, B.1.1.5).
fn picture_data(bytes: &[u8]) -> Option<&[u8]> {
    let mut at = 2;
    loop {
        let marker = (*bytes.get(at)? == 0xff).then(|| bytes.get(at + 1).copied()).flatten()?;
        match marker {
            // Fill bytes before a marker are allowed.
            0xff => at += 1,
            0x01 | 0xd0..=0xd8 => at += 2,
            _ => {
                let length = usize::from(u16::from_be_bytes([*bytes.get(at + 2)?, *bytes.get(at + 3)?]));
                at += 2 + length;
                if marker == 0xda {
                    return bytes.get(at..);
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A JPEG in outline: a head with a small picture of its own, a scan, its end.
    fn jpeg() -> Vec<u8> {
        let mut bytes = vec![0xff, 0xd8, 0xff, 0xe1, 0, 8, 0xff, 0xd8, 1, 2, 0xff, 0xd9];
        bytes.extend([0xff, 0xda, 0, 4, 9, 9, 1, 0xff, 0, 2, 3, 4, 0xff, 0xd9]);
        bytes
    }

    #[test]
    fn a_jpeg_without_its_end_is_cut_though_its_head_holds_a_whole_picture() {
        let whole = jpeg();
        assert!(!is_cut(MediaType::Jpeg, &whole));
        let with_film: Vec<u8> = whole.iter().copied().chain(*b"a film behind it").collect();
        assert!(!is_cut(MediaType::Jpeg, &with_film));
        for length in 0..whole.len() {
            assert!(is_cut(MediaType::Jpeg, &whole[..length]), "cut after {length} bytes");
        }
    }

    #[test]
    fn other_formats_say_where_they_end() {
        let png = b"\x89PNG\r\n\x1a\n....\0\0\0\0IEND\xae\x42\x60\x82";
        assert!(!is_cut(MediaType::Png, png) && is_cut(MediaType::Png, &png[..png.len() - 1]));
        let webp = b"RIFF\x08\0\0\0WEBPVP8 ";
        assert!(!is_cut(MediaType::Webp, webp) && is_cut(MediaType::Webp, &webp[..webp.len() - 1]));
        assert!(!is_cut(MediaType::Heif, b"anything"), "it says nothing of its end");
    }
}
