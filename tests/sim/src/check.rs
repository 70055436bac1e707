//! What must be true: after each step, and when everything is well again. It looks at what phones hold, what the database
//! has committed and what people were told, and knows nothing of planted faults.

use crate::db::{DbWrite, Tables};
use crate::device::Pending;
use crate::world::World;
use domain::ids::{EntryId, Hash32, JobId};
use domain::job_file::{Entry, JobFile, fold};
use domain::method::gate::Plan as MethodPlan;
use domain::tray::{Answer, AsideWhy, Delivery, PhotoKey, PhotoRow, PhotoWrite, Plan, Request, Shelf, Write};
use domain::wire::sync::HeldWhy;
use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hash, Hasher};

/// Something that a person was told is saved.
#[derive(Clone, Debug)]
pub(crate) struct Fact {
    /// Of the bytes; `None` when it was said before there were any.
    hash: Option<Hash32>,
    /// What held it was thrown away, lost, or restored away with nobody left to bring it.
    excused: bool,
}

/// What people were told, and what was seen of the server.
#[derive(Debug, Default)]
pub(crate) struct Ledger {
    pub(crate) facts: BTreeMap<EntryId, Fact>,
    photos: BTreeMap<PhotoKey, bool>,
    intents: BTreeMap<EntryId, u64>,
    next_intent: u64,
    pub(crate) poison: BTreeSet<EntryId>,
    pub(crate) poison_over: bool,
    pub(crate) forged: BTreeSet<Hash32>,
    handed_out: BTreeMap<JobId, u64>,
    /// By phone and job: the life and the position up to which everything was seen to be there.
    proven: BTreeMap<(usize, JobId), (Vec<u8>, u64)>,
    meanings: BTreeMap<(Vec<u8>, JobId, u64), u64>,
}

impl Ledger {
    pub(crate) fn is_poison(&self, id: EntryId) -> bool {
        !self.poison_over && self.poison.contains(&id)
    }

    pub(crate) fn new_intent(&mut self, id: EntryId) {
        self.next_intent += 1;
        self.intents.insert(id, self.next_intent);
    }

    /// Another id for the same act of a person.
    pub(crate) fn same_intent(&mut self, id: EntryId, as_of: EntryId) {
        if let Some(intent) = self.intents.get(&as_of).copied() {
            self.intents.insert(id, intent);
        }
    }
}

/// What a file means, in one number.
pub(crate) fn meaning(file: &JobFile, plan: &MethodPlan<'_>) -> u64 {
    let mut state = fold(file, plan);
    let mut hasher = DefaultHasher::new();
    format!("{:?} {:?} {:?} {:?}", state.phase, state.breaches, state.late, state.forks).hash(&mut hasher);
    for at in state.gate.steps() {
        let view = state.gate.view(at);
        format!("{:?} {:?} {:?}", view.at, view.state, view.answers).hash(&mut hasher);
    }
    let keys: Vec<(EntryId, u64)> = state.keys.iter().map(|(id, key)| (*id, key.at)).collect();
    keys.hash(&mut hasher);
    hasher.finish()
}

fn file_up_to(tables: &Tables, job: JobId, position: u64) -> JobFile {
    let mut file = JobFile::default();
    for (_, row) in tables.jobs.get(&job).into_iter().flat_map(|rows| rows.range(..=position)) {
        file.absorb((*row.entry).clone(), Some(row.stamp));
    }
    file
}

