//! Decides countersignatures: opens the sealed PIN and says whether it was that of the person.
//!
//! Runs under the projection's lock, so no two processes decide the same one. A person's wrong PINs in a row are counted;
//! after [`WRONG_MAX`] every further one is wrong unseen, until the person sets a new PIN: a log is no place to guess in.

use std::collections::BTreeSet;

use domain::ids::{EntryId, Hash32, PersonId};
use domain::job_file::body::{Body, FindingCode};
use domain::job_file::{JobFile, is_by_server};

use super::queries;
use crate::auth::pins::PinKey;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::state::AppState;

/// Wrong PINs of one person in a row; a slip of the finger is caught on the phone and does not count.
const WRONG_MAX: i32 = 10;

/// A countersignature without a decision.
pub(super) struct Undecided {
    countersign: EntryId,
    person: PersonId,
    proof: EntryId,
    key: Hash32,
    sealed: Vec<u8>,
}

/// Those of a job whose proof is here.
pub(super) fn undecided(file: &JobFile) -> Vec<Undecided> {
    let decided: BTreeSet<EntryId> = file
        .iter()
        .filter(|held| is_by_server(held))
        .filter_map(|held| match held.entry.body() {
            Some(Body::Finding(finding)) => Some(finding),
            _ => None,
        })
        .filter(|finding| matches!(finding.code, FindingCode::CountersignConfirmed | FindingCode::CountersignWrong))
        .map(|finding| finding.about)
        .collect();
    let open = file.iter().filter(|held| !decided.contains(&held.entry.header.id));
    open.filter_map(|held| {
        let Some(Body::Countersign(countersign)) = held.entry.body() else { return None };
        let Some(Body::CountersignProof(proof)) = file.get(countersign.proof)?.entry.body() else { return None };
        Some(Undecided {
            countersign: held.entry.header.id,
            person: countersign.person,
            proof: countersign.proof,
            key: proof.key,
            sealed: proof.sealed.to_vec(),
        })
    })
    .collect()
}

/// Decides them. One that is sealed to a key of before a change of the token secret stays undecided.
///
/// # Errors
/// The database.
pub(super) async fn decide(
    tx: &mut FirmTx,
    state: &AppState,
    open: Vec<Undecided>,
) -> Result<Vec<(FindingCode, EntryId, EntryId)>, ApiError> {
    if open.is_empty() {
        return Ok(Vec::new());
    }
    let key = PinKey::of_firm(&state.config.token_secret, tx.firm());
    let mut decided = Vec::with_capacity(open.len());
    for one in open.into_iter().filter(|one| one.key == key.name()) {
        let pin = key.open(&one.sealed, one.countersign, one.person);
        let right = is_theirs(tx, state, one.person, pin).await?;
        let code = if right { FindingCode::CountersignConfirmed } else { FindingCode::CountersignWrong };
        decided.push((code, one.countersign, one.proof));
    }
    Ok(decided)
}

async fn is_theirs(tx: &mut FirmTx, state: &AppState, person: PersonId, pin: Option<String>) -> Result<bool, ApiError> {
    let Some(row) = queries::lock_pin(tx, person).await? else { return Ok(false) };
    let Some(pin) = pin.filter(|_| row.wrong < WRONG_MAX) else { return Ok(false) };
    let mut right = state.passwords.verify(&pin, row.hash).await?;
    if !right && row.before_until_us.is_some_and(|until| state.clock.now_us() < until) {
        right = state.passwords.verify(&pin, row.before).await?;
    }
    queries::set_pin_wrong(tx, person, if right { 0 } else { row.wrong.saturating_add(1) }).await?;
    Ok(right)
}
