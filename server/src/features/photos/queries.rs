//! Uploads under way, photos that are here, and which job names them.

use domain::ids::{Hash32, JobId, PersonId};
use uuid::Uuid;

use crate::db::FirmTx;

pub(super) async fn has_arrived(tx: &mut FirmTx, job: JobId, sha256: Hash32) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select exists (select from photo_arrivals where firm_id = $1 and job_id = $2 and sha256 = $3) as "here!""#,
        tx.firm().uuid(),
        job.uuid(),
        &sha256.bytes()[..],
    )
    .fetch_one(&mut **tx)
    .await
}

pub(super) struct NewUpload {
    pub(super) id: Uuid,
    pub(super) job: JobId,
    pub(super) person: PersonId,
    pub(super) sha256: Hash32,
    pub(super) length: i64,
    pub(super) created_us: i64,
    pub(super) expires_us: i64,
}

pub(super) struct BegunRow {
    pub(super) id: Uuid,
    pub(super) received: i64,
    pub(super) expires_us: i64,
}

/// An upload of the same photo by the same person that has not run out.
pub(super) async fn find_upload(tx: &mut FirmTx, wanted: &NewUpload) -> Result<Option<BegunRow>, sqlx::Error> {
    sqlx::query_as!(
        BegunRow,
        "select id, received, expires_us from uploads
         where firm_id = $1 and person_id = $2 and job_id = $3 and sha256 = $4 and length = $5 and expires_us > $6
         order by received desc, created_us limit 1",
        tx.firm().uuid(),
        wanted.person.uuid(),
        wanted.job.uuid(),
        &wanted.sha256.bytes()[..],
        wanted.length,
        wanted.created_us,
    )
    .fetch_optional(&mut **tx)
    .await
}

pub(super) async fn insert_upload(tx: &mut FirmTx, upload: &NewUpload) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into uploads (firm_id, id, job_id, person_id, sha256, length, created_us, expires_us)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        tx.firm().uuid(),
        upload.id,
        upload.job.uuid(),
        upload.person.uuid(),
        &upload.sha256.bytes()[..],
        upload.length,
        upload.created_us,
        upload.expires_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) struct UploadRow {
    pub(super) length: i64,
    pub(super) received: i64,
    pub(super) expires_us: i64,
}

/// Ends whatever transfer is under way and says how far the upload is.
pub(super) async fn unlock_upload(
    tx: &mut FirmTx,
    id: Uuid,
    person: PersonId,
) -> Result<Option<UploadRow>, sqlx::Error> {
    sqlx::query_as!(
        UploadRow,
        "update uploads set locked_by = null, locked_us = null where firm_id = $1 and id = $2 and person_id = $3
         returning length, received, expires_us",
        tx.firm().uuid(),
        id,
        person.uuid(),
    )
    .fetch_optional(&mut **tx)
    .await
}

/// Takes an upload over.
pub(super) async fn lock_upload(
    tx: &mut FirmTx,
    id: Uuid,
    person: PersonId,
    lock: Uuid,
    now_us: i64,
) -> Result<Option<UploadRow>, sqlx::Error> {
    sqlx::query_as!(
        UploadRow,
        "update uploads set locked_by = $4, locked_us = $5 where firm_id = $1 and id = $2 and person_id = $3
         returning length, received, expires_us",
        tx.firm().uuid(),
        id,
        person.uuid(),
        lock,
        now_us,
    )
    .fetch_optional(&mut **tx)
    .await
}

pub(super) struct Part {
    pub(super) upload: Uuid,
    pub(super) lock: Uuid,
    pub(super) part: Uuid,
    pub(super) from: i64,
    pub(super) bytes: i64,
}

/// Counts a part, if the lock is still ours. Gives the length of the whole. An empty part only asks.
pub(super) async fn count_part(
    tx: &mut FirmTx,
    part: &Part,
    now_us: i64,
    expires_us: i64,
) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar!(
        "update uploads
         set received = received + $5, locked_us = $7, expires_us = $8,
             parts = case when $5 > 0 then array_append(parts, $6) else parts end
         where firm_id = $1 and id = $2 and locked_by = $3 and received = $4
         returning length",
        tx.firm().uuid(),
        part.upload,
        part.lock,
        part.from,
        part.bytes,
        part.part,
        now_us,
        expires_us,
    )
    .fetch_optional(&mut **tx)
    .await
}

