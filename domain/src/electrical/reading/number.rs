//! Digits with points and commas. Two signs explain each other; one sign before exactly three digits may be either.

use super::NumberLocale;
use crate::electrical::units::Decimal;

/// What a run of digits can mean.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum NumberRead {
    /// One meaning; `true` if the decimal sign is not the person's usual one.
    One(Decimal, bool),
    /// As a decimal and as a grouped whole number.
    Either(Decimal, Decimal),
    Bad,
}

/// Splits a leading number (sign, digits, points, commas) from what follows it.
pub(super) fn split(text: &str) -> (&str, &str) {
    let unsigned = text.strip_prefix(['-', '+']).unwrap_or(text);
    let sign_len = text.len() - unsigned.len();
    let digits_len = unsigned.find(|sign: char| !sign.is_ascii_digit() && sign != '.' && sign != ',');
    let (number, rest) = text.split_at(sign_len + digits_len.unwrap_or(unsigned.len()));
    // A comma or point at the end belongs to what follows ("N.m", "5."), where it will be refused or understood.
    let trimmed = number.trim_end_matches(['.', ',']);
    if trimmed.len() == number.len() { (number, rest.trim_start()) } else { text.split_at(trimmed.len()) }
}

/// Reads what [`split`] found.
pub(super) fn read(text: &str, locale: NumberLocale) -> NumberRead {
    let (sign, body) = match text.strip_prefix('-') {
        Some(body) => ("-", body),
        None => ("", text.strip_prefix('+').unwrap_or(text)),
    };
    let decimal = |body: &str, separator| Decimal::parse(&format!("{sign}{body}"), separator).ok();
    let whole = |body: &str| decimal(&body.replace(['.', ','], ""), '.');
    let one = |number: Option<Decimal>, other_sign| number.map_or(NumberRead::Bad, |n| NumberRead::One(n, other_sign));

    let Some(last) = body.rfind(['.', ',']) else {
        return one(decimal(body, '.'), false);
    };
    let separator = if body[last..].starts_with(',') { ',' } else { '.' };
    let other = if separator == ',' { '.' } else { ',' };
    let other_sign = locale.decimal().is_some_and(|usual| usual != separator);
    let (head, tail) = (&body[..last], &body[last + 1..]);
    if head.contains(other) {
        // Both signs: the last is the decimal one if the first groups properly and the last stands once.
        let proper = !head.contains(separator) && is_grouped(head, other);
        let joined = format!("{}{separator}{tail}", head.replace(other, ""));
        return if proper { one(decimal(&joined, separator), other_sign) } else { NumberRead::Bad };
    }
    if head.contains(separator) {
        return if is_grouped(body, separator) { one(whole(body), false) } else { NumberRead::Bad };
    }
    let as_decimal = decimal(body, separator);
    match (as_decimal, is_grouped(body, separator)) {
        (Some(fraction), true) if locale.decimal() != Some(separator) => match whole(body) {
            Some(grouped) => NumberRead::Either(fraction, grouped),
            None => NumberRead::Bad,
        },
        (number, _) => one(number, other_sign),
    }
}

/// Whether every part after the first has three digits and the first one to three, not led by a zero.
fn is_grouped(body: &str, separator: char) -> bool {
    let mut parts = body.split(separator);
    let first = parts.next().unwrap_or("");
    let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    (1..=3).contains(&first.len())
        && digits(first)
        && !first.starts_with('0')
        && parts.all(|part| part.len() == 3 && digits(part))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;

    fn decimal(text: &str) -> Decimal {
        Decimal::parse(text, '.').unwrap()
    }

    #[test]
    fn signs_explain_each_other() {
        let unknown = NumberLocale::Unknown;
        for (text, expected) in [
            ("1.234,5", NumberRead::One(decimal("1234.5"), false)),
            ("1,234.5", NumberRead::One(decimal("1234.5"), false)),
            ("1.234.567", NumberRead::One(decimal("1234567"), false)),
            ("1,234,567.25", NumberRead::One(decimal("1234567.25"), false)),
            ("0,350", NumberRead::One(decimal("0.350"), false)),
            ("1234,567", NumberRead::One(decimal("1234.567"), false)),
            ("1,234", NumberRead::Either(decimal("1.234"), decimal("1234"))),
            ("-1.234", NumberRead::Either(decimal("-1.234"), decimal("-1234"))),
            (".5", NumberRead::One(decimal("0.5"), false)),
            ("0.35.1", NumberRead::Bad),
            ("1,23.4", NumberRead::Bad),
            ("1.2,3,4", NumberRead::Bad),
            ("", NumberRead::Bad),
        ] {
            assert_eq!(
                format!("{:?}", read(text, unknown)).replace(' ', ""),
                format!("{expected:?}").replace(' ', ""),
                "{text}"
            );
        }
    }

    #[test]
    fn a_known_sign_settles_its_own_case_only() {
        assert_eq!(read("1.234", NumberLocale::Point), NumberRead::One(decimal("1.234"), false));
        assert_eq!(read("1,234", NumberLocale::Point), NumberRead::Either(decimal("1.234"), decimal("1234")));
        assert_eq!(read("0,35", NumberLocale::Point), NumberRead::One(decimal("0.35"), true));
    }

    #[test]
    fn the_number_ends_where_the_unit_begins() {
        assert_eq!(split("106 in-lb"), ("106", "in-lb"));
        assert_eq!(split("-51.8V"), ("-51.8", "V"));
        assert_eq!(split("5.V"), ("5", ".V"));
        assert_eq!(split("V"), ("", "V"));
    }
}
