//! A ZIP archive in one form only: stored, names sorted, one fixed time, no comments, no extra fields.
//!
//! Any program opens it. Ours reads it by writing it anew: bytes that differ from the canonical form anywhere are refused,
//! so nothing can hide in an archive, and no bit of it is without meaning.

use std::collections::BTreeMap;

/// Files by name.
pub type Files = BTreeMap<String, Vec<u8>>;

/// Why bytes are not an archive of ours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotCanonical {
    /// They end in the middle of something, or a length does not fit.
    Truncated,
    /// They can be read, and are not the bytes that we would write. The number is the offset of the first difference.
    Differs(usize),
    /// A name is not plain: empty, absolute, going up, or with other signs than letters, digits, `.`, `-`, `_` and `/`.
    Name,
    /// More or larger than the format without extensions can say.
    TooLarge,
}

const LOCAL: u32 = 0x0403_4b50;
const CENTRAL: u32 = 0x0201_4b50;
const END: u32 = 0x0605_4b50;
/// 1980-01-01, the first day that the format knows.
const DATE: u16 = 0x21;
/// Version 1.0: nothing but stored files.
const VERSION: u16 = 10;
const LOCAL_BYTES: usize = 30;
/// Files in one archive.
pub const FILES_MAX: usize = 20_000;

/// Writes an archive.
///
/// # Errors
/// [`NotCanonical::Name`], [`NotCanonical::TooLarge`].
pub fn write(files: &Files) -> Result<Vec<u8>, NotCanonical> {
    if files.len() > FILES_MAX {
        return Err(NotCanonical::TooLarge);
    }
    let mut out = Vec::new();
    let mut central = Vec::new();
    for (name, content) in files {
        check_name(name)?;
        let offset = small(out.len())?;
        let size = small(content.len())?;
        let name_len = u16::try_from(name.len()).map_err(|_| NotCanonical::Name)?;
        let mut common = Vec::with_capacity(26);
        // Version, flags, method, time, date, checksum, two sizes, length of the name, no extra field.
        for half in [VERSION, 0, 0, 0, DATE] {
            common.extend_from_slice(&half.to_le_bytes());
        }
        for word in [crc32(content), size, size] {
            common.extend_from_slice(&word.to_le_bytes());
        }
        common.extend_from_slice(&name_len.to_le_bytes());
        common.extend_from_slice(&[0, 0]);
        out.extend_from_slice(&LOCAL.to_le_bytes());
        out.extend_from_slice(&common);
        out.extend_from_slice(name.as_bytes());
        out.extend_from_slice(content);
        central.extend_from_slice(&CENTRAL.to_le_bytes());
        central.extend_from_slice(&VERSION.to_le_bytes());
        central.extend_from_slice(&common);
        // No comment, first disk, no attributes.
        central.extend_from_slice(&[0; 10]);
        central.extend_from_slice(&offset.to_le_bytes());
        central.extend_from_slice(name.as_bytes());
    }
    let (start, length) = (small(out.len())?, small(central.len())?);
    let count = u16::try_from(files.len()).map_err(|_| NotCanonical::TooLarge)?;
    out.append(&mut central);
    out.extend_from_slice(&END.to_le_bytes());
    out.extend_from_slice(&[0; 4]);
    out.extend_from_slice(&count.to_le_bytes());
    out.extend_from_slice(&count.to_le_bytes());
    out.extend_from_slice(&length.to_le_bytes());
    out.extend_from_slice(&start.to_le_bytes());
    out.extend_from_slice(&[0; 2]);
    Ok(out)
}

