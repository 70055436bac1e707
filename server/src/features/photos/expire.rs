//! Uploads that nobody went on with.

use domain::ids::FirmId;

use super::{queries, store};
use crate::error::ApiError;
use crate::state::AppState;

/// Removes what ran out, rows and parts. Gives how many.
///
/// # Errors
/// The database or the store does not answer; the next round goes on.
pub async fn expire_uploads(state: &AppState, firm: FirmId) -> Result<usize, ApiError> {
    let mut tx = state.db.begin_for_firm(firm).await?;
    let expired = queries::expired_uploads(&mut tx, state.clock.now_us()).await?;
    tx.commit().await?;
    for id in &expired {
        // Parts first: a row without parts is found again, parts without a row never.
        store(state).drop_upload(*id).await?;
        let mut tx = state.db.begin_for_firm(firm).await?;
        queries::delete_upload(&mut tx, *id, None).await?;
        tx.commit().await?;
    }
    Ok(expired.len())
}
