//! The world: what there is, what time it is, and what happens next.

use crate::check::Ledger;
use crate::db::{Db, Tables};
use crate::device::Device;
use crate::net::Call;
use crate::options::{Options, SECOND};
use crate::planted::Planted;
use crate::rng::Rng;
use domain::ids::{DeviceId, FirmId, Hash32, JobId, PersonId, uuid_v7};
use domain::job_file::body::MethodRef;
use domain::method::gate::Plan as MethodPlan;
use domain::method::plan::Method;
use domain::people::Role;
use domain::tray::{Answer, Plan};
use std::cmp::Reverse;
use std::collections::{BTreeMap, BTreeSet, BinaryHeap, VecDeque};

/// When every run begins: midnight, UTC.
pub(crate) const BEGIN_MS: u64 = 1_767_225_600_000;

/// What happens.
#[derive(Debug)]
pub(crate) enum Ev {
    /// A phone's driver looks whether there is something to do.
    Tick(usize, u32),
    Answer(usize, u64, Box<Answer>),
    Timeout(usize, u64),
    /// An answer's plan is written.
    Apply(usize, u32, Box<Plan>),
    /// A local transaction completes.
    Kept(usize, u32, u64),
    /// A person does something.
    Act(usize, u32),
    Wake(usize),
    Sleep(usize, u32),
    Link(usize),
    AppCrash(usize),
    AppStart(usize),
    SessionEnds(usize),
    SignIn(usize),
    SignOut(usize),
    TooOld(usize),
    Update(usize),
    ClockJump(usize),
    Evict(usize),
    Lose(usize),
    Revoke(usize),
    Arrive(u64),
    Granted(u64),
    Commit(u64),
    PullRows(u64),
    PhotoStep(u64),
    ProcessCrash(usize),
    ProcessStart(usize),
    DbCrash,
    DbStart,
    Backup,
    RestoreBegins,
    RestoreEnds,
    Hostile,
}

#[derive(Debug)]
struct Queued(u64, u64, Ev);

impl PartialEq for Queued {
    fn eq(&self, other: &Self) -> bool {
        (self.0, self.1) == (other.0, other.1)
    }
}
impl Eq for Queued {}
impl PartialOrd for Queued {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Queued {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        (self.0, self.1).cmp(&(other.0, other.1))
    }
}

/// Somebody at the firm.
#[derive(Clone, Debug)]
pub(crate) struct Person {
    pub(crate) id: PersonId,
    pub(crate) roles: Vec<Role>,
}

/// A server process.
#[derive(Clone, Debug)]
pub(crate) struct Process {
    pub(crate) up: bool,
    /// How far its clock is ahead, milliseconds.
    pub(crate) ahead_ms: i64,
}

/// What the server knows of a job by folding it.
#[derive(Clone, Debug)]
pub(crate) struct Projected {
    pub(crate) head: u64,
    pub(crate) crew: BTreeSet<PersonId>,
    pub(crate) authors: BTreeSet<PersonId>,
    pub(crate) finished: bool,
    pub(crate) updated_ms: u64,
}

/// Everything.
pub(crate) struct World<'m> {
    pub(crate) rng: Rng,
    pub(crate) opt: Options,
    pub(crate) plant: Option<Planted>,
    pub(crate) now: u64,
    queue: BinaryHeap<Reverse<Queued>>,
    turn: u64,
    pub(crate) firm: FirmId,
    pub(crate) people: Vec<Person>,
    pub(crate) devices: Vec<Device>,
    pub(crate) processes: Vec<Process>,
    pub(crate) db: Db,
    pub(crate) restoring: bool,
    pub(crate) backup: Option<Tables>,
    pub(crate) projected: BTreeMap<JobId, Projected>,
    pub(crate) calls: BTreeMap<u64, Call>,
    pub(crate) next_call: u64,
    pub(crate) ledger: Ledger,
    pub(crate) plan: &'m MethodPlan<'m>,
    pub(crate) method_ref: MethodRef,
    pub(crate) method_bytes: Vec<u8>,
    /// People have stopped working and every fault is over.
    pub(crate) healed: bool,
    pub(crate) violation: Option<String>,
    pub(crate) diary: Option<VecDeque<String>>,
    pub(crate) events: u64,
}

impl<'m> World<'m> {
    pub(crate) fn new(seed: u64, plant: Option<Planted>, method: &'m Method, plan: &'m MethodPlan<'m>) -> Self {
        let mut rng = Rng::of(seed);
        let opt = Options::draw(&mut rng);
        let method_bytes = domain::wire::to_bytes(method);
        let method_ref =
            MethodRef { id: method.id.clone(), version: method.version, hash: Hash32::sha256(&method_bytes) };
        let firm = FirmId::of(uuid_v7(BEGIN_MS, &rng.bytes()));
        let mut world = Self {
            rng,
            opt,
            plant,
            now: BEGIN_MS,
            queue: BinaryHeap::new(),
            turn: 0,
            firm,
            people: Vec::new(),
            devices: Vec::new(),
            processes: Vec::new(),
            db: Db { up: true, ..Db::default() },
            restoring: false,
            backup: None,
            projected: BTreeMap::new(),
            calls: BTreeMap::new(),
            next_call: 0,
            ledger: Ledger::default(),
            plan,
            method_ref,
            method_bytes,
            healed: false,
            violation: None,
            diary: None,
            events: 0,
        };
        world.db.tables.epoch = world.rng.bytes::<16>().to_vec();
        world.settle();
        world
    }

