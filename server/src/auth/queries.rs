//! The table `refresh_tokens`.

use uuid::Uuid;

use crate::db::FirmTx;

pub(super) struct TokenRow {
    pub(super) id: Uuid,
    pub(super) family: Uuid,
    pub(super) hash: Vec<u8>,
    pub(super) person_id: Uuid,
    pub(super) device_id: Uuid,
    pub(super) successor: Option<Uuid>,
    pub(super) successors: i32,
    pub(super) expires_us: i64,
    pub(super) used_us: Option<i64>,
    pub(super) superseded_us: Option<i64>,
    pub(super) revoked_us: Option<i64>,
}

pub(super) struct NewToken {
    pub(super) id: Uuid,
    pub(super) family: Uuid,
    pub(super) hash: [u8; 32],
    pub(super) person: Uuid,
    pub(super) device: Uuid,
    pub(super) created_us: i64,
    pub(super) expires_us: i64,
}

pub(super) async fn insert_token(tx: &mut FirmTx, token: &NewToken) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into refresh_tokens (firm_id, id, family, hash, person_id, device_id, created_us, expires_us)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        tx.firm().uuid(),
        token.id,
        token.family,
        &token.hash[..],
        token.person,
        token.device,
        token.created_us,
        token.expires_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Locks the row: repeats of one token are answered one after the other.
pub(super) async fn lock_token_by_hash(tx: &mut FirmTx, hash: &[u8; 32]) -> Result<Option<TokenRow>, sqlx::Error> {
    sqlx::query_as!(
        TokenRow,
        "select id, family, hash, person_id, device_id, successor, successors, expires_us, used_us, superseded_us, revoked_us
         from refresh_tokens where firm_id = $1 and hash = $2 for update",
        tx.firm().uuid(),
        &hash[..],
    )
    .fetch_optional(&mut **tx)
    .await
}

pub(super) async fn lock_token(tx: &mut FirmTx, id: Uuid) -> Result<Option<TokenRow>, sqlx::Error> {
    sqlx::query_as!(
        TokenRow,
        "select id, family, hash, person_id, device_id, successor, successors, expires_us, used_us, superseded_us, revoked_us
         from refresh_tokens where firm_id = $1 and id = $2 for update",
        tx.firm().uuid(),
        id,
    )
    .fetch_optional(&mut **tx)
    .await
}

pub(super) async fn mark_used(tx: &mut FirmTx, id: Uuid, successor: Uuid, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update refresh_tokens set used_us = $4, successor = $3, successors = successors + 1
         where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        id,
        successor,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn supersede(tx: &mut FirmTx, id: Uuid, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update refresh_tokens set superseded_us = $3 where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        id,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn end_family(tx: &mut FirmTx, family: Uuid, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update refresh_tokens set revoked_us = $3 where firm_id = $1 and family = $2 and revoked_us is null",
        tx.firm().uuid(),
        family,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn end_all_of_person(tx: &mut FirmTx, person: Uuid, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update refresh_tokens set revoked_us = $3 where firm_id = $1 and person_id = $2 and revoked_us is null",
        tx.firm().uuid(),
        person,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn end_all_on_device(tx: &mut FirmTx, device: Uuid, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update refresh_tokens set revoked_us = $3 where firm_id = $1 and device_id = $2 and revoked_us is null",
        tx.firm().uuid(),
        device,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn forget_tokens(tx: &mut FirmTx, before_us: i64) -> Result<u64, sqlx::Error> {
    let done =
        sqlx::query!("delete from refresh_tokens where firm_id = $1 and expires_us < $2", tx.firm().uuid(), before_us,)
            .execute(&mut **tx)
            .await?;
    Ok(done.rows_affected())
}
