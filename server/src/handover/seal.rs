//! Makes seal n of a job: reads, decides, puts the pack together, keeps it, and tells the log.
//!
//! The pack lies in the photo store before its row is written, so that a row never names a pack that is not there. Everything
//! slow happens before the firm's lock is taken; under the lock it is only seen whether somebody else was quicker.

use std::collections::BTreeSet;
use std::sync::Arc;

use bytes::Bytes;
use domain::ids::{FirmId, Hash32, JobId, PersonId};
use domain::job_file::body::Sealed;
use domain::job_file::{Body, JobFile, fold};
use domain::method::gate::Plan;
use domain::seal::pack::{MANIFEST_NAME, Seal, seal};
use domain::seal::ready::{Obstacle, obstacles};
use domain::seal::{SealedNonce, zip};
use serde::Serialize;

use super::key::Sealing;
use super::pack::{Around, Made, beside, devices_of};
use super::report::{self, Outside};
use super::{arrived, hash, numbers, queries, registration};
use crate::auth::Caller;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::job_files::append::FirmLock;
use crate::job_files::load::load;
use crate::job_files::own::write_own;
use crate::job_files::project::{method_of, project_dirty};
use crate::job_files::visible::require_visible;
use crate::job_files::{cut, wire};
use crate::methods::Published;
use crate::photos::store::Opened;
use crate::state::AppState;

/// Somebody else was quicker this often: the caller looks again.
const TRIES: usize = 3;

/// One seal as the API gives it.
#[derive(Clone, Debug, Serialize)]
pub struct SealJson {
    number: i32,
    sealed_us: i64,
    /// Entries inside.
    entries: i64,
    /// Size of the pack.
    bytes: i64,
    /// Fingerprint of the key, in groups.
    key: String,
    by: PersonId,
}

impl SealJson {
    fn of(row: &queries::SealRow) -> Self {
        Self {
            number: row.number,
            sealed_us: row.sealed_us,
            entries: row.up_to,
            bytes: row.pack_bytes,
            key: hash(&row.key).unwrap_or(Hash32::NONE).grouped(),
            by: PersonId::of(row.by_person),
        }
    }
}

/// The seals of a job and what stands in the way of the next.
#[derive(Debug, Serialize)]
pub struct Standing {
    seals: Vec<SealJson>,
    obstacles: Vec<Obstacle>,
    /// Entries that arrived after the newest seal and ask for the next.
    later: usize,
    /// Whether this server has a key.
    can_seal: bool,
}

/// What a job's seals are like.
///
/// # Errors
/// [`ApiError::NotFound`], or the database.
pub async fn standing(state: &AppState, caller: &Caller, job: JobId) -> Result<Standing, ApiError> {
    project_dirty(state, caller.firm).await?;
    let mut tx = state.db.begin_for(caller).await?;
    require_visible(&mut tx, caller, job).await?;
    let loaded = load(&mut tx, job).await?.ok_or(ApiError::NotFound)?;
    let method = method_of(state, &loaded.file).await?;
    let arrived = arrived(&mut tx, job).await?.into_keys().collect();
    let seals = queries::seals(&mut tx, job).await?.iter().map(SealJson::of).collect();
    tx.commit().await?;
    let can_seal = state.sealing.is_some();
    let Some(method) = method else {
        return Ok(Standing { seals, obstacles: vec![Obstacle::NeedsNewer], later: 0, can_seal });
    };
    let (obstacles, later) = look(Arc::new(loaded.file), method, arrived).await?;
    Ok(Standing { seals, obstacles, later, can_seal })
}

/// Opens the pack of a seal.
///
/// # Errors
/// [`ApiError::NotFound`], the database, the photo store.
pub async fn open_pack(state: &AppState, caller: &Caller, job: JobId, number: i32) -> Result<Opened, ApiError> {
    project_dirty(state, caller.firm).await?;
    let mut tx = state.db.begin_for(caller).await?;
    require_visible(&mut tx, caller, job).await?;
    let seals = queries::seals(&mut tx, job).await?;
    tx.commit().await?;
    let row = seals.into_iter().find(|row| row.number == number).ok_or(ApiError::NotFound)?;
    let opened = state.photo_store().open_pack(caller.firm, row.object).await?;
    opened.ok_or_else(|| ApiError::internal(anyhow::anyhow!("the store lacks the pack of a seal")))
}

