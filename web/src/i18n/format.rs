//! Numbers, dates and spans as people of a language write them. Pure: the offset of the local time zone is an argument.

use super::Words;
use crate::{key, t, tn};

const MICRO: u64 = 1_000_000;
const SECOND_US: i64 = 1_000_000;
const MINUTE_S: i64 = 60;
const HOUR_S: i64 = 3_600;
const DAY_S: i64 = 86_400;
/// Places that a micro unit has.
const MOST_PLACES: u32 = 6;

/// A day of the calendar.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Day {
    /// Year of our era.
    pub year: i32,
    /// 1 to 12.
    pub month: u8,
    /// 1 to 31.
    pub day: u8,
}

impl Day {
    /// Reads `YYYY-MM-DD`; `None` for anything that is no day.
    pub fn parse(text: &str) -> Option<Self> {
        let mut parts = text.split('-');
        let (year, month, day) = (parts.next()?, parts.next()?, parts.next()?);
        if parts.next().is_some() || year.len() != 4 || month.len() != 2 || day.len() != 2 {
            return None;
        }
        let this = Self { year: year.parse().ok()?, month: month.parse().ok()?, day: day.parse().ok()? };
        // A day that does not exist comes back as another one.
        ((1..=12).contains(&this.month) && Self::of_number(this.number()) == this).then_some(this)
    }

    /// The local day of a moment; `offset_minutes` is what local time is ahead of UTC.
    pub fn of_us(us: i64, offset_minutes: i32) -> Self {
        Self::of_number((us.div_euclid(SECOND_US) + i64::from(offset_minutes) * MINUTE_S).div_euclid(DAY_S))
    }

    /// `YYYY-MM-DD`.
    pub fn iso(self) -> String {
        format!("{:04}-{:02}-{:02}", self.year, self.month, self.day)
    }

    /// Days since 1970-01-01.
    pub fn number(self) -> i64 {
        // Years begin in March here, so that the odd day of a leap year is the last one.
        let year = i64::from(self.year) - i64::from(self.month <= 2);
        let month = (i64::from(self.month) + 9) % 12;
        let day_of_year = (153 * month + 2) / 5 + i64::from(self.day) - 1;
        let (era, year_of_era) = (year.div_euclid(400), year.rem_euclid(400));
        era * 146_097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year - 719_468
    }

    /// The day with this number since 1970-01-01.
    pub fn of_number(number: i64) -> Self {
        let shifted = number + 719_468;
        let (era, day_of_era) = (shifted.div_euclid(146_097), shifted.rem_euclid(146_097));
        let year_of_era = (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
        let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
        let month_from_march = (5 * day_of_year + 2) / 153;
        let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
        let month = if month_from_march < 10 { month_from_march + 3 } else { month_from_march - 9 };
        let year = era * 400 + year_of_era + i64::from(month <= 2);
        Self { year: year as i32, month: month as u8, day: day as u8 }
    }

    /// 1 (Monday) to 7 (Sunday).
    pub fn weekday(self) -> u8 {
        ((self.number() + 3).rem_euclid(7) + 1) as u8
    }
}

impl Words {
    /// A number of micro units with at most so many places, half away from zero; no grouping, which differs too much to be read safely.
    ///
    /// `1_234_500` with 2 places is `1.23` or `1,23`.
    pub fn number(self, micro: i64, places: u32) -> String {
        let places = places.min(MOST_PLACES);
        let step = 10_u64.pow(MOST_PLACES - places);
        let rounded = (micro.unsigned_abs() + step / 2) / step;
        let scale = MICRO / step;
        let sign = if micro < 0 && rounded > 0 { "\u{2212}" } else { "" };
        if places == 0 {
            return format!("{sign}{rounded}");
        }
        let (whole, part) = (rounded / scale, rounded % scale);
        format!("{sign}{whole}{}{part:0width$}", self.decimal.sign(), width = places as usize)
    }

    /// The same without zeros at the end: for values that somebody typed.
    pub fn number_short(self, micro: i64) -> String {
        let long = self.number(micro, MOST_PLACES);
        long.trim_end_matches('0').trim_end_matches(self.decimal.sign()).to_owned()
    }

    /// A size of a file.
    pub fn bytes(self, bytes: u64) -> String {
        const KILO: u64 = 1_000;
        if bytes < KILO * KILO {
            t!(self, "format.kilobytes", n = bytes.div_ceil(KILO))
        } else if bytes < KILO * KILO * KILO {
            t!(self, "format.megabytes", n = self.number(i64::try_from(bytes).unwrap_or(i64::MAX), 1))
        } else {
            t!(self, "format.gigabytes", n = self.number(i64::try_from(bytes / KILO).unwrap_or(i64::MAX), 1))
        }
    }

    /// 25 Nov 2026
    pub fn day(self, day: Day) -> String {
        t!(self, "date.day", day = day.day, month = self.month(day.month), year = day.year)
    }

    /// A day that came as `YYYY-MM-DD`; what is no day is shown as it stands.
    pub fn day_text(self, iso: &str) -> String {
        Day::parse(iso).map_or_else(|| iso.to_owned(), |day| self.day(day))
    }

    /// Wed 25 Nov 2026
    pub fn weekday_and_day(self, day: Day) -> String {
        t!(self, "date.weekday_and_day", weekday = self.weekday(day.weekday()), day = self.day(day))
    }

