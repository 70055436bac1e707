//! Units and exact quantities: an integer count of millionths of one unit, so that native code and WebAssembly agree
//! on every comparison and a stored value means the same for ever.

use core::fmt;

/// Millionths in one unit.
pub const MICRO: i64 = 1_000_000;

/// Digits that one typed number may have; more than any meter shows, few enough that scaling cannot overflow `i128`.
const DIGITS_MAX: usize = 15;

/// The unit of a [`Quantity`]. The number is written into stored bytes: never reuse or renumber one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, minicbor::Encode, minicbor::Decode)]
#[cbor(index_only)]
#[repr(u8)]
pub enum Unit {
    /// Pieces, factors, numbers of a list: anything without a unit.
    #[n(0)]
    Count = 0,
    #[n(1)]
    Volt = 1,
    #[n(2)]
    Ampere = 2,
    #[n(3)]
    Ohm = 3,
    #[n(4)]
    Watt = 4,
    #[n(5)]
    WattHour = 5,
    #[n(6)]
    Hertz = 6,
    #[n(7)]
    Second = 7,
    #[n(8)]
    Metre = 8,
    /// Slope of a bracket or floor; 3 mm/m are 3 000 millionths.
    #[n(9)]
    MetrePerMetre = 9,
    /// Cross-section of a conductor.
    #[n(10)]
    SquareMillimetre = 10,
    #[n(11)]
    NewtonMetre = 11,
    #[n(12)]
    Newton = 12,
    #[n(13)]
    Celsius = 13,
    /// Temperature differences only.
    #[n(14)]
    Kelvin = 14,
    #[n(15)]
    Percent = 15,
    #[n(16)]
    Kilogram = 16,
    #[n(17)]
    Farad = 17,
    #[n(18)]
    Joule = 18,
    /// Let-through of a protective device, I²t.
    #[n(19)]
    AmpereSquaredSecond = 19,
    #[n(20)]
    Pascal = 20,
    /// Heat of an arc at a distance, in the unit that the trade's tables use; 4.184 J/cm².
    #[n(21)]
    CaloriePerSquareCentimetre = 21,
}

impl Unit {
    /// Every unit, in order of its code.
    pub const ALL: [Unit; 22] = [
        Unit::Count,
        Unit::Volt,
        Unit::Ampere,
        Unit::Ohm,
        Unit::Watt,
        Unit::WattHour,
        Unit::Hertz,
        Unit::Second,
        Unit::Metre,
        Unit::MetrePerMetre,
        Unit::SquareMillimetre,
        Unit::NewtonMetre,
        Unit::Newton,
        Unit::Celsius,
        Unit::Kelvin,
        Unit::Percent,
        Unit::Kilogram,
        Unit::Farad,
        Unit::Joule,
        Unit::AmpereSquaredSecond,
        Unit::Pascal,
        Unit::CaloriePerSquareCentimetre,
    ];

    /// The stable number of this unit in stored bytes.
    pub fn code(self) -> u8 {
        self as u8
    }

    /// The unit with that stored number; `None` for one that a newer app may have written.
    pub fn from_code(code: u8) -> Option<Unit> {
        Unit::ALL.get(usize::from(code)).copied()
    }

    /// The international symbol, the same in every language; empty for [`Unit::Count`].
    pub fn symbol(self) -> &'static str {
        match self {
            Unit::Count => "",
            Unit::Volt => "V",
            Unit::Ampere => "A",
            Unit::Ohm => "Ω",
            Unit::Watt => "W",
            Unit::WattHour => "Wh",
            Unit::Hertz => "Hz",
            Unit::Second => "s",
            Unit::Metre => "m",
            Unit::MetrePerMetre => "m/m",
            Unit::SquareMillimetre => "mm²",
            Unit::NewtonMetre => "N·m",
            Unit::Newton => "N",
            Unit::Celsius => "°C",
            Unit::Kelvin => "K",
            Unit::Percent => "%",
            Unit::Kilogram => "kg",
            Unit::Farad => "F",
            Unit::Joule => "J",
            Unit::AmpereSquaredSecond => "A²s",
            Unit::Pascal => "Pa",
            Unit::CaloriePerSquareCentimetre => "cal/cm²",
        }
    }

    /// The word for this unit in method and rule files.
    pub fn name(self) -> &'static str {
        match self {
            Unit::Count => "count",
            Unit::Volt => "volt",
            Unit::Ampere => "ampere",
            Unit::Ohm => "ohm",
            Unit::Watt => "watt",
            Unit::WattHour => "watt_hour",
            Unit::Hertz => "hertz",
            Unit::Second => "second",
            Unit::Metre => "metre",
            Unit::MetrePerMetre => "metre_per_metre",
            Unit::SquareMillimetre => "square_millimetre",
            Unit::NewtonMetre => "newton_metre",
            Unit::Newton => "newton",
            Unit::Celsius => "celsius",
            Unit::Kelvin => "kelvin",
            Unit::Percent => "percent",
            Unit::Kilogram => "kilogram",
            Unit::Farad => "farad",
            Unit::Joule => "joule",
            Unit::AmpereSquaredSecond => "ampere_squared_second",
            Unit::Pascal => "pascal",
            Unit::CaloriePerSquareCentimetre => "calorie_per_square_centimetre",
        }
    }

    /// The unit with that [`Unit::name`].
    pub fn from_name(name: &str) -> Option<Unit> {
        Unit::ALL.into_iter().find(|unit| unit.name() == name)
    }
}

