//! What the job's page shows, worked out from a [`JobView`]. Pure.

use domain::job_file::Phase;
use domain::job_file::body::{CrewRole, UnitKind};
use domain::method::gate::Obstacle;

use super::load::{JobView, StepCard, UnitView};
use crate::features::words;
use crate::i18n::Words;

/// What the main action of the job's page is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Onward {
    /// The next step at which something can be done: its id, slot and name.
    Step(String, u16, String),
    /// The crew left: come back first.
    Resume,
    /// This person left the others: the same.
    Back,
    /// Everything is done: hand it in.
    Submit,
    /// Nothing to do here: the state says why.
    Nothing,
}

/// Works out the main action.
pub fn onward(w: Words, job: &JobView) -> Onward {
    match job.phase {
        Phase::Paused(_) => return Onward::Resume,
        Phase::ForReview | Phase::Passed | Phase::Sealed | Phase::Withdrawn => return Onward::Nothing,
        Phase::Planned | Phase::WithCrew | Phase::OnSite | Phase::Returned => {}
    }
    if is_away(job) {
        return Onward::Back;
    }
    if job.open_stop().is_some() {
        return Onward::Nothing;
    }
    match job.next_step() {
        Some(step) => Onward::Step(step.id.clone(), step.slot, words::step_title(w, step)),
        None if job.all_done() => Onward::Submit,
        None => Onward::Nothing,
    }
}

/// Whoever looks at it has left the others on site.
pub fn is_away(job: &JobView) -> bool {
    job.obstacles.contains(&Obstacle::Away)
}

/// Work can be recorded at all.
pub fn is_running(job: &JobView) -> bool {
    match job.phase {
        Phase::Planned | Phase::WithCrew | Phase::OnSite | Phase::Returned | Phase::ForReview => true,
        Phase::Paused(_) | Phase::Passed | Phase::Sealed | Phase::Withdrawn => false,
    }
}

/// How many steps of a stage are done, of those that apply.
pub fn stage_progress(job: &JobView, steps: &[usize]) -> (usize, usize) {
    let applying = steps.iter().map(|index| &job.steps[*index]).filter(|step| !is_left_out(step));
    applying.fold((0, 0), |(done, all), step| (done + usize::from(step.is_done()), all + 1))
}

fn is_left_out(step: &StepCard) -> bool {
    step.state == domain::method::gate::StepState::NotApplicable
}

/// Index of the stage to open: the one of the next step, else the first that is not done.
pub fn stage_now(job: &JobView) -> Option<usize> {
    let next = job.next_step().map(|step| step.stage);
    next.or_else(|| job.steps.iter().find(|step| !step.is_done()).map(|step| step.stage))
}

/// The drawing: what stands on the other, and what stands beside. From the top.
pub fn drawing(job: &JobView) -> (Vec<&UnitView>, Vec<&UnitView>) {
    let mut column: Vec<&UnitView> = job.units.iter().filter(|unit| in_column(unit.kind)).collect();
    // Modules from the bottom up by their place, and the unit that manages them on top.
    column.sort_by_key(|unit| (unit.kind == UnitKind::Module, core::cmp::Reverse(unit.slot)));
    let beside = job.units.iter().filter(|unit| !in_column(unit.kind)).collect();
    (column, beside)
}

const fn in_column(kind: UnitKind) -> bool {
    match kind {
        UnitKind::Module | UnitKind::ControlUnit => true,
        UnitKind::Inverter | UnitKind::Changeover | UnitKind::Meter | UnitKind::Gateway => false,
    }
}

/// Names of the crew with their roles, the lead first.
pub fn crew(w: Words, job: &JobView, people: &[(domain::ids::PersonId, String)]) -> Vec<(String, &'static str)> {
    let mut crew: Vec<(CrewRole, String)> =
        job.crew.iter().map(|assigned| (assigned.role, words::person(w, people, assigned.person))).collect();
    crew.sort();
    crew.into_iter().map(|(role, name)| (name, w.say(words::crew_role(role)))).collect()
}
