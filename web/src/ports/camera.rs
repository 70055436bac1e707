//! Photos from the device, as far as the app must know.

use crate::adapters::file_bytes::FileBytes;
use domain::ids::{CaptureId, Hash32};
use domain::job_file::body::{PhotoFile, PhotoOrigin};

/// Why a chosen file is no photo.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PhotoRefusal {
    /// It has no bytes.
    Empty,
    /// By its leading bytes it is no picture of a kind that is kept.
    NotAPicture,
    /// Larger than the server takes ([`domain::wire::limits::PHOTO_BYTES_MAX`]).
    TooLarge,
    /// The browser could not read it.
    Unreadable,
}

/// An untouched file, read and named by its hash.
#[derive(Clone, Debug)]
pub struct Original {
    /// Hash, size, pixels, type.
    pub file: PhotoFile,
    /// The bytes.
    pub bytes: FileBytes,
    /// The act of capture.
    pub capture: CaptureId,
    /// When it was taken, by the file or else by the clock; milliseconds since 1970 UTC: a claim.
    pub taken_ms: u64,
    /// Camera or gallery.
    pub origin: PhotoOrigin,
}

/// A small upright picture made of an original.
#[derive(Clone, Debug)]
pub struct Preview {
    /// Hash, size, pixels, type.
    pub file: PhotoFile,
    /// The bytes.
    pub bytes: FileBytes,
}

/// Both, ready to be written with the entry that names them.
#[derive(Clone, Debug)]
pub struct TakenPhoto {
    /// The untouched file.
    pub original: Original,
    /// Absent where the device could not make one.
    pub preview: Option<Preview>,
}

impl TakenPhoto {
    /// The original's hash.
    pub const fn hash(&self) -> Hash32 {
        self.original.file.hash
    }
}
