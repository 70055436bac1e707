//! Is this process there, is it ready, and which life of the server is it.
//!
//! [`get_live`] asks nothing but the process itself: whoever restarts what does not answer must not restart it because a database is
//! away. [`get_ready`] asks all that a request may need.

use std::collections::BTreeMap;
use std::future::Future;
use std::time::Duration;

use axum::Json;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use domain::ids::hex;
use serde::Serialize;

use crate::db::{Db, setup};
use crate::error::ApiError;
use crate::photos::probe;
use crate::state::AppState;

/// How long a part may take to answer: whoever asks does not wait longer either.
const PART_WITHIN: Duration = Duration::from_secs(3);

/// `GET /api/health`.
#[derive(Serialize)]
pub struct Health {
    ok: bool,
    version: &'static str,
    /// Hexadecimal.
    epoch: String,
}

/// `GET /readyz`, where nothing is wrong.
#[derive(Serialize)]
struct Ready {
    ok: bool,
}

/// Answers only if the database does.
///
/// # Errors
/// The database does not answer.
pub async fn get_health(State(db): State<Db>) -> Result<Json<Health>, ApiError> {
    let epoch = hex(&db.epoch().await?);
    Ok(Json(Health { ok: true, version: env!("CARGO_PKG_VERSION"), epoch }))
}

/// `GET /livez`: this process answers.
pub async fn get_live() -> Response {
    ([(header::CACHE_CONTROL, "no-store")], "ok\n").into_response()
}

/// `GET /readyz`: the database answers and is migrated as far as this program knows, and the photo store answers.
///
/// # Errors
/// [`ApiError::NotReady`] with the parts that are not.
pub async fn get_ready(State(state): State<AppState>) -> Result<Response, ApiError> {
    let (database, migrations, store) = tokio::join!(
        in_time(async { state.db.epoch().await.map(drop).map_err(cause) }),
        in_time(async { setup::is_migrated(&state.db).await.map_err(|error| format!("{error:#}")) }),
        in_time(async { probe::is_there(&state.objects).await.map_err(|error| format!("{error:#}")) }),
    );
    let parts = [("database", database), ("migrations", migrations), ("store", store)];
    let wrong: BTreeMap<&'static str, String> =
        parts.into_iter().filter_map(|(part, found)| Some((part, found.err()?))).collect();
    if wrong.is_empty() {
        Ok(([(header::CACHE_CONTROL, "no-store")], Json(Ready { ok: true })).into_response())
    } else {
        Err(ApiError::NotReady(wrong))
    }
}

async fn in_time(asked: impl Future<Output = Result<(), String>>) -> Result<(), String> {
    tokio::time::timeout(PART_WITHIN, asked).await.unwrap_or_else(|_| Err("does not answer".to_owned()))
}

fn cause(error: ApiError) -> String {
    match error {
        ApiError::Internal(cause) | ApiError::Unavailable(cause) => format!("{cause:#}"),
        other => other.to_string(),
    }
}
