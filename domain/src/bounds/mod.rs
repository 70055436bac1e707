//! How far a field may go: names, addresses, days, and figures that physics allows. The form asks it while somebody types, and the
//! server asks it at its door for what comes as JSON.
//!
//! What is impossible is refused; what is only unlikely is asked about by whoever knows the field ([`crate::method::plan`]'s plausible
//! ranges). **Never enters:** entries that a device has written. They are read whatever they say.
//!
//! Start with [`Fault`].

pub use crate::electrical::units::possible;
use crate::electrical::{FieldSpec, Unit};
use crate::identification::dates::Date;
pub use crate::wire::limits::REMARK_CHARS_MAX;

/// Characters of a name or a label at most; the columns say the same.
pub const NAME_CHARS_MAX: usize = 120;
/// Characters of an e-mail address at most.
pub const EMAIL_CHARS_MAX: usize = 254;
/// Characters of a serial or of the kind of something at most.
pub const SHORT_CHARS_MAX: usize = 60;
/// Characters of what the serials of a model begin with at most.
pub const PREFIX_CHARS_MAX: usize = 30;
/// A day that somebody enters lies so many years before or after today at most.
pub const DAY_YEARS_MAX: u16 = 10;

/// Characters of a telephone number at most, with everything that people write between the digits.
const PHONE_CHARS_MAX: usize = 40;
/// Fewer digits are no number that somebody can call, more are none that a network takes (ITU-T E.164 has 15, and an extension follows).
const PHONE_DIGITS: core::ops::RangeInclusive<usize> = 5..=20;
/// The part before the @ (RFC 5321).
const LOCAL_CHARS_MAX: usize = 64;
/// The longest name of a time zone is far below it.
const ZONE_CHARS_MAX: usize = 60;

/// What is wrong with a text.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Nothing is there.
    Needed,
    /// Over so many characters.
    TooLong(usize),
    /// Signs that nobody sees.
    Invisible,
    /// No e-mail address.
    Email,
    /// No telephone number.
    Phone,
    /// Not written as a time zone is.
    Zone,
    /// Not a day of the calendar.
    Day,
    /// A day more than so many years from today.
    FarDay(u16),
}

/// A name or a label: 1 to [`NAME_CHARS_MAX`] characters, blanks around it not counted.
///
/// # Errors
/// [`Fault`].
pub fn name(text: &str) -> Result<(), Fault> {
    if text.trim().is_empty() { Err(Fault::Needed) } else { short(text, NAME_CHARS_MAX) }
}

/// A text of one line that may be empty.
///
/// # Errors
/// [`Fault`].
pub fn short(text: &str, most: usize) -> Result<(), Fault> {
    let text = text.trim();
    if text.contains(char::is_control) {
        return Err(Fault::Invisible);
    }
    if text.chars().count() > most { Err(Fault::TooLong(most)) } else { Ok(()) }
}

/// Words of several lines that may be empty.
///
/// # Errors
/// [`Fault`].
pub fn words(text: &str) -> Result<(), Fault> {
    match words_left(text) {
        0.. => Ok(()),
        _ => Err(Fault::TooLong(REMARK_CHARS_MAX)),
    }
}

/// For how many more characters words have room; below zero: so many are too many.
pub fn words_left(text: &str) -> i64 {
    let count = |chars: usize| i64::try_from(chars).unwrap_or(i64::MAX);
    count(REMARK_CHARS_MAX) - count(text.trim().chars().count())
}

/// An address for mail.
///
/// # Errors
/// [`Fault`].
pub fn email(text: &str) -> Result<(), Fault> {
    let text = text.trim();
    if text.is_empty() {
        return Err(Fault::Needed);
    }
    short(text, EMAIL_CHARS_MAX)?;
    let (local, host) = text.rsplit_once('@').ok_or(Fault::Email)?;
    let label = |label: &str| {
        !label.is_empty()
            && !label.starts_with('-')
            && !label.ends_with('-')
            && label.chars().all(|one| one.is_alphanumeric() || one == '-')
    };
    let local_fits = (1..=LOCAL_CHARS_MAX).contains(&local.chars().count())
        && !local.contains(|one: char| one.is_whitespace() || one == '@' || one == ',' || one == ';');
    let host_fits = host.contains('.') && host.split('.').all(label);
    if local_fits && host_fits { Ok(()) } else { Err(Fault::Email) }
}

/// A number to call, with what people write between the digits, and an extension.
///
/// # Errors
/// [`Fault`].
pub fn phone(text: &str) -> Result<(), Fault> {
    let text = text.trim();
    short(text, PHONE_CHARS_MAX)?;
    let lower = text.to_lowercase();
    let (number, extension) = lower.split_once("ext").or_else(|| lower.split_once('x')).unwrap_or((&lower, ""));
    let between = |one: char| one.is_whitespace() || "+-./()#*".contains(one);
    let fits = |part: &str| part.chars().all(|one| one.is_ascii_digit() || between(one));
    let digits = text.chars().filter(char::is_ascii_digit).count();
    let plus_leads =
        !number.trim_start_matches(|one: char| one == '(' || one.is_whitespace()).chars().skip(1).any(|one| one == '+');
    if fits(number) && fits(extension.trim_start_matches('.')) && plus_leads && PHONE_DIGITS.contains(&digits) {
        Ok(())
    } else {
        Err(Fault::Phone)
    }
}