/// A decimal prefix for showing and typing a quantity.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Prefix {
    Micro,
    Milli,
    One,
    Kilo,
    Mega,
    Giga,
}

impl Prefix {
    /// The power of ten.
    pub fn exponent(self) -> i32 {
        match self {
            Prefix::Micro => -6,
            Prefix::Milli => -3,
            Prefix::One => 0,
            Prefix::Kilo => 3,
            Prefix::Mega => 6,
            Prefix::Giga => 9,
        }
    }

    /// The prefix with that symbol; `u` stands for `µ`, as on keyboards.
    pub fn from_symbol(symbol: &str) -> Option<Prefix> {
        match symbol {
            "" => Some(Prefix::One),
            "u" | "µ" | "\u{3bc}" => Some(Prefix::Micro),
            "m" => Some(Prefix::Milli),
            "k" | "K" => Some(Prefix::Kilo),
            "M" => Some(Prefix::Mega),
            "G" => Some(Prefix::Giga),
            _ => None,
        }
    }

    /// The symbol before the unit's.
    pub fn symbol(self) -> &'static str {
        match self {
            Prefix::Micro => "µ",
            Prefix::Milli => "m",
            Prefix::One => "",
            Prefix::Kilo => "k",
            Prefix::Mega => "M",
            Prefix::Giga => "G",
        }
    }
}

/// A value in millionths of its unit. Ordered by unit first, so compare only equal units.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Quantity {
    pub unit: Unit,
    pub micro: i64,
}

impl Quantity {
    /// A value given in millionths.
    pub const fn of(unit: Unit, micro: i64) -> Quantity {
        Quantity { unit, micro }
    }

    /// A whole number of units; callers pass small constants (the product must fit `i64`).
    pub const fn whole(unit: Unit, number: i64) -> Quantity {
        Quantity { unit, micro: number * MICRO }
    }

    /// Exact decimal text (`-51.8`, `0,35` with `decimal = ','`), no grouping, no unit.
    ///
    /// # Errors
    /// Text that is no number, too large, or finer than a millionth: nothing is rounded here.
    pub fn parse(unit: Unit, text: &str, decimal: char) -> Result<Quantity, DecimalError> {
        let (micro, exact) = Decimal::parse(text, decimal)?.to_micro(0, 1, 1).ok_or(DecimalError::TooLarge)?;
        if exact { Ok(Quantity { unit, micro }) } else { Err(DecimalError::TooFine) }
    }

    /// Digits with `decimals` places after `separator`, in prefixed units, rounded half away from zero. For showing only:
    /// a rounded figure may look like its limit, so compare [`Quantity::micro`].
    pub fn format(self, decimals: u32, prefix: Prefix, separator: char) -> String {
        let decimals = decimals.min(12);
        let unit_in_micro = 10_i128.pow((6 + prefix.exponent()).unsigned_abs());
        let scaled = round_div(i128::from(self.micro) * 10_i128.pow(decimals), unit_in_micro);
        digits(scaled, decimals, separator)
    }

    /// All digits that are there and none that are not: `0.0807`, `12`, `-51.8`.
    pub fn plain(self) -> String {
        let text = digits(i128::from(self.micro), 6, '.');
        text.trim_end_matches('0').trim_end_matches('.').to_string()
    }
}

