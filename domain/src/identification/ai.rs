//! The table of GS1 application identifiers: how long each is, what its field must look like, what excludes what.
//!
//! Source: GS1 General Specifications, section 3. Identifiers that this trade never meets are read by their length
//! class only, so that what stands behind them is still found.

use super::check_digit::{check_pair_valid, gs1_valid, is_digits, is_set_39, is_set_82};
use super::label_dates::ScanDate;
use super::problem::Problem;

/// Longest field of an identifier that the table does not describe.
const GENERAL_CHARS_MAX: usize = 90;

/// What a date on a label says.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DateMeaning {
    /// Made.
    Production,
    /// To be paid.
    Due,
    /// Packed.
    Packaging,
    /// Best before.
    BestBefore,
    /// To be sold by.
    SellBy,
    /// Not to be used after.
    Expiry,
    /// The carrier does not say.
    Unstated,
}

/// What a field must look like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Rule {
    /// Digits, so many.
    Digits(usize, usize),
    /// Digits, exactly so many, the last one a GS1 check digit.
    Checked(usize),
    /// YYMMDD; whether day 00 means the last of the month.
    Date(DateMeaning, bool),
    /// Characters of set 82.
    Text(usize),
    /// Characters of set 39.
    Part(usize),
    /// Digits, at most twelve, not beginning with 0.
    PartSerial,
    /// 0, a checked code of 13 digits, and at most 16 characters that name one asset.
    Returnable,
    /// GTIN, number of the piece, number of pieces.
    Piece,
    /// Characters of set 82, the last two a check pair.
    Model,
}

/// How many digits the identifier at the start of a text has, by its first two; `None` for one that GS1 has not given
/// out, behind which nothing can be read.
pub(super) fn code_len(text: &str) -> Option<usize> {
    let first: u8 = text.get(..2).filter(|two| is_digits(two))?.parse().ok()?;
    let length = match first {
        0..=4 | 10..=22 | 30 | 37 | 90..=99 => 2,
        23..=25 | 40..=42 | 71 => 3,
        31..=36 | 39 | 43 | 70 | 72 | 80..=82 => 4,
        _ => return None,
    };
    text.get(..length).filter(|code| is_digits(code)).map(|_| length)
}

/// Characters of a field that needs no separator behind it; `None` when the field runs to a separator.
pub(super) fn fixed_len(code: &str) -> Option<usize> {
    match code.get(..2)? {
        "00" => Some(18),
        "01" | "02" | "03" => Some(14),
        "04" => Some(16),
        "11" | "12" | "13" | "14" | "15" | "16" | "17" | "18" | "19" => Some(6),
        "20" => Some(2),
        "31" | "32" | "33" | "34" | "35" | "36" => Some(6),
        "41" => Some(13),
        _ => None,
    }
}

/// Whether the identifier takes free text, in which a second field could hide when its separator is lost.
pub(super) fn is_text(code: &str) -> bool {
    match rule(code) {
        Rule::Text(_) | Rule::Returnable | Rule::Model | Rule::Part(_) => true,
        Rule::Digits(..) | Rule::Checked(_) | Rule::Date(..) | Rule::PartSerial | Rule::Piece => false,
    }
}

/// Whether the identifier is one of those that the table describes.
pub(super) fn is_described(code: &str) -> bool {
    rule(code) != Rule::Text(GENERAL_CHARS_MAX) || matches!(code.as_bytes(), [b'9', b'1'..=b'9'])
}

fn rule(code: &str) -> Rule {
    match code {
        "00" | "8017" | "8018" => Rule::Checked(18),
        "01" | "02" | "03" => Rule::Checked(14),
        "402" => Rule::Checked(17),
        "410" | "411" | "412" | "413" | "414" | "415" | "416" | "417" => Rule::Checked(13),
        "11" => Rule::Date(DateMeaning::Production, false),
        "12" => Rule::Date(DateMeaning::Due, true),
        "13" => Rule::Date(DateMeaning::Packaging, false),
        "15" => Rule::Date(DateMeaning::BestBefore, true),
        "16" => Rule::Date(DateMeaning::SellBy, true),
        "17" => Rule::Date(DateMeaning::Expiry, true),
        "20" => Rule::Digits(2, 2),
        "30" | "37" => Rule::Digits(1, 8),
        "422" => Rule::Digits(3, 3),
        "10" | "21" | "22" | "7020" | "7021" | "8012" => Rule::Text(20),
        "8020" => Rule::Text(25),
        "235" => Rule::Text(28),
        "90" | "240" | "241" | "250" | "400" | "401" | "8004" => Rule::Text(30),
        "8200" => Rule::Text(70),
        "8003" => Rule::Returnable,
        "8006" => Rule::Piece,
        "8010" => Rule::Part(30),
        "8011" => Rule::PartSerial,
        "8013" => Rule::Model,
        _ => match fixed_len(code) {
            Some(length) => Rule::Digits(length, length),
            None => Rule::Text(GENERAL_CHARS_MAX),
        },
    }
}

