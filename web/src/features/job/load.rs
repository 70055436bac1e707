//! One job file, folded once, as an owned value that screens can keep: [`job_view`].
//!
//! The fold borrows the file and the method, a screen outlives both. So everything that any screen of the crew or of the
//! desk asks about a job is copied out here, in the words of one language; screens derive from it and fold nothing again.

use std::collections::BTreeMap;

use domain::electrical::Check;
use domain::ids::{EntryId, Hash32, JobId, PersonId, SiteId};
use domain::job_file::body::{
    Assigned, Body, Consent, CrewRole, DoubtCode, Equipment, Finding, ModelSnapshot, PhotoFile, Place, Purpose,
    Schedule, SiteDetails, Slot, StopCause, UnitKind,
};
use domain::job_file::record::{CountersignState, Deviation, Evidence, Record};
use domain::job_file::{BreachWhy, Content, JobFile, JobState, Phase, fold, fold_for};
use domain::method::Method;
use domain::method::gate::{Answer, Ended, Ending, Gate, LimitInfo, Obstacle, Plan, SlotSerial, StepRef, StepState};
use domain::method::plan::{BoardPart, Requirement};
use domain::people::voice::{Sealed, unused};
use serde::{Deserialize, Serialize};

/// Everything about one job.
#[derive(Clone, Debug, PartialEq)]
pub struct JobView {
    /// Which.
    pub job: JobId,
    /// Where it stands.
    pub phase: Phase,
    /// What for; absent while the opening entry is not here.
    pub purpose: Option<Purpose>,
    /// The site's id.
    pub site_id: Option<SiteId>,
    /// Who planned it: a lead of this job.
    pub planner: Option<PersonId>,
    /// Name of the rules that it goes by.
    pub rule_set: String,
    /// Method id and version that the job pins.
    pub method: Option<(String, u32)>,
    /// Title of the method.
    pub method_title: String,
    /// The method is not on this device yet, so no step can be shown.
    pub method_missing: bool,
    /// Site details; empty where they are not here or were erased.
    pub site: SiteDetails,
    /// Day and hour.
    pub schedule: Option<Schedule>,
    /// The crew.
    pub crew: Vec<Assigned>,
    /// The network operator's word.
    pub consent: Option<Consent>,
    /// Units and places as pinned.
    pub equipment: Option<Equipment>,
    /// Design figures in millionths.
    pub design: Vec<(String, i64)>,
    /// Places of the units, as the drawing shows them.
    pub units: Vec<UnitView>,
    /// Stages with the steps of each.
    pub stages: Vec<StageView>,
    /// Steps in the method's order, repeated ones slot by slot.
    pub steps: Vec<StepCard>,
    /// How far it is.
    pub progress: Progress,
    /// What shuts every step.
    pub obstacles: Vec<Obstacle>,
    /// Who of the crew has left the others.
    pub away: Vec<PersonId>,
    /// Somebody stays at work here when whoever looks leaves.
    pub somebody_stays: bool,
    /// Until when the proof of dead holds if nothing more is recorded at the boards, microseconds since 1970 UTC.
    pub proof_until_us: Option<u64>,
    /// Its gates may change by the clock alone.
    pub by_the_clock: bool,
    /// Stops, the latest first.
    pub stops: Vec<StopView>,
    /// Departures, the latest first.
    pub deviations: Vec<DeviationView>,
    /// Entries of it that only this device has.
    pub unsent: usize,
    /// Words that people wrote about the job, the latest first.
    pub remarks: Vec<RemarkView>,
    /// Evidence that the gate would not have let through.
    pub breaches: Vec<BreachView>,
    /// What the server found.
    pub findings: Vec<(EntryId, Finding)>,
    /// What the server doubts about where records came from: of how many each.
    pub doubts: Vec<(DoubtCode, usize)>,
    /// Photos of which a lead has said that they will not come, and why.
    pub photos_absent: Vec<(Hash32, String)>,
    /// Entries that came after the review had passed.
    pub late: usize,
    /// Entries that arrived after the newest seal and ask for the next.
    pub after_seal: Vec<AfterSeal>,
    /// Entries that are here.
    pub entries: usize,
    /// Of them, those that the server has not stamped.
    pub unstamped: usize,
    /// When somebody last moved the job on (left, handed in, passed …), microseconds since 1970 UTC; 0 when nobody has.
    pub moved_us: u64,
}