    /// Wed 25 Nov: for the days of a plan, whose year is clear.
    pub fn weekday_day_month(self, day: Day) -> String {
        t!(
            self,
            "date.weekday_day_month",
            weekday = self.weekday(day.weekday()),
            day = day.day,
            month = self.month(day.month)
        )
    }

    /// 14:05
    pub fn clock(self, us: i64, offset_minutes: i32) -> String {
        let seconds = (us.div_euclid(SECOND_US) + i64::from(offset_minutes) * MINUTE_S).rem_euclid(DAY_S);
        format!("{:02}:{:02}", seconds / HOUR_S, seconds % HOUR_S / MINUTE_S)
    }

    /// 25 Nov 2026, 14:05
    pub fn moment(self, us: i64, offset_minutes: i32) -> String {
        t!(self, "date.moment", day = self.day(Day::of_us(us, offset_minutes)), time = self.clock(us, offset_minutes))
    }

    /// How long ago, roughly; the day where it is more than a day.
    pub fn ago(self, now_us: i64, then_us: i64, offset_minutes: i32) -> String {
        let seconds = (now_us - then_us).div_euclid(SECOND_US);
        if seconds < MINUTE_S {
            t!(self, "format.just_now").to_owned()
        } else if seconds < HOUR_S {
            t!(self, "format.minutes_ago", n = seconds / MINUTE_S)
        } else if seconds < DAY_S {
            t!(self, "format.hours_ago", n = seconds / HOUR_S)
        } else {
            self.moment(then_us, offset_minutes)
        }
    }

    /// 4:05, for a wait that runs down; hours in front where there are some.
    pub fn countdown(self, seconds: u64) -> String {
        let (hours, minutes, rest) = (seconds / 3_600, seconds % 3_600 / 60, seconds % 60);
        if hours > 0 { format!("{hours}:{minutes:02}:{rest:02}") } else { format!("{minutes}:{rest:02}") }
    }

    /// 5 minutes; 90 seconds.
    pub fn span(self, seconds: u64) -> String {
        if seconds >= 120 || (seconds >= 60 && seconds.is_multiple_of(60)) {
            tn!(self, "format.minutes", seconds.div_ceil(60))
        } else {
            tn!(self, "format.seconds", seconds)
        }
    }

    fn month(self, month: u8) -> &'static str {
        self.say(match month {
            1 => key!("date.month.01"),
            2 => key!("date.month.02"),
            3 => key!("date.month.03"),
            4 => key!("date.month.04"),
            5 => key!("date.month.05"),
            6 => key!("date.month.06"),
            7 => key!("date.month.07"),
            8 => key!("date.month.08"),
            9 => key!("date.month.09"),
            10 => key!("date.month.10"),
            11 => key!("date.month.11"),
            _ => key!("date.month.12"),
        })
    }

    fn weekday(self, weekday: u8) -> &'static str {
        self.say(match weekday {
            1 => key!("date.weekday.1"),
            2 => key!("date.weekday.2"),
            3 => key!("date.weekday.3"),
            4 => key!("date.weekday.4"),
            5 => key!("date.weekday.5"),
            6 => key!("date.weekday.6"),
            _ => key!("date.weekday.7"),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::i18n::{Decimal, Lang};

    const COMMA: Words = Words { lang: Lang::De, decimal: Decimal::Comma };

    #[test]
    fn numbers_take_the_sign_of_the_person_and_round_away_from_zero() {
        let point = Words::default();
        assert_eq!(point.number(1_235_000, 2), "1.24");
        assert_eq!(COMMA.number(-1_235_000, 2), "\u{2212}1,24");
        assert_eq!(point.number(-400, 2), "0.00");
        assert_eq!(point.number(53_500_000, 0), "54");
        assert_eq!(COMMA.number_short(1_500_000), "1,5");
        assert_eq!(COMMA.number_short(20_000_000), "20");
        assert_eq!(point.number(i64::MIN, 6), "\u{2212}9223372036854.775808");
    }

    #[test]
    fn days_exist_or_are_refused() {
        assert_eq!(Day::parse("2024-02-29").map(Day::number), Some(19_782));
        for wrong in ["2023-02-29", "2024-13-01", "2024-00-10", "2024-1-1", "24-01-01", "2024-04-31", ""] {
            assert_eq!(Day::parse(wrong), None, "{wrong}");
        }
        assert_eq!(Day::of_number(0), Day { year: 1970, month: 1, day: 1 });
        assert_eq!(Day::of_number(0).weekday(), 4);
        for number in [-719_468, -1, 11_016, 19_782, 2_932_896] {
            assert_eq!(Day::of_number(number).number(), number);
        }
    }

    #[test]
    fn a_moment_is_local() {
        // 2026-11-25 23:30 UTC is the next day an hour east.
        let us = 1_795_649_400 * 1_000_000;
        assert_eq!(Day::of_us(us, 0).iso(), "2026-11-25");
        assert_eq!(Day::of_us(us, 60).iso(), "2026-11-26");
        assert_eq!(Words::default().clock(us, 60), "00:30");
        assert!(COMMA.moment(us, 0).contains("23:30"));
    }

    #[test]
    fn spans_are_whole_sentences() {
        let w = Words::default();
        assert_eq!(w.countdown(245), "4:05");
        assert_eq!(w.countdown(3_661), "1:01:01");
        assert_eq!(w.span(300), tn!(w, "format.minutes", 5));
        assert_eq!(w.span(90), tn!(w, "format.seconds", 90));
    }
}
