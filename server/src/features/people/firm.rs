//! The firm's own settings.

use axum::Json;
use axum::extract::State;
use domain::people::{Action, Ownership};
use serde::Deserialize;

use crate::auth::Caller;
use crate::db::Db;
use crate::db::person::{acceptable_name, reference_changed};
use crate::error::ApiError;
use crate::firms::{self, Firm};
use crate::http::Body;

/// `PATCH /api/firm`: what is absent stays.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ChangeFirm {
    name: Option<String>,
    shows_last_seen: Option<bool>,
}

/// `PATCH /api/firm`.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::Invalid`] `name`.
pub async fn patch_firm(
    caller: Caller,
    State(db): State<Db>,
    Body(change): Body<ChangeFirm>,
) -> Result<Json<Firm>, ApiError> {
    let mut tx = db.begin_for(&caller).await?;
    // Whoever may change people may change what is shown of them.
    caller.may(Action::ChangePerson, Ownership::Firm)?;
    let before = firms::load_firm(&mut tx).await?;
    let name = acceptable_name(change.name.as_ref().unwrap_or(&before.name), "name")?;
    firms::change_firm(&mut tx, &name, change.shows_last_seen.unwrap_or(before.shows_last_seen)).await?;
    reference_changed(&mut tx).await?;
    let after = firms::load_firm(&mut tx).await?;
    tx.commit().await?;
    Ok(Json(after))
}
