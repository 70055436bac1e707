//! Departures allowed by voice, where the garage has no data and the lead has a telephone.
//!
//! At hand-out the server draws one random answer of 60 bits for each requirement and slot from which a departure may
//! be allowed, keeps the answers, and writes only their hashes into the job file ([`VoiceAnswers`]). A lead is shown one answer at
//! a time and reads it out. The phone turns what was typed into a *proof* by a slow hash, and the entry carries the
//! proof: folding checks it by one fast hash, so a long job does not grow slow, and nobody gets from hash to answer.
//!
//! **Never enters:** an answer in a job file. Start with [`Trial`]; [`wanting`] says for which places one is drawn.

use crate::ids::{EntryId, Hash32, PersonId};
use crate::job_file::JobState;
use crate::job_file::body::{CrewRole, Place, VoiceAnswer, VoiceAnswers};
use crate::job_file::record::Record;
use sha2::{Digest as _, Sha256};
use std::collections::BTreeSet;

/// Letters of an answer: 32 of them, five bits each. I, O, 0 and 1 are not among them: they are taken for each other.
pub const LETTERS: &[u8; 32] = b"23456789BCDFGHJKLMNPQRSTVWXYZAEU";
/// Letters in an answer: 12 of five bits are 60 bits.
pub const LENGTH: usize = 12;
/// Rounds of the slow hash. Before 60 random bits even these are more than anybody's machines get through, and the server
/// makes one such hash for each place of a job that it hands out, while the firm's lists wait.
pub const ROUNDS: u32 = 5_000;
/// Places of one batch: its entry stays far below what an entry may have.
pub const PLACES_MAX: usize = 200;

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
    let mut slow = Slow::begin(answer.as_bytes(), &salt_of(salt, at), rounds);
    while slow.left > 0 {
        slow.go_on(u32::MAX);
    }
    Some(Hash32::of(slow.sum))
}

fn salt_of(salt: &[u8], at: &Place) -> Vec<u8> {
    let mut full = salt.to_vec();
    full.extend(crate::wire::to_bytes(at));
    full
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

/// Why nobody is shown an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotShown {
    /// Only a lead of this job is.
    NotALead,
    /// None is drawn for this place, or the job is over.
    NoAnswer,
}

/// Which batch holds the answer that this person may be shown for a place: the newest one that waits unused.
///
/// # Errors
/// [`NotShown`].
pub fn to_be_shown(state: &JobState<'_, '_>, who: PersonId, at: &Place) -> Result<EntryId, NotShown> {
    let record = state.gate.record();
    if record.role_of(who) != Some(CrewRole::Lead) {
        return Err(NotShown::NotALead);
    }
    let newest = unused(record, at).into_iter().next().filter(|_| !is_over(state));
    newest.map(|sealed| sealed.issue).ok_or(NotShown::NoAnswer)
}

const fn is_over(state: &JobState<'_, '_>) -> bool {
    state.phase.is_over()
}

/// Places of a job for which an answer is to be drawn: each requirement of each step from which a departure may be
/// allowed, as soon as there is a crew, unless one waits unused. A step that does not apply may come to apply in the
/// garage, so it gets its answers too.
pub fn wanting(state: &JobState<'_, '_>) -> Vec<Place> {
    let record = state.gate.record();
    let handed_out = record.crew.as_ref().is_some_and(|crew| !crew.value.crew.is_empty());
    if !handed_out || is_over(state) {
        return Vec::new();
    }
    let steps = state.gate.steps().into_iter().map(|at| (at, state.gate.plan().step(at.step)));
    let may_depart = steps.filter(|(_, step)| !step.stop_work);
    let places = may_depart.flat_map(|(at, step)| step.requirements.iter().map(move |need| (at, need.id())));
    let there = unused_places(record);
    places.map(|(at, need)| state.gate.place(at, need)).filter(|place| !there.contains(place)).collect()
}

fn unused_places<'r>(record: &'r Record<'_>) -> BTreeSet<&'r Place> {
    let used = used(record);
    let all = record.voice_answers.iter().flat_map(|(issue, batch)| batch.answers.iter().map(|own| (*issue, &own.at)));
    all.filter(|one| !used.contains(one)).map(|(_, at)| at).collect()
}

