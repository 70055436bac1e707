//! What is wrong with a method, in words for those who write method files.
//!
//! [`complaints`] reads a [`Method`] alone, without a job: names that lead nowhere, steps that nobody can reach, limits
//! without a source, missing cautions, photos and translations. A method with complaints is not published.
//! **Never enters:** taste (how many holds are enough) and anything that needs a catalogue.

#[cfg(all(test, feature = "methods"))]
mod board_tests;
mod boards;
mod live;
mod order;
mod power;
mod sources;
#[cfg(all(test, feature = "methods"))]
mod tests;

use super::plan::{
    ConstantLimit, DesignLimit, LimitRule, Method, ModelLimit, ReadingNeed, Requirement, Step, Text, When,
};
use crate::electrical::{Prefix, Unit};
use crate::job_file::body::UnitKind;
use core::fmt;
use std::collections::BTreeSet;

/// More are skipped rather than read.
const CAUTIONS_MAX: usize = 3;

/// One thing that is wrong. Ids are those of the method file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Complaint {
    /// Two things of one kind share an id.
    DuplicateId {
        what: &'static str,
        id: String,
    },
    /// Input sources are split at dots, so an id must have none; an empty id names nothing.
    UnusableId {
        what: &'static str,
        id: String,
    },
    UnknownStage {
        step: String,
        stage: String,
    },
    UnknownNeed {
        step: String,
        need: String,
    },
    UnknownCaution {
        step: String,
        caution: String,
    },
    /// The choice or one of the options that switch the step does not exist.
    UnknownWhen {
        step: String,
        names: String,
    },
    /// The file's order is the order of a person alone, who would stand before a shut gate here.
    NeedsLater {
        step: String,
        need: String,
    },
    /// These steps wait for each other.
    Cycle {
        steps: Vec<String>,
    },
    /// No answer to any choice opens the step.
    Unreachable {
        step: String,
    },
    CautionMissing {
        step: String,
    },
    PhotoMissing {
        step: String,
    },
    TooManyCautions {
        step: String,
        count: usize,
    },
    /// A hold that asks for nothing holds nobody.
    EmptyHold {
        step: String,
    },
    /// Only a hold can stop work.
    StopWorkWithoutHold {
        step: String,
    },
    /// Only repeated steps have an order among their repetitions.
    InOrderWithoutRepeat {
        step: String,
    },
    LimitWithoutSource {
        step: String,
        requirement: String,
    },
    LimitWithoutFigure {
        step: String,
        requirement: String,
    },
    /// The least is above the greatest.
    UpsideDown {
        step: String,
        requirement: String,
    },
    UnknownPrefix {
        step: String,
        requirement: String,
        prefix: String,
    },
    /// The model of "the unit in this slot" is asked for in a step without slots, or of a kind that the job has not.
    NoUnitToAsk {
        step: String,
        requirement: String,
    },
    UnknownCheck {
        step: String,
        requirement: String,
        check: String,
    },
    /// The check knows no such input, or it is given twice though it is one value.
    UnusableInput {
        step: String,
        requirement: String,
        key: String,
    },
    /// The check cannot be computed without it.
    InputNotGiven {
        step: String,
        requirement: String,
        key: String,
    },
    /// The source leads nowhere.
    UnresolvedSource {
        step: String,
        requirement: String,
        from: String,
    },
    /// The source has another unit than the check's input.
    OtherUnit {
        step: String,
        requirement: String,
        from: String,
    },
    /// The check reads a step that need not be done before.
    ReadsAhead {
        step: String,
        requirement: String,
        from: String,
    },
    /// The check has no limit in the unit of the reading, or none at all.
    CheckTakesNoReading {
        step: String,
        requirement: String,
        check: String,
    },
    WaitWithoutTime {
        step: String,
        requirement: String,
    },
    /// A wait goes by a reading that the step does not take, or that is no time.
    WaitReadsNothing {
        step: String,
        requirement: String,
    },
    EmptyChoice {
        step: String,
        requirement: String,
    },
    NoPhotoWanted {
        step: String,
        requirement: String,
    },
    NotTranslated {
        place: String,
        language: &'static str,
    },
    /// More units at least than at most.
    UnitCount {
        unit: &'static str,
    },
    UnknownBoard {
        step: String,
        board: String,
    },
    /// Proving dead is three records; one kind of them is nowhere.
    BoardWithoutPart {
        board: String,
        part: &'static str,
    },
    /// No reading between these two conductors whenever both are there.
    BoardWithoutPair {
        board: String,
        pair: String,
    },
    BoardOfOneConductor {
        board: String,
    },
    /// The choice, or one of its options, on which a conductor is there does not exist.
    UnknownConductorWhen {
        board: String,
        names: String,
    },
    /// A board that is proved dead and that nobody works inside.
    NobodyInside {
        board: String,
    },
    /// Work inside a board opens without one of its three records.
    InsideBeforeDead {
        step: String,
        without: String,
    },
    /// Locks come off, or something is switched on, while work inside a board may be left.
    PowerBeforeInside {
        step: String,
        without: String,
    },
    /// Locks come off, or something is switched on, without what makes ready for power.
    PowerBeforeReady {
        step: String,
        without: String,
    },
    /// The tester is not proved before, or not again after, the test of a board; or something is not switched off and locked before.
    ProofOutOfOrder {
        step: String,
        without: String,
    },
    /// A record of proving dead that is no stop-work hold: somebody could allow its absence.
    ProofCanBeTalkedPast {
        step: String,
    },
    /// A live board is tested, opened or closed without the step that opens it before or closes it after.
    LiveNotEnclosed {
        step: String,
        without: &'static str,
    },
    /// A live board is opened or closed again in a step that does not hold, or that is not marked as one that can hurt.
    LiveWithoutCare {
        step: String,
    },
    /// The pair names conductors that the step's boards do not have.
    UnknownPair {
        step: String,
        requirement: String,
    },
    /// A reading of proving dead without an upper limit, above what counts as dead, or without a two-pole detector.
    WeakDeadLimit {
        step: String,
        requirement: String,
    },
    /// The method has an inverter, and no step says that it joins the grid.
    NobodyJoins,
    /// The grid is joined before something is set that the operator's consent is about.
    JoinsUnset {
        step: String,
        without: String,
    },
    /// The grid is joined, and nothing up to there waits for the operator's consent.
    JoinsWithoutConsent {
        step: String,
    },
    /// Conductors are taken off, and no step tightens them again before the power.
    LeftLoose {
        step: String,
        terminal: String,
    },
    /// A step that tightens without holding, or without a measured torque.
    TightensNothing {
        step: String,
    },
    /// A photo that nobody may leave out, and it is not said how one person can take it.
    NotHeld {
        step: String,
        requirement: String,
    },
    /// An answer that stops all work and yet lets the step through.
    StopWithoutFail {
        step: String,
        requirement: String,
        option: String,
    },
}

