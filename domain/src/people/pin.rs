//! The PIN under a countersignature: what a phone without data can tell of it, and what only the server can.
//!
//! A PIN is short, so whatever a phone could check fully it could also be searched through for. A phone therefore holds
//! eight bits of a salted hash: they catch most slips of the finger and leave one PIN in 256 standing. The judge is the server: the
//! phone makes argon2id of the PIN ([`COST`]), seals it to the server's public key and puts it into a
//! [`crate::job_file::body::CountersignProof`] beside the entry. Until the server has opened it the step counts as
//! *countersigned, to be confirmed*; a wrong PIN comes back as a finding and makes the countersignature a breach.
//!
//! **Never enters:** a PIN that is kept, randomness, the sealing itself (the browser and the server have ciphers).

use crate::ids::{EntryId, PersonId};
use sha2::{Digest as _, Sha256};

/// argon2id: memory in KiB, passes, lanes. RFC 9106 names 64 MiB for small machines; a phone behind a camera has less.
pub const COST: (u32, u32, u32) = (19_456, 2, 1);
/// Digits of a PIN at least and at most.
pub const DIGITS: (usize, usize) = (4, 8);
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
        let digits = typed.bytes().all(|b| b.is_ascii_digit());
        if !digits || typed.len() < DIGITS.0 || typed.len() > DIGITS.1 {
            return Typed::NotAPin;
        }
        if Self::of(typed, self.salt).bits == self.bits { Typed::ToBeConfirmed } else { Typed::Slip }
    }
}

/// What the sealed proof is bound to: put beside another countersignature or another person, it does not open.
pub fn bound_to(countersign: EntryId, person: PersonId) -> Vec<u8> {
    let mut bytes = b"witnessmark pin proof 1\0".to_vec();
    bytes.extend_from_slice(countersign.uuid().as_bytes());
    bytes.extend_from_slice(person.uuid().as_bytes());
    bytes
}

#[cfg(test)]
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
    fn a_proof_belongs_to_one_countersignature() {
        let id = |number| EntryId::of(crate::ids::uuid_v7(1, &[number; 10]));
        let person = PersonId::of(crate::ids::uuid_v7(1, &[9; 10]));
        assert_ne!(bound_to(id(1), person), bound_to(id(2), person));
    }
}
