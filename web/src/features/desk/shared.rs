//! What several desks ask of a folded job. Pure.

use domain::ids::PersonId;
use domain::job_file::body::{Assigned, CrewRole, Ticket, UnitKind};
use domain::job_file::{Body, JobFile, Phase};
use domain::method::gate::Answer;
use domain::people::{Action, Ownership, Role, may};

use crate::features::job::load::{DeviationView, JobView};
use crate::i18n::Key;
use crate::i18n::format::Day;
use crate::key;

/// Who looks, and what they may do on this job.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Rights {
    /// May decide: deviations, stops, returns, the review.
    pub decide: bool,
    /// May deal with what the gate would not have let through: after the review too, for a seal waits for it.
    pub settle: bool,
    /// May change the plan.
    pub plan: bool,
    /// May correct site data and consent, and say that a photo will not come: the office does.
    pub site: bool,
    /// Has the role to decide, but is not a lead of this very job.
    pub not_lead_here: bool,
}

/// What a person may do on a job. The fold lets only a lead of the job decide; a role alone is not enough.
pub fn rights(view: &JobView, me: PersonId, roles: &[Role]) -> Rights {
    let allowed = may(roles, Action::WriteDecision, Ownership::Firm).is_some();
    let lead_here = view.role_of(me) == Some(CrewRole::Lead);
    let closed = view.phase.is_over();
    Rights {
        decide: allowed && lead_here && !closed,
        settle: allowed && lead_here && view.phase != Phase::Withdrawn,
        plan: allowed && lead_here && !closed,
        site: may(roles, Action::WriteSite, Ownership::Firm).is_some() && view.phase != Phase::Withdrawn,
        not_lead_here: allowed && !lead_here,
    }
}

/// Departures that nobody has answered and that still stand in somebody's way.
pub fn waiting_deviations(view: &JobView) -> impl Iterator<Item = &DeviationView> {
    view.deviations.iter().filter(|deviation| deviation.decision.is_none() && stands_at_its_place(view, deviation))
}

/// A later request at the same place, or evidence that does, makes an older request moot.
fn stands_at_its_place(view: &JobView, deviation: &DeviationView) -> bool {
    let card = view
        .step(&deviation.place.step, deviation.place.slot)
        .and_then(|step| step.requirements.iter().find(|card| card.place == deviation.place));
    match card.map(|card| &card.answer) {
        Some(Answer::DeviationAsked { asked }) => *asked == deviation.asked,
        Some(
            Answer::Missing { .. }
            | Answer::Met { .. }
            | Answer::Failed { .. }
            | Answer::NotDetermined { .. }
            | Answer::DeviationAllowed { .. }
            | Answer::NotApplicable,
        ) => false,
        // Without the method the place cannot be seen; better one question too many.
        None => view.method_missing,
    }
}

/// The word of a kind, as the API writes it.
pub const fn kind_word(kind: UnitKind) -> &'static str {
    match kind {
        UnitKind::Module => "module",
        UnitKind::ControlUnit => "control_unit",
        UnitKind::Inverter => "inverter",
        UnitKind::Changeover => "changeover",
        UnitKind::Meter => "meter",
        UnitKind::Gateway => "gateway",
    }
}

/// Every kind, in the order in which forms show them.
pub const KINDS: [UnitKind; 6] = [
    UnitKind::Module,
    UnitKind::ControlUnit,
    UnitKind::Inverter,
    UnitKind::Changeover,
    UnitKind::Meter,
    UnitKind::Gateway,
];

/// The greatest slot number that any equipment of the file ever had.
pub fn slots_ever(file: &JobFile) -> u16 {
    file.iter()
        .filter_map(|held| match held.entry.body() {
            Some(Body::Equipment(equipment)) => equipment.slots.iter().map(|slot| slot.number).max(),
            _ => None,
        })
        .max()
        .unwrap_or(0)
}

/// The design figures that stood when the first fact was recorded on site; `None` while there is none.
pub fn design_at_start(file: &JobFile) -> Option<Vec<(String, i64)>> {
    let keys = file.order_keys();
    let mut begun = None;
    let mut designs = Vec::new();
    for held in file.iter() {
        let key = keys.get(&held.entry.header.id).copied();
        match held.entry.body() {
            Some(Body::DesignInputs(design)) => designs.push((key, design)),
            Some(
                Body::Photo(_)
                | Body::Reading(_)
                | Body::Serial(_)
                | Body::Confirmation(_)
                | Body::Choice(_)
                | Body::Waited(_)
                | Body::Words(_),
            ) if begun.is_none_or(|first| key < first) => begun = Some(key),
            _ => {}
        }
    }
    let begun = begun?;
    let before = designs.into_iter().filter(|(key, _)| *key < begun).max_by_key(|(key, _)| *key);
    Some(before.map(|(_, design)| design.values.clone()).unwrap_or_default())
}

/// Last valid day has passed.
pub fn is_expired(ticket: &Ticket, today: Day) -> bool {
    Day::parse(&ticket.expires).is_some_and(|last| last < today)
}

/// Every state by the word of the API, in the order of a job's life.
pub const STATES: [&str; 9] =
    ["planned", "with_crew", "on_site", "paused", "for_review", "returned", "passed", "sealed", "withdrawn"];

/// Jobs in one answer of the server's list.
pub const PAGE_ROWS: usize = 200;

/// States of a job that is not over, as the API takes them.
pub fn open_states() -> String {
    // Those before the review has passed.
    STATES[..6].join(",")
}

/// The words of a state, as the API names it; `None` for one that this version does not know.
pub fn phase_of_word(word: &str) -> Option<Key> {
    Some(match word {
        "planned" => key!("job.phase.planned"),
        "with_crew" => key!("job.phase.with_crew"),
        "on_site" => key!("job.phase.on_site"),
        "paused" => key!("job.phase.paused"),
        "for_review" => key!("job.phase.for_review"),
        "returned" => key!("job.phase.returned"),
        "passed" => key!("job.phase.passed"),
        "sealed" => key!("job.phase.sealed"),
        "withdrawn" => key!("job.phase.withdrawn"),
        _ => return None,
    })
}

/// Somebody has the job to work on it: a technician, or whoever the crew is once there is a day. A lead may work alone.
pub fn is_handed_over(crew: &[Assigned], has_day: bool) -> bool {
    has_technician(crew) || (has_day && !crew.is_empty())
}

/// Somebody on the crew works on site.
pub fn has_technician(crew: &[Assigned]) -> bool {
    crew.iter().any(|assigned| assigned.role == CrewRole::Technician)
}
