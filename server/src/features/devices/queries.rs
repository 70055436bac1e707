//! The table `devices`: reading and revoking. The server's own device is no one's business here.

use domain::ids::{DeviceId, PersonId};
use uuid::Uuid;

use crate::db::FirmTx;

pub(super) struct DeviceRow {
    pub(super) id: Uuid,
    pub(super) person_id: Uuid,
    pub(super) label: String,
    pub(super) created_us: i64,
    pub(super) last_contact_us: Option<i64>,
    pub(super) waiting: i32,
    pub(super) app_build: Option<String>,
    pub(super) revoked_us: Option<i64>,
    pub(super) key_us: Option<i64>,
    pub(super) key_refused_us: Option<i64>,
}

pub(super) async fn devices(tx: &mut FirmTx, only: Option<PersonId>) -> Result<Vec<DeviceRow>, sqlx::Error> {
    sqlx::query_as!(
        DeviceRow,
        r#"select id, person_id as "person_id!", label, created_us, last_contact_us, waiting, app_build, revoked_us,
             key_us, key_refused_us
           from devices
           where firm_id = $1 and person_id is not null and ($2::uuid is null or person_id = $2)
           order by created_us desc, id"#,
        tx.firm().uuid(),
        only.map(PersonId::uuid),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn person_of_device(tx: &mut FirmTx, id: DeviceId) -> Result<Option<Uuid>, sqlx::Error> {
    let person = sqlx::query_scalar!(
        "select person_id from devices where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        id.uuid(),
    )
    .fetch_optional(&mut **tx)
    .await?;
    Ok(person.flatten())
}

pub(super) async fn revoke(tx: &mut FirmTx, id: DeviceId, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update devices set revoked_us = coalesce(revoked_us, $3) where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        id.uuid(),
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// `false`: it has one already.
pub(super) async fn set_key(tx: &mut FirmTx, id: DeviceId, key: &[u8], now_us: i64) -> Result<bool, sqlx::Error> {
    let done = sqlx::query!(
        "update devices set key = $3, key_us = $4 where firm_id = $1 and id = $2 and key is null",
        tx.firm().uuid(),
        id.uuid(),
        key,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub(super) async fn key(tx: &mut FirmTx, id: DeviceId) -> Result<Option<Vec<u8>>, sqlx::Error> {
    let key =
        sqlx::query_scalar!("select key from devices where firm_id = $1 and id = $2", tx.firm().uuid(), id.uuid())
            .fetch_optional(&mut **tx)
            .await?;
    Ok(key.flatten())
}

pub(super) async fn note_refused_key(tx: &mut FirmTx, id: DeviceId, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update devices set key_refused_us = $3 where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        id.uuid(),
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// The projections of its jobs count as behind.
pub(super) async fn look_again(tx: &mut FirmTx, id: DeviceId) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update jobs set projected_head = 0
         where firm_id = $1 and job_id in (select job_id from entries where firm_id = $1 and device_id = $2)",
        tx.firm().uuid(),
        id.uuid(),
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