/// One place of the drawing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct UnitView {
    /// Slot.
    pub slot: u16,
    /// What it is.
    pub kind: UnitKind,
    /// The pinned model.
    pub model: ModelSnapshot,
    /// New in this job.
    pub new: bool,
    /// Its serial, once one counts.
    pub serial: Option<String>,
    /// Something was read and does not do.
    pub serial_bad: bool,
    /// Where its serial is recorded: index into [`JobView::steps`].
    pub serial_step: Option<usize>,
}

/// A stage and its steps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StageView {
    /// Id.
    pub id: String,
    /// Name.
    pub title: String,
    /// Its screens say what prevails.
    pub hazardous: bool,
    /// Indices into [`JobView::steps`].
    pub steps: Vec<usize>,
}

/// A caution before a step.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CautionCard {
    /// Id within the method.
    pub id: String,
    /// In the language of the screen.
    pub text: String,
    /// English, where nobody has reviewed the translation.
    pub english: Option<String>,
    /// Must be acknowledged.
    pub acknowledge: bool,
    /// And was.
    pub read: bool,
}

/// One step of the job.
#[derive(Clone, Debug, PartialEq)]
pub struct StepCard {
    /// Which.
    pub at: StepRef,
    /// Step id of the method.
    pub id: String,
    /// Slot, or 0.
    pub slot: u16,
    /// Unit in the slot, where the step is repeated.
    pub unit: Option<UnitKind>,
    /// Index into [`JobView::stages`].
    pub stage: usize,
    /// Name.
    pub title: String,
    /// What to do.
    pub act: String,
    /// A hold point.
    pub hold: bool,
    /// Nothing but its evidence opens it.
    pub stop_work: bool,
    /// Says what prevails.
    pub hazardous: bool,
    /// What it is in.
    pub state: StepState,
    /// Before the act.
    pub cautions: Vec<CautionCard>,
    /// What it needs.
    pub requirements: Vec<RequirementCard>,
    /// The lead wants it done again, for this reason.
    pub returned: Option<RemarkView>,
    /// It was done, and is asked for anew because of this.
    pub ended: Option<Ending>,
    /// What is recorded here counts from this entry on.
    pub since: Option<EntryId>,
    /// It is work inside a board whose proof of dead has ended: corrections are taken, nothing new.
    pub lapsed: bool,
    /// Work inside a board.
    pub inside: bool,
}

/// One requirement of a step, with all that was recorded for it.
#[derive(Clone, Debug, PartialEq)]
pub struct RequirementCard {
    /// Where.
    pub place: Place,
    /// What.
    pub need: Requirement,
    /// Its name in the language of the screen.
    pub label: String,
    /// How it stands.
    pub answer: Answer,
    /// Everything recorded, in fold order; what was replaced stays.
    pub evidence: Vec<EvidenceItem>,
    /// Limit of a reading.
    pub limit: LimitInfo,
    /// The computed comparison; absent where it is none or where an input is missing.
    pub check: Option<Box<Check>>,
    /// The departure asked for here, if any.
    pub deviation: Option<DeviationView>,
    /// What the server said of the countersignature that counts.
    pub countersigned: Option<CountersignState>,
}

/// One recorded fact.
#[derive(Clone, Debug, PartialEq)]
pub struct EvidenceItem {
    /// Its entry.
    pub id: EntryId,
    /// Who.
    pub by: PersonId,
    /// When, microseconds since 1970 UTC.
    pub at_us: u64,
    /// What.
    pub body: Body,
    /// Whether it counts now.
    pub standing: EvidenceStanding,
    /// The server has it.
    pub stamped: bool,
}

/// Whether a recorded fact counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum EvidenceStanding {
    /// It counts.
    Counts,
    /// Another entry stands in its place.
    Corrected,
    /// Its author took it back.
    TakenBack,
    /// It is older than the lead's wish to have it done again.
    BeforeReturn,
    /// Power could reach the board since, or the site was left.
    Ended,
    /// The gate was shut.
    Breach,
    /// The review had passed.
    Late,
}

/// How far a job is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Progress {
    /// Steps that are done.
    pub done: usize,
    /// Steps that apply.
    pub total: usize,
    /// Hold points that are done.
    pub holds_done: usize,
    /// Hold points that apply.
    pub holds_total: usize,
    /// Steps whose evidence does not do.
    pub failed: usize,
    /// Departures that wait for the lead.
    pub asked: usize,
}

