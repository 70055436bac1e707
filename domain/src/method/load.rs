//! Reads method files. Only the server and xtask do; browsers get CBOR.

use super::plan::{Method, Micro};
use crate::electrical::units::Unit;
use serde::de::Error as _;

/// Decimal places of a millionth.
const PLACES: usize = 6;

/// Parses decimal text (`"-0.08"`) into millionths, exactly.
fn micro_of(text: &str) -> Option<i64> {
    let (negative, digits) = text.strip_prefix('-').map_or((false, text), |rest| (true, rest));
    let (whole, fraction) = digits.split_once('.').unwrap_or((digits, ""));
    let all_digits = |part: &str| part.bytes().all(|b| b.is_ascii_digit());
    if whole.is_empty() || !all_digits(whole) || !all_digits(fraction) || fraction.len() > PLACES {
        return None;
    }
    let padded = format!("{whole}{fraction:0<PLACES$}");
    let value: i64 = padded.parse().ok()?;
    Some(if negative { -value } else { value })
}

impl<'de> serde::Deserialize<'de> for Micro {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = String::deserialize(d)?;
        micro_of(&text)
            .map(Micro)
            .ok_or_else(|| D::Error::custom(format!("\"{text}\" is not decimal text such as \"0.08\"")))
    }
}

impl<'de> serde::Deserialize<'de> for Unit {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = String::deserialize(d)?;
        Self::from_name(&text)
            .ok_or_else(|| D::Error::custom(format!("\"{text}\" is not a unit such as \"volt\" or \"ohm\"")))
    }
}

/// Parses a method file.
///
/// # Errors
/// The TOML error with line and column.
pub fn from_toml(text: &str) -> Result<Method, toml::de::Error> {
    toml::from_str(text)
}

#[cfg(test)]
mod tests {
    use super::micro_of;

    #[test]
    fn decimals_are_exact() {
        assert_eq!(micro_of("0.08"), Some(80_000));
        assert_eq!(micro_of("-51.2"), Some(-51_200_000));
        assert_eq!(micro_of("999000000"), Some(999_000_000_000_000));
        assert_eq!(micro_of("0.0000001"), None);
        assert_eq!(micro_of("1e3"), None);
        assert_eq!(micro_of(""), None);
    }
}
