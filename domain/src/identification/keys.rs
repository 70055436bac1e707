//! What a serial number is compared by: as printed, as matched, and with look-alike characters folded.

use unicode_normalization::UnicodeNormalization;

use super::problem::Problem;

/// Longest serial that is kept, in characters. The longest field of the element-string table that can name one item
/// has 34 (a returnable asset); some makers print more, none of them this much.
pub const SERIAL_CHARS_MAX: usize = 64;

/// Longest text that is looked at before normalisation, in bytes. One character can grow to 18 under NFKC, so this
/// bounds the work of a hostile text.
const STORED_BYTES_MAX: usize = 1024;

/// A serial number of one physical item.
///
/// The maker's own form is never altered beyond NFKC and trimming: leading zeros, case, hyphens and inner spaces are
/// data. The two keys exist for comparing only and are never shown as the serial.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Serial {
    /// As printed: NFKC, trimmed.
    pub stored: String,
    /// Upper case, without space, hyphen, dot and slash.
    pub match_key: String,
    /// The match key with characters that look alike on a worn label folded into one.
    pub skeleton: String,
}

impl Serial {
    /// Makes the keys of a serial as it is printed. Nothing is corrected.
    ///
    /// This refuses only what cannot be a serial at all. Whether a text *looks like* something else (a product code,
    /// a network address) is judged by [`super::read_scan`].
    ///
    /// # Errors
    /// [`Problem::Empty`], [`Problem::TooLong`], [`Problem::ControlCharacters`], [`Problem::NonAsciiLetters`],
    /// [`Problem::NonAsciiSigns`] or [`Problem::DestroyedNumber`].
    ///
    /// ```
    /// use domain::identification::Serial;
    /// let serial = Serial::of("abc-12 34").unwrap();
    /// assert_eq!((serial.stored.as_str(), serial.match_key.as_str()), ("abc-12 34", "ABC1234"));
    /// ```
    pub fn of(stored: &str) -> Result<Self, Problem> {
        if stored.len() > STORED_BYTES_MAX {
            return Err(Problem::TooLong);
        }
        let normal: String = stored.nfkc().collect();
        let stored = normal.trim();
        if stored.is_empty() {
            return Err(Problem::Empty);
        }
        for c in stored.chars() {
            if c.is_control() {
                return Err(Problem::ControlCharacters);
            }
            // NFKC leaves Cyrillic and Greek twins of Latin letters as they are, and an all-Cyrillic serial is not
            // even mixed script. So every letter outside ASCII is refused.
            if !c.is_ascii() {
                return Err(if c.is_alphanumeric() { Problem::NonAsciiLetters } else { Problem::NonAsciiSigns });
            }
        }
        if stored.len() > SERIAL_CHARS_MAX {
            return Err(Problem::TooLong);
        }
        if is_destroyed_number(stored) {
            return Err(Problem::DestroyedNumber);
        }
        let match_key = match_key(stored);
        if match_key.is_empty() {
            return Err(Problem::Empty);
        }
        let skeleton = skeleton(&match_key);
        Ok(Self { stored: stored.to_owned(), match_key, skeleton })
    }
}

/// Upper case without the separators that people add or leave out when they copy a label.
pub(super) fn match_key(text: &str) -> String {
    text.chars().filter(|c| !matches!(c, ' ' | '-' | '.' | '/')).map(|c| c.to_ascii_uppercase()).collect()
}

/// Folds characters that are mistaken for each other on labels. W → VV is left out: it changes the length, which the
/// range rule of recalls depends on.
pub(super) fn skeleton(match_key: &str) -> String {
    match_key
        .chars()
        .map(|c| match c {
            'O' | 'Q' | 'D' => '0',
            'I' | 'L' => '1',
            'Z' => '2',
            'S' => '5',
            'G' => '6',
            'B' => '8',
            'U' => 'V',
            other => other,
        })
        .collect()
}

/// A long number that a spreadsheet has turned into scientific notation: its last digits are lost for good.
fn is_destroyed_number(text: &str) -> bool {
    let Some((mantissa, exponent)) = text.split_once(['E', 'e']) else {
        return false;
    };
    let Some(exponent) = exponent.strip_prefix('+') else {
        return false;
    };
    let digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
    let mantissa = mantissa.strip_prefix('-').unwrap_or(mantissa);
    let mantissa_fits = match mantissa.split_once(['.', ',']) {
        Some((whole, fraction)) => digits(whole) && digits(fraction),
        None => digits(mantissa),
    };
    mantissa_fits && digits(exponent)
}

/// How alike two serials are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Likeness {
    /// The same item, if the maker is the same.
    Same,
    /// They differ only in characters that are easily mistaken: show both, ask for a rescan.
    LookAlike,
    /// Two serials.
    Different,
}

/// Compares two serials of one maker. Serials alone are not unique across makers.
#[must_use]
pub fn compare(a: &Serial, b: &Serial) -> Likeness {
    if a.match_key == b.match_key {
        Likeness::Same
    } else if a.skeleton == b.skeleton {
        Likeness::LookAlike
    } else {
        Likeness::Different
    }
}

