//! The sample pack as it is, with something erased, and changed in each of the ways that [`sample`] knows.

#![allow(clippy::unwrap_used, reason = "tests may")]

use super::pack::{MANIFEST_NAME, erase};
use super::sample::{Chance, MUTATIONS, mutate, pack, server_key};
use super::verify::{Fault, verify};
use super::{Manifest, zip};
use crate::ids::{EntryId, Hash32};
use crate::wire::from_bytes;
use std::collections::BTreeSet;

fn fingerprint() -> Hash32 {
    Hash32::sha256(&server_key().public())
}

fn manifest(pack: &[u8]) -> Manifest {
    from_bytes(&zip::read(pack).unwrap()[MANIFEST_NAME]).unwrap()
}

#[test]
fn a_pack_says_what_was_sealed() {
    let verified = verify(&pack(), Some(&fingerprint())).unwrap();
    assert_eq!(verified.manifest.entries.len(), 36);
    let signed: Vec<(usize, usize)> = verified.made_by.iter().map(|by| (by.entries, by.signed)).collect();
    assert_eq!(signed, [(12, 12), (12, 12), (12, 0)]);
    assert_eq!((verified.erased, verified.photos_erased), ((1, 0), 0));
    assert_eq!(verified.manifest.photos_absent.len(), 1);
    assert!(verified.doubts.is_empty(), "{:?}", verified.doubts);
    // The number stands in the second entry of its device: eleven of twelve follow from it.
    assert_eq!(verified.not_before, Some((11, (1_767_225_600_000 + 30_000) * 1_000)));
    let (first, last) = verified.arrived_us.unwrap();
    assert!(first < last && last < verified.manifest.sealed_us);
}

#[test]
fn sealing_twice_gives_the_same_bytes() {
    assert_eq!(pack(), pack());
}

#[test]
fn what_is_erased_later_is_said_and_the_rest_still_stands() {
    let (before, sealed) = (pack(), manifest(&pack()));
    let (entry, photo) = (sealed.entries[1].id, sealed.photos[0]);
    let after = erase(&before, &[entry], &[photo], sealed.sealed_us + 5, &server_key()).unwrap();
    let verified = verify(&after, Some(&fingerprint())).unwrap();
    assert_eq!((verified.erased, verified.photos_erased), ((1, 1), 1));
    assert_eq!(verified.erased_us, Some(sealed.sealed_us + 5));
    assert_eq!(verified.manifest, sealed);
    // The record alone erases nothing, and nothing is erased without it.
    let mut files = zip::read(&after).unwrap();
    files.remove("erasures.cbor");
    files.remove("erasures.sig");
    assert!(verify(&zip::write(&files).unwrap(), None).is_err());
    let mut files = zip::read(&before).unwrap();
    for name in ["erasures.cbor", "erasures.sig"] {
        files.insert(name.to_owned(), zip::read(&after).unwrap()[name].clone());
    }
    assert!(verify(&zip::write(&files).unwrap(), None).is_err());
}

/// Every ECDSA signature has a twin that verifies as well: only ours is taken.
#[test]
fn the_twin_of_a_signature_is_refused() {
    let mut files = zip::read(&pack()).unwrap();
    let ours = p256::ecdsa::Signature::from_slice(&files["manifest.sig"]).unwrap();
    let twin = p256::ecdsa::Signature::from_scalars(ours.r().to_bytes(), (-*ours.s()).to_bytes()).unwrap();
    files.insert("manifest.sig".to_owned(), twin.to_bytes().to_vec());
    assert_eq!(verify(&zip::write(&files).unwrap(), None).err(), Some(Fault::Signature));
}

#[test]
fn another_key_is_named() {
    let other = Hash32::sha256(b"another");
    assert_eq!(verify(&pack(), Some(&other)).err(), Some(Fault::OtherKey(fingerprint())));
}

/// `cargo xtask verify --mutations 10000` does more of the same.
#[test]
fn every_change_is_seen() {
    let (good, key) = (pack(), fingerprint());
    let mut chance = Chance(20_260_101);
    let mut kinds: BTreeSet<&str> = BTreeSet::new();
    for number in 0..400 {
        let (what, changed) = mutate(&good, &mut chance);
        kinds.insert(what);
        assert_ne!(changed, good, "{number}: {what}");
        assert!(verify(&changed, Some(&key)).is_err(), "{number}: {what} was not seen");
    }
    assert_eq!(kinds.len(), MUTATIONS - 3, "{kinds:?}");
}

#[test]
fn an_entry_that_is_not_there_cannot_be_erased_into_silence() {
    let sealed = manifest(&pack());
    let stranger = EntryId::of(crate::ids::uuid_v7(1, &[9; 10]));
    let after = erase(&pack(), &[stranger], &[], sealed.sealed_us, &server_key()).unwrap();
    // It says that something was erased which was never sealed.
    assert_eq!(verify(&after, None).err(), Some(Fault::Unreadable));
}