/// Checks one field.
pub(super) fn check_field(code: &str, value: &str) -> Result<(), Problem> {
    let text = |value: &str, most: usize, allowed: fn(char) -> bool| {
        (1..=most).contains(&value.len()) && value.chars().all(allowed)
    };
    let form = |fits: bool| {
        if fits { Ok(()) } else { Err(Problem::FieldFormat) }
    };
    let check = |digits: &str| {
        if gs1_valid(digits) { Ok(()) } else { Err(Problem::CheckDigitWrong) }
    };
    match rule(code) {
        Rule::Digits(least, most) => form(is_digits(value) && (least..=most).contains(&value.len())),
        Rule::Checked(length) => {
            form(is_digits(value) && value.len() == length)?;
            check(value)
        }
        Rule::Date(_, month_end) => {
            form(is_digits(value) && value.len() == 6)?;
            ScanDate::parse_short(value, month_end).map(|_| ()).map_err(|_| Problem::NotADate)
        }
        Rule::Text(most) => form(text(value, most, is_set_82)),
        Rule::Part(most) => form(text(value, most, is_set_39)),
        Rule::PartSerial => form(is_digits(value) && value.len() <= 12 && !value.starts_with('0')),
        Rule::Returnable => {
            let code = value.get(..14).filter(|code| is_digits(code) && code.starts_with('0'));
            let code = code.ok_or(Problem::FieldFormat)?;
            let serial = &value[14..];
            form(serial.is_empty() || text(serial, 16, is_set_82))?;
            check(code)
        }
        Rule::Piece => {
            form(is_digits(value) && value.len() == 18)?;
            form(piece(value).is_some())?;
            check(&value[..14])
        }
        Rule::Model => {
            form(text(value, 25, is_set_82))?;
            if check_pair_valid(value) { Ok(()) } else { Err(Problem::CheckDigitWrong) }
        }
    }
}

/// Which piece of how many a field of identifier 8006 names.
pub(super) fn piece(value: &str) -> Option<(u8, u8)> {
    let number = value.get(14..16)?.parse().ok()?;
    let total = value.get(16..18)?.parse().ok()?;
    (1..=total).contains(&number).then_some((number, total))
}

/// The date of a checked field, if it is one.
pub(super) fn date(code: &str, value: &str) -> Option<(DateMeaning, ScanDate)> {
    match rule(code) {
        Rule::Date(meaning, month_end) => {
            ScanDate::parse_short(value, month_end).ok().map(|scanned| (meaning, scanned))
        }
        Rule::Digits(..)
        | Rule::Checked(_)
        | Rule::Text(_)
        | Rule::Part(_)
        | Rule::PartSerial
        | Rule::Returnable
        | Rule::Piece
        | Rule::Model => None,
    }
}

/// Pairs of identifiers that contradict each other on one item.
const EXCLUDES: [(&str, &str); 7] =
    [("01", "02"), ("01", "255"), ("01", "37"), ("21", "235"), ("8006", "01"), ("8006", "03"), ("8006", "37")];

/// Identifiers that mean nothing without one of the others in the same carrier. That a serial needs its product code
/// is left out: the code often stands in a second barcode of the same label.
const NEEDS: [(&str, &[&str]); 2] = [("8011", &["8010"]), ("37", &["02", "8026"])];

