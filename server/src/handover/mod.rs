//! What leaves the firm about a job: the report, the data for makers and network operators, the sealed pack.
//!
//! [`report`] and [`registration`] gather what `domain::pack` and `domain::registration` need; [`seal`] makes a pack of everything
//! and keeps it, [`key`] is the key that signs it, [`numbers`] are what the server draws so that "not made before" can be
//! shown. What a pack proves is said in `domain::seal`. **Never enters:** requests; a photo's original in a pack.

pub mod key;
pub mod numbers;
mod pack;
mod queries;
pub mod registration;
pub mod report;
pub mod seal;

use std::collections::BTreeMap;

use domain::ids::{Hash32, JobId};

use crate::db::FirmTx;
use crate::error::ApiError;
use crate::photos::media::Media;

/// Photos of a job that are in the store.
///
/// # Errors
/// The database.
pub async fn arrived(tx: &mut FirmTx, job: JobId) -> Result<BTreeMap<Hash32, Media>, ApiError> {
    let rows = queries::arrived(tx, job).await?;
    let known = rows.into_iter().filter_map(|row| Some((hash(&row.sha256)?, Media::of_word(&row.media))));
    Ok(known.collect())
}

fn hash(bytes: &[u8]) -> Option<Hash32> {
    bytes.try_into().ok().map(Hash32::of)
}