impl fmt::Display for Complaint {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::DuplicateId { what, id } => write!(f, "{what} {id}: the id stands twice"),
            Self::UnusableId { what, id } => write!(f, "{what} \"{id}\": an id is not empty and holds no dot"),
            Self::UnknownStage { step, stage } => write!(f, "{step}: there is no stage {stage}"),
            Self::UnknownNeed { step, need } => write!(f, "{step}: needs {need}, which is no step"),
            Self::UnknownCaution { step, caution } => write!(f, "{step}: there is no caution {caution}"),
            Self::UnknownWhen { step, names } => write!(f, "{step}: its condition names {names}, which does not exist"),
            Self::NeedsLater { step, need } => write!(f, "{step}: needs {need}, which comes later in the file"),
            Self::Cycle { steps } => write!(f, "{}: wait for each other", steps.join(", ")),
            Self::Unreachable { step } => write!(f, "{step}: no answer to any choice opens it"),
            Self::CautionMissing { step } => write!(f, "{step}: can hurt somebody and has no caution"),
            Self::PhotoMissing { step } => write!(f, "{step}: can hurt somebody and asks for no photo"),
            Self::TooManyCautions { step, count } => write!(f, "{step}: {count} cautions, at most {CAUTIONS_MAX}"),
            Self::EmptyHold { step } => write!(f, "{step}: holds, and asks for nothing"),
            Self::StopWorkWithoutHold { step } => write!(f, "{step}: stops work without being a hold"),
            Self::InOrderWithoutRepeat { step } => write!(f, "{step}: in order, but not repeated"),
            Self::LimitWithoutSource { step, requirement } => write!(f, "{step}.{requirement}: limit without a source"),
            Self::LimitWithoutFigure { step, requirement } => write!(f, "{step}.{requirement}: limit without a figure"),
            Self::UpsideDown { step, requirement } => write!(f, "{step}.{requirement}: least above greatest"),
            Self::UnknownPrefix { step, requirement, prefix } => {
                write!(f, "{step}.{requirement}: \"{prefix}\" is no decimal prefix")
            }
            Self::NoUnitToAsk { step, requirement } => {
                write!(f, "{step}.{requirement}: asks the model of a unit that is not there")
            }
            Self::UnknownCheck { step, requirement, check } => {
                write!(f, "{step}.{requirement}: there is no check {check}")
            }
            Self::UnusableInput { step, requirement, key } => {
                write!(f, "{step}.{requirement}: the check does not take {key} so")
            }
            Self::InputNotGiven { step, requirement, key } => {
                write!(f, "{step}.{requirement}: the check must have {key}")
            }
            Self::UnresolvedSource { step, requirement, from } => {
                write!(f, "{step}.{requirement}: {from} leads nowhere")
            }
            Self::OtherUnit { step, requirement, from } => {
                write!(f, "{step}.{requirement}: {from} has another unit than the input")
            }
            Self::ReadsAhead { step, requirement, from } => {
                write!(f, "{step}.{requirement}: {from} is read in a step that need not be done before")
            }
            Self::CheckTakesNoReading { step, requirement, check } => {
                write!(f, "{step}.{requirement}: {check} takes no reading in this unit")
            }
            Self::WaitWithoutTime { step, requirement } => {
                write!(f, "{step}.{requirement}: a wait needs seconds or a model's key")
            }
            Self::WaitReadsNothing { step, requirement } => {
                write!(f, "{step}.{requirement}: a wait goes by a reading of its own step, in seconds")
            }
            Self::EmptyChoice { step, requirement } => {
                write!(f, "{step}.{requirement}: a choice needs at least two options")
            }
            Self::NoPhotoWanted { step, requirement } => write!(f, "{step}.{requirement}: asks for no photo at all"),
            Self::NotTranslated { place, language } => write!(f, "{place}: no text in \"{language}\""),
            Self::UnitCount { unit } => write!(f, "unit {unit}: more at least than at most"),
            Self::UnknownBoard { step, board } => write!(f, "{step}: there is no board {board}"),
            Self::BoardWithoutPart { board, part } => write!(f, "board {board}: no step is its {part}"),
            Self::BoardWithoutPair { board, pair } => write!(f, "board {board}: no reading between {pair}"),
            Self::UnknownConductorWhen { board, names } => {
                write!(f, "board {board}: a conductor is there by {names}, which does not exist")
            }
            Self::BoardOfOneConductor { board } => write!(f, "board {board}: fewer than two conductors"),
            Self::NobodyInside { board } => write!(f, "board {board}: proved dead, and no step works inside"),
            Self::InsideBeforeDead { step, without } => write!(f, "{step}: works inside a board without {without}"),
            Self::PowerBeforeInside { step, without } => {
                write!(f, "{step}: ends a proof of dead without {without} before it, which works inside")
            }
            Self::PowerBeforeReady { step, without } => {
                write!(f, "{step}: ends a proof of dead without {without} before it, which makes ready for power")
            }
            Self::ProofOutOfOrder { step, without } => write!(f, "{step}: proves dead without {without} before it"),
            Self::ProofCanBeTalkedPast { step } => write!(f, "{step}: proves dead without being a stop-work hold"),
            Self::LiveNotEnclosed { step, without } => write!(f, "{step}: at a live board without {without}"),
            Self::LiveWithoutCare { step } => {
                write!(f, "{step}: opens or closes a live board without being a safety-critical hold")
            }
            Self::UnknownPair { step, requirement } => {
                write!(f, "{step}.{requirement}: its pair is no pair of conductors of a board that the step tests")
            }
            Self::WeakDeadLimit { step, requirement } => {
                write!(f, "{step}.{requirement}: a dead test needs a two-pole-detector and a limit of at most 10 V")
            }
            Self::NobodyJoins => f.write_str("it has an inverter, and no step joins the grid"),
            Self::JoinsUnset { step, without } => write!(f, "{step}: joins the grid without {without} before it"),
            Self::JoinsWithoutConsent { step } => {
                write!(f, "{step}: joins the grid, and nothing before it waits for the consent")
            }
            Self::LeftLoose { step, terminal } => {
                write!(f, "{step}: takes conductors off {terminal}, and no step tightens them again before the power")
            }
            Self::TightensNothing { step } => {
                write!(f, "{step}: tightens without being a hold with a measured torque")
            }
            Self::NotHeld { step, requirement } => {
                write!(f, "{step}.{requirement}: not said who holds what while the photo is taken")
            }
            Self::StopWithoutFail { step, requirement, option } => {
                write!(f, "{step}.{requirement}.{option}: stops all work and does not fail")
            }
        }
    }
}

