//! Chance.

use crate::ports::clock::Ids;

/// The browser's random numbers.
#[derive(Clone, Copy, Debug, Default)]
pub struct DeviceIds;

impl Ids for DeviceIds {
    fn fill(&self, bytes: &mut [u8]) {
        getrandom::fill(bytes).expect("every browser that runs this app has a random source");
    }
}
