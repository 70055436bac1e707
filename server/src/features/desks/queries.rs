//! Lists of the desk, from the projections.

use domain::ids::{JobId, PersonId};
use domain::wire::text::folded;
use uuid::Uuid;

use crate::db::FirmTx;
use crate::job_files::lot_search;

/// A pattern that begins with this text and whose own signs mean themselves.
fn begins_with(text: &str) -> String {
    escaped(text) + "%"
}

fn contains(text: &str) -> String {
    format!("%{}%", escaped(text))
}

fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('%', "\\%").replace('_', "\\_")
}

pub(super) struct JobFilter {
    pub(super) person: PersonId,
    pub(super) all: bool,
    pub(super) states: Vec<String>,
    pub(super) part: String,
    pub(super) after: Option<JobId>,
}

/// The end of an id, as people say it aloud; shorter than this it would find half of all jobs.
const ID_END_CHARS_MIN: usize = 4;

impl JobFilter {
    /// A pattern for ids that end so, if the part can be one.
    fn id_end(&self) -> Option<String> {
        let digits: String = self.part.chars().filter(|c| *c != '-').map(|c| c.to_ascii_lowercase()).collect();
        let is_id = digits.len() >= ID_END_CHARS_MIN && digits.bytes().all(|byte| byte.is_ascii_hexdigit());
        is_id.then(|| format!("%{digits}"))
    }
}

pub(super) struct JobRowStored {
    pub(super) job_id: Uuid,
    pub(super) state: String,
    pub(super) left_as: Option<String>,
    pub(super) method_known: bool,
    pub(super) purpose: Option<String>,
    pub(super) site_id: Option<Uuid>,
    pub(super) method_id: Option<String>,
    pub(super) method_version: Option<i64>,
    pub(super) householder: String,
    pub(super) street: String,
    pub(super) town: String,
    pub(super) day: String,
    pub(super) start: String,
    pub(super) crew: Vec<Uuid>,
    pub(super) steps_done: i32,
    pub(super) steps_total: i32,
    pub(super) holds_done: i32,
    pub(super) holds_total: i32,
    pub(super) entries: i64,
    pub(super) breaches: i32,
    pub(super) breaches_settled: i32,
    pub(super) findings: i32,
    pub(super) stops_open: i32,
    pub(super) deviations_open: i32,
    pub(super) late: i32,
    pub(super) updated_us: i64,
    pub(super) photos_named: i64,
    pub(super) photos_arrived: i64,
}

