//! Calendar days without a clock or a time zone: their written form, deadlines, and the order of a unit's life.
//!
//! Whoever calls says what today is.

use core::fmt;

/// A text or number that is not a day of the calendar between the years 1 and 9999.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NotADate;

impl fmt::Display for NotADate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("not a calendar date")
    }
}

impl core::error::Error for NotADate {}

/// Days from 0000-03-01 to 1970-01-01. Counting years from March puts the leap day at the end of a year.
const DAYS_TO_EPOCH: i64 = 719_468;
/// Days in 400 years, after which the Gregorian calendar repeats.
const DAYS_PER_ERA: i64 = 146_097;
/// Greatest year that the ISO form with four digits can write.
const YEAR_MAX: u16 = 9999;

/// A day of the Gregorian calendar, years 1 to 9999.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Date {
    year: u16,
    month: u8,
    day: u8,
}

impl Date {
    /// The day, if the calendar has it.
    ///
    /// # Errors
    /// [`NotADate`], for example for 30 February.
    pub fn new(year: u16, month: u8, day: u8) -> Result<Self, NotADate> {
        if (1..=YEAR_MAX).contains(&year)
            && (1..=12).contains(&month)
            && (1..=days_in_month(year, month)).contains(&day)
        {
            Ok(Self { year, month, day })
        } else {
            Err(NotADate)
        }
    }

    /// Reads `YYYY-MM-DD` and nothing else.
    ///
    /// # Errors
    /// [`NotADate`] for another form or a day that the calendar lacks.
    pub fn parse(text: &str) -> Result<Self, NotADate> {
        let bytes = text.as_bytes();
        if bytes.len() != 10 || bytes[4] != b'-' || bytes[7] != b'-' {
            return Err(NotADate);
        }
        Self::from_digits(&bytes[..4], &bytes[5..7], &bytes[8..])
    }

    /// Reads `YYYYMMDD`, the form of data identifier 16D.
    ///
    /// # Errors
    /// [`NotADate`] for another form or a day that the calendar lacks.
    pub fn parse_compact(text: &str) -> Result<Self, NotADate> {
        let bytes = text.as_bytes();
        if bytes.len() != 8 {
            return Err(NotADate);
        }
        Self::from_digits(&bytes[..4], &bytes[4..6], &bytes[6..])
    }

    fn from_digits(year: &[u8], month: &[u8], day: &[u8]) -> Result<Self, NotADate> {
        let month = u8::try_from(number(month)?).map_err(|_| NotADate)?;
        let day = u8::try_from(number(day)?).map_err(|_| NotADate)?;
        Self::new(number(year)?, month, day)
    }

    /// Year, 1 to 9999.
    #[must_use]
    pub fn year(self) -> u16 {
        self.year
    }

    /// Month, 1 to 12.
    #[must_use]
    pub fn month(self) -> u8 {
        self.month
    }

    /// Day of the month, from 1.
    #[must_use]
    pub fn day(self) -> u8 {
        self.day
    }

    /// Whole days since 1970-01-01; negative before it.
    #[must_use]
    pub fn unix_days(self) -> i64 {
        let month = i64::from(self.month);
        let year = i64::from(self.year) - i64::from(month <= 2);
        let month_from_march = (month + 9) % 12;
        let day_of_year = (153 * month_from_march + 2) / 5 + i64::from(self.day) - 1;
        let era = year.div_euclid(400);
        let year_of_era = year.rem_euclid(400);
        let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
        era * DAYS_PER_ERA + day_of_era - DAYS_TO_EPOCH
    }

