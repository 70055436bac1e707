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

/// Originals stay with the firm and are named; a sealed PIN is in no pack; names come along.
#[test]
fn what_is_kept_back_is_said() {
    use super::names::{NAMES_NAME, Names};
    use super::pack::{Beside, Seal, seal};
    use crate::ids::{CaptureId, DeviceId, FirmId, JobId, PersonId, uuid_v7};
    use crate::job_file::body::{CountersignProof, MediaType, Photo, PhotoFile, PhotoOrigin};
    use crate::job_file::{Body, ChainHead, Draft, Entry, JobFile, Place, Stamp};
    let id = |number: u8| uuid_v7(1, &[number; 10]);
    let picture = |bytes: &[u8]| PhotoFile {
        hash: Hash32::sha256(bytes),
        bytes: bytes.len() as u64,
        width: 1,
        height: 1,
        media: MediaType::Jpeg,
    };
    let photo = Photo {
        at: Place::of("step", 0, "photo"),
        capture: CaptureId::of(id(1)),
        original: picture(b"original"),
        preview: Some(picture(b"preview")),
        taken_ms: 1,
        origin: PhotoOrigin::Camera,
        corrects: None,
        kept_anyway: false,
    };
    let proof = CountersignProof { of: EntryId::of(id(2)), key: Hash32::NONE, sealed: vec![1; 48].into() };
    let (mut file, mut head) = (JobFile::default(), ChainHead::START);
    for (number, body) in (1..).zip([Body::Photo(photo), Body::CountersignProof(proof)]) {
        let draft = Draft {
            id: EntryId::of(id(10 + u8::try_from(number).unwrap())),
            firm: FirmId::of(id(3)),
            job: JobId::of(id(4)),
            author: PersonId::of(id(5)),
            device: DeviceId::of(id(6)),
            salt: [0; 16],
            body,
        };
        let entry = Entry::write(draft, head, 0, number, 0);
        head = entry.as_head();
        file.absorb(entry, Some(Stamp { time_us: number, position: number }));
    }
    let names = Names { people: vec![(PersonId::of(id(5)), "Ana".into())], ..Names::default() };
    let beside = Beside {
        photos: vec![b"preview".to_vec()],
        kept: vec![Hash32::sha256(b"original")],
        files: [(NAMES_NAME.to_owned(), crate::wire::to_bytes(&names))].into(),
        ..Beside::default()
    };
    let which = Seal { firm: FirmId::of(id(3)), job: JobId::of(id(4)), number: 1, sealed_us: 9 };
    let pack = seal(which, &file, beside, &server_key()).unwrap();
    let verified = verify(&pack, Some(&fingerprint())).unwrap();
    assert_eq!(verified.manifest.photos, [Hash32::sha256(b"preview")]);
    assert_eq!(verified.manifest.photos_kept, [Hash32::sha256(b"original")]);
    assert_eq!(verified.manifest.photos_absent, []);
    assert_eq!((verified.erased, verified.proofs_left_out), ((0, 0), 1));
    assert_eq!(verified.names.unwrap().person(PersonId::of(id(5))), Some("Ana"));
    assert!(!pack.windows(48).any(|window| window == [1; 48]));
}

#[test]
fn a_number_of_the_server_is_written_in_one_way() {
    use super::manifest::{NONCE_KIND, nonce_body, nonce_of};
    use crate::job_file::{Body, body::DrawnNumber};
    let number = Hash32::sha256(b"drawn");
    let body = Body::DrawnNumber(DrawnNumber { number });
    assert_eq!((body.kind(), body.to_bytes()), (NONCE_KIND, nonce_body(&number)));
    assert_eq!(nonce_body(&number), [&[0xa1, 0x00, 0x58, 0x20], &number.bytes()[..]].concat());
    assert_eq!(nonce_of(&nonce_body(&number)), Some(number));
}