impl Complaint {
    /// Where in a method file the reason stands, as `WHAT ID`, `step ID.REQUIREMENT`; the nearest first.
    #[cfg(feature = "methods")]
    pub(super) fn keys(&self) -> Vec<String> {
        let of_step = |step: &String| vec![format!("step {step}")];
        let of_requirement =
            |step: &String, requirement: &String| vec![format!("step {step}.{requirement}"), format!("step {step}")];
        match self {
            Self::DuplicateId { what, id } | Self::UnusableId { what, id } => match *what {
                "requirement" | "option" => of_place(id),
                _ => vec![format!("{what} {id}")],
            },
            Self::NotTranslated { place, .. } => of_place(place),
            Self::UnitCount { unit } => vec![format!("unit {unit}")],
            Self::NobodyJoins => Vec::new(),
            Self::Cycle { steps } => steps.iter().map(|step| format!("step {step}")).collect(),
            Self::BoardWithoutPair { board, .. }
            | Self::BoardWithoutPart { board, .. }
            | Self::BoardOfOneConductor { board }
            | Self::UnknownConductorWhen { board, .. }
            | Self::NobodyInside { board } => vec![format!("board {board}")],
            Self::UnknownStage { step, .. }
            | Self::UnknownNeed { step, .. }
            | Self::UnknownCaution { step, .. }
            | Self::UnknownWhen { step, .. }
            | Self::NeedsLater { step, .. }
            | Self::Unreachable { step }
            | Self::CautionMissing { step }
            | Self::PhotoMissing { step }
            | Self::TooManyCautions { step, .. }
            | Self::EmptyHold { step }
            | Self::StopWorkWithoutHold { step }
            | Self::InOrderWithoutRepeat { step }
            | Self::UnknownBoard { step, .. }
            | Self::InsideBeforeDead { step, .. }
            | Self::PowerBeforeInside { step, .. }
            | Self::PowerBeforeReady { step, .. }
            | Self::ProofOutOfOrder { step, .. }
            | Self::LiveNotEnclosed { step, .. }
            | Self::LiveWithoutCare { step }
            | Self::JoinsUnset { step, .. }
            | Self::JoinsWithoutConsent { step }
            | Self::LeftLoose { step, .. }
            | Self::TightensNothing { step }
            | Self::ProofCanBeTalkedPast { step } => of_step(step),
            Self::LimitWithoutSource { step, requirement }
            | Self::LimitWithoutFigure { step, requirement }
            | Self::UpsideDown { step, requirement }
            | Self::UnknownPrefix { step, requirement, .. }
            | Self::NoUnitToAsk { step, requirement }
            | Self::UnknownCheck { step, requirement, .. }
            | Self::UnusableInput { step, requirement, .. }
            | Self::InputNotGiven { step, requirement, .. }
            | Self::UnresolvedSource { step, requirement, .. }
            | Self::OtherUnit { step, requirement, .. }
            | Self::ReadsAhead { step, requirement, .. }
            | Self::CheckTakesNoReading { step, requirement, .. }
            | Self::WaitWithoutTime { step, requirement }
            | Self::WaitReadsNothing { step, requirement }
            | Self::EmptyChoice { step, requirement }
            | Self::NoPhotoWanted { step, requirement }
            | Self::UnknownPair { step, requirement }
            | Self::WeakDeadLimit { step, requirement }
            | Self::NotHeld { step, requirement }
            | Self::StopWithoutFail { step, requirement, .. } => of_requirement(step, requirement),
        }
    }
}

