//! `POST /api/sync/push`: entries come in, one verdict each.

use std::collections::{BTreeMap, BTreeSet};

use axum::body::Body as RequestBody;
use axum::extract::State;
use axum::http::HeaderMap;
use domain::ids::{DeviceId, JobId};
use domain::job_file::{Body, Content, Entry, NotAnEntry};
use domain::people::{Action, Ownership, may_write};
use domain::wire::limits::PUSH_ENTRIES_MAX;
use domain::wire::sync::{HeldWhy, Push, PushReply, PushVerdict, RefusedWhy, SYNC_VERSION};
use domain::wire::{from_bytes, to_bytes};

use super::{PUSH_BODY_BYTES_MAX, Taken, queries, require_cbor, require_version, taken};
use crate::auth::Caller;
use crate::db::{FirmTx, Standing};
use crate::error::ApiError;
use crate::http::body;
use crate::job_files::append::{Appended, FirmLock, append};
use crate::job_files::worker::project_soon;
use crate::state::AppState;

/// Takes a batch.
///
/// # Errors
/// The message as a whole: not CBOR of a push, too large, nobody signed in, the database does not answer. What is wrong
/// with one entry is that entry's verdict.
pub async fn push_entries(
    caller: Caller,
    State(state): State<AppState>,
    headers: HeaderMap,
    body: RequestBody,
) -> Result<Taken, ApiError> {
    require_cbor(&headers)?;
    let body = body::read_packed(&headers, body, PUSH_BODY_BYTES_MAX).await?;
    let push: Push = from_bytes(&body).map_err(|error| ApiError::Malformed(format!("not a push: {error}")))?;
    require_version(push.version)?;
    if push.entries.len() > PUSH_ENTRIES_MAX {
        return Err(ApiError::TooLarge);
    }
    let verdicts = take(&state, &caller, &push).await?;
    if verdicts.iter().any(|verdict| matches!(verdict, PushVerdict::Stored(_))) {
        project_soon(&state, caller.firm);
    }
    let epoch = state.db.epoch().await?;
    let reply = PushReply {
        version: SYNC_VERSION,
        epoch: epoch.to_vec().into(),
        server_us: state.clock.now_wire_us(),
        verdicts,
    };
    Ok(taken(to_bytes(&reply)))
}

/// What is decided about an entry before the firm is locked.
enum Judged {
    Refused(RefusedWhy),
    Held(Box<Entry>, HeldWhy),
    Good(Box<Entry>),
}

async fn take(state: &AppState, caller: &Caller, push: &Push) -> Result<Vec<PushVerdict>, ApiError> {
    let _turn = state.turns.push(caller.firm).await;
    let now_us = state.clock.now_us();
    let (mut tx, standing) = state.db.begin_for_delivery(caller).await?;
    caller.may(Action::Sync, Ownership::Own)?;
    let devices = queries::devices_of(&mut tx, caller.person).await?;
    let judged: Vec<Judged> = push.entries.iter().map(|bytes| judge(caller, standing, &devices, bytes)).collect();

    // Whether there is such a job is asked under the lock: another push may be opening it at this moment.
    let mut lock = FirmLock::take(&mut tx).await?;
    let judged = hold_without_job(&mut tx, judged).await?;
    let mut verdicts: Vec<Option<PushVerdict>> = judged.iter().map(|_| None).collect();
    let mut held: Vec<(&Entry, HeldWhy)> = Vec::new();
    let mut good: Vec<usize> = Vec::new();
    for (at, one) in judged.iter().enumerate() {
        match one {
            Judged::Refused(why) => verdicts[at] = Some(PushVerdict::Refused(*why)),
            Judged::Held(entry, why) => {
                verdicts[at] = Some(PushVerdict::Held(*why));
                held.push((entry, *why));
            }
            Judged::Good(_) => good.push(at),
        }
    }
    // A plan goes before whatever else came with it, so that a job's first entry is what opens it.
    good.sort_by_key(|at| !opens(&judged[*at]));
    let entries: Vec<Entry> = good.iter().filter_map(|at| judged[*at].good().cloned()).collect();
    let outcomes = append(&mut tx, &mut lock, now_us, &entries).await?;
    for (at, outcome) in good.iter().zip(outcomes) {
        verdicts[*at] = Some(match outcome {
            Appended::Stored(stamp) => PushVerdict::Stored(stamp),
            Appended::Had(stamp) => PushVerdict::Had(stamp),
            Appended::Impossible => PushVerdict::Refused(RefusedWhy::Malformed),
            Appended::OtherBytes => PushVerdict::Held(HeldWhy::SameIdOtherBytes),
        });
        if let (Appended::OtherBytes, Some(entry)) = (outcome, judged[*at].good()) {
            held.push((entry, HeldWhy::SameIdOtherBytes));
        }
    }
    queries::hold(&mut tx, caller, &held, now_us).await?;
    release_waiting(&mut tx, &mut lock, now_us, &entries).await?;
    queries::note_contact(&mut tx, caller.device, now_us, None).await?;
    tx.commit().await?;
    Ok(verdicts.into_iter().map(|verdict| verdict.expect("each entry was judged or appended")).collect())
}

