//! The table `people`: changes.

use domain::ids::PersonId;

use crate::db::FirmTx;

pub(super) struct NewStanding<'a> {
    pub(super) name: &'a str,
    pub(super) active: bool,
    pub(super) roles: &'a [String],
    pub(super) tickets: &'a serde_json::Value,
}

pub(super) async fn set_standing(tx: &mut FirmTx, id: PersonId, new: &NewStanding<'_>) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update people set display_name = $3, active = $4, roles = $5, tickets = $6 where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        id.uuid(),
        new.name,
        new.active,
        new.roles,
        new.tickets,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn set_preferences(
    tx: &mut FirmTx,
    id: PersonId,
    language: &str,
    decimal: &str,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update people set language = $3, decimal_mark = $4 where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        id.uuid(),
        language,
        decimal,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Somebody who can sign in and may let others in.
pub(super) async fn has_active_owner(tx: &mut FirmTx) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select exists (
             select from people where firm_id = $1 and active and 'owner' = any (roles) and password_hash is not null
           ) as "exists!""#,
        tx.firm().uuid(),
    )
    .fetch_one(&mut **tx)
    .await
}

pub(super) async fn has_password(tx: &mut FirmTx, id: PersonId) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select password_hash is not null as "has!" from people where firm_id = $1 and id = $2"#,
        tx.firm().uuid(),
        id.uuid(),
    )
    .fetch_one(&mut **tx)
    .await
}

pub(super) async fn password_hash(tx: &mut FirmTx, id: PersonId) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!("select password_hash from people where firm_id = $1 and id = $2", tx.firm().uuid(), id.uuid(),)
        .fetch_one(&mut **tx)
        .await
}
