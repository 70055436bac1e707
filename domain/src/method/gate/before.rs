//! Which repetitions of steps come before each step of a job. It follows from the plan and the job's units alone, so it
//! is worked out once and kept until the units change. Beside it stands which of them are done, as far as anybody asked.

use super::StepRef;
use super::plan::{Plan, Reach};
use crate::job_file::file::OrderKey;
use crate::job_file::record::Record;
use core::ops::Range;
use std::collections::BTreeMap;

#[derive(Clone, Debug, Default)]
pub(super) struct Before {
    /// The equipment entry that this was worked out from; none before the first time.
    units: Option<Option<OrderKey>>,
    /// All repetitions of all steps, in the method's order.
    steps: Vec<StepRef>,
    /// The numbers of each step's repetitions.
    ranges: Vec<Range<usize>>,
    /// For each of them a set of numbers, 64 to a word.
    before: Vec<Vec<u64>>,
    /// Of which it is known whether they are done, and which are.
    known: Vec<u64>,
    done: Vec<u64>,
}

const WORD: usize = 64;

impl Before {
    /// Works everything out anew if the units have changed.
    pub(super) fn refresh(&mut self, plan: &Plan<'_>, record: &Record<'_>) {
        let units = record.equipment.as_ref().map(|equipment| equipment.key);
        if self.units != Some(units) {
            *self = Self::of(plan, record);
            self.units = Some(units);
        }
    }

    /// What stands before a step, however far back, of which nobody has said whether it is done.
    pub(super) fn unknown(&self, at: StepRef) -> Vec<StepRef> {
        self.of_set(at, &self.known)
    }

    /// What stands before a step and is not done, in the method's order; ask for the [`Self::unknown`] first.
    pub(super) fn undone(&self, at: StepRef) -> Vec<StepRef> {
        self.of_set(at, &self.done)
    }

    /// Somebody has looked whether a step is done.
    pub(super) fn learn(&mut self, at: StepRef, done: bool) {
        if let Some(number) = self.number(at) {
            let bit = 1 << (number % WORD);
            self.known[number / WORD] |= bit;
            if done {
                self.done[number / WORD] |= bit;
            } else {
                self.done[number / WORD] &= !bit;
            }
        }
    }

    /// Something was recorded at a step.
    pub(super) fn forget(&mut self, step: usize) {
        for number in self.ranges.get(step).cloned().unwrap_or_default() {
            self.known[number / WORD] &= !(1 << (number % WORD));
        }
    }

    /// Something was recorded that may concern any step.
    pub(super) fn forget_all(&mut self) {
        self.known.fill(0);
    }

    fn number(&self, at: StepRef) -> Option<usize> {
        let range = self.ranges.get(at.step)?.clone();
        range.clone().find(|number| self.steps[*number] == at)
    }

    /// The steps before one that are not in a set.
    fn of_set(&self, at: StepRef, without: &[u64]) -> Vec<StepRef> {
        let Some(number) = self.number(at) else { return Vec::new() };
        let mut found = Vec::new();
        for (word, (before, without)) in self.before[number].iter().zip(without).enumerate() {
            let mut left = before & !without;
            while left != 0 {
                let other = word * WORD + left.trailing_zeros() as usize;
                if other != number {
                    found.push(self.steps[other]);
                }
                left &= left - 1;
            }
        }
        found
    }

    fn of(plan: &Plan<'_>, record: &Record<'_>) -> Self {
        let slots: Vec<Vec<u16>> = (0..plan.method().steps.len())
            .map(|step| plan.repeat_of(step).map_or_else(|| vec![0], |repeat| record.slots(repeat)))
            .collect();
        let stacks: BTreeMap<u16, Option<u16>> =
            slots.iter().flatten().map(|slot| (*slot, record.stack_of(*slot))).collect();
        let mut out = Self::default();
        for (step, slots) in slots.iter().enumerate() {
            let first = out.steps.len();
            out.steps.extend(slots.iter().map(|slot| StepRef { step, slot: *slot }));
            out.ranges.push(first..out.steps.len());
        }
        let direct: Vec<Vec<usize>> = out
            .steps
            .iter()
            .map(|at| just_before(plan, &slots, &stacks, *at).iter().filter_map(|at| out.number(*at)).collect())
            .collect();
        out.before = close(&direct);
        out.known = vec![0; out.steps.len().div_ceil(WORD)];
        out.done.clone_from(&out.known);
        out
    }
}

/// The repetitions that a step names itself, and where it is done in order its own earlier ones.
fn just_before(plan: &Plan<'_>, slots: &[Vec<u16>], stacks: &BTreeMap<u16, Option<u16>>, at: StepRef) -> Vec<StepRef> {
    // Where one of two units stands in no stack, each counts for the other.
    let same_stack = |slot: u16| stacks[&slot].zip(stacks[&at.slot]).is_none_or(|(one, other)| one == other);
    let mut before = Vec::new();
    for need in plan.direct_needs_of(at.step) {
        let fits = |slot: &&u16| match need.reach {
            Reach::Slot => **slot == at.slot,
            Reach::Stack => same_stack(**slot),
            Reach::All => true,
        };
        before.extend(slots[need.step].iter().filter(fits).map(|slot| StepRef { step: need.step, slot: *slot }));
    }
    if plan.step(at.step).in_order {
        let earlier = slots[at.step].iter().filter(|slot| **slot < at.slot && same_stack(**slot));
        before.extend(earlier.map(|slot| StepRef { step: at.step, slot: *slot }));
    }
    before
}

/// All that can be reached. A method's steps stand in their order, so one round does; a second one finds nothing more.
fn close(direct: &[Vec<usize>]) -> Vec<Vec<u64>> {
    let mut sets = vec![vec![0_u64; direct.len().div_ceil(WORD)]; direct.len()];
    loop {
        let mut grew = false;
        for (at, befores) in direct.iter().enumerate() {
            let mut set = sets[at].clone();
            for before in befores {
                set[before / WORD] |= 1 << (before % WORD);
                set.iter_mut().zip(&sets[*before]).for_each(|(own, theirs)| *own |= theirs);
            }
            grew |= set != sets[at];
            sets[at] = set;
        }
        if !grew {
            return sets;
        }
    }
}
