//! SQL of the benches: rows without a server.

use std::time::Instant;

use domain::ids::JobId;
use domain::job_file::Entry;
use sqlx::{Executor as _, PgPool};
use uuid::Uuid;

/// Both halves of what makes a commit wait for the disk.
pub async fn fsync_is_on(owner: &PgPool) -> bool {
    let (fsync, commit): (String, String) =
        sqlx::query_as("select current_setting('fsync'), current_setting('synchronous_commit')")
            .fetch_one(owner)
            .await
            .unwrap();
    fsync == "on" && commit == "on"
}

/// A firm of rows only.
pub struct BareFirm {
    owner: PgPool,
    firm: Uuid,
    /// Its device, which keys ask for.
    pub device: Uuid,
}

impl BareFirm {
    /// Makes it.
    pub async fn open(owner: &PgPool) -> Self {
        let (firm, device) = (Uuid::now_v7(), Uuid::now_v7());
        sqlx::query("insert into firms (firm_id, name, created_us) values ($1, 'bare', 0)")
            .bind(firm)
            .execute(owner)
            .await
            .unwrap();
        sqlx::query("insert into devices (firm_id, id, label, created_us) values ($1, $2, 'bare', 0)")
            .bind(firm)
            .bind(device)
            .execute(owner)
            .await
            .unwrap();
        Self { owner: owner.clone(), firm, device }
    }

    /// Job, log and names of photos in one transaction; seconds until it is committed.
    pub async fn insert(&self, rows: &Rows) -> f64 {
        let began = Instant::now();
        let mut tx = self.owner.begin().await.unwrap();
        sqlx::query("insert into jobs (firm_id, job_id, head, created_us) values ($1, $2, $3, 0)")
            .bind(self.firm)
            .bind(rows.job)
            .bind(i64::try_from(rows.entry_id.len()).unwrap())
            .execute(&mut *tx)
            .await
            .unwrap();
        sqlx::query(
            "insert into entries (firm_id, job_id, position, entry_id, device_id, author_id, seq, kind, hlc, stamp_us,
               header_hash, envelope)
             select $1, $2, n.* from unnest($3::bigint[], $4::uuid[], $5::uuid[], $6::uuid[], $7::bigint[], $8::bigint[],
               $9::bigint[], $10::bigint[], $11::bytea[], $12::bytea[]) as n",
        )
        .bind(self.firm)
        .bind(rows.job)
        .bind(&rows.position)
        .bind(&rows.entry_id)
        .bind(&rows.device_id)
        .bind(&rows.author_id)
        .bind(&rows.seq)
        .bind(&rows.kind)
        .bind(&rows.hlc)
        .bind(&rows.hlc)
        .bind(&rows.header_hash)
        .bind(&rows.envelope)
        .execute(&mut *tx)
        .await
        .unwrap();
        sqlx::query(
            "insert into photo_names (firm_id, job_id, sha256, entry_id, role, bytes)
             select $1, $2, n.* from unnest($3::bytea[], $4::uuid[], $5::text[], $6::bigint[]) as n",
        )
        .bind(self.firm)
        .bind(rows.job)
        .bind(&rows.photo_hash)
        .bind(&rows.photo_entry)
        .bind(&rows.photo_role)
        .bind(&rows.photo_bytes)
        .execute(&mut *tx)
        .await
        .unwrap();
        tx.commit().await.unwrap();
        began.elapsed().as_secs_f64()
    }
}

/// Entries of one job, column by column.
#[derive(Default)]
pub struct Rows {
    job: Uuid,
    position: Vec<i64>,
    entry_id: Vec<Uuid>,
    device_id: Vec<Uuid>,
    author_id: Vec<Uuid>,
    seq: Vec<i64>,
    kind: Vec<i64>,
    hlc: Vec<i64>,
    header_hash: Vec<Vec<u8>>,
    envelope: Vec<Vec<u8>>,
    photo_hash: Vec<Vec<u8>>,
    photo_entry: Vec<Uuid>,
    photo_role: Vec<String>,
    photo_bytes: Vec<i64>,
}

