//! The one way into the log.
//!
//! # Why nobody who reads by position ever misses an entry
//!
//! A device asks for "everything of this job after position 17" and never asks for 17 or less again. That is only right
//! if no entry can ever *become visible* below a position that was already handed out. A number drawn from a sequence
//! does not give that: transaction A draws 18, transaction B draws 19 and commits, a reader sees 19, and when A commits
//! at last, 18 appears behind the reader's back, for ever unread.
//!
//! Here a position is given in these steps, all in one transaction:
//!
//! 1. [`FirmLock::take`] locks the firm's row of `firm_clock` and holds it until the transaction ends.
//! 2. Under that lock the job's head is read, and the new entries get head + 1, head + 2, …
//! 3. Entries and the new head are written.
//! 4. The transaction commits, and only the commit lets the lock go.
//!
//! So of two appends of one firm the second reads the head only after the first has committed or vanished. Positions
//! become visible in their order and without gaps: a transaction that fails gives its numbers back, for nobody saw them.
//! *Never skip*: whoever sees position n sees all below n, for they were committed earlier. *Never stall*: a reader takes
//! no lock and waits for no writer; a writer that dies lets go of its lock with its connection. The price is that a firm's
//! pushes go one after another. They are short: everything that can be judged without the lock is judged before it.
//!
//! The stamp (server time of arrival) is given in the same place and never goes back within a firm, whatever the machine's
//! clock does: at least one microsecond after the last. The test with two overlapping transactions is
//! `tests/api/sync/positions.rs`.

use std::collections::btree_map::Entry as Slot;
use std::collections::{BTreeMap, BTreeSet};

use domain::ids::{EntryId, JobId};
use domain::job_file::{Entry, Stamp};
use uuid::Uuid;

use super::{cut, queries, wire};
use crate::db::FirmTx;
use crate::error::ApiError;

/// The firm's lock, held until its transaction ends.
#[derive(Debug)]
pub struct FirmLock {
    last_stamp_us: i64,
}

impl FirmLock {
    /// Waits for the lock.
    ///
    /// # Errors
    /// The database.
    pub async fn take(tx: &mut FirmTx) -> Result<Self, ApiError> {
        let last_stamp_us = queries::lock_firm_clock(tx).await?;
        Ok(Self { last_stamp_us })
    }

    /// The newest stamp of the firm.
    pub const fn last_stamp_us(&self) -> i64 {
        self.last_stamp_us
    }
}

/// What became of an entry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Appended {
    /// It is in the log now.
    Stored(Stamp),
    /// It was, with the same bytes.
    Had(Stamp),
    /// Other bytes have its id.
    OtherBytes,
    /// The database takes this one in no company: something about its content that no check of ours knows.
    Impossible,
}

/// Puts entries into the log, in the order given. Jobs that are not there yet are opened; whether an entry may open one is
/// the caller's business.
///
/// Nothing counts before the transaction commits, and nobody may be told before.
///
/// # Errors
/// The database does not answer. One entry that it does not like is [`Appended::Impossible`] and holds up no other.
pub async fn append(
    tx: &mut FirmTx,
    lock: &mut FirmLock,
    now_us: i64,
    entries: &[Entry],
) -> Result<Vec<Appended>, ApiError> {
    let mut there = there_already(tx, entries).await?;
    let mut outcome: Vec<Option<Appended>> = vec![None; entries.len()];
    let mut fresh: Vec<usize> = Vec::new();
    let mut first_with_id: BTreeMap<EntryId, usize> = BTreeMap::new();
    for (at, entry) in entries.iter().enumerate() {
        let id = entry.header.id;
        if let Some(row) = there.remove(&id) {
            let same = row.envelope == entry.bytes();
            let stamp = Stamp { time_us: wire(row.stamp_us), position: wire(row.position) };
            outcome[at] = Some(if same { Appended::Had(stamp) } else { Appended::OtherBytes });
            there.insert(id, row);
        } else if let Slot::Vacant(first) = first_with_id.entry(id) {
            first.insert(at);
            fresh.push(at);
        }
    }

    let mut run = Run { tx, now_us, lock, heads: BTreeMap::new() };
    run.open_jobs(entries, &fresh).await?;
    run.insert(entries, &fresh, &mut outcome).await?;
    run.close(entries, &outcome).await?;

    // The same id twice in one batch: the second stands to the first as to one that was there before.
    for (at, entry) in entries.iter().enumerate() {
        if outcome[at].is_none() {
            let first = first_with_id[&entry.header.id];
            let same = entries[first].bytes() == entry.bytes();
            outcome[at] = Some(match outcome[first] {
                Some(Appended::Stored(stamp) | Appended::Had(stamp)) if same => Appended::Had(stamp),
                Some(Appended::Impossible) => Appended::Impossible,
                Some(Appended::Stored(_) | Appended::Had(_) | Appended::OtherBytes) | None => Appended::OtherBytes,
            });
        }
    }
    Ok(outcome.into_iter().map(|one| one.expect("each entry was stored, found or compared")).collect())
}

