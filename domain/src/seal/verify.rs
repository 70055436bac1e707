//! What a pack proves. No server is asked: everything is in the pack but the fingerprint that a reader compares.

use super::manifest::{ERASURE_PREFIX, Erasures, MANIFEST_VERSION, Manifest, NONCE_KIND, SealedEntry, nonce_of};
use super::names::{NAMES_NAME, Names};
use super::pack::{
    ENTRIES, ERASURES_NAME, ERASURES_SIGNATURE_NAME, MANIFEST_NAME, PHOTOS, SIGNATURE_NAME, entry_name, is_sealed,
    list, named_photos, photo_name, sealed, signed_bytes,
};
use super::zip::{self, Files, NotCanonical};
use crate::ids::{DeviceId, EntryId, Hash32, PersonId};
use crate::job_file::signature::{Doubt, Enrolment, Signed, check, doubts};
use crate::job_file::{Body, Content, Entry, Envelope, JobFile};
use crate::wire::{from_bytes, to_bytes};
use std::collections::{BTreeMap, BTreeSet};

/// Why a pack is not what was sealed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The bytes are no archive in the one form.
    Archive(NotCanonical),
    /// A file that every pack has is missing: its name.
    Missing(String),
    /// A file that the manifest does not know: its name.
    Unknown(String),
    /// The manifest, or the record of erasures, cannot be read.
    Unreadable,
    /// The signature does not stand over the manifest, or over the record of erasures.
    Signature,
    /// It is signed, by another key than the expected one: this fingerprint.
    OtherKey(Hash32),
    /// The manifest contradicts itself.
    Manifest,
    /// The entry at this position is not the one that was sealed.
    Entry(u64),
    /// A photo is not what its name says.
    Photo(Hash32),
    /// A file is not what was sealed.
    File(String),
}

/// Who made how much.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct MadeBy {
    /// On which enrolment.
    pub device: DeviceId,
    /// Whose it is.
    pub person: PersonId,
    /// Entries.
    pub entries: usize,
    /// Those that carry its signature.
    pub signed: usize,
}

/// What a good pack says.
#[derive(Clone, Debug)]
pub struct Verified {
    /// What was sealed.
    pub manifest: Manifest,
    /// Earliest and latest arrival at the server, microseconds since 1970 UTC.
    pub arrived_us: Option<(u64, u64)>,
    /// By enrolment.
    pub made_by: Vec<MadeBy>,
    /// Entries that were not made before a number was drawn: how many, and the earliest such number's time.
    pub not_before: Option<(usize, u64)>,
    /// Bodies that were erased before the seal, and after it.
    pub erased: (usize, usize),
    /// Sealed PINs, whose bodies are in no pack.
    pub proofs_left_out: usize,
    /// What ids are called; absent where the pack has no names.
    pub names: Option<Names>,
    /// Photos that were erased after the seal.
    pub photos_erased: usize,
    /// When the last erasure was, microseconds since 1970 UTC.
    pub erased_us: Option<u64>,
    /// What is doubtful about single entries. It was sealed so.
    pub doubts: BTreeMap<EntryId, BTreeSet<Doubt>>,
}

/// Checks a pack. `expected`: the fingerprint that was printed or published; without it a reader must compare it by eye.
///
/// # Errors
/// The first [`Fault`].
pub fn verify(bytes: &[u8], expected: Option<&Hash32>) -> Result<Verified, Fault> {
    let files = zip::read(bytes).map_err(Fault::Archive)?;
    let manifest_bytes = file(&files, MANIFEST_NAME)?;
    let manifest: Manifest = exact(manifest_bytes)?;
    if manifest.version != MANIFEST_VERSION {
        return Err(Fault::Unreadable);
    }
    if !is_sealed(&manifest.key, &signed_bytes(manifest_bytes), file(&files, SIGNATURE_NAME)?) {
        return Err(Fault::Signature);
    }
    let fingerprint = manifest.fingerprint();
    if expected.is_some_and(|expected| *expected != fingerprint) {
        return Err(Fault::OtherKey(fingerprint));
    }
    check_manifest(&manifest)?;
    let erasures = erasures(&files, &manifest, manifest_bytes)?;
    check_names(&files, &manifest, erasures.as_ref())?;
    let job = check_entries(&files, &manifest, erasures.as_ref())?;
    check_photos(&files, &manifest, &job)?;
    if list(&files) != manifest.files {
        let wrong = manifest.files.iter().find(|sealed| !list(&files).contains(sealed));
        return Err(Fault::File(wrong.map(|sealed| sealed.name.clone()).unwrap_or_default()));
    }
    let names = files.get(NAMES_NAME).and_then(|bytes| from_bytes(bytes).ok());
    Ok(describe(manifest, &job, erasures, names))
}

