//! A chain of four, and what is said of it when one thing is wrong.

#![allow(clippy::unwrap_used, reason = "tests may")]

use super::*;
use crate::ids::{FirmId, JobId, uuid_v7};
use crate::job_file::body::Plain;
use crate::job_file::{Body, ChainHead, Draft, Stamp};
use crate::seal::pack::SealKey;
use crate::wire::to_bytes;

const NOW_MS: u64 = 1_767_225_600_000;
const NOW_US: u64 = NOW_MS * 1_000;

fn id(n: u8) -> uuid::Uuid {
    uuid_v7(NOW_MS, &[n; 10])
}

fn key() -> SealKey {
    SealKey::of(&[7; 32]).unwrap()
}

fn signed(entry: &Entry, signature: Option<Vec<u8>>) -> Entry {
    let envelope: Envelope = from_bytes(entry.bytes()).unwrap();
    let read = Entry::read(&to_bytes(&Envelope { signature: signature.clone().map(Into::into), ..envelope })).unwrap();
    if let Some(signature) = signature {
        assert_eq!(entry.clone().with_signature(signature), read);
    }
    read
}

fn signature(entry: &Entry, by: &SealKey) -> Vec<u8> {
    by.sign(&entry.header_bytes())
}

fn next(head: ChainHead, n: u8) -> Entry {
    let draft = Draft {
        id: EntryId::of(id(n)),
        firm: FirmId::of(id(1)),
        job: JobId::of(id(2)),
        author: PersonId::of(id(3)),
        device: DeviceId::of(id(4)),
        salt: [n; 16],
        body: Body::Resumed(Plain {}),
    };
    Entry::write(draft, head, 0, NOW_US + u64::from(n), 0)
}

/// Four entries, numbers 10 to 13, each signed.
fn chain() -> Vec<Entry> {
    let mut head = ChainHead::START;
    (10..14)
        .map(|n| {
            let entry = next(head, n);
            head = entry.as_head();
            let signature = signature(&entry, &key());
            signed(&entry, Some(signature))
        })
        .collect()
}

fn found(entries: Vec<Entry>, enrolment: Enrolment) -> Vec<(u8, Vec<Doubt>)> {
    found_by(doubts, entries, enrolment)
}

type Looks = fn(&JobFile, &BTreeMap<DeviceId, Enrolment>) -> Doubts;

fn found_by(look: Looks, entries: Vec<Entry>, enrolment: Enrolment) -> Vec<(u8, Vec<Doubt>)> {
    let mut file = JobFile::default();
    for (at, entry) in entries.into_iter().enumerate() {
        let position = at as u64 + 1;
        file.absorb(entry, Some(Stamp { time_us: NOW_US + position, position }));
    }
    let enrolments = [(DeviceId::of(id(4)), enrolment)].into();
    let doubts = look(&file, &enrolments).into_iter();
    doubts.map(|(id, doubts)| (id.uuid().as_bytes()[15], doubts.into_iter().collect())).collect()
}

fn enrolment() -> Enrolment {
    Enrolment { person: PersonId::of(id(3)), key: Some(key().public()), key_since_us: None, revoked_us: None }
}

#[test]
fn a_good_chain_has_no_doubts() {
    assert_eq!(found(chain(), enrolment()), []);
}

#[test]
fn the_last_signature_vouches_for_the_run_before_it() {
    let mut entries = chain();
    for entry in &mut entries[..3] {
        *entry = signed(entry, None);
    }
    assert_eq!(found(entries.clone(), enrolment()), []);
    entries.pop();
    let all = [10, 11, 12].map(|n| (n, vec![Doubt::NotSigned]));
    assert_eq!(found(entries, enrolment()), all);
}

#[test]
fn a_bad_signature_is_named_also_where_a_later_one_vouches() {
    let mut entries = chain();
    let mut bits = signature_of(&entries[1]).unwrap();
    bits[40] ^= 1;
    entries[1] = signed(&entries[1], Some(bits));
    assert_eq!(found(entries, enrolment()), [(11, vec![Doubt::BadSignature])]);
}