/// A stop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StopView {
    /// Its entry.
    pub id: EntryId,
    /// Who.
    pub by: PersonId,
    /// When, microseconds since 1970 UTC.
    pub at_us: u64,
    /// Why.
    pub cause: StopCause,
    /// In words.
    pub remark: Option<String>,
    /// By whom and how it was resolved.
    pub resolved: Option<(PersonId, String)>,
    /// Whoever stopped took it back at once.
    pub taken_back: bool,
    /// The server has it.
    pub stamped: bool,
}

impl StopView {
    /// Nobody has resolved it or taken it back.
    pub const fn is_open(&self) -> bool {
        self.resolved.is_none() && !self.taken_back
    }
}

/// A departure.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DeviationView {
    /// The request.
    pub asked: EntryId,
    /// Who asks.
    pub by: PersonId,
    /// When, microseconds since 1970 UTC.
    pub at_us: u64,
    /// From what.
    pub place: Place,
    /// Why.
    pub reason: String,
    /// What it looks like.
    pub photo: PhotoFile,
    /// Its preview.
    pub preview: Option<PhotoFile>,
    /// Allowed or not, by whom, and the lead's words.
    pub decision: Option<(bool, PersonId, Option<String>)>,
    /// The lead allowed it over the telephone: when the answer was shown, and to whom.
    pub by_voice: Option<Vec<(u64, PersonId)>>,
    /// While nobody has decided: the answers that would allow it over the telephone, as this device may know them.
    pub sealed: Vec<Sealed>,
}

/// Words that somebody wrote.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RemarkView {
    /// Its entry.
    pub id: EntryId,
    /// Who.
    pub by: PersonId,
    /// When, microseconds since 1970 UTC.
    pub at_us: u64,
    /// About what.
    pub place: Option<Place>,
    /// The words; empty where they were erased.
    pub text: String,
    /// They are the name under a confirmation or a signature, and so no note.
    pub is_name: bool,
}

/// A breach.
#[derive(Clone, Debug, PartialEq)]
pub struct BreachView {
    /// The entry.
    pub entry: EntryId,
    /// Who.
    pub by: PersonId,
    /// When, microseconds since 1970 UTC.
    pub at_us: u64,
    /// Why.
    pub why: BreachWhy,
    /// What it says, when it can be read.
    pub body: Option<Body>,
    /// How the lead dealt with it.
    pub settled: Option<String>,
}

impl StepCard {
    /// Satisfied, covered by an allowed departure, or not applicable.
    pub fn is_done(&self) -> bool {
        match self.state {
            StepState::Satisfied | StepState::Deviating | StepState::NotApplicable => true,
            StepState::Locked { .. } | StepState::Open | StepState::Failed => false,
        }
    }

    /// There is something that a person can do here now: a departure that waits for the lead is not.
    pub fn has_work(&self) -> bool {
        let unread = self.cautions.iter().any(|caution| caution.acknowledge && !caution.read);
        let to_do = |requirement: &RequirementCard| match requirement.answer {
            Answer::Missing { .. } | Answer::Failed { .. } | Answer::NotDetermined { .. } => true,
            Answer::Met { .. }
            | Answer::DeviationAsked { .. }
            | Answer::DeviationAllowed { .. }
            | Answer::NotApplicable => false,
        };
        match self.state {
            StepState::Open | StepState::Failed => unread || self.requirements.iter().any(to_do),
            StepState::Locked { .. } | StepState::Deviating | StepState::Satisfied | StepState::NotApplicable => false,
        }
    }
}

/// An entry that arrived after the newest seal.
#[derive(Clone, Debug, PartialEq)]
pub struct AfterSeal {
    /// What it says; absent where this app cannot read it.
    pub body: Option<Body>,
    /// Who wrote it.
    pub by: PersonId,
    /// When.
    pub at_us: u64,
}

impl JobView {
    /// The step of an id and slot.
    pub fn step(&self, id: &str, slot: u16) -> Option<&StepCard> {
        self.steps.iter().find(|step| step.id == id && step.slot == slot)
    }

    /// The step that an obstacle names.
    pub fn step_at(&self, at: StepRef) -> Option<&StepCard> {
        self.steps.iter().find(|step| step.at == at)
    }

    /// The first step in the method's order at which a person can do something.
    pub fn next_step(&self) -> Option<&StepCard> {
        self.steps.iter().find(|step| step.has_work())
    }