pub(super) struct LockedRow {
    pub(super) job_id: Uuid,
    pub(super) person_id: Uuid,
    pub(super) sha256: Vec<u8>,
    pub(super) parts: Vec<Uuid>,
}

pub(super) async fn locked_upload(tx: &mut FirmTx, id: Uuid, lock: Uuid) -> Result<Option<LockedRow>, sqlx::Error> {
    sqlx::query_as!(
        LockedRow,
        "select job_id, person_id, sha256, parts from uploads where firm_id = $1 and id = $2 and locked_by = $3",
        tx.firm().uuid(),
        id,
        lock,
    )
    .fetch_optional(&mut **tx)
    .await
}

/// Removes an upload; with a lock, only if that is still the one. `true`: it was there.
pub(super) async fn delete_upload(tx: &mut FirmTx, id: Uuid, lock: Option<Uuid>) -> Result<bool, sqlx::Error> {
    let done = sqlx::query!(
        "delete from uploads where firm_id = $1 and id = $2 and ($3::uuid is null or locked_by = $3)",
        tx.firm().uuid(),
        id,
        lock,
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub(super) async fn expired_uploads(tx: &mut FirmTx, now_us: i64) -> Result<Vec<Uuid>, sqlx::Error> {
    sqlx::query_scalar!(
        "select id from uploads where firm_id = $1 and expires_us <= $2 order by expires_us, id",
        tx.firm().uuid(),
        now_us,
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn insert_photo(
    tx: &mut FirmTx,
    sha256: Hash32,
    bytes: i64,
    media: &str,
    now_us: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into photos (firm_id, sha256, bytes, media, stored_us) values ($1, $2, $3, $4, $5)
         on conflict on constraint photos_pkey do nothing",
        tx.firm().uuid(),
        &sha256.bytes()[..],
        bytes,
        media,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn insert_arrival(
    tx: &mut FirmTx,
    job: JobId,
    sha256: Hash32,
    by: Uuid,
    now_us: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into photo_arrivals (firm_id, job_id, sha256, arrived_us, by_person) values ($1, $2, $3, $4, $5)
         on conflict on constraint photo_arrivals_pkey do nothing",
        tx.firm().uuid(),
        job.uuid(),
        &sha256.bytes()[..],
        now_us,
        by,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) struct NamedRow {
    pub(super) sha256: Vec<u8>,
    pub(super) bytes: i64,
    pub(super) role: String,
    pub(super) entry_id: Uuid,
    pub(super) arrived_us: Option<i64>,
}

pub(super) async fn photos_of(tx: &mut FirmTx, job: JobId) -> Result<Vec<NamedRow>, sqlx::Error> {
    sqlx::query_as!(
        NamedRow,
        r#"select n.sha256, n.bytes, n.role, n.entry_id, a.arrived_us as "arrived_us?"
           from photo_names n
           join entries e on e.firm_id = n.firm_id and e.entry_id = n.entry_id
           left join photo_arrivals a on a.firm_id = n.firm_id and a.job_id = n.job_id and a.sha256 = n.sha256
           where n.firm_id = $1 and n.job_id = $2
           order by e.position, n.role"#,
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

/// The kind of a photo that this job names and that has arrived for it.
pub(super) async fn media_of_named(tx: &mut FirmTx, job: JobId, sha256: Hash32) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!(
        "select p.media from photos p
         where p.firm_id = $1 and p.sha256 = $3
           and exists (select from photo_names n where n.firm_id = $1 and n.job_id = $2 and n.sha256 = $3)
           and exists (select from photo_arrivals a where a.firm_id = $1 and a.job_id = $2 and a.sha256 = $3)",
        tx.firm().uuid(),
        job.uuid(),
        &sha256.bytes()[..],
    )
    .fetch_optional(&mut **tx)
    .await
}
