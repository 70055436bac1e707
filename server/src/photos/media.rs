//! What a file is by its first bytes. What a client calls it is not asked.

/// Bytes that [`Media::sniff`] wants to see.
pub const SNIFF_BYTES: usize = 16;

/// Brands of the HEIF family (ISO/IEC 23008-12 and what phones write in practice).
const HEIF_BRANDS: [&[u8; 4]; 8] = [b"heic", b"heix", b"heim", b"heis", b"hevc", b"mif1", b"msf1", b"avif"];

/// A kind of photo file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Media {
    /// JPEG.
    Jpeg,
    /// PNG.
    Png,
    /// WebP.
    Webp,
    /// HEIF family: kept and handed out; no view of it is made.
    Heif,
    /// Anything else: kept, because nothing that somebody recorded is refused.
    Other,
}

impl Media {
    /// Looks at the first bytes of a file.
    pub fn sniff(head: &[u8]) -> Self {
        match head {
            [0xff, 0xd8, 0xff, ..] => Self::Jpeg,
            [0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a, ..] => Self::Png,
            [b'R', b'I', b'F', b'F', _, _, _, _, b'W', b'E', b'B', b'P', ..] => Self::Webp,
            [_, _, _, _, b'f', b't', b'y', b'p', a, b, c, d, ..] if HEIF_BRANDS.contains(&&[*a, *b, *c, *d]) => {
                Self::Heif
            }
            _ => Self::Other,
        }
    }

    /// The word that the database keeps.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Jpeg => "jpeg",
            Self::Png => "png",
            Self::Webp => "webp",
            Self::Heif => "heif",
            Self::Other => "other",
        }
    }

    /// Reads [`Media::word`].
    pub fn of_word(word: &str) -> Self {
        [Self::Jpeg, Self::Png, Self::Webp, Self::Heif].into_iter().find(|m| m.word() == word).unwrap_or(Self::Other)
    }

    /// The media type to send it with. What we do not know is a download, never a page of ours.
    pub const fn content_type(self) -> &'static str {
        match self {
            Self::Jpeg => "image/jpeg",
            Self::Png => "image/png",
            Self::Webp => "image/webp",
            Self::Heif => "image/heif",
            Self::Other => "application/octet-stream",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_bytes_decide() {
        let cases: &[(&[u8], Media)] = &[
            (b"\xff\xd8\xff\xe0\0\x10JFIF\0", Media::Jpeg),
            (b"\xff\xd8", Media::Other),
            (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", Media::Png),
            (b"RIFF\x10\0\0\0WEBPVP8 ", Media::Webp),
            (b"RIFF\x10\0\0\0WAVEfmt ", Media::Other),
            (b"\0\0\0\x18ftypheic\0\0\0\0", Media::Heif),
            (b"\0\0\0\x18ftypmp42\0\0\0\0", Media::Other),
            (b"<html><script>", Media::Other),
            (b"", Media::Other),
        ];
        for (head, media) in cases {
            assert_eq!(Media::sniff(head), *media, "{head:?}");
            assert_eq!(Media::of_word(media.word()), *media);
        }
    }
}