    /// A stop that nobody has resolved.
    pub fn open_stop(&self) -> Option<&StopView> {
        self.stops.iter().find(|stop| stop.is_open())
    }

    /// Every step is done and there is at least one.
    pub fn all_done(&self) -> bool {
        !self.steps.is_empty() && self.equipment.is_some() && self.steps.iter().all(StepCard::is_done)
    }

    /// The person's role here; the planner is a lead.
    pub fn role_of(&self, person: PersonId) -> Option<CrewRole> {
        if self.planner == Some(person) {
            return Some(CrewRole::Lead);
        }
        self.crew.iter().filter(|assigned| assigned.person == person).map(|assigned| assigned.role).min()
    }

    /// Breaches that nobody has dealt with.
    pub fn open_breaches(&self) -> impl Iterator<Item = &BreachView> {
        self.breaches.iter().filter(|breach| breach.settled.is_none())
    }
}

/// Folds a job file behind its method and copies out what screens show. `language` is two letters.
///
/// Without the method (it has not arrived yet) the head of the job is there and the steps are not.
pub fn job_view(job: JobId, file: &JobFile, method: Option<&Method>, language: &str) -> JobView {
    view_for(job, file, method, language, None)
}

/// The same for somebody who may stand at the boards at this moment, microseconds since 1970 UTC: a proof of dead may have ended.
pub fn job_view_at(
    job: JobId,
    file: &JobFile,
    method: Option<&Method>,
    language: &str,
    asked: (u64, PersonId),
) -> JobView {
    view_for(job, file, method, language, Some(asked))
}

fn view_for(
    job: JobId,
    file: &JobFile,
    method: Option<&Method>,
    language: &str,
    asked: Option<(u64, PersonId)>,
) -> JobView {
    let nothing = Method::without_work();
    let plan = Plan::of(method.unwrap_or(&nothing));
    let mut state = asked.map_or_else(|| fold(file, &plan), |(now, by)| fold_for(file, &plan, now, by));
    let (proof_until_us, by_the_clock) = (state.gate.proof_holds_until(), state.gate.changes_by_the_clock());
    let steps = steps_of(&mut state, file, language);
    let method_words = method.unwrap_or(&nothing);
    let stages = method_words
        .stages
        .iter()
        .enumerate()
        .map(|(index, stage)| StageView {
            id: stage.id.clone(),
            title: stage.title.in_language(language).to_owned(),
            hazardous: stage.hazardous,
            steps: steps.iter().enumerate().filter(|(_, step)| step.stage == index).map(|(at, _)| at).collect(),
        })
        .collect();
    let units = units_of(&mut state.gate);
    let record = state.gate.record();
    let deviations = deviations_of(record);
    let phase = if method.is_some() { state.phase } else { phase_without_method(&state) };
    JobView {
        job,
        phase,
        purpose: record.plan.map(|(_, _, plan)| plan.purpose),
        site_id: record.plan.map(|(_, _, plan)| plan.site),
        planner: record.plan.map(|(_, planner, _)| planner),
        rule_set: record.plan.map(|(_, _, plan)| plan.rule_set.clone()).unwrap_or_default(),
        method: record.plan.map(|(_, _, plan)| (plan.method.id.clone(), plan.method.version)),
        method_title: method.map_or_else(String::new, |method| method.title.in_language(language).to_owned()),
        method_missing: method.is_none(),
        site: record.site.as_ref().map(|latest| latest.value.clone()).unwrap_or_default(),
        schedule: record.schedule.as_ref().map(|latest| latest.value.clone()),
        crew: record.crew.as_ref().map(|latest| latest.value.crew.clone()).unwrap_or_default(),
        consent: record.consent.as_ref().map(|latest| latest.value.clone()),
        equipment: record.equipment.as_ref().map(|latest| latest.value.clone()),
        design: record.design.as_ref().map(|latest| latest.value.values.clone()).unwrap_or_default(),
        units,
        stages,
        progress: progress_of(&steps),
        steps,
        obstacles: state.gate.job_obstacles(),
        away: away_of(record),
        somebody_stays: asked.is_some_and(|(_, by)| record.somebody_stays(by, None)),
        proof_until_us,
        by_the_clock,
        stops: stops_of(record, file),
        deviations,
        unsent: file.iter().filter(|held| held.stamp.is_none()).count(),
        remarks: remarks_of(record, file),
        breaches: breaches_of(&state, file),
        findings: record.findings.iter().map(|(id, finding)| (*id, (*finding).clone())).collect(),
        doubts: doubts_of(record),
        photos_absent: record.photos_absent.iter().map(|(hash, remark)| (*hash, text_of(record, *remark))).collect(),
        late: state.late.len(),
        after_seal: after_seal_of(&state, file),
        entries: file.len(),
        unstamped: file.iter().filter(|held| held.stamp.is_none()).count(),
        moved_us: record.phases.last_key_value().map_or(0, |(key, _)| key.at),
    }
}

