//! Enrolments of the sender, what is held, and what a device lacks.

use std::collections::{BTreeMap, BTreeSet};

use domain::ids::{DeviceId, Hash32, JobId, PersonId};
use domain::job_file::Entry;
use domain::wire::sync::HeldWhy;
use uuid::Uuid;

use crate::auth::Caller;
use crate::db::FirmTx;

/// The person's enrolments: revoked or not.
pub(super) async fn devices_of(tx: &mut FirmTx, person: PersonId) -> Result<BTreeMap<DeviceId, bool>, sqlx::Error> {
    let rows = sqlx::query!(
        r#"select id, (revoked_us is not null) as "revoked!" from devices where firm_id = $1 and person_id = $2 order by id"#,
        tx.firm().uuid(),
        person.uuid(),
    )
    .fetch_all(&mut **tx)
    .await?;
    Ok(rows.into_iter().map(|row| (DeviceId::of(row.id), row.revoked)).collect())
}

pub(super) async fn note_contact(
    tx: &mut FirmTx,
    device: DeviceId,
    now_us: i64,
    waiting: Option<u32>,
) -> Result<(), sqlx::Error> {
    let waiting = waiting.map(|waiting| i32::try_from(waiting).unwrap_or(i32::MAX));
    sqlx::query!(
        "update devices set last_contact_us = greatest(last_contact_us, $3), waiting = coalesce($4, waiting)
         where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        device.uuid(),
        now_us,
        waiting,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Notes how far a device says to have received jobs, and how far its own chain in them goes: what it waits with, and what is here.
pub(super) async fn note_received(
    tx: &mut FirmTx,
    device: DeviceId,
    epoch: &[u8],
    said: &[SaidReceived],
) -> Result<(), sqlx::Error> {
    let jobs: Vec<Uuid> = said.iter().map(|own| own.job.uuid()).collect();
    let positions: Vec<i64> = said.iter().map(|own| own.position).collect();
    let written: Vec<i64> = said.iter().map(|own| own.written).collect();
    sqlx::query!(
        "insert into received (firm_id, job_id, device_id, epoch, from_seq, position)
         select $1, said.job_id, $2, $3, 1 + greatest(said.written, coalesce((select max(seq) from entries
             where firm_id = $1 and job_id = said.job_id and device_id = $2), 0)), said.position
         from unnest($4::uuid[], $5::bigint[], $6::bigint[]) as said(job_id, position, written)
         where said.position > coalesce((select max(position) from received
             where firm_id = $1 and job_id = said.job_id and device_id = $2 and epoch = $3), 0)
         on conflict (firm_id, job_id, device_id, epoch, from_seq) do update
           set position = greatest(received.position, excluded.position)",
        tx.firm().uuid(),
        device.uuid(),
        epoch,
        &jobs,
        &positions,
        &written,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// What a device says of a job with a pull.
pub(super) struct SaidReceived {
    pub(super) job: JobId,
    /// Received up to here.
    pub(super) position: i64,
    /// Last place of its chain that waits on it; 0 where nothing waits.
    pub(super) written: i64,
}

/// Those of the jobs that exist.
pub(super) async fn jobs_of(tx: &mut FirmTx, jobs: &BTreeSet<JobId>) -> Result<BTreeSet<JobId>, sqlx::Error> {
    let asked: Vec<Uuid> = jobs.iter().map(|job| job.uuid()).collect();
    let rows = sqlx::query_scalar!(
        "select job_id from jobs where firm_id = $1 and job_id = any($2) order by job_id",
        tx.firm().uuid(),
        &asked,
    )
    .fetch_all(&mut **tx)
    .await?;
    Ok(rows.into_iter().map(JobId::of).collect())
}

/// The word of a reason in the database.
const fn word(why: HeldWhy) -> &'static str {
    match why {
        HeldWhy::SameIdOtherBytes => "same_id_other_bytes",
        HeldWhy::AuthorNotYou => "author_not_you",
        HeldWhy::DeviceNotYours => "device_not_yours",
        HeldWhy::RoleMayNot => "role_may_not",
        HeldWhy::DeviceRevoked => "device_revoked",
        HeldWhy::NoSuchJob => "no_such_job",
        HeldWhy::BodyUnreadable => "body_unreadable",
    }
}

/// Keeps the bytes, once.
pub(super) async fn hold(
    tx: &mut FirmTx,
    caller: &Caller,
    held: &[(&Entry, HeldWhy)],
    now_us: i64,
) -> Result<(), sqlx::Error> {
    for (entry, why) in held {
        let header = &entry.header;
        let sha256 = Hash32::sha256(entry.bytes());
        sqlx::query!(
            "insert into held_entries (firm_id, sha256, entry_id, job_id, kind, author_id, device_id, envelope, why,
               by_person, by_device, held_us)
             values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
             on conflict on constraint held_entries_pkey do nothing",
            tx.firm().uuid(),
            &sha256.bytes()[..],
            header.id.uuid(),
            header.job.uuid(),
            i64::from(header.kind),
            header.author.uuid(),
            header.device.uuid(),
            entry.bytes(),
            word(*why),
            caller.person.uuid(),
            caller.device.uuid(),
            now_us,
        )
        .execute(&mut **tx)
        .await?;
    }
    Ok(())
}

pub(super) async fn waiting_for_job(tx: &mut FirmTx, jobs: &BTreeSet<JobId>) -> Result<Vec<Vec<u8>>, sqlx::Error> {
    let jobs: Vec<Uuid> = jobs.iter().map(|job| job.uuid()).collect();
    sqlx::query_scalar!(
        "select envelope from held_entries
         where firm_id = $1 and job_id = any($2) and stored_us is null and why = 'no_such_job'
         order by held_us, entry_id",
        tx.firm().uuid(),
        &jobs,
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) struct SizeRow {
    pub(super) entry_id: Uuid,
    pub(super) bytes: i32,
}

/// What is missing, job after job in the order given, each in position order.
pub(super) async fn sizes_after(
    tx: &mut FirmTx,
    behind: &[(Uuid, i64)],
    most: usize,
) -> Result<Vec<SizeRow>, sqlx::Error> {
    let (jobs, after): (Vec<Uuid>, Vec<i64>) = behind.iter().copied().unzip();
    sqlx::query_as!(
        SizeRow,
        r#"select e.entry_id, octet_length(e.envelope) as "bytes!"
           from unnest($2::uuid[], $3::bigint[]) with ordinality as w(job_id, after, turn)
           join entries e on e.firm_id = $1 and e.job_id = w.job_id and e.position > w.after
           order by w.turn, e.position
           limit $4"#,
        tx.firm().uuid(),
        &jobs,
        &after,
        i64::try_from(most).unwrap_or(i64::MAX),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) struct PulledRow {
    pub(super) job_id: Uuid,
    pub(super) entry_id: Uuid,
    pub(super) position: i64,
    pub(super) stamp_us: i64,
    pub(super) envelope: Vec<u8>,
}

pub(super) async fn pulled(tx: &mut FirmTx, ids: &[Uuid]) -> Result<Vec<PulledRow>, sqlx::Error> {
    sqlx::query_as!(
        PulledRow,
        "select job_id, entry_id, position, stamp_us, envelope from entries
         where firm_id = $1 and entry_id = any($2) order by job_id, position",
        tx.firm().uuid(),
        ids,
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn reference_version(tx: &mut FirmTx) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!("select version from reference_version where firm_id = $1", tx.firm().uuid())
        .fetch_one(&mut **tx)
        .await
}