    /// The day that lies so many days after 1970-01-01.
    ///
    /// # Errors
    /// [`NotADate`] outside the years 1 to 9999.
    pub fn from_unix_days(days: i64) -> Result<Self, NotADate> {
        let days = days.checked_add(DAYS_TO_EPOCH).ok_or(NotADate)?;
        let era = days.div_euclid(DAYS_PER_ERA);
        let day_of_era = days.rem_euclid(DAYS_PER_ERA);
        let year_of_era =
            (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / (DAYS_PER_ERA - 1)) / 365;
        let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let month_from_march = (5 * day_of_year + 2) / 153;
        let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
        let month = if month_from_march < 10 { month_from_march + 3 } else { month_from_march - 9 };
        let year = year_of_era + era * 400 + i64::from(month <= 2);
        let narrow = |n: i64| u8::try_from(n).map_err(|_| NotADate);
        Self::new(u16::try_from(year).map_err(|_| NotADate)?, narrow(month)?, narrow(day)?)
    }

    /// So many days later (earlier, when negative).
    ///
    /// # Errors
    /// [`NotADate`] outside the years 1 to 9999.
    pub fn add_days(self, days: i64) -> Result<Self, NotADate> {
        Self::from_unix_days(self.unix_days().checked_add(days).ok_or(NotADate)?)
    }

    /// The same day so many months later, or the last day of that month when it is shorter. Authority deadlines of
    /// "one month" count this way; that a weekend may shift them by law is left out, so the earlier day is shown.
    ///
    /// # Errors
    /// [`NotADate`] after the year 9999.
    pub fn add_months(self, months: u16) -> Result<Self, NotADate> {
        let count = u32::from(self.year) * 12 + u32::from(self.month) - 1 + u32::from(months);
        let year = u16::try_from(count / 12).map_err(|_| NotADate)?;
        let month = u8::try_from(count % 12 + 1).map_err(|_| NotADate)?;
        Self::new(year, month, self.day.min(days_in_month(year, month)))
    }

    /// Day of the week, 1 (Monday) to 7 (Sunday).
    #[must_use]
    pub fn weekday(self) -> u8 {
        // 1970-01-01 was a Thursday.
        u8::try_from((self.unix_days() + 3).rem_euclid(7) + 1).expect("a remainder of seven fits")
    }
}

impl fmt::Display for Date {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }
}

impl core::str::FromStr for Date {
    type Err = NotADate;

    fn from_str(text: &str) -> Result<Self, NotADate> {
        Self::parse(text)
    }
}

impl serde::Serialize for Date {
    fn serialize<S: serde::Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> serde::Deserialize<'de> for Date {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = <std::borrow::Cow<'de, str>>::deserialize(deserializer)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

pub(super) fn number(digits: &[u8]) -> Result<u16, NotADate> {
    digits.iter().try_fold(0u16, |sum, byte| {
        if byte.is_ascii_digit() { Ok(sum * 10 + u16::from(byte - b'0')) } else { Err(NotADate) }
    })
}

fn is_leap(year: u16) -> bool {
    year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400))
}

/// Days of a month; the month is 1 to 12.
pub(super) fn days_in_month(year: u16, month: u8) -> u8 {
    match month {
        2 if is_leap(year) => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        _ => 31,
    }
}

/// Last day on which a warranty registration is in time: the anchor is day 0, and the due day counts to its end.
///
/// # Errors
/// [`NotADate`] after the year 9999.
pub fn warranty_due(anchor: Date, days: u16) -> Result<Date, NotADate> {
    anchor.add_days(i64::from(days))
}

/// Events in the life of a unit that can only happen in this order. Makers reject registrations that break it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Milestone {
    /// It was made.
    Manufacture,
    /// It was bought.
    Purchase,
    /// It was mounted.
    Installation,
    /// It was put into service.
    Commissioning,
    /// It was registered with its maker.
    Registration,
}

