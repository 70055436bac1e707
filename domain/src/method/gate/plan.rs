//! A method with its dependencies worked out once.

use crate::method::plan::{CheckCall, LimitRule, Method, Repeat, Requirement, Step};
use std::collections::{BTreeMap, BTreeSet};

/// A step that must be done before another one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Need {
    /// Index of the step.
    pub step: usize,
    /// Which of its repetitions.
    pub reach: Reach,
}

/// Which repetitions of a step before must be done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reach {
    /// Only that for the same slot.
    Slot,
    /// Those of the same stack.
    Stack,
    /// All of them.
    All,
}

impl Reach {
    /// Between a step and one that it names.
    const fn between(own: Option<Repeat>, before: Option<Repeat>) -> Self {
        match (own, before) {
            (None, _) | (_, None) => Self::All,
            (Some(Repeat::Stack), Some(Repeat::Stack)) => Self::Slot,
            // What was there before belongs to no new unit and to no stack.
            (Some(Repeat::ExistingInverter), Some(Repeat::Module | Repeat::Unit | Repeat::Stack))
            | (Some(Repeat::Module | Repeat::Unit | Repeat::Stack), Some(Repeat::ExistingInverter)) => Self::All,
            (Some(Repeat::Stack), Some(_)) | (Some(_), Some(Repeat::Stack)) => Self::Stack,
            (Some(Repeat::Module | Repeat::Unit), Some(Repeat::Module | Repeat::Unit))
            | (Some(Repeat::ExistingInverter), Some(Repeat::ExistingInverter)) => Self::Slot,
        }
    }
}

/// A method and what follows from it.
#[derive(Clone, Debug)]
pub struct Plan<'m> {
    method: &'m Method,
    index: BTreeMap<&'m str, usize>,
    /// What each step names itself.
    direct: Vec<Vec<Need>>,
    /// All steps before each step, however far back.
    needs: Vec<Vec<Need>>,
    /// Steps whose own satisfaction reads what was recorded in this one.
    readers: Vec<BTreeSet<usize>>,
}

impl<'m> Plan<'m> {
    /// Works out the dependencies of a method.
    pub fn of(method: &'m Method) -> Self {
        let index: BTreeMap<&str, usize> =
            method.steps.iter().enumerate().map(|(number, step)| (step.id.as_str(), number)).collect();
        let mut plan = Self {
            method,
            index,
            direct: Vec::new(),
            needs: Vec::new(),
            readers: vec![BTreeSet::new(); method.steps.len()],
        };
        plan.direct = (0..method.steps.len()).map(|step| plan.direct(step).collect()).collect();
        plan.needs = (0..method.steps.len()).map(|step| plan.all_before(step)).collect();
        plan.find_readers();
        plan
    }

    /// The method.
    pub const fn method(&self) -> &'m Method {
        self.method
    }

    /// A step by its index.
    pub fn step(&self, index: usize) -> &'m Step {
        &self.method.steps[index]
    }

    /// The index of a step id.
    pub fn index_of(&self, id: &str) -> Option<usize> {
        self.index.get(id).copied()
    }

    /// For which units a step is repeated.
    pub fn repeat_of(&self, step: usize) -> Option<Repeat> {
        self.step(step).repeat
    }

    /// The steps that one names itself, in its needs and its condition.
    pub fn direct_needs_of(&self, step: usize) -> &[Need] {
        &self.direct[step]
    }

    /// All steps before one, however far back. Which of their repetitions, the way there decides: see [`super::Gate`].
    pub fn needs_of(&self, step: usize) -> &[Need] {
        &self.needs[step]
    }

    /// Steps to work out anew when something was recorded in one. Whether a proof of dead still holds is asked otherwise.
    pub fn readers_of(&self, step: usize) -> &BTreeSet<usize> {
        &self.readers[step]
    }

    fn direct(&self, step: usize) -> impl Iterator<Item = Need> + '_ {
        let own = self.step(step);
        let choice = own.when.as_ref().map(|when| when.step.as_str());
        own.needs
            .iter()
            .map(String::as_str)
            .chain(choice)
            .filter_map(|id| self.index_of(id))
            .map(move |before| Need { step: before, reach: Reach::between(own.repeat, self.step(before).repeat) })
    }

    fn all_before(&self, step: usize) -> Vec<Need> {
        // A step reached on one way for the same slot and on another for all slots is needed for all.
        let mut found: BTreeMap<usize, Reach> = BTreeMap::new();
        let mut open: Vec<Need> = self.direct(step).collect();
        while let Some(need) = open.pop() {
            let known = found.get(&need.step).copied();
            let reach = known.map_or(need.reach, |known| known.max(need.reach));
            if known == Some(reach) {
                continue;
            }
            found.insert(need.step, reach);
            for before in self.direct(need.step) {
                open.push(Need { step: before.step, reach: reach.max(before.reach) });
            }
        }
        found.into_iter().filter(|(before, _)| *before != step).map(|(step, reach)| Need { step, reach }).collect()
    }

    fn find_readers(&mut self) {
        let serial_steps: Vec<usize> = (0..self.method.steps.len())
            .filter(|s| self.step(*s).requirements.iter().any(|r| matches!(r, Requirement::Serial(_))))
            .collect();
        for reader in 0..self.method.steps.len() {
            let mut sources: BTreeSet<usize> = BTreeSet::new();
            if let Some(when) = &self.step(reader).when {
                sources.extend(self.index_of(&when.step));
            }
            for requirement in &self.step(reader).requirements {
                if let Requirement::Reading(need) = requirement {
                    let conductors = self.method.conductors_of(self.step(reader), need);
                    let there = conductors.filter_map(|conductor| conductor.when.as_ref());
                    sources.extend(there.filter_map(|when| self.index_of(&when.step)));
                }
                let inputs = calls_of(requirement).into_iter().flat_map(|call| &call.inputs);
                let read = inputs.filter_map(|input| step_of_source(&input.from));
                sources.extend(read.filter_map(|id| self.index_of(id)));
            }
            if self.step(reader).requirements.iter().any(|need| matches!(need, Requirement::Wait(_))) {
                // The span that the server vouches for begins with what was recorded before.
                sources.extend(self.needs[reader].iter().map(|need| need.step));
            }
            if serial_steps.contains(&reader) {
                sources.extend(&serial_steps);
            }
            for source in sources {
                self.readers[source].insert(reader);
            }
        }
        // A step switched by a choice whose own step is switched by another choice follows both.
        for _ in 0..self.method.steps.len() {
            let before = self.readers.clone();
            for (source, readers) in before.iter().enumerate() {
                for reader in readers {
                    let further = before[*reader].clone();
                    self.readers[source].extend(further);
                }
            }
            if before == self.readers {
                break;
            }
        }
    }
}

fn calls_of(requirement: &Requirement) -> Vec<&CheckCall> {
    match requirement {
        Requirement::Reading(need) => need.limits().filter_map(LimitRule::call).collect(),
        Requirement::Check(need) => vec![&need.call],
        Requirement::Photo(_)
        | Requirement::Serial(_)
        | Requirement::Confirmation(_)
        | Requirement::Choice(_)
        | Requirement::Wait(_)
        | Requirement::Countersign(_)
        | Requirement::Signature(_)
        | Requirement::Words(_) => Vec::new(),
    }
}

/// The step id in an input source such as `readings.STEP.REQ`.
pub(super) fn step_of_source(from: &str) -> Option<&str> {
    let mut parts = from.split('.');
    matches!(parts.next(), Some("reading" | "readings" | "readings-to-here")).then(|| parts.next()).flatten()
}
