//! Readings of more than one number or none: display words, bounds, pairs and tolerances.

use super::customary::{read_duration, read_length, read_wire_gauge};
use super::number::{self, NumberRead};
use super::suffix::{self, Form, Suffix};
use super::{Cmp, FieldSpec, Note, NumberLocale, ParsedReading, Parts, Quality, QuantityKind};
use crate::electrical::units::{Decimal, Prefix, Quantity, Unit, ratio_micro};

/// Reads cleaned text that is not empty.
pub(super) fn read(text: &str, field: &FieldSpec, locale: NumberLocale) -> ParsedReading {
    if is_not_tested(text) {
        return ParsedReading::without_value(Quality::NotTested);
    }
    if is_over_range(text) {
        return over_range(field);
    }
    if text.eq_ignore_ascii_case("0L") {
        // Over-range or a one: no suggestion is better than the wrong one.
        return ParsedReading::invalid();
    }
    let text = without_label(text, field);
    if let Some(reading) = read_pair(text, field, locale) {
        return reading;
    }
    let (text, cmp) = take_sign(text);
    if cmp != Cmp::Equal && is_over_range(text) {
        return over_range(field);
    }
    let special = read_tolerance(text, field, locale)
        .or_else(|| read_wire_gauge(text, field))
        .or_else(|| read_length(text, field))
        .or_else(|| read_duration(text, field, locale));
    let mut reading = special.unwrap_or_else(|| read_simple(text, field, locale));
    reading.cmp = cmp;
    reading
}

fn over_range(field: &FieldSpec) -> ParsedReading {
    let value = field.range_top.map(|micro| Quantity::of(field.unit, micro));
    let cmp = if value.is_some() { Cmp::Greater } else { Cmp::Equal };
    ParsedReading { value, cmp, ..ParsedReading::without_value(Quality::OverRange) }
}

fn is_not_tested(text: &str) -> bool {
    const WORDS: [&str; 10] = ["lim", "n/a", "na", "n.a.", "-", "--", "---", "n/t", "nt", "n.t."];
    let lower = text.to_lowercase();
    WORDS.contains(&lower.as_str())
}

/// What displays show beyond their range, with or without a unit behind it.
fn is_over_range(text: &str) -> bool {
    const WORDS: [&str; 8] = ["ol", "o.l", "o.l.", "ol.", "ofl", "ovld", "overload", "inf"];
    let lower = text.to_lowercase();
    if lower.contains("blink") || lower.contains("flash") || lower.contains('∞') {
        return true;
    }
    let word = lower.trim_start_matches(['>', '+', ' ']).split_whitespace().next().unwrap_or("");
    let word = word.trim_end_matches(['ω', 'k', 'm', 'g']);
    WORDS.contains(&word)
}

/// `SOC 30%` in a box for the state of charge: the box's own name is no part of the value.
fn without_label<'a>(text: &'a str, field: &FieldSpec) -> &'a str {
    let labels: &[&str] = match field.kind {
        QuantityKind::StateOfCharge => &["soc"],
        QuantityKind::ModuleVoltage | QuantityKind::StackVoltage => &["ocv"],
        _ => &[],
    };
    for label in labels {
        if text.get(..label.len()).is_some_and(|start| start.eq_ignore_ascii_case(label)) {
            return text[label.len()..].trim_start_matches([' ', ':', '=']);
        }
    }
    text
}

/// A leading comparison sign. `≥` counts as `>` and `≤` as `<`: at the limit itself that can only be too strict.
fn take_sign(text: &str) -> (&str, Cmp) {
    for (sign, cmp) in [
        (">=", Cmp::Greater),
        ("<=", Cmp::Less),
        (">", Cmp::Greater),
        ("<", Cmp::Less),
        ("≥", Cmp::Greater),
        ("≤", Cmp::Less),
    ] {
        if let Some(rest) = text.strip_prefix(sign) {
            return (rest.trim_start(), cmp);
        }
    }
    (text, Cmp::Equal)
}

