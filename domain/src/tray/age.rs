//! How long something has been on this device only, and how loudly that is said: browsers forget a site that was not opened for a
//! week, and a phone can fall off a roof on any day.

/// A day.
pub const DAY_MS: u64 = 24 * 60 * 60 * 1_000;
/// From this age of the oldest unsent thing on, the person is warned.
pub const WARN_FROM_MS: u64 = 2 * DAY_MS;
/// From this age on loudly: some browsers throw everything away after seven days.
pub const URGENT_FROM_MS: u64 = 6 * DAY_MS;

/// How loudly.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Urgency {
    /// Not at all: nothing waits, or not for long.
    #[default]
    Calm,
    /// It has waited for days.
    Warn,
    /// It may be gone tomorrow.
    Urgent,
}

impl Urgency {
    /// Of what has waited since `oldest_ms`; both times are of the device's clock. A clock that was set back makes nothing old.
    pub const fn of(oldest_ms: Option<u64>, now_ms: u64) -> Self {
        let Some(oldest_ms) = oldest_ms else { return Self::Calm };
        match now_ms.saturating_sub(oldest_ms) {
            URGENT_FROM_MS.. => Self::Urgent,
            WARN_FROM_MS.. => Self::Warn,
            _ => Self::Calm,
        }
    }
}

/// Whole days between the two.
pub const fn days_between(oldest_ms: u64, now_ms: u64) -> u64 {
    now_ms.saturating_sub(oldest_ms) / DAY_MS
}

#[cfg(test)]
mod tests {
    use super::*;

    const MADE: u64 = 1_767_225_600_000;

    #[test]
    fn it_is_said_from_the_second_day_and_loudly_from_the_sixth() {
        let after = |ms: u64| Urgency::of(Some(MADE), MADE + ms);
        assert_eq!(after(0), Urgency::Calm);
        assert_eq!(after(2 * DAY_MS - 1), Urgency::Calm);
        assert_eq!(after(2 * DAY_MS), Urgency::Warn);
        assert_eq!(after(6 * DAY_MS - 1), Urgency::Warn);
        assert_eq!(after(6 * DAY_MS), Urgency::Urgent);
        assert_eq!(after(400 * DAY_MS), Urgency::Urgent);
        assert_eq!(days_between(MADE, MADE + 3 * DAY_MS - 1), 2);
    }

    #[test]
    fn nothing_and_a_clock_that_was_set_back_are_calm() {
        assert_eq!(Urgency::of(None, MADE + 100 * DAY_MS), Urgency::Calm);
        assert_eq!(Urgency::of(Some(MADE), MADE - 100 * DAY_MS), Urgency::Calm);
        assert_eq!(days_between(MADE, 0), 0);
    }
}
