//! The questions at the end, asked past the servers: the log as the owner of the tables sees it, and the folder of photos.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use anyhow::Result;
use domain::ids::{EntryId, Hash32, JobId};
use domain::job_file::Stamp;
use sqlx::{PgPool, Row as _};
use tests::device::Device;
use uuid::Uuid;

/// One entry of the log.
struct Logged {
    job: JobId,
    hash: Hash32,
    stamp: Stamp,
}

/// An entry as two sides must have it alike: job, id, stamp and bytes.
type Row = (JobId, EntryId, Option<(u64, u64)>, Hash32);

/// Everything that the server has.
pub struct Log {
    entries: BTreeMap<EntryId, Vec<Logged>>,
    by_job: BTreeMap<JobId, Vec<(Stamp, EntryId)>>,
    heads: BTreeMap<JobId, u64>,
    /// One device wrote two entries with the same number.
    forks: i64,
    held: i64,
    arrived: BTreeMap<(JobId, Hash32), usize>,
}

/// What was found.
#[derive(Debug, Default)]
pub struct Found {
    /// Confirmed to somebody and not there, or there as something else.
    pub lost: u64,
    /// Saved on a device that has drained, and not there.
    pub missing: u64,
    /// There more than once.
    pub twice: u64,
    /// A position is left out, comes again, or is older than the one before.
    pub gaps: u64,
    /// A device holds something else than the log.
    pub disagreements: u64,
    /// The first of each in words.
    pub findings: Vec<String>,
}

/// The last position of each job.
pub async fn heads(owner: &PgPool) -> Result<BTreeMap<JobId, u64>> {
    let rows = sqlx::query("select job_id, head from jobs").fetch_all(owner).await?;
    Ok(rows.iter().map(|row| (JobId::of(row.get("job_id")), row.get::<i64, _>("head").unsigned_abs())).collect())
}

impl Log {
    /// Reads it all.
    pub async fn read(owner: &PgPool) -> Result<Self> {
        let rows = sqlx::query("select job_id, entry_id, position, stamp_us, envelope from entries order by position");
        let (mut entries, mut by_job): (BTreeMap<_, Vec<_>>, BTreeMap<_, Vec<_>>) = Default::default();
        for row in rows.fetch_all(owner).await? {
            let (job, id) = (JobId::of(row.get("job_id")), EntryId::of(row.get::<Uuid, _>("entry_id")));
            let position = row.get::<i64, _>("position").unsigned_abs();
            let stamp = Stamp { time_us: row.get::<i64, _>("stamp_us").unsigned_abs(), position };
            let hash = Hash32::sha256(row.get::<&[u8], _>("envelope"));
            entries.entry(id).or_default().push(Logged { job, hash, stamp });
            by_job.entry(job).or_default().push((stamp, id));
        }
        let forks =
            "select count(*) from (select 1 from entries group by job_id, device_id, seq having count(*) > 1) f";
        let mut arrived = BTreeMap::new();
        for row in sqlx::query("select job_id, sha256 from photo_arrivals").fetch_all(owner).await? {
            let hash = Hash32::of(row.get::<&[u8], _>("sha256").try_into()?);
            *arrived.entry((JobId::of(row.get("job_id")), hash)).or_default() += 1;
        }
        Ok(Self {
            entries,
            by_job,
            heads: heads(owner).await?,
            forks: sqlx::query_scalar(forks).fetch_one(owner).await?,
            held: sqlx::query_scalar("select count(*) from held_entries").fetch_one(owner).await?,
            arrived,
        })
    }

    /// Compares it with what each device holds and was told. `drained`: all devices say that nothing waits.
    pub fn compare(&self, devices: &[Device], photos: &Path, drained: bool) -> Found {
        let mut found = Found::default();
        self.judge_itself(&mut found);
        for (at, device) in devices.iter().enumerate() {
            for contradiction in &device.ledger.contradictions {
                found.findings.push(format!("device {at}: {contradiction}"));
            }
            self.judge_entries(device, drained, &mut found);
            self.judge_photos(device, photos, drained, &mut found);
            self.judge_agreement(device, at, &mut found);
        }
        found
    }