impl fmt::Display for Quantity {
    /// Digits with a point and the symbol; for logs and formulas, not for a person's language.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.unit {
            Unit::Count => f.write_str(&self.plain()),
            unit => write!(f, "{} {}", self.plain(), unit.symbol()),
        }
    }
}

fn digits(scaled: i128, decimals: u32, separator: char) -> String {
    let sign = if scaled < 0 { "-" } else { "" };
    let power = 10_u128.pow(decimals);
    let (whole, rest) = (scaled.unsigned_abs() / power, scaled.unsigned_abs() % power);
    if decimals == 0 {
        format!("{sign}{whole}")
    } else {
        format!("{sign}{whole}{separator}{rest:0width$}", width = decimals as usize)
    }
}

/// Why text is no [`Quantity`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DecimalError {
    NotANumber,
    TooLarge,
    TooFine,
}

/// A typed decimal number, exactly: `mantissa / 10^scale`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimal {
    mantissa: i128,
    scale: u32,
}

impl Decimal {
    /// An optional ASCII sign, digits, at most one separator with digits after it.
    ///
    /// # Errors
    /// Anything else, and more than 15 digits.
    pub fn parse(text: &str, separator: char) -> Result<Decimal, DecimalError> {
        let (negative, body) = match text.strip_prefix('-') {
            Some(rest) => (true, rest),
            None => (false, text.strip_prefix('+').unwrap_or(text)),
        };
        let (whole, fraction) = match body.split_once(separator) {
            Some((_, "")) => return Err(DecimalError::NotANumber),
            Some(parts) => parts,
            None => (body, ""),
        };
        let all_digits = whole.bytes().chain(fraction.bytes()).all(|byte| byte.is_ascii_digit());
        if !all_digits || whole.len() + fraction.len() == 0 {
            return Err(DecimalError::NotANumber);
        }
        if whole.len() + fraction.len() > DIGITS_MAX {
            return Err(DecimalError::TooLarge);
        }
        let mut mantissa: i128 = 0;
        for digit in whole.bytes().chain(fraction.bytes()) {
            mantissa = mantissa * 10 + i128::from(digit - b'0');
        }
        let scale = fraction.bytes().map(|_| 1_u32).sum();
        Ok(Decimal { mantissa: if negative { -mantissa } else { mantissa }, scale })
    }

    /// The number itself when it has no fraction.
    pub fn whole(self) -> Option<i128> {
        (self.scale == 0).then_some(self.mantissa)
    }

    /// `(self + offset) · num / den` in millionths, and whether that is exact; `None` beyond `i64`.
    /// `offset_micro` is in millionths of the typed unit (32 °F, 273.15 K).
    pub fn to_micro(self, offset_micro: i128, num: i128, den: i128) -> Option<(i64, bool)> {
        let power = 10_i128.pow(self.scale);
        let shifted = self.mantissa.checked_mul(1_000_000)?.checked_add(offset_micro.checked_mul(power)?)?;
        let top = shifted.checked_mul(num)?;
        let bottom = power.checked_mul(den)?;
        Some((i64::try_from(round_div(top, bottom)).ok()?, top % bottom == 0))
    }
}

/// What a planned figure or a maker's can be at all, in millionths of the unit; beyond it, it is a slip of the hand and no tick makes it
/// true.
pub fn possible(unit: Unit) -> (i64, i64) {
    let most = |units: i64| (0, units * MICRO);
    match unit {
        // Colder than any winter, hotter than any part that somebody installs.
        Unit::Celsius => (-100 * MICRO, 500 * MICRO),
        Unit::Kelvin => most(1_000),
        Unit::Volt => most(100_000),
        Unit::Ampere => most(1_000_000),
        Unit::Percent => most(1_000),
        Unit::Kilogram => most(100_000),
        Unit::Metre => most(100_000),
        Unit::MetrePerMetre => most(100),
        Unit::Hertz | Unit::SquareMillimetre => most(100_000),
        Unit::Farad => most(1_000),
        Unit::Second | Unit::Newton | Unit::NewtonMetre => most(1_000_000_000),
        Unit::Count
        | Unit::Ohm
        | Unit::Watt
        | Unit::WattHour
        | Unit::Joule
        | Unit::AmpereSquaredSecond
        | Unit::Pascal
        | Unit::CaloriePerSquareCentimetre => most(1_000_000_000_000),
    }
}

