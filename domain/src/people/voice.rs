//! Departures allowed by voice, where the garage has no data and the lead has a telephone.
//!
//! At hand-out the server draws one random answer of 60 bits for each requirement and slot from which a departure may
//! be allowed, keeps the answers, and writes only their hashes into the job file ([`VoiceAnswers`]). A lead is shown one answer at
//! a time and reads it out. The phone turns what was typed into a *proof* by a slow hash, and the entry carries the
//! proof: folding checks it by one fast hash, so a long job does not grow slow, and nobody gets from hash to answer.
//!
//! **Never enters:** an answer in a job file. Start with [`proof_of`].

use crate::ids::Hash32;
use crate::job_file::body::{Place, VoiceAnswer, VoiceAnswers};
use sha2::{Digest as _, Sha256};

/// Letters of an answer: 32 of them, five bits each. I, O, 0 and 1 are not among them: they are taken for each other.
pub const LETTERS: &[u8; 32] = b"23456789BCDFGHJKLMNPQRSTVWXYZAEU";
/// Letters in an answer: 12 of five bits are 60 bits.
pub const LENGTH: usize = 12;
/// Rounds of the slow hash: about a tenth of a second on a slow phone. Against 60 random bits it needs to be no slower.
pub const ROUNDS: u32 = 20_000;

/// The answer drawn with 60 of these random bits, in three groups: `BCDF-GHJK-LMNP`.
pub fn answer_of(random: u64) -> String {
    let letter = |place: usize| char::from(LETTERS[((random >> (place * 5)) & 31) as usize]);
    let group = |first: usize| (first..first + 4).map(letter).collect::<String>();
    [group(0), group(4), group(8)].join("-")
}

/// What was typed, without what a person puts between: upper case, no spaces, no dashes. `None`: not an answer's form.
pub fn tidy(typed: &str) -> Option<String> {
    let plain: String =
        typed.chars().filter(|c| !c.is_whitespace() && *c != '-').map(|c| c.to_ascii_uppercase()).collect();
    let fits = plain.len() == LENGTH && plain.bytes().all(|b| LETTERS.contains(&b));
    fits.then_some(plain)
}

/// The proof that somebody knows the answer for a place: PBKDF2-HMAC-SHA256 of it. `None`: not an answer's form.
pub fn proof_of(typed: &str, salt: &[u8], rounds: u32, at: &Place) -> Option<Hash32> {
    let answer = tidy(typed)?;
    let mut full = salt.to_vec();
    full.extend(crate::wire::to_bytes(at));
    Some(Hash32::of(pbkdf2(answer.as_bytes(), &full, rounds)))
}

/// What the job file holds of a proof.
pub fn seal_of(proof: Hash32) -> Hash32 {
    let mut sha = Sha256::new();
    sha.update(b"witnessmark voice answer 1\0");
    sha.update(proof.bytes());
    Hash32::of(sha.finalize().into())
}

/// A batch for these places, with the answers that the server keeps beside it. `random` gives 64 bits a call.
pub fn issue(salt: [u8; 16], places: &[Place], random: &mut dyn FnMut() -> u64) -> (VoiceAnswers, Vec<String>) {
    let kept: Vec<String> = places.iter().map(|_| answer_of(random())).collect();
    let answers = places.iter().zip(&kept).filter_map(|(at, answer)| {
        let proof = proof_of(answer, &salt, ROUNDS, at)?;
        Some(VoiceAnswer { at: at.clone(), hash: seal_of(proof) })
    });
    (VoiceAnswers { answers: answers.collect(), salt: salt.to_vec().into(), rounds: ROUNDS }, kept)
}

/// RFC 8018 with HMAC-SHA256, one block of 32 bytes.
fn pbkdf2(password: &[u8], salt: &[u8], rounds: u32) -> [u8; 32] {
    let (inner, outer) = keyed(password);
    let hmac = |message: &[&[u8]]| -> [u8; 32] {
        let mut sha = inner.clone();
        message.iter().for_each(|part| sha.update(part));
        let digest = sha.finalize();
        let mut sha = outer.clone();
        sha.update(digest);
        sha.finalize().into()
    };
    let mut last = hmac(&[salt, &1_u32.to_be_bytes()]);
    let mut sum = last;
    for _ in 1..rounds {
        last = hmac(&[&last]);
        sum.iter_mut().zip(last).for_each(|(sum, byte)| *sum ^= byte);
    }
    sum
}

/// The two hashes of HMAC (RFC 2104) with the key already in them.
fn keyed(key: &[u8]) -> (Sha256, Sha256) {
    let mut block = [0_u8; 64];
    if key.len() > block.len() {
        block[..32].copy_from_slice(&Sha256::digest(key));
    } else {
        block[..key.len()].copy_from_slice(key);
    }
    let padded = |pad: u8| {
        let mut sha = Sha256::new();
        sha.update(block.map(|byte| byte ^ pad));
        sha
    };
    (padded(0x36), padded(0x5c))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slow_hash_is_the_standard_one() {
        // RFC 7914, section 11: the first 32 bytes of the two vectors.
        let hex = |password, salt, rounds| Hash32::of(pbkdf2(password, salt, rounds)).hex();
        assert_eq!(hex(b"passwd", b"salt", 1), "55ac046e56e3089fec1691c22544b605f94185216dde0465e68b9d57c20dacbc");
        assert_eq!(
            hex(b"Password", b"NaCl", 80_000),
            "4ddcd8f60b98be21830cee5ef22701f9641a4418d04c0414aeff08876b34ab56"
        );
    }

    #[test]
    fn an_answer_has_sixty_bits_in_three_groups() {
        assert_eq!(answer_of(0), "2222-2222-2222");
        assert_eq!(answer_of(u64::MAX), "UUUU-UUUU-UUUU");
        assert_eq!(answer_of(1 << 5), "2322-2222-2222");
        let letters: std::collections::BTreeSet<u8> = LETTERS.iter().copied().collect();
        assert_eq!(letters.len(), 32);
        for spoken in [b'I', b'O', b'0', b'1'] {
            assert!(!letters.contains(&spoken), "{} is mistaken for another", char::from(spoken));
        }
    }

    #[test]
    fn what_is_typed_may_be_small_and_spaced() {
        assert_eq!(tidy(" bcdf ghjk-lmnp "), Some("BCDFGHJKLMNP".into()));
        assert_eq!(tidy("bcdf"), None);
        assert_eq!(tidy("bcdf-ghjk-lmn0"), None);
    }

    #[test]
    fn an_answer_is_good_at_its_own_place_only() {
        let here = Place::of("pe-stack", 0, "torque");
        let there = Place::of("pe-stack", 0, "photo");
        let (batch, kept) = issue([9; 16], &[here.clone(), there.clone()], &mut || 0x0123_4567_89ab_cdef);
        assert_eq!(batch.answers.len(), 2);
        let proof = proof_of(&kept[0], &batch.salt, batch.rounds, &here).map(seal_of);
        assert_eq!(proof, Some(batch.answers[0].hash));
        assert_ne!(proof, Some(batch.answers[1].hash));
    }
}
