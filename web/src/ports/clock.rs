//! Time and chance.

use domain::ids::{CaptureId, EntryId, uuid_v7};

/// The device's clocks. The wall clock is a claim; nothing may depend on it being right.
pub trait Clock {
    /// Microseconds since 1970 UTC, by the device.
    fn now_us(&self) -> u64;
    /// Milliseconds of the running page; never goes back, and stands still where the page sleeps.
    fn monotonic_ms(&self) -> u64;
    /// Milliseconds since 1970 UTC, by the device.
    fn now_ms(&self) -> u64 {
        self.now_us() / 1_000
    }
}

/// Random bytes, and the names made of them.
pub trait Ids {
    /// Fills a buffer with random bytes.
    fn fill(&self, bytes: &mut [u8]);

    /// A new entry's id. Made when a screen opens, so that a second tap is the same entry.
    fn entry(&self, now_ms: u64) -> EntryId {
        let mut random = [0; 10];
        self.fill(&mut random);
        EntryId::of(uuid_v7(now_ms, &random))
    }
    /// A new capture's id.
    fn capture(&self, now_ms: u64) -> CaptureId {
        let mut random = [0; 10];
        self.fill(&mut random);
        CaptureId::of(uuid_v7(now_ms, &random))
    }
    /// The salt of a body.
    fn salt(&self) -> [u8; 16] {
        let mut salt = [0; 16];
        self.fill(&mut salt);
        salt
    }
    /// A random number, for backoff.
    fn jitter(&self) -> u32 {
        let mut random = [0; 4];
        self.fill(&mut random);
        u32::from_be_bytes(random)
    }
}