/// One number and perhaps one unit.
pub(super) fn read_simple(text: &str, field: &FieldSpec, locale: NumberLocale) -> ParsedReading {
    let (digits, rest) = number::split(text);
    let (unit_text, current_kind) = suffix::take_current_kind(rest);
    let numbers = match number::read(digits, locale) {
        NumberRead::One(number, other_sign) => (vec![number], other_sign),
        NumberRead::Either(fraction, grouped) => (vec![fraction, grouped], false),
        NumberRead::Bad => return suggest(text, field, locale),
    };
    let forms = match suffix::read(unit_text, field) {
        Suffix::Absent => vec![suffix::assumed(field)],
        Suffix::Forms(forms) => forms,
        Suffix::Unknown if rest.starts_with(['x', '×', '*']) => {
            return ParsedReading::invalid().note(Note::SeveralValues);
        }
        Suffix::Unknown if unit_text.contains(['x', '×']) => {
            return ParsedReading::invalid().note(Note::SeveralValues);
        }
        Suffix::Unknown => return suggest(text, field, locale),
    };
    let mut reading = combine(&numbers.0, &forms, field);
    if numbers.1 {
        reading = reading.note(Note::OtherDecimalSign);
    }
    reading.parts.current_kind = current_kind;
    reading
}

/// Every number with every unit: one value, several candidates, or a unit of something else.
fn combine(numbers: &[Decimal], forms: &[Form], field: &FieldSpec) -> ParsedReading {
    if let Some(form) = forms.iter().find(|form| form.unit != field.unit) {
        return ParsedReading::without_value(Quality::UnitMismatch {
            found: form.unit,
            suggestion: meant(numbers, *form, field),
        });
    }
    let mut values = Vec::new();
    for number in numbers {
        for form in forms {
            match number.to_micro(form.offset_micro, form.num, form.den) {
                Some((micro, exact)) => values.push((Quantity::of(field.unit, micro), exact, form.note)),
                None => return ParsedReading::invalid(),
            }
        }
    }
    match values.as_slice() {
        [(value, exact, note)] => {
            let mut reading = ParsedReading::exact(*value);
            reading.notes.extend(*note);
            if !exact && *note != Some(Note::Converted) { reading.note(Note::Rounded) } else { reading }
        }
        several => {
            let mut candidates: Vec<Quantity> = several.iter().map(|(value, ..)| *value).collect();
            candidates.sort();
            ParsedReading::without_value(Quality::Ambiguous { candidates })
        }
    }
}

/// Power typed for energy and the other way round: the same figure in the field's unit, to be asked.
fn meant(numbers: &[Decimal], form: Form, field: &FieldSpec) -> Option<Quantity> {
    let related = matches!(
        (form.unit, field.unit),
        (Unit::Watt, Unit::WattHour) | (Unit::WattHour, Unit::Watt) | (Unit::Celsius, Unit::Kelvin)
    );
    match numbers {
        [number] if related => {
            let (micro, _) = number.to_micro(form.offset_micro, form.num, form.den)?;
            Some(Quantity::of(field.unit, micro))
        }
        _ => None,
    }
}

/// Not a number as it stands; perhaps it is with letters read as the digits they resemble, or without a space.
fn suggest(text: &str, field: &FieldSpec, locale: NumberLocale) -> ParsedReading {
    let mut repaired = String::new();
    let mut in_number = true;
    let mut changed = false;
    let signs: Vec<char> = text.chars().collect();
    for (index, sign) in signs.iter().copied().enumerate() {
        let digit = match sign {
            'l' | 'I' | '|' => '1',
            'O' | 'o' => '0',
            _ => sign,
        };
        let group_follows = signs[index + 1..].iter().take_while(|next| next.is_ascii_digit()).count() == 3;
        if in_number && sign == ' ' && group_follows && repaired.ends_with(|last: char| last.is_ascii_digit()) {
            changed = true;
            continue;
        }
        in_number = in_number && (digit.is_ascii_digit() || matches!(digit, '.' | ',' | '-' | '+'));
        changed |= in_number && digit != sign;
        repaired.push(if in_number { digit } else { sign });
    }
    let suggestion = if changed { read_simple(&repaired, field, locale).value } else { None };
    ParsedReading::without_value(Quality::Invalid { suggestion })
}

/// `24ms 0° / 38ms 180°` and `500V/250MΩ`: two readings in one box.
fn read_pair(text: &str, field: &FieldSpec, locale: NumberLocale) -> Option<ParsedReading> {
    match field.kind {
        QuantityKind::RcdTime => match text.split_once('/') {
            Some((first, second)) => Some(worst_of(first.trim(), second.trim(), field, locale)),
            None if text.contains('°') => Some(read(take_angle(text).0.as_str(), field, locale)),
            None => None,
        },
        QuantityKind::Insulation => {
            let (first, second) = text.split_once(['/', '@'])?;
            Some(with_test_voltage(first.trim(), second.trim(), field, locale))
        }
        _ => None,
    }
}

