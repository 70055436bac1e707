//! Rows that in a real firm come from a sign-in and from an upload.

use domain::ids::{DeviceId, Hash32, JobId, PersonId};

use crate::db::FirmTx;

pub(super) async fn insert_device(
    tx: &mut FirmTx,
    device: DeviceId,
    person: PersonId,
    label: &str,
    now_us: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into devices (firm_id, id, person_id, label, created_us) values ($1, $2, $3, $4, $5)",
        tx.firm().uuid(),
        device.uuid(),
        person.uuid(),
        label,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Photos whose bytes are in the store, as arrived for a job.
pub(super) async fn insert_photos(
    tx: &mut FirmTx,
    job: JobId,
    by: PersonId,
    photos: &[(Hash32, i64)],
    now_us: i64,
) -> Result<(), sqlx::Error> {
    let hashes: Vec<Vec<u8>> = photos.iter().map(|(hash, _)| hash.bytes().to_vec()).collect();
    let bytes: Vec<i64> = photos.iter().map(|(_, bytes)| *bytes).collect();
    sqlx::query!(
        "insert into photos (firm_id, sha256, bytes, media, stored_us)
         select $1, sha256, bytes, 'jpeg', $4 from unnest($2::bytea[], $3::bigint[]) as n(sha256, bytes)
         on conflict on constraint photos_pkey do nothing",
        tx.firm().uuid(),
        &hashes,
        &bytes,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    sqlx::query!(
        "insert into photo_arrivals (firm_id, job_id, sha256, arrived_us, by_person)
         select $1, $2, sha256, $4, $5 from unnest($3::bytea[]) as n(sha256)
         on conflict on constraint photo_arrivals_pkey do nothing",
        tx.firm().uuid(),
        job.uuid(),
        &hashes,
        now_us,
        by.uuid(),
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
