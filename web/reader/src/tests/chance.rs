//! The same numbers in every run.

/// Numbers from a seed.
pub struct Chance(u64);

impl Chance {
    pub fn of(seed: u64) -> Self {
        Self(seed)
    }

    /// A step of the generator that its author named SplitMix64.
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// From 0 to below 1.
    pub fn part(&mut self) -> f64 {
        f64::from(u32::try_from(self.next() >> 32).unwrap_or(0)) / 4_294_967_296.0
    }

    pub fn between(&mut self, least: f64, most: f64) -> f64 {
        least + (most - least) * self.part()
    }

    /// Mean 0 and spread 1, near enough to a bell: twelve draws.
    pub fn bell(&mut self) -> f64 {
        (0..12).map(|_| self.part()).sum::<f64>() - 6.0
    }
}
