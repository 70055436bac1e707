//! Dates as labels carry them: without a century, sometimes without a day.
//!
//! A [`ScanDate`] is what was read; it becomes a [`LabelDate`] once the caller says which year it is now.

use super::dates::{Date, NotADate, days_in_month, number};

/// The full year of a two-digit one, by the GS1 rule: at most 50 years ahead and less than 50 back.
///
/// ```
/// use domain::identification::full_year;
/// assert_eq!((full_year(76, 2026), full_year(77, 2026)), (2076, 1977));
/// ```
#[must_use]
pub fn full_year(year_of_century: u8, this_year: u16) -> u16 {
    let here = i32::from(this_year);
    let ahead = i32::from(year_of_century) - here % 100;
    let century = here / 100
        + match ahead {
            51.. => -1,
            ..=-50 => 1,
            _ => 0,
        };
    u16::try_from(century * 100 + i32::from(year_of_century)).unwrap_or(0)
}

/// A date as a label carries it, checked as far as that goes without the century.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ScanDate {
    /// A day of a year without its century.
    Day {
        /// Last two digits of the year.
        year: u8,
        /// 1 to 12.
        month: u8,
        /// From 1.
        day: u8,
    },
    /// A month, its day not given.
    Month {
        /// Last two digits of the year.
        year: u8,
        /// 1 to 12.
        month: u8,
    },
    /// The last day of a month.
    MonthEnd {
        /// Last two digits of the year.
        year: u8,
        /// 1 to 12.
        month: u8,
    },
    /// A week by ISO 8601.
    Week {
        /// Last two digits of the year.
        year: u8,
        /// 1 to 53.
        week: u8,
    },
    /// A whole date.
    Full(Date),
}

impl ScanDate {
    /// Reads `YYMMDD`. Day 00 is the last of the month where the identifier says so, else it is unknown.
    ///
    /// # Errors
    /// [`NotADate`] when no century has that day.
    pub fn parse_short(text: &str, zero_is_month_end: bool) -> Result<Self, NotADate> {
        let bytes = text.as_bytes();
        if bytes.len() != 6 {
            return Err(NotADate);
        }
        let two = |at: usize| number(&bytes[at..at + 2]).and_then(|n| u8::try_from(n).map_err(|_| NotADate));
        let (year, month, day) = (two(0)?, two(2)?, two(4)?);
        // 2000 was a leap year, so year 00 has a 29 February in some century; the others agree in all of them.
        let sample = 2000 + u16::from(year);
        if day == 0 {
            Date::new(sample, month, 1)?;
            return Ok(if zero_is_month_end { Self::MonthEnd { year, month } } else { Self::Month { year, month } });
        }
        Date::new(sample, month, day)?;
        Ok(Self::Day { year, month, day })
    }

    /// Reads `YYWW`.
    ///
    /// # Errors
    /// [`NotADate`] for a week outside 1 to 53.
    pub fn parse_week(text: &str) -> Result<Self, NotADate> {
        let bytes = text.as_bytes();
        if bytes.len() != 4 {
            return Err(NotADate);
        }
        let two = |at: usize| number(&bytes[at..at + 2]).and_then(|n| u8::try_from(n).map_err(|_| NotADate));
        let (year, week) = (two(0)?, two(2)?);
        if (1..=53).contains(&week) { Ok(Self::Week { year, week }) } else { Err(NotADate) }
    }

    /// The date with its century, as seen from this year.
    ///
    /// # Errors
    /// [`NotADate`] when that century lacks the day (29 February 2100) or that year the week 53.
    pub fn resolve(self, this_year: u16) -> Result<LabelDate, NotADate> {
        let full = |year: u8| full_year(year, this_year);
        match self {
            Self::Day { year, month, day } => Date::new(full(year), month, day).map(LabelDate::Day),
            Self::Month { year, month } => {
                Date::new(full(year), month, 1).map(|first| LabelDate::Month { year: first.year(), month })
            }
            Self::MonthEnd { year, month } => {
                Date::new(full(year), month, days_in_month(full(year), month)).map(LabelDate::Day)
            }
            Self::Week { year, week } => {
                week_start(full(year), week).map(|_| LabelDate::Week { year: full(year), week })
            }
            Self::Full(date) => Ok(LabelDate::Day(date)),
        }
    }
}