impl Judged {
    fn good(&self) -> Option<&Entry> {
        match self {
            Self::Good(entry) => Some(entry),
            Self::Refused(_) | Self::Held(..) => None,
        }
    }
}

fn opens(one: &Judged) -> bool {
    one.good().is_some_and(|entry| matches!(entry.body(), Some(Body::JobPlanned(_))))
}

fn judge(caller: &Caller, standing: Standing, devices: &BTreeMap<DeviceId, bool>, bytes: &[u8]) -> Judged {
    let entry = match Entry::read(bytes) {
        Ok(entry) => entry,
        Err(NotAnEntry::TooLarge) => return Judged::Refused(RefusedWhy::TooLarge),
        Err(NotAnEntry::Version(_)) => return Judged::Refused(RefusedWhy::Version),
        Err(NotAnEntry::Malformed | NotAnEntry::BodyHash | NotAnEntry::Chain) => {
            return Judged::Refused(RefusedWhy::Malformed);
        }
    };
    if entry.header.firm != caller.firm {
        return Judged::Refused(RefusedWhy::OtherFirm);
    }
    match why_held(caller, standing, devices, &entry) {
        Some(why) => Judged::Held(Box::new(entry), why),
        None => Judged::Good(Box::new(entry)),
    }
}

/// Why a person must look first. Whether the job exists is asked last and elsewhere: what waits for its job only may be
/// let in without anybody's doing once the job is there.
fn why_held(caller: &Caller, standing: Standing, devices: &BTreeMap<DeviceId, bool>, entry: &Entry) -> Option<HeldWhy> {
    if entry.header.author != caller.person {
        return Some(HeldWhy::AuthorNotYou);
    }
    match devices.get(&entry.header.device) {
        None => return Some(HeldWhy::DeviceNotYours),
        Some(true) => return Some(HeldWhy::DeviceRevoked),
        Some(false) => {}
    }
    match standing {
        Standing::Good => {}
        // Whoever was shut out, device or person: their last work is kept for somebody to look at.
        Standing::DeviceRevoked | Standing::PersonInactive => return Some(HeldWhy::DeviceRevoked),
    }
    match &entry.content {
        Content::Body(body) if may_write(&caller.roles, body) => None,
        Content::Body(_) => Some(HeldWhy::RoleMayNot),
        Content::Unreadable => Some(HeldWhy::BodyUnreadable),
        // A newer app's kind, or a body that was erased before it came here: kept as it is.
        Content::Unknown | Content::Erased => None,
    }
}

async fn hold_without_job(tx: &mut FirmTx, judged: Vec<Judged>) -> Result<Vec<Judged>, ApiError> {
    let asked: BTreeSet<JobId> = judged.iter().filter_map(Judged::good).map(|entry| entry.header.job).collect();
    let mut known = queries::jobs_of(tx, &asked).await?;
    known.extend(judged.iter().filter(|one| opens(one)).filter_map(Judged::good).map(|entry| entry.header.job));
    let held = judged.into_iter().map(|one| match one {
        Judged::Good(entry) if !known.contains(&entry.header.job) => Judged::Held(entry, HeldWhy::NoSuchJob),
        other => other,
    });
    Ok(held.collect())
}

/// Entries that waited for nothing but their job. After a restore the phones come back in any order, and the lead's, which
/// brings the plan, need not be the first.
async fn release_waiting(tx: &mut FirmTx, lock: &mut FirmLock, now_us: i64, pushed: &[Entry]) -> Result<(), ApiError> {
    let opened: BTreeSet<JobId> = pushed
        .iter()
        .filter(|entry| matches!(entry.body(), Some(Body::JobPlanned(_))))
        .map(|entry| entry.header.job)
        .collect();
    if opened.is_empty() {
        return Ok(());
    }
    let waiting = queries::waiting_for_job(tx, &opened).await?;
    let mut entries: Vec<Entry> = waiting.iter().filter_map(|bytes| Entry::read(bytes).ok()).collect();
    entries.sort_by_key(|entry| (entry.header.device, entry.header.seq));
    append(tx, lock, now_us, &entries).await?;
    Ok(())
}
