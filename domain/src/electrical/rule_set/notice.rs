//! When a notice is due.

use crate::identification::{Date, NotADate};

/// How the days of a deadline are counted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Basis {
    /// The answer must be there before the system is switched on; no days run.
    Before,
    /// Days of the calendar after commissioning.
    Days,
    /// Days without weekends and without the holidays that hold in every participating jurisdiction.
    BusinessDays,
    /// Months of the calendar after commissioning.
    Months,
}

impl Basis {
    pub(super) fn from_word(word: &str) -> Option<Basis> {
        Some(match word {
            "before" => Basis::Before,
            "days" => Basis::Days,
            "business_days" => Basis::BusinessDays,
            "months" => Basis::Months,
            _ => return None,
        })
    }
}

/// The last day of a notice after the day of commissioning; `None` when it must be there before.
///
/// `holidays` are those that hold everywhere in the scheme: a holiday of some states only is a business day.
///
/// # Errors
/// A day beyond the calendar.
pub fn due(commissioned: Date, count: u16, basis: Basis, holidays: &[Date]) -> Result<Option<Date>, NotADate> {
    let day = match basis {
        Basis::Before => return Ok(None),
        Basis::Days => commissioned.add_days(i64::from(count))?,
        Basis::Months => commissioned.add_months(count)?,
        Basis::BusinessDays => {
            let (mut day, mut left) = (commissioned, count);
            while left > 0 {
                day = day.add_days(1)?;
                left -= u16::from(is_business_day(day, holidays));
            }
            day
        }
    };
    Ok(Some(day))
}

fn is_business_day(day: Date, holidays: &[Date]) -> bool {
    day.weekday() <= 5 && !holidays.contains(&day)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(text: &str) -> Date {
        Date::parse(text).expect("tests write dates")
    }

    #[test]
    fn twenty_business_days_over_easter() {
        let easter = [day("2026-04-03"), day("2026-04-06")];
        let end = due(day("2026-03-27"), 20, Basis::BusinessDays, &easter);
        assert_eq!(end, Ok(Some(day("2026-04-28"))));
        assert_eq!(due(day("2026-03-27"), 20, Basis::BusinessDays, &[]), Ok(Some(day("2026-04-24"))));
        // A weekend counts nothing.
        assert_eq!(due(day("2026-03-27"), 1, Basis::BusinessDays, &[]), Ok(Some(day("2026-03-30"))));
    }

    #[test]
    fn calendar_days_and_months() {
        assert_eq!(due(day("2026-02-01"), 28, Basis::Days, &[]), Ok(Some(day("2026-03-01"))));
        assert_eq!(due(day("2026-01-31"), 1, Basis::Months, &[]), Ok(Some(day("2026-02-28"))));
        assert_eq!(due(day("2026-01-31"), 0, Basis::Before, &[]), Ok(None));
    }
}
