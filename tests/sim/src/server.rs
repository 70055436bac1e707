//! The server's processes. What is a rule they ask of `domain::intake`; here is the order in which the real server reads,
//! locks, writes, commits and answers (`server/src/features/sync`, `server/src/job_files/append.rs`), with a pause between
//! any two of them in which everything may crash.

use crate::Bytes;
use crate::db::{DbWrite, HeldRow, Row};
use crate::net::{Call, Outgoing};
use crate::options::{HOUR, SECOND};
use crate::planted::Planted;
use crate::world::{Ev, Projected, World};
use domain::ids::{DeviceId, EntryId, Hash32, JobId, PersonId};
use domain::intake::{Judged, Numbering, Sender, hold_without_job, judge, opens_job, storing_order};
use domain::job_file::{Content, Entry, Stamp, fold};
use domain::people::{Action, Ownership, may};
use domain::tray::Answer;
use domain::wire::sync::{HeldWhy, JobHead, PullReply, PulledEntry, PushReply, PushVerdict, RefusedWhy, SYNC_VERSION};
use std::collections::{BTreeMap, BTreeSet};
use std::rc::Rc;

/// The real server shows finished jobs for sixty days; a run has three.
const FINISHED_SHOWN_MS: u64 = 3 * HOUR;

/// What became of an entry in the log.
#[derive(Clone, Copy, Debug)]
enum Appended {
    Stored(Stamp),
    Had(Stamp),
    OtherBytes,
}

/// Rows that this transaction has written: it sees its own.
type Fresh = BTreeMap<EntryId, (Bytes, Stamp)>;