#[test]
fn somebody_elses_key_signs_nothing() {
    let entry = next(ChainHead::START, 10);
    let other = SealKey::of(&[8; 32]).unwrap();
    let forged = signed(&entry, Some(signature(&entry, &other)));
    assert_eq!(check(&forged, Some(&key().public())), Signed::Bad);
    assert_eq!(check(&forged, Some(&other.public())), Signed::Good);
    assert_eq!(check(&forged, None), Signed::Bad);
    assert_eq!(check(&entry, None), Signed::No);
    assert_eq!(check(&signed(&entry, Some(vec![1; 63])), Some(&key().public())), Signed::Bad);
}

#[test]
fn a_fork_names_the_one_that_came_first() {
    let mut entries = chain();
    let twin = next(entries[1].as_head(), 20);
    let signature = signature(&twin, &key());
    entries.push(signed(&twin, Some(signature)));
    assert_eq!(found(entries, enrolment()), [(20, vec![Doubt::Fork(EntryId::of(id(12)))])]);
}

#[test]
fn what_comes_after_the_revocation_is_marked_and_kept() {
    let revoked = Enrolment { revoked_us: Some(NOW_US + 3), ..enrolment() };
    assert_eq!(found(chain(), revoked), [12, 13].map(|n| (n, vec![Doubt::AfterRevocation])));
}

#[test]
fn the_device_must_be_known_and_theirs() {
    let other = Enrolment { person: PersonId::of(id(9)), ..enrolment() };
    assert_eq!(found(chain()[..1].to_vec(), other), [(10, vec![Doubt::NotTheirDevice])]);
    let server = Enrolment { person: PersonId::of(id(4)), key: None, ..enrolment() };
    assert_eq!(found_by(doubts_on_arrival, chain()[..1].to_vec(), server), [], "the server's own acts for somebody");
    let mut file = JobFile::default();
    file.absorb(chain().remove(0), None);
    let found = doubts(&file, &BTreeMap::new());
    assert_eq!(found.into_values().next(), Some([Doubt::UnknownDevice].into()));
}

#[test]
fn what_arrived_before_the_key_was_known_is_not_asked_for_a_signature() {
    let entries: Vec<Entry> = chain().iter().map(|entry| signed(entry, None)).collect();
    // The third arrives in the very microsecond in which the key became known.
    let since = Enrolment { key_since_us: Some(NOW_US + 3), ..enrolment() };
    let late = [12, 13].map(|n| (n, vec![Doubt::NotSigned]));
    assert_eq!(found(entries.clone(), since.clone()), late);
    assert_eq!(found_by(doubts_on_arrival, entries.clone(), since), late);
    // A wrong signature is one whenever it came.
    let mut forged = entries;
    forged[0] = signed(&forged[0], Some(vec![1; 64]));
    let since = Enrolment { key_since_us: Some(NOW_US + 9), ..enrolment() };
    assert_eq!(found_by(doubts_on_arrival, forged, since), [(10, vec![Doubt::BadSignature])]);
}

#[test]
fn on_arrival_one_good_signature_is_enough_for_the_run_before_it() {
    let mut entries = chain();
    let mut bits = signature_of(&entries[1]).unwrap();
    bits[40] ^= 1;
    entries[1] = signed(&entries[1], Some(bits));
    assert_eq!(found_by(doubts_on_arrival, entries.clone(), enrolment()), []);
    entries.truncate(2);
    assert_eq!(found_by(doubts_on_arrival, entries, enrolment()), [(11, vec![Doubt::BadSignature])]);
}

#[test]
fn a_device_without_a_known_key_waits_for_it() {
    let unknown = Enrolment { key: None, ..enrolment() };
    assert_eq!(found_by(doubts_on_arrival, chain(), unknown.clone()), []);
    let all = [10, 11, 12, 13].map(|n| (n, vec![Doubt::BadSignature]));
    assert_eq!(found(chain(), unknown), all, "nobody can say of them that they are good");
}

#[test]
fn the_last_of_a_branch_vouches_for_its_own_branch_only() {
    let mut entries = chain();
    let twin = signed(&next(entries[1].as_head(), 20), None);
    entries.push(twin);
    let found = found_by(doubts_on_arrival, entries, enrolment());
    assert_eq!(found, [(20, vec![Doubt::NotSigned, Doubt::Fork(EntryId::of(id(12)))])]);
}
