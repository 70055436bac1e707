//! The tables of a firm itself, and the making of links.

use uuid::Uuid;

use crate::db::FirmTx;

pub(super) struct FirmRow {
    pub(super) name: String,
    pub(super) shows_last_seen: bool,
}

pub(super) async fn insert_firm(tx: &mut FirmTx, name: &str, now_us: i64) -> Result<(), sqlx::Error> {
    let firm = tx.firm().uuid();
    sqlx::query!("insert into firms (firm_id, name, created_us) values ($1, $2, $3)", firm, name, now_us)
        .execute(&mut **tx)
        .await?;
    sqlx::query!("insert into firm_clock (firm_id) values ($1)", firm).execute(&mut **tx).await?;
    sqlx::query!("insert into reference_version (firm_id) values ($1)", firm).execute(&mut **tx).await?;
    Ok(())
}

pub(super) async fn insert_server_device(tx: &mut FirmTx, id: Uuid, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into devices (firm_id, id, person_id, label, created_us) values ($1, $2, null, 'server', $3)",
        tx.firm().uuid(),
        id,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn firm(tx: &mut FirmTx) -> Result<FirmRow, sqlx::Error> {
    sqlx::query_as!(FirmRow, "select name, shows_last_seen from firms where firm_id = $1", tx.firm().uuid())
        .fetch_one(&mut **tx)
        .await
}

pub(super) async fn update_firm(tx: &mut FirmTx, name: &str, shows_last_seen: bool) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update firms set name = $2, shows_last_seen = $3 where firm_id = $1",
        tx.firm().uuid(),
        name,
        shows_last_seen,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn lock_firm(tx: &mut FirmTx) -> Result<(), sqlx::Error> {
    sqlx::query_scalar!("select firm_id from firms where firm_id = $1 for update", tx.firm().uuid())
        .fetch_one(&mut **tx)
        .await?;
    Ok(())
}

pub(super) async fn server_device(tx: &mut FirmTx) -> Result<Uuid, sqlx::Error> {
    sqlx::query_scalar!("select id from devices where firm_id = $1 and person_id is null", tx.firm().uuid())
        .fetch_one(&mut **tx)
        .await
}

pub(super) struct NewLink<'a> {
    pub(super) id: Uuid,
    pub(super) hash: [u8; 32],
    pub(super) purpose: &'a str,
    pub(super) person: Option<Uuid>,
    pub(super) created_us: i64,
    pub(super) expires_us: i64,
}

pub(super) async fn insert_link(tx: &mut FirmTx, link: &NewLink<'_>) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into links (firm_id, id, hash, purpose, person_id, created_us, expires_us) values ($1, $2, $3, $4, $5, $6, $7)",
        tx.firm().uuid(),
        link.id,
        &link.hash[..],
        link.purpose,
        link.person,
        link.created_us,
        link.expires_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn end_links(
    tx: &mut FirmTx,
    purpose: &str,
    person: Option<Uuid>,
    now_us: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update links set expires_us = least(expires_us, $4)
         where firm_id = $1 and purpose = $2 and person_id is not distinct from $3 and used_us is null",
        tx.firm().uuid(),
        purpose,
        person,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
