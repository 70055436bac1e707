//! Doors and standing.

use domain::ids::{DeviceId, FirmId, PersonId};
use domain::people::pin::SlipCheck;
use sqlx::PgConnection;
use uuid::Uuid;

use super::person::NewPerson;
use super::{FirmTx, news};

pub(super) async fn set_firm(tx: &mut PgConnection, firm: FirmId) -> Result<(), sqlx::Error> {
    sqlx::query_scalar!("select set_config('app.firm', $1, true)", firm.to_string()).fetch_one(tx).await?;
    Ok(())
}

pub(super) struct StandingRow {
    pub(super) active: bool,
    pub(super) roles: Vec<String>,
    pub(super) revoked_us: Option<i64>,
}

pub(super) async fn standing(
    tx: &mut FirmTx,
    person: PersonId,
    device: DeviceId,
) -> Result<Option<StandingRow>, sqlx::Error> {
    sqlx::query_as!(
        StandingRow,
        "select p.active, p.roles, d.revoked_us
         from people p join devices d on d.firm_id = p.firm_id and d.person_id = p.id
         where p.firm_id = $1 and p.id = $2 and d.id = $3",
        tx.firm().uuid(),
        person.uuid(),
        device.uuid(),
    )
    .fetch_optional(&mut **tx)
    .await
}

pub(super) async fn firm_of_email(tx: &mut PgConnection, email: &str) -> Result<Option<Uuid>, sqlx::Error> {
    sqlx::query_scalar!("select firm_of_email($1)", email).fetch_one(tx).await
}

pub(super) async fn firm_of_refresh_token(tx: &mut PgConnection, hash: &[u8; 32]) -> Result<Option<Uuid>, sqlx::Error> {
    sqlx::query_scalar!("select firm_of_refresh_token($1)", &hash[..]).fetch_one(tx).await
}

pub(super) async fn firm_of_link(tx: &mut PgConnection, hash: &[u8; 32]) -> Result<Option<Uuid>, sqlx::Error> {
    sqlx::query_scalar!("select firm_of_link($1)", &hash[..]).fetch_one(tx).await
}

pub(super) async fn owner_exists(tx: &mut PgConnection) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar!(r#"select owner_exists() as "exists!""#).fetch_one(tx).await
}

pub(super) async fn firm_without_people(tx: &mut PgConnection) -> Result<Option<Uuid>, sqlx::Error> {
    sqlx::query_scalar!("select firm_without_people()").fetch_one(tx).await
}

pub(super) async fn firm_ids(tx: &mut PgConnection) -> Result<Vec<Uuid>, sqlx::Error> {
    sqlx::query_scalar!(r#"select firm_ids as "id!" from firm_ids() order by firm_ids"#).fetch_all(tx).await
}

/// A row that somebody deleted is made anew: that is a new life too.
pub(super) async fn epoch(tx: &mut PgConnection) -> Result<Vec<u8>, sqlx::Error> {
    if let Some(epoch) = sqlx::query_scalar!("select epoch from server_epoch").fetch_optional(&mut *tx).await? {
        return Ok(epoch);
    }
    sqlx::query!(
        "insert into server_epoch (epoch) values (decode(replace(gen_random_uuid()::text, '-', ''), 'hex'))
         on conflict on constraint server_epoch_pkey do nothing"
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query_scalar!("select epoch from server_epoch").fetch_one(tx).await
}

/// The last migration that the server's own start has run; none where another hand did.
pub(super) async fn migrated_to(tx: &mut PgConnection) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar!("select migrated_to()").fetch_one(tx).await
}

pub(super) struct RoleRow {
    pub(super) name: String,
    pub(super) passes_rls: bool,
    pub(super) owns_tables: bool,
}

/// What the connected role could do beyond its firm, itself or through a role that it may become.
pub(super) async fn own_role(tx: &mut PgConnection) -> Result<RoleRow, sqlx::Error> {
    sqlx::query_as!(
        RoleRow,
        r#"select current_user::text as "name!",
             exists (select from pg_catalog.pg_roles r
                     where (r.rolsuper or r.rolbypassrls) and pg_has_role(current_user, r.oid, 'member')) as "passes_rls!",
             exists (select from pg_catalog.pg_class c
                     where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')
                       and pg_has_role(current_user, c.relowner, 'member')) as "owns_tables!""#
    )
    .fetch_one(tx)
    .await
}

/// Tables of a firm that are not closed: a migration forgot `protect_tenant_table`.
pub(super) async fn open_tenant_tables(tx: &mut PgConnection) -> Result<Vec<String>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select c.relname::text as "name!"
           from pg_catalog.pg_class c
           join pg_catalog.pg_attribute a on a.attrelid = c.oid and a.attname = 'firm_id' and not a.attisdropped
           where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')
             and not (c.relrowsecurity and c.relforcerowsecurity)
           order by c.relname"#
    )
    .fetch_all(tx)
    .await
}

