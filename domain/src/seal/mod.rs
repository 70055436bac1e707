//! A sealed pack: one file with everything of a job, which anybody can check without a server of ours.
//!
//! [`zip`] is the one way to write the archive, [`tree`] the root over headers, stamps and photos (RFC 9162), [`manifest`]
//! what the server signs, [`ready`] when it does, [`names`] what the ids of a pack are called, `verify` (feature `signatures`) what a pack proves and what it does not. Any byte that is not where the one
//! canonical form puts it is a change, so a check can be exact.
//!
//! **Never enters:** sentences, the network, private keys that are kept. Signatures need the feature
//! `signatures`, which the browser's build does not have. Start with [`manifest::Manifest`].

pub mod manifest;
pub mod names;
pub mod ready;
pub mod tree;
pub mod zip;

#[cfg(feature = "signatures")]
pub mod pack;
#[cfg(feature = "signatures")]
pub mod sample;
#[cfg(feature = "signatures")]
pub mod verify;

#[cfg(all(test, feature = "signatures"))]
mod tests;

pub use manifest::{Manifest, SealedDevice, SealedEntry, SealedNonce};