/// What an instrument can show of a unit at all, in millionths: as [`possible`], and the other way round for what has a sign or a
/// direction.
pub fn possible_to_read(unit: Unit) -> (i64, i64) {
    let (least, most) = possible(unit);
    match unit {
        Unit::Volt | Unit::Ampere | Unit::Watt | Unit::WattHour | Unit::Kelvin | Unit::Percent => (-most, most),
        Unit::Celsius
        | Unit::Kilogram
        | Unit::Metre
        | Unit::MetrePerMetre
        | Unit::Hertz
        | Unit::SquareMillimetre
        | Unit::Farad
        | Unit::Second
        | Unit::Newton
        | Unit::NewtonMetre
        | Unit::Count
        | Unit::Ohm
        | Unit::Joule
        | Unit::AmpereSquaredSecond
        | Unit::Pascal
        | Unit::CaloriePerSquareCentimetre => (least, most),
    }
}

/// Division rounded half away from zero, the way a pocket calculator's user rounds. `den` is positive.
pub fn round_div(num: i128, den: i128) -> i128 {
    let (quotient, rest) = (num / den, num % den);
    if 2 * rest.abs() >= den { quotient + num.signum() } else { quotient }
}

/// [`round_div`] into stored millionths; `None` beyond `i64`.
pub fn ratio_micro(num: i128, den: i128) -> Option<i64> {
    if den <= 0 { None } else { i64::try_from(round_div(num, den)).ok() }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn codes_and_names_come_back() {
        for unit in Unit::ALL {
            assert_eq!(Unit::from_code(unit.code()), Some(unit));
            assert_eq!(Unit::from_name(unit.name()), Some(unit));
        }
        assert_eq!(Unit::from_code(22), None);
        // Stored bytes of old job files hold these numbers.
        assert!(Unit::ALL.iter().all(|unit| minicbor::to_vec(unit).unwrap() == [unit.code()]));
        assert_eq!((Unit::Ohm.code(), Unit::NewtonMetre.code(), Unit::Farad.code()), (3, 11, 17));
    }

    #[test]
    fn decimal_text_is_exact() {
        let volts = |text, separator| Quantity::parse(Unit::Volt, text, separator).map(|q| q.micro);
        assert_eq!(volts("51.2", '.'), Ok(51_200_000));
        assert_eq!(volts("-0,35", ','), Ok(-350_000));
        assert_eq!(volts("0.000001", '.'), Ok(1));
        assert_eq!(volts("0.0000001", '.'), Err(DecimalError::TooFine));
        assert_eq!(volts("0.1000000", '.'), Ok(100_000));
        assert_eq!(volts("9223372036854.0", '.'), Ok(9_223_372_036_854_000_000));
        assert_eq!(volts("9223372036855", '.'), Err(DecimalError::TooLarge));
        for bad in ["", "-", ".", "1.", "1.2.3", "1e3", "--1", " 1"] {
            assert_eq!(volts(bad, '.'), Err(DecimalError::NotANumber), "{bad:?}");
        }
    }

    #[test]
    fn showing_rounds_half_away_from_zero() {
        let ohm = |micro| Quantity::of(Unit::Ohm, micro);
        assert_eq!(ohm(80_656).format(4, Prefix::One, '.'), "0.0807");
        assert_eq!(ohm(999_000_000_000_000).format(0, Prefix::Mega, '.'), "999");
        assert_eq!(ohm(-350_000).format(2, Prefix::One, ','), "-0,35");
        assert_eq!(ohm(500_000).format(0, Prefix::One, '.'), "1");
        assert_eq!(ohm(-500_000).format(0, Prefix::One, '.'), "-1");
        assert_eq!(ohm(80_656).format(1, Prefix::Milli, '.'), "80.7");
        assert_eq!(ohm(12_000_000).plain(), "12");
        assert_eq!(Quantity::of(Unit::NewtonMetre, 11_976_392).to_string(), "11.976392 N·m");
    }

    proptest! {
        #[test]
        fn plain_text_reads_back(micro in any::<i64>()) {
            // Fifteen digits is the reading limit, so stay below it.
            let micro = micro % 1_000_000_000_000_000;
            let quantity = Quantity::of(Unit::Volt, micro);
            prop_assert_eq!(Quantity::parse(Unit::Volt, &quantity.plain(), '.').unwrap(), quantity);
        }
    }
}