impl World<'_> {
    /// A request reaches one of the processes that are up.
    pub(crate) fn arrive(&mut self, id: u64) {
        let up: Vec<usize> = (0..self.processes.len()).filter(|process| self.processes[*process].up).collect();
        let Some(&process) = self.rng.pick(&up) else { return self.reply_status(id, 502) };
        if !self.db.up {
            return self.reply_status(id, 500);
        }
        let now_us = self.process_us(process);
        let Some(call) = self.calls.get_mut(&id) else { return };
        (call.process, call.now_us) = (process, now_us);
        let shut_out = self.db.tables.devices.get(&call.device_id).is_none_or(|(_, revoked)| *revoked);
        let pushes = matches!(call.what, Outgoing::Push(_));
        if let Some(device) = call.device.map(|device| &self.devices[device]) {
            if device.too_old {
                return self.reply_status(id, 426);
            }
            // The enrolment of a call that was under way when the person signed in anew is good while it is not revoked.
            if !device.session && call.device_id == device.id {
                return self.reply_status(id, 401);
            }
        }
        if shut_out && !pushes {
            return self.reply_status(id, 401);
        }
        match &call.what {
            Outgoing::Push(_) => self.push_arrives(id, shut_out),
            Outgoing::Pull { .. } => self.pull_heads(id),
            Outgoing::Reference => {
                let methods = vec![self.method_ref.clone()];
                self.reply(id, Answer::Reference { version: 1, bytes: b"{}".to_vec(), methods });
            }
            Outgoing::Method => {
                let bytes = self.method_bytes.clone();
                self.reply(id, Answer::Method(bytes));
            }
            Outgoing::Photo { .. } => {
                let wait = self.rng.between(1, 60);
                self.after(wait, Ev::PhotoStep(id));
            }
        }
    }

    fn process_us(&self, process: usize) -> u64 {
        self.now.saturating_add_signed(self.processes[process].ahead_ms) * 1_000
    }

    fn push_arrives(&mut self, id: u64, shut_out: bool) {
        let Some(call) = self.calls.get(&id) else { return };
        let Outgoing::Push(batch) = &call.what else { return };
        let person = &self.people[call.person];
        let devices: BTreeMap<DeviceId, bool> = self
            .db
            .tables
            .devices
            .iter()
            .filter(|(_, (owner, _))| *owner == person.id)
            .map(|(device, (_, revoked))| (*device, *revoked))
            .collect();
        let sender = Sender { firm: self.firm, person: person.id, roles: &person.roles, devices: &devices, shut_out };
        let judged: Vec<Judged> = batch.iter().map(|bytes| judge(&sender, bytes)).collect();
        let poisoned = judged.iter().filter_map(Judged::good).any(|entry| self.ledger.is_poison(entry.header.id));
        if poisoned {
            return self.reply_status(id, 500);
        }
        if let Some(call) = self.calls.get_mut(&id) {
            call.judged = judged;
        }
        if self.is(Planted::PositionBySequence) {
            return self.after(2, Ev::Granted(id));
        }
        self.db.waiting.push_back(id);
        self.grant();
    }

    /// The next in the queue gets the firm's lock.
    pub(crate) fn grant(&mut self) {
        while self.db.locked_by.is_none() {
            let Some(next) = self.db.waiting.pop_front() else { return };
            if self.calls.contains_key(&next) {
                self.db.locked_by = Some(next);
                let wait = self.rng.between(1, 15);
                self.after(wait, Ev::Granted(next));
            }
        }
    }

    /// Under the lock: read, number, write. Nothing of it counts before the commit.
    pub(crate) fn granted(&mut self, id: u64) {
        let Some(mut call) = self.calls.remove(&id) else { return };
        let known: BTreeSet<JobId> = self.db.tables.jobs.keys().copied().collect();
        let mut judged = hold_without_job(std::mem::take(&mut call.judged), &known);
        self.plant_in_judging(&mut judged);
        let mut verdicts: Vec<Option<PushVerdict>> = vec![None; judged.len()];
        let mut writes: Vec<DbWrite> = Vec::new();
        let mut hold = |entry: &Entry, why| {
            let (entry, bytes) = (Rc::new(entry.clone()), Bytes::from(entry.bytes()));
            writes.push(DbWrite::Hold(HeldRow { entry, bytes, why, stored: false }));
        };
        for (at, one) in judged.iter().enumerate() {
            match one {
                Judged::Refused(why) => verdicts[at] = Some(PushVerdict::Refused(*why)),
                Judged::Held(entry, why) => {
                    verdicts[at] = Some(PushVerdict::Held(*why));
                    hold(entry, *why);
                }
                Judged::Good(_) => {}
            }
        }
        let good = storing_order(&judged);
        let entries: Vec<Entry> = good.iter().filter_map(|at| judged[*at].good().cloned()).collect();
        let mut numbering = self.db.tables.numbering();
        let mut fresh = Fresh::new();
        let (outcomes, mut appended) = self.append(&entries, &mut numbering, &mut fresh, call.now_us);
        for ((at, entry), outcome) in good.iter().zip(&entries).zip(outcomes) {
            verdicts[*at] = Some(match outcome {
                Appended::Stored(stamp) => PushVerdict::Stored(stamp),
                Appended::Had(stamp) => PushVerdict::Had(stamp),
                Appended::OtherBytes => {
                    hold(entry, HeldWhy::SameIdOtherBytes);
                    PushVerdict::Held(HeldWhy::SameIdOtherBytes)
                }
            });
        }
        appended.extend(self.release_waiting(&entries, &mut numbering, &mut fresh, call.now_us));
        writes.extend(appended);
        if numbering.last_stamp_us != self.db.tables.last_stamp_us {
            writes.push(DbWrite::Clock(numbering.last_stamp_us));
        }
        let mut verdicts: Vec<PushVerdict> = verdicts.into_iter().flatten().collect();
        self.plant_in_batch(&good, &mut verdicts, &mut writes);
        call.answer = Some(Answer::Push(PushReply {
            version: SYNC_VERSION,
            epoch: self.db.tables.epoch.clone().into(),
            server_us: call.now_us,
            verdicts,
        }));
        call.writes = writes;
        if self.is(Planted::AckBeforeCommit)
            && let Some(answer) = call.answer.clone()
        {
            self.reply_to(&call, answer);
            call.waits = None;
        }
        self.calls.insert(id, call);
        let wait = if self.is(Planted::PositionBySequence) {
            self.rng.between(1, 8 * SECOND)
        } else {
            self.rng.between(1, 40)
        };
        self.after(wait, Ev::Commit(id));
    }

    /// As `server/src/job_files/append.rs`: what is there already, then new rows in the order given.
    fn append(
        &mut self,
        entries: &[Entry],
        numbering: &mut Numbering,
        fresh: &mut Fresh,
        now_us: u64,
    ) -> (Vec<Appended>, Vec<DbWrite>) {
        let mut outcomes = Vec::with_capacity(entries.len());
        let mut writes = Vec::new();
        for entry in entries {
            let header = &entry.header;
            let there = self.db.tables.row(header.id).map(|row| (row.bytes.clone(), row.stamp));
            let there = there.or_else(|| fresh.get(&header.id).cloned());
            let outcome = match there {
                Some((bytes, stamp)) if *bytes == *entry.bytes() && !self.is(Planted::NoIdempotency) => {
                    Appended::Had(stamp)
                }
                Some((bytes, stamp)) if *bytes != *entry.bytes() => {
                    if self.is(Planted::LastWriterWins) {
                        let row = Row { entry: Rc::new(entry.clone()), bytes: Bytes::from(entry.bytes()), stamp };
                        writes.push(DbWrite::Append(row));
                        Appended::Stored(stamp)
                    } else {
                        Appended::OtherBytes
                    }
                }
                Some(_) | None => {
                    let stamp = self.stamp(header.job, numbering, now_us);
                    let bytes = Bytes::from(entry.bytes());
                    fresh.insert(header.id, (bytes.clone(), stamp));
                    if !(self.is(Planted::DropUnknownKinds) && entry.content == Content::Unknown) {
                        writes.push(DbWrite::Append(Row { entry: Rc::new(entry.clone()), bytes, stamp }));
                    }
                    Appended::Stored(stamp)
                }
            };
            if !matches!(outcome, Appended::OtherBytes) {
                writes.push(DbWrite::ReleaseHeld(Hash32::sha256(entry.bytes())));
            }
            outcomes.push(outcome);
        }
        (outcomes, writes)
    }

    fn stamp(&mut self, job: JobId, numbering: &mut Numbering, now_us: u64) -> Stamp {
        let before = numbering.last_stamp_us;
        let mut stamp = numbering.next(job, now_us);
        if self.is(Planted::PositionBySequence) {
            let committed = self.db.tables.head(job);
            let next = self.db.sequences.entry(job).or_insert(committed);
            *next += 1;
            stamp.position = *next;
        }
        if self.is(Planted::StampOutsideLock) {
            stamp.time_us = now_us;
            numbering.last_stamp_us = before.max(now_us);
        }
        stamp
    }

    /// Entries that waited for nothing but their job.
    fn release_waiting(
        &mut self,
        pushed: &[Entry],
        numbering: &mut Numbering,
        fresh: &mut Fresh,
        now_us: u64,
    ) -> Vec<DbWrite> {
        let opened: BTreeSet<JobId> =
            pushed.iter().filter(|entry| opens_job(entry)).map(|entry| entry.header.job).collect();
        if opened.is_empty() || self.is(Planted::WaitingNeverReleased) {
            return Vec::new();
        }
        let waiting = self.db.tables.held.values();
        let mut entries: Vec<Entry> = waiting
            .filter(|held| !held.stored && held.why == HeldWhy::NoSuchJob && opened.contains(&held.entry.header.job))
            .map(|held| (*held.entry).clone())
            .collect();
        entries.sort_by_key(|entry| (entry.header.device, entry.header.seq));
        self.append(&entries, numbering, fresh, now_us).1
    }

    fn plant_in_judging(&self, judged: &mut [Judged]) {
        if self.is(Planted::RefuseByRule) {
            for one in judged {
                if matches!(one, Judged::Held(_, HeldWhy::RoleMayNot | HeldWhy::DeviceRevoked | HeldWhy::NoSuchJob)) {
                    *one = Judged::Refused(RefusedWhy::Malformed);
                }
            }
        }
    }

    fn plant_in_batch(&self, good: &[usize], verdicts: &mut [PushVerdict], writes: &mut Vec<DbWrite>) {
        if self.is(Planted::HeldForgotten) {
            writes.retain(|write| !matches!(write, DbWrite::Hold(_)));
        }
        let bad = verdicts.iter().any(|verdict| matches!(verdict, PushVerdict::Held(_) | PushVerdict::Refused(_)));
        if self.is(Planted::BadEntryUndoesBatch) && bad {
            writes.clear();
        }
        if self.is(Planted::VerdictsInStoringOrder) {
            let stored: Vec<PushVerdict> = good.iter().map(|at| verdicts[*at].clone()).collect();
            let mut places: Vec<usize> = good.to_vec();
            places.sort_unstable();
            for (place, verdict) in places.into_iter().zip(stored) {
                verdicts[place] = verdict;
            }
        }
    }

    pub(crate) fn commit(&mut self, id: u64) {
        let Some(mut call) = self.calls.remove(&id) else { return };
        let fails = !self.healed && self.rng.chance(self.opt.commit_fails);
        if !fails {
            let writes = std::mem::take(&mut call.writes);
            self.check_commit(&writes);
            self.db.tables.apply(&writes);
        }
        if self.db.locked_by == Some(id) {
            self.db.locked_by = None;
        }
        self.grant();
        let unheard = !self.healed && self.rng.chance(self.opt.lost_commit_answer);
        let done = !(fails || unheard) || (fails && self.is(Planted::FailedCommitIsDone));
        let answer = call.answer.take().filter(|_| done);
        let failed = Answer::Failed(domain::tray::Failure::Status { status: 500, retry_after_ms: None });
        self.reply_to(&call, answer.unwrap_or(failed));
    }

    // --- pull

    pub(crate) fn sees_all(&self, person: usize) -> bool {
        may(&self.people[person].roles, Action::SeeJob, Ownership::Firm).is_some()
    }

    /// The jobs that go to a person's phones now.
    pub(crate) fn visible(&mut self, person: usize, also: &[JobId]) -> Vec<JobId> {
        let all = self.sees_all(person);
        let who = self.people[person].id;
        let jobs: Vec<JobId> = self.db.tables.jobs.keys().copied().collect();
        let now = self.now;
        jobs.into_iter()
            .filter(|job| {
                let row = self.project(*job);
                (all || row.crew.contains(&who) || row.authors.contains(&who))
                    && (!row.finished || row.updated_ms + FINISHED_SHOWN_MS > now || also.contains(job))
            })
            .collect()
    }

    fn project(&mut self, job: JobId) -> &Projected {
        let head = self.db.tables.head(job);
        if self.projected.get(&job).is_none_or(|row| row.head != head) {
            let file = self.db.tables.file(job);
            let state = fold(&file, self.plan);
            let crew = state.gate.record().crew.as_ref();
            let row = Projected {
                head,
                crew: crew.map(|crew| crew.value.crew.iter().map(|one| one.person).collect()).unwrap_or_default(),
                authors: file.iter().map(|held| held.entry.header.author).collect::<BTreeSet<PersonId>>(),
                finished: state.phase.is_over(),
                updated_ms: self.now,
            };
            self.projected.insert(job, row);
        }
        &self.projected[&job]
    }

    /// First statement: which jobs, and how far they go. What commits between it and the next one is read as well.
    fn pull_heads(&mut self, id: u64) {
        let Some(call) = self.calls.get(&id) else { return };
        let Outgoing::Pull { also, .. } = &call.what else { return };
        let (person, also) = (call.person, also.clone());
        let heads: Vec<(JobId, u64)> =
            self.visible(person, &also).into_iter().map(|job| (job, self.db.tables.head(job))).collect();
        let Some(call) = self.calls.get_mut(&id) else { return };
        let Outgoing::Pull { epoch, have, .. } = &call.what else { return };
        let same_life = *epoch == self.db.tables.epoch;
        let is_behind = heads.iter().any(|(job, head)| !same_life || have.get(job).copied().unwrap_or(0) < *head);
        call.visible = heads;
        if !is_behind {
            // There is no second statement when nothing is missing.
            return self.pull_rows(id);
        }
        let wait = self.rng.between(1, 30);
        self.after(wait, Ev::PullRows(id));
    }

    /// Second statement: the rows.
    pub(crate) fn pull_rows(&mut self, id: u64) {
        let Some(call) = self.calls.remove(&id) else { return };
        let Outgoing::Pull { epoch, have, .. } = &call.what else { return };
        let tables = &self.db.tables;
        let same_life = *epoch == tables.epoch;
        let asker = self.people[call.person].id;
        let mut entries = Vec::new();
        let mut more = false;
        for (job, head) in &call.visible {
            let after = if same_life { have.get(job).copied().unwrap_or(0) } else { 0 };
            if after >= *head {
                continue;
            }
            for (position, row) in tables.jobs.get(job).into_iter().flat_map(|rows| rows.range(after + 1..)) {
                if entries.len() >= self.opt.pull_most {
                    more = true;
                    break;
                }
                if self.is(Planted::PullSkipsOwn) && row.entry.header.author == asker {
                    continue;
                }
                let mut stamp = row.stamp;
                if self.is(Planted::StampAtReading) {
                    stamp.time_us = call.now_us;
                }
                debug_assert_eq!(*position, stamp.position);
                entries.push(PulledEntry {
                    job: *job,
                    id: row.entry.header.id,
                    stamp,
                    envelope: row.bytes.to_vec().into(),
                });
            }
        }
        let reply = PullReply {
            version: SYNC_VERSION,
            epoch: tables.epoch.clone().into(),
            server_us: call.now_us,
            manifest: call.visible.iter().map(|(job, position)| JobHead { job: *job, position: *position }).collect(),
            entries,
            more,
            methods: vec![self.method_ref.clone()],
            reference_version: 1,
            firm: self.firm,
            drawn_number: None,
        };
        self.reply_to(&call, Answer::Pull(reply));
    }

    // --- what breaks

    /// Its open transactions are rolled back by the database, its connections are closed.
    pub(crate) fn process_crashes(&mut self, process: usize) {
        if self.healed {
            return;
        }
        self.about(self.opt.process_crash_every, Ev::ProcessCrash(process));
        if !self.processes[process].up {
            return;
        }
        self.processes[process].up = false;
        self.processes[process].ahead_ms = self.wrong_by();
        let down = self.rng.between(SECOND, 40 * SECOND);
        self.after(down, Ev::ProcessStart(process));
        self.break_calls(|call| call.process == process && call.now_us > 0);
    }

    pub(crate) fn break_calls(&mut self, which: impl Fn(&Call) -> bool) {
        let broken: Vec<u64> = self.calls.iter().filter(|(_, call)| which(call)).map(|(id, _)| *id).collect();
        for id in broken {
            if let Some(call) = self.calls.remove(&id) {
                self.hang_up(&call);
            }
            if self.db.locked_by == Some(id) {
                self.db.locked_by = None;
            }
        }
        self.grant();
    }

    pub(crate) fn db_crashes(&mut self) {
        if self.healed {
            return;
        }
        self.about(self.opt.db_crash_every, Ev::DbCrash);
        self.db.up = false;
        let down = self.rng.between(SECOND, 60 * SECOND);
        self.after(down, Ev::DbStart);
        // Every transaction is gone; the processes live and answer with an error.
        let broken: Vec<u64> = self.calls.iter().filter(|(_, call)| call.now_us > 0).map(|(id, _)| *id).collect();
        for id in broken {
            self.reply_status(id, 500);
        }
        self.db.locked_by = None;
        self.db.waiting.clear();
    }
}
