//! A firm's own rule sets. A version never changes and none goes: jobs name theirs for ever.
//!
//! **Never enters:** whether a change is allowed; `domain::electrical::rule_set` says that. Start with [`load_rule_sets`].

mod queries;

use domain::electrical::rule_set::FirmRules;
use domain::ids::PersonId;
use domain::people::Permit;

use crate::db::FirmTx;
use crate::db::person::reference_changed;
use crate::error::{ApiError, OnConstraint as _};

/// All versions of all places.
///
/// # Errors
/// The database.
pub async fn load_rule_sets(tx: &mut FirmTx) -> Result<Vec<FirmRules>, ApiError> {
    queries::rule_sets(tx).await?.into_iter().map(FirmRules::try_from).collect()
}

/// Adds a version.
///
/// # Errors
/// `changed_meanwhile` when this version is there already.
pub async fn insert_rule_set(
    tx: &mut FirmTx,
    _: Permit,
    rules: &FirmRules,
    made_by: PersonId,
    now_us: i64,
) -> Result<(), ApiError> {
    let row = queries::RuleSetRow {
        place: rules.place.clone(),
        version: i32::try_from(rules.version).map_err(ApiError::internal)?,
        base_version: i32::try_from(rules.base).map_err(ApiError::internal)?,
        changes: serde_json::to_value(&rules.changes).map_err(ApiError::internal)?,
    };
    queries::insert_rule_set(tx, &row, made_by, now_us).await.on_constraint(answer_of)?;
    reference_changed(tx).await
}

fn answer_of(constraint: &str) -> Option<ApiError> {
    (constraint == "rule_sets_pkey").then_some(ApiError::Conflict("changed_meanwhile"))
}

impl TryFrom<queries::RuleSetRow> for FirmRules {
    type Error = ApiError;

    fn try_from(row: queries::RuleSetRow) -> Result<Self, ApiError> {
        Ok(Self {
            place: row.place,
            version: u32::try_from(row.version).map_err(ApiError::internal)?,
            base: u32::try_from(row.base_version).map_err(ApiError::internal)?,
            changes: serde_json::from_value(row.changes).map_err(ApiError::internal)?,
        })
    }
}
