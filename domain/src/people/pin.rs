//! The PIN under a countersignature: what a phone without data can tell of it, and what only the server can.
//!
//! A PIN is short, so whatever a phone could check fully it could also be searched through for. A phone therefore holds
//! eight bits of a salted hash: they catch most slips of the finger and leave one PIN in 256 standing. The judge is the server: the
//! phone seals the PIN ([`plain`], [`bound_to`]) to the server's public key and puts it into a
//! [`crate::job_file::body::CountersignProof`] beside the entry. Until the server has opened it the step counts as
//! *countersigned, to be confirmed*; a wrong PIN comes back as a finding and makes the countersignature a breach.
//!
//! The sealed bytes: an ephemeral P-256 public key (65 bytes, uncompressed), then [`PLAIN_BYTES`] under AES-256-GCM with
//! a nonce of zeros and its tag of 16. The cipher's key serves once: HKDF-SHA-256 (RFC 5869) of the shared secret, salted
//! with both public keys, for [`bound_to`].
//!
//! **Never enters:** a PIN that is kept, randomness, the sealing itself (the browser and the server have ciphers).

use crate::ids::{EntryId, PersonId};
use sha2::{Digest as _, Sha256};

/// Digits of a PIN at least and at most.
pub const DIGITS: (usize, usize) = (4, 8);
/// Bytes of an uncompressed P-256 public key.
pub const KEY_BYTES: usize = 65;
/// Bytes of [`plain`]: every PIN has as many, or its length would show.
pub const PLAIN_BYTES: usize = 1 + DIGITS.1;
/// Bytes of a sealed PIN: ephemeral key, [`plain`], tag.
pub const SEALED_BYTES: usize = KEY_BYTES + PLAIN_BYTES + 16;
/// Wrong PINs of one person in a row that the server decides by looking; every further one is wrong unseen until the person
/// sets a new PIN, for a log is no place to guess in. House rule.
pub const WRONG_MAX: u32 = 10;
/// How long the PIN before still counts, microseconds: a phone without data may hold it for days. House rule.
pub const BEFORE_COUNTS_US: u64 = 14 * 24 * 60 * 60 * 1_000_000;
/// Slips that a phone lets pass in a row before it sends the person to the lead.
pub const SLIPS_MAX: u8 = 5;

/// The eight bits that a phone holds of a PIN.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct SlipCheck {
    /// Random, drawn anew with each PIN.
    pub salt: [u8; 16],
    /// First byte of the salted hash.
    pub bits: u8,
}

/// What a phone can say at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Typed {
    /// Not four to eight digits.
    NotAPin,
    /// Certainly another PIN.
    Slip,
    /// Perhaps the right one; the server decides.
    ToBeConfirmed,
}

impl SlipCheck {
    /// The check of a PIN.
    pub fn of(pin: &str, salt: [u8; 16]) -> Self {
        let mut sha = Sha256::new();
        sha.update(b"witnessmark pin slip 1\0");
        sha.update(salt);
        sha.update(pin.as_bytes());
        Self { salt, bits: sha.finalize()[0] }
    }

    /// Looks at what was typed.
    pub fn look(&self, typed: &str) -> Typed {
        if !is_pin(typed) {
            return Typed::NotAPin;
        }
        if Self::of(typed, self.salt).bits == self.bits { Typed::ToBeConfirmed } else { Typed::Slip }
    }
}

/// Four to eight digits.
pub fn is_pin(typed: &str) -> bool {
    (DIGITS.0..=DIGITS.1).contains(&typed.len()) && typed.bytes().all(|b| b.is_ascii_digit())
}

/// What everybody tries first: one digit over and over, or digits in a row upwards or downwards.
pub fn is_tried_first(pin: &str) -> bool {
    let steps: Vec<i16> = pin.as_bytes().windows(2).map(|pair| i16::from(pair[1]) - i16::from(pair[0])).collect();
    [-1, 0, 1].iter().any(|step| steps.iter().all(|own| own == step))
}

/// What is sealed: the number of digits, the digits, zeros. `None`: not a PIN.
pub fn plain(pin: &str) -> Option<[u8; PLAIN_BYTES]> {
    let mut bytes = [0; PLAIN_BYTES];
    if !is_pin(pin) {
        return None;
    }
    bytes[0] = u8::try_from(pin.len()).ok()?;
    bytes[1..=pin.len()].copy_from_slice(pin.as_bytes());
    Some(bytes)
}

/// Reads [`plain`] back. `None`: never made by it.
pub fn of_plain(bytes: &[u8]) -> Option<String> {
    let digits = bytes.get(1..=usize::from(*bytes.first()?))?;
    let pin = std::str::from_utf8(digits).ok()?.to_owned();
    (plain(&pin)?.as_slice() == bytes).then_some(pin)
}

/// What the sealed proof is bound to: put beside another countersignature or another person, it does not open.
pub fn bound_to(countersign: EntryId, person: PersonId) -> Vec<u8> {
    let mut bytes = b"witnessmark pin proof 1\0".to_vec();
    bytes.extend_from_slice(countersign.uuid().as_bytes());
    bytes.extend_from_slice(person.uuid().as_bytes());
    bytes
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;

    #[test]
    fn a_phone_tells_slips_and_no_more() {
        let check = SlipCheck::of("4711", [3; 16]);
        assert_eq!(check.look("4711"), Typed::ToBeConfirmed);
        assert_eq!(check.look("471"), Typed::NotAPin);
        assert_eq!(check.look("471111111"), Typed::NotAPin);
        assert_eq!(check.look("47a1"), Typed::NotAPin);
        // Of all ten thousand PINs about one in 256 stands: too many to find the right one with.
        let stand = (0..10_000).filter(|pin| check.look(&format!("{pin:04}")) == Typed::ToBeConfirmed).count();
        assert!((15..=75).contains(&stand), "{stand}");
    }

    #[test]
    fn what_is_sealed_does_not_show_its_length_and_reads_back() {
        for pin in ["0000", "4711", "12345678"] {
            assert_eq!(of_plain(&plain(pin).unwrap()).as_deref(), Some(pin));
        }
        for wrong in ["", "123", "123456789", "12a4", "１２３４"] {
            assert_eq!(plain(wrong), None, "{wrong}");
        }
        for bytes in [&b"\x04471"[..], b"\x044711\0\0\0\x01", b"\x094711\0\0\0\0", b"\x0447a1\0\0\0\0", b""] {
            assert_eq!(of_plain(bytes), None, "{bytes:?}");
        }
    }

    #[test]
    fn what_everybody_tries_first_is_known() {
        for pin in ["0000", "1234", "98765", "99999999"] {
            assert!(is_tried_first(pin), "{pin}");
        }
        for pin in ["4711", "1212", "1235", "1357"] {
            assert!(!is_tried_first(pin), "{pin}");
        }
    }

    #[test]
    fn a_proof_belongs_to_one_countersignature() {
        let id = |number| EntryId::of(crate::ids::uuid_v7(1, &[number; 10]));
        let person = PersonId::of(crate::ids::uuid_v7(1, &[9; 10]));
        assert_ne!(bound_to(id(1), person), bound_to(id(2), person));
    }
}