/// Written as the names of time zones are, such as `Europe/London`. Whether there is such a zone is in the list of whoever has one.
///
/// # Errors
/// [`Fault`].
pub fn zone(text: &str) -> Result<(), Fault> {
    let text = text.trim();
    let part = |part: &str| {
        part.starts_with(|one: char| one.is_ascii_alphabetic())
            && part.chars().all(|one| one.is_ascii_alphanumeric() || matches!(one, '_' | '-' | '+'))
    };
    let fits = text.len() <= ZONE_CHARS_MAX && (text == "UTC" || text.contains('/')) && text.split('/').all(part);
    if fits { Ok(()) } else { Err(Fault::Zone) }
}

/// A day, `YYYY-MM-DD`, that somebody can mean today.
///
/// # Errors
/// [`Fault`].
pub fn day(text: &str, today: Date) -> Result<Date, Fault> {
    let day = Date::parse(text.trim()).map_err(|_| Fault::Day)?;
    if day.year().abs_diff(today.year()) > DAY_YEARS_MAX { Err(Fault::FarDay(DAY_YEARS_MAX)) } else { Ok(day) }
}

/// Can this planned figure be at all?
pub fn is_possible(unit: Unit, micro: i64) -> bool {
    let (least, most) = possible(unit);
    (least..=most).contains(&micro)
}

/// What a planned figure that is typed into this field can be at all: a share that the field bounds stays within its bounds.
pub fn possible_in(field: &FieldSpec) -> (i64, i64) {
    let ((least, most), (lowest, highest)) = (possible(field.unit), field.possible());
    (least.max(lowest), most.min(highest))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]
    use super::*;
    use crate::electrical::units::MICRO;

    #[test]
    fn a_name_has_one_to_120_characters() {
        assert_eq!(name(" Ada "), Ok(()));
        assert_eq!(name("   "), Err(Fault::Needed));
        assert_eq!(name(&"ä".repeat(120)), Ok(()));
        assert_eq!(name(&"ä".repeat(121)), Err(Fault::TooLong(120)));
        assert_eq!(name("Ada\u{0}"), Err(Fault::Invisible));
    }

    #[test]
    fn words_say_how_much_room_is_left() {
        assert_eq!(words_left(""), 4_000);
        assert_eq!(words_left(&"é".repeat(4_001)), -1);
        assert_eq!(words(&"é".repeat(4_000)), Ok(()));
        assert_eq!(words(&"é".repeat(4_001)), Err(Fault::TooLong(4_000)));
        assert_eq!(words("two\nlines"), Ok(()));
    }

    #[test]
    fn addresses_for_mail() {
        for good in ["ada@firm.example", "a.b+c@sub.firm.example", "jörg@zähler.example"] {
            assert_eq!(email(good), Ok(()), "{good}");
        }
        for wrong in [
            "nope",
            "@firm.example",
            "ada@",
            "a da@firm.example",
            "ada@firm",
            "ada@firm..example",
            "a@b@c.example",
            "ada@-x.example",
        ] {
            assert_eq!(email(wrong), Err(Fault::Email), "{wrong}");
        }
        assert_eq!(email(" "), Err(Fault::Needed));
        assert_eq!(email(&format!("a@{}.example", "x".repeat(250))), Err(Fault::TooLong(254)));
    }

    #[test]
    fn numbers_to_call() {
        for good in ["+00 1632 960123", "(555) 010-0199", "01632/960 123", "555-0100 x 12", "555 0100 ext. 7"] {
            assert_eq!(phone(good), Ok(()), "{good}");
        }
        for wrong in ["not a phone", "12", "1 + 2 3 4 5 6", "0163296012301632960123", "call 01632 960123"] {
            assert_eq!(phone(wrong), Err(Fault::Phone), "{wrong}");
        }
    }

    #[test]
    fn zones_are_written_as_zones() {
        for good in ["Europe/London", "America/Argentina/Buenos_Aires", "Etc/GMT+3", "UTC"] {
            assert_eq!(zone(good), Ok(()), "{good}");
        }
        for wrong in ["", "London", "Mars base", "Europe/", "/London", "Europe/Lon don"] {
            assert_eq!(zone(wrong), Err(Fault::Zone), "{wrong}");
        }
    }

    #[test]
    fn days_within_ten_years() {
        let today = Date::new(2026, 11, 29).unwrap();
        assert!(day("2026-02-29", today).is_err_and(|fault| fault == Fault::Day));
        assert!(day("2036-12-31", today).is_ok());
        assert_eq!(day("2037-01-01", today), Err(Fault::FarDay(10)));
        assert_eq!(day("0001-01-01", today), Err(Fault::FarDay(10)));
        assert_eq!(day("9999-12-31", today), Err(Fault::FarDay(10)));
    }

    #[test]
    fn no_tick_makes_the_impossible_true() {
        assert!(!is_possible(Unit::Kilogram, -120 * MICRO));
        assert!(is_possible(Unit::Kilogram, 0));
        assert!(!is_possible(Unit::Celsius, 9_999 * MICRO));
        assert!(is_possible(Unit::Celsius, -40 * MICRO));
    }

    #[test]
    fn every_unit_has_room() {
        for unit in Unit::ALL {
            let (least, most) = possible(unit);
            assert!(least < most && is_possible(unit, least) && is_possible(unit, most), "{unit:?}");
            assert!(!is_possible(unit, least - 1) && !is_possible(unit, most + 1), "{unit:?}");
        }
    }
}