    fn judge_itself(&self, found: &mut Found) {
        for (id, rows) in self.entries.iter().filter(|(_, rows)| rows.len() > 1) {
            found.twice += 1;
            found.findings.push(format!("entry {id} is there {} times", rows.len()));
        }
        found.twice += self.forks.unsigned_abs();
        if self.forks > 0 || self.held > 0 {
            found.findings.push(format!("{} forks, {} held", self.forks, self.held));
        }
        for (job, rows) in &self.by_job {
            let without_gap = rows.iter().zip(1..).all(|((stamp, _), wanted)| stamp.position == wanted);
            let in_time = rows.windows(2).all(|pair| pair[0].0.time_us <= pair[1].0.time_us);
            let head = self.heads.get(job).copied() == Some(rows.len() as u64);
            if !(without_gap && in_time && head) {
                found.gaps += 1;
                found.findings.push(format!("job {job}: no gap {without_gap}, in time {in_time}, head {head}"));
            }
        }
    }

    fn has(&self, id: EntryId, job: JobId, hash: Hash32, stamp: Option<Stamp>) -> bool {
        let rows = self.entries.get(&id);
        rows.is_some_and(|rows| {
            rows.iter().any(|row| row.job == job && row.hash == hash && stamp.is_none_or(|told| told == row.stamp))
        })
    }

    fn judge_entries(&self, device: &Device, drained: bool, found: &mut Found) {
        for (id, (job, hash)) in &device.ledger.entries_saved {
            let told = device.ledger.acknowledged.get(id).copied();
            if self.has(*id, *job, *hash, told) {
                continue;
            }
            match told {
                Some(stamp) => {
                    found.lost += 1;
                    found.findings.push(format!("entry {id} was confirmed as {stamp:?} and is not there"));
                }
                None if drained => {
                    found.missing += 1;
                    found.findings.push(format!("entry {id} was saved and never arrived"));
                }
                None => {}
            }
        }
    }

    fn judge_photos(&self, device: &Device, photos: &Path, drained: bool, found: &mut Found) {
        for key in &device.ledger.photos_saved {
            let told = device.ledger.photos_stored.contains(key);
            let there = self.arrived.get(&(key.job, key.hash)) == Some(&1) && lies_there(photos, key.hash);
            match (there, told) {
                (true, _) => {}
                (false, true) => {
                    found.lost += 1;
                    found.findings.push(format!("photo {} was called stored and is not there", key.hash));
                }
                (false, false) if drained => {
                    found.missing += 1;
                    found.findings.push(format!("photo {} was saved and never arrived", key.hash));
                }
                (false, false) => {}
            }
        }
    }

    /// All devices see all jobs: each holds the log, no more and no less.
    fn judge_agreement(&self, device: &Device, at: usize, found: &mut Found) {
        let here: BTreeSet<Row> = device
            .shelf
            .entries
            .iter()
            .map(|(id, (job, row))| (*job, *id, row.stamp.map(plain), Hash32::sha256(&row.envelope)))
            .collect();
        let there: BTreeSet<Row> = self
            .entries
            .iter()
            .flat_map(|(id, rows)| rows.iter().map(|row| (row.job, *id, Some(plain(row.stamp)), row.hash)))
            .collect();
        let apart = here.symmetric_difference(&there).count() as u64;
        if apart > 0 {
            found.disagreements += apart;
            found.findings.push(format!("device {at} and the log differ in {apart} entries"));
        }
    }
}

fn plain(stamp: Stamp) -> (u64, u64) {
    (stamp.time_us, stamp.position)
}

/// In the folder of some firm, with the bytes that its name says.
fn lies_there(photos: &Path, hash: Hash32) -> bool {
    let Ok(firms) = std::fs::read_dir(photos) else { return false };
    firms
        .flatten()
        .any(|firm| std::fs::read(firm.path().join(hash.hex())).is_ok_and(|bytes| Hash32::sha256(&bytes) == hash))
}