/// Keys of a place in words: `caution ID`, `STEP title`, `STEP.REQUIREMENT.OPTION`.
#[cfg(feature = "methods")]
fn of_place(place: &str) -> Vec<String> {
    let mut words = place.split(' ');
    let first = words.next().unwrap_or_default();
    if matches!(first, "caution" | "stage" | "design" | "board" | "option") && !place.contains('.') {
        return vec![words.next().map_or_else(|| place.to_owned(), |id| format!("{first} {id}"))];
    }
    let mut parts = first.split('.');
    let step = parts.next().unwrap_or_default();
    let requirement = parts.next().map(|requirement| format!("step {step}.{requirement}"));
    requirement.into_iter().chain([format!("step {step}")]).collect()
}

/// Everything that is wrong with a method, sorted, each once.
pub fn complaints(method: &Method) -> Vec<Complaint> {
    let mut found = BTreeSet::new();
    ids(method, &mut found);
    texts(method, &mut found);
    for step in &method.steps {
        names(method, step, &mut found);
        duties(step, &mut found);
        for requirement in &step.requirements {
            own(method, step, requirement, &mut found);
        }
    }
    order::complain(method, &mut found);
    boards::complain(method, &mut found);
    live::complain(method, &mut found);
    power::complain(method, &mut found);
    sources::complain(method, &mut found);
    for plan in method.units.iter().filter(|plan| plan.least > plan.most) {
        found.insert(Complaint::UnitCount { unit: kind_name(plan.unit) });
    }
    found.into_iter().collect()
}

