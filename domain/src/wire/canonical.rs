//! The one way to write each value: deterministic CBOR (RFC 8949 §4.2.1) without floats, tags or indefinite lengths.
//!
//! Hashes stand over bytes as they came. If two byte strings could mean the same entry, the same fact could be
//! stored twice; so anything that is not the one canonical form is refused at the door.

use super::limits::DEPTH_MAX;

/// Why bytes are not in the one allowed form. The number is the offset of the offending byte.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotCanonical {
    /// The bytes end in the middle of a value.
    Truncated,
    /// Something follows the value.
    TrailingBytes(usize),
    /// A number or length is written longer than needed.
    NotShortest(usize),
    /// An indefinite length.
    Indefinite(usize),
    /// Map keys are out of order or repeated.
    KeyOrder(usize),
    /// A text is not UTF-8.
    NotUtf8(usize),
    /// A float, tag or simple value that this format does not use.
    NotUsed(usize),
    /// Deeper than [`DEPTH_MAX`].
    TooDeep(usize),
}

/// Checks that `bytes` is exactly one value in deterministic form.
///
/// # Errors
/// The first departure from the form, with its offset.
///
/// ```
/// use domain::wire::canonical::{check, NotCanonical};
/// assert_eq!(check(&[0x01]), Ok(()));
/// assert_eq!(check(&[0x18, 0x01]), Err(NotCanonical::NotShortest(0)));
/// ```
pub fn check(bytes: &[u8]) -> Result<(), NotCanonical> {
    let end = item(bytes, 0, 0)?;
    if end == bytes.len() { Ok(()) } else { Err(NotCanonical::TrailingBytes(end)) }
}

fn item(bytes: &[u8], at: usize, depth: usize) -> Result<usize, NotCanonical> {
    if depth > DEPTH_MAX {
        return Err(NotCanonical::TooDeep(at));
    }
    let first = *bytes.get(at).ok_or(NotCanonical::Truncated)?;
    let major = first >> 5;
    if major == 7 {
        return match first & 31 {
            20..=22 => Ok(at + 1),
            31 => Err(NotCanonical::Indefinite(at)),
            _ => Err(NotCanonical::NotUsed(at)),
        };
    }
    let (argument, mut next) = argument(bytes, at)?;
    let count = usize::try_from(argument).map_err(|_| NotCanonical::Truncated);
    match major {
        0 | 1 => Ok(next),
        2 | 3 => {
            let end = next.checked_add(count?).ok_or(NotCanonical::Truncated)?;
            let content = bytes.get(next..end).ok_or(NotCanonical::Truncated)?;
            if major == 3 && core::str::from_utf8(content).is_err() {
                return Err(NotCanonical::NotUtf8(at));
            }
            Ok(end)
        }
        4 => {
            for _ in 0..count? {
                next = item(bytes, next, depth + 1)?;
            }
            Ok(next)
        }
        5 => {
            let mut last: Option<&[u8]> = None;
            for _ in 0..count? {
                let key_end = item(bytes, next, depth + 1)?;
                let key = &bytes[next..key_end];
                if last.is_some_and(|before| before >= key) {
                    return Err(NotCanonical::KeyOrder(next));
                }
                last = Some(key);
                next = item(bytes, key_end, depth + 1)?;
            }
            Ok(next)
        }
        _ => Err(NotCanonical::NotUsed(at)),
    }
}

/// The argument of the item at `at` and the offset behind it.
fn argument(bytes: &[u8], at: usize) -> Result<(u64, usize), NotCanonical> {
    let info = bytes[at] & 31;
    let (width, least) = match info {
        0..=23 => return Ok((u64::from(info), at + 1)),
        24 => (1, 24),
        25 => (2, 1 << 8),
        26 => (4, 1 << 16),
        27 => (8, 1 << 32),
        31 => return Err(NotCanonical::Indefinite(at)),
        _ => return Err(NotCanonical::NotUsed(at)),
    };
    let digits = bytes.get(at + 1..at + 1 + width).ok_or(NotCanonical::Truncated)?;
    let value = digits.iter().fold(0u64, |sum, byte| (sum << 8) | u64::from(*byte));
    if value < least {
        return Err(NotCanonical::NotShortest(at));
    }
    Ok((value, at + 1 + width))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_departure_has_its_name() {
        let cases: &[(&[u8], Result<(), NotCanonical>)] = &[
            (&[], Err(NotCanonical::Truncated)),
            (&[0x00, 0x00], Err(NotCanonical::TrailingBytes(1))),
            (&[0x17], Ok(())),
            (&[0x18, 0x17], Err(NotCanonical::NotShortest(0))),
            (&[0x18, 0x18], Ok(())),
            (&[0x19, 0x00, 0xff], Err(NotCanonical::NotShortest(0))),
            (&[0x5f, 0xff], Err(NotCanonical::Indefinite(0))),
            (&[0x9f, 0xff], Err(NotCanonical::Indefinite(0))),
            (&[0xa2, 0x00, 0x00, 0x01, 0x00], Ok(())),
            (&[0xa2, 0x01, 0x00, 0x00, 0x00], Err(NotCanonical::KeyOrder(3))),
            (&[0xa2, 0x00, 0x00, 0x00, 0x00], Err(NotCanonical::KeyOrder(3))),
            (&[0x61, 0xff], Err(NotCanonical::NotUtf8(0))),
            (&[0xf9, 0x3c, 0x00], Err(NotCanonical::NotUsed(0))),
            (&[0xc0, 0x00], Err(NotCanonical::NotUsed(0))),
            (&[0xf7], Err(NotCanonical::NotUsed(0))),
            (&[0xf6], Ok(())),
            (&[0x9b, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff], Err(NotCanonical::Truncated)),
            (&[0x81; 20], Err(NotCanonical::TooDeep(17))),
        ];
        for (bytes, expected) in cases {
            assert_eq!(check(bytes), *expected, "{bytes:02x?}");
        }
    }

    proptest::proptest! {
        #[test]
        fn any_bytes_are_answered(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..200)) {
            let _ = check(&bytes);
        }
    }
}
