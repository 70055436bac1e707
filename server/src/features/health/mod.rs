//! Is this server there, and which life of it.

use axum::Json;
use axum::extract::State;
use domain::ids::hex;
use serde::Serialize;

use crate::db::Db;
use crate::error::ApiError;

/// `GET /api/health`.
#[derive(Serialize)]
pub struct Health {
    ok: bool,
    version: &'static str,
    /// Hexadecimal.
    epoch: String,
}

/// Answers only if the database does.
///
/// # Errors
/// The database does not answer.
pub async fn get_health(State(db): State<Db>) -> Result<Json<Health>, ApiError> {
    let epoch = hex(&db.epoch().await?);
    Ok(Json(Health { ok: true, version: env!("CARGO_PKG_VERSION"), epoch }))
}