/// A page of jobs; with `only`, that one.
async fn rows(
    tx: &mut FirmTx,
    filter: &JobFilter,
    only: Option<JobId>,
    most: i64,
) -> Result<Vec<JobRowStored>, sqlx::Error> {
    sqlx::query_as!(
        JobRowStored,
        r#"select r.job_id, r.state, r.left_as, r.method_known, r.purpose, r.site_id, r.method_id, r.method_version,
             r.householder, r.street, r.town, r.day, r.start, r.crew, r.steps_done, r.steps_total, r.holds_done,
             r.holds_total, r.entries, r.breaches, r.breaches_settled, r.findings, r.stops_open, r.deviations_open, r.late,
             r.updated_us, p.named as "photos_named!", p.arrived as "photos_arrived!"
           from job_rows r
           cross join lateral (
             select count(distinct n.sha256) as named, count(distinct a.sha256) as arrived
             from photo_names n
             left join photo_arrivals a on a.firm_id = n.firm_id and a.job_id = n.job_id and a.sha256 = n.sha256
             where n.firm_id = r.firm_id and n.job_id = r.job_id and n.role = 'original'
           ) p
           where r.firm_id = $1
             and ($2 or r.people @> array[$3::uuid])
             and (cardinality($4::text[]) = 0 or r.state = any($4))
             and (coalesce(r.search, '') like $5 or replace(r.job_id::text, '-', '') like $9)
             and ($6::uuid is null or (r.day, r.job_id) < (select b.day, b.job_id from job_rows b
                                                          where b.firm_id = $1 and b.job_id = $6))
             and ($7::uuid is null or r.job_id = $7)
           order by r.day desc, r.job_id desc
           limit $8"#,
        tx.firm().uuid(),
        filter.all,
        filter.person.uuid(),
        &filter.states,
        contains(&folded(&filter.part)),
        filter.after.map(JobId::uuid),
        only.map(JobId::uuid),
        most,
        filter.id_end(),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn jobs(tx: &mut FirmTx, filter: &JobFilter, most: i64) -> Result<Vec<JobRowStored>, sqlx::Error> {
    rows(tx, filter, None, most).await
}

/// One job; whether the caller may see it was asked before.
pub(super) async fn job(tx: &mut FirmTx, job: JobId) -> Result<Option<JobRowStored>, sqlx::Error> {
    let filter = JobFilter {
        person: PersonId::of(Uuid::nil()),
        all: true,
        states: Vec::new(),
        part: String::new(),
        after: None,
    };
    Ok(rows(tx, &filter, Some(job), 1).await?.pop())
}

pub(super) async fn held_of_job(tx: &mut FirmTx, job: JobId) -> Result<i64, sqlx::Error> {
    sqlx::query_scalar!(
        r#"select count(*) as "held!" from held_entries where firm_id = $1 and job_id = $2 and stored_us is null"#,
        tx.firm().uuid(),
        job.uuid(),
    )
    .fetch_one(&mut **tx)
    .await
}

pub(super) struct UnitSearch {
    pub(super) everything: bool,
    pub(super) match_key: Option<String>,
    pub(super) skeleton: Option<String>,
    pub(super) text: String,
}

pub(super) struct UnitRowStored {
    pub(super) stored: String,
    pub(super) found_by: String,
    pub(super) standing: String,
    pub(super) slot: i32,
    pub(super) kind: Option<String>,
    pub(super) maker: String,
    pub(super) model: String,
    pub(super) gtin: Option<String>,
    pub(super) lot: Option<String>,
    pub(super) job_id: Uuid,
    pub(super) job_state: String,
    pub(super) householder: String,
    pub(super) street: String,
    pub(super) town: String,
    pub(super) day: String,
    pub(super) entry_id: Uuid,
    pub(super) read_us: i64,
}

pub(super) async fn units(tx: &mut FirmTx, search: &UnitSearch, most: i64) -> Result<Vec<UnitRowStored>, sqlx::Error> {
    let key = search.match_key.as_deref().map(begins_with);
    let skeleton = search.skeleton.as_deref().map(begins_with);
    sqlx::query_as!(
        UnitRowStored,
        r#"select u.stored,
             case when $2 then 'newest'
                  when u.match_key like $3 then 'serial'
                  when u.lot_search = $7 then 'lot'
                  when u.gtin = $5 then 'gtin'
                  else 'look_alike' end as "found_by!",
             u.standing, u.slot, u.kind, u.maker, u.model, u.gtin, u.lot, u.job_id, r.state as job_state, r.householder,
             r.street, r.town, r.day, u.entry_id, u.read_us
           from unit_rows u join job_rows r on r.firm_id = u.firm_id and r.job_id = u.job_id
           where u.firm_id = $1
             and ($2 or u.match_key like $3 or (u.match_key <> '' and u.skeleton like $4) or u.lot_search = $7
               or u.gtin = $5)
           order by u.read_us desc, u.entry_id
           limit $6"#,
        tx.firm().uuid(),
        search.everything,
        key,
        skeleton,
        search.text,
        most,
        lot_search(&search.text),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) struct HeldRowStored {
    pub(super) entry_id: Uuid,
    pub(super) job_id: Uuid,
    pub(super) kind: i64,
    pub(super) author_id: Uuid,
    pub(super) device_id: Uuid,
    pub(super) why: String,
    pub(super) by_person: Uuid,
    pub(super) by_device: Uuid,
    pub(super) held_us: i64,
    pub(super) bytes: i32,
}

pub(super) async fn held(tx: &mut FirmTx, most: i64) -> Result<Vec<HeldRowStored>, sqlx::Error> {
    sqlx::query_as!(
        HeldRowStored,
        r#"select entry_id, job_id, kind, author_id, device_id, why, by_person, by_device, held_us,
             octet_length(envelope) as "bytes!"
           from held_entries where firm_id = $1 and stored_us is null
           order by held_us desc, entry_id
           limit $2"#,
        tx.firm().uuid(),
        most,
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn state_of(tx: &mut FirmTx, job: JobId) -> Result<Option<String>, sqlx::Error> {
    sqlx::query_scalar!("select state from job_rows where firm_id = $1 and job_id = $2", tx.firm().uuid(), job.uuid())
        .fetch_optional(&mut **tx)
        .await
}

/// Jobs on which something was recorded, with their state, what changed last first.
pub(super) async fn jobs_to_register(
    tx: &mut FirmTx,
    since_us: i64,
    after: Option<JobId>,
    most: i64,
) -> Result<Vec<(Uuid, String)>, sqlx::Error> {
    let rows = sqlx::query!(
        "select job_id, state from job_rows
         where firm_id = $1 and updated_us >= $2 and method_known
           and state in ('on_site', 'paused', 'for_review', 'returned', 'passed', 'sealed')
           and ($3::uuid is null or (updated_us, job_id) < (select b.updated_us, b.job_id from job_rows b
                                                           where b.firm_id = $1 and b.job_id = $3))
         order by updated_us desc, job_id desc
         limit $4",
        tx.firm().uuid(),
        since_us,
        after.map(JobId::uuid),
        most,
    )
    .fetch_all(&mut **tx)
    .await?;
    Ok(rows.into_iter().map(|row| (row.job_id, row.state)).collect())
}