fn file<'f>(files: &'f Files, name: &str) -> Result<&'f [u8], Fault> {
    files.get(name).map(Vec::as_slice).ok_or_else(|| Fault::Missing(name.to_owned()))
}

/// A value whose bytes are the ones that we would write: nothing is hidden in it.
fn exact<T: for<'b> minicbor::Decode<'b, ()> + minicbor::Encode<()>>(bytes: &[u8]) -> Result<T, Fault> {
    let value: T = from_bytes(bytes).map_err(|_| Fault::Unreadable)?;
    if to_bytes(&value) == bytes { Ok(value) } else { Err(Fault::Unreadable) }
}

fn check_manifest(manifest: &Manifest) -> Result<(), Fault> {
    let positions_run = manifest.entries.iter().zip(1..).all(|(entry, position)| entry.stamp.position == position);
    let stamps_grow = manifest.entries.windows(2).all(|two| two[0].stamp.time_us < two[1].stamp.time_us);
    let sealed_last = manifest.entries.last().is_none_or(|last| last.stamp.time_us <= manifest.sealed_us);
    let sorted = [&manifest.photos, &manifest.photos_absent, &manifest.photos_kept]
        .iter()
        .all(|list| list.is_sorted_by(|a, b| a < b))
        && manifest.devices.windows(2).all(|two| two[0].device < two[1].device);
    let good = positions_run && stamps_grow && sealed_last && sorted && manifest.root == manifest.computed_root();
    if good { Ok(()) } else { Err(Fault::Manifest) }
}

fn erasures(files: &Files, manifest: &Manifest, manifest_bytes: &[u8]) -> Result<Option<Erasures>, Fault> {
    let Some(bytes) = files.get(ERASURES_NAME) else { return Ok(None) };
    let erasures: Erasures = exact(bytes)?;
    let signature = file(files, ERASURES_SIGNATURE_NAME)?;
    if !is_sealed(&manifest.key, &[ERASURE_PREFIX, bytes].concat(), signature) {
        return Err(Fault::Signature);
    }
    let is_of_this = erasures.manifest == Hash32::sha256(manifest_bytes)
        && erasures.erased_us >= manifest.sealed_us
        && erasures.entries.iter().all(|id| manifest.entries.iter().any(|entry| entry.id == *id))
        && erasures.photos.iter().all(|hash| manifest.photos.contains(hash));
    if is_of_this { Ok(Some(erasures)) } else { Err(Fault::Unreadable) }
}

/// Every file is one that the manifest lists, and the other way round.
fn check_names(files: &Files, manifest: &Manifest, erasures: Option<&Erasures>) -> Result<(), Fault> {
    let gone = |hash: &Hash32| erasures.is_some_and(|erasures| erasures.photos.contains(hash));
    let mut expected: BTreeSet<String> = [MANIFEST_NAME, SIGNATURE_NAME].map(str::to_owned).into_iter().collect();
    if erasures.is_some() {
        expected.extend([ERASURES_NAME, ERASURES_SIGNATURE_NAME].map(str::to_owned));
    }
    expected.extend(manifest.entries.iter().map(|entry| entry_name(entry.stamp.position)));
    expected.extend(manifest.photos.iter().filter(|hash| !gone(hash)).map(photo_name));
    expected.extend(manifest.files.iter().map(|sealed| sealed.name.clone()));
    if let Some(missing) = expected.iter().find(|name| !files.contains_key(*name)) {
        return Err(Fault::Missing(missing.clone()));
    }
    match files.keys().find(|name| !expected.contains(*name)) {
        Some(unknown) => Err(Fault::Unknown(unknown.clone())),
        None => Ok(()),
    }
}

fn check_entries(files: &Files, manifest: &Manifest, erasures: Option<&Erasures>) -> Result<JobFile, Fault> {
    let mut job = JobFile::default();
    for listed in &manifest.entries {
        let position = listed.stamp.position;
        let entry = Entry::read(file(files, &entry_name(position))?).map_err(|_| Fault::Entry(position))?;
        let allowed_to_be_empty = manifest.erased.contains(&listed.id)
            || erasures.is_some_and(|erasures| erasures.entries.contains(&listed.id));
        if !is_listed(&entry, listed, manifest) || (entry.content == Content::Erased) != allowed_to_be_empty {
            return Err(Fault::Entry(position));
        }
        job.absorb(entry, Some(listed.stamp));
    }
    if job.len() == manifest.entries.len() { Ok(job) } else { Err(Fault::Manifest) }
}

