//! A job file as the domain knows it.

use domain::ids::JobId;
use domain::job_file::{Entry, JobFile, Stamp};

use super::{queries, wire};
use crate::db::FirmTx;
use crate::error::ApiError;

/// A job file up to a position.
#[derive(Debug)]
pub struct Loaded {
    /// The entries.
    pub file: JobFile,
    /// The job's head when it was read.
    pub head: i64,
}

/// Loads a job; `None` if the firm has no such job.
///
/// # Errors
/// The database, or bytes in it that are no entry: they were checked when they came in, so that is corruption.
pub async fn load(tx: &mut FirmTx, job: JobId) -> Result<Option<Loaded>, ApiError> {
    let Some(head) = queries::head(tx, job).await? else { return Ok(None) };
    let rows = queries::entries_of(tx, job, head).await?;
    let mut file = JobFile::default();
    for row in rows {
        let entry = Entry::read(&row.envelope)
            .map_err(|why| ApiError::internal(anyhow::anyhow!("job {job} position {}: {why:?}", row.position)))?;
        file.absorb(entry, Some(Stamp { time_us: wire(row.stamp_us), position: wire(row.position) }));
    }
    Ok(Some(Loaded { file, head }))
}