/// Seals a job. Where everything is inside a seal already, that one is the answer: a call may be repeated.
///
/// # Errors
/// [`ApiError::NotReadyToSeal`] with everything that stands in the way, [`ApiError::Conflict`] `seal_key_missing` or
/// `job_changes`, [`ApiError::NotFound`], the database, the photo store.
pub async fn seal_job(state: &AppState, caller: &Caller, job: JobId, language: &str) -> Result<SealJson, ApiError> {
    let sealing = state.sealing.clone().ok_or(ApiError::Conflict("seal_key_missing"))?;
    for _ in 0..TRIES {
        project_dirty(state, caller.firm).await?;
        if let Some(made) = attempt(state, caller, job, language, &sealing).await? {
            return Ok(made);
        }
    }
    Err(ApiError::Conflict("job_changes"))
}

/// `None`: somebody else sealed meanwhile.
async fn attempt(
    state: &AppState,
    caller: &Caller,
    job: JobId,
    language: &str,
    sealing: &Sealing,
) -> Result<Option<SealJson>, ApiError> {
    let mut tx = state.db.begin_for(caller).await?;
    require_visible(&mut tx, caller, job).await?;
    let loaded = load(&mut tx, job).await?.ok_or(ApiError::NotFound)?;
    let file = Arc::new(loaded.file);
    let Some(method) = method_of(state, &file).await? else {
        return Err(ApiError::NotReadyToSeal(vec![Obstacle::NeedsNewer]));
    };
    let before = queries::seals(&mut tx, job).await?;
    let arrived = arrived(&mut tx, job).await?.into_keys().collect();
    let (in_the_way, _) = look(Arc::clone(&file), Arc::clone(&method), arrived).await?;
    match (in_the_way.as_slice(), before.last()) {
        ([], _) => {}
        ([Obstacle::NothingNew], Some(last)) => return Ok(Some(SealJson::of(last))),
        (_, _) => return Err(ApiError::NotReadyToSeal(in_the_way)),
    }
    let number = before.len() + 1;
    let around = around(state, &mut tx, caller, job, language, &file, &method).await?;
    let drawn = numbers::of_file(&mut tx, &file).await?;
    tx.commit().await?;

    let last_stamp = file.iter().filter_map(|held| held.stamp).map(|stamp| stamp.time_us).max().unwrap_or(0);
    let which = Seal {
        firm: caller.firm,
        job,
        number: u32::try_from(number).unwrap_or(u32::MAX),
        sealed_us: state.clock.now_wire_us().max(last_stamp),
    };
    let made = make(state, which, Arc::clone(&file), &method, around, drawn, language, sealing).await?;
    keep(state, caller, which, file.head(), before.len(), made, sealing).await
}

/// Folds the file; seconds for a large one, so not on a thread that serves requests.
async fn look(
    file: Arc<JobFile>,
    method: Arc<Published>,
    arrived: BTreeSet<Hash32>,
) -> Result<(Vec<Obstacle>, usize), ApiError> {
    let looked = tokio::task::spawn_blocking(move || {
        let plan = Plan::of(&method.method);
        let state = fold(&file, &plan);
        (obstacles(&state, &arrived), state.after_seal.len())
    });
    looked.await.map_err(ApiError::internal)
}

async fn around(
    state: &AppState,
    tx: &mut FirmTx,
    caller: &Caller,
    job: JobId,
    language: &str,
    file: &JobFile,
    method: &Arc<Published>,
) -> Result<Around, ApiError> {
    Ok(Around {
        outside: Outside::load(tx, caller, job, language).await?,
        registration: registration::of_file(state, tx, job, "sealed".to_owned(), file.clone(), Arc::clone(method))
            .await?,
        devices: devices_of(tx, file).await?,
    })
}

