//! The desk of a firm's own rule sets: list, copy, next version.
//!
//! What a change may be is decided by `domain::electrical::rule_set`, which the screen asks too. Devices get all versions
//! with the reference data.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use domain::electrical::rule_set::{Change, FirmRules, Place, RuleSet};
use domain::people::{Action, Ownership};
use serde::Deserialize;

use crate::auth::Caller;
use crate::db::Db;
use crate::error::ApiError;
use crate::http::{Body, Path};
use crate::rule_sets::{insert_rule_set, load_rule_sets};
use crate::state::AppState;

/// Versions of one place at most: all of them travel to every device.
const VERSIONS_MAX: u32 = 200;

/// `POST /api/rule-sets/{place}`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NextVersion {
    /// The version that the person saw; 0 when there was none.
    after: u32,
    /// All changes on top of the built-in set, not only the new ones; none makes a plain copy.
    changes: Vec<Change>,
}

/// `GET /api/rule-sets`: all versions of all places.
///
/// # Errors
/// The database.
pub async fn list_rule_sets(caller: Caller, State(db): State<Db>) -> Result<Json<Vec<FirmRules>>, ApiError> {
    let mut tx = db.begin_for(&caller).await?;
    caller.may(Action::SeeReference, Ownership::Firm)?;
    Ok(Json(load_rule_sets(&mut tx).await?))
}

/// `POST /api/rule-sets/{place}`: the next version, and with the first one the copy itself.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::NotFound`] for a place, `changed_meanwhile`, [`ApiError::RuleRefused`].
pub async fn add_rule_set_version(
    caller: Caller,
    State(state): State<AppState>,
    Path(place): Path<String>,
    Body(body): Body<NextVersion>,
) -> Result<(StatusCode, Json<FirmRules>), ApiError> {
    let mut tx = state.db.begin_for(&caller).await?;
    let permit = caller.may(Action::ChangeRules, Ownership::Firm)?;
    let built_in = RuleSet::of(Place::from_word(&place).ok_or(ApiError::NotFound)?);
    let own = load_rule_sets(&mut tx).await?;
    let last = own.iter().filter(|one| one.place == place).map(|one| one.version).max().unwrap_or(0);
    if last != body.after {
        return Err(ApiError::Conflict("changed_meanwhile"));
    }
    if last >= VERSIONS_MAX {
        return Err(ApiError::Invalid("rule_versions"));
    }
    let rules = FirmRules { place, version: last + 1, base: built_in.version, changes: trimmed(body.changes) };
    built_in.adapted(rules.version, &rules.changes).map_err(|fault| {
        let (code, rule) = fault.code();
        ApiError::RuleRefused(code, rule.to_owned())
    })?;
    insert_rule_set(&mut tx, permit, &rules, caller.person, state.clock.now_us()).await?;
    tx.commit().await?;
    Ok((StatusCode::CREATED, Json(rules)))
}

fn trimmed(changes: Vec<Change>) -> Vec<Change> {
    changes.into_iter().map(|change| Change { reason: change.reason.trim().to_owned(), ..change }).collect()
}