/// Creates or adjusts the login that the server works as. Identifiers and passwords cannot be parameters of `create
/// role`; `format` with %I and %L quotes them inside the database.
pub(super) async fn ensure_login(owner: &mut PgConnection, name: &str, password: &str) -> Result<(), sqlx::Error> {
    let exists =
        sqlx::query_scalar!(r#"select exists (select from pg_catalog.pg_roles where rolname = $1) as "exists!""#, name)
            .fetch_one(&mut *owner)
            .await?;
    let verb = if exists { "alter" } else { "create" };
    let statement = sqlx::query_scalar!(
        r#"select format('%s role %I login password %L', $1::text, $2::text, $3::text) as "statement!""#,
        verb,
        name,
        password
    )
    .fetch_one(&mut *owner)
    .await?;
    // Run-time SQL: a role statement takes no parameters, so there is nothing that a checked macro could check.
    sqlx::query(&statement).execute(&mut *owner).await?;
    Ok(())
}

/// Makes the login a member of the role that migrations grant to, unless it is one.
pub(super) async fn grant_app_role(owner: &mut PgConnection, name: &str) -> Result<(), sqlx::Error> {
    let statement = sqlx::query_scalar!(
        r#"select case when pg_has_role($1::text, 'witnessmark_app', 'member') then null
             else format('grant witnessmark_app to %I', $1::text) end"#,
        name
    )
    .fetch_one(&mut *owner)
    .await?;
    if let Some(statement) = statement {
        // Run-time SQL for the same reason as above.
        sqlx::query(&statement).execute(&mut *owner).await?;
    }
    Ok(())
}

pub(super) struct PersonRow {
    pub(super) id: Uuid,
    pub(super) display_name: String,
    pub(super) roles: Vec<String>,
    pub(super) language: String,
    pub(super) decimal_mark: String,
    pub(super) active: bool,
    pub(super) tickets: serde_json::Value,
    pub(super) email: String,
    pub(super) last_seen_us: Option<i64>,
    pub(super) pin_salt: Option<Vec<u8>>,
    pub(super) pin_bits: Option<i16>,
}

pub(super) async fn people(tx: &mut FirmTx) -> Result<Vec<PersonRow>, sqlx::Error> {
    sqlx::query_as!(
        PersonRow,
        "select id, display_name, roles, language, decimal_mark, active, tickets, email, last_seen_us,
           pin_salt, pin_bits
         from people where firm_id = $1 order by lower(display_name), id",
        tx.firm().uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn person(tx: &mut FirmTx, id: PersonId) -> Result<Option<PersonRow>, sqlx::Error> {
    sqlx::query_as!(
        PersonRow,
        "select id, display_name, roles, language, decimal_mark, active, tickets, email, last_seen_us,
           pin_salt, pin_bits
         from people where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        id.uuid(),
    )
    .fetch_optional(&mut **tx)
    .await
}

pub(super) async fn reference_changed(tx: &mut FirmTx) -> Result<(), sqlx::Error> {
    sqlx::query!("update reference_version set version = version + 1 where firm_id = $1", tx.firm().uuid())
        .execute(&mut **tx)
        .await?;
    let news = news::text(tx.firm(), None);
    sqlx::query!("select pg_notify($1, $2)", news::CHANNEL, news).fetch_one(&mut **tx).await?;
    Ok(())
}

pub(super) async fn reference_version(tx: &mut FirmTx) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!("select version from reference_version where firm_id = $1", tx.firm().uuid())
        .fetch_one(&mut **tx)
        .await
}

pub(super) async fn insert_person(
    tx: &mut FirmTx,
    person: &NewPerson,
    email: &str,
    display_name: &str,
    roles: &[String],
    tickets: &serde_json::Value,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into people (firm_id, id, email, display_name, roles, language, tickets, password_hash, created_us)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        tx.firm().uuid(),
        person.id.uuid(),
        email,
        display_name,
        roles,
        person.language,
        tickets,
        person.password_hash,
        person.created_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// The PIN that was there still counts until then; wrong ones are forgotten.
pub(super) async fn set_pin(
    tx: &mut FirmTx,
    id: PersonId,
    hash: &str,
    check: SlipCheck,
    before_until_us: i64,
) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update people set pin_before = pin_hash, pin_before_until_us = $6, pin_hash = $3, pin_salt = $4, pin_bits = $5,
           pin_wrong = 0
         where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        id.uuid(),
        hash,
        &check.salt[..],
        i16::from(check.bits),
        before_until_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
