//! The table `links`, and the password that a link sets.

use domain::ids::PersonId;
use uuid::Uuid;

use crate::db::FirmTx;

pub(super) struct LinkRow {
    pub(super) id: Uuid,
    pub(super) purpose: String,
    pub(super) person_id: Option<Uuid>,
    pub(super) expires_us: i64,
    pub(super) used_us: Option<i64>,
}

pub(super) async fn link(tx: &mut FirmTx, hash: &[u8; 32]) -> Result<Option<LinkRow>, sqlx::Error> {
    sqlx::query_as!(
        LinkRow,
        "select id, purpose, person_id, expires_us, used_us from links where firm_id = $1 and hash = $2",
        tx.firm().uuid(),
        &hash[..],
    )
    .fetch_optional(&mut **tx)
    .await
}

/// `false`: somebody else was quicker.
pub(super) async fn use_link(tx: &mut FirmTx, id: Uuid, now_us: i64) -> Result<bool, sqlx::Error> {
    let done = sqlx::query!(
        "update links set used_us = $3 where firm_id = $1 and id = $2 and used_us is null",
        tx.firm().uuid(),
        id,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub(super) async fn set_password(tx: &mut FirmTx, person: PersonId, hash: &str) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update people set password_hash = $3 where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        person.uuid(),
        hash,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn set_name(tx: &mut FirmTx, person: PersonId, name: &str) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update people set display_name = $3 where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        person.uuid(),
        name,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
