//! The log, its heads, and the projections.

use std::collections::{BTreeMap, BTreeSet};

use domain::ids::{DeviceId, Hash32, JobId, PersonId};
use domain::job_file::received::Received;
use domain::job_file::signature::Enrolment;
use domain::job_file::{Body, ChainHead, Entry};
use domain::wire::text::folded;
use sqlx::Connection as _;
use uuid::Uuid;

use super::project::Count;
use super::{cut, lot_search, wire};
use crate::db::{FirmTx, news};

/// What held bytes are found by.
pub(super) fn hash_of(bytes: &[u8]) -> Vec<u8> {
    Hash32::sha256(bytes).bytes().to_vec()
}

/// SQLSTATE classes 22, 23 and 54: the database understood and does not like what is in the row.
pub(super) fn is_about_content(error: &sqlx::Error) -> bool {
    let code = error.as_database_error().and_then(|database| database.code());
    code.is_some_and(|code| ["22", "23", "54"].iter().any(|class| code.starts_with(class)))
}

// --- the log

pub(super) async fn lock_firm_clock(tx: &mut FirmTx) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!("select last_stamp_us from firm_clock where firm_id = $1 for update", tx.firm().uuid())
        .fetch_one(&mut **tx)
        .await
}

pub(super) async fn set_firm_clock(tx: &mut FirmTx, last_stamp_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!("update firm_clock set last_stamp_us = $2 where firm_id = $1", tx.firm().uuid(), last_stamp_us)
        .execute(&mut **tx)
        .await?;
    Ok(())
}

pub(super) struct ThereRow {
    pub(super) entry_id: Uuid,
    pub(super) position: i64,
    pub(super) stamp_us: i64,
    pub(super) envelope: Vec<u8>,
}

