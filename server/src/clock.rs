//! The one place that reads the time and, with `auth`, the one that draws random numbers.
//!
//! Start with [`Clock::now_us`]. **Never enters:** time zones and calendars; they belong to whoever shows a day.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{SystemTime, UNIX_EPOCH};

use uuid::Uuid;

/// Microseconds of a second.
pub const SECOND_US: i64 = 1_000_000;
/// Microseconds of a day.
pub const DAY_US: i64 = 24 * 60 * 60 * SECOND_US;

/// The machine's clock, which tests may move.
#[derive(Clone, Debug, Default)]
pub struct Clock {
    shift_us: Arc<AtomicI64>,
}

impl Clock {
    /// The machine's clock.
    pub fn system() -> Self {
        Self::default()
    }

    /// Microseconds since 1970 UTC, as the database keeps them.
    #[allow(clippy::disallowed_methods, reason = "this is the place")]
    pub fn now_us(&self) -> i64 {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
        i64::try_from(since.as_micros()).unwrap_or(i64::MAX) + self.shift_us.load(Ordering::Relaxed)
    }

    /// The same as the sync messages carry it.
    pub fn now_wire_us(&self) -> u64 {
        u64::try_from(self.now_us()).unwrap_or(0)
    }

    /// Moves this clock and all its clones; for tests, which cannot wait for a token to run out.
    pub fn advance(&self, by_us: i64) {
        self.shift_us.fetch_add(by_us, Ordering::Relaxed);
    }

    /// A new id, in the order of time.
    pub fn new_id(&self) -> Uuid {
        let ms = u64::try_from(self.now_us() / 1_000).unwrap_or(0);
        domain::ids::uuid_v7(ms, &rand::random())
    }

    /// Sixty-four random bits.
    pub fn new_bits(&self) -> u64 {
        rand::random()
    }

    /// Sixteen random bytes.
    pub fn new_salt(&self) -> [u8; 16] {
        rand::random()
    }
}