fn away_of(record: &Record<'_>) -> Vec<PersonId> {
    let crew = record.crew.iter().flat_map(|latest| &latest.value.crew).map(|assigned| assigned.person);
    crew.filter(|person| record.is_away(*person)).collect()
}

/// In the order of the fold.
fn after_seal_of(state: &JobState<'_, '_>, file: &JobFile) -> Vec<AfterSeal> {
    let mut all: Vec<AfterSeal> = state
        .after_seal
        .iter()
        .filter_map(|id| file.get(*id))
        .map(|held| AfterSeal {
            body: held.entry.body().cloned(),
            by: held.entry.header.author,
            at_us: state.keys.get(&held.entry.header.id).map_or(0, |key| key.at),
        })
        .collect();
    all.sort_by_key(|own| own.at_us);
    all
}

/// Without the method every piece of evidence looks misplaced, which says nothing about the job: having some means that work began.
fn phase_without_method(state: &JobState<'_, '_>) -> Phase {
    let evidence = state.breaches.values().any(|breach| breach.why == BreachWhy::NoSuchPlace);
    match state.phase {
        Phase::Planned | Phase::WithCrew if evidence => Phase::OnSite,
        phase => phase,
    }
}

fn steps_of(state: &mut JobState<'_, '_>, file: &JobFile, language: &str) -> Vec<StepCard> {
    let misplaced = misplaced_evidence(state, file);
    let at = state.gate.steps();
    at.into_iter().map(|at| step_card(&mut state.gate, at, &misplaced, language)).collect()
}

fn step_card(
    gate: &mut Gate<'_, '_>,
    at: StepRef,
    misplaced: &BTreeMap<Place, Vec<EvidenceItem>>,
    language: &str,
) -> StepCard {
    let view = gate.view(at);
    let method = gate.plan().method();
    let step = view.step;
    let stage = method.stages.iter().position(|stage| stage.id == step.stage).unwrap_or(0);
    let done = matches!(view.state, StepState::NotApplicable | StepState::Deviating | StepState::Satisfied);
    let reviewed = language == "en" || method.reviewer(language).is_some();
    let cautions = step
        .cautions
        .iter()
        .filter_map(|id| method.caution(id))
        .map(|caution| CautionCard {
            id: caution.id.clone(),
            text: caution.text.in_language(language).to_owned(),
            english: (!reviewed && caution.text.in_language(language) != caution.text.en)
                .then(|| caution.text.en.clone()),
            acknowledge: caution.acknowledge,
            read: !view.cautions_unread.contains(&caution.id),
        })
        .collect();
    let record = gate.record();
    let requirements = step
        .requirements
        .iter()
        .zip(view.answers)
        .map(|(need, answer)| {
            let place = gate.place(at, need.id());
            let mut evidence: Vec<EvidenceItem> = record
                .evidence
                .get(&place)
                .map(|all| all.iter().map(|evidence| evidence_item(record, &place, evidence, view.ended)).collect())
                .unwrap_or_default();
            evidence.extend(misplaced.get(&place).into_iter().flatten().cloned());
            evidence.sort_by_key(|item| (item.at_us, item.id));
            RequirementCard {
                need: need.clone(),
                label: need.label().in_language(language).to_owned(),
                answer,
                evidence,
                limit: gate.limit_at(at, need.id()),
                check: gate.check_at(at, need.id()).map(Box::new),
                deviation: record
                    .deviation_at(&place)
                    .map(|(asked, deviation)| deviation_view(record, asked, deviation)),
                countersigned: countersigned(record, &place),
                place,
            }
        })
        // A conductor that this supply does not have is no line of the card; what was read at it stays in sight.
        .filter(|card| card.answer != Answer::NotApplicable || !card.evidence.is_empty())
        .collect();
    StepCard {
        at,
        id: step.id.clone(),
        slot: at.slot,
        unit: (at.slot > 0).then(|| record.model_of_slot(at.slot).map(|model| model.kind)).flatten(),
        stage,
        title: step.title.in_language(language).to_owned(),
        act: step.act.in_language(language).to_owned(),
        hold: step.hold,
        stop_work: step.stop_work,
        hazardous: method.stages.get(stage).is_some_and(|stage| stage.hazardous),
        state: view.state,
        cautions,
        requirements,
        returned: view.returned.map(|id| remark_view(record, id)),
        ended: view.ended.filter(|_| !done).map(|ended| ended.by),
        since: view.since,
        lapsed: view.lapsed,
        inside: step.duties().iter().any(|duty| duty.part == BoardPart::Inside),
    }
}