    /// People, phones, processes, and the first of everything that will happen.
    fn settle(&mut self) {
        self.hire(vec![Role::Lead]);
        self.hire(vec![Role::Office]);
        for _ in 0..self.opt.technicians {
            self.hire(vec![Role::Technician]);
        }
        for _ in 0..self.opt.processes {
            let ahead_ms = self.wrong_by();
            self.processes.push(Process { up: true, ahead_ms });
        }
        for person in 0..self.people.len() {
            self.give_device(person);
        }
        if self.rng.chance(400) {
            let person = self.rng.index(self.people.len());
            self.give_device(person);
        }
        self.plan_faults();
    }

    fn hire(&mut self, roles: Vec<Role>) {
        let id = PersonId::of(uuid_v7(BEGIN_MS, &self.rng.bytes()));
        self.people.push(Person { id, roles });
    }

    /// A new enrolment with an empty phone.
    pub(crate) fn give_device(&mut self, person: usize) -> usize {
        let id = self.enrol(person);
        let ahead_ms = self.wrong_by();
        let drift = if self.opt.clocks_wrong { self.rng.below(400) } else { 0 };
        self.devices.push(Device::new(id, person, ahead_ms, i64::try_from(drift).unwrap_or(0) - 200));
        let device = self.devices.len() - 1;
        let at = self.rng.between(0, 3 * crate::options::HOUR);
        self.after(at, Ev::Wake(device));
        device
    }

    pub(crate) fn enrol(&mut self, person: usize) -> DeviceId {
        let id = DeviceId::of(uuid_v7(self.now, &self.rng.bytes()));
        self.db.tables.devices.insert(id, (self.people[person].id, false));
        id
    }

    pub(crate) fn wrong_by(&mut self) -> i64 {
        if !self.opt.clocks_wrong {
            return 0;
        }
        let most = if self.rng.chance(200) { 20 * crate::options::DAY } else { 10 * crate::options::MINUTE };
        i64::try_from(self.rng.below(2 * most)).unwrap_or(0) - i64::try_from(most).unwrap_or(0)
    }

    pub(crate) fn after(&mut self, wait_ms: u64, ev: Ev) {
        self.turn += 1;
        self.queue.push(Reverse(Queued(self.now + wait_ms, self.turn, ev)));
    }

    /// After a wait of this mean, so that things meet at any moment.
    pub(crate) fn about(&mut self, mean_ms: u64, ev: Ev) {
        let wait = self.rng.between(mean_ms / 4, mean_ms * 7 / 4);
        self.after(wait, ev);
    }

    /// Goes on until a time or a violation.
    pub(crate) fn run_until(&mut self, end: u64) {
        while self.violation.is_none() {
            match self.queue.peek() {
                Some(Reverse(next)) if next.0 <= end => {}
                Some(_) | None => break,
            }
            if let Some(Reverse(Queued(at, _, ev))) = self.queue.pop() {
                self.now = self.now.max(at);
                self.events += 1;
                self.happen(ev);
            }
        }
        self.now = self.now.max(end);
    }

    fn happen(&mut self, ev: Ev) {
        if self.diary.is_some() && !matches!(ev, Ev::Tick(..) | Ev::Timeout(..)) {
            let line = format!("{:>9} {ev:?}", (self.now - BEGIN_MS) / SECOND);
            self.write_down(line);
        }
        match ev {
            Ev::Tick(device, run) => self.tick(device, run),
            Ev::Answer(device, request, answer) => self.answered(device, request, *answer),
            Ev::Timeout(device, request) => self.timed_out(device, request),
            Ev::Apply(device, run, plan) => self.apply(device, run, *plan),
            Ev::Kept(device, run, write) => self.kept(device, run, write),
            Ev::Act(device, run) => self.act(device, run),
            Ev::Wake(device) => self.wake(device),
            Ev::Sleep(device, run) => self.sleep(device, run),
            Ev::Link(device) => self.link_changes(device),
            Ev::AppCrash(device) => self.app_crashes(device),
            Ev::AppStart(device) => self.app_starts(device),
            Ev::SessionEnds(device) => self.session_ends(device),
            Ev::SignIn(device) => self.signs_in(device),
            Ev::SignOut(device) => self.signs_out(device),
            Ev::TooOld(device) => self.too_old(device),
            Ev::Update(device) => self.updated(device),
            Ev::ClockJump(device) => self.clock_jumps(device),
            Ev::Evict(device) => self.evicted(device),
            Ev::Lose(device) => self.lost(device),
            Ev::Revoke(device) => self.revoked(device),
            Ev::Arrive(call) => self.arrive(call),
            Ev::Granted(call) => self.granted(call),
            Ev::Commit(call) => self.commit(call),
            Ev::PullRows(call) => self.pull_rows(call),
            Ev::PhotoStep(call) => self.photo_step(call),
            Ev::ProcessCrash(process) => self.process_crashes(process),
            Ev::ProcessStart(process) => self.processes[process].up = !self.restoring,
            Ev::DbCrash => self.db_crashes(),
            Ev::DbStart => self.db.up = !self.restoring,
            Ev::Backup => self.back_up(),
            Ev::RestoreBegins => self.restore_begins(),
            Ev::RestoreEnds => self.restore_ends(),
            Ev::Hostile => self.hostile(),
        }
    }

    pub(crate) fn write_down(&mut self, line: String) {
        if let Some(diary) = &mut self.diary {
            if diary.len() >= 4_000 {
                diary.pop_front();
            }
            diary.push_back(line.chars().take(400).collect());
        }
    }

    /// The first violation ends the run.
    pub(crate) fn violated(&mut self, what: impl Into<String>) {
        if self.violation.is_none() {
            self.violation = Some(what.into());
        }
    }

    pub(crate) fn is(&self, planted: Planted) -> bool {
        self.plant == Some(planted)
    }
}
