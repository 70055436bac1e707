//! Decides countersignatures: opens the sealed PIN and says whether it was that of the person.
//!
//! Runs under the projection's lock, so no two processes decide the same one. What is open, and how often a PIN may be wrong,
//! `domain` says.

use domain::ids::{EntryId, PersonId};
use domain::job_file::JobFile;
use domain::job_file::body::FindingCode;
use domain::job_file::countersigns::undecided;
use domain::people::pin::WRONG_MAX;

use super::queries;
use crate::auth::pins::PinKey;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::state::AppState;

/// Decides them. One that is sealed to a key of before a change of the token secret stays undecided.
///
/// # Errors
/// The database.
pub(super) async fn decide(
    tx: &mut FirmTx,
    state: &AppState,
    file: &JobFile,
) -> Result<Vec<(FindingCode, EntryId, EntryId)>, ApiError> {
    let open = undecided(file);
    if open.is_empty() {
        return Ok(Vec::new());
    }
    let key = PinKey::of_firm(&state.config.token_secret, tx.firm());
    let mut decided = Vec::with_capacity(open.len());
    for one in open.into_iter().filter(|one| one.proof.key == key.name()) {
        let pin = key.open(&one.proof.sealed, one.countersign, one.person);
        let right = is_theirs(tx, state, one.person, pin).await?;
        let code = if right { FindingCode::CountersignConfirmed } else { FindingCode::CountersignWrong };
        decided.push((code, one.countersign, one.proof_entry));
    }
    Ok(decided)
}

async fn is_theirs(tx: &mut FirmTx, state: &AppState, person: PersonId, pin: Option<String>) -> Result<bool, ApiError> {
    let Some(row) = queries::lock_pin(tx, person).await? else { return Ok(false) };
    let Some(pin) = pin.filter(|_| u32::try_from(row.wrong).unwrap_or(0) < WRONG_MAX) else { return Ok(false) };
    let mut right = state.passwords.verify(&pin, row.hash).await?;
    if !right && row.before_until_us.is_some_and(|until| state.clock.now_us() < until) {
        right = state.passwords.verify(&pin, row.before).await?;
    }
    queries::set_pin_wrong(tx, person, if right { 0 } else { row.wrong.saturating_add(1) }).await?;
    Ok(right)
}
