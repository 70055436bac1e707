//! Units as people write them. Case decides between milli and mega, so nothing is lower-cased except spelled-out words.

use super::{CurrentKind, FieldSpec, Note, QuantityKind};
use crate::electrical::units::{Prefix, Unit};

/// One meaning of a unit: `(number + offset) · num / den` in `unit`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Form {
    pub(super) unit: Unit,
    pub(super) offset_micro: i128,
    pub(super) num: i128,
    pub(super) den: i128,
    pub(super) note: Option<Note>,
}

/// What stood behind the number.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Suffix {
    Absent,
    /// One or several meanings.
    Forms(Vec<Form>),
    Unknown,
}

fn linear(unit: Unit, num: i128, den: i128, note: Option<Note>) -> Form {
    Form { unit, offset_micro: 0, num, den, note }
}

fn prefixed(unit: Unit, prefix: Prefix, note: Option<Note>) -> Form {
    let power = 10_i128.pow(prefix.exponent().unsigned_abs());
    let (num, den) = if prefix.exponent() < 0 { (1, power) } else { (power, 1) };
    linear(unit, num, den, note)
}

/// Takes `DC` or `AC` off the end: `51.2V DC`, `VAC`.
pub(super) fn take_current_kind(text: &str) -> (&str, Option<CurrentKind>) {
    for (ending, kind) in [
        ("d.c.", CurrentKind::Direct),
        ("dc", CurrentKind::Direct),
        ("a.c.", CurrentKind::Alternating),
        ("ac", CurrentKind::Alternating),
    ] {
        if let Some(cut) = text.len().checked_sub(ending.len())
            && text.is_char_boundary(cut)
            && text[cut..].eq_ignore_ascii_case(ending)
        {
            return (text[..cut].trim_end(), Some(kind));
        }
    }
    (text, None)
}

/// The meanings of a unit in this field.
pub(super) fn read(text: &str, field: &FieldSpec) -> Suffix {
    let text = text.trim();
    if text.is_empty() {
        return Suffix::Absent;
    }
    if field.unit == Unit::NewtonMetre
        && let Some(form) = torque(text)
    {
        return Suffix::Forms(vec![form]);
    }
    let compact: String = text.chars().filter(|sign| !sign.is_whitespace()).collect();
    if let Some(form) = fixed(&compact, field) {
        return Suffix::Forms(vec![form]);
    }
    if let Some(forms) = spelled_ohm(&compact, field) {
        return Suffix::Forms(forms);
    }
    if compact == "m" && takes_prefix(field) {
        // Milli here and not metre. Nobody reads milliohms of insulation, so there it is a question.
        let mut forms = vec![prefixed(field.unit, Prefix::Milli, Some(Note::UnitAssumed))];
        if field.kind == QuantityKind::Insulation {
            forms.push(prefixed(field.unit, Prefix::Mega, Some(Note::UnitAssumed)));
        }
        return Suffix::Forms(forms);
    }
    if let Some(form) = symbol(&compact) {
        return Suffix::Forms(vec![form]);
    }
    lone_prefix(&compact, field)
}

/// `lbf·in` and its many spellings; exact to nine digits (1 lbf·in = 0.112984829 N·m).
fn torque(text: &str) -> Option<Form> {
    let compact: String =
        text.to_lowercase().chars().filter(|sign| !" .·*-_".contains(*sign)).collect::<String>().replace("lbf", "lb");
    match compact.trim_end_matches('s') {
        "nm" | "newtonmetre" | "newtonmeter" => Some(linear(Unit::NewtonMetre, 1, 1, None)),
        "inlb" | "lbin" | "inchlb" | "lbinch" | "inchpound" | "poundinche" | "poundinch" => {
            Some(linear(Unit::NewtonMetre, 112_984_829, 1_000_000_000, Some(Note::Converted)))
        }
        "ftlb" | "lbft" | "footlb" | "lbfoot" | "footpound" | "poundfoot" | "poundfeet" => {
            Some(linear(Unit::NewtonMetre, 1_355_817_948, 1_000_000_000, Some(Note::Converted)))
        }
        "kgm" | "kgfm" => Some(linear(Unit::NewtonMetre, 980_665, 100_000, Some(Note::Converted))),
        _ => None,
    }
}

