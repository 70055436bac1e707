//! Numbers that the server draws, one a firm and hour. A device writes the one that it was told into a job file; what follows it in the
//! device's chain was not made before the number was drawn.

use std::collections::BTreeSet;

use domain::ids::Hash32;
use domain::job_file::{Body, JobFile};
use domain::seal::SealedNonce;

use super::{hash, queries};
use crate::clock::{Clock, SECOND_US};
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::job_files::wire;

const HOUR_US: i64 = 60 * 60 * SECOND_US;

/// The number of this hour; drawn by whichever process is asked first.
///
/// # Errors
/// The database.
pub async fn current(tx: &mut FirmTx, clock: &Clock) -> Result<Option<Hash32>, ApiError> {
    let now_us = clock.now_us();
    let hour = now_us.div_euclid(HOUR_US);
    if let Some(number) = queries::drawn_number(tx, hour).await? {
        return Ok(hash(&number));
    }
    let fresh = [clock.new_salt(), clock.new_salt()].concat();
    queries::draw_number(tx, hour, &fresh, now_us).await?;
    Ok(queries::drawn_number(tx, hour).await?.as_deref().and_then(hash))
}

/// The server's numbers that entries of this file carry, with the times at which they were drawn.
///
/// # Errors
/// The database.
pub(super) async fn of_file(tx: &mut FirmTx, file: &JobFile) -> Result<Vec<SealedNonce>, ApiError> {
    let carried: BTreeSet<Hash32> = file
        .iter()
        .filter_map(|held| match held.entry.body() {
            Some(Body::DrawnNumber(drawn)) => Some(drawn.number),
            _ => None,
        })
        .collect();
    let carried: Vec<Vec<u8>> = carried.into_iter().map(|number| number.bytes().to_vec()).collect();
    let rows = queries::drawn_numbers(tx, &carried).await?;
    Ok(rows
        .into_iter()
        .filter_map(|row| Some(SealedNonce { nonce: hash(&row.number)?, drawn_us: wire(row.drawn_us) }))
        .collect())
}
