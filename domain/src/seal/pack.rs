//! Making a pack and its keys. The server does this when a job is sealed.

use super::manifest::{
    ERASURE_PREFIX, Erasures, MANIFEST_VERSION, Manifest, SIGNATURE_PREFIX, SealedDevice, SealedEntry, SealedFile,
    SealedNonce,
};
use super::zip::{self, Files, NotCanonical};
use crate::ids::{EntryId, FirmId, Hash32, JobId};
use crate::job_file::signature::{is_signed, signature_of};
use crate::job_file::{Body, Content, Entry, Envelope, JobFile, Stamp};
use crate::wire::{from_bytes, to_bytes};
use p256::ecdsa::signature::Signer;
use p256::ecdsa::{Signature, SigningKey};
use std::collections::BTreeSet;

/// Name of the manifest in the archive.
pub const MANIFEST_NAME: &str = "manifest.cbor";
/// Name of its signature.
pub const SIGNATURE_NAME: &str = "manifest.sig";
/// Name of the record of what was erased after the seal.
pub const ERASURES_NAME: &str = "erasures.cbor";
/// Name of its signature.
pub const ERASURES_SIGNATURE_NAME: &str = "erasures.sig";
/// Folders of what the manifest lists by itself.
pub(super) const ENTRIES: &str = "entries/";
pub(super) const PHOTOS: &str = "photos/";

/// The name of an entry's file.
pub fn entry_name(position: u64) -> String {
    format!("entries/{position:06}.cbor")
}

/// The name of a photo's file.
pub fn photo_name(hash: &Hash32) -> String {
    format!("photos/{hash}")
}

/// A key that signs. Where it is kept is the caller's business.
pub struct SealKey(SigningKey);

impl SealKey {
    /// From 32 secret bytes; `None` for the few that are no key.
    pub fn of(secret: &[u8; 32]) -> Option<Self> {
        SigningKey::from_slice(secret).ok().map(Self)
    }

    /// Its public part, uncompressed SEC 1.
    pub fn public(&self) -> Vec<u8> {
        self.0.verifying_key().to_encoded_point(false).as_bytes().to_vec()
    }

    /// Signs; 64 bytes, r then s, as WebCrypto writes them, and s in the lower half: a signature has a twin with the other
    /// s, and only one of the two is ours.
    pub fn sign(&self, bytes: &[u8]) -> Vec<u8> {
        let signature: Signature = self.0.sign(bytes);
        signature.normalize_s().unwrap_or(signature).to_bytes().to_vec()
    }
}

/// Is this the one signature of the server over these bytes?
pub(super) fn is_sealed(key: &[u8], bytes: &[u8], signature: &[u8]) -> bool {
    let is_lower = Signature::from_slice(signature).is_ok_and(|signature| signature.normalize_s().is_none());
    is_lower && is_signed(key, bytes, signature)
}

/// What goes into a pack beside the entries.
#[derive(Clone, Debug, Default)]
pub struct Beside {
    /// Photos by their bytes.
    pub photos: Vec<Vec<u8>>,
    /// Other files by name: the report, a file that opens the pack.
    pub files: Files,
    /// The enrolments.
    pub devices: Vec<SealedDevice>,
    /// Numbers that the server drew for this job.
    pub nonces: Vec<SealedNonce>,
    /// Photos that entries name, that the firm has and keeps to itself.
    pub kept: Vec<Hash32>,
}

/// Which seal.
#[derive(Clone, Copy, Debug)]
pub struct Seal {
    /// The tenant.
    pub firm: FirmId,
    /// The job.
    pub job: JobId,
    /// Its number.
    pub number: u32,
    /// When, server clock, microseconds since 1970 UTC.
    pub sealed_us: u64,
}

/// Seals a job file into a pack. Entries without a stamp are left out: they have not arrived.
///
/// # Errors
/// [`NotCanonical`]: a name or a size that the archive cannot have.
pub fn seal(seal: Seal, file: &JobFile, beside: Beside, key: &SealKey) -> Result<Vec<u8>, NotCanonical> {
    let mut stamped: Vec<(Stamp, &Entry)> =
        file.iter().filter_map(|held| held.stamp.map(|stamp| (stamp, &held.entry))).collect();
    stamped.sort_by_key(|(stamp, _)| stamp.position);
    let mut files = beside.files;
    for (stamp, entry) in &stamped {
        files.insert(entry_name(stamp.position), bytes_in_pack(entry));
    }
    let mut photos: Vec<Hash32> = Vec::new();
    for bytes in beside.photos {
        let hash = Hash32::sha256(&bytes);
        photos.push(hash);
        files.insert(photo_name(&hash), bytes);
    }
    photos.sort_unstable();
    photos.dedup();
    let not_in: BTreeSet<Hash32> = named_photos(file).into_iter().filter(|hash| !photos.contains(hash)).collect();
    let (kept, absent) = not_in.into_iter().partition(|hash| beside.kept.contains(hash));
    let mut manifest = Manifest {
        version: MANIFEST_VERSION,
        firm: seal.firm,
        job: seal.job,
        number: seal.number,
        sealed_us: seal.sealed_us,
        entries: stamped.iter().map(|(stamp, entry)| sealed(entry, *stamp)).collect(),
        photos,
        photos_absent: absent,
        photos_kept: kept,
        root: Hash32::NONE,
        devices: beside.devices,
        nonces: beside.nonces,
        files: list(&files),
        key: key.public().into(),
        erased: stamped
            .iter()
            .filter(|(_, entry)| entry.content == Content::Erased || is_left_out(entry))
            .map(|(_, entry)| entry.header.id)
            .collect(),
    };
    manifest.root = manifest.computed_root();
    sign(&mut files, &manifest, key);
    zip::write(&files)
}