impl Rows {
    /// The rows that these entries become, as if they stood in this job.
    pub fn of(entries: &[Entry], job: JobId, device: Uuid) -> Self {
        let mut rows = Self { job: job.uuid(), ..Self::default() };
        for (position, entry) in (1_i64..).zip(entries) {
            let header = &entry.header;
            rows.position.push(position);
            rows.entry_id.push(header.id.uuid());
            rows.device_id.push(device);
            rows.author_id.push(header.author.uuid());
            rows.seq.push(i64::try_from(header.seq).unwrap());
            rows.kind.push(i64::from(header.kind));
            rows.hlc.push(i64::try_from(header.hlc).unwrap());
            rows.header_hash.push(entry.hash.bytes().to_vec());
            rows.envelope.push(entry.bytes().to_vec());
            let files = entry.body().map(domain::job_file::Body::photo_files).unwrap_or_default();
            for (file, role) in files.into_iter().zip(["original", "preview"]) {
                rows.photo_hash.push(file.hash.bytes().to_vec());
                rows.photo_entry.push(header.id.uuid());
                rows.photo_role.push(role.to_owned());
                rows.photo_bytes.push(i64::try_from(file.bytes).unwrap());
            }
        }
        rows
    }
}

/// Copies of one job, finished a year ago or still open, that fill the log.
pub struct History {
    /// The job that is copied; it is projected.
    pub job: Uuid,
    /// How many copies.
    pub copies: i64,
    /// Every n-th copy is still open, the others were passed more than a year ago.
    pub open_every: i64,
    /// Stands as the author in every third copy; in the others its own.
    pub author: Uuid,
}

/// A day in microseconds.
const DAY_US: i64 = 86_400_000_000;

/// Writes the copies and lets the planner see them, as it does on any server that has run for a day.
pub async fn fill(owner: &PgPool, history: &History) -> i64 {
    let mut connection = owner.acquire().await.unwrap();
    connection.execute("drop table if exists bench_copies").await.unwrap();
    sqlx::query(
        "create temporary table bench_copies as
         select n, gen_random_uuid() as job_id, gen_random_uuid() as other_author from generate_series(1, $1) as n",
    )
    .bind(history.copies)
    .execute(&mut *connection)
    .await
    .unwrap();
    sqlx::query(
        "insert into jobs (firm_id, job_id, head, projected_head, created_us)
         select j.firm_id, c.job_id, j.head, j.head, j.created_us - $2 from bench_copies c, jobs j where j.job_id = $1",
    )
    .bind(history.job)
    .bind(400 * DAY_US)
    .execute(&mut *connection)
    .await
    .unwrap();
    // The row of the job as it is, but for its name, state, age and people; column by column would break with every new column.
    sqlx::query(
        "insert into job_rows
         select (jsonb_populate_record(r, jsonb_build_object('job_id', c.job_id,
           'state', case when c.n % $2 = 0 then 'on_site' else 'passed' end,
           'updated_us', r.updated_us - $3,
           'people', r.crew || case when c.n % 3 = 0 then $4 else c.other_author end))).*
         from bench_copies c, job_rows r where r.job_id = $1",
    )
    .bind(history.job)
    .bind(history.open_every)
    .bind(400 * DAY_US)
    .bind(history.author)
    .execute(&mut *connection)
    .await
    .unwrap();
    // Ids are of their time, like all version 7 ids: job after job.
    let entries = sqlx::query(
        "insert into entries (firm_id, job_id, position, entry_id, device_id, author_id, seq, kind, hlc, stamp_us,
           header_hash, envelope)
         select e.firm_id, c.job_id, e.position,
           (lpad(to_hex(1600000000000 + c.n * 40000 + e.position), 12, '0') || '7'
             || substr(replace(gen_random_uuid()::text, '-', ''), 14, 19))::uuid,
           e.device_id, case when c.n % 3 = 0 then $2 else c.other_author end, e.seq, e.kind, e.hlc, e.stamp_us - $3,
           sha256(uuid_send(c.job_id) || e.header_hash), e.envelope
         from bench_copies c, entries e where e.job_id = $1 order by c.n, e.position",
    )
    .bind(history.job)
    .bind(history.author)
    .bind(400 * DAY_US)
    .execute(&mut *connection)
    .await
    .unwrap()
    .rows_affected();
    connection.execute("drop table bench_copies").await.unwrap();
    for table in ["entries", "jobs", "job_rows", "photo_names"] {
        connection.execute(format!("vacuum analyze {table}").as_str()).await.unwrap();
    }
    i64::try_from(entries).unwrap()
}