#[allow(clippy::too_many_arguments, reason = "each is one thing that a pack is made of")]
async fn make(
    state: &AppState,
    which: Seal,
    file: Arc<JobFile>,
    method: &Published,
    mut around: Around,
    drawn: Vec<SealedNonce>,
    language: &str,
    sealing: &Sealing,
) -> Result<Made, ApiError> {
    around.outside.seal.key = Some(sealing.fingerprint());
    around.outside.seal.number = Some(which.number);
    let report = report::pdf(state, which.firm, &file, method, which.job, &around.outside).await?;
    let mut beside = beside(state, which.firm, which.job, &file, &around, report, language).await?;
    beside.nonces = drawn;
    let sealing = sealing.clone();
    let made = tokio::task::spawn_blocking(move || -> Result<Made, anyhow::Error> {
        let pack = seal(which, &file, beside, sealing.key())
            .map_err(|why| anyhow::anyhow!("a pack cannot be written: {why:?}"))?;
        let files = zip::read(&pack).map_err(|why| anyhow::anyhow!("a pack cannot be read: {why:?}"))?;
        let Some(manifest) = files.get(MANIFEST_NAME) else { anyhow::bail!("a pack has no manifest") };
        let manifest = Hash32::sha256(manifest);
        Ok(Made { sha256: Hash32::sha256(&pack), manifest, bytes: Bytes::from(pack) })
    });
    made.await.map_err(ApiError::internal)?.map_err(ApiError::internal)
}

/// Puts the pack into the store and, if nobody was quicker, its row and its entry into the database.
async fn keep(
    state: &AppState,
    caller: &Caller,
    which: Seal,
    up_to: u64,
    seals_before: usize,
    made: Made,
    sealing: &Sealing,
) -> Result<Option<SealJson>, ApiError> {
    let (object, store) = (state.clock.new_id(), state.photo_store());
    store.keep_pack(caller.firm, object, made.bytes.clone()).await?;
    let written = write(state, caller, which, up_to, seals_before, object, &made, sealing).await;
    if !matches!(written, Ok(Some(_)))
        && let Err(error) = drop_unnamed(state, caller.firm, which.job, object).await
    {
        tracing::warn!(error = ?error, "a pack that no seal names was left in the store");
    }
    written
}

/// A commit whose answer was lost may have written the row after all: then the pack is needed.
async fn drop_unnamed(state: &AppState, firm: FirmId, job: JobId, object: uuid::Uuid) -> Result<(), ApiError> {
    let mut tx = state.db.begin_for_firm(firm).await?;
    let named = queries::seals(&mut tx, job).await?.iter().any(|row| row.object == object);
    tx.commit().await?;
    if !named {
        state.photo_store().drop_pack(firm, object).await?;
    }
    Ok(())
}

#[allow(clippy::too_many_arguments, reason = "each is one column of the row")]
async fn write(
    state: &AppState,
    caller: &Caller,
    which: Seal,
    up_to: u64,
    seals_before: usize,
    object: uuid::Uuid,
    made: &Made,
    sealing: &Sealing,
) -> Result<Option<SealJson>, ApiError> {
    let mut tx = state.db.begin_for(caller).await?;
    let _lock = FirmLock::take(&mut tx).await?;
    if queries::seals(&mut tx, which.job).await?.len() != seals_before {
        return Ok(None);
    }
    let key = sealing.fingerprint();
    let body = Sealed { number: which.number, up_to, manifest: made.manifest, key, by: caller.person };
    let entry = write_own(&mut tx, &state.clock, which.job, None, Body::Sealed(body)).await?;
    let number = i32::try_from(which.number).unwrap_or(i32::MAX);
    let new = queries::NewSeal {
        job: which.job,
        number,
        entry: entry.uuid(),
        up_to: cut(up_to),
        object,
        pack_bytes: cut(made.bytes.len() as u64),
        pack_sha256: made.sha256.bytes(),
        manifest: made.manifest.bytes(),
        key: key.bytes(),
        by: caller.person.uuid(),
        sealed_us: cut(which.sealed_us),
    };
    queries::insert_seal(&mut tx, &new).await?;
    tx.commit().await?;
    debug_assert_eq!(wire(new.up_to), up_to);
    Ok(Some(SealJson {
        number,
        sealed_us: new.sealed_us,
        entries: new.up_to,
        bytes: new.pack_bytes,
        key: key.grouped(),
        by: caller.person,
    }))
}
