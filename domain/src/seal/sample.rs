//! A made-up pack and the ways in which somebody without the key might change it: for the test and for
//! `cargo xtask verify --mutations`. Nothing here is of a real job.

use super::manifest::{Manifest, NONCE_KIND, SealedDevice, SealedNonce, nonce_body};
use super::pack::{Beside, MANIFEST_NAME, SIGNATURE_NAME, Seal, SealKey, entry_name, list, photo_name, seal, sign};
use super::zip::{self, Files};
use crate::ids::{CaptureId, DeviceId, EntryId, FirmId, Hash32, JobId, PersonId, uuid_v7};
use crate::job_file::body::{MediaType, Photo, PhotoFile, PhotoOrigin, Place, Plain, Remark};
use crate::job_file::header::{Header, body_hash};
use crate::job_file::{Body, ChainHead, Draft, Entry, Envelope, JobFile, Stamp};
use crate::wire::{from_bytes, to_bytes};

const BEGIN_MS: u64 = 1_767_225_600_000;
const DEVICES: u8 = 3;
const ENTRIES: u64 = 36;

/// A sequence of numbers from a seed (SplitMix64).
#[derive(Clone, Debug)]
pub struct Chance(pub u64);

impl Chance {
    /// A number below `n`; 0 for 0.
    pub fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((z ^ (z >> 31)) % (n.max(1) as u64)).unwrap_or(0)
    }
}

fn id(kind: u8, number: u8) -> uuid::Uuid {
    uuid_v7(BEGIN_MS + u64::from(number), &[kind, number, 0, 0, 0, 0, 0, 0, kind, number])
}

/// The server's key of the sample.
///
/// # Panics
/// Never: the number is a key.
pub fn server_key() -> SealKey {
    SealKey::of(&[42; 32]).expect("forty-twos are a key")
}

fn device_key(device: u8) -> SealKey {
    SealKey::of(&[device + 1; 32]).expect("small numbers are keys")
}

/// A pack of thirty-six entries by three devices, one of them without a key, with photos, a number of the server and a body
/// that was erased before the seal.
///
/// # Panics
/// Never: its names are plain.
pub fn pack() -> Vec<u8> {
    let mut file = JobFile::default();
    let mut heads = [ChainHead::START; DEVICES as usize];
    let mut photos = Vec::new();
    let nonce = Hash32::sha256(b"drawn by the server");
    for number in 0..ENTRIES {
        let device = u8::try_from(number % u64::from(DEVICES)).unwrap_or(0);
        let entry = entry(u8::try_from(number).unwrap_or(0), device, heads[usize::from(device)], &nonce, &mut photos);
        heads[usize::from(device)] = entry.as_head();
        let time_us = (BEGIN_MS + 60_000 * (number + 1)) * 1_000;
        file.absorb(entry, Some(Stamp { time_us, position: number + 1 }));
    }
    let devices = (0..DEVICES)
        .map(|device| SealedDevice {
            device: DeviceId::of(id(4, device)),
            person: PersonId::of(id(3, device)),
            key: (device != 2).then(|| device_key(device).public().into()),
            revoked_us: None,
            key_since_us: (device != 2).then_some(BEGIN_MS * 1_000),
        })
        .collect();
    let beside = Beside {
        photos,
        files: [("report.pdf".to_owned(), b"%PDF-1.7 sample".repeat(40))].into(),
        devices,
        kept: Vec::new(),
        nonces: vec![SealedNonce { nonce, drawn_us: (BEGIN_MS + 30_000) * 1_000 }],
    };
    let which = Seal {
        firm: FirmId::of(id(1, 0)),
        job: JobId::of(id(2, 0)),
        number: 1,
        sealed_us: (BEGIN_MS + 86_400_000) * 1_000,
    };
    seal(which, &file, beside, &server_key()).expect("plain names")
}

fn entry(number: u8, device: u8, head: ChainHead, nonce: &Hash32, photos: &mut Vec<Vec<u8>>) -> Entry {
    let body = if number % 4 == 2 {
        let bytes: Vec<u8> = (0..400u16).map(|at| at.to_le_bytes()[0] ^ number).collect();
        let original = PhotoFile {
            hash: Hash32::sha256(&bytes),
            bytes: bytes.len() as u64,
            width: 20,
            height: 20,
            media: MediaType::Jpeg,
        };
        // One of them never came.
        if number != 6 {
            photos.push(bytes);
        }
        Body::Photo(Photo {
            at: Place::of("step", 0, "photo"),
            capture: CaptureId::of(id(6, number)),
            original,
            preview: None,
            taken_ms: BEGIN_MS,
            origin: PhotoOrigin::Camera,
            corrects: None,
            kept_anyway: false,
        })
    } else if number % 4 == 1 {
        Body::Remark(Remark { at: None, text: format!("remark {number}") })
    } else {
        Body::Resumed(Plain {})
    };
    let draft = Draft {
        id: EntryId::of(id(5, number)),
        firm: FirmId::of(id(1, 0)),
        job: JobId::of(id(2, 0)),
        author: PersonId::of(id(3, device)),
        device: DeviceId::of(id(4, device)),
        salt: [number; 16],
        body,
    };
    let written = Entry::write(draft, head, u64::from(number), (BEGIN_MS + 50_000 * u64::from(number)) * 1_000, 0);
    let mut envelope: Envelope = from_bytes(written.bytes()).expect("just written");
    if number == 4 {
        // Of an app that knows the number's kind.
        let body = nonce_body(nonce);
        let salt = [number; 16];
        let header =
            Header { kind: NONCE_KIND, must_understand: false, body_hash: body_hash(&salt, &body), ..written.header };
        (envelope.header, envelope.body) = (to_bytes(&header).into(), Some(body.into()));
    }
    if number == 9 {
        (envelope.salt, envelope.body) = (None, None);
    }
    if device != 2 {
        envelope.signature = Some(device_key(device).sign(&envelope.header).into());
    }
    Entry::read(&to_bytes(&envelope)).expect("put together from its parts")
}

