//! The key with which this installation seals. It is a setting of its own and never follows from another secret: a token
//! secret may be changed any day, and a seal is compared with this key's fingerprint for decades.

use std::fmt;
use std::sync::Arc;

use domain::ids::{Hash32, from_hex};
use domain::seal::pack::SealKey;

/// The key of this installation.
#[derive(Clone)]
pub struct Sealing(Arc<SealKey>);

impl Sealing {
    /// From 64 hexadecimal digits; `None` where they are none, or no key.
    pub fn of_hex(text: &str) -> Option<Self> {
        let secret: [u8; 32] = from_hex(text)?.try_into().ok()?;
        SealKey::of(&secret).map(Arc::new).map(Self)
    }

    /// What signs.
    pub fn key(&self) -> &SealKey {
        &self.0
    }

    /// SHA-256 of the public key, as it is printed and published.
    pub fn fingerprint(&self) -> Hash32 {
        Hash32::sha256(&self.0.public())
    }
}

impl fmt::Debug for Sealing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Sealing({})", self.fingerprint())
    }
}
