//! Chance from one seed: the same seed draws the same plan, whatever real processes then make of it.

/// A generator (SplitMix64).
#[derive(Clone, Debug)]
pub struct Chance(u64);

impl Chance {
    /// From a seed.
    pub const fn of(seed: u64) -> Self {
        Self(seed)
    }

    /// Another generator, which depends on nothing that is drawn from this one afterwards.
    pub fn fork(&mut self) -> Self {
        Self(self.bits())
    }

    /// Sixty-four bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut bits = self.0;
        bits = (bits ^ (bits >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        bits = (bits ^ (bits >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        bits ^ (bits >> 31)
    }

    /// From `low` to `high`, both included.
    pub fn between(&mut self, low: u64, high: u64) -> u64 {
        low + self.bits() % (high - low + 1)
    }

    /// One of these.
    ///
    /// # Panics
    /// There is none.
    pub fn pick<'a, T>(&mut self, all: &'a [T]) -> &'a T {
        &all[usize::try_from(self.between(0, all.len() as u64 - 1)).expect("an index")]
    }

    /// Bytes that nothing can make smaller, as those of a photo.
    pub fn noise(&mut self, length: usize) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(length + 8);
        while bytes.len() < length {
            bytes.extend_from_slice(&self.bits().to_le_bytes());
        }
        bytes.truncate(length);
        bytes
    }
}
