//! The device's clocks.
#![allow(clippy::disallowed_methods, reason = "adapters read the browser's clock")]

use crate::ports::clock::Clock;

/// The browser's clocks; natively, those of the machine that runs the tests.
#[derive(Clone, Copy, Debug, Default)]
pub struct DeviceClock;

#[cfg(target_arch = "wasm32")]
impl Clock for DeviceClock {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a time in milliseconds fits by far")]
    fn now_us(&self) -> u64 {
        js_sys::Date::now().max(0.0) as u64 * 1_000
    }

    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a time in milliseconds fits by far")]
    fn monotonic_ms(&self) -> u64 {
        web_sys::window().and_then(|window| window.performance()).map_or(0.0, |performance| performance.now()) as u64
    }
}

#[cfg(not(target_arch = "wasm32"))]
impl Clock for DeviceClock {
    fn now_us(&self) -> u64 {
        let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH).unwrap_or_default();
        u64::try_from(since.as_micros()).unwrap_or(u64::MAX)
    }

    fn monotonic_ms(&self) -> u64 {
        self.now_us() / 1_000
    }
}
