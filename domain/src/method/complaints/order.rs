//! The order of steps: cycles, needs that point ahead, steps that nobody can reach.

use super::Complaint;
use crate::method::plan::{ChoiceNeed, Method, Requirement, Step, When};
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn complain(method: &Method, found: &mut BTreeSet<Complaint>) {
    let graph = Graph::of(method);
    for (index, before) in graph.before.iter().enumerate() {
        for later in before.iter().filter(|other| **other > index) {
            let need = method.steps[*later].id.clone();
            found.insert(Complaint::NeedsLater { step: method.steps[index].id.clone(), need });
        }
    }
    let circling = graph.circling();
    if !circling.is_empty() {
        let steps = circling.iter().map(|index| method.steps[*index].id.clone()).collect();
        found.insert(Complaint::Cycle { steps });
    }
    let opens = Reach::of(&graph).opens;
    for (step, _) in method.steps.iter().zip(opens).filter(|(_, opens)| !opens) {
        found.insert(Complaint::Unreachable { step: step.id.clone() });
    }
}

/// Every step that comes before one, however far back, by index.
pub(super) fn all_before(method: &Method, step: &str) -> BTreeSet<usize> {
    let graph = Graph::of(method);
    let mut before = BTreeSet::new();
    let mut open: Vec<usize> = graph.index.get(step).copied().into_iter().collect();
    while let Some(index) = open.pop() {
        open.extend(graph.before[index].iter().copied().filter(|other| before.insert(*other)));
    }
    before
}

/// Steps and what they directly wait for; names that lead nowhere are left out, they are complained of elsewhere.
struct Graph<'m> {
    method: &'m Method,
    index: BTreeMap<&'m str, usize>,
    before: Vec<BTreeSet<usize>>,
}

impl<'m> Graph<'m> {
    fn of(method: &'m Method) -> Self {
        let index: BTreeMap<&str, usize> =
            method.steps.iter().enumerate().map(|(index, step)| (step.id.as_str(), index)).collect();
        let waits_for = |step: &Step| {
            let choice = step.when.as_ref().map(|when| when.step.as_str());
            let all = step.needs.iter().map(String::as_str).chain(choice);
            all.filter_map(|id| index.get(id).copied()).collect()
        };
        let before = method.steps.iter().map(waits_for).collect();
        Self { method, index, before }
    }

    /// The steps of cycles, and those between two cycles.
    fn circling(&self) -> BTreeSet<usize> {
        let mut left: BTreeSet<usize> = (0..self.before.len()).collect();
        loop {
            let stays = |index: &usize, left: &BTreeSet<usize>| {
                let waits = self.before[*index].iter().any(|before| left.contains(before));
                let waited_for = left.iter().any(|other| self.before[*other].contains(index));
                waits && waited_for
            };
            let next: BTreeSet<usize> = left.iter().copied().filter(|index| stays(index, &left)).collect();
            if next.len() == left.len() {
                return left;
            }
            left = next;
        }
    }

    fn choice(&self, when: &When) -> Option<(usize, &'m ChoiceNeed)> {
        let index = *self.index.get(when.step.as_str())?;
        match self.method.steps[index].requirement(&when.requirement)? {
            Requirement::Choice(choice) => Some((index, choice)),
            Requirement::Photo(_)
            | Requirement::Reading(_)
            | Requirement::Serial(_)
            | Requirement::Confirmation(_)
            | Requirement::Wait(_)
            | Requirement::Check(_)
            | Requirement::Countersign(_)
            | Requirement::Signature(_)
            | Requirement::Words(_) => None,
        }
    }
}

/// What can happen to steps if choices fall well. Choices are taken to be independent of each other.
struct Reach {
    opens: Vec<bool>,
}

impl Reach {
    fn of(graph: &Graph<'_>) -> Self {
        let steps = &graph.method.steps;
        let mut reach = Self { opens: vec![false; steps.len()] };
        // Each round can only open more steps, so this ends after as many rounds as there are steps.
        loop {
            let next: Vec<bool> = (0..steps.len()).map(|index| reach.can_open(graph, index)).collect();
            if next == reach.opens {
                return reach;
            }
            reach.opens = next;
        }
    }

    fn can_open(&self, graph: &Graph<'_>, index: usize) -> bool {
        let step = &graph.method.steps[index];
        let switched_on = step.when.as_ref().is_none_or(|when| {
            graph.choice(when).is_some_and(|(at, choice)| {
                let answers = choice.options.iter().filter(|option| !option.fails && when.is.contains(&option.id));
                self.opens[at] && answers.count() > 0
            })
        });
        switched_on && graph.before[index].iter().all(|before| self.can_be_done(graph, *before))
    }

    fn can_be_done(&self, graph: &Graph<'_>, index: usize) -> bool {
        let stuck = graph.method.steps[index].requirements.iter().any(|need| match need {
            Requirement::Choice(choice) => choice.options.iter().all(|option| option.fails),
            Requirement::Photo(_)
            | Requirement::Reading(_)
            | Requirement::Serial(_)
            | Requirement::Confirmation(_)
            | Requirement::Wait(_)
            | Requirement::Check(_)
            | Requirement::Countersign(_)
            | Requirement::Signature(_)
            | Requirement::Words(_) => false,
        });
        (self.opens[index] && !stuck) || self.can_be_off(graph, index)
    }

    /// The step is switched off by an answer to its own choice; the choice itself must be reachable.
    fn can_be_off(&self, graph: &Graph<'_>, index: usize) -> bool {
        graph.method.steps[index].when.as_ref().and_then(|when| Some((when, graph.choice(when)?))).is_some_and(
            |(when, (at, choice))| {
                let others = choice.options.iter().filter(|option| !option.fails && !when.is.contains(&option.id));
                self.opens[at] && others.count() > 0
            },
        )
    }
}
