//! A real write of the store, read back and removed.

use super::JobStore;
use crate::ports::local_store::{Space, StoreError};
use domain::tray::Probe;

/// In the space whose writes are on the disk when they are said to be.
const SPACE: Space = Space::App;
const NAME: &str = "probe";

/// So many bytes, not all alike: nothing that shortens rows has an easy time.
pub fn trial(bytes: usize) -> Vec<u8> {
    (0..bytes).map(|at| (at.wrapping_mul(2_654_435_761) >> 13).to_le_bytes()[0]).collect()
}

impl JobStore {
    /// How it went; `None`: the store is shut for a reason of its own, which is told elsewhere.
    pub(crate) async fn probe(&self, bytes: usize) -> Option<Probe> {
        let (local, trial) = (&self.0.local, trial(bytes));
        let written = async {
            local.put_text(SPACE, NAME.to_owned(), trial.clone()).await?;
            let read = local.text(SPACE, NAME.to_owned()).await?;
            local.delete_text(SPACE, NAME.to_owned()).await?;
            Ok(read.as_ref() == Some(&trial))
        };
        match written.await {
            Ok(true) => Some(Probe::Kept),
            Ok(false) => Some(Probe::Lost),
            Err(StoreError::QuotaExceeded) => Some(Probe::Full),
            Err(StoreError::NoDatabase | StoreError::Refused(_)) => Some(Probe::Refused),
            Err(StoreError::ConnectionLost | StoreError::Blocked | StoreError::NewerData | StoreError::KeyLost) => None,
        }
    }
}
