//! One seed, one run: a small generator of our own, so that a seed means the same for ever and on every machine.

/// SplitMix64: sixty-four bits of state, every seed a good one.
#[derive(Clone, Debug)]
pub struct Rng(u64);

impl Rng {
    /// From a seed.
    pub const fn of(seed: u64) -> Self {
        Self(seed ^ 0x5bd1_e995_9d1b_54a5)
    }

    /// The next sixty-four bits.
    pub const fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Below `n`; 0 for 0.
    pub const fn below(&mut self, n: u64) -> u64 {
        if n == 0 { 0 } else { self.bits() % n }
    }

    /// From `low` to `high`, both included.
    pub const fn between(&mut self, low: u64, high: u64) -> u64 {
        low + self.below(high - low + 1)
    }

    /// True `per_mille` times in a thousand.
    pub const fn chance(&mut self, per_mille: u64) -> bool {
        self.below(1_000) < per_mille
    }

    /// An index into something of this length.
    pub fn index(&mut self, len: usize) -> usize {
        usize::try_from(self.below(len as u64)).unwrap_or(0)
    }

    /// One of these.
    pub fn pick<'t, T>(&mut self, of: &'t [T]) -> Option<&'t T> {
        of.get(self.index(of.len()))
    }

    /// Random bytes.
    pub fn bytes<const N: usize>(&mut self) -> [u8; N] {
        let mut out = [0; N];
        for chunk in out.chunks_mut(8) {
            let bits = self.bits().to_le_bytes();
            chunk.copy_from_slice(&bits[..chunk.len()]);
        }
        out
    }
}
