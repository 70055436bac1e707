//! A phone: what is on its disk, the app that runs or does not, and its driver, which is `web/src/sync/driver.rs` without a
//! browser. The disk is the shelf; a crash forgets everything else.

use crate::net::Way;
use crate::options::{HOUR, MINUTE, SECOND};
use crate::planted::Planted;
use crate::world::{Ev, World};
use domain::ids::{DeviceId, EntryId, JobId};
use domain::job_file::{Body, ChainHead, Content, Draft, Entry};
use domain::tray::{
    Answer, AsideWhy, Delivery, Failure, PhotoDelivery, PhotoKey, PhotoRow, PhotoStep, Plan, Request, Shelf, Tray,
    Write,
};
use domain::wire::sync::{HeldWhy, PullReply};
use std::collections::BTreeMap;

/// An idle page that nobody sees looks so seldom.
const HIDDEN_SLEEP_MS: u64 = 30 * SECOND;
/// After the store itself failed.
const TROUBLE_SLEEP_MS: u64 = 5 * SECOND;
/// Bytes of photos that a phone holds before its disk is full.
const DISK_BYTES: u64 = 30 * 1024 * 1024;

/// What a person wants to say.
#[derive(Clone, Debug)]
pub(crate) enum Said {
    Body(Box<Body>),
    /// A kind of a newer app.
    Newer(Vec<u8>),
}

/// A local transaction that has not completed.
#[derive(Clone, Debug)]
pub(crate) struct Pending {
    pub(crate) job: JobId,
    pub(crate) said: Vec<(EntryId, Said)>,
    pub(crate) photos: Vec<(PhotoRow, Vec<u8>)>,
    /// Only a planted fault remembers the end of the chain from before.
    pub(crate) chain: Option<ChainHead>,
}

/// A phone.
#[derive(Debug)]
pub(crate) struct Device {
    pub(crate) id: DeviceId,
    pub(crate) person: usize,
    pub(crate) shelf: Shelf,
    pub(crate) tray: Option<Tray>,
    /// Counts the runs of the app: what belongs to an earlier one is void.
    pub(crate) run: u32,
    pub(crate) awake: bool,
    pub(crate) seen: bool,
    stale: bool,
    applying: bool,
    pub(crate) in_flight: Option<(u64, Request)>,
    next_request: u64,
    pub(crate) pending: BTreeMap<u64, Pending>,
    pub(crate) next_write: u64,
    pub(crate) way: Way,
    pub(crate) session: bool,
    pub(crate) too_old: bool,
    pub(crate) signed_out: bool,
    pub(crate) gone: bool,
    ahead_ms: i64,
    drift_ppm: i64,
    jobs_seen: Option<PullReply>,
}

impl Device {
    pub(crate) fn new(id: DeviceId, person: usize, ahead_ms: i64, drift_ppm: i64) -> Self {
        Self {
            id,
            person,
            shelf: Shelf::default(),
            tray: None,
            run: 0,
            awake: false,
            seen: true,
            stale: true,
            applying: false,
            in_flight: None,
            next_request: 0,
            pending: BTreeMap::new(),
            next_write: 0,
            way: Way::Open,
            session: true,
            too_old: false,
            signed_out: false,
            gone: false,
            ahead_ms,
            drift_ppm,
            jobs_seen: None,
        }
    }

    pub(crate) const fn works(&self) -> bool {
        self.awake && self.tray.is_some() && !self.gone
    }

    /// Something on the disk changed beside the driver.
    pub(crate) const fn touch(&mut self) {
        self.stale = true;
    }

    fn is_full(&self) -> bool {
        let here = self.shelf.photos.values().filter(|row| row.bytes_here);
        here.map(|row| row.file.bytes).sum::<u64>() > DISK_BYTES
    }

    /// Confirmed originals go when there is no room.
    fn free_space(&mut self) -> Vec<PhotoKey> {
        let mut freed = Vec::new();
        for row in self.shelf.photos.values_mut() {
            if row.bytes_here && matches!(row.delivery, PhotoDelivery::Confirmed { .. }) {
                row.bytes_here = false;
                freed.push(row.key());
            }
        }
        let photos = &self.shelf.photos;
        self.shelf.photo_bytes.retain(|hash, _| photos.values().any(|row| row.file.hash == *hash && row.bytes_here));
        freed
    }
}