/// Monday of a week by ISO 8601: week 1 is the one with 4 January in it.
fn week_start(year: u16, week: u8) -> Result<Date, NotADate> {
    let fourth = Date::new(year, 1, 4)?;
    let first_monday = fourth.add_days(1 - i64::from(fourth.weekday()))?;
    let monday = first_monday.add_days(7 * (i64::from(week) - 1))?;
    // The Thursday says which year a week belongs to.
    if monday.add_days(3)?.year() == year { Ok(monday) } else { Err(NotADate) }
}

/// A date on a label, as exact as the label gives it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum LabelDate {
    /// A day.
    Day(Date),
    /// A month.
    Month {
        /// 1 to 9999.
        year: u16,
        /// 1 to 12.
        month: u8,
    },
    /// A week by ISO 8601.
    Week {
        /// 1 to 9999.
        year: u16,
        /// 1 to 53.
        week: u8,
    },
}

impl LabelDate {
    /// First and last day that it can mean.
    ///
    /// # Errors
    /// [`NotADate`] for a value made by hand that the calendar lacks.
    pub fn span(self) -> Result<(Date, Date), NotADate> {
        match self {
            Self::Day(date) => Ok((date, date)),
            Self::Month { year, month } => {
                let first = Date::new(year, month, 1)?;
                Ok((first, Date::new(year, month, days_in_month(year, month))?))
            }
            Self::Week { year, week } => {
                let monday = week_start(year, week)?;
                Ok((monday, monday.add_days(6)?))
            }
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may fail")]
mod tests {
    use super::*;

    fn date(text: &str) -> Date {
        Date::parse(text).unwrap()
    }

    #[test]
    fn the_century_follows_this_year() {
        for (short, this_year, full) in
            [(76, 2026, 2076), (77, 2026, 1977), (26, 2026, 2026), (0, 2099, 2100), (49, 2099, 2149), (50, 2099, 2050)]
        {
            assert_eq!(full_year(short, this_year), full, "{short} in {this_year}");
        }
    }

    #[test]
    fn day_zero_means_what_the_identifier_says() {
        let resolved = |text: &str, month_end: bool| {
            ScanDate::parse_short(text, month_end).and_then(|scanned| scanned.resolve(2026))
        };
        assert_eq!(resolved("260200", true), Ok(LabelDate::Day(date("2026-02-28"))));
        assert_eq!(resolved("240200", true), Ok(LabelDate::Day(date("2024-02-29"))));
        assert_eq!(resolved("260200", false), Ok(LabelDate::Month { year: 2026, month: 2 }));
        assert_eq!(resolved("260415", false), Ok(LabelDate::Day(date("2026-04-15"))));
        assert_eq!(resolved("260230", false), Err(NotADate));
        assert_eq!(resolved("261300", true), Err(NotADate));
        assert_eq!(resolved("26041", false), Err(NotADate));
        assert_eq!(ScanDate::parse_short("000229", false).unwrap().resolve(2080), Err(NotADate));
    }

    #[test]
    fn weeks_have_seven_days() {
        let week = ScanDate::parse_week("2616").unwrap().resolve(2026).unwrap();
        assert_eq!(week, LabelDate::Week { year: 2026, week: 16 });
        assert_eq!(week.span(), Ok((date("2026-04-13"), date("2026-04-19"))));
        assert_eq!(ScanDate::parse_week("2653").unwrap().resolve(2026).unwrap().span().unwrap().0, date("2026-12-28"));
        assert_eq!(ScanDate::parse_week("2553").unwrap().resolve(2026), Err(NotADate));
        assert_eq!(ScanDate::parse_week("2600"), Err(NotADate));
        let month = LabelDate::Month { year: 2026, month: 2 };
        assert_eq!(month.span(), Ok((date("2026-02-01"), date("2026-02-28"))));
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_answered(text in ".{0,8}", this_year in proptest::num::u16::ANY) {
            for scanned in [ScanDate::parse_short(&text, true), ScanDate::parse_week(&text)].into_iter().flatten() {
                if let Ok(date) = scanned.resolve(this_year) {
                    let (first, last) = date.span().unwrap();
                    proptest::prop_assert!(first <= last);
                }
            }
        }
    }
}