/// Reads an archive that [`write()`] has written.
///
/// # Errors
/// [`NotCanonical`]: anything else.
pub fn read(bytes: &[u8]) -> Result<Files, NotCanonical> {
    let mut files = Files::new();
    let mut at = 0;
    while word(bytes, at)? == LOCAL {
        let size = usize::try_from(word(bytes, at + 22)?).map_err(|_| NotCanonical::Truncated)?;
        let name_len = usize::from(half(bytes, at + 26)?);
        let name_end = at + LOCAL_BYTES + name_len;
        let end = name_end.checked_add(size).ok_or(NotCanonical::Truncated)?;
        let name = bytes.get(at + LOCAL_BYTES..name_end).ok_or(NotCanonical::Truncated)?;
        let content = bytes.get(name_end..end).ok_or(NotCanonical::Truncated)?;
        let name = core::str::from_utf8(name).map_err(|_| NotCanonical::Name)?;
        files.insert(name.to_owned(), content.to_vec());
        at = end;
    }
    let again = write(&files)?;
    if again == bytes {
        return Ok(files);
    }
    let same = again.iter().zip(bytes).take_while(|(left, right)| left == right).count();
    Err(NotCanonical::Differs(same))
}

fn check_name(name: &str) -> Result<(), NotCanonical> {
    let plain = |part: &str| {
        !part.is_empty()
            && !part.starts_with('.')
            && part.bytes().all(|byte| byte.is_ascii_alphanumeric() || matches!(byte, b'.' | b'-' | b'_'))
    };
    if name.split('/').all(plain) { Ok(()) } else { Err(NotCanonical::Name) }
}

fn small(length: usize) -> Result<u32, NotCanonical> {
    u32::try_from(length).map_err(|_| NotCanonical::TooLarge)
}

fn half(bytes: &[u8], at: usize) -> Result<u16, NotCanonical> {
    let two = bytes.get(at..at + 2).and_then(|two| two.try_into().ok());
    two.map(u16::from_le_bytes).ok_or(NotCanonical::Truncated)
}

fn word(bytes: &[u8], at: usize) -> Result<u32, NotCanonical> {
    let four = bytes.get(at..at + 4).and_then(|four| four.try_into().ok());
    four.map(u32::from_le_bytes).ok_or(NotCanonical::Truncated)
}

/// The checksum of ZIP (ISO/IEC/IEEE 8802-3, 3.2.9), by table.
fn crc32(bytes: &[u8]) -> u32 {
    const TABLE: [u32; 256] = table();
    let step = |crc: u32, byte: &u8| TABLE[usize::from(crc.to_le_bytes()[0] ^ byte)] ^ (crc >> 8);
    !bytes.iter().fold(u32::MAX, step)
}

const fn table() -> [u32; 256] {
    let mut table = [0; 256];
    let mut number = 0;
    while number < 256 {
        let mut crc = number as u32;
        let mut bit = 0;
        while bit < 8 {
            crc = if crc & 1 == 1 { (crc >> 1) ^ 0xedb8_8320 } else { crc >> 1 };
            bit += 1;
        }
        table[number] = crc;
        number += 1;
    }
    table
}

#[cfg(test)]
mod tests {
    use super::*;

    fn two() -> Files {
        [("a.txt".to_owned(), b"abc".to_vec()), ("b/c.bin".to_owned(), vec![0; 40])].into()
    }

    #[test]
    fn the_checksum_is_that_of_the_standard() {
        assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
    }

    #[test]
    fn what_was_written_is_read_and_nothing_else() {
        let bytes = write(&two()).expect("plain names");
        assert_eq!(read(&bytes), Ok(two()));
        for bit in 0..bytes.len() * 8 {
            let mut other = bytes.clone();
            other[bit / 8] ^= 1 << (bit % 8);
            assert_ne!(read(&other), Ok(two()), "bit {bit}");
        }
        for end in 0..bytes.len() {
            assert!(read(&bytes[..end]).is_err());
        }
        let longer: Vec<u8> = bytes.iter().copied().chain([0]).collect();
        assert_eq!(read(&longer), Err(NotCanonical::Differs(bytes.len())));
    }

    #[test]
    fn names_stay_inside() {
        for bad in ["", "/a", "../a", "a//b", "a/", "a\\b", ".a", "a b", "é"] {
            let files: Files = [(bad.to_owned(), Vec::new())].into();
            assert_eq!(write(&files), Err(NotCanonical::Name), "{bad:?}");
        }
    }
}