/// The word for a kind of unit in method files.
const fn kind_name(kind: UnitKind) -> &'static str {
    match kind {
        UnitKind::Module => "module",
        UnitKind::ControlUnit => "control_unit",
        UnitKind::Inverter => "inverter",
        UnitKind::Changeover => "changeover",
        UnitKind::Meter => "meter",
        UnitKind::Gateway => "gateway",
    }
}

fn has_unit(method: &Method, kind: UnitKind) -> bool {
    method.units.iter().any(|plan| plan.unit == kind)
}

fn ids(method: &Method, found: &mut BTreeSet<Complaint>) {
    let steps = method.steps.iter();
    let all: [(&'static str, Vec<String>); 6] = [
        ("board", method.boards().iter().map(|board| board.id.clone()).collect()),
        ("caution", method.cautions.iter().map(|caution| caution.id.clone()).collect()),
        ("stage", method.stages.iter().map(|stage| stage.id.clone()).collect()),
        ("step", steps.clone().map(|step| step.id.clone()).collect()),
        ("design", method.design.iter().map(|field| field.key.clone()).collect()),
        ("unit", method.units.iter().map(|plan| kind_name(plan.unit).to_owned()).collect()),
    ];
    for (what, ids) in &all {
        unique(what, "", ids, found);
    }
    for step in steps {
        let ids: Vec<String> = step.requirements.iter().map(|need| need.id().to_owned()).collect();
        unique("requirement", &step.id, &ids, found);
        for requirement in &step.requirements {
            if let Requirement::Choice(need) = requirement {
                let options: Vec<String> = need.options.iter().map(|option| option.id.clone()).collect();
                unique("option", &format!("{}.{}", step.id, need.id), &options, found);
            }
        }
    }
}

fn unique(what: &'static str, place: &str, ids: &[String], found: &mut BTreeSet<Complaint>) {
    let full = |id: &str| if place.is_empty() { id.to_owned() } else { format!("{place}.{id}") };
    for (index, id) in ids.iter().enumerate() {
        if id.is_empty() || id.contains('.') {
            found.insert(Complaint::UnusableId { what, id: full(id) });
        }
        if ids[..index].contains(id) {
            found.insert(Complaint::DuplicateId { what, id: full(id) });
        }
    }
}

fn texts(method: &Method, found: &mut BTreeSet<Complaint>) {
    let mut complain = |place: String, text: &Text| {
        for (language, words) in [("en", &text.en), ("de", &text.de), ("es", &text.es)] {
            if words.trim().is_empty() {
                found.insert(Complaint::NotTranslated { place: place.clone(), language });
            }
        }
    };
    complain("title".to_owned(), &method.title);
    complain("about".to_owned(), &method.about);
    for caution in &method.cautions {
        complain(format!("caution {}", caution.id), &caution.text);
    }
    for stage in &method.stages {
        complain(format!("stage {}", stage.id), &stage.title);
    }
    for board in method.boards() {
        complain(format!("board {}", board.id), &board.title);
    }
    for field in &method.design {
        complain(format!("design {}", field.key), &field.label);
    }
    for step in &method.steps {
        complain(format!("{} title", step.id), &step.title);
        complain(format!("{} act", step.id), &step.act);
        for requirement in &step.requirements {
            let place = format!("{}.{}", step.id, requirement.id());
            complain(place.clone(), requirement.label());
            match requirement {
                Requirement::Photo(need) => {
                    complain(format!("{place} shows"), &need.shows);
                    need.held.iter().for_each(|held| complain(format!("{place} held"), held));
                }
                Requirement::Choice(need) => {
                    need.options.iter().for_each(|option| complain(format!("{place}.{}", option.id), &option.label));
                }
                Requirement::Reading(_)
                | Requirement::Serial(_)
                | Requirement::Confirmation(_)
                | Requirement::Wait(_)
                | Requirement::Check(_)
                | Requirement::Countersign(_)
                | Requirement::Signature(_)
                | Requirement::Words(_) => {}
            }
        }
    }
}

/// Names that a step uses and that must exist.
fn names(method: &Method, step: &Step, found: &mut BTreeSet<Complaint>) {
    let id = || step.id.clone();
    if method.stage(&step.stage).is_none() {
        found.insert(Complaint::UnknownStage { step: id(), stage: step.stage.clone() });
    }
    for need in step.needs.iter().filter(|need| method.step(need).is_none()) {
        found.insert(Complaint::UnknownNeed { step: id(), need: need.clone() });
    }
    for caution in step.cautions.iter().filter(|caution| method.caution(caution).is_none()) {
        found.insert(Complaint::UnknownCaution { step: id(), caution: caution.clone() });
    }
    for names in step.when.iter().flat_map(|when| unknown_in(method, when)) {
        found.insert(Complaint::UnknownWhen { step: id(), names });
    }
}

/// What a condition names and the method does not have: the choice, or options of it.
fn unknown_in(method: &Method, when: &When) -> Vec<String> {
    let place = format!("{}.{}", when.step, when.requirement);
    match method.step(&when.step).and_then(|other| other.requirement(&when.requirement)) {
        Some(Requirement::Choice(choice)) => {
            let is_unknown = |wanted: &&String| choice.options.iter().all(|option| option.id != **wanted);
            when.is.iter().filter(is_unknown).map(|option| format!("{place}.{option}")).collect()
        }
        Some(
            Requirement::Photo(_)
            | Requirement::Reading(_)
            | Requirement::Serial(_)
            | Requirement::Confirmation(_)
            | Requirement::Wait(_)
            | Requirement::Check(_)
            | Requirement::Countersign(_)
            | Requirement::Signature(_)
            | Requirement::Words(_),
        )
        | None => vec![place],
    }
}

/// What a step owes to the person who works it.
fn duties(step: &Step, found: &mut BTreeSet<Complaint>) {
    let id = || step.id.clone();
    if step.safety_critical && step.cautions.is_empty() {
        found.insert(Complaint::CautionMissing { step: id() });
    }
    if step.safety_critical && !step.requirements.iter().any(|need| matches!(need, Requirement::Photo(_))) {
        found.insert(Complaint::PhotoMissing { step: id() });
    }
    if step.cautions.len() > CAUTIONS_MAX {
        found.insert(Complaint::TooManyCautions { step: id(), count: step.cautions.len() });
    }
    if step.hold && step.requirements.is_empty() {
        found.insert(Complaint::EmptyHold { step: id() });
    }
    if step.stop_work && !step.hold {
        found.insert(Complaint::StopWorkWithoutHold { step: id() });
    }
    if step.in_order && step.repeat.is_none() {
        found.insert(Complaint::InOrderWithoutRepeat { step: id() });
    }
}

/// What a requirement says of itself; where its check's inputs come from is judged in [`sources`].
fn own(method: &Method, step: &Step, requirement: &Requirement, found: &mut BTreeSet<Complaint>) {
    let at = || (step.id.clone(), requirement.id().to_owned());
    let (step_id, id) = at();
    match requirement {
        Requirement::Photo(need) if need.count == 0 => {
            found.insert(Complaint::NoPhotoWanted { step: step_id, requirement: id });
        }
        Requirement::Photo(need) if step.stop_work && need.held.is_none() => {
            found.insert(Complaint::NotHeld { step: step_id, requirement: id });
        }
        Requirement::Choice(need) if need.options.len() < 2 => {
            found.insert(Complaint::EmptyChoice { step: step_id, requirement: id });
        }
        Requirement::Choice(need) => {
            for option in need.options.iter().filter(|option| option.stops.is_some() && !option.fails) {
                let (step, requirement) = at();
                found.insert(Complaint::StopWithoutFail { step, requirement, option: option.id.clone() });
            }
        }
        Requirement::Wait(need) => {
            let is_time = |id: &str| matches!(step.requirement(id), Some(Requirement::Reading(read)) if read.unit == Unit::Second);
            let is_figure = |key: &str| method.design.iter().any(|own| own.key == key && own.unit == Unit::Second);
            let reads = need.reading.as_deref().is_none_or(is_time) && need.design.as_deref().is_none_or(is_figure);
            if !reads {
                found.insert(Complaint::WaitReadsNothing { step: step_id.clone(), requirement: id.clone() });
            }
            if need.model.is_none() && need.seconds.unwrap_or(0) == 0 {
                found.insert(Complaint::WaitWithoutTime { step: step_id, requirement: id });
            } else if need.model.is_some() && asks_nobody(method, step, need.unit) {
                found.insert(Complaint::NoUnitToAsk { step: step_id, requirement: id });
            }
        }
        Requirement::Reading(need) => {
            if need.sanity.0 > need.sanity.1 {
                found.insert(Complaint::UpsideDown { step: step_id.clone(), requirement: id.clone() });
            }
            if Prefix::from_symbol(&need.prefix).is_none() {
                let (step, requirement) = at();
                found.insert(Complaint::UnknownPrefix { step, requirement, prefix: need.prefix.clone() });
            }
            for own in need.by_choice.iter().flatten() {
                // The gate judges a step anew when something is recorded in it, so the choice is one of its own.
                let names = format!("{}.{}", own.when.step, own.when.requirement);
                match step.requirement(&own.when.requirement).filter(|_| own.when.step == step.id) {
                    Some(Requirement::Choice(choice)) => {
                        let is_there = |wanted: &&String| choice.options.iter().any(|option| option.id == **wanted);
                        for option in own.when.is.iter().filter(|wanted| !is_there(wanted)) {
                            found.insert(Complaint::UnknownWhen {
                                step: step_id.clone(),
                                names: format!("{names}.{option}"),
                            });
                        }
                    }
                    Some(_) | None => {
                        found.insert(Complaint::UnknownWhen { step: step_id.clone(), names });
                    }
                }
            }
            need.limits().for_each(|limit| limited(method, step, need, limit, found));
        }
        Requirement::Photo(_)
        | Requirement::Serial(_)
        | Requirement::Confirmation(_)
        | Requirement::Check(_)
        | Requirement::Countersign(_)
        | Requirement::Signature(_)
        | Requirement::Words(_) => {}
    }
}

/// What a limit of a reading says of itself.
fn limited(method: &Method, step: &Step, need: &ReadingNeed, limit: &LimitRule, found: &mut BTreeSet<Complaint>) {
    let at = || (step.id.clone(), need.id.clone());
    let (step_id, id) = at();
    match limit {
        LimitRule::Constant(limit) => constant(limit, at(), found),
        LimitRule::Model(ModelLimit { at_least: None, at_most: None, .. })
        | LimitRule::Design(DesignLimit { at_least: None, at_most: None }) => {
            found.insert(Complaint::LimitWithoutFigure { step: step_id, requirement: id });
        }
        LimitRule::Model(limit) if asks_nobody(method, step, limit.unit) => {
            found.insert(Complaint::NoUnitToAsk { step: step_id, requirement: id });
        }
        LimitRule::Design(limit) => {
            for key in limit.at_least.iter().chain(&limit.at_most) {
                let (step, requirement) = at();
                let from = format!("design.{key}");
                match method.design.iter().find(|field| field.key == *key) {
                    None => found.insert(Complaint::UnresolvedSource { step, requirement, from }),
                    Some(field) if field.unit != need.unit => {
                        found.insert(Complaint::OtherUnit { step, requirement, from })
                    }
                    Some(_) => false,
                };
            }
        }
        LimitRule::Model(_) | LimitRule::Check(_) => {}
    }
}

/// The model of a unit is asked that the job has not, or of "this slot" in a step without slots.
fn asks_nobody(method: &Method, step: &Step, unit: Option<UnitKind>) -> bool {
    unit.map_or_else(|| step.repeat.is_none(), |kind| !has_unit(method, kind))
}

fn constant(limit: &ConstantLimit, at: (String, String), found: &mut BTreeSet<Complaint>) {
    let (step, requirement) = at;
    if limit.source.trim().is_empty() {
        found.insert(Complaint::LimitWithoutSource { step: step.clone(), requirement: requirement.clone() });
    }
    match (limit.at_least, limit.at_most) {
        (None, None) => {
            found.insert(Complaint::LimitWithoutFigure { step, requirement });
        }
        (Some(least), Some(most)) if least > most => {
            found.insert(Complaint::UpsideDown { step, requirement });
        }
        (Some(_), _) | (None, Some(_)) => {}
    }
}