/// A sealed PIN is between its device and the server: its body is in no pack.
fn is_left_out(entry: &Entry) -> bool {
    entry.header.kind == Body::COUNTERSIGN_PROOF
}

fn bytes_in_pack(entry: &Entry) -> Vec<u8> {
    match from_bytes::<Envelope>(entry.bytes()) {
        Ok(envelope) if is_left_out(entry) => to_bytes(&Envelope { salt: None, body: None, ..envelope }),
        Ok(_) | Err(_) => entry.bytes().to_vec(),
    }
}

/// Photos that the entries of a file name.
pub(super) fn named_photos(file: &JobFile) -> Vec<Hash32> {
    file.iter()
        .filter_map(|held| held.entry.body())
        .flat_map(|body| body.photo_files())
        .map(|photo| photo.hash)
        .collect()
}

/// An entry as the manifest lists it.
pub(super) fn sealed(entry: &Entry, stamp: Stamp) -> SealedEntry {
    let signature = signature_of(entry).map(|signature| Hash32::sha256(&signature));
    SealedEntry { id: entry.header.id, header: entry.hash, stamp, signature }
}

/// The list of files as a manifest has it.
pub(super) fn list(files: &Files) -> Vec<SealedFile> {
    const OWN: [&str; 4] = [MANIFEST_NAME, SIGNATURE_NAME, ERASURES_NAME, ERASURES_SIGNATURE_NAME];
    files
        .iter()
        .filter(|(name, _)| !OWN.contains(&name.as_str()) && !name.starts_with(ENTRIES) && !name.starts_with(PHOTOS))
        .map(|(name, content)| SealedFile {
            name: name.clone(),
            hash: Hash32::sha256(content),
            bytes: content.len() as u64,
        })
        .collect()
}

/// Erases bodies and photos of a sealed pack and records it. Everything else still verifies.
///
/// # Errors
/// The bytes are no archive of ours, or have no manifest.
pub fn erase(
    pack: &[u8],
    entries: &[EntryId],
    photos: &[Hash32],
    erased_us: u64,
    key: &SealKey,
) -> Result<Vec<u8>, NotCanonical> {
    let mut files = zip::read(pack)?;
    let manifest_bytes = files.get(MANIFEST_NAME).ok_or(NotCanonical::Truncated)?.clone();
    let manifest: Manifest = from_bytes(&manifest_bytes).map_err(|_| NotCanonical::Truncated)?;
    for sealed in manifest.entries.iter().filter(|sealed| entries.contains(&sealed.id)) {
        let name = entry_name(sealed.stamp.position);
        let envelope = files.get(&name).and_then(|bytes| from_bytes::<Envelope>(bytes).ok());
        if let Some(envelope) = envelope {
            files.insert(name, to_bytes(&Envelope { salt: None, body: None, ..envelope }));
        }
    }
    for hash in photos {
        files.remove(&photo_name(hash));
    }
    let erasures = to_bytes(&Erasures {
        version: MANIFEST_VERSION,
        manifest: Hash32::sha256(&manifest_bytes),
        erased_us,
        entries: entries.to_vec(),
        photos: photos.to_vec(),
    });
    files.insert(ERASURES_SIGNATURE_NAME.to_owned(), key.sign(&[ERASURE_PREFIX, &erasures].concat()));
    files.insert(ERASURES_NAME.to_owned(), erasures);
    zip::write(&files)
}

/// Puts a manifest and its signature among the files.
pub(super) fn sign(files: &mut Files, manifest: &Manifest, key: &SealKey) {
    let bytes = to_bytes(manifest);
    files.insert(SIGNATURE_NAME.to_owned(), key.sign(&signed_bytes(&bytes)));
    files.insert(MANIFEST_NAME.to_owned(), bytes);
}

/// What a signature of a manifest stands over.
pub(super) fn signed_bytes(manifest: &[u8]) -> Vec<u8> {
    [SIGNATURE_PREFIX, manifest].concat()
}