/// Units without decimal prefixes, and those whose letter depends on the field.
fn fixed(text: &str, field: &FieldSpec) -> Option<Form> {
    let converted = Some(Note::Converted);
    let form = |unit, num, den| Some(linear(unit, num, den, None));
    match (text, field.unit) {
        ("°F" | "F" | "degF", Unit::Celsius) => {
            Some(Form { unit: Unit::Celsius, offset_micro: -32_000_000, num: 5, den: 9, note: converted })
        }
        ("K", Unit::Celsius) => {
            Some(Form { unit: Unit::Celsius, offset_micro: -273_150_000, num: 1, den: 1, note: converted })
        }
        ("°F" | "F" | "degF", Unit::Kelvin) => Some(linear(Unit::Kelvin, 5, 9, converted)),
        ("°C" | "C" | "degC", Unit::Kelvin) => form(Unit::Kelvin, 1, 1),
        ("K", Unit::Kelvin) => form(Unit::Kelvin, 1, 1),
        ("°C" | "C" | "degC", _) => form(Unit::Celsius, 1, 1),
        ("%" | "percent" | "pct", Unit::MetrePerMetre) => Some(linear(Unit::MetrePerMetre, 1, 100, converted)),
        ("%" | "percent" | "pct", _) => form(Unit::Percent, 1, 1),
        ("mm/m", _) => form(Unit::MetrePerMetre, 1, 1000),
        ("m/m", _) => form(Unit::MetrePerMetre, 1, 1),
        ("mm2" | "mm^2" | "sqmm" | "qmm" | "mmq", _) => form(Unit::SquareMillimetre, 1, 1),
        ("in" | "inch" | "inches" | "\"", _) => Some(linear(Unit::Metre, 254, 10_000, converted)),
        ("ft" | "feet" | "foot" | "'", _) => Some(linear(Unit::Metre, 3048, 10_000, converted)),
        ("cm", _) => form(Unit::Metre, 1, 100),
        ("h" | "hr" | "hrs" | "hour" | "hours", _) => form(Unit::Second, 3600, 1),
        ("min" | "mins" | "minute" | "minutes", _) => form(Unit::Second, 60, 1),
        ("sec" | "secs" | "second" | "seconds", _) => form(Unit::Second, 1, 1),
        ("msec", _) => form(Unit::Second, 1, 1000),
        ("kg", _) => form(Unit::Kilogram, 1, 1),
        ("g", _) => form(Unit::Kilogram, 1, 1000),
        ("lb" | "lbs", _) => Some(linear(Unit::Kilogram, 45_359_237, 100_000_000, converted)),
        ("volt" | "volts" | "Volt" | "Volts", _) => form(Unit::Volt, 1, 1),
        ("amp" | "amps" | "Amp" | "Amps", _) => form(Unit::Ampere, 1, 1),
        _ => None,
    }
}

/// `ohm`, `MOHM`, `kohms`, `megohm`. In capitals throughout the M says nothing: mega for insulation, else both.
fn spelled_ohm(text: &str, field: &FieldSpec) -> Option<Vec<Form>> {
    let lower = text.to_lowercase();
    let stem = lower.strip_suffix("ohms").or_else(|| lower.strip_suffix("ohm"))?;
    let ohm = |prefix, note| prefixed(Unit::Ohm, prefix, note);
    let word_is_capital = text[stem.len()..].starts_with('O') && text[stem.len()..].contains("HM");
    match stem {
        "" => Some(vec![ohm(Prefix::One, None)]),
        "k" | "kil" | "kilo" => Some(vec![ohm(Prefix::Kilo, None)]),
        "meg" | "mega" => Some(vec![ohm(Prefix::Mega, None)]),
        "milli" => Some(vec![ohm(Prefix::Milli, None)]),
        "g" | "giga" => Some(vec![ohm(Prefix::Giga, None)]),
        "m" if word_is_capital && text.starts_with('M') => {
            if field.kind == QuantityKind::Insulation {
                Some(vec![ohm(Prefix::Mega, Some(Note::PrefixFromField))])
            } else {
                Some(vec![ohm(Prefix::Milli, None), ohm(Prefix::Mega, None)])
            }
        }
        "m" if text.starts_with('M') => Some(vec![ohm(Prefix::Mega, None)]),
        "m" => Some(vec![ohm(Prefix::Milli, None)]),
        _ => None,
    }
}

/// A symbol with an optional prefix, case as it stands; only base letters that no prefix or unit shares are forgiven.
fn symbol(text: &str) -> Option<Form> {
    const SYMBOLS: [(&str, Unit); 13] = [
        ("Wh", Unit::WattHour),
        ("WH", Unit::WattHour),
        ("wh", Unit::WattHour),
        ("Hz", Unit::Hertz),
        ("hz", Unit::Hertz),
        ("V", Unit::Volt),
        ("v", Unit::Volt),
        ("A", Unit::Ampere),
        ("Ω", Unit::Ohm),
        ("W", Unit::Watt),
        ("s", Unit::Second),
        ("m", Unit::Metre),
        ("F", Unit::Farad),
    ];
    if text == "N" {
        return Some(linear(Unit::Newton, 1, 1, None));
    }
    if text == "kN" {
        return Some(linear(Unit::Newton, 1000, 1, None));
    }
    for (symbol, unit) in SYMBOLS {
        if let Some(prefix) = text.strip_suffix(symbol).and_then(Prefix::from_symbol) {
            return Some(prefixed(unit, prefix, None));
        }
    }
    None
}

/// `1.2k` in a box for ohms: the prefix counts, the unit is the field's.
fn lone_prefix(text: &str, field: &FieldSpec) -> Suffix {
    match Prefix::from_symbol(text) {
        Some(prefix) if takes_prefix(field) => {
            Suffix::Forms(vec![prefixed(field.unit, prefix, Some(Note::UnitAssumed))])
        }
        Some(_) | None => Suffix::Unknown,
    }
}

fn takes_prefix(field: &FieldSpec) -> bool {
    matches!(
        field.unit,
        Unit::Volt | Unit::Ampere | Unit::Ohm | Unit::Watt | Unit::WattHour | Unit::Hertz | Unit::Farad
    )
}

/// The field's own unit for a bare number.
pub(super) fn assumed(field: &FieldSpec) -> Form {
    prefixed(field.unit, field.entry, Some(Note::UnitAssumed))
}
