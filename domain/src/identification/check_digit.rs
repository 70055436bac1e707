//! Check digits and check characters of the open standards: GS1 mod 10, GS1 check pair, Luhn.
//!
//! GS1 mod 10 misses the swap of neighbours that differ by five, so a good check digit proves nothing; a bad one
//! proves a wrong scan. Luhn is another algorithm, and the two must not stand in for each other.

/// The characters of GS1 set 82 in the order that gives them their values for the check pair.
const SET_82: &[u8] = b"!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz";
/// The characters that a check pair may consist of: none that is mistaken for another.
const SET_32: &[u8; 32] = b"23456789ABCDEFGHJKLMNPQRSTUVWXYZ";
/// Weights of the check pair, from the right. Source: GS1 General Specifications, check character pair.
const PAIR_WEIGHTS: [u32; 23] =
    [2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 67, 71, 73, 79, 83];
/// Modulus of the check pair.
const PAIR_MODULUS: u32 = 1021;

/// Whether the character belongs to GS1 set 82, which serials and lots are made of.
#[must_use]
pub fn is_set_82(c: char) -> bool {
    u8::try_from(c).is_ok_and(|byte| SET_82.contains(&byte))
}

/// Whether the character belongs to GS1 set 39, which component part ids are made of.
#[must_use]
pub fn is_set_39(c: char) -> bool {
    matches!(c, '#' | '-' | '/' | '0'..='9' | 'A'..='Z')
}

/// Whether the text is digits only, and at least one.
#[must_use]
pub fn is_digits(text: &str) -> bool {
    !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit())
}

/// The GS1 check digit that belongs behind these digits; `None` when they are not all digits.
#[must_use]
pub fn gs1_check_digit(body: &str) -> Option<u8> {
    if !is_digits(body) {
        return None;
    }
    let sum = body.bytes().rev().enumerate().fold(0u32, |sum, (place, byte)| {
        let weight = if place % 2 == 0 { 3 } else { 1 };
        (sum + weight * u32::from(byte - b'0')) % 10
    });
    u8::try_from((10 - sum) % 10).ok()
}

/// Whether the last digit is the GS1 check digit of the others (GTIN, SSCC, GLN, GRAI).
#[must_use]
pub fn gs1_valid(digits: &str) -> bool {
    if digits.len() < 2 || !is_digits(digits) {
        return false;
    }
    let (body, check) = digits.split_at(digits.len() - 1);
    gs1_check_digit(body).is_some_and(|expected| check.as_bytes() == [b'0' + expected])
}

/// The 14-digit form of a GTIN-8, -12, -13 or -14 with a good check digit.
#[must_use]
pub fn gtin14(digits: &str) -> Option<String> {
    // Zeros on the left do not change the sum, so the padded form is as valid as the short one.
    (matches!(digits.len(), 8 | 12 | 13 | 14) && gs1_valid(digits)).then(|| format!("{digits:0>14}"))
}

/// Whether the last digit is the Luhn check digit of the others (IMEI, most ICCIDs).
#[must_use]
pub fn luhn_valid(digits: &str) -> bool {
    if digits.len() < 2 || !is_digits(digits) {
        return false;
    }
    let sum = digits.bytes().rev().enumerate().fold(0u32, |sum, (place, byte)| {
        let digit = u32::from(byte - b'0');
        let part = if place % 2 == 0 { digit } else { digit * 2 };
        sum + part / 10 + part % 10
    });
    sum % 10 == 0
}

/// Whether the last two characters are the GS1 check pair of the others (global model number).
#[must_use]
pub fn check_pair_valid(text: &str) -> bool {
    let bytes = text.as_bytes();
    let Some((body, pair)) = bytes.split_last_chunk::<2>() else {
        return false;
    };
    if body.is_empty() || body.len() > PAIR_WEIGHTS.len() {
        return false;
    }
    let mut sum = 0;
    for (byte, weight) in body.iter().rev().zip(PAIR_WEIGHTS) {
        let Some(value) = (0u32..).zip(SET_82).find_map(|(value, c)| (c == byte).then_some(value)) else {
            return false;
        };
        sum += value * weight;
    }
    let sum = (sum % PAIR_MODULUS) as usize;
    *pair == [SET_32[sum >> 5], SET_32[sum & 31]]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn gs1_check_digits() {
        let valid = [
            "09521234543213",
            "9521234543213",
            "09527000134357",
            "12345670",
            "195271411234567891",
            "212345678992",
            "9521234005018",
            "9521234000518",
        ];
        let invalid = [
            "09521234543214",
            "09527000134358",
            "90521234543213",
            "95212345432130",
            "490154203237518",
            "",
            "0",
            "0952123454321x",
        ];
        for digits in valid {
            assert!(gs1_valid(digits), "{digits}");
        }
        for digits in invalid {
            assert!(!gs1_valid(digits), "{digits}");
        }
        assert_eq!(gs1_check_digit("0952123454321"), Some(3));
        assert_eq!(gs1_check_digit("0952123454321 "), None);
    }

    #[test]
    fn short_product_codes_are_padded() {
        assert_eq!(gtin14("9521234543213").as_deref(), Some("09521234543213"));
        assert_eq!(gtin14("12345670").as_deref(), Some("00000012345670"));
        assert_eq!(gtin14("212345678992").as_deref(), Some("00212345678992"));
        assert_eq!(gtin14("95212345432130"), None);
        assert_eq!(gtin14("195271411234567891"), None);
    }

    #[test]
    fn luhn_is_another_algorithm() {
        assert!(luhn_valid("490154203237518"));
        assert!(!luhn_valid("490154203237519"));
        assert!(!luhn_valid("09521234543213"));
        assert!(!luhn_valid("4"));
    }

    #[test]
    fn the_check_pair_catches_one_changed_character() {
        // The worked example of the GS1 General Specifications.
        assert!(check_pair_valid("1987654Ad4X4bL5ttr2310c2K"));
        assert!(!check_pair_valid("1987654Ad4X4bL5ttr2310d2K"));
        assert!(!check_pair_valid("1987654Ad4X4bL5ttr2310c2k"));
        assert!(!check_pair_valid("2K"));
        assert!(!check_pair_valid("é2K"));
    }

    proptest::proptest! {
        #[test]
        fn one_changed_digit_is_always_caught(body in "[0-9]{7,17}", at in 0usize..17, by in 1u8..10) {
            let check = gs1_check_digit(&body).expect("the strategy makes digits");
            let mut digits = format!("{body}{check}").into_bytes();
            let at = at % digits.len();
            proptest::prop_assert!(gs1_valid(std::str::from_utf8(&digits).expect("digits")));
            digits[at] = b'0' + (digits[at] - b'0' + by) % 10;
            proptest::prop_assert!(!gs1_valid(std::str::from_utf8(&digits).expect("digits")));
        }
    }
}
