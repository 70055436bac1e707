//! One run: days of work and trouble, then healing, then the last look.

use crate::Options;
use crate::options::{DAY, HOUR, MINUTE};
use crate::planted::Planted;
use crate::world::{BEGIN_MS, Ev, World};
use domain::method::gate::Plan as MethodPlan;
use domain::method::plan::Method;

/// What came of a run.
#[derive(Clone, Debug)]
pub struct Outcome {
    /// The seed.
    pub seed: u64,
    /// The first thing that was not as it must be.
    pub violation: Option<String>,
    /// Phones times days.
    pub device_days: u64,
    /// Entries that people were told are saved.
    pub facts: usize,
    /// Entries in the log at the end.
    pub stored: usize,
    /// Events.
    pub events: u64,
    /// The mix of faults.
    pub options: Options,
    /// What happened, newest last; only when it was asked for.
    pub diary: Vec<String>,
}

/// After so long nothing may wait any more: items that failed alone rest for three hours at most.
const HEALING_MS: u64 = 9 * HOUR;

/// The method of every run.
pub(crate) fn method() -> Method {
    domain::method::load::from_toml(include_str!("../method.toml")).expect("the simulation's own method reads")
}

/// Runs a seed, with a planted fault or none. A panic of the rules is a violation like any other.
pub fn run(seed: u64, plant: Option<Planted>, diary: bool) -> Outcome {
    std::panic::catch_unwind(|| run_through(seed, plant, diary)).unwrap_or_else(|cause| {
        let what = cause.downcast_ref::<String>().cloned();
        let what = what.or_else(|| cause.downcast_ref::<&str>().map(|text| (*text).to_owned()));
        Outcome {
            seed,
            violation: Some(format!("panic: {}", what.unwrap_or_default())),
            device_days: 0,
            facts: 0,
            stored: 0,
            events: 0,
            options: Options::of_seed(seed),
            diary: Vec::new(),
        }
    })
}

fn run_through(seed: u64, plant: Option<Planted>, diary: bool) -> Outcome {
    let method = method();
    let plan = MethodPlan::of(&method);
    let mut world = World::new(seed, plant, &method, &plan);
    if diary {
        world.diary = Some(std::collections::VecDeque::new());
    }
    world.run_until(BEGIN_MS + world.opt.days * DAY);
    world.heal_and_look();
    Outcome {
        seed,
        violation: world.violation.take(),
        device_days: world.devices.len() as u64 * world.opt.days,
        facts: world.ledger.facts.len(),
        stored: world.db.tables.by_id.len(),
        events: world.events,
        options: world.opt.clone(),
        diary: world.diary.take().map(Vec::from).unwrap_or_default(),
    }
}

impl World<'_> {
    fn heal_and_look(&mut self) {
        if self.violation.is_some() {
            return;
        }
        self.heal();
        // What makes the server fail still does: nothing else may wait behind it.
        self.settle_down(true);
        self.ledger.poison_over = true;
        self.settle_down(false);
        if self.violation.is_none() {
            self.check_end();
        }
    }

    fn settle_down(&mut self, but_poison: bool) {
        self.send_again_now();
        let end = self.now + HEALING_MS;
        while self.violation.is_none() {
            self.run_until(self.now + MINUTE);
            match self.is_calm(but_poison) {
                Ok(()) => return,
                Err(why) if self.now >= end => self.violated(format!("after healing it does not become calm: {why}")),
                Err(_) => {}
            }
        }
    }

    fn send_again_now(&mut self) {
        self.send_again();
        for at in 0..self.devices.len() {
            if !self.devices[at].gone {
                let run = self.devices[at].run;
                self.devices[at].touch();
                self.after(1, Ev::Tick(at, run));
            }
        }
    }
}