/// What the catalogue knows of a model's serials. A hint: a mismatch warns and never refuses.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SerialPattern {
    /// What the serials begin with; empty when unknown. Compared without case and separators.
    pub prefix: String,
    /// Least and greatest number of characters of the match key (separators are not counted); `None` when unknown.
    pub length: Option<(usize, usize)>,
}

/// How a serial fits the pattern of its model.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PatternVerdict {
    /// Nothing speaks against it.
    Fits,
    /// It begins otherwise: often the serial of another part of the stack.
    PrefixDiffers,
    /// Too short or too long: often a slip of typing.
    LengthDiffers,
}

impl SerialPattern {
    /// Compares a serial with the pattern; the prefix is named first, because it says more.
    #[must_use]
    pub fn matches(&self, serial: &Serial) -> PatternVerdict {
        if !serial.match_key.starts_with(&match_key(&self.prefix)) {
            return PatternVerdict::PrefixDiffers;
        }
        match self.length {
            Some((least, most)) if !(least..=most).contains(&serial.match_key.len()) => PatternVerdict::LengthDiffers,
            Some(_) | None => PatternVerdict::Fits,
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may fail")]
mod tests {
    use super::*;

    #[test]
    fn the_stored_form_keeps_what_is_printed() {
        // (typed, stored, match key)
        let cases = [
            ("abc-12 34", "abc-12 34", "ABC1234"),
            ("  A1.B2/C3 ", "A1.B2/C3", "A1B2C3"),
            ("ＡＢＣ１２３", "ABC123", "ABC123"),
            ("000123", "000123", "000123"),
            ("=21+3", "=21+3", "=21+3"),
            ("12E4", "12E4", "12E4"),
            ("1E+A", "1E+A", "1E+A"),
        ];
        for (typed, stored, key) in cases {
            let serial = Serial::of(typed).unwrap();
            assert_eq!((serial.stored.as_str(), serial.match_key.as_str()), (stored, key), "{typed}");
        }
    }

    #[test]
    fn what_cannot_be_a_serial_is_refused() {
        let long = "A".repeat(SERIAL_CHARS_MAX + 1);
        let huge = "\u{fdfa}".repeat(1000);
        let cases = [
            ("", Problem::Empty),
            ("  ", Problem::Empty),
            ("-./", Problem::Empty),
            (long.as_str(), Problem::TooLong),
            (huge.as_str(), Problem::TooLong),
            ("A\u{1d}B", Problem::ControlCharacters),
            ("A\0B", Problem::ControlCharacters),
            ("АВС123", Problem::NonAsciiLetters),
            ("AΒC", Problem::NonAsciiLetters),
            ("ÄB1", Problem::NonAsciiLetters),
            ("AB–12", Problem::NonAsciiSigns),
            ("AB\u{200b}12", Problem::NonAsciiSigns),
            ("1.23457E+11", Problem::DestroyedNumber),
            ("1,23E+11", Problem::DestroyedNumber),
            ("1E+11", Problem::DestroyedNumber),
            ("-1.2e+05", Problem::DestroyedNumber),
        ];
        for (typed, problem) in cases {
            assert_eq!(Serial::of(typed), Err(problem), "{typed}");
        }
    }

    #[test]
    fn look_alikes_are_told_from_equals() {
        let likeness = |a: &str, b: &str| compare(&Serial::of(a).unwrap(), &Serial::of(b).unwrap());
        assert_eq!(likeness("BX24-000150", "bx24 000150"), Likeness::Same);
        assert_eq!(likeness("BX24-00015O", "BX24-000150"), Likeness::LookAlike);
        assert_eq!(likeness("000123", "123"), Likeness::Different);
        assert_eq!(likeness("BX24-000150", "BX24-000151"), Likeness::Different);
        assert_eq!(Serial::of("B8O01I").unwrap().skeleton, "880011");
        assert_eq!(Serial::of("oqd il z s g b u w").unwrap().skeleton, "0001125".to_owned() + "68VW");
    }

    #[test]
    fn a_pattern_is_a_hint() {
        let pattern = SerialPattern { prefix: "bx-24".into(), length: Some((10, 10)) };
        let cases = [
            ("BX24-000150", PatternVerdict::Fits),
            ("BX 24 000 150", PatternVerdict::Fits),
            ("BY24-000150", PatternVerdict::PrefixDiffers),
            ("BX24-00150", PatternVerdict::LengthDiffers),
            ("BX24-0001500", PatternVerdict::LengthDiffers),
        ];
        for (text, verdict) in cases {
            assert_eq!(pattern.matches(&Serial::of(text).unwrap()), verdict, "{text}");
        }
        assert_eq!(SerialPattern::default().matches(&Serial::of("anything").unwrap()), PatternVerdict::Fits);
    }

    proptest::proptest! {
        #[test]
        fn making_keys_again_changes_nothing(text in "\\PC{0,80}") {
            if let Ok(serial) = Serial::of(&text) {
                proptest::prop_assert_eq!(&Serial::of(&serial.stored).unwrap(), &serial);
                proptest::prop_assert_eq!(skeleton(&serial.skeleton), serial.skeleton);
            }
        }
    }
}