pub(super) async fn entries_by_id(tx: &mut FirmTx, ids: &[Uuid]) -> Result<Vec<ThereRow>, sqlx::Error> {
    sqlx::query_as!(
        ThereRow,
        "select entry_id, position, stamp_us, envelope from entries
         where firm_id = $1 and entry_id = any($2) order by entry_id",
        tx.firm().uuid(),
        ids,
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn open_jobs(tx: &mut FirmTx, jobs: &[Uuid], now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into jobs (firm_id, job_id, created_us)
         select $1, job_id, $3 from unnest($2::uuid[]) as job_id
         on conflict on constraint jobs_pkey do nothing",
        tx.firm().uuid(),
        jobs,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) struct HeadRow {
    pub(super) job_id: Uuid,
    pub(super) head: i64,
}

pub(super) async fn heads(tx: &mut FirmTx, jobs: &[Uuid]) -> Result<Vec<HeadRow>, sqlx::Error> {
    sqlx::query_as!(
        HeadRow,
        "select job_id, head from jobs where firm_id = $1 and job_id = any($2) order by job_id for no key update",
        tx.firm().uuid(),
        jobs,
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn set_heads(tx: &mut FirmTx, heads: &[(Uuid, i64)]) -> Result<(), sqlx::Error> {
    let (jobs, heads): (Vec<Uuid>, Vec<i64>) = heads.iter().copied().unzip();
    sqlx::query!(
        "update jobs set head = n.head
         from unnest($2::uuid[], $3::bigint[]) as n(job_id, head)
         where jobs.firm_id = $1 and jobs.job_id = n.job_id",
        tx.firm().uuid(),
        &jobs,
        &heads,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Entries column by column, with the photos that they name.
#[derive(Debug, Default)]
pub(super) struct NewEntries {
    job_id: Vec<Uuid>,
    position: Vec<i64>,
    entry_id: Vec<Uuid>,
    device_id: Vec<Uuid>,
    author_id: Vec<Uuid>,
    seq: Vec<i64>,
    kind: Vec<i64>,
    hlc: Vec<i64>,
    stamp_us: Vec<i64>,
    header_hash: Vec<Vec<u8>>,
    envelope: Vec<Vec<u8>>,
    photo_job: Vec<Uuid>,
    photo_hash: Vec<Vec<u8>>,
    photo_entry: Vec<Uuid>,
    photo_role: Vec<String>,
    photo_bytes: Vec<i64>,
}

impl NewEntries {
    pub(super) fn push(&mut self, entry: &Entry, position: i64, stamp_us: i64) {
        let header = &entry.header;
        self.job_id.push(header.job.uuid());
        self.position.push(position);
        self.entry_id.push(header.id.uuid());
        self.device_id.push(header.device.uuid());
        self.author_id.push(header.author.uuid());
        self.seq.push(cut(header.seq));
        self.kind.push(i64::from(header.kind));
        self.hlc.push(cut(header.hlc));
        self.stamp_us.push(stamp_us);
        self.header_hash.push(entry.hash.bytes().to_vec());
        self.envelope.push(entry.bytes().to_vec());
        let files = entry.body().map(Body::photo_files).unwrap_or_default();
        // The original comes first, its preview second.
        for (file, role) in files.into_iter().zip(["original", "preview"]) {
            self.photo_job.push(header.job.uuid());
            self.photo_hash.push(file.hash.bytes().to_vec());
            self.photo_entry.push(header.id.uuid());
            self.photo_role.push(role.to_owned());
            self.photo_bytes.push(cut(file.bytes));
        }
    }
}

/// All or none. Gives how many went in.
pub(super) async fn insert_entries(tx: &mut FirmTx, rows: &NewEntries) -> Result<usize, sqlx::Error> {
    let firm = tx.firm().uuid();
    // A savepoint: after an error the transaction goes on with a smaller batch. Dropped, it rolls back to here.
    let mut savepoint = tx.begin().await?;
    let inserted = sqlx::query_scalar!(
        "insert into entries (firm_id, job_id, position, entry_id, device_id, author_id, seq, kind, hlc, stamp_us,
           header_hash, envelope)
         select $1, n.* from unnest($2::uuid[], $3::bigint[], $4::uuid[], $5::uuid[], $6::uuid[], $7::bigint[],
           $8::bigint[], $9::bigint[], $10::bigint[], $11::bytea[], $12::bytea[]) as n
         on conflict on constraint entries_pkey do nothing
         returning entry_id",
        firm,
        &rows.job_id,
        &rows.position,
        &rows.entry_id,
        &rows.device_id,
        &rows.author_id,
        &rows.seq,
        &rows.kind,
        &rows.hlc,
        &rows.stamp_us,
        &rows.header_hash,
        &rows.envelope,
    )
    .fetch_all(&mut *savepoint)
    .await?;
    if !rows.photo_hash.is_empty() {
        sqlx::query!(
            "insert into photo_names (firm_id, job_id, sha256, entry_id, role, bytes)
             select $1, n.* from unnest($2::uuid[], $3::bytea[], $4::uuid[], $5::text[], $6::bigint[]) as n
             on conflict on constraint photo_names_pkey do nothing",
            firm,
            &rows.photo_job,
            &rows.photo_hash,
            &rows.photo_entry,
            &rows.photo_role,
            &rows.photo_bytes,
        )
        .execute(&mut *savepoint)
        .await?;
    }
    savepoint.commit().await?;
    Ok(inserted.len())
}

/// Goes out with the commit, so whoever hears it finds the entries.
pub(super) async fn notify(tx: &mut FirmTx, jobs: &BTreeSet<JobId>) -> Result<(), sqlx::Error> {
    let firm = tx.firm();
    let news: Vec<String> = jobs.iter().map(|job| news::text(firm, Some(*job))).collect();
    sqlx::query!("select pg_notify($1, news) from unnest($2::text[]) as news", news::CHANNEL, &news)
        .fetch_all(&mut **tx)
        .await?;
    Ok(())
}

pub(super) async fn release_held(tx: &mut FirmTx, hashes: &[Vec<u8>], now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update held_entries set stored_us = $3 where firm_id = $1 and sha256 = any($2) and stored_us is null",
        tx.firm().uuid(),
        hashes,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn head(tx: &mut FirmTx, job: JobId) -> Result<Option<i64>, sqlx::Error> {
    sqlx::query_scalar!("select head from jobs where firm_id = $1 and job_id = $2", tx.firm().uuid(), job.uuid())
        .fetch_optional(&mut **tx)
        .await
}

pub(super) struct EntryRow {
    pub(super) position: i64,
    pub(super) stamp_us: i64,
    pub(super) envelope: Vec<u8>,
}

pub(super) async fn entries_of(tx: &mut FirmTx, job: JobId, up_to: i64) -> Result<Vec<EntryRow>, sqlx::Error> {
    sqlx::query_as!(
        EntryRow,
        "select position, stamp_us, envelope from entries
         where firm_id = $1 and job_id = $2 and position <= $3 order by position",
        tx.firm().uuid(),
        job.uuid(),
        up_to,
    )
    .fetch_all(&mut **tx)
    .await
}

/// Where a device's chain in a job stands, and the job's head.
pub(super) async fn chain_head(tx: &mut FirmTx, job: JobId, device: DeviceId) -> Result<(ChainHead, u64), sqlx::Error> {
    let head = head(tx, job).await?.unwrap_or(0);
    let row = sqlx::query!(
        "select seq, hlc, header_hash from entries where firm_id = $1 and job_id = $2 and device_id = $3
         order by seq desc, position desc limit 1",
        tx.firm().uuid(),
        job.uuid(),
        device.uuid(),
    )
    .fetch_optional(&mut **tx)
    .await?;
    let chain = row.map_or(ChainHead::START, |row| ChainHead {
        seq: wire(row.seq),
        hash: row.header_hash.try_into().map_or(Hash32::NONE, Hash32::of),
        hlc: wire(row.hlc),
    });
    Ok((chain, wire(head)))
}

/// The enrolments whose entries stand in a job. The server's own is nobody's, and stands for itself.
pub(super) async fn enrolments_in(tx: &mut FirmTx, job: JobId) -> Result<BTreeMap<DeviceId, Enrolment>, sqlx::Error> {
    let rows = sqlx::query!(
        "select id, person_id, key, key_us, revoked_us from devices
         where firm_id = $1 and id in (select device_id from entries where firm_id = $1 and job_id = $2)
         order by id",
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_all(&mut **tx)
    .await?;
    let enrolments = rows.into_iter().map(|row| {
        let person = PersonId::of(row.person_id.unwrap_or(row.id));
        let (key_since_us, revoked_us) = (row.key_us.map(wire), row.revoked_us.map(wire));
        (DeviceId::of(row.id), Enrolment { person, key: row.key, key_since_us, revoked_us })
    });
    Ok(enrolments.collect())
}

/// What devices said with their pulls to have received of a job, in this life of the server.
pub(super) async fn received_in(
    tx: &mut FirmTx,
    job: JobId,
    epoch: &[u8],
) -> Result<BTreeMap<DeviceId, Vec<Received>>, sqlx::Error> {
    let rows = sqlx::query!(
        "select device_id, from_seq, position from received where firm_id = $1 and job_id = $2 and epoch = $3
         order by device_id, from_seq",
        tx.firm().uuid(),
        job.uuid(),
        epoch,
    )
    .fetch_all(&mut **tx)
    .await?;
    let mut all: BTreeMap<DeviceId, Vec<Received>> = BTreeMap::new();
    for row in rows {
        let said = Received { from_seq: wire(row.from_seq), position: wire(row.position) };
        all.entry(DeviceId::of(row.device_id)).or_default().push(said);
    }
    Ok(all)
}

// --- who sees what

// Who has a part in a job: its crew, and whoever wrote in its file. The projection says it (`people`); of a job that waits for
// its projection, because that failed, the log says it.

pub(super) async fn may_see(tx: &mut FirmTx, job: JobId, person: PersonId, all: bool) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select exists (
             select from jobs j left join job_rows r on r.firm_id = j.firm_id and r.job_id = j.job_id
             where j.firm_id = $1 and j.job_id = $2
               and ($4 or r.people @> array[$3::uuid] or (j.projected_head < j.head
                 and exists (select from entries e where e.firm_id = $1 and e.author_id = $3 and e.job_id = $2)))
           ) as "may_see!""#,
        tx.firm().uuid(),
        job.uuid(),
        person.uuid(),
        all,
    )
    .fetch_one(&mut **tx)
    .await
}

/// The crew of a job and whoever wrote in its file.
pub(super) async fn people_with_a_part(tx: &mut FirmTx, job: JobId) -> Result<Vec<Uuid>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select unnest(people) as "person!" from job_rows where firm_id = $1 and job_id = $2
           union
           select e.author_id from jobs j join entries e on e.firm_id = j.firm_id and e.job_id = j.job_id
           where j.firm_id = $1 and j.job_id = $2 and j.projected_head < j.head"#,
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) struct VisibleRow {
    pub(super) job_id: Uuid,
    pub(super) head: i64,
    pub(super) method_id: Option<String>,
    pub(super) method_version: Option<i64>,
    pub(super) method_hash: Option<Vec<u8>>,
    pub(super) changed_us: i64,
}

/// Looks at the jobs that may go to a device and never at all of a firm's: those that are under way, changed lately, wait for
/// their projection, or were asked for by name.
pub(super) async fn visible_jobs(
    tx: &mut FirmTx,
    person: PersonId,
    all: bool,
    also: &[JobId],
    finished_since_us: i64,
) -> Result<Vec<VisibleRow>, sqlx::Error> {
    let also: Vec<Uuid> = also.iter().map(|job| job.uuid()).collect();
    sqlx::query_as!(
        VisibleRow,
        r#"with here as (
             select * from job_rows where firm_id = $1 and state not in ('passed', 'sealed', 'withdrawn')
             union all
             select * from job_rows where firm_id = $1 and state in ('passed', 'sealed', 'withdrawn')
               and (updated_us >= $5 or job_id = any($4))
           )
           select j.job_id as "job_id!", j.head as "head!", here.method_id as "method_id?", here.method_version as "method_version?",
             here.method_hash as "method_hash?", here.updated_us as "changed_us!"
           from here cross join lateral (
             select * from jobs j where j.firm_id = $1 and j.job_id = here.job_id offset 0
           ) j
           where $3 or here.people @> array[$2::uuid]
           union
           select j.job_id, j.head, r.method_id, r.method_version, r.method_hash, coalesce(r.updated_us, j.created_us)
           from jobs j left join job_rows r on r.firm_id = j.firm_id and r.job_id = j.job_id
           where j.firm_id = $1 and j.projected_head < j.head and ($3 or r.people @> array[$2::uuid] or coalesce(
             (select true from entries e where e.firm_id = $1 and e.author_id = $2 and e.job_id = j.job_id limit 1), false))"#,
        tx.firm().uuid(),
        person.uuid(),
        all,
        &also,
        finished_since_us,
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) struct OpeningRow {
    pub(super) job_id: Uuid,
    pub(super) envelope: Vec<u8>,
}

/// The first entry of this kind in each of these jobs.
pub(super) async fn first_of_kind(tx: &mut FirmTx, jobs: &[Uuid], kind: u32) -> Result<Vec<OpeningRow>, sqlx::Error> {
    sqlx::query_as!(
        OpeningRow,
        "select distinct on (job_id) job_id, envelope from entries
         where firm_id = $1 and job_id = any($2) and kind = $3 order by job_id, position",
        tx.firm().uuid(),
        jobs,
        i64::from(kind),
    )
    .fetch_all(&mut **tx)
    .await
}

// --- projections

/// One projection of a firm at a time, over all server processes; let go with the transaction.
pub(super) async fn lock_projection(tx: &mut FirmTx) -> Result<(), sqlx::Error> {
    let name = format!("witnessmark projection {}", tx.firm());
    sqlx::query!("select pg_advisory_xact_lock(hashtextextended($1, 0))", name).fetch_one(&mut **tx).await?;
    Ok(())
}

pub(super) async fn dirty_jobs(tx: &mut FirmTx) -> Result<Vec<Uuid>, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select job_id as "job_id!" from jobs where firm_id = $1 and projected_head < head
           union select job_id from job_rows where firm_id = $1 and (people is null or search is null)
           order by 1"#,
        tx.firm().uuid()
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn is_dirty(tx: &mut FirmTx, job: JobId) -> Result<bool, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select exists (select from jobs where firm_id = $1 and job_id = $2 and projected_head < head)
             or exists (select from job_rows where firm_id = $1 and job_id = $2 and (people is null or search is null)) as "dirty!""#,
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_one(&mut **tx)
    .await
}

pub(super) async fn set_projected(tx: &mut FirmTx, job: JobId, head: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update jobs set projected_head = $3 where firm_id = $1 and job_id = $2",
        tx.firm().uuid(),
        job.uuid(),
        head,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn drop_projections(tx: &mut FirmTx) -> Result<(), sqlx::Error> {
    let firm = tx.firm().uuid();
    sqlx::query!("delete from unit_rows where firm_id = $1", firm).execute(&mut **tx).await?;
    sqlx::query!("delete from job_rows where firm_id = $1", firm).execute(&mut **tx).await?;
    sqlx::query!("update jobs set projected_head = 0 where firm_id = $1", firm).execute(&mut **tx).await?;
    Ok(())
}

pub(super) struct JobRowNew {
    pub(super) state: &'static str,
    pub(super) left_as: Option<String>,
    pub(super) method_known: bool,
    pub(super) purpose: Option<String>,
    pub(super) site_id: Option<Uuid>,
    pub(super) method_id: Option<String>,
    pub(super) method_version: Option<i64>,
    pub(super) method_hash: Option<Vec<u8>>,
    pub(super) rule_set: Option<String>,
    pub(super) householder: String,
    pub(super) street: String,
    pub(super) town: String,
    pub(super) zone: String,
    pub(super) day: String,
    pub(super) start: String,
    pub(super) crew: Vec<Uuid>,
    pub(super) people: Vec<Uuid>,
    pub(super) steps: Count,
    pub(super) holds: Count,
    pub(super) entries: usize,
    pub(super) breaches: usize,
    pub(super) breaches_settled: usize,
    pub(super) findings: usize,
    pub(super) stops_open: usize,
    pub(super) deviations_open: usize,
    pub(super) late: usize,
    pub(super) updated_us: i64,
}

/// Counts of one job: no job has two thousand million of anything.
fn count(number: usize) -> i32 {
    i32::try_from(number).unwrap_or(i32::MAX)
}

/// Text of a phone in a text column. Postgres has no place for the character NUL, and the envelope keeps it anyway.
fn text(value: &str) -> String {
    value.replace('\0', "")
}

/// A day or an hour. What is longer than any is cut, for an index takes no endless text.
fn short_text(value: &str) -> String {
    const CHARS_MAX: usize = 40;
    text(value).chars().take(CHARS_MAX).collect()
}

/// What a search looks into. No search holds a line end, so none finds the end of one text with the beginning of the next.
fn searched(texts: [&str; 3]) -> String {
    texts.map(folded).join("\n")
}

fn optional_text(value: Option<&String>) -> Option<String> {
    value.map(|value| text(value))
}

/// `answers_wanted`: answers for the telephone are still to be drawn.
pub(super) async fn replace_job_row(
    tx: &mut FirmTx,
    job: JobId,
    row: &JobRowNew,
    answers_wanted: bool,
) -> Result<(), sqlx::Error> {
    let firm = tx.firm().uuid();
    sqlx::query!("delete from job_rows where firm_id = $1 and job_id = $2", firm, job.uuid())
        .execute(&mut **tx)
        .await?;
    sqlx::query!(
        "insert into job_rows (firm_id, job_id, state, left_as, method_known, purpose, site_id, method_id, method_version,
           method_hash, rule_set, householder, street, town, zone, day, start, crew, steps_done, steps_total, holds_done,
           holds_total, entries, breaches, breaches_settled, findings, stops_open, deviations_open, late, updated_us, people, search, answers_wanted)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20, $21, $22, $23,
           $24, $25, $26, $27, $28, $29, $30, $31, $32, $33)",
        firm,
        job.uuid(),
        row.state,
        row.left_as,
        row.method_known,
        row.purpose,
        row.site_id,
        optional_text(row.method_id.as_ref()),
        row.method_version,
        row.method_hash,
        optional_text(row.rule_set.as_ref()),
        text(&row.householder),
        text(&row.street),
        text(&row.town),
        text(&row.zone),
        short_text(&row.day),
        short_text(&row.start),
        &row.crew,
        count(row.steps.done),
        count(row.steps.total),
        count(row.holds.done),
        count(row.holds.total),
        i64::from(count(row.entries)),
        count(row.breaches),
        count(row.breaches_settled),
        count(row.findings),
        count(row.stops_open),
        count(row.deviations_open),
        count(row.late),
        row.updated_us,
        &row.people,
        searched([&row.householder, &row.street, &row.town]),
        answers_wanted,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Jobs that wait for their answers for the telephone, those of the next days first.
pub(super) async fn wanting_answers(tx: &mut FirmTx) -> Result<Vec<Uuid>, sqlx::Error> {
    sqlx::query_scalar!(
        "select job_id from job_rows where firm_id = $1 and answers_wanted order by day, job_id",
        tx.firm().uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

/// Is the job among those?
pub(super) async fn wants_answers(tx: &mut FirmTx, job: JobId) -> Result<bool, sqlx::Error> {
    let wanted = sqlx::query_scalar!(
        "select answers_wanted from job_rows where firm_id = $1 and job_id = $2",
        tx.firm().uuid(),
        job.uuid(),
    );
    Ok(wanted.fetch_optional(&mut **tx).await?.unwrap_or(false))
}

/// Takes the job out of those; false if it was not among them any more.
pub(super) async fn answers_come(tx: &mut FirmTx, job: JobId) -> Result<bool, sqlx::Error> {
    let done = sqlx::query!(
        "update job_rows set answers_wanted = false where firm_id = $1 and job_id = $2 and answers_wanted",
        tx.firm().uuid(),
        job.uuid(),
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() > 0)
}

/// Those of these jobs that wait for their answers and in which this person has a part.
pub(super) async fn own_wanting_answers(
    tx: &mut FirmTx,
    person: PersonId,
    most: usize,
) -> Result<Vec<Uuid>, sqlx::Error> {
    sqlx::query_scalar!(
        "select job_id from job_rows where firm_id = $1 and answers_wanted and crew @> array[$2::uuid]
         order by day, job_id limit $3",
        tx.firm().uuid(),
        person.uuid(),
        i64::try_from(most).unwrap_or(i64::MAX),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) struct UnitRowNew {
    pub(super) entry_id: Uuid,
    pub(super) slot: i32,
    pub(super) kind: Option<String>,
    pub(super) maker: String,
    pub(super) model: String,
    pub(super) gtin: Option<String>,
    pub(super) stored: String,
    pub(super) match_key: String,
    pub(super) skeleton: String,
    pub(super) lot: Option<String>,
    pub(super) standing: &'static str,
    pub(super) read_us: i64,
}

pub(super) async fn replace_unit_rows(tx: &mut FirmTx, job: JobId, rows: &[UnitRowNew]) -> Result<(), sqlx::Error> {
    let firm = tx.firm().uuid();
    sqlx::query!("delete from unit_rows where firm_id = $1 and job_id = $2", firm, job.uuid())
        .execute(&mut **tx)
        .await?;
    for row in rows {
        sqlx::query!(
            "insert into unit_rows (firm_id, job_id, entry_id, slot, kind, maker, model, gtin, stored, match_key, skeleton,
               lot, standing, read_us, lot_search)
             values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15)",
            firm,
            job.uuid(),
            row.entry_id,
            row.slot,
            row.kind,
            text(&row.maker),
            text(&row.model),
            optional_text(row.gtin.as_ref()),
            text(&row.stored),
            row.match_key,
            row.skeleton,
            optional_text(row.lot.as_ref()),
            row.standing,
            row.read_us,
            row.lot.as_deref().map(lot_search),
        )
        .execute(&mut **tx)
        .await?;
    }
    Ok(())
}

// --- findings

pub(super) struct PairRow {
    pub(super) mine: Uuid,
    pub(super) other: Uuid,
    pub(super) other_job: Uuid,
}

/// Serials of a job that stand in another job too, each with the first one it meets. The same unit on a later visit to the
/// same site is no news, and serials of two makers may be equal.
pub(super) async fn serials_elsewhere(tx: &mut FirmTx, job: JobId) -> Result<Vec<PairRow>, sqlx::Error> {
    sqlx::query_as!(
        PairRow,
        "select distinct on (m.entry_id) m.entry_id as mine, o.entry_id as other, o.job_id as other_job
         from unit_rows m
         join unit_rows o on o.firm_id = m.firm_id and o.match_key = m.match_key and o.job_id <> m.job_id
         join job_rows mj on mj.firm_id = m.firm_id and mj.job_id = m.job_id
         join job_rows oj on oj.firm_id = o.firm_id and oj.job_id = o.job_id
         where m.firm_id = $1 and m.job_id = $2 and m.match_key <> '' and m.standing <> 'replaced' and o.standing <> 'replaced'
           and mj.site_id is distinct from oj.site_id and mj.state <> 'withdrawn' and oj.state <> 'withdrawn'
           and (m.maker = '' or o.maker = '' or lower(m.maker) = lower(o.maker))
         order by m.entry_id, o.read_us, o.entry_id",
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

/// Originals of a job whose very bytes stand in another job too, each with the first one it meets.
pub(super) async fn photos_elsewhere(tx: &mut FirmTx, job: JobId) -> Result<Vec<PairRow>, sqlx::Error> {
    sqlx::query_as!(
        PairRow,
        "select distinct on (m.entry_id) m.entry_id as mine, o.entry_id as other, o.job_id as other_job
         from photo_names m
         join photo_names o on o.firm_id = m.firm_id and o.sha256 = m.sha256 and o.job_id <> m.job_id and o.role = 'original'
         join entries e on e.firm_id = o.firm_id and e.entry_id = o.entry_id
         where m.firm_id = $1 and m.job_id = $2 and m.role = 'original'
         order by m.entry_id, e.stamp_us, o.entry_id",
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) struct PinRow {
    pub(super) hash: Option<String>,
    pub(super) wrong: i32,
    pub(super) before: Option<String>,
    pub(super) before_until_us: Option<i64>,
}

/// A person's PIN; the row stays locked, so that no try goes uncounted.
pub(super) async fn lock_pin(tx: &mut FirmTx, person: PersonId) -> Result<Option<PinRow>, sqlx::Error> {
    sqlx::query_as!(
        PinRow,
        "select pin_hash as hash, pin_wrong as wrong, pin_before as before, pin_before_until_us as before_until_us
         from people where firm_id = $1 and id = $2 for update",
        tx.firm().uuid(),
        person.uuid(),
    )
    .fetch_optional(&mut **tx)
    .await
}

pub(super) async fn set_pin_wrong(tx: &mut FirmTx, person: PersonId, wrong: i32) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update people set pin_wrong = $3 where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        person.uuid(),
        wrong,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
