//! What goes into a pack, and what stays with the firm.

use std::collections::{BTreeMap, BTreeSet};

use bytes::Bytes;
use domain::evidence::bare::is_bare;
use domain::ids::{DeviceId, FirmId, Hash32, JobId, PersonId};
use domain::job_file::{Body, JobFile};
use domain::seal::SealedDevice;
use domain::seal::names::{NAMES_NAME, Names, VERIFIER_NAME};
use domain::seal::pack::Beside;
use domain::wire::to_bytes;

use super::queries;
use super::registration::{RegistrationJson, csv_of};
use super::report::Outside;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::job_files::wire;
use crate::paper;
use crate::photos::view::read_all;
use crate::state::AppState;

/// What is read beside the job file and the photos.
pub(super) struct Around {
    pub(super) outside: Outside,
    pub(super) registration: RegistrationJson,
    pub(super) devices: Vec<queries::DeviceRow>,
}

/// The enrolments that wrote in this file.
pub(super) async fn devices_of(tx: &mut FirmTx, file: &JobFile) -> Result<Vec<queries::DeviceRow>, ApiError> {
    let ids: BTreeSet<DeviceId> = file.iter().map(|held| held.entry.header.device).collect();
    let ids: Vec<_> = ids.into_iter().map(DeviceId::uuid).collect();
    Ok(queries::devices(tx, &ids).await?)
}

/// Everything of the pack but entries and manifest.
///
/// Originals stay with the firm: they may tell where they were taken, and what is sent to outsiders tells no position. What their entries
/// say of them, their hashes too, is in the pack. Previews come along, if there is nothing in them but the picture.
pub(super) async fn beside(
    state: &AppState,
    firm: FirmId,
    job: JobId,
    file: &JobFile,
    around: &Around,
    report: Vec<u8>,
    language: &str,
) -> Result<Beside, ApiError> {
    let (photos, kept) = photos(state, firm, file, &around.outside).await?;
    let mut beside = Beside { photos, kept, devices: sealed_devices(&around.devices), ..Beside::default() };
    let registration = serde_json::to_vec_pretty(&around.registration).map_err(ApiError::internal)?;
    let files = [
        ("report.pdf", report),
        ("registration.json", registration),
        ("registration.csv", csv_of(&around.registration).into_bytes()),
        ("README.txt", paper::words(language).get("pack.readme").into_bytes()),
        (NAMES_NAME, to_bytes(&names(around, job))),
    ];
    beside.files.extend(files.map(|(name, content)| (name.to_owned(), content)));
    match verifier(state).await {
        Some(page) => {
            beside.files.insert(VERIFIER_NAME.to_owned(), page);
        }
        None => tracing::warn!("this server has no {VERIFIER_NAME}: the pack goes without it"),
    }
    Ok(beside)
}

async fn verifier(state: &AppState) -> Option<Vec<u8>> {
    let dist = state.config.web_dist.as_ref()?;
    tokio::fs::read(dist.join(VERIFIER_NAME)).await.ok()
}

/// Previews by their bytes, and the hashes of what is here and kept.
async fn photos(
    state: &AppState,
    firm: FirmId,
    file: &JobFile,
    outside: &Outside,
) -> Result<(Vec<Vec<u8>>, Vec<Hash32>), ApiError> {
    let store = state.photo_store();
    // By hash, whether it is a preview anywhere.
    let mut named: BTreeMap<Hash32, bool> = BTreeMap::new();
    for files in file.iter().filter_map(|held| held.entry.body()).map(Body::photo_files) {
        for (at, photo) in files.iter().enumerate() {
            *named.entry(photo.hash).or_default() |= at > 0;
        }
    }
    let (mut photos, mut kept) = (Vec::new(), Vec::new());
    for (hash, is_preview) in named.into_iter().filter(|(hash, _)| outside.arrived.contains_key(hash)) {
        let bytes = if is_preview {
            let opened = store.open(firm, hash).await?;
            let opened = opened
                .ok_or_else(|| ApiError::internal(anyhow::anyhow!("the store lacks a photo that has arrived")))?;
            Some(read_all(opened).await?).filter(|bytes| is_bare(bytes))
        } else {
            None
        };
        match bytes {
            Some(bytes) => photos.push(bytes),
            None => kept.push(hash),
        }
    }
    Ok((photos, kept))
}

fn sealed_devices(rows: &[queries::DeviceRow]) -> Vec<SealedDevice> {
    let sealed = rows.iter().map(|row| SealedDevice {
        device: DeviceId::of(row.id),
        // The server's device is nobody's: it stands for itself, as in its entries.
        person: PersonId::of(row.person_id.unwrap_or(row.id)),
        key: row.key.clone().map(Into::into),
        revoked_us: row.revoked_us.map(wire),
        key_since_us: row.key_us.map(wire),
    });
    let mut sealed: Vec<SealedDevice> = sealed.collect();
    sealed.sort_by_key(|device| device.device);
    sealed
}

fn names(around: &Around, job: JobId) -> Names {
    let wrote: BTreeSet<PersonId> = around.devices.iter().filter_map(|row| row.person_id).map(PersonId::of).collect();
    let people = around.outside.names.iter().filter(|(person, _)| wrote.contains(person));
    Names {
        firm: around.outside.firm.clone(),
        job: job.short(),
        people: people.map(|(person, name)| (*person, name.clone())).collect(),
        devices: around.devices.iter().map(|row| (DeviceId::of(row.id), row.label.clone())).collect(),
    }
}

/// A pack on its way into the store.
pub(super) struct Made {
    pub(super) bytes: Bytes,
    pub(super) sha256: Hash32,
    pub(super) manifest: Hash32,
}
