//! "Why is this closed?": what exactly is missing before a step, each with the place where it is done.

use super::{Answer, Applies, Gate, Obstacle, StepRef};
use crate::job_file::body::Place;

/// Everything that keeps a step shut, or keeps an open step from being done.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Why {
    /// What shuts the whole job or needs somebody who is not here: a stop, a pause, units, consent.
    pub job: Vec<Obstacle>,
    /// What is missing, in the order in which it can be done: what is open now comes first.
    pub lacks: Vec<Lack>,
}

/// One missing thing.
#[derive(Clone, Debug, PartialEq)]
pub struct Lack {
    /// The step and its repetition.
    pub at: StepRef,
    /// Step, unit and requirement; the requirement is empty where cautions are to be read.
    pub place: Place,
    /// What is missing there.
    pub what: Missing,
    /// Nothing stands before it: it can be done at once.
    pub open: bool,
}

/// What is missing at a place.
#[derive(Clone, Debug, PartialEq)]
pub enum Missing {
    /// These cautions are to be acknowledged, by id.
    Cautions(Vec<String>),
    /// The requirement stands so.
    Evidence(Answer),
}

impl Gate<'_, '_> {
    /// Why a step is closed, or what an open one still lacks. Empty when it is done and nothing stands before it.
    pub fn why(&mut self, at: StepRef) -> Why {
        let mut why = Why::default();
        let mut steps: Vec<StepRef> = Vec::new();
        for obstacle in self.obstacles(at) {
            match obstacle {
                Obstacle::Step(before) => steps.push(before),
                Obstacle::StopWork(_)
                | Obstacle::Paused
                | Obstacle::Away
                | Obstacle::Passed
                | Obstacle::Withdrawn
                | Obstacle::NeedsNewerApp
                | Obstacle::EquipmentMissing
                | Obstacle::ConsentMissing => why.job.push(obstacle),
            }
        }
        steps.push(at);
        for step in steps {
            self.lacks_of(step, &mut why.lacks);
        }
        // A stable sort: within each half the method's order stays.
        why.lacks.sort_by_key(|lack| !lack.open);
        why
    }

    fn lacks_of(&mut self, at: StepRef, lacks: &mut Vec<Lack>) {
        let open = self.obstacles(at).is_empty();
        let standing = self.standing(at).clone();
        match standing.applies {
            Applies::Yes => {}
            Applies::No => return,
            Applies::NotKnown => return self.undecided(at, lacks),
        }
        if !standing.cautions_unread.is_empty() {
            let what = Missing::Cautions(standing.cautions_unread);
            lacks.push(Lack { at, place: self.place(at, ""), what, open });
        }
        for (requirement, answer) in self.plan.step(at.step).requirements.iter().zip(standing.answers) {
            if !answer.lets_through() {
                let place = self.place(at, requirement.id());
                lacks.push(Lack { at, place, what: Missing::Evidence(answer), open });
            }
        }
    }

    /// Whether an undecided step is needed at all depends on a choice: it is the choice that is missing.
    fn undecided(&mut self, at: StepRef, lacks: &mut Vec<Lack>) {
        let Some(when) = &self.plan.step(at.step).when else { return };
        let Some(step) = self.plan.index_of(&when.step) else { return };
        let slot = if self.plan.repeat_of(step).is_some() { at.slot } else { 0 };
        let at = StepRef { step, slot };
        let place = Place::of(&when.step, slot, &when.requirement);
        if !lacks.iter().any(|lack| lack.place == place) {
            let open = self.obstacles(at).is_empty();
            lacks.push(Lack { at, place, what: Missing::Evidence(Answer::Missing { have: 0, want: 1 }), open });
        }
    }
}
