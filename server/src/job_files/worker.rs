//! Projects a firm's jobs soon after a push, and draws their answers for the telephone, so that the next reader need not wait for it.
//!
//! Nothing depends on it: whoever reads a projection brings it up to date first, and whoever needs an answer draws it.

use std::collections::BTreeSet;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

use domain::ids::FirmId;

use super::project::project_all_and_draw;
use crate::error::ApiError;
use crate::state::AppState;

/// Pushes come in rows; one round after them is enough.
const SETTLE: Duration = Duration::from_millis(300);

static SCHEDULED: Mutex<BTreeSet<FirmId>> = Mutex::new(BTreeSet::new());

/// Asks for a round, unless one is already asked for.
pub fn project_soon(state: &AppState, firm: FirmId) {
    if !scheduled().insert(firm) {
        return;
    }
    let state = state.clone();
    tokio::spawn(async move {
        tokio::time::sleep(SETTLE).await;
        // Before the work: what is pushed from here on asks for a round of its own.
        scheduled().remove(&firm);
        if let Err(error) = project_all_and_draw(&state, firm).await {
            tracing::warn!(%firm, error = ?error, "jobs were not projected; the next reader tries again");
        }
    });
}

/// The round itself, for whoever cannot wait for it: tests.
///
/// # Errors
/// The database does not answer.
pub async fn project_now(state: &AppState, firm: FirmId) -> Result<(), ApiError> {
    project_all_and_draw(state, firm).await
}

fn scheduled() -> std::sync::MutexGuard<'static, BTreeSet<FirmId>> {
    SCHEDULED.lock().unwrap_or_else(PoisonError::into_inner)
}
