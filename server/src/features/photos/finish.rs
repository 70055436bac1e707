//! The last part is there: the parts become a photo, or nothing.

use domain::ids::{FirmId, Hash32, JobId};
use uuid::Uuid;

use super::{queries, store};
use crate::error::ApiError;
use crate::job_files::cut;
use crate::photos::store::Finished;
use crate::photos::view::make_ahead;
use crate::state::AppState;

/// What became of it.
pub(super) enum Outcome {
    /// It is a photo of the firm and has arrived for its job.
    Stored(Hash32),
    /// The bytes are not what was announced. The upload is gone; the client begins anew or gives up.
    OtherBytes,
}

/// Hashes the parts on their way to their place and writes down that the photo is here. No transaction is open while
/// bytes move. If anything fails in between, parts and row are still there, and the next PATCH (it may be empty) tries again.
pub(super) async fn finish(state: &AppState, firm: FirmId, id: Uuid, lock: Uuid) -> Result<Outcome, ApiError> {
    let mut tx = state.db.begin_for_firm(firm).await?;
    let row = queries::locked_upload(&mut tx, id, lock).await?.ok_or(ApiError::Conflict("taken_over"))?;
    tx.commit().await?;
    let sha256: [u8; 32] = row
        .sha256
        .as_slice()
        .try_into()
        .map_err(|_| ApiError::internal(anyhow::anyhow!("a hash of another length")))?;
    let (sha256, job) = (Hash32::of(sha256), JobId::of(row.job_id));
    let store = store(state);
    let finished = store.finish(id, &row.parts, firm, sha256).await?;

    let mut tx = state.db.begin_for_firm(firm).await?;
    let now_us = state.clock.now_us();
    match finished {
        Finished::Kept { bytes, media } => {
            queries::insert_photo(&mut tx, sha256, cut(bytes), media.word(), now_us).await?;
            queries::insert_arrival(&mut tx, job, sha256, row.person_id, now_us).await?;
            queries::delete_upload(&mut tx, id, None).await?;
        }
        Finished::OtherBytes => {
            // Whoever took over may have finished and swept the parts away under our hands.
            if !queries::delete_upload(&mut tx, id, Some(lock)).await? {
                return Err(ApiError::Conflict("taken_over"));
            }
        }
    }
    tx.commit().await?;
    if let Err(error) = store.drop_upload(id).await {
        // The photo is safe; what is left over is swept with the expired ones.
        tracing::warn!(upload = %id, error = ?error, "parts of a finished upload were left");
    }
    Ok(match finished {
        Finished::Kept { media, .. } => {
            make_ahead(store, firm, sha256, media);
            Outcome::Stored(sha256)
        }
        Finished::OtherBytes => Outcome::OtherBytes,
    })
}