async fn there_already(tx: &mut FirmTx, entries: &[Entry]) -> Result<BTreeMap<EntryId, queries::ThereRow>, ApiError> {
    let ids: Vec<Uuid> = entries.iter().map(|entry| entry.header.id.uuid()).collect();
    let rows = queries::entries_by_id(tx, &ids).await?;
    Ok(rows.into_iter().map(|row| (EntryId::of(row.entry_id), row)).collect())
}

/// One call of [`append`]: the heads as they grow.
struct Run<'t> {
    tx: &'t mut FirmTx,
    now_us: i64,
    lock: &'t mut FirmLock,
    heads: BTreeMap<JobId, i64>,
}

impl Run<'_> {
    async fn open_jobs(&mut self, entries: &[Entry], fresh: &[usize]) -> Result<(), ApiError> {
        let jobs: BTreeSet<JobId> = fresh.iter().map(|at| entries[*at].header.job).collect();
        let jobs: Vec<Uuid> = jobs.into_iter().map(JobId::uuid).collect();
        if !jobs.is_empty() {
            queries::open_jobs(self.tx, &jobs, self.now_us).await?;
            let rows = queries::heads(self.tx, &jobs).await?;
            self.heads = rows.into_iter().map(|row| (JobId::of(row.job_id), row.head)).collect();
        }
        Ok(())
    }

    /// Inserts a batch as one set. If the database refuses it, halves it until the guilty one stands alone.
    async fn insert(
        &mut self,
        entries: &[Entry],
        fresh: &[usize],
        outcome: &mut [Option<Appended>],
    ) -> Result<(), ApiError> {
        let mut halves: Vec<&[usize]> = vec![fresh];
        while let Some(batch) = halves.pop() {
            if batch.is_empty() {
                continue;
            }
            let (rows, stamps, heads) = self.number(entries, batch);
            match queries::insert_entries(self.tx, &rows).await {
                Ok(inserted) if inserted == batch.len() => {
                    for (at, stamp) in batch.iter().zip(stamps) {
                        self.lock.last_stamp_us = cut(stamp.time_us);
                        outcome[*at] = Some(Appended::Stored(stamp));
                    }
                    self.heads = heads;
                }
                Ok(_) => {
                    return Err(ApiError::internal(anyhow::anyhow!("an entry appeared although the firm is locked")));
                }
                Err(error) if queries::is_about_content(&error) => match batch {
                    [alone] => {
                        tracing::error!(error = %error, kind = entries[*alone].header.kind, "the database refuses an entry");
                        outcome[*alone] = Some(Appended::Impossible);
                    }
                    _ => {
                        let (left, right) = batch.split_at(batch.len() / 2);
                        // The left one is taken first: positions follow the order of the push.
                        halves.push(right);
                        halves.push(left);
                    }
                },
                Err(error) => return Err(error.into()),
            }
        }
        Ok(())
    }

    /// Stamps and positions for a batch, and the heads as they are if it is taken.
    fn number(&self, entries: &[Entry], batch: &[usize]) -> (queries::NewEntries, Vec<Stamp>, BTreeMap<JobId, i64>) {
        let mut heads = self.heads.clone();
        let mut stamp_us = self.lock.last_stamp_us;
        let mut rows = queries::NewEntries::default();
        let mut stamps = Vec::with_capacity(batch.len());
        for at in batch {
            let entry = &entries[*at];
            stamp_us = self.now_us.max(stamp_us + 1);
            let head = heads.entry(entry.header.job).or_insert(0);
            *head += 1;
            rows.push(entry, *head, stamp_us);
            stamps.push(Stamp { time_us: wire(stamp_us), position: wire(*head) });
        }
        (rows, stamps, heads)
    }

    /// Writes heads, clock and what follows from the entries that are in now, and tells whoever listens.
    async fn close(&mut self, entries: &[Entry], outcome: &[Option<Appended>]) -> Result<(), ApiError> {
        let stored: Vec<&Entry> = entries
            .iter()
            .zip(outcome)
            .filter(|(_, outcome)| matches!(outcome, Some(Appended::Stored(_))))
            .map(|(entry, _)| entry)
            .collect();
        let jobs: BTreeSet<JobId> = stored.iter().map(|entry| entry.header.job).collect();
        if !stored.is_empty() {
            let heads: Vec<(Uuid, i64)> = jobs.iter().map(|job| (job.uuid(), self.heads[job])).collect();
            queries::set_heads(self.tx, &heads).await?;
            queries::set_firm_clock(self.tx, self.lock.last_stamp_us).await?;
            queries::notify(self.tx, &jobs).await?;
        }
        // Also for entries that were there before: somebody may have sent the same bytes under a wrong name since.
        let kept: Vec<Vec<u8>> = entries
            .iter()
            .zip(outcome)
            .filter(|(_, outcome)| matches!(outcome, Some(Appended::Stored(_) | Appended::Had(_))))
            .map(|(entry, _)| queries::hash_of(entry.bytes()))
            .collect();
        if !kept.is_empty() {
            queries::release_held(self.tx, &kept, self.now_us).await?;
        }
        Ok(())
    }
}
