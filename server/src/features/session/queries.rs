//! Credentials and enrolments.

use domain::ids::{DeviceId, FirmId, PersonId};
use uuid::Uuid;

use crate::db::FirmTx;

pub(super) struct Credentials {
    pub(super) firm: FirmId,
    pub(super) id: Uuid,
    pub(super) password_hash: Option<String>,
    pub(super) active: bool,
}

pub(super) async fn credentials(tx: &mut FirmTx, email: &str) -> Result<Option<Credentials>, sqlx::Error> {
    let firm = tx.firm();
    let row = sqlx::query!(
        "select id, password_hash, active from people where firm_id = $1 and email = $2",
        firm.uuid(),
        email,
    )
    .fetch_optional(&mut **tx)
    .await?;
    Ok(row.map(|row| Credentials { firm, id: row.id, password_hash: row.password_hash, active: row.active }))
}

/// `false`: no such device of this person, or revoked.
pub(super) async fn touch_device(
    tx: &mut FirmTx,
    device: Uuid,
    person: PersonId,
    now_us: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query!(
        "update devices set last_contact_us = $4
         where firm_id = $1 and id = $2 and person_id = $3 and revoked_us is null",
        tx.firm().uuid(),
        device,
        person.uuid(),
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub(super) async fn insert_device(
    tx: &mut FirmTx,
    device: DeviceId,
    person: PersonId,
    label: &str,
    now_us: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into devices (firm_id, id, person_id, label, created_us, last_contact_us) values ($1, $2, $3, $4, $5, $5)",
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

pub(super) async fn touch_person(tx: &mut FirmTx, person: PersonId, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update people set last_seen_us = $3 where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        person.uuid(),
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Whether the token's person is active, and whether its device is revoked.
pub(super) async fn standing_of_token(tx: &mut FirmTx, hash: &[u8; 32]) -> Result<Option<(bool, bool)>, sqlx::Error> {
    let row = sqlx::query!(
        r#"select p.active, d.revoked_us is not null as "revoked!"
           from refresh_tokens t
           join people p on p.firm_id = t.firm_id and p.id = t.person_id
           join devices d on d.firm_id = t.firm_id and d.id = t.device_id
           where t.firm_id = $1 and t.hash = $2"#,
        tx.firm().uuid(),
        &hash[..],
    )
    .fetch_optional(&mut **tx)
    .await?;
    Ok(row.map(|row| (row.active, row.revoked)))
}