/// What is wrong between the fields of one carrier.
pub(super) fn associations<'a>(fields: impl Iterator<Item = (&'a str, &'a str)>) -> Option<Problem> {
    let fields: Vec<_> = fields.collect();
    let has = |code: &str| fields.iter().any(|(present, _)| *present == code);
    for (at, (code, value)) in fields.iter().enumerate() {
        if fields[..at].iter().any(|(earlier, other)| earlier == code && other != value) {
            return Some(Problem::Contradiction);
        }
    }
    let excluded = EXCLUDES.iter().any(|(one, other)| has(one) && has(other));
    let lonely = NEEDS.iter().any(|(code, needed)| has(code) && !needed.iter().any(|other| has(other)));
    (excluded || lonely).then_some(Problem::Association)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_identifier_has_its_form() {
        let cases = [
            ("01", "09521234543213", Ok(())),
            ("01", "09521234543214", Err(Problem::CheckDigitWrong)),
            ("01", "9521234543213", Err(Problem::FieldFormat)),
            ("00", "195271411234567891", Ok(())),
            ("414", "9521234543213", Ok(())),
            ("417", "9521234543214", Err(Problem::CheckDigitWrong)),
            ("11", "260400", Ok(())),
            ("11", "260230", Err(Problem::NotADate)),
            ("17", "260200", Ok(())),
            ("17", "2602", Err(Problem::FieldFormat)),
            ("20", "01", Ok(())),
            ("21", "A1/B2-(c)", Ok(())),
            ("21", "", Err(Problem::FieldFormat)),
            ("21", "A B", Err(Problem::FieldFormat)),
            ("21", "A@B", Err(Problem::FieldFormat)),
            ("21", "123456789012345678901", Err(Problem::FieldFormat)),
            ("235", "1234567890123456789012345678", Ok(())),
            ("30", "12345678", Ok(())),
            ("30", "123456789", Err(Problem::FieldFormat)),
            ("3103", "012345", Ok(())),
            ("3103", "01234", Err(Problem::FieldFormat)),
            ("422", "276", Ok(())),
            ("8003", "095212345432131001", Ok(())),
            ("8003", "09521234543213", Ok(())),
            ("8003", "19521234543213", Err(Problem::FieldFormat)),
            ("8003", "095212345432141001", Err(Problem::CheckDigitWrong)),
            ("8006", "095212345432130203", Ok(())),
            ("8006", "095212345432130403", Err(Problem::FieldFormat)),
            ("8006", "095212345432130003", Err(Problem::FieldFormat)),
            ("8006", "095212345432140203", Err(Problem::CheckDigitWrong)),
            ("8010", "952123-A#1", Ok(())),
            ("8010", "952123a", Err(Problem::FieldFormat)),
            ("8011", "12", Ok(())),
            ("8011", "012", Err(Problem::FieldFormat)),
            ("8013", "1987654Ad4X4bL5ttr2310c2K", Ok(())),
            ("8013", "1987654Ad4X4bL5ttr2310c2L", Err(Problem::CheckDigitWrong)),
            ("8200", "https://example.com", Ok(())),
            ("91", "anything", Ok(())),
        ];
        for (code, value, verdict) in cases {
            assert_eq!(check_field(code, value), verdict, "({code}){value}");
        }
    }

    #[test]
    fn the_first_two_digits_tell_the_length() {
        let cases = [
            ("0109", Some(2)),
            ("21A", Some(2)),
            ("2401", Some(3)),
            ("414", Some(3)),
            ("3103", Some(4)),
            ("8003", Some(4)),
            ("7020", Some(4)),
            ("99", Some(2)),
            ("05", None),
            ("26", None),
            ("83", None),
            ("ABC", None),
            ("310", None),
            ("24A", None),
            ("1", None),
            ("", None),
            ("1é", None),
        ];
        for (text, length) in cases {
            assert_eq!(code_len(text), length, "{text}");
        }
    }

    #[test]
    fn fields_that_exclude_or_need_each_other() {
        let verdict = |fields: &[(&'static str, &'static str)]| associations(fields.iter().copied());
        assert_eq!(verdict(&[("01", "a"), ("21", "b"), ("10", "c")]), None);
        assert_eq!(verdict(&[("21", "b")]), None);
        assert_eq!(verdict(&[("21", "b"), ("21", "b")]), None);
        assert_eq!(verdict(&[("21", "b"), ("21", "c")]), Some(Problem::Contradiction));
        assert_eq!(verdict(&[("01", "a"), ("02", "b"), ("37", "1")]), Some(Problem::Association));
        assert_eq!(verdict(&[("02", "b"), ("37", "1")]), None);
        assert_eq!(verdict(&[("37", "1")]), Some(Problem::Association));
        assert_eq!(verdict(&[("21", "b"), ("235", "c")]), Some(Problem::Association));
        assert_eq!(verdict(&[("8006", "b"), ("01", "c")]), Some(Problem::Association));
        assert_eq!(verdict(&[("8011", "1")]), Some(Problem::Association));
        assert_eq!(verdict(&[("8010", "X"), ("8011", "1")]), None);
    }
}