/// How many kinds of change there are.
pub const MUTATIONS: usize = 16;

/// One change of a pack, drawn from `chance`: what it is called, and the changed bytes.
///
/// # Panics
/// The bytes are not the sample's.
pub fn mutate(pack: &[u8], chance: &mut Chance) -> (&'static str, Vec<u8>) {
    let which = chance.below(MUTATIONS);
    match which {
        0..=3 => {
            let mut bytes = pack.to_vec();
            let at = chance.below(bytes.len());
            bytes[at] ^= 1 << chance.below(8);
            ("a bit", bytes)
        }
        4 => ("an end that is cut off", pack[..chance.below(pack.len())].to_vec()),
        5 => {
            let (from, length) = (chance.below(pack.len()), 1 + chance.below(60));
            let to = (from + length).min(pack.len());
            ("a hole", [&pack[..from], &pack[to..]].concat())
        }
        _ => rebuilt(which, zip::read(pack).expect("the sample's own archive"), chance),
    }
}

/// Changes by somebody who knows the format and puts everything right that needs no key.
fn rebuilt(which: usize, mut files: Files, chance: &mut Chance) -> (&'static str, Vec<u8>) {
    let mut manifest: Manifest = from_bytes(&files[MANIFEST_NAME]).expect("the sample's own manifest");
    let last = manifest.entries.len() - 1;
    let at = chance.below(last);
    let mut key = None;
    let what = match which {
        6 => {
            let photo = manifest.photos[chance.below(manifest.photos.len())];
            files.remove(&photo_name(&photo));
            "a removed photo"
        }
        7 => {
            let photo = manifest.photos.remove(chance.below(manifest.photos.len()));
            files.remove(&photo_name(&photo));
            manifest.photos_absent.push(photo);
            "a removed photo, and the manifest says absent"
        }
        8 => {
            swap(&mut files, at, last);
            "two entries in the other order"
        }
        9 => {
            swap(&mut files, at, last);
            manifest.entries.swap(at, last);
            let (early, late) = (manifest.entries[at].stamp, manifest.entries[last].stamp);
            (manifest.entries[at].stamp, manifest.entries[last].stamp) = (late, early);
            "two entries in the other order, and the manifest too"
        }
        10 => {
            back_date(&mut files, &mut manifest, at, chance);
            "a phone's clock set back in an entry"
        }
        11 => {
            let earlier = 1 + chance.below(10_000_000) as u64;
            manifest.entries[0].stamp.time_us -= earlier;
            "an earlier arrival"
        }
        12 => {
            manifest.sealed_us -= 1 + chance.below(1_000_000) as u64;
            "an earlier seal"
        }
        13 => {
            manifest.entries.pop();
            files.remove(&entry_name(last as u64 + 1));
            "the last entry left out"
        }
        14 => {
            let name = entry_name(at as u64 + 1);
            let envelope: Envelope = from_bytes(&files[&name]).expect("an entry of the sample");
            let gone = if envelope.body.is_some() && chance.below(2) == 0 || envelope.signature.is_none() {
                // One that was erased already has nothing more to lose but its place.
                Envelope { salt: None, body: None, signature: Some(vec![0; 64].into()), ..envelope }
            } else {
                Envelope { signature: None, ..envelope }
            };
            files.insert(name, to_bytes(&gone));
            "a body or a signature taken out of an entry"
        }
        _ => {
            let other = SealKey::of(&[77; 32]).expect("seventy-sevens are a key");
            manifest.entries[0].stamp.time_us -= 1;
            manifest.key = other.public().into();
            key = Some(other);
            "sealed anew with another key"
        }
    };
    manifest.root = manifest.computed_root();
    manifest.files = list(&files);
    match key {
        Some(key) => sign(&mut files, &manifest, &key),
        None => {
            // The old signature stays: it is all that they have.
            debug_assert!(files.contains_key(SIGNATURE_NAME));
            files.insert(MANIFEST_NAME.to_owned(), to_bytes(&manifest));
        }
    }
    (what, zip::write(&files).expect("plain names"))
}

fn swap(files: &mut Files, at: usize, last: usize) {
    let (one, two) = (entry_name(at as u64 + 1), entry_name(last as u64 + 1));
    let (first, second) = (files[&one].clone(), files[&two].clone());
    files.insert(one, second);
    files.insert(two, first);
}

fn back_date(files: &mut Files, manifest: &mut Manifest, at: usize, chance: &mut Chance) {
    let name = entry_name(at as u64 + 1);
    let envelope: Envelope = from_bytes(&files[&name]).expect("an entry of the sample");
    let header: Header = from_bytes(&envelope.header).expect("a header of the sample");
    let header = to_bytes(&Header { hlc: header.hlc - 1 - chance.below(1_000_000) as u64, ..header });
    manifest.entries[at].header = Header::hash_of(&header);
    files.insert(name, to_bytes(&Envelope { header: header.into(), ..envelope }));
}