/// Pairs of known events that stand in the wrong order, the one that should be earlier first. A warning, never a
/// refusal: any of the two dates may be the wrong one.
#[must_use]
pub fn out_of_order(known: &[(Milestone, Date)]) -> Vec<(Milestone, Milestone)> {
    let mut pairs: Vec<_> = known
        .iter()
        .flat_map(|(early, early_date)| {
            known
                .iter()
                .filter(move |(late, late_date)| early < late && early_date > late_date)
                .map(move |(late, _)| (*early, *late))
        })
        .collect();
    pairs.sort_unstable();
    pairs.dedup();
    pairs
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may fail")]
mod tests {
    use super::*;

    fn date(text: &str) -> Date {
        Date::parse(text).unwrap()
    }

    #[test]
    fn only_real_days_are_read() {
        for text in ["2026-02-28", "2024-02-29", "2000-02-29", "0001-01-01", "9999-12-31"] {
            assert_eq!(date(text).to_string(), text);
        }
        for text in [
            "2026-02-29",
            "2026-02-30",
            "1900-02-29",
            "2026-13-01",
            "2026-00-10",
            "2026-04-31",
            "2026-4-01",
            "2026/04/01",
            "0000-01-01",
            "2026-01-00",
            "20260101",
            "2026-01-0é",
            "+026-01-01",
        ] {
            assert_eq!(Date::parse(text), Err(NotADate), "{text}");
        }
        assert_eq!(Date::parse_compact("20260415"), Ok(date("2026-04-15")));
        assert_eq!(Date::parse_compact("20260230"), Err(NotADate));
    }

    #[test]
    fn deadlines_count_from_day_zero() {
        let anchor = date("2026-01-31");
        assert_eq!(warranty_due(anchor, 30), Ok(date("2026-03-02")));
        assert_eq!(warranty_due(anchor, 28), Ok(date("2026-02-28")));
        assert_eq!(warranty_due(anchor, 0), Ok(anchor));
        assert_eq!(anchor.add_months(1), Ok(date("2026-02-28")));
        assert_eq!(date("2026-02-28").weekday(), 6);
        assert_eq!(date("2026-12-15").add_months(1), Ok(date("2027-01-15")));
        assert_eq!(date("2023-12-31").add_months(2), Ok(date("2024-02-29")));
        assert_eq!(date("9999-12-31").add_days(1), Err(NotADate));
        assert_eq!(date("9999-12-31").add_months(1), Err(NotADate));
        assert_eq!(anchor.add_days(i64::MAX), Err(NotADate));
    }

    #[test]
    fn days_since_the_epoch() {
        for (text, days) in [("1970-01-01", 0), ("1969-12-31", -1), ("2000-03-01", 11_017), ("2026-04-15", 20_558)] {
            assert_eq!(date(text).unix_days(), days, "{text}");
            assert_eq!(Date::from_unix_days(days), Ok(date(text)));
        }
        assert_eq!(Date::from_unix_days(i64::MAX), Err(NotADate));
        assert_eq!(Date::from_unix_days(i64::MIN), Err(NotADate));
    }

    #[test]
    fn a_unit_is_made_before_it_is_used() {
        let known = [
            (Milestone::Commissioning, date("2026-03-01")),
            (Milestone::Manufacture, date("2026-03-02")),
            (Milestone::Purchase, date("2026-02-01")),
        ];
        assert_eq!(
            out_of_order(&known),
            [(Milestone::Manufacture, Milestone::Purchase), (Milestone::Manufacture, Milestone::Commissioning)]
        );
        assert_eq!(out_of_order(&[(Milestone::Purchase, known[0].1), (Milestone::Installation, known[0].1)]), []);
    }

    #[test]
    fn json_writes_the_iso_form() {
        let json = serde_json::to_string(&date("2026-04-15")).unwrap();
        assert_eq!(json, "\"2026-04-15\"");
        assert_eq!(serde_json::from_str::<Date>(&json).unwrap(), date("2026-04-15"));
        assert!(serde_json::from_str::<Date>("\"2026-02-30\"").is_err());
    }

    proptest::proptest! {
        #[test]
        fn days_and_dates_agree(days in -719_162i64..=2_932_896) {
            let date = Date::from_unix_days(days).unwrap();
            proptest::prop_assert_eq!(date.unix_days(), days);
            proptest::prop_assert_eq!(Date::parse(&date.to_string()), Ok(date));
            if let Ok(next) = date.add_days(1) {
                proptest::prop_assert!(next > date);
            }
        }

        #[test]
        fn any_text_is_answered(text in ".{0,12}") {
            let _ = Date::parse(&text);
            let _ = Date::parse_compact(&text);
        }
    }
}