fn evidence_item(record: &Record<'_>, place: &Place, evidence: &Evidence<'_>, ended: Option<Ended>) -> EvidenceItem {
    let id = evidence.key.id;
    let replaced = record.replaced.get(&id);
    let by_evidence = replaced.is_some_and(|by| record.evidence.values().flatten().any(|other| other.key.id == *by));
    let standing = match replaced {
        Some(_) if by_evidence => EvidenceStanding::Corrected,
        Some(_) => EvidenceStanding::TakenBack,
        None if record.returned_since(place).is_some_and(|since| evidence.key < since) => {
            EvidenceStanding::BeforeReturn
        }
        None if ended.is_some_and(|ended| evidence.key <= ended.at) => EvidenceStanding::Ended,
        None => EvidenceStanding::Counts,
    };
    EvidenceItem {
        id,
        by: evidence.held.entry.header.author,
        at_us: evidence.key.at,
        body: evidence.body.clone(),
        standing,
        stamped: evidence.held.stamp.is_some(),
    }
}

/// Evidence that does not count because of when or by whom it was written: still shown at its place.
fn misplaced_evidence(state: &JobState<'_, '_>, file: &JobFile) -> BTreeMap<Place, Vec<EvidenceItem>> {
    let mut by_place: BTreeMap<Place, Vec<EvidenceItem>> = BTreeMap::new();
    for held in file.iter() {
        let id = held.entry.header.id;
        let standing = if state.breaches.contains_key(&id) {
            EvidenceStanding::Breach
        } else if state.late.contains(&id) {
            EvidenceStanding::Late
        } else {
            continue;
        };
        let Some(body) = held.entry.body() else { continue };
        let Some(place) = body.evidence_place() else { continue };
        by_place.entry(place.clone()).or_default().push(EvidenceItem {
            id,
            by: held.entry.header.author,
            at_us: state.keys.get(&id).map_or(held.entry.header.hlc, |key| key.at),
            body: body.clone(),
            standing,
            stamped: held.stamp.is_some(),
        });
    }
    by_place
}

fn countersigned(record: &Record<'_>, place: &Place) -> Option<CountersignState> {
    let last = *record.counting(place).last()?;
    matches!(last.body, Body::Countersign(_)).then(|| record.countersign_state(last.key.id))
}

fn units_of(gate: &mut Gate<'_, '_>) -> Vec<UnitView> {
    let Some(equipment) = &gate.record().equipment else { return Vec::new() };
    let equipment = equipment.value;
    let steps = gate.steps();
    let unit = |slot: &Slot| {
        let model = equipment.models.get(usize::from(slot.model))?;
        let serial = gate.serial_of(slot.number);
        Some(UnitView {
            slot: slot.number,
            kind: model.kind,
            model: model.clone(),
            new: slot.new,
            serial: serial.and_then(SlotSerial::standing).map(|read| read.stored.clone()),
            serial_bad: serial.is_some_and(|serial| serial.read.is_some() && !serial.stands),
            serial_step: serial.and_then(|serial| steps.iter().position(|at| *at == serial.at)),
        })
    };
    let mut units: Vec<UnitView> = equipment.slots.iter().filter_map(unit).collect();
    units.sort_by_key(|unit| unit.slot);
    units
}

fn progress_of(steps: &[StepCard]) -> Progress {
    let mut progress = Progress::default();
    for step in steps {
        let asked = step.requirements.iter().filter(|card| matches!(card.answer, Answer::DeviationAsked { .. }));
        progress.asked += asked.count();
        if step.state == StepState::NotApplicable {
            continue;
        }
        let done = usize::from(step.is_done());
        progress.total += 1;
        progress.done += done;
        progress.failed += usize::from(step.state == StepState::Failed);
        if step.hold {
            progress.holds_total += 1;
            progress.holds_done += done;
        }
    }
    progress
}