impl World<'_> {
    /// What a phone's clock says.
    pub(crate) fn clock_ms(&self, device: usize) -> u64 {
        let device = &self.devices[device];
        let since = i64::try_from(self.now - crate::world::BEGIN_MS).unwrap_or(0);
        self.now.saturating_add_signed(device.ahead_ms + since / 1_000 * device.drift_ppm / 1_000)
    }

    /// By a minute, or by days: a flat battery, a trip abroad, a curious thumb.
    pub(crate) fn jump_clock(&mut self, at: usize) {
        self.devices[at].ahead_ms = self.wrong_by();
    }

    // --- the driver

    pub(crate) fn tick(&mut self, at: usize, run: u32) {
        let now_ms = self.clock_ms(at);
        let device = &mut self.devices[at];
        if !device.works() || device.run != run || device.in_flight.is_some() || device.applying {
            return;
        }
        let Some(tray) = &mut device.tray else { return };
        if device.stale {
            tray.refill(device.shelf.on_device());
            device.stale = false;
        }
        let Some(request) = tray.next_request(now_ms) else {
            let sleep = if device.seen || tray.counts().waiting() > 0 { tray.sleep_ms() } else { HIDDEN_SLEEP_MS };
            return self.after(sleep, Ev::Tick(at, run));
        };
        tray.begin(&request, now_ms);
        device.next_request += 1;
        let number = device.next_request;
        device.in_flight = Some((number, request.clone()));
        self.plant_when_sending(at, &request);
        self.send(at, &request, number);
    }

    pub(crate) fn timed_out(&mut self, at: usize, number: u64) {
        if self.devices[at].in_flight.as_ref().is_some_and(|(waits, _)| *waits == number) {
            self.answered(at, number, Answer::Failed(Failure::NoConnection));
        }
    }

    pub(crate) fn answered(&mut self, at: usize, number: u64, answer: Answer) {
        let now_ms = self.clock_ms(at);
        let jitter = u32::try_from(self.rng.bits() >> 32).unwrap_or(0);
        if self.devices[at].in_flight.as_ref().is_none_or(|(waits, _)| *waits != number) {
            return;
        }
        let Some((_, request)) = self.devices[at].in_flight.take() else { return };
        let answer = self.misread(&request, answer);
        self.check_answer(&request, &answer);
        self.plant_when_answered(at, &request, &answer);
        let device = &mut self.devices[at];
        let Some(tray) = &mut device.tray else { return };
        let plan = tray.take_reply(&request, answer, now_ms, jitter);
        device.applying = true;
        let (run, wait) = (device.run, self.rng.between(1, 30));
        self.after(wait, Ev::Apply(at, run, Box::new(plan)));
    }

    /// The plan is one transaction: all of it, or the store says what went wrong and the tray is filled anew.
    pub(crate) fn apply(&mut self, at: usize, run: u32, plan: Plan) {
        if self.devices[at].run != run || self.devices[at].tray.is_none() {
            return;
        }
        self.devices[at].applying = false;
        if plan.writes.is_empty() {
            return self.after(0, Ev::Tick(at, run));
        }
        self.devices[at].stale = true;
        let fails = !self.healed && self.rng.chance(self.opt.quota_fails);
        if fails {
            self.make_room(at);
            return self.after(TROUBLE_SLEEP_MS, Ev::Tick(at, run));
        }
        if self.is(Planted::PlanInPieces) && self.rng.chance(250) {
            return self.apply_in_pieces(at, plan);
        }
        self.apply_whole(at, plan);
        self.after(0, Ev::Tick(at, run));
    }

    pub(crate) fn apply_whole(&mut self, at: usize, plan: Plan) {
        let plan = self.plant_in_plan(at, plan);
        self.check_plan(at, &plan);
        let dropped = plan.writes.iter().any(|write| matches!(write, Write::Drop(_)));
        let before = dropped.then(|| self.devices[at].shelf.clone());
        self.devices[at].shelf.apply(plan.clone());
        self.plant_after_plan(at, &plan);
        if let Some(before) = before {
            self.check_removed(at, &before);
        }
        self.check_positions(at, &plan);
        self.check_meaning(at, &plan);
    }

    // --- local writes

    /// What the server had confirmed goes for space. A server that was restored since may lack it: that is the price of
    /// going sooner than after fourteen days, and the design pays it.
    fn make_room(&mut self, at: usize) {
        let freed = self.devices[at].free_space();
        if self.devices[at].shelf.epoch != self.db.tables.epoch {
            self.excuse_photos(&freed);
        }
    }

    /// A person saves: a transaction begins.
    pub(crate) fn save(&mut self, at: usize, pending: Pending) {
        let device = &mut self.devices[at];
        device.next_write += 1;
        let (run, write) = (device.run, device.next_write);
        let mut pending = pending;
        if self.plant == Some(Planted::ChainReadOutside) {
            pending.chain = Some(device.shelf.job_file(pending.job).chain_head(device.id));
        }
        device.pending.insert(write, pending.clone());
        if self.is(Planted::SavedBeforeCommit) {
            self.told_saved_early(at, &pending);
        }
        let wait = self.rng.between(5, 300);
        self.after(wait, Ev::Kept(at, run, write));
    }

    /// The transaction completes: only now the screen says "saved on this device".
    pub(crate) fn kept(&mut self, at: usize, run: u32, write: u64) {
        if self.devices[at].run != run {
            return;
        }
        let Some(pending) = self.devices[at].pending.remove(&write) else { return };
        let full = self.devices[at].is_full() || (!self.healed && self.rng.chance(self.opt.quota_fails));
        if full {
            self.make_room(at);
            self.devices[at].stale = true;
            // Not saved, and said so. A person tries again some of the time.
            if self.rng.chance(700) {
                self.save(at, pending);
            }
            return;
        }
        let now_us = self.clock_ms(at) * 1_000;
        let entries = self.make_entries(at, &pending, now_us);
        self.check_written(at, pending.job, &entries);
        self.devices[at].shelf.keep(&entries, &pending.photos);
        self.devices[at].stale = true;
        self.told_saved(at, &entries, &pending.photos);
        let poison = self.opt.poison;
        for entry in &entries {
            if self.rng.chance(poison) {
                self.ledger.poison.insert(entry.header.id);
            }
        }
        self.after(1, Ev::Tick(at, run));
    }

    /// As `web/src/store/write.rs` makes them inside the transaction.
    fn make_entries(&mut self, at: usize, pending: &Pending, now_us: u64) -> Vec<Entry> {
        let device = &self.devices[at];
        let file = device.shelf.job_file(pending.job);
        let mut head = pending.chain.unwrap_or_else(|| file.chain_head(device.id));
        let mut latest = if self.is(Planted::PlainClock) { 0 } else { file.latest_at() };
        let seen = device.shelf.jobs.get(&pending.job).map_or(0, |job| job.position);
        let (author, id) = (self.people[device.person].id, device.id);
        let mut made = Vec::new();
        for (entry_id, said) in &pending.said {
            if let Some(held) = file.get(*entry_id) {
                let same = match (&held.entry.content, said) {
                    (Content::Body(there), Said::Body(body)) => *there == **body,
                    (Content::Unknown, Said::Newer(_)) => true,
                    _ => false,
                };
                if same {
                    continue;
                }
                return Vec::new();
            }
            let salt = self.rng.bytes();
            let body = match said {
                Said::Body(body) => (**body).clone(),
                Said::Newer(_) => Body::Resumed(domain::job_file::body::Plain {}),
            };
            let draft = Draft { id: *entry_id, firm: self.firm, job: pending.job, author, device: id, salt, body };
            let mut before = head;
            if self.is(Planted::PlainClock) {
                before.hlc = 0;
            }
            let mut entry = Entry::write(draft, before, seen, now_us, latest);
            if let Said::Newer(bytes) = said {
                entry = crate::people::of_newer_app(&entry, bytes, &salt);
            }
            head = entry.as_head();
            latest = latest.max(head.hlc);
            made.push(entry);
        }
        made
    }

    // --- the life of an app

    pub(crate) fn start_app(&mut self, at: usize) {
        let device = &mut self.devices[at];
        device.run += 1;
        device.tray = Some(Tray::new(device.shelf.on_device()));
        (device.stale, device.applying, device.in_flight) = (true, false, None);
        device.pending.clear();
        let run = device.run;
        self.after(1, Ev::Tick(at, run));
    }

    pub(crate) fn stop_app(&mut self, at: usize) {
        let device = &mut self.devices[at];
        device.run += 1;
        (device.tray, device.in_flight, device.applying) = (None, None, false);
        device.pending.clear();
    }

    pub(crate) fn wake(&mut self, at: usize) {
        if self.healed || self.devices[at].gone {
            return;
        }
        self.devices[at].awake = true;
        self.devices[at].seen = self.rng.chance(600);
        if self.devices[at].tray.is_none() && !self.devices[at].signed_out {
            self.start_app(at);
        }
        let (run, now) = (self.devices[at].run, self.clock_ms(at));
        if let Some(tray) = &mut self.devices[at].tray {
            tray.wake(now);
        }
        self.after(1, Ev::Tick(at, run));
        let act = self.rng.between(10 * SECOND, 3 * MINUTE);
        self.after(act, Ev::Act(at, run));
        let awake = self.rng.between(4 * MINUTE, 40 * MINUTE);
        self.after(awake, Ev::Sleep(at, run));
    }

    pub(crate) fn sleep(&mut self, at: usize, _run: u32) {
        if self.healed || self.devices[at].gone {
            return;
        }
        // A page that sleeps keeps its memory for a while; what it waited for is lost.
        self.devices[at].awake = false;
        if self.rng.chance(400) {
            self.stop_app(at);
        } else if self.devices[at].in_flight.is_some() {
            let number = self.devices[at].in_flight.as_ref().map_or(0, |(number, _)| *number);
            self.after(1, Ev::Timeout(at, number));
        }
        let hour = (self.now / HOUR) % 24;
        let pause = if hour >= 19 { 10 * HOUR } else { self.rng.between(5 * MINUTE, 150 * MINUTE) };
        self.after(pause, Ev::Wake(at));
    }

    pub(crate) fn app_crashes(&mut self, at: usize) {
        if self.healed || self.devices[at].gone {
            return;
        }
        self.about(self.opt.app_crash_every, Ev::AppCrash(at));
        if self.devices[at].tray.is_some() {
            self.stop_app(at);
            let wait = self.rng.between(SECOND, 3 * MINUTE);
            self.after(wait, Ev::AppStart(at));
        }
    }

    pub(crate) fn app_starts(&mut self, at: usize) {
        if self.devices[at].gone || self.devices[at].signed_out || self.devices[at].tray.is_some() {
            return;
        }
        self.start_app(at);
    }

    // --- planted faults of the phone

    fn plant_when_sending(&mut self, at: usize, request: &Request) {
        match request {
            Request::Push(ids) if self.is(Planted::ConfirmedWhenSent) => self.mark_confirmed(at, ids),
            Request::Photo(key, PhotoStep::Send { to, .. }) if self.is(Planted::PhotoDoneWhenSent) => {
                let now_ms = self.clock_ms(at);
                if let Some(row) = self.devices[at].shelf.photos.get_mut(key)
                    && row.file.bytes == *to
                {
                    row.delivery = PhotoDelivery::Confirmed { at_ms: now_ms };
                }
            }
            _ => {}
        }
    }

    fn mark_confirmed(&mut self, at: usize, ids: &[EntryId]) {
        for id in ids {
            if let Some((_, row)) = self.devices[at].shelf.entries.get_mut(id) {
                row.delivery = Delivery::Confirmed;
            }
        }
    }

    fn plant_when_answered(&mut self, at: usize, request: &Request, answer: &Answer) {
        match (request, answer) {
            (Request::Push(ids), Answer::Failed(Failure::NotOurServer)) if self.is(Planted::AnyPageIsSuccess) => {
                self.mark_confirmed(at, ids);
            }
            (Request::Push(ids), Answer::Failed(Failure::Status { status: 401, .. }))
                if self.is(Planted::AsideAtSignIn) =>
            {
                for id in ids {
                    if let Some((_, row)) = self.devices[at].shelf.entries.get_mut(id) {
                        row.delivery = Delivery::Aside(AsideWhy::Status(401));
                    }
                }
            }
            (Request::Pull { .. }, Answer::Pull(reply)) => self.devices[at].jobs_seen = Some(reply.clone()),
            _ => {}
        }
    }

    fn plant_in_plan(&self, at: usize, mut plan: Plan) -> Plan {
        let shelf = &self.devices[at].shelf;
        let pulled = plan.writes.iter().any(|write| matches!(write, Write::Store { .. } | Write::Position(..)));
        match self.plant {
            Some(Planted::PhoneDropsUnknown) => plan.writes.retain(|write| match write {
                Write::Store { envelope, .. } => {
                    Entry::read(envelope).is_ok_and(|entry| entry.content != Content::Unknown)
                }
                _ => true,
            }),
            Some(Planted::PositionFromManifest) if pulled => {
                let heads = self.devices[at].jobs_seen.iter().flat_map(|reply| &reply.manifest);
                plan.writes.extend(heads.map(|head| Write::Position(head.job, head.position)));
            }
            Some(Planted::OrphansStay) => plan.writes.retain(|write| {
                let Write::Rest { id, .. } = write else { return true };
                let held = shelf.entries.get(id).map(|(_, row)| row.delivery);
                held != Some(Delivery::Held(HeldWhy::NoSuchJob))
            }),
            Some(Planted::NotOfferedAgain) => {
                for write in &mut plan.writes {
                    if let Write::Epoch { offer_again, .. } = write {
                        *offer_again = false;
                    }
                }
            }
            Some(Planted::PositionsOutliveEpoch)
                if plan.writes.iter().any(|write| matches!(write, Write::Epoch { .. })) =>
            {
                let kept: Vec<Write> =
                    shelf.jobs.iter().map(|(job, here)| Write::Position(*job, here.position)).collect();
                plan.writes.retain(|write| !matches!(write, Write::Position(..)));
                plan.writes.extend(kept);
            }
            _ => {}
        }
        plan
    }

    fn plant_after_plan(&mut self, at: usize, plan: &Plan) {
        let visible = self.devices[at].jobs_seen.take();
        match self.plant {
            Some(Planted::RefusedIsDeleted) => {
                for write in &plan.writes {
                    if let Write::SetAside(id, _) = write {
                        self.devices[at].shelf.entries.remove(id);
                    }
                }
            }
            Some(Planted::PulledReplacesOwn) => {
                for write in &plan.writes {
                    if let Write::Store { id, envelope, stamp, .. } = write
                        && let Some((_, row)) = self.devices[at].shelf.entries.get_mut(id)
                    {
                        row.envelope = envelope.clone().into();
                        (row.stamp, row.delivery) = (Some(*stamp), Delivery::Confirmed);
                    }
                }
            }
            Some(Planted::TakenIdIsHeld) => {
                for write in &plan.writes {
                    if let Write::Store { id, envelope, .. } = write
                        && let Some((_, row)) = self.devices[at].shelf.entries.get_mut(id)
                        && **row.envelope != **envelope
                    {
                        row.delivery = Delivery::Held(HeldWhy::SameIdOtherBytes);
                    }
                }
            }
            Some(Planted::DropWithTray) => {
                let Some(reply) = visible else { return };
                let shelf = &mut self.devices[at].shelf;
                shelf.entries.retain(|_, (job, _)| reply.manifest.iter().any(|head| head.job == *job));
            }
            _ => {}
        }
    }

    fn apply_in_pieces(&mut self, at: usize, mut plan: Plan) {
        for last in (1..plan.writes.len()).rev() {
            plan.writes.swap(last, self.rng.index(last + 1));
        }
        let kept = self.rng.index(plan.writes.len() + 1);
        plan.writes.truncate(kept);
        self.apply_whole(at, plan);
        self.stop_app(at);
        self.after(SECOND, Ev::AppStart(at));
    }
}