/// Answers that have done their work: batch and place.
fn used<'r>(record: &'r Record<'_>) -> BTreeSet<(EntryId, &'r Place)> {
    let said = record.voice_said.values().filter_map(|(_, said)| {
        let deviation = record.deviations.get(&said.asked)?;
        Some((said.issue, &deviation.asked.at))
    });
    said.collect()
}

/// What a job file holds of one answer: enough to know it when it is heard.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sealed {
    /// Out of which batch.
    pub issue: EntryId,
    /// For which place.
    pub at: Place,
    salt: Vec<u8>,
    rounds: u32,
    hash: Hash32,
}

/// Unused answers for a place, the newest batch first: the server shows the first one of them, a phone tries all.
pub fn unused(record: &Record<'_>, at: &Place) -> Vec<Sealed> {
    let used = used(record);
    let batches = record.voice_answers.iter().rev().filter(|(issue, _)| !used.contains(&(**issue, at)));
    let own = batches.filter_map(|(issue, batch)| {
        let answer = batch.answers.iter().find(|answer| answer.at == *at)?;
        let (salt, rounds) = (batch.salt.to_vec(), batch.rounds);
        Some(Sealed { issue: *issue, at: at.clone(), salt, rounds, hash: answer.hash })
    });
    own.collect()
}

/// The slow hash of what somebody typed, made in small parts, so that a page stays alive meanwhile.
#[derive(Clone)]
pub struct Trial {
    slow: Slow,
    rounds: u32,
    issue: EntryId,
    hash: Hash32,
}

/// How a trial stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tried {
    /// So many of a hundred are done.
    Percent(u8),
    /// It is not the answer for this place.
    Wrong,
    /// It is: what the entry that allows the departure says.
    Right {
        /// Out of which batch.
        issue: EntryId,
        /// Only who has heard the answer can have computed this.
        proof: Hash32,
    },
}

impl Trial {
    /// Nothing is computed yet. `None`: not an answer's form.
    pub fn of(typed: &str, sealed: &Sealed) -> Option<Self> {
        let answer = tidy(typed)?;
        let slow = Slow::begin(answer.as_bytes(), &salt_of(&sealed.salt, &sealed.at), sealed.rounds);
        Some(Self { slow, rounds: sealed.rounds.max(1), issue: sealed.issue, hash: sealed.hash })
    }

    /// So many rounds more.
    pub fn go_on(&mut self, rounds: u32) -> Tried {
        self.slow.go_on(rounds);
        if self.slow.left > 0 {
            let done = u64::from(self.rounds - self.slow.left) * 100 / u64::from(self.rounds);
            return Tried::Percent(u8::try_from(done).unwrap_or(100));
        }
        let proof = Hash32::of(self.slow.sum);
        if seal_of(proof) == self.hash { Tried::Right { issue: self.issue, proof } } else { Tried::Wrong }
    }
}

/// RFC 8018 with HMAC-SHA256, one block of 32 bytes, at a pace that the caller sets.
#[derive(Clone)]
struct Slow {
    inner: Sha256,
    outer: Sha256,
    last: [u8; 32],
    sum: [u8; 32],
    left: u32,
}

impl Slow {
    fn begin(password: &[u8], salt: &[u8], rounds: u32) -> Self {
        let (inner, outer) = keyed(password);
        let mut this = Self { inner, outer, last: [0; 32], sum: [0; 32], left: rounds.saturating_sub(1) };
        this.last = this.hmac(&[salt, &1_u32.to_be_bytes()]);
        this.sum = this.last;
        this
    }

    fn go_on(&mut self, rounds: u32) {
        let rounds = rounds.min(self.left);
        for _ in 0..rounds {
            self.last = self.hmac(&[&self.last]);
            self.sum.iter_mut().zip(self.last).for_each(|(sum, byte)| *sum ^= byte);
        }
        self.left -= rounds;
    }

    fn hmac(&self, message: &[&[u8]]) -> [u8; 32] {
        let mut sha = self.inner.clone();
        message.iter().for_each(|part| sha.update(part));
        let digest = sha.finalize();
        let mut sha = self.outer.clone();
        sha.update(digest);
        sha.finalize().into()
    }
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
        let hex = |password, salt, rounds| {
            let mut slow = Slow::begin(password, salt, rounds);
            // In parts, as a page does it.
            while slow.left > 0 {
                slow.go_on(999);
            }
            Hash32::of(slow.sum).hex()
        };
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
