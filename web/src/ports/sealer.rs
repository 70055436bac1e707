//! The key that this device keeps its rows under.

use super::Later;
use crate::adapters::file_bytes::FileBytes;

/// Seals what is written and opens what is read. The key cannot be read, here or anywhere.
pub trait Sealer {
    /// Seals these, each with a number of its own; what comes back begins with [`domain::tray::sealed::SEALED_MARK`]. `None`: this
    /// browser has no key and can make none.
    fn seal(&self, plain: Vec<FileBytes>) -> Later<'_, Option<Vec<FileBytes>>>;
    /// Opens these, in their order. `None` in the place of one that this key does not open.
    fn open(&self, sealed: Vec<FileBytes>) -> Later<'_, Vec<Option<FileBytes>>>;
}
