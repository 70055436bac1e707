//! The table `rule_sets`.

use domain::ids::PersonId;

use crate::db::FirmTx;

pub(super) struct RuleSetRow {
    pub(super) place: String,
    pub(super) version: i32,
    pub(super) base_version: i32,
    pub(super) changes: serde_json::Value,
}

pub(super) async fn rule_sets(tx: &mut FirmTx) -> Result<Vec<RuleSetRow>, sqlx::Error> {
    sqlx::query_as!(
        RuleSetRow,
        "select place, version, base_version, changes from rule_sets where firm_id = $1 order by place, version",
        tx.firm().uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn insert_rule_set(
    tx: &mut FirmTx,
    row: &RuleSetRow,
    made_by: PersonId,
    now_us: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into rule_sets (firm_id, place, version, base_version, changes, made_by, made_us)
         values ($1, $2, $3, $4, $5, $6, $7)",
        tx.firm().uuid(),
        row.place,
        row.version,
        row.base_version,
        row.changes,
        made_by.uuid(),
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
