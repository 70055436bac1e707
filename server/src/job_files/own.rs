//! Entries by the server's own device.

use domain::ids::{EntryId, JobId, PersonId};
use domain::job_file::{Body, Draft, Entry};

use super::append::{Appended, FirmLock, append};
use super::{queries, wire};
use crate::clock::Clock;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::firms;

/// Writes one. `author`: the person whose act it is; nobody's where the server speaks for itself, and its device stands
/// where a person would.
///
/// # Errors
/// The database.
pub(crate) async fn write_own(
    tx: &mut FirmTx,
    clock: &Clock,
    job: JobId,
    author: Option<PersonId>,
    body: Body,
) -> Result<EntryId, ApiError> {
    let mut lock = FirmLock::take(tx).await?;
    let device = firms::server_device(tx).await?;
    let author = author.unwrap_or_else(|| PersonId::of(device.uuid()));
    let (head, seen) = queries::chain_head(tx, job, device).await?;
    let now_us = clock.now_us();
    let id = EntryId::of(clock.new_id());
    let draft = Draft { id, firm: tx.firm(), job, author, device, salt: clock.new_salt(), body };
    let entry = Entry::write(draft, head, seen, wire(now_us), wire(lock.last_stamp_us()));
    match append(tx, &mut lock, now_us, &[entry]).await?.as_slice() {
        [Appended::Stored(_)] => Ok(id),
        other => Err(ApiError::internal(anyhow::anyhow!("an entry of the server's own was not stored: {other:?}"))),
    }
}