/// Takes `0°` or `180°` out of a trip time; the number before the sign counts as a whole, so that `180` is not `0`.
fn take_angle(text: &str) -> (String, Option<u8>) {
    let Some(mark) = text.find('°') else {
        return (text.to_string(), None);
    };
    let before = text[..mark].trim_end();
    let digits = before.len() - before.trim_end_matches(|sign: char| sign.is_ascii_digit()).len();
    let (rest, angle) = before.split_at(before.len() - digits);
    let half = match angle {
        "0" => Some(0),
        "180" => Some(1),
        _ => None,
    };
    let after = &text[mark + '°'.len_utf8()..];
    (format!("{} {}", rest.trim_end(), after.trim_start()).trim().to_string(), half)
}

fn worst_of(first: &str, second: &str, field: &FieldSpec, locale: NumberLocale) -> ParsedReading {
    if is_not_tested(second) {
        return ParsedReading::without_value(Quality::NotTested);
    }
    if second.contains('/') {
        return ParsedReading::invalid().note(Note::SeveralValues);
    }
    let (mut first_text, first_half) = take_angle(first);
    let (second_text, second_half) = take_angle(second);
    if number::split(&first_text).1.is_empty() {
        // "24/38 ms": the unit stands once.
        first_text.push_str(number::split(&second_text).1);
    }
    let halves = [(first_text, first_half.unwrap_or(0)), (second_text, second_half.unwrap_or(1))];
    if halves[0].1 == halves[1].1 {
        return ParsedReading::invalid().note(Note::SeveralValues);
    }
    let mut worst: Option<ParsedReading> = None;
    let mut parts = Parts::default();
    for (text, half) in halves {
        let reading = read(&text, field, locale);
        let Some(value) = reading.value.filter(|_| reading.is_ok()) else {
            return reading;
        };
        if half == 0 {
            parts.at_0_degrees = Some(value);
        } else {
            parts.at_180_degrees = Some(value);
        }
        let rank = |reading: &ParsedReading| (reading.value, reading.cmp == Cmp::Greater);
        if worst.as_ref().is_none_or(|so_far| rank(&reading) > rank(so_far)) {
            worst = Some(reading);
        }
    }
    let mut reading = worst.unwrap_or_else(ParsedReading::invalid).note(Note::WorstOfTwo);
    reading.parts = parts;
    reading
}

fn with_test_voltage(first: &str, second: &str, field: &FieldSpec, locale: NumberLocale) -> ParsedReading {
    let volts = FieldSpec { unit: Unit::Volt, kind: QuantityKind::Other, entry: Prefix::One, ..*field };
    if second.contains(['/', '@']) && !is_not_tested(second) {
        return ParsedReading::invalid().note(Note::SeveralValues);
    }
    for (voltage, resistance) in [(first, second), (second, first)] {
        let voltage = read_simple(voltage, &volts, locale);
        if voltage.is_ok() && !voltage.has(Note::UnitAssumed) {
            let mut reading = read(resistance, field, locale);
            reading.parts.test_voltage = voltage.value;
            return reading;
        }
    }
    ParsedReading::invalid().note(Note::SeveralValues)
}

/// `230±2 V`, `230 V +/- 2 V`, `230 V ± 1 %`.
fn read_tolerance(text: &str, field: &FieldSpec, locale: NumberLocale) -> Option<ParsedReading> {
    let (middle, width) = text.split_once('±').or_else(|| text.split_once("+/-"))?;
    let (middle, width) = (middle.trim(), width.trim());
    let share = width.strip_suffix('%').filter(|_| field.unit != Unit::Percent);
    let mut middle_text = middle.to_string();
    if share.is_none() && number::split(middle).1.is_empty() {
        middle_text.push_str(number::split(width).1);
    }
    let mut reading = read_simple(&middle_text, field, locale);
    let Some(value) = reading.value else {
        return Some(reading);
    };
    let tolerance = match share {
        Some(percent) => match number::read(percent.trim(), locale) {
            NumberRead::One(percent, _) => percent.to_micro(0, 1, 100).and_then(|(share, _)| {
                ratio_micro(i128::from(value.micro.unsigned_abs()) * i128::from(share), 1_000_000)
            }),
            NumberRead::Either(..) | NumberRead::Bad => None,
        },
        None => read_simple(width, field, locale).value.map(|width| width.micro),
    };
    match tolerance {
        Some(micro) if micro >= 0 => reading.parts.tolerance = Some(Quantity::of(field.unit, micro)),
        Some(_) | None => return Some(ParsedReading::invalid()),
    }
    Some(reading)
}