fn is_listed(entry: &Entry, listed: &SealedEntry, manifest: &Manifest) -> bool {
    let header = &entry.header;
    let exact = from_bytes::<Envelope>(entry.bytes()).is_ok_and(|envelope| to_bytes(&envelope) == entry.bytes());
    exact && sealed(entry, listed.stamp) == *listed && header.firm == manifest.firm && header.job == manifest.job
}

fn check_photos(files: &Files, manifest: &Manifest, job: &JobFile) -> Result<(), Fault> {
    for (name, content) in files.range(PHOTOS.to_owned()..).take_while(|(name, _)| name.starts_with(PHOTOS)) {
        let hash = Hash32::from_hex(&name[PHOTOS.len()..]).ok_or_else(|| Fault::Unknown(name.clone()))?;
        if Hash32::sha256(content) != hash {
            return Err(Fault::Photo(hash));
        }
    }
    // Whatever an entry names is there or is said to be absent.
    let unsaid = named_photos(job).into_iter().find(|hash| {
        ![&manifest.photos, &manifest.photos_absent, &manifest.photos_kept].iter().any(|list| list.contains(hash))
    });
    debug_assert!(files.keys().any(|name| name.starts_with(ENTRIES)) || manifest.entries.is_empty());
    unsaid.map_or(Ok(()), |hash| Err(Fault::Photo(hash)))
}

fn describe(manifest: Manifest, job: &JobFile, erasures: Option<Erasures>, names: Option<Names>) -> Verified {
    let keys: BTreeMap<DeviceId, Enrolment> = manifest
        .devices
        .iter()
        .map(|device| {
            let key = device.key.as_ref().map(|key| key.to_vec());
            (
                device.device,
                Enrolment {
                    person: device.person,
                    key,
                    key_since_us: device.key_since_us,
                    revoked_us: device.revoked_us,
                },
            )
        })
        .collect();
    let mut made: BTreeMap<DeviceId, MadeBy> = BTreeMap::new();
    for held in job.iter() {
        let header = &held.entry.header;
        let key = keys.get(&header.device).and_then(|enrolment| enrolment.key.as_deref());
        let by = made.entry(header.device).or_insert(MadeBy {
            device: header.device,
            person: header.author,
            entries: 0,
            signed: 0,
        });
        by.entries += 1;
        by.signed += usize::from(check(&held.entry, key) == Signed::Good);
    }
    let arrived = manifest.entries.first().zip(manifest.entries.last());
    let is_proof = |id: &EntryId| job.get(*id).is_some_and(|held| held.entry.header.kind == Body::COUNTERSIGN_PROOF);
    let proofs_left_out = manifest.erased.iter().filter(|id| is_proof(id)).count();
    let (before, after) =
        (manifest.erased.len() - proofs_left_out, erasures.as_ref().map_or(0, |erasures| erasures.entries.len()));
    Verified {
        arrived_us: arrived.map(|(first, last)| (first.stamp.time_us, last.stamp.time_us)),
        made_by: made.into_values().collect(),
        not_before: not_before(&manifest, job),
        erased: (before, after),
        proofs_left_out,
        names,
        photos_erased: erasures.as_ref().map_or(0, |erasures| erasures.photos.len()),
        erased_us: erasures.map(|erasures| erasures.erased_us),
        doubts: doubts(job, &keys),
        manifest,
    }
}

/// What continues an entry that carries a number of the server, link by link, was made after the number was drawn.
fn not_before(manifest: &Manifest, job: &JobFile) -> Option<(usize, u64)> {
    let drawn: BTreeMap<Hash32, u64> = manifest.nonces.iter().map(|nonce| (nonce.nonce, nonce.drawn_us)).collect();
    let mut chain: Vec<&Entry> = job.iter().map(|held| &held.entry).collect();
    chain.sort_by_key(|entry| (entry.header.device, entry.header.seq, entry.header.id));
    let mut after: BTreeMap<Hash32, u64> = BTreeMap::new();
    for entry in chain {
        let own = nonce_in(entry).and_then(|nonce| drawn.get(&nonce).copied());
        let inherited = after.get(&entry.header.prev).copied();
        if let Some(since) = own.max(inherited) {
            after.insert(entry.hash, since);
        }
    }
    let earliest = after.values().min().copied()?;
    Some((after.len(), earliest))
}

fn nonce_in(entry: &Entry) -> Option<Hash32> {
    if entry.header.kind != NONCE_KIND {
        return None;
    }
    let envelope: Envelope = from_bytes(entry.bytes()).ok()?;
    nonce_of(envelope.body.as_ref()?)
}
