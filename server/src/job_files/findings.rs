//! What only the server can know, written into the log by the server's own device.
//!
//! A finding says that two entries need a person's eye; it blocks nothing on site. Its id follows from what it says, so
//! it is made once, however often a job is projected and whatever order things arrived in. Where two jobs are
//! concerned, each gets its own.

use std::collections::BTreeMap;

use domain::ids::{EntryId, JobId, PersonId, uuid_v7};
use domain::job_file::body::{DoubtCode, Finding, FindingCode, OriginDoubt};
use domain::job_file::{Body, ChainHead, Draft, Entry};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use super::append::{FirmLock, append};
use super::{queries, wire};
use crate::clock::Clock;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::firms;

const ID_PREFIX: &[u8] = b"witnessmark finding 1\0";
const DOUBT_PREFIX: &[u8] = b"witnessmark origin doubt 1\0";

/// What was found in a job file itself.
#[derive(Debug, Default)]
pub(super) struct Found {
    /// What two entries have to do with each other.
    pub(super) pairs: Vec<(FindingCode, EntryId, EntryId)>,
    /// What is doubtful about where an entry came from.
    pub(super) doubts: Vec<(DoubtCode, EntryId)>,
}

/// Looks for what concerns a job that was just projected, and writes that and what else was `found`, unless it is
/// written already.
///
/// # Errors
/// The database.
pub(super) async fn write(tx: &mut FirmTx, clock: &Clock, job: JobId, found: Found) -> Result<(), ApiError> {
    let mut wanted: BTreeMap<EntryId, (JobId, Body)> = BTreeMap::new();
    let mut want = |job: JobId, code, about: Uuid, other: Uuid| {
        let finding = Finding { code, about: EntryId::of(about), other: Some(EntryId::of(other)) };
        let body = Body::Finding(finding);
        wanted.insert(id_of(EntryId::of(about), &body), (job, body));
    };
    for pair in queries::serials_elsewhere(tx, job).await? {
        want(job, FindingCode::SerialElsewhere, pair.mine, pair.other);
        want(JobId::of(pair.other_job), FindingCode::SerialElsewhere, pair.other, pair.mine);
    }
    for pair in queries::photos_elsewhere(tx, job).await? {
        want(job, FindingCode::PhotoElsewhere, pair.mine, pair.other);
        want(JobId::of(pair.other_job), FindingCode::PhotoElsewhere, pair.other, pair.mine);
    }
    for (code, about, other) in found.pairs {
        want(job, code, about.uuid(), other.uuid());
    }
    for (code, about) in found.doubts {
        let body = Body::OriginDoubt(OriginDoubt { code, about });
        wanted.insert(id_of(about, &body), (job, body));
    }
    let ids: Vec<Uuid> = wanted.keys().map(|id| id.uuid()).collect();
    for row in queries::entries_by_id(tx, &ids).await? {
        wanted.remove(&EntryId::of(row.entry_id));
    }
    if wanted.is_empty() {
        return Ok(());
    }

    let mut lock = FirmLock::take(tx).await?;
    let device = firms::server_device(tx).await?;
    let now_us = clock.now_us();
    let mut chains: BTreeMap<JobId, (ChainHead, u64)> = BTreeMap::new();
    let mut entries = Vec::with_capacity(wanted.len());
    for (id, (job, body)) in wanted {
        let (head, seen) = match chains.get(&job) {
            Some(chain) => *chain,
            None => queries::chain_head(tx, job, device).await?,
        };
        let draft = Draft {
            id,
            firm: tx.firm(),
            job,
            // The server is nobody: its device stands where a person would.
            author: PersonId::of(device.uuid()),
            device,
            salt: salt_of(&body),
            body,
        };
        let entry = Entry::write(draft, head, seen, wire(now_us), wire(lock.last_stamp_us()));
        chains.insert(job, (entry.as_head(), seen));
        entries.push(entry);
    }
    append(tx, &mut lock, now_us, &entries).await?;
    Ok(())
}

fn digest_of(body: &Body) -> [u8; 32] {
    let mut sha = Sha256::new();
    sha.update(match body {
        Body::OriginDoubt(_) => DOUBT_PREFIX,
        _ => ID_PREFIX,
    });
    sha.update(body.to_bytes());
    sha.finalize().into()
}

/// Ids are UUIDv7 like all others; the time in it is that of the entry that it is about.
fn id_of(about: EntryId, body: &Body) -> EntryId {
    let ms = about.uuid().as_bytes()[..6].iter().fold(0_u64, |sum, byte| (sum << 8) | u64::from(*byte));
    let digest = digest_of(body);
    let mut random = [0; 10];
    random.copy_from_slice(&digest[..10]);
    EntryId::of(uuid_v7(ms, &random))
}

/// A salt hides what a body says once it is erased. A finding says nothing of a person, so it need not be random.
fn salt_of(body: &Body) -> [u8; 16] {
    let digest = digest_of(body);
    let mut salt = [0; 16];
    salt.copy_from_slice(&digest[16..]);
    salt
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_id_follows_from_what_is_said() {
        let entry = |number| EntryId::of(uuid_v7(1_767_225_600_000, &[number; 10]));
        let of = |code, about, other| {
            let finding = Finding { code, about: entry(about), other: Some(entry(other)) };
            id_of(entry(about), &Body::Finding(finding))
        };
        let id = of(FindingCode::SerialElsewhere, 1, 2);
        assert_eq!(id, of(FindingCode::SerialElsewhere, 1, 2));
        assert_ne!(id, of(FindingCode::SerialElsewhere, 2, 1));
        assert_ne!(id, of(FindingCode::PhotoElsewhere, 1, 2));
        let doubt = |code| id_of(entry(1), &Body::OriginDoubt(OriginDoubt { code, about: entry(1) }));
        assert_ne!(doubt(DoubtCode::BadSignature), doubt(DoubtCode::NotSigned));
        assert_eq!(id.uuid().get_version_num(), 7);
    }
}
