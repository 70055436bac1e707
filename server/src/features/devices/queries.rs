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
}

pub(super) async fn devices(tx: &mut FirmTx, only: Option<PersonId>) -> Result<Vec<DeviceRow>, sqlx::Error> {
    sqlx::query_as!(
        DeviceRow,
        r#"select id, person_id as "person_id!", label, created_us, last_contact_us, waiting, app_build, revoked_us
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
