//! `POST /api/sync/pull`: what a device lacks.
//!
//! A device names the position that it has of each job. That this never misses an entry is explained where positions are
//! given: [`crate::job_files::append`].

use std::collections::{BTreeMap, BTreeSet};

use axum::body::Body as RequestBody;
use axum::extract::State;
use axum::http::HeaderMap;
use domain::ids::{EntryId, Hash32, JobId};
use domain::job_file::Stamp;
use domain::job_file::body::MethodRef;
use domain::people::{Action, Ownership};
use domain::wire::limits::PULL_ENTRIES_MAX;
use domain::wire::sync::{JobHead, Pull, PullReply, PulledEntry, SYNC_VERSION};
use domain::wire::{from_bytes, to_bytes};
use uuid::Uuid;

use super::{PULL_BODY_BYTES_MAX, Taken, queries, require_cbor, require_version, taken};
use crate::auth::Caller;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::handover::numbers;
use crate::http::body;
use crate::job_files::project::project_for_pull;
use crate::job_files::visible::{VisibleJob, visible_jobs};
use crate::job_files::voice::draw_for_crew;
use crate::job_files::{cut, wire};
use crate::state::AppState;

/// Bytes of envelopes in one answer: it has to get through on a slow line, and then there is `more`.
const PULL_BYTES_MAX: u64 = 1024 * 1024;

/// Answers with the manifest and the next missing entries.
///
/// # Errors
/// Not CBOR of a pull, nobody signed in, the database does not answer.
pub async fn pull_entries(
    caller: Caller,
    State(state): State<AppState>,
    headers: HeaderMap,
    body: RequestBody,
) -> Result<Taken, ApiError> {
    require_cbor(&headers)?;
    let body = body::read_packed(&headers, body, PULL_BODY_BYTES_MAX).await?;
    let pull: Pull = from_bytes(&body).map_err(|error| ApiError::Malformed(format!("not a pull: {error}")))?;
    require_version(pull.version)?;
    let now_us = state.clock.now_us();
    let mut tx = state.db.begin_for(&caller).await?;
    caller.may(Action::Sync, Ownership::Own)?;
    queries::note_contact(&mut tx, caller.device, now_us, Some(pull.waiting)).await?;
    tx.commit().await?;

    // Who may see what is a projection: an assignment that was just pushed counts at once.
    project_for_pull(&state, &caller).await?;
    if draw_for_crew(&state, &caller).await? {
        project_for_pull(&state, &caller).await?;
    }
    let epoch = state.db.epoch().await?;
    let mut tx = state.db.begin_for(&caller).await?;
    let jobs = visible_jobs(&mut tx, &caller, &pull.also, now_us).await?;
    // Positions of another server life say nothing about this one: what was at 17 may never have been restored.
    let have: BTreeMap<JobId, u64> =
        if pull.epoch.as_slice() == epoch { pull.have.iter().copied().collect() } else { BTreeMap::new() };
    queries::note_received(&mut tx, caller.device, &epoch, &said_received(&jobs, &have, &pull.written)).await?;
    let (entries, more) = missing(&mut tx, &jobs, &have).await?;
    let reply = PullReply {
        version: SYNC_VERSION,
        epoch: epoch.to_vec().into(),
        server_us: state.clock.now_wire_us(),
        manifest: jobs.iter().map(|job| JobHead { job: job.job, position: wire(job.head) }).collect(),
        entries,
        more,
        methods: methods_of(&jobs),
        reference_version: wire(queries::reference_version(&mut tx).await?),
        firm: caller.firm,
        drawn_number: numbers::current(&mut tx, &state.clock).await?,
    };
    tx.commit().await?;
    Ok(taken(to_bytes(&reply)))
}

/// What the device says to have of the jobs that it may see; nobody has more of a job than there is.
fn said_received(
    jobs: &[VisibleJob],
    have: &BTreeMap<JobId, u64>,
    written: &[(JobId, u64)],
) -> Vec<queries::SaidReceived> {
    let own = |job: JobId| written.iter().filter(|(own, _)| *own == job).map(|(_, seq)| *seq).max().unwrap_or(0);
    let said = jobs.iter().filter_map(|job| {
        let position = cut(*have.get(&job.job)?).min(job.head);
        (position > 0).then(|| queries::SaidReceived { job: job.job, position, written: cut(own(job.job)) })
    });
    said.collect()
}

/// The next entries, job after job in position order, within the limits; and whether there are others.
async fn missing(
    tx: &mut FirmTx,
    jobs: &[VisibleJob],
    have: &BTreeMap<JobId, u64>,
) -> Result<(Vec<PulledEntry>, bool), ApiError> {
    let behind: Vec<(Uuid, i64)> = jobs
        .iter()
        .map(|job| (job.job, cut(have.get(&job.job).copied().unwrap_or(0)), job.head))
        .filter(|(_, after, head)| after < head)
        .map(|(job, after, _)| (job.uuid(), after))
        .collect();
    if behind.is_empty() {
        return Ok((Vec::new(), false));
    }
    // Sizes first: reading two thousand envelopes of 64 KiB to send sixteen would be a way to make us fall over.
    let sizes = queries::sizes_after(tx, &behind, PULL_ENTRIES_MAX + 1).await?;
    let mut bytes = 0;
    let fits = |size: &&queries::SizeRow| {
        bytes += wire(i64::from(size.bytes));
        bytes <= PULL_BYTES_MAX
    };
    let taken: Vec<&queries::SizeRow> = sizes.iter().take(PULL_ENTRIES_MAX).take_while(fits).collect();
    let more = taken.len() < sizes.len();
    let ids: Vec<Uuid> = taken.iter().map(|size| size.entry_id).collect();
    let mut rows: BTreeMap<Uuid, queries::PulledRow> =
        queries::pulled(tx, &ids).await?.into_iter().map(|row| (row.entry_id, row)).collect();
    // In the order of the sizes: job after job.
    let entries = ids.iter().filter_map(|id| rows.remove(id)).map(|row| PulledEntry {
        job: JobId::of(row.job_id),
        id: EntryId::of(row.entry_id),
        stamp: Stamp { time_us: wire(row.stamp_us), position: wire(row.position) },
        envelope: row.envelope.into(),
    });
    Ok((entries.collect(), more))
}

fn methods_of(jobs: &[VisibleJob]) -> Vec<MethodRef> {
    let pinned = jobs.iter().filter_map(|job| job.method.as_ref()).filter_map(|(id, version, hash)| {
        let hash = Hash32::of(hash.as_slice().try_into().ok()?);
        Some(MethodRef { id: id.clone(), version: *version, hash })
    });
    pinned.collect::<BTreeSet<MethodRef>>().into_iter().collect()
}
