//! Keeping evidence: entries and photos of one job in one strictly durable transaction.

use super::rows::{entry_object, job_object, photo_key, photo_object, photo_of};
use super::schema::{BY_JOB, ENTRIES, JOBS, PHOTO_BYTES, PHOTOS};
use super::store::{job_row, job_rows};
use super::transaction::{Mode, Transaction};
use crate::adapters::file_bytes::FileBytes;
use crate::ports::local_store::{JobRow, MakeEntries, StoreError};
use domain::ids::{EntryId, JobId};
use domain::job_file::Entry;
use domain::tray::{Delivery, EntryRow, PhotoRow};
use wasm_bindgen::JsValue;
use web_sys::IdbDatabase;

pub(super) async fn keep_once(
    db: &IdbDatabase,
    job: JobId,
    make: &MakeEntries,
    photos: &[(PhotoRow, FileBytes)],
) -> Result<Vec<Entry>, StoreError> {
    let photos = prepared(photos);
    let tx = Transaction::begin(db, &[ENTRIES, JOBS, PHOTOS, PHOTO_BYTES], Mode::Evidence)?;
    let rows: Vec<(EntryId, EntryRow)> = job_rows(&tx, job).await?.into_iter().map(|(id, _, row)| (id, row)).collect();
    let job_row = job_row(&tx, job).await?;
    let entries = make(&rows, job_row.position);
    let envelopes: Vec<_> = entries.iter().map(|entry| (entry.header.id, entry.bytes().to_vec())).collect();
    put_all(&tx, &fresh(job, &envelopes), &photos, &job_row).await?;
    tx.commit().await?;
    Ok(entries)
}

pub(super) async fn keep_on_once(
    db: &IdbDatabase,
    job: JobId,
    rows: u32,
    envelopes: &[(EntryId, Vec<u8>)],
    photos: &[(PhotoRow, FileBytes)],
) -> Result<bool, StoreError> {
    let (entries, photos) = (fresh(job, envelopes), prepared(photos));
    let tx = Transaction::begin(db, &[ENTRIES, JOBS, PHOTOS, PHOTO_BYTES], Mode::Evidence)?;
    let there = tx.count_where(ENTRIES, BY_JOB, &job.to_string().into())?;
    let job_row = job_row(&tx, job).await?;
    if there.await?.as_f64() != Some(f64::from(rows)) {
        return Ok(false);
    }
    put_all(&tx, &entries, &photos, &job_row).await?;
    tx.commit().await?;
    Ok(true)
}

/// A photo as it is put: key and row, hash and bytes.
type Prepared = (String, JsValue, String, JsValue);

fn prepared(photos: &[(PhotoRow, FileBytes)]) -> Vec<Prepared> {
    let one = |(row, bytes): &(PhotoRow, FileBytes)| {
        (photo_key(&row.key()), photo_object(row), row.file.hash.hex(), bytes.buffer().into())
    };
    photos.iter().map(one).collect()
}

/// Rows of new entries.
fn fresh(job: JobId, envelopes: &[(EntryId, Vec<u8>)]) -> Vec<JsValue> {
    let row = |(id, envelope): &(EntryId, Vec<u8>)| {
        let row = EntryRow { envelope: envelope.clone().into(), stamp: None, delivery: Delivery::FRESH };
        entry_object(*id, job, &row)
    };
    envelopes.iter().map(row).collect()
}

async fn put_all(tx: &Transaction, entries: &[JsValue], photos: &[Prepared], job: &JobRow) -> Result<(), StoreError> {
    for entry in entries {
        tx.put(ENTRIES, entry, None)?;
    }
    for (key, row, hash, bytes) in photos {
        tx.put(PHOTO_BYTES, bytes, Some(hash))?;
        // A photo that is under way already keeps its place on the way.
        if photo_of(&tx.get(PHOTOS, key)?.await?).is_none() {
            tx.put(PHOTOS, row, None)?;
        }
    }
    tx.put(JOBS, &job_object(job), None)
}