impl World<'_> {
    // --- the server

    /// Before the writes of a transaction become visible.
    pub(crate) fn check_commit(&mut self, writes: &[DbWrite]) {
        let mut heads: BTreeMap<JobId, u64> = BTreeMap::new();
        let mut last_stamp = self
            .db
            .tables
            .jobs
            .values()
            .filter_map(|rows| rows.values().next_back())
            .map(|row| row.stamp.time_us)
            .max();
        let mut fresh: BTreeSet<EntryId> = BTreeSet::new();
        for write in writes {
            match write {
                DbWrite::Append(row) => {
                    let header = &row.entry.header;
                    let position = row.stamp.position;
                    let head = heads.entry(header.job).or_insert_with(|| self.db.tables.head(header.job));
                    let known = self.db.tables.row(header.id).is_some() || !fresh.insert(header.id);
                    let behind = self.ledger.handed_out.get(&header.job).is_some_and(|handed| position <= *handed);
                    let wrong = if known {
                        Some("an entry is stored twice or its bytes change")
                    } else if behind {
                        Some("an entry becomes visible behind a position that was handed out")
                    } else if position != *head + 1 {
                        Some("positions have a gap or come in another order than commits")
                    } else if last_stamp.is_some_and(|last| row.stamp.time_us <= last) {
                        Some("a stamp goes back")
                    } else {
                        None
                    };
                    if let Some(wrong) = wrong {
                        return self.violated(format!("{wrong}: {} at {position}", header.id));
                    }
                    *head = position;
                    last_stamp = Some(row.stamp.time_us);
                    self.check_once(header.id);
                }
                DbWrite::Photo(hash, content) if Hash32::sha256(content) != *hash => {
                    return self.violated(format!("other bytes are kept under the name of photo {hash}"));
                }
                _ => {}
            }
        }
    }

    /// One act of a person is one entry.
    fn check_once(&mut self, id: EntryId) {
        let Some(intent) = self.ledger.intents.get(&id) else { return };
        let twin = self.ledger.intents.iter().find(|(other, same)| *same == intent && **other != id);
        if let Some((twin, _)) = twin
            && self.db.tables.row(*twin).is_some()
        {
            let twin = *twin;
            self.violated(format!("one act of a person is stored twice: {id} and {twin}"));
        }
    }

    pub(crate) fn note_handed_out(&mut self, answer: &Answer) {
        if let Answer::Pull(reply) = answer {
            for entry in &reply.entries {
                let handed = self.ledger.handed_out.entry(entry.job).or_default();
                *handed = (*handed).max(entry.stamp.position);
            }
        }
    }

    /// What only the lost time knew is excused where nobody holds it any more.
    pub(crate) fn note_restored(&mut self) {
        self.ledger.handed_out.clear();
        let (tables, devices) = (&self.db.tables, &self.devices);
        for (id, fact) in &mut self.ledger.facts {
            let kept = fact.hash.is_some_and(|hash| {
                tables.held.contains_key(&hash)
                    || tables.row(*id).is_some_and(|row| Hash32::sha256(&row.bytes) == hash)
                    || devices
                        .iter()
                        .filter_map(|device| device.shelf.entries.get(id))
                        .any(|(_, row)| Hash32::sha256(&row.envelope) == hash)
            });
            fact.excused |= !kept;
        }
        for (key, excused) in &mut self.ledger.photos {
            let held = devices.iter().filter_map(|device| device.shelf.photos.get(key)).any(|row| row.bytes_here);
            *excused |= !held && !tables.arrived.contains(key);
        }
    }

    // --- the phone

    pub(crate) fn told_saved_early(&mut self, _at: usize, pending: &Pending) {
        for (id, _) in &pending.said {
            self.ledger.facts.entry(*id).or_insert(Fact { hash: None, excused: false });
        }
    }

    pub(crate) fn told_saved(&mut self, _at: usize, entries: &[Entry], photos: &[(PhotoRow, Vec<u8>)]) {
        for entry in entries {
            let hash = Some(Hash32::sha256(entry.bytes()));
            let fact = self.ledger.facts.entry(entry.header.id).or_insert(Fact { hash: None, excused: false });
            fact.hash = fact.hash.or(hash);
        }
        if !entries.is_empty() {
            for (row, _) in photos {
                self.ledger.photos.entry(row.key()).or_insert(false);
            }
        }
    }

    /// A phone is gone: what only it had cannot come back.
    pub(crate) fn excuse(&mut self, shelf: &Shelf) {
        for (id, (_, row)) in &shelf.entries {
            let kept = self.db.tables.has_bytes(*id, &row.envelope);
            if let Some(fact) = self.ledger.facts.get_mut(id) {
                fact.excused |= !kept;
            }
        }
        self.excuse_photos(&shelf.photos.keys().copied().collect::<Vec<_>>());
    }

    pub(crate) fn excuse_photos(&mut self, keys: &[PhotoKey]) {
        for key in keys {
            let kept = self.db.tables.arrived.contains(key);
            if let Some(excused) = self.ledger.photos.get_mut(key) {
                *excused |= !kept;
            }
        }
    }

    /// New entries stand at the end of their phone's chain, later than all that it holds.
    pub(crate) fn check_written(&mut self, at: usize, job: JobId, entries: &[Entry]) {
        let Some(first) = entries.first() else { return };
        let device = &self.devices[at];
        let file = device.shelf.job_file(job);
        let head = file.chain_head(device.id);
        let header = &first.header;
        if (header.seq, header.prev) != (head.seq + 1, head.hash) {
            self.violated(format!("a phone forks its own chain: {}", header.id));
        } else if header.hlc <= file.latest_at().max(head.hlc) {
            self.violated(format!("an entry is not later than what its phone holds: {}", header.id));
        }
    }

    /// What an answer says of the server is so.
    pub(crate) fn check_plan(&mut self, at: usize, plan: &Plan) {
        let shelf = &self.devices[at].shelf;
        let tables = &self.db.tables;
        let epoch = plan.writes.iter().find_map(|write| match write {
            Write::Epoch { epoch, .. } => Some(epoch),
            _ => None,
        });
        if *epoch.unwrap_or(&shelf.epoch) != tables.epoch {
            return;
        }
        let bytes_here = |id: &EntryId| shelf.entries.get(id).map(|(_, row)| row.envelope.as_slice());
        let mut wrong = None;
        for write in &plan.writes {
            let found = match write {
                Write::Confirm(id, stamp) => bytes_here(id)
                    .is_some_and(|bytes| tables.row(*id).is_none_or(|row| row.stamp != *stamp || *row.bytes != *bytes)),
                Write::Store { id, stamp, envelope, .. } => {
                    tables.row(*id).is_none_or(|row| row.stamp != *stamp || *row.bytes != **envelope)
                }
                Write::Hold(id, _) => bytes_here(id).is_some_and(|bytes| !tables.has_bytes(*id, bytes)),
                Write::SetAside(id, AsideWhy::Refused(_)) => bytes_here(id).is_some_and(|bytes| {
                    self.ledger.facts.get(id).is_some_and(|fact| fact.hash == Some(Hash32::sha256(bytes)))
                }),
                Write::Photo(key, PhotoWrite::Confirm { .. }) => !tables.arrived.contains(key),
                _ => false,
            };
            if found {
                wrong = Some(format!("a phone is told what is not so: {write:?}"));
            }
        }
        if let Some(wrong) = wrong {
            self.violated(wrong);
        }
    }

    /// Whoever is at a position has everything up to it.
    pub(crate) fn check_positions(&mut self, at: usize, plan: &Plan) {
        let shelf = &self.devices[at].shelf;
        let tables = &self.db.tables;
        if shelf.epoch != tables.epoch {
            return;
        }
        let mut wrong = None;
        for write in &plan.writes {
            let Write::Position(job, position) = write else { continue };
            let proven = self.ledger.proven.entry((at, *job)).or_default();
            let from = if proven.0 == shelf.epoch && proven.1 <= *position { proven.1 } else { 0 };
            let rows = tables.jobs.get(job);
            for place in from + 1..=*position {
                let row = rows.and_then(|rows| rows.get(&place));
                if !row.is_some_and(|row| shelf.entries.contains_key(&row.entry.header.id)) {
                    wrong = Some(format!("a phone is at {position} of {job} and lacks {place}"));
                }
            }
            *proven = (shelf.epoch.clone(), *position);
        }
        if let Some(wrong) = wrong {
            self.violated(wrong);
        }
    }

    /// Two that hold the same of a job say the same of it. Every sixth time: a fold is dear.
    pub(crate) fn check_meaning(&mut self, at: usize, plan: &Plan) {
        let Some(job) = plan.writes.iter().find_map(|write| match write {
            Write::Position(job, _) => Some(*job),
            _ => None,
        }) else {
            return;
        };
        if !self.rng.chance(160) || self.devices[at].shelf.epoch != self.db.tables.epoch {
            return;
        }
        let shelf = &self.devices[at].shelf;
        let position = shelf.jobs.get(&job).map_or(0, |here| here.position);
        let here = shelf.entries.values().filter(|(of, _)| *of == job);
        let (confirmed, others): (Vec<_>, Vec<_>) = here.partition(|(_, row)| row.delivery == Delivery::Confirmed);
        if !others.is_empty() || confirmed.len() as u64 != position {
            return;
        }
        let said = meaning(&shelf.job_file(job), self.plan);
        let key = (shelf.epoch.clone(), job, position);
        let tables = &self.db.tables;
        let plan = self.plan;
        let first =
            *self.ledger.meanings.entry(key).or_insert_with(|| meaning(&file_up_to(tables, job, position), plan));
        if said != first {
            self.violated(format!("two that hold the first {position} entries of {job} say different things of it"));
        }
    }

    /// What left a phone is with the server.
    pub(crate) fn check_removed(&mut self, at: usize, before: &Shelf) {
        let after = &self.devices[at].shelf;
        let gone = before.entries.iter().filter(|(id, _)| !after.entries.contains_key(id));
        let lost = gone
            .filter(|(id, _)| self.ledger.facts.get(id).is_some_and(|fact| !fact.excused))
            .find(|(id, (_, row))| !self.db.tables.has_bytes(**id, &row.envelope))
            .map(|(id, _)| *id);
        if let Some(id) = lost {
            self.violated(format!("a phone let go of {id}, and the server does not have it"));
        }
    }

    /// An answer to a pull begins where the phone is and leaves nothing out.
    pub(crate) fn check_answer(&mut self, request: &Request, answer: &Answer) {
        let (Request::Pull { have, epoch, .. }, Answer::Pull(reply)) = (request, answer) else { return };
        let have: BTreeMap<JobId, u64> =
            if *epoch == *reply.epoch { have.iter().copied().collect() } else { BTreeMap::new() };
        let mut next: BTreeMap<JobId, u64> = BTreeMap::new();
        for entry in &reply.entries {
            let expected = next.entry(entry.job).or_insert_with(|| have.get(&entry.job).copied().unwrap_or(0) + 1);
            if entry.stamp.position != *expected {
                let (expected, job) = (*expected, entry.job);
                return self.violated(format!("an answer leaves out position {expected} of {job}"));
            }
            *expected += 1;
        }
    }

    // --- when everything is well

    /// Nothing moves any more; with `but_poison`, but for what makes the server fail.
    pub(crate) fn is_calm(&mut self, but_poison: bool) -> Result<(), String> {
        for at in 0..self.devices.len() {
            if self.devices[at].gone {
                continue;
            }
            let visible = self.visible(self.devices[at].person, &[]);
            let device = &self.devices[at];
            if device.tray.is_none() {
                return Err(format!("phone {at}: no app"));
            }
            let here = device.shelf.on_device();
            let waits = here.entries.iter().filter(|entry| matches!(entry.delivery, Delivery::Waiting { .. }));
            if let Some(entry) = waits.into_iter().find(|entry| !(but_poison && self.ledger.poison.contains(&entry.id)))
            {
                return Err(format!("phone {at}: {entry:?} waits"));
            }
            let counts = here.counts();
            if counts.previews + counts.originals > 0 {
                return Err(format!("phone {at}: {} photos wait", counts.previews + counts.originals));
            }
            for job in visible {
                let (head, position) =
                    (self.db.tables.head(job), device.shelf.jobs.get(&job).map(|here| here.position));
                if position != Some(head) {
                    return Err(format!("phone {at} is at {position:?} of {head} in {job}"));
                }
            }
        }
        Ok(())
    }

    /// The last look: nothing is lost, everybody agrees.
    pub(crate) fn check_end(&mut self) {
        let lost = self.ledger.facts.iter().find(|(id, fact)| {
            !fact.excused
                && !fact.hash.is_some_and(|hash| {
                    self.db.tables.held.contains_key(&hash)
                        || self.db.tables.row(**id).is_some_and(|row| Hash32::sha256(&row.bytes) == hash)
                })
        });
        if let Some((id, _)) = lost {
            let id = *id;
            return self.violated(format!("somebody was told that {id} is saved, and the server does not have it"));
        }
        let tables = &self.db.tables;
        let orphan = tables.held.values().find(|held| {
            let header = &held.entry.header;
            let is_orphan = held.why == HeldWhy::NoSuchJob && !held.stored && tables.row(header.id).is_none();
            is_orphan && tables.jobs.contains_key(&header.job)
        });
        if let Some(held) = orphan {
            let id = held.entry.header.id;
            return self.violated(format!("the server holds {id} for want of a job that is there"));
        }
        let photo = self.ledger.photos.iter().find(|(key, excused)| !**excused && !tables.arrived.contains(key));
        if let Some((key, _)) = photo {
            let key = *key;
            return self.violated(format!("photo {key:?} was called saved and never arrived"));
        }
        for at in 0..self.devices.len() {
            if !self.devices[at].gone {
                self.check_phone_at_end(at);
            }
        }
        if self.violation.is_none() {
            self.check_proofs();
        }
    }

    fn check_phone_at_end(&mut self, at: usize) {
        let visible = self.visible(self.devices[at].person, &[]);
        let waits_for_its_job = self.devices[at].shelf.entries.iter().find(|(_, (job, row))| {
            matches!(row.delivery, Delivery::Held(HeldWhy::NoSuchJob)) && visible.contains(job)
        });
        if let Some((id, _)) = waits_for_its_job {
            let id = *id;
            return self.violated(format!("phone {at}: {id} is held for want of a job that is there"));
        }
        for job in visible {
            let (tables, shelf) = (&self.db.tables, &self.devices[at].shelf);
            let mut file = JobFile::default();
            let mut wrong = None;
            for (id, (of, row)) in &shelf.entries {
                if *of != job || row.delivery != Delivery::Confirmed {
                    continue;
                }
                if tables.row(*id).is_none_or(|there| Some(there.stamp) != row.stamp || *there.bytes != **row.envelope)
                {
                    wrong = Some(format!("phone {at}: {id} counts as confirmed and stands otherwise in the log"));
                }
                if let Ok(entry) = Entry::read(&row.envelope) {
                    file.absorb(entry, row.stamp);
                }
            }
            let rows = tables.jobs.get(&job).into_iter().flat_map(BTreeMap::values);
            let mut clash = false;
            for row in rows {
                match shelf.entries.get(&row.entry.header.id) {
                    None => wrong = Some(format!("phone {at} lacks {}", row.entry.header.id)),
                    Some((_, here)) if *here.envelope.as_slice() != *row.bytes => clash = true,
                    Some((_, here)) if here.delivery != Delivery::Confirmed => {
                        wrong = Some(format!(
                            "phone {at}: {} is in the log and here {:?}",
                            row.entry.header.id, here.delivery
                        ));
                    }
                    Some(_) => {}
                }
            }
            if wrong.is_none() && !clash && meaning(&file, self.plan) != meaning(&tables.file(job), self.plan) {
                wrong = Some(format!("phone {at} and the server say different things of {job}"));
            }
            if let Some(wrong) = wrong {
                return self.violated(wrong);
            }
        }
    }

    /// What was set aside by an answer that may change goes again, by a person's hand. Nobody does that for what only waits.
    pub(crate) fn send_again(&mut self) {
        for device in self.devices.iter_mut().filter(|device| !device.gone) {
            for (_, row) in device.shelf.entries.values_mut() {
                if matches!(row.delivery, Delivery::Aside(AsideWhy::TooLarge | AsideWhy::Status(400 | 403..=499))) {
                    domain::tray::shelf::resend::entry(row);
                }
            }
            for row in device.shelf.photos.values_mut() {
                if matches!(row.delivery, domain::tray::PhotoDelivery::Aside(_)) {
                    domain::tray::shelf::resend::photo(row);
                }
            }
        }
    }
}
