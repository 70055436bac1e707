//! The table `methods`, which belongs to no firm.

use domain::ids::Hash32;
use sqlx::PgConnection;

pub(super) struct MethodRow {
    pub(super) id: String,
    pub(super) version: i32,
    pub(super) hash: Vec<u8>,
    pub(super) cbor: Vec<u8>,
}

/// `true`: it was not there.
pub(super) async fn insert_method(
    tx: &mut PgConnection,
    id: &str,
    version: i32,
    hash: &Hash32,
    cbor: &[u8],
    now_us: i64,
) -> Result<bool, sqlx::Error> {
    let done = sqlx::query!(
        "insert into methods (id, version, hash, cbor, published_us) values ($1, $2, $3, $4, $5)
         on conflict on constraint methods_pkey do nothing",
        id,
        version,
        &hash.bytes()[..],
        cbor,
        now_us,
    )
    .execute(tx)
    .await?;
    Ok(done.rows_affected() == 1)
}

pub(super) async fn method(tx: &mut PgConnection, id: &str, version: i32) -> Result<Option<MethodRow>, sqlx::Error> {
    sqlx::query_as!(
        MethodRow,
        "select id, version, hash, cbor from methods where id = $1 and version = $2",
        id,
        version
    )
    .fetch_optional(tx)
    .await
}

pub(super) async fn methods(tx: &mut PgConnection) -> Result<Vec<MethodRow>, sqlx::Error> {
    sqlx::query_as!(MethodRow, "select id, version, hash, cbor from methods order by id, version").fetch_all(tx).await
}

pub(super) async fn reference_changed_everywhere(tx: &mut PgConnection) -> Result<(), sqlx::Error> {
    sqlx::query!("select reference_changed_everywhere()").fetch_one(tx).await?;
    Ok(())
}
