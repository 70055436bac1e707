//! Sizes that people write in their own ways: wire gauge, feet with inches and fractions, hours with minutes.

use super::compound::read_simple;
use super::number;
use super::{FieldSpec, Note, NumberLocale, ParsedReading, Quality, QuantityKind};
use crate::electrical::units::{Prefix, Quantity, Unit, ratio_micro};

/// Areas by gauge number in millionths of mm²: (π/4)·(0.127·92^((36−n)/39))², 4/0 first, then 3/0, 2/0, 1/0, 1 … 30.
const WIRE_GAUGE_AREA: [i64; 34] = [
    107_219_303,
    85_028_773,
    67_430_882,
    53_475_121,
    42_407_699,
    33_630_834,
    26_670_464,
    21_150_639,
    16_773_220,
    13_301_768,
    10_548_782,
    8_365_564,
    6_634_194,
    5_261_155,
    4_172_286,
    3_308_773,
    2_623_976,
    2_080_908,
    1_650_235,
    1_308_696,
    1_037_843,
    823_047,
    652_706,
    517_619,
    410_491,
    325_534,
    258_160,
    204_730,
    162_359,
    128_756,
    102_108,
    80_976,
    64_217,
    50_926,
];

/// `6AWG`, `AWG 6`, `2/0 AWG`.
pub(super) fn read_wire_gauge(text: &str, field: &FieldSpec) -> Option<ParsedReading> {
    if field.unit != Unit::SquareMillimetre {
        return None;
    }
    let lower = text.to_lowercase();
    let gauge = lower.strip_suffix("awg").or_else(|| lower.strip_prefix("awg"))?.trim().trim_start_matches('#');
    let index = match gauge {
        "4/0" | "0000" => Some(0),
        "3/0" | "000" => Some(1),
        "2/0" | "00" => Some(2),
        "1/0" | "0" => Some(3),
        number => number.parse::<usize>().ok().filter(|gauge| *gauge >= 1).map(|gauge| gauge + 3),
    };
    Some(match index.and_then(|index| WIRE_GAUGE_AREA.get(index)) {
        Some(micro) => ParsedReading::exact(Quantity::of(Unit::SquareMillimetre, *micro)).note(Note::Awg),
        None => ParsedReading::invalid(),
    })
}

/// Millionths of a metre in an inch and inches in a foot.
const INCH_MICRO: i128 = 25_400;
const FOOT_INCHES: i128 = 12;

/// Feet with inches and fractions of an inch: `3' 0"`, `1 1/2 in`, `3 ft 2 in`. Plain decimals are left to
/// [`super::compound::read_simple`].
pub(super) fn read_length(text: &str, field: &FieldSpec) -> Option<ParsedReading> {
    let has_feet = text.contains('\'') || text.contains("ft");
    let has_inches = text.contains('"') || text.ends_with("in");
    if field.unit != Unit::Metre || !(has_feet && has_inches || text.contains('/')) {
        return None;
    }
    Some(match length_micro(text, has_feet) {
        Some(micro) => ParsedReading::exact(Quantity::of(Unit::Metre, micro)).note(Note::Converted),
        None => ParsedReading::invalid(),
    })
}

fn length_micro(text: &str, has_feet: bool) -> Option<i64> {
    let (feet, rest) = if has_feet {
        let (feet, rest) = text.split_once('\'').or_else(|| text.split_once("ft"))?;
        (feet.trim().parse::<u16>().ok()?, rest.trim())
    } else {
        (0, text)
    };
    let (num, den) = if rest.is_empty() {
        (0, 1)
    } else {
        mixed_number(rest.strip_suffix('"').or_else(|| rest.strip_suffix("in"))?.trim())?
    };
    ratio_micro((i128::from(feet) * FOOT_INCHES * den + num) * INCH_MICRO, den)
}

/// `1 1/2`, `3/4`, `7` as numerator and denominator.
fn mixed_number(text: &str) -> Option<(i128, i128)> {
    let (whole, fraction) = match text.rsplit_once(' ') {
        Some((whole, fraction)) => (whole.trim().parse::<u16>().ok()?, fraction),
        None if text.contains('/') => (0, text),
        None => return Some((i128::from(text.parse::<u16>().ok()?), 1)),
    };
    let (num, den) = fraction.split_once('/')?;
    let (num, den) = (num.trim().parse::<u16>().ok()?, den.trim().parse::<u16>().ok()?);
    if den == 0 || num >= den {
        return None;
    }
    Some((i128::from(whole) * i128::from(den) + i128::from(num), i128::from(den)))
}

/// `12 h 30`, `1 min 20 s`; `12:30` may be hours or minutes.
pub(super) fn read_duration(text: &str, field: &FieldSpec, locale: NumberLocale) -> Option<ParsedReading> {
    if field.unit != Unit::Second {
        return None;
    }
    let bare = FieldSpec { kind: QuantityKind::Other, entry: Prefix::One, ..*field };
    if let Some((left, right)) = text.split_once(':') {
        let (left, right) = (left.parse::<u16>().ok(), right.parse::<u16>().ok().filter(|part| *part < 60));
        let (Some(left), Some(right)) = (left, right) else {
            return Some(ParsedReading::invalid());
        };
        let minutes = i64::from(left) * 60 + i64::from(right);
        let candidates = vec![Quantity::whole(Unit::Second, minutes), Quantity::whole(Unit::Second, minutes * 60)];
        return Some(ParsedReading::without_value(Quality::Ambiguous { candidates }));
    }
    let pieces = duration_pieces(text);
    if pieces.len() < 2 {
        return None;
    }
    let mut total: i64 = 0;
    let mut smaller = "h";
    for (index, (digits, unit)) in pieces.iter().enumerate() {
        // A bare last number counts in the next smaller unit: 12 h 30 are thirty minutes.
        let unit = if unit.is_empty() && index > 0 { smaller } else { unit };
        smaller = if unit.starts_with('h') { "min" } else { "s" };
        let piece = read_simple(&format!("{digits}{unit}"), &bare, locale);
        match piece.value.filter(|_| piece.is_ok() && !piece.has(Note::UnitAssumed)) {
            Some(value) => total = total.checked_add(value.micro)?,
            None => return Some(ParsedReading::invalid()),
        }
    }
    Some(ParsedReading::exact(Quantity::of(Unit::Second, total)))
}

/// Alternating numbers and units.
fn duration_pieces(text: &str) -> Vec<(&str, &str)> {
    let mut pieces = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let (digits, after) = number::split(rest);
        if digits.is_empty() {
            return Vec::new();
        }
        let unit_len = after.find(|sign: char| sign.is_ascii_digit()).unwrap_or(after.len());
        pieces.push((digits, after[..unit_len].trim()));
        rest = &after[unit_len..];
    }
    pieces
}
