//! The key of this enrolment.

use super::Later;

/// Signs what this device writes. The key cannot be read, here or anywhere.
pub trait Signer {
    /// Signatures over these bytes, in their order: P-256 over SHA-256, 64 bytes each, r then s. `None`: this browser has no
    /// key and can make none, or did not answer in time.
    fn sign(&self, texts: Vec<Vec<u8>>) -> Later<'_, Option<Vec<Vec<u8>>>>;
    /// The public half, uncompressed SEC 1.
    fn public(&self) -> Later<'_, Option<Vec<u8>>>;
}
