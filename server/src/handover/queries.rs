//! Photos that are there, seals, drawn numbers, and what devices are called.

use domain::ids::JobId;
use uuid::Uuid;

use crate::db::FirmTx;

pub(super) struct ArrivedRow {
    pub(super) sha256: Vec<u8>,
    pub(super) media: String,
}

/// Photos that have arrived for a job, with their type.
pub(super) async fn arrived(tx: &mut FirmTx, job: JobId) -> Result<Vec<ArrivedRow>, sqlx::Error> {
    sqlx::query_as!(
        ArrivedRow,
        "select a.sha256, p.media
         from photo_arrivals a
         join photos p on p.firm_id = a.firm_id and p.sha256 = a.sha256
         where a.firm_id = $1 and a.job_id = $2
         order by a.sha256",
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

// --- numbers

pub(super) async fn drawn_number(tx: &mut FirmTx, hour: i64) -> Result<Option<Vec<u8>>, sqlx::Error> {
    sqlx::query_scalar!("select number from drawn_numbers where firm_id = $1 and hour = $2", tx.firm().uuid(), hour,)
        .fetch_optional(&mut **tx)
        .await
}

/// Of two processes that draw at once, one wins.
pub(super) async fn draw_number(tx: &mut FirmTx, hour: i64, number: &[u8], now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into drawn_numbers (firm_id, hour, number, drawn_us) values ($1, $2, $3, $4)
         on conflict on constraint drawn_numbers_pkey do nothing",
        tx.firm().uuid(),
        hour,
        number,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) struct NumberRow {
    pub(super) number: Vec<u8>,
    pub(super) drawn_us: i64,
}

pub(super) async fn drawn_numbers(tx: &mut FirmTx, numbers: &[Vec<u8>]) -> Result<Vec<NumberRow>, sqlx::Error> {
    sqlx::query_as!(
        NumberRow,
        "select number, drawn_us from drawn_numbers where firm_id = $1 and number = any($2) order by drawn_us",
        tx.firm().uuid(),
        numbers,
    )
    .fetch_all(&mut **tx)
    .await
}

// --- devices

pub(super) struct DeviceRow {
    pub(super) id: Uuid,
    pub(super) person_id: Option<Uuid>,
    pub(super) label: String,
    pub(super) key: Option<Vec<u8>>,
    pub(super) key_us: Option<i64>,
    pub(super) revoked_us: Option<i64>,
}

pub(super) async fn devices(tx: &mut FirmTx, ids: &[Uuid]) -> Result<Vec<DeviceRow>, sqlx::Error> {
    sqlx::query_as!(
        DeviceRow,
        "select id, person_id, label, key, key_us, revoked_us from devices where firm_id = $1 and id = any($2) order by id",
        tx.firm().uuid(),
        ids,
    )
    .fetch_all(&mut **tx)
    .await
}

// --- seals

pub(super) struct SealRow {
    pub(super) number: i32,
    pub(super) up_to: i64,
    pub(super) object: Uuid,
    pub(super) pack_bytes: i64,
    pub(super) key: Vec<u8>,
    pub(super) by_person: Uuid,
    pub(super) sealed_us: i64,
}

pub(super) async fn seals(tx: &mut FirmTx, job: JobId) -> Result<Vec<SealRow>, sqlx::Error> {
    sqlx::query_as!(
        SealRow,
        "select number, up_to, object, pack_bytes, key, by_person, sealed_us from seals
         where firm_id = $1 and job_id = $2 order by number",
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) struct NewSeal<'s> {
    pub(super) job: JobId,
    pub(super) number: i32,
    pub(super) entry: Uuid,
    pub(super) up_to: i64,
    pub(super) object: Uuid,
    pub(super) pack_bytes: i64,
    pub(super) pack_sha256: &'s [u8],
    pub(super) manifest: &'s [u8],
    pub(super) key: &'s [u8],
    pub(super) by: Uuid,
    pub(super) sealed_us: i64,
}

pub(super) async fn insert_seal(tx: &mut FirmTx, new: &NewSeal<'_>) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into seals (firm_id, job_id, number, entry_id, up_to, object, pack_bytes, pack_sha256, manifest, key,
           by_person, sealed_us)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
        tx.firm().uuid(),
        new.job.uuid(),
        new.number,
        new.entry,
        new.up_to,
        new.object,
        new.pack_bytes,
        new.pack_sha256,
        new.manifest,
        new.key,
        new.by,
        new.sealed_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