fn text_of(record: &Record<'_>, id: EntryId) -> String {
    record.remarks.get(&id).map_or_else(String::new, |(_, _, _, text)| (*text).to_owned())
}

fn remark_view(record: &Record<'_>, id: EntryId) -> RemarkView {
    match record.remarks.get(&id) {
        Some((key, by, place, text)) => {
            let (place, text) = (place.cloned(), (*text).to_owned());
            RemarkView { id, by: *by, at_us: key.at, place, text, is_name: false }
        }
        // The words were erased; that there were some still counts.
        None => {
            RemarkView { id, by: PersonId::of(id.uuid()), at_us: 0, place: None, text: String::new(), is_name: false }
        }
    }
}

fn doubts_of(record: &Record<'_>) -> Vec<(DoubtCode, usize)> {
    let mut counted: BTreeMap<DoubtCode, usize> = BTreeMap::new();
    for code in record.origin_doubts.values().flatten() {
        *counted.entry(*code).or_default() += 1;
    }
    counted.into_iter().collect()
}

fn remarks_of(record: &Record<'_>, file: &JobFile) -> Vec<RemarkView> {
    let names = file.names();
    let one = |id: &EntryId| RemarkView { is_name: names.contains(id), ..remark_view(record, *id) };
    let mut all: Vec<RemarkView> = record.remarks.keys().map(one).collect();
    all.sort_by_key(|remark| core::cmp::Reverse((remark.at_us, remark.id)));
    all
}

fn stops_of(record: &Record<'_>, file: &JobFile) -> Vec<StopView> {
    let mut all: Vec<StopView> = record
        .stops
        .iter()
        .map(|(id, stop)| StopView {
            id: *id,
            by: stop.by,
            at_us: stop.key.at,
            cause: stop.stop.cause,
            remark: stop.stop.remark.map(|remark| text_of(record, remark)).filter(|said| !said.is_empty()),
            resolved: stop.resolved.map(|(_, by, remark)| (by, text_of(record, remark))),
            taken_back: stop.taken_back.is_some(),
            stamped: file.get(*id).is_some_and(|held| held.stamp.is_some()),
        })
        .collect();
    all.sort_by_key(|stop| core::cmp::Reverse((stop.at_us, stop.id)));
    all
}

fn deviation_view(record: &Record<'_>, asked: EntryId, deviation: &Deviation<'_>) -> DeviationView {
    DeviationView {
        asked,
        by: deviation.by,
        at_us: deviation.key.at,
        place: deviation.asked.at.clone(),
        reason: text_of(record, deviation.asked.remark),
        photo: deviation.asked.photo.clone(),
        preview: deviation.asked.preview.clone(),
        decision: deviation
            .decisions
            .last_key_value()
            .map(|(_, (allowed, by, remark))| (*allowed, *by, remark.map(|remark| text_of(record, remark)))),
        by_voice: record.by_voice(asked),
        sealed: if deviation.decisions.is_empty() { unused(record, &deviation.asked.at) } else { Vec::new() },
    }
}

fn deviations_of(record: &Record<'_>) -> Vec<DeviationView> {
    let mut all: Vec<DeviationView> =
        record.deviations.iter().map(|(asked, deviation)| deviation_view(record, *asked, deviation)).collect();
    all.sort_by_key(|deviation| core::cmp::Reverse((deviation.at_us, deviation.asked)));
    all
}

fn breaches_of(state: &JobState<'_, '_>, file: &JobFile) -> Vec<BreachView> {
    let record = state.gate.record();
    let mut all: Vec<BreachView> = state
        .breaches
        .iter()
        .filter_map(|(id, breach)| {
            let held = file.get(*id)?;
            Some(BreachView {
                entry: *id,
                by: held.entry.header.author,
                at_us: state.keys.get(id).map_or(held.entry.header.hlc, |key| key.at),
                why: breach.why.clone(),
                body: match &held.entry.content {
                    Content::Body(body) => Some(body.clone()),
                    Content::Unknown | Content::Unreadable | Content::Erased => None,
                },
                settled: breach.settled.map(|remark| text_of(record, remark)),
            })
        })
        .collect();
    all.sort_by_key(|breach| (breach.at_us, breach.entry));
    all
}
