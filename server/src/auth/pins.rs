//! PINs under countersignatures: the key that phones seal them to, and opening what they sealed.
//!
//! A firm's key follows from the token secret, so no process has to share more than that secret, and a backup of the
//! database opens no PIN. Once the secret is changed, what was sealed before stays undecided and the screens say so.

use aes_gcm::aead::{Aead as _, KeyInit as _};
use aes_gcm::{Aes256Gcm, Nonce};
use domain::ids::{EntryId, FirmId, Hash32, PersonId};
use domain::people::pin::{self, KEY_BYTES, SEALED_BYTES};
use hkdf::Hkdf;
use p256::elliptic_curve::sec1::ToEncodedPoint as _;
use p256::{PublicKey, SecretKey};
use sha2::Sha256;

const LABEL: &[u8] = b"witnessmark pin key 1";

/// A firm's key.
pub struct PinKey {
    secret: SecretKey,
    public: Vec<u8>,
}

impl PinKey {
    /// The key of a firm on a server with this token secret.
    pub fn of_firm(token_secret: &[u8], firm: FirmId) -> Self {
        let source = Hkdf::<Sha256>::new(Some(LABEL), token_secret);
        let mut bytes = [0; 32];
        // A draw that is no scalar of the curve comes once in 2^32; the next number gives another.
        for number in 0..=u8::MAX {
            let info = [firm.uuid().as_bytes().as_slice(), &[number]].concat();
            source.expand(&info, &mut bytes).expect("32 bytes are less than 255 hashes");
            if let Ok(secret) = SecretKey::from_slice(&bytes) {
                let public = point(&secret.public_key());
                return Self { secret, public };
            }
        }
        unreachable!("256 draws in a row that are no scalar of the curve")
    }

    /// What phones seal to: an uncompressed point.
    pub fn public(&self) -> &[u8] {
        &self.public
    }

    /// By what a proof names it.
    pub fn name(&self) -> Hash32 {
        Hash32::sha256(&self.public)
    }

    /// The PIN that was sealed for this countersignature and person. `None`: nothing that our app makes.
    pub fn open(&self, sealed: &[u8], countersign: EntryId, person: PersonId) -> Option<String> {
        if sealed.len() != SEALED_BYTES {
            return None;
        }
        let (theirs, box_) = sealed.split_at(KEY_BYTES);
        let their_key = PublicKey::from_sec1_bytes(theirs).ok()?;
        let shared = p256::ecdh::diffie_hellman(self.secret.to_nonzero_scalar(), their_key.as_affine());
        let cipher = cipher(shared.raw_secret_bytes(), theirs, &self.public, countersign, person);
        let plain = cipher.decrypt(&Nonce::default(), box_).ok()?;
        pin::of_plain(&plain)
    }
}

/// Seals a PIN, as phones do it.
///
/// # Errors
/// `None`: not a PIN, or not a public key.
pub fn seal(public: &[u8], pin: &str, countersign: EntryId, person: PersonId, ephemeral: &[u8; 32]) -> Option<Vec<u8>> {
    let own = SecretKey::from_slice(ephemeral).ok()?;
    let their_key = PublicKey::from_sec1_bytes(public).ok()?;
    let own_public = point(&own.public_key());
    let shared = p256::ecdh::diffie_hellman(own.to_nonzero_scalar(), their_key.as_affine());
    let cipher = cipher(shared.raw_secret_bytes(), &own_public, public, countersign, person);
    let sealed = cipher.encrypt(&Nonce::default(), pin::plain(pin)?.as_slice()).ok()?;
    Some([own_public, sealed].concat())
}

fn point(key: &PublicKey) -> Vec<u8> {
    key.to_encoded_point(false).as_bytes().to_vec()
}

/// The key of this cipher serves for one message, so its nonce may be zeros.
fn cipher(shared: &[u8], ephemeral: &[u8], public: &[u8], countersign: EntryId, person: PersonId) -> Aes256Gcm {
    let salt = [ephemeral, public].concat();
    let mut key = [0; 32];
    let derived = Hkdf::<Sha256>::new(Some(&salt), shared).expand(&pin::bound_to(countersign, person), &mut key);
    derived.expect("32 bytes are less than 255 hashes");
    Aes256Gcm::new(&key.into())
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;
    use domain::ids::uuid_v7;

    #[test]
    fn a_pin_opens_for_its_countersignature_person_and_firm_only() {
        let id = |number: u8| uuid_v7(1, &[number; 10]);
        let (firm, entry, person) = (FirmId::of(id(1)), EntryId::of(id(2)), PersonId::of(id(3)));
        let key = PinKey::of_firm(&[7; 32], firm);
        let sealed = seal(key.public(), "471100", entry, person, &[5; 32]).unwrap();
        assert_eq!(sealed.len(), SEALED_BYTES);
        assert_eq!(key.open(&sealed, entry, person).as_deref(), Some("471100"));
        assert_eq!(key.open(&sealed, EntryId::of(id(9)), person), None);
        assert_eq!(key.open(&sealed, entry, PersonId::of(id(9))), None);
        assert_eq!(PinKey::of_firm(&[7; 32], FirmId::of(id(9))).open(&sealed, entry, person), None);
        assert_eq!(PinKey::of_firm(&[8; 32], firm).open(&sealed, entry, person), None);
        for at in 0..sealed.len() {
            let mut bent = sealed.clone();
            bent[at] ^= 1;
            assert_eq!(key.open(&bent, entry, person), None, "byte {at}");
        }
        assert_eq!(key.open(&sealed[1..], entry, person), None);
    }

    #[test]
    fn the_same_secret_gives_the_same_key_on_every_process() {
        let firm = FirmId::of(uuid_v7(1, &[1; 10]));
        assert_eq!(PinKey::of_firm(&[7; 32], firm).name(), PinKey::of_firm(&[7; 32], firm).name());
        assert_eq!(PinKey::of_firm(&[7; 32], firm).public().len(), KEY_BYTES);
    }
}
