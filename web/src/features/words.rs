//! Words for what `domain` answers in enums: phases, states, obstacles, reasons, problems. Shared by the crew's and the desk's screens.
//!
//! Every match is exhaustive, so that a new variant without words does not compile. Names that method files and catalogues choose
//! freely (figures, kinds of instrument) have a table; what the table lacks is shown as it stands.

use std::fmt::Write as _;

use domain::bounds::NAME_CHARS_MAX;
use domain::design::{MODEL_FIGURES, ModelFigure};
use domain::electrical::rule_set::{Place as RulesPlace, RulesName};
use domain::electrical::{
    Check, CheckNote, Cmp, Limit, Mark, Note, Prefix, Quantity, Source, Unit, Verdict, Why, codes,
};
use domain::identification::Problem;
use domain::ids::PersonId;
use domain::job_file::body::{
    Body, ConsentState, CrewRole, DoubtCode, FindingCode, LeftAs, PhotoOrigin, Place, Purpose, Reading, ReadingQuality,
    SerialSource, Sign, StopCause, UnitKind,
};
use domain::job_file::record::CountersignState;
use domain::job_file::{BreachWhy, Phase};
use domain::method::gate::{
    Answer, Ending, FailWhy, LimitInfo, LimitSource, Obstacle, OpenWhy, StepState, stored_reading,
};
use domain::method::plan::{HOUSE_RULE, ReadingNeed, Requirement};
use domain::tray::AsideWhy;
use domain::wire::sync::{HeldWhy, RefusedWhy};

use super::job::load::{EvidenceItem, EvidenceStanding, JobView, RequirementCard, StepCard};
use crate::i18n::{Key, Words};
use crate::ui::{Icon, StepState as Knob, Tone};
use crate::{key, t, tn};

/// Names that data chooses, looked up in one room of the language files.
macro_rules! named {
    ($given:expr, $room:literal, [$($name:literal),+ $(,)?]) => {
        match $given {
            $($name => Some(key!(concat!($room, $name))),)+
            _ => None,
        }
    };
}

/// Where a job stands.
pub const fn phase(phase: Phase) -> Key {
    match phase {
        Phase::Planned => key!("job.phase.planned"),
        Phase::WithCrew => key!("job.phase.with_crew"),
        Phase::OnSite => key!("job.phase.on_site"),
        Phase::Paused(_) => key!("job.phase.paused"),
        Phase::ForReview => key!("job.phase.for_review"),
        Phase::Returned => key!("job.phase.returned"),
        Phase::Passed => key!("job.phase.passed"),
        Phase::Sealed => key!("job.phase.sealed"),
        Phase::Withdrawn => key!("job.phase.withdrawn"),
    }
}

/// The weight of a phase.
pub const fn phase_tone(phase: Phase) -> Tone {
    match phase {
        Phase::Planned | Phase::WithCrew | Phase::Withdrawn => Tone::Plain,
        Phase::OnSite | Phase::ForReview => Tone::Wait,
        Phase::Paused(_) | Phase::Returned => Tone::Caution,
        Phase::Passed | Phase::Sealed => Tone::Good,
    }
}

/// What a visit is for.
pub const fn purpose(purpose: Purpose) -> Key {
    match purpose {
        Purpose::Install => key!("job.purpose.install"),
        Purpose::Extend => key!("job.purpose.extend"),
        Purpose::Service => key!("job.purpose.service"),
        Purpose::Repair => key!("job.purpose.repair"),
        Purpose::Swap => key!("job.purpose.swap"),
        Purpose::TakeOut => key!("job.purpose.take_out"),
    }
}

/// In which state a site was left.
pub const fn left_as(left: LeftAs) -> Key {
    match left {
        LeftAs::IsolatedAndLocked => key!("job.left_as.isolated_and_locked"),
        LeftAs::NotConnected => key!("job.left_as.not_connected"),
        LeftAs::RunningAsBefore => key!("job.left_as.running_as_before"),
    }
}

/// Why work was stopped.
pub const fn stop_cause(cause: StopCause) -> Key {
    match cause {
        StopCause::Damage => key!("job.stop_cause.damage"),
        StopCause::HeatOrSmell => key!("job.stop_cause.heat_or_smell"),
        StopCause::Alarm => key!("job.stop_cause.alarm"),
        StopCause::Injury => key!("job.stop_cause.injury"),
        StopCause::Other => key!("job.stop_cause.other"),
    }
}

/// The network operator's word.
pub const fn consent(state: ConsentState) -> Key {
    match state {
        ConsentState::Waiting => key!("job.consent.waiting"),
        ConsentState::Granted => key!("job.consent.granted"),
        ConsentState::NotNeeded => key!("job.consent.not_needed"),
        ConsentState::Refused => key!("job.consent.refused"),
    }
}

/// Role in a job.
pub const fn crew_role(role: CrewRole) -> Key {
    match role {
        CrewRole::Lead => key!("job.crew.lead"),
        CrewRole::Technician => key!("job.crew.technician"),
    }
}

/// What an item of the catalogue is.
pub const fn unit_kind(kind: UnitKind) -> Key {
    match kind {
        UnitKind::Module => key!("job.unit.module"),
        UnitKind::ControlUnit => key!("job.unit.control_unit"),
        UnitKind::Inverter => key!("job.unit.inverter"),
        UnitKind::Changeover => key!("job.unit.changeover"),
        UnitKind::Meter => key!("job.unit.meter"),
        UnitKind::Gateway => key!("job.unit.gateway"),
    }
}

/// One unit by its kind and place: "Module in place 3".
pub fn unit_in_slot(w: Words, kind: UnitKind, slot: u16) -> String {
    match kind {
        UnitKind::Module => t!(w, "job.unit.module_in_slot", slot = slot),
        UnitKind::ControlUnit | UnitKind::Inverter | UnitKind::Changeover | UnitKind::Meter | UnitKind::Gateway => {
            t!(w, "job.unit.in_slot", unit = w.say(unit_kind(kind)), slot = slot)
        }
    }
}

/// A step's name; a repeated one says for which unit.
pub fn step_title(w: Words, step: &StepCard) -> String {
    match step.unit {
        Some(kind) => t!(w, "job.step_with_unit", title = step.title, unit = unit_in_slot(w, kind, step.slot)),
        None => step.title.clone(),
    }
}

/// A person's name from the firm's list, or a word in its place.
pub fn person(w: Words, people: &[(PersonId, String)], id: PersonId) -> String {
    people.iter().find(|(own, _)| *own == id).map_or_else(|| t!(w, "job.someone").to_owned(), |(_, name)| name.clone())
}

/// The state of a step in a word, for a list.
pub fn step_state(step: &StepCard) -> Key {
    match &step.state {
        StepState::NotApplicable => key!("step.state.not_applicable"),
        StepState::Locked { .. } => key!("step.state.locked"),
        StepState::Open if !step.has_work() => key!("step.state.waits_for_lead"),
        StepState::Open => key!("step.state.open"),
        StepState::Failed => key!("step.state.failed"),
        StepState::Deviating => key!("step.state.deviating"),
        StepState::Satisfied => key!("step.state.satisfied"),
    }
}

/// A stable word for the state, for tests and style sheets.
pub const fn step_state_word(state: &StepState) -> &'static str {
    match state {
        StepState::NotApplicable => "not-applicable",
        StepState::Locked { .. } => "locked",
        StepState::Open => "open",
        StepState::Failed => "failed",
        StepState::Deviating => "deviating",
        StepState::Satisfied => "satisfied",
    }
}

/// The picture of a step in a list; `next` is the one that the main action leads to.
pub fn step_knob(step: &StepCard, next: bool) -> Knob {
    match &step.state {
        StepState::NotApplicable => Knob::Left,
        StepState::Locked { .. } => Knob::Locked,
        StepState::Open if !step.has_work() => Knob::Pending,
        StepState::Open if next => Knob::Now,
        StepState::Open => Knob::Open,
        StepState::Failed => Knob::Wrong,
        StepState::Deviating => Knob::Deviating,
        StepState::Satisfied => Knob::Done,
    }
}

/// What stands before a step, in a sentence; a step by its name.
pub fn obstacle(w: Words, job: &JobView, obstacle: &Obstacle) -> String {
    let key = match obstacle {
        Obstacle::Step(at) => match job.step_at(*at) {
            Some(step) => return step_title(w, step),
            None => key!("gate.obstacle.step_gone"),
        },
        Obstacle::StopWork(_) => key!("gate.obstacle.stop_work"),
        Obstacle::Paused => key!("gate.obstacle.paused"),
        Obstacle::Away => key!("gate.obstacle.away"),
        Obstacle::Passed => key!("gate.obstacle.passed"),
        Obstacle::Withdrawn => key!("gate.obstacle.withdrawn"),
        Obstacle::NeedsNewerApp => key!("gate.obstacle.newer_app"),
        Obstacle::EquipmentMissing => key!("gate.obstacle.equipment"),
        Obstacle::ConsentMissing => key!("gate.obstacle.consent"),
    };
    w.say(key).to_owned()
}

/// A stable word for an answer, for tests and style sheets.
pub const fn answer_word(answer: &Answer) -> &'static str {
    match answer {
        Answer::Missing { .. } => "missing",
        Answer::Met { .. } => "met",
        Answer::Failed { .. } => "failed",
        Answer::NotDetermined { .. } => "not-determined",
        Answer::DeviationAsked { .. } => "asked",
        Answer::DeviationAllowed { .. } => "allowed",
        Answer::NotApplicable => "not-applicable",
    }
}

/// The weight of an answer.
pub const fn answer_tone(answer: &Answer) -> Tone {
    match answer {
        Answer::Missing { .. } => Tone::Plain,
        Answer::Met { .. } => Tone::Good,
        Answer::Failed { .. } => Tone::Stop,
        Answer::NotDetermined { .. } => Tone::Caution,
        Answer::DeviationAsked { .. } => Tone::Wait,
        Answer::DeviationAllowed { .. } => Tone::Caution,
        Answer::NotApplicable => Tone::Plain,
    }
}

/// The picture of an answer; no two answers share one.
pub const fn answer_icon(answer: &Answer) -> Icon {
    match answer {
        Answer::Missing { .. } => Icon::Dot,
        Answer::Met { .. } => Icon::Tick,
        Answer::Failed { .. } => Icon::Cross,
        Answer::NotDetermined { .. } => Icon::Question,
        Answer::DeviationAsked { .. } => Icon::Half,
        Answer::DeviationAllowed { .. } => Icon::Around,
        Answer::NotApplicable => Icon::Dash,
    }
}

/// How a requirement stands, in a few words.
pub fn answer(w: Words, card: &RequirementCard) -> String {
    match &card.answer {
        Answer::Missing { have, want } => match &card.need {
            Requirement::Photo(_) => tn!(w, "reason.answer.missing_photos", want.saturating_sub(*have)),
            Requirement::Wait(_) => {
                t!(w, "reason.answer.missing_wait", span = w.span(want.saturating_sub(*have).div_ceil(1_000)))
            }
            Requirement::Reading(_)
            | Requirement::Serial(_)
            | Requirement::Confirmation(_)
            | Requirement::Choice(_)
            | Requirement::Check(_)
            | Requirement::Countersign(_)
            | Requirement::Signature(_)
            | Requirement::Words(_) => t!(w, "reason.answer.missing").to_owned(),
        },
        Answer::Met { .. } => t!(w, "reason.answer.met").to_owned(),
        Answer::Failed { .. } => t!(w, "reason.answer.failed").to_owned(),
        Answer::NotDetermined { .. } => t!(w, "reason.answer.not_determined").to_owned(),
        Answer::DeviationAsked { .. } => t!(w, "reason.answer.deviation_asked").to_owned(),
        Answer::DeviationAllowed { .. } => t!(w, "reason.answer.deviation_allowed").to_owned(),
        Answer::NotApplicable => t!(w, "step.state.not_applicable").to_owned(),
    }
}

/// What is known of the PIN under a countersignature.
pub fn countersigned(w: Words, state: CountersignState) -> &'static str {
    match state {
        CountersignState::ToBeConfirmed => t!(w, "step.countersign.to_be_confirmed"),
        CountersignState::Confirmed => t!(w, "step.countersign.confirmed"),
        CountersignState::Wrong => t!(w, "reason.fail.pin_wrong"),
    }
}

/// Why a requirement is not met and what to do, where evidence is there.
pub fn answer_why(w: Words, job: &JobView, card: &RequirementCard) -> Option<String> {
    match &card.answer {
        Answer::Failed { why, .. } => Some(fail_why(w, job, card, why)),
        Answer::NotDetermined { why, .. } => Some(open_why(w, why)),
        Answer::Missing { .. }
        | Answer::Met { .. }
        | Answer::DeviationAsked { .. }
        | Answer::DeviationAllowed { .. }
        | Answer::NotApplicable => None,
    }
}

/// The name of the step at a place.
pub fn place(w: Words, job: &JobView, place: &Place) -> String {
    job.step(&place.step, place.slot).map_or_else(|| place.step.clone(), |step| step_title(w, step))
}

/// A unit of the job by its slot.
pub fn slot(w: Words, job: &JobView, slot: u16) -> String {
    let kind = job.units.iter().find(|unit| unit.slot == slot).map_or(UnitKind::Module, |unit| unit.kind);
    unit_in_slot(w, kind, slot)
}

fn fail_why(w: Words, job: &JobView, card: &RequirementCard, reason: &FailWhy) -> String {
    match reason {
        FailWhy::SamePhotoAt(at) => t!(w, "reason.fail.same_photo", step = place(w, job, at)),
        FailWhy::SamePhotoInFirm(_) => t!(w, "reason.fail.same_photo_in_firm").to_owned(),
        FailWhy::TicketNeeded(kind) => t!(w, "reason.fail.ticket_needed", kind = kind),
        FailWhy::PinProofMissing => t!(w, "reason.fail.pin_proof_missing").to_owned(),
        FailWhy::PinWrong => t!(w, "reason.fail.pin_wrong").to_owned(),
        FailWhy::NotDrawn => t!(w, "reason.fail.not_drawn").to_owned(),
        FailWhy::WordsUnreadable => t!(w, "reason.fail.words_unreadable", n = NAME_CHARS_MAX),
        FailWhy::SerialInSlot(other) => t!(w, "reason.fail.serial_in_slot", unit = slot(w, job, *other)),
        FailWhy::SerialUnreadable => t!(w, "reason.fail.serial_unreadable").to_owned(),
        FailWhy::Value { why: reason, house: true, .. } => t!(w, "reason.house_figure", why = w.say(why(*reason))),
        FailWhy::Value { why: reason, .. } => w.say(why(*reason)).to_owned(),
        FailWhy::Check(check) => check_verdict_why(w, check),
        FailWhy::OptionSaysNo(option) => {
            let label = match &card.need {
                Requirement::Choice(need) => need.options.iter().find(|own| own.id == *option),
                _ => None,
            };
            let label = label.map_or(option.as_str(), |own| own.label.in_language(w.lang.code()));
            t!(w, "reason.fail.option", option = label)
        }
        FailWhy::SecondPersonNeeded => t!(w, "reason.fail.second_person").to_owned(),
        FailWhy::HouseholderNeeded => t!(w, "reason.fail.householder").to_owned(),
    }
}

fn open_why(w: Words, reason: &OpenWhy) -> String {
    match reason {
        OpenWhy::Value(reason) => w.say(why(*reason)).to_owned(),
        OpenWhy::NoMakerFigure(name) => t!(w, "reason.open.no_maker_figure", figure = figure(w, name)),
        OpenWhy::InputMissing(name) => t!(w, "reason.open.input_missing", figure = figure(w, name)),
        OpenWhy::Check(check) => check_verdict_why(w, check),
        OpenWhy::InstrumentMissing => t!(w, "reason.open.instrument_missing").to_owned(),
        OpenWhy::InstrumentKind(kind) => t!(w, "reason.open.instrument_kind", kind = instrument_kind(w, kind)),
        OpenWhy::CalibrationEnded(day) if day.is_empty() => t!(w, "reason.open.calibration_unknown").to_owned(),
        OpenWhy::CalibrationEnded(day) => t!(w, "reason.open.calibration_ended", day = w.day_text(day)),
    }
}

/// Why a computed comparison ended as it did.
pub fn check_verdict_why(w: Words, check: &Check) -> String {
    let why = verdict_why(w, check.verdict).unwrap_or_else(|| t!(w, "reason.answer.met").to_owned());
    if check.fails_by_house_figure() { t!(w, "reason.house_figure", why = why) } else { why }
}

/// Why a verdict is none of "pass".
pub fn verdict_why(w: Words, verdict: Verdict) -> Option<String> {
    match verdict {
        Verdict::Pass => None,
        Verdict::Fail(reason) | Verdict::NotDetermined(reason) | Verdict::NotApplicable(reason) => {
            Some(w.say(why(reason)).to_owned())
        }
    }
}

/// The reason beside a verdict.
pub const fn why(why: Why) -> Key {
    match why {
        Why::BelowMinimum => key!("reason.why.below_minimum"),
        Why::AboveMaximum => key!("reason.why.above_maximum"),
        Why::OpenCircuit => key!("reason.why.open_circuit"),
        Why::PolarityReversed => key!("reason.why.polarity_reversed"),
        Why::BoundTooWide => key!("reason.why.bound_too_wide"),
        Why::NoReading => key!("reason.why.no_reading"),
        Why::NotTested => key!("reason.why.not_tested"),
        Why::NoLimit => key!("reason.why.no_limit"),
        Why::NoSuchRule => key!("reason.why.no_such_rule"),
        Why::NoMakerLimit => key!("reason.why.no_maker_limit"),
        Why::AmbiguousReading => key!("reason.why.ambiguous"),
        Why::InvalidReading => key!("reason.why.invalid"),
        Why::UnitMismatch => key!("reason.why.unit_mismatch"),
        Why::OutsideSanity => key!("reason.why.outside_sanity"),
        Why::RangeTopUnknown => key!("reason.why.range_top_unknown"),
        Why::SuspiciouslyLow => key!("reason.why.suspiciously_low"),
        Why::NullNotRecorded => key!("reason.why.null_not_recorded"),
        Why::TestVoltageMissing => key!("reason.why.test_voltage_missing"),
        Why::TestVoltageTooLow => key!("reason.why.test_voltage_too_low"),
        Why::MakerMustAllow => key!("reason.why.maker_must_allow"),
        Why::NothingToCompare => key!("reason.why.nothing_to_compare"),
        Why::SingleModule => key!("reason.why.single_module"),
        Why::SocSpread => key!("reason.why.soc_spread"),
        Why::CurrentTooHigh => key!("reason.why.current_too_high"),
        Why::CurrentNotEstimated => key!("reason.why.current_not_estimated"),
        Why::BelowWindow => key!("reason.why.below_window"),
        Why::AboveWindow => key!("reason.why.above_window"),
        Why::AboveDeviceRating => key!("reason.why.above_device_rating"),
        Why::FuseTooSmall => key!("reason.why.fuse_too_small"),
        Why::AboveCableRating => key!("reason.why.above_cable_rating"),
        Why::AboveMakerFuse => key!("reason.why.above_maker_fuse"),
        Why::VoltageRatingTooLow => key!("reason.why.voltage_rating_too_low"),
        Why::BreakingCapacityTooLow => key!("reason.why.breaking_capacity_too_low"),
        Why::RatingMissing => key!("reason.why.rating_missing"),
        Why::UnitTooLarge => key!("reason.why.unit_too_large"),
        Why::LocationTooLarge => key!("reason.why.location_too_large"),
        Why::OutsideScope => key!("reason.why.outside_scope"),
        Why::ExtraRequirement => key!("reason.why.extra_requirement"),
        Why::EditionUnclear => key!("reason.why.edition_unclear"),
        Why::ShortCircuit => key!("reason.why.short_circuit"),
        Why::TerminatorMissing => key!("reason.why.terminator_missing"),
        Why::TooManyTerminators => key!("reason.why.too_many_terminators"),
        Why::NoTerminators => key!("reason.why.no_terminators"),
        Why::CauseUnknown => key!("reason.why.cause_unknown"),
        Why::ConductorTooSmall => key!("reason.why.conductor_too_small"),
        Why::LetThroughNeeded => key!("reason.why.let_through_needed"),
        Why::DropTooHigh => key!("reason.why.drop_too_high"),
        Why::TrippedBelowRated => key!("reason.why.tripped_below_rated"),
        Why::RcdTypeUnsuitable => key!("reason.why.rcd_type_unsuitable"),
        Why::BusbarOverloaded => key!("reason.why.busbar_overloaded"),
        Why::PositionUnknown => key!("reason.why.position_unknown"),
        Why::Overloaded => key!("reason.why.overloaded"),
        Why::RuntimeTooShort => key!("reason.why.runtime_too_short"),
        Why::AnchorNotTested => key!("reason.why.anchor_not_tested"),
        Why::AnchorSpacing => key!("reason.why.anchor_spacing"),
        Why::LocationProhibited => key!("reason.why.location_prohibited"),
        Why::TooClose => key!("reason.why.too_close"),
        Why::AuthorityMustAccept => key!("reason.why.authority_must_accept"),
        Why::RequirementNotMet => key!("reason.why.requirement_not_met"),
        Why::RequirementOpen => key!("reason.why.requirement_open"),
        Why::DoesNotApply => key!("reason.why.does_not_apply"),
        Why::NoBackup => key!("reason.why.no_backup"),
        Why::NoRuleHere => key!("reason.why.no_rule_here"),
        Why::ConsentNeeded => key!("reason.why.consent_needed"),
        Why::ArcProtectionNeeded => key!("reason.why.arc_protection_needed"),
        Why::DamagedGoods => key!("reason.why.damaged_goods"),
    }
}

/// Why a text is not taken as a serial.
pub const fn problem(problem: Problem) -> Key {
    match problem {
        Problem::Empty => key!("reason.problem.empty"),
        Problem::TooLong => key!("reason.problem.too_long"),
        Problem::ControlCharacters => key!("reason.problem.control_characters"),
        Problem::NonAsciiLetters => key!("reason.problem.non_ascii_letters"),
        Problem::NonAsciiSigns => key!("reason.problem.non_ascii_signs"),
        Problem::DestroyedNumber => key!("reason.problem.destroyed_number"),
        Problem::SeparatorLost => key!("reason.problem.separator_lost"),
        Problem::CheckDigitWrong => key!("reason.problem.check_digit_wrong"),
        Problem::FieldFormat => key!("reason.problem.field_format"),
        Problem::NotADate => key!("reason.problem.not_a_date"),
        Problem::UnknownIdentifier => key!("reason.problem.unknown_identifier"),
        Problem::Association => key!("reason.problem.association"),
        Problem::Contradiction => key!("reason.problem.contradiction"),
        Problem::QualifierOrder => key!("reason.problem.qualifier_order"),
        Problem::QualifierMissing => key!("reason.problem.qualifier_missing"),
        Problem::EnvelopeForm => key!("reason.problem.envelope_form"),
        Problem::ProductNotItem => key!("reason.problem.product_not_item"),
        Problem::NoSerial => key!("reason.problem.no_serial"),
        Problem::LinkNotSerial => key!("reason.problem.link_not_serial"),
        Problem::LooksLikeMac => key!("reason.problem.looks_like_mac"),
        Problem::LooksLikeImei => key!("reason.problem.looks_like_imei"),
        Problem::LooksLikeIccid => key!("reason.problem.looks_like_iccid"),
    }
}

/// Why an entry is a breach.
pub const fn breach(why: &BreachWhy) -> Key {
    match why {
        BreachWhy::StepShut(_) => key!("reason.breach.step_shut"),
        BreachWhy::NoSuchPlace => key!("reason.breach.no_such_place"),
        BreachWhy::NotOnJob => key!("reason.breach.not_on_job"),
        BreachWhy::NotLead => key!("reason.breach.not_lead"),
        BreachWhy::NotYours => key!("reason.breach.not_yours"),
        BreachWhy::AlreadyPlanned => key!("reason.breach.already_planned"),
        BreachWhy::StopWorkStep => key!("reason.breach.stop_work_step"),
        BreachWhy::NotComplete => key!("reason.breach.not_complete"),
        BreachWhy::NothingThere => key!("reason.breach.nothing_there"),
        BreachWhy::WrongPin => key!("reason.breach.wrong_pin"),
        BreachWhy::WrongAnswer => key!("reason.breach.wrong_answer"),
        BreachWhy::AnswerUsed => key!("reason.breach.answer_used"),
        BreachWhy::NotServer => key!("reason.breach.not_server"),
        BreachWhy::StopStands => key!("reason.breach.stop_stands"),
    }
}

/// A remark beside a reading.
pub const fn note(note: Note) -> Key {
    match note {
        Note::UnitAssumed => key!("reason.note.unit_assumed"),
        Note::Converted => key!("reason.note.converted"),
        Note::Awg => key!("reason.note.awg"),
        Note::OtherDecimalSign => key!("reason.note.other_decimal_sign"),
        Note::Rounded => key!("reason.note.rounded"),
        Note::PrefixFromField => key!("reason.note.prefix_from_field"),
        Note::PolarityReversed => key!("reason.note.polarity_reversed"),
        Note::OpenCircuit => key!("reason.note.open_circuit"),
        Note::AskLeadsNulled => key!("reason.note.ask_leads_nulled"),
        Note::AskExact => key!("reason.note.ask_exact"),
        Note::DidNotTrip => key!("reason.note.did_not_trip"),
        Note::WorstOfTwo => key!("reason.note.worst_of_two"),
        Note::SeveralValues => key!("reason.note.several_values"),
        Note::Impossible => key!("reason.note.impossible"),
        Note::Empty => key!("reason.note.empty"),
    }
}

/// A remark beside a computed comparison.
pub const fn check_note(note: CheckNote) -> Key {
    match note {
        CheckNote::LocalCapUsed => key!("reason.check_note.local_cap"),
        CheckNote::ReducedTestVoltage => key!("reason.check_note.reduced_voltage"),
        CheckNote::SocNotCompared => key!("reason.check_note.soc_not_compared"),
        CheckNote::DeviceRatingsNotGiven => key!("reason.check_note.ratings_not_given"),
        CheckNote::TipsWithoutBracket => key!("reason.check_note.tips"),
        CheckNote::OtherLocationsApart => key!("reason.check_note.locations_apart"),
        CheckNote::MechanicalMinimumUsed => key!("reason.check_note.mechanical_minimum"),
        CheckNote::ElectrodeUnstable => key!("reason.check_note.electrode_unstable"),
        CheckNote::FarEndOnly => key!("reason.check_note.far_end_only"),
        CheckNote::AuthorityAccepted => key!("reason.check_note.authority_accepted"),
        CheckNote::MakerDistanceMissing => key!("reason.check_note.maker_distance_missing"),
        CheckNote::ClearingTimeAssumed => key!("reason.check_note.clearing_time_assumed"),
        CheckNote::FullTransportRules => key!("reason.check_note.full_transport_rules"),
        CheckNote::BreakerDoesNotTrip => key!("reason.check_note.breaker_does_not_trip"),
        CheckNote::ToolCoarserThanWindow => key!("reason.check_note.tool_coarser"),
    }
}

/// Why the server holds an entry.
pub const fn held(why: HeldWhy) -> Key {
    match why {
        HeldWhy::SameIdOtherBytes => key!("tray.held.same_id"),
        HeldWhy::AuthorNotYou => key!("tray.held.author_not_you"),
        HeldWhy::DeviceNotYours => key!("tray.held.device_not_yours"),
        HeldWhy::RoleMayNot => key!("tray.held.role_may_not"),
        HeldWhy::DeviceRevoked => key!("tray.held.device_revoked"),
        HeldWhy::NoSuchJob => key!("tray.held.no_such_job"),
        HeldWhy::BodyUnreadable => key!("tray.held.body_unreadable"),
    }
}

/// Why the server keeps nothing of an entry.
pub const fn refused(why: RefusedWhy) -> Key {
    match why {
        RefusedWhy::Malformed => key!("tray.refused.malformed"),
        RefusedWhy::TooLarge => key!("tray.refused.too_large"),
        RefusedWhy::OtherFirm => key!("tray.refused.other_firm"),
        RefusedWhy::Version => key!("tray.refused.version"),
    }
}

/// Why something was set aside.
pub fn aside(w: Words, why: AsideWhy) -> String {
    match why {
        AsideWhy::Refused(why) => w.say(refused(why)).to_owned(),
        AsideWhy::TooLarge => t!(w, "tray.refused.too_large").to_owned(),
        AsideWhy::Status(status) => t!(w, "tray.aside.status", status = status),
        AsideWhy::WrongBytes => t!(w, "tray.aside.wrong_bytes").to_owned(),
        AsideWhy::BytesLost => t!(w, "tray.aside.bytes_lost").to_owned(),
    }
}

/// What the server found.
pub const fn finding(code: FindingCode) -> Key {
    match code {
        FindingCode::SerialElsewhere => key!("reason.finding.serial_elsewhere"),
        FindingCode::PhotoElsewhere => key!("reason.finding.photo_elsewhere"),
        FindingCode::ForkedChain => key!("reason.finding.forked_chain"),
        FindingCode::PreviewDiffers => key!("reason.finding.preview_differs"),
        FindingCode::CountersignConfirmed => key!("reason.finding.countersign_confirmed"),
        FindingCode::CountersignWrong => key!("reason.finding.countersign_wrong"),
    }
}

/// What the server doubts about where so many records came from.
pub fn doubt(w: Words, code: DoubtCode, n: usize) -> String {
    match code {
        DoubtCode::BadSignature => tn!(w, "reason.doubt.bad_signature", n),
        DoubtCode::NotSigned => tn!(w, "reason.doubt.not_signed", n),
        DoubtCode::UnknownDevice => tn!(w, "reason.doubt.unknown_device", n),
        DoubtCode::NotTheirDevice => tn!(w, "reason.doubt.not_their_device", n),
        DoubtCode::AfterRevocation => tn!(w, "reason.doubt.after_revocation", n),
        DoubtCode::SeenLess => tn!(w, "reason.doubt.seen_less", n),
    }
}

/// Whether a recorded fact counts.
pub const fn standing(standing: EvidenceStanding) -> Key {
    match standing {
        EvidenceStanding::Counts => key!("step.evidence.counts"),
        EvidenceStanding::Corrected => key!("step.evidence.corrected"),
        EvidenceStanding::TakenBack => key!("step.evidence.taken_back"),
        EvidenceStanding::BeforeReturn => key!("step.evidence.before_return"),
        EvidenceStanding::Ended => key!("step.evidence.ended"),
        EvidenceStanding::Breach => key!("step.evidence.breach"),
        EvidenceStanding::Late => key!("step.evidence.late"),
    }
}

/// Why something that was done is asked for anew.
pub const fn ending(ending: Ending) -> Key {
    match ending {
        Ending::Left => key!("step.ended.left"),
        Ending::Silent => key!("step.ended.silent"),
        Ending::Power => key!("step.ended.power"),
        Ending::ProvedAgain => key!("step.ended.proved_again"),
        Ending::SourceFound => key!("step.ended.source_found"),
        Ending::TestedAgain => key!("step.ended.tested_again"),
        Ending::Agreed => key!("step.ended.agreed"),
        Ending::LockHandedOver => key!("step.ended.lock"),
        Ending::Away => key!("step.ended.away"),
    }
}

/// How a serial came in.
pub const fn serial_source(source: SerialSource) -> Key {
    match source {
        SerialSource::Camera => key!("step.serial.source.camera"),
        SerialSource::Wedge => key!("step.serial.source.wedge"),
        SerialSource::Typed => key!("step.serial.source.typed"),
    }
}

/// Where a photo came from.
pub const fn photo_origin(origin: PhotoOrigin) -> Key {
    match origin {
        PhotoOrigin::Camera => key!("step.photo.origin.camera"),
        PhotoOrigin::Imported => key!("step.photo.origin.imported"),
    }
}

/// That a departure was allowed over the telephone: who typed the answer, and to whom it was shown.
pub fn by_voice(
    w: Words,
    people: &[(PersonId, String)],
    typed_by: PersonId,
    shown: &[(u64, PersonId)],
    moment: impl Fn(u64) -> String,
) -> String {
    let mut said = t!(w, "voice.allowed", who = person(w, people, typed_by));
    for (at_us, lead) in shown {
        said.push(' ');
        said.push_str(&t!(w, "voice.shown_to", who = person(w, people, *lead), when = moment(*at_us)));
    }
    if shown.is_empty() {
        said.push(' ');
        said.push_str(t!(w, "voice.shown_later"));
    }
    said
}

/// What an entry is, in a word.
pub const fn entry_kind(body: &Body) -> Key {
    match body {
        Body::JobPlanned(_)
        | Body::Equipment(_)
        | Body::DesignInputs(_)
        | Body::Consent(_)
        | Body::SiteDetails(_)
        | Body::Schedule(_)
        | Body::Assignment(_)
        | Body::Withdrawn(_) => key!("job.entry.plan"),
        Body::Photo(_) => key!("job.entry.photo"),
        Body::Reading(_) => key!("job.entry.reading"),
        Body::Serial(_) => key!("job.entry.serial"),
        Body::Confirmation(_) => key!("job.entry.confirmation"),
        Body::Choice(_) => key!("job.entry.choice"),
        Body::Words(_) => key!("job.entry.words"),
        Body::Waited(_) => key!("job.entry.wait"),
        Body::Remark(_) => key!("job.entry.remark"),
        Body::Retraction(_) => key!("job.entry.retraction"),
        Body::CautionsRead(_) => key!("job.entry.cautions"),
        Body::DeviationAsked(_) => key!("job.entry.deviation"),
        Body::DeviationDecided(_)
        | Body::StopResolved(_)
        | Body::Returned(_)
        | Body::Passed(_)
        | Body::BreachSettled(_)
        | Body::PhotoAbsent(_) => key!("job.entry.decision"),
        Body::StopWork(_) => key!("job.entry.stop"),
        Body::Paused(_) => key!("job.entry.pause"),
        Body::Resumed(_) => key!("job.entry.resume"),
        Body::WentAway(_) => key!("job.entry.away"),
        Body::CameBack(_) => key!("job.entry.back"),
        Body::LockHandedOver(_) => key!("job.entry.lock"),
        Body::Submitted(_) => key!("job.entry.submit"),
        Body::Finding(_) | Body::OriginDoubt(_) => key!("job.entry.finding"),
        Body::Countersign(_) | Body::CountersignProof(_) => key!("job.entry.countersign"),
        Body::Signature(_) | Body::Drawing(_) => key!("job.entry.signature"),
        Body::VoiceAnswers(_) | Body::VoiceAnswerShown(_) | Body::DeviationByVoice(_) => key!("job.entry.voice"),
        Body::Sealed(_) => key!("job.entry.sealed"),
        Body::DrawnNumber(_) => key!("job.entry.drawn_number"),
    }
}

/// Title of a computed comparison.
pub fn check_title(w: Words, check: &Check) -> &'static str {
    check_key(check.id).map_or(check.id, |key| w.say(key))
}

/// Title of a comparison by its id; empty where there is none.
pub fn check_name(w: Words, id: &str) -> &'static str {
    check_key(id).map_or("", |key| w.say(key))
}

/// The key of a check's title.
fn check_key(id: &str) -> Option<Key> {
    named!(
        id,
        "check.",
        [
            "F01",
            "F02",
            "F03",
            "F03-NEC",
            "F04",
            "F05",
            "F06",
            "F07",
            "F08",
            "F08-AC",
            "F08-ICN",
            "F08-CHANGEOVER",
            "F08-IMPORT",
            "F09",
            "F10",
            "F10-TT",
            "F10-TIME",
            "F10-ISLAND",
            "F11",
            "F11-TYPE",
            "F12",
            "F13",
            "F14",
            "F15",
            "F15-WALL",
            "F15-FLOOR",
            "F16",
            "F17",
            "F17-DRAW",
            "F17-UNBALANCE",
            "F18",
            "F19",
            "F20",
            "F20-TORQUE",
            "F20-GLOVE",
            "STACK-SUM",
            "SUPPLY-BAND"
        ]
    )
}

/// The names of all figures of models in the order of [`MODEL_FIGURES`]: a new one without words does not compile. What fills a field
/// of the design sheet is called as the field is.
const MODEL_NAMES: [Key; MODEL_FIGURES.len()] = {
    let mut names = [key!("design.field.module_wh"); MODEL_FIGURES.len()];
    let mut at = 0;
    while at < MODEL_FIGURES.len() {
        names[at] = match MODEL_FIGURES[at].fills {
            Some(field) => Key::in_room("design.field.", field),
            None => Key::in_room("model.", MODEL_FIGURES[at].key),
        };
        at += 1;
    }
    names
};

/// Name of a maker's figure.
pub fn model_figure(w: Words, figure: &ModelFigure) -> &'static str {
    let at = MODEL_FIGURES.iter().position(|own| own == figure);
    at.map_or("", |at| w.say(MODEL_NAMES[at]))
}

/// Name of a figure of a check or else of a model; a name that has no words is shown with its underscores opened.
pub fn figure(w: Words, name: &str) -> String {
    let known = named!(
        name,
        "figure.",
        [
            "conductor_size",
            "conductor_class",
            "length",
            "temperature",
            "material",
            "resistance_per_km",
            "joints",
            "local_cap",
            "lead_null",
            "reading",
            "circuit_kind",
            "nominal_voltage",
            "sensitive_connected",
            "maker_allows",
            "maker_minimum",
            "test_voltage",
            "arrangement",
            "module_voltage",
            "voltage_spread_max",
            "module_soc",
            "soc_spread_max",
            "resistance",
            "current_max",
            "modules",
            "cells_per_module",
            "cell_voltage_min",
            "cell_voltage_max",
            "window_min",
            "window_max",
            "device_voltage_rating",
            "size_series",
            "power",
            "efficiency",
            "stack_voltage_min",
            "stack_voltage_max",
            "charge_current",
            "fuse_rating",
            "cable_rating",
            "maker_fuse_max",
            "fuse_voltage_rating",
            "breaking_capacity",
            "fault_current",
            "fault_resistance",
            "unit_energy",
            "unit_limit",
            "location_limit",
            "further_demand_above",
            "scope_min",
            "scope_max",
            "energy_elsewhere",
            "locations_apart",
            "no_location_rule",
            "mass",
            "gravity_height",
            "depth",
            "bracket_height",
            "push_factor",
            "bracket_capacity",
            "terminator",
            "expected",
            "floor",
            "voltage_spread",
            "soc_spread",
            "equalising_current",
            "rating_min",
            "next_size",
            "location_energy",
            "largest_unit",
            "weight",
            "bracket_force",
            "signed_force",
            "tipping_factor",
            "sum",
            "anchor_standard",
            "anchor_tested",
            "arc_heat",
            "article_mass",
            "average_power",
            "balanced",
            "bleed_resistance",
            "breaker_sum",
            "breaker_type",
            "busbar_load",
            "busbar_rating",
            "busbar_rule",
            "capacitance",
            "changeover_rating",
            "charge_floor",
            "charge_start",
            "clearing_time",
            "cold_share",
            "consent",
            "control_cap",
            "current",
            "damaged",
            "demand_met",
            "device_rating",
            "direct",
            "discharge_time",
            "disconnection_time",
            "distance_least",
            "draw_current",
            "draw_threshold",
            "drawn_power",
            "drawn_total",
            "drop",
            "drop_limit",
            "drop_method",
            "drop_share",
            "earth_voltage",
            "edge_distance",
            "electrode_max",
            "embedment",
            "enclosed",
            "energy",
            "energy_nominal",
            "exception",
            "far_end",
            "fixings",
            "floor_capacity",
            "glove_class",
            "gravity_distance",
            "health",
            "house_demand",
            "import_current",
            "import_limit",
            "interaction",
            "interaction_curved",
            "inverter_current",
            "inverter_current_max",
            "inverter_peak",
            "inverter_power",
            "island_current",
            "island_fault",
            "least_size",
            "let_through",
            "lever",
            "line_size",
            "load_duty",
            "load_factor",
            "load_power",
            "loop_max",
            "loop_max_cold",
            "loss",
            "main_rating",
            "maker_distance",
            "maker_wait",
            "mechanically_protected",
            "no_smooth_dc",
            "notify_planned",
            "notify_threshold",
            "other_points",
            "panel_breaker",
            "phase_current",
            "phases",
            "place_is_such",
            "power_factor",
            "pressure",
            "protective_kind",
            "protective_size",
            "rcd_kind",
            "rcd_type",
            "rcd_type_least",
            "reactance_per_km",
            "residual_current",
            "residual_device",
            "rule_distance",
            "rule_kind",
            "runtime",
            "runtime_wanted",
            "shear",
            "shear_resistance",
            "simple_separation",
            "size_to_use",
            "source_breaker",
            "source_breaker_least",
            "spacing",
            "standby_power",
            "start_voltage",
            "supply_kind",
            "surge_power",
            "tension",
            "tension_resistance",
            "test_current",
            "test_multiple",
            "threshold_voltage",
            "tool_accuracy",
            "torque_max",
            "torque_min",
            "touch_voltage",
            "transport_mass",
            "transport_points",
            "trip_current",
            "trip_table",
            "trip_time_max",
            "tripped",
            "type_tested",
            "unbalance",
            "unbalance_limit",
            "usable_energy",
            "voltage_factor",
            "wait",
            "width",
            "working_distance",
            "time_limit",
            "band_low",
            "band_high",
            "sharing_strings",
            "feeding_strings",
            "share_before",
            "maker_size",
            "inverter_phases",
            "inverter_line",
            "larger_counts",
        ]
    );
    let own = || MODEL_FIGURES.iter().find(|own| own.key == name).map(|own| model_figure(w, own));
    known.map(|key| w.say(key)).or_else(own).map_or_else(|| name.replace('_', " "), str::to_owned)
}

/// Name of a kind of instrument.
pub fn instrument_kind(w: Words, kind: &str) -> String {
    let known = named!(
        kind,
        "instrument.kind.",
        [
            "multimeter",
            "two-pole-detector",
            "dc-meter",
            "low-ohm",
            "insulation-tester",
            "loop-tester",
            "rcd-tester",
            "earth-tester",
            "torque-wrench",
            "torque-screwdriver",
            "ohmmeter",
            "clamp-meter",
            "level",
            "tape",
            "ir-camera",
            "stopwatch",
        ]
    );
    known.map_or_else(|| kind.replace('-', " "), |key| w.say(key).to_owned())
}

/// The words of a certainty, where they warn.
pub const fn mark(mark: Mark) -> Option<Key> {
    match mark {
        Mark::Sure => None,
        Mark::Check => Some(key!("reason.mark.check")),
        Mark::House => Some(key!("reason.mark.house")),
    }
}

/// Where a computed limit comes from: standard, edition, clause, or a rule of this program's own.
pub fn source(w: Words, source: Source) -> String {
    if source.standard.is_empty() {
        return t!(w, "reason.source.house").to_owned();
    }
    let parts = [source.standard, source.edition, source.clause];
    parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ")
}

/// The name of a place.
pub const fn rules_place(place: RulesPlace) -> Key {
    match place {
        RulesPlace::Us => key!("design.place.us"),
        RulesPlace::Uk => key!("design.place.uk"),
        RulesPlace::Au => key!("design.place.au"),
        RulesPlace::Nz => key!("design.place.nz"),
        RulesPlace::De => key!("design.place.de"),
        RulesPlace::Neutral => key!("design.place.neutral"),
    }
}

/// Rules to choose: a place, or a firm's own version for it.
pub fn rules_name(w: Words, name: RulesName) -> String {
    let place = w.say(rules_place(name.place));
    match name.firm_version {
        Some(version) => t!(w, "design.rules_own", place = place, version = version),
        None => place.to_owned(),
    }
}

/// Whose word a limit is.
pub fn limit_source(w: Words, limit: &LimitInfo) -> Option<String> {
    match limit {
        LimitInfo::Known { source: LimitSource::Method(cited), .. } => Some(cited_by_method(w, cited)),
        LimitInfo::Known { source: LimitSource::Maker, .. } => Some(t!(w, "reason.source.maker").to_owned()),
        LimitInfo::Known { source: LimitSource::Design, .. } => Some(t!(w, "reason.source.design").to_owned()),
        LimitInfo::Known { source: LimitSource::Check(check), .. } => Some(source(w, check.source)),
        LimitInfo::None | LimitInfo::NoMakerFigure { .. } | LimitInfo::InputMissing { .. } => None,
    }
}

/// What a method cites is the name of a standard, or its own rule with or without words behind it.
fn cited_by_method(w: Words, cited: &str) -> String {
    match cited.strip_prefix(HOUSE_RULE) {
        Some(rest) => format!("{}{rest}", t!(w, "reason.source.house")),
        None => cited.to_owned(),
    }
}

/// Digits, a narrow space and the unit, in the prefix given: `0.35 Ω`, `500 MΩ`. All digits that are there and no others.
pub fn quantity(w: Words, quantity: Quantity, prefix: Prefix) -> String {
    /// Places that are exact for every prefix up to mega.
    const PLACES: u32 = 12;
    let sign = w.decimal.sign();
    let long = quantity.format(PLACES, prefix, sign);
    let digits = long.trim_end_matches('0').trim_end_matches(sign).replace('-', "\u{2212}");
    match (quantity.unit, prefix.symbol()) {
        (Unit::Count, _) => digits,
        (unit, prefix) => format!("{digits}\u{202f}{prefix}{}", unit.symbol()),
    }
}

/// A choice, or the word that a code stands for; designations such as TN-S, B or IEC are the same in every language.
pub fn choice(w: Words, word: &str) -> String {
    let known = named!(
        word,
        "design.choice.",
        [
            "no",
            "yes",
            "us_service",
            "separate_pvc",
            "separate_xlpe",
            "core_pvc",
            "core_xlpe",
            "armour_pvc",
            "armour_xlpe",
            "aluminium_pvc",
            "aluminium_xlpe",
            "indoor",
            "attached_garage",
            "detached_garage",
            "outdoor_wall",
            "outdoor_ground",
            "does_not_apply",
            "walls_finished",
            "no_vehicle_reaches",
            "wall_non_combustible",
            "no_room_behind",
            "no_gas_on_site",
            "item_above",
            "surface_above",
            "nothing_above",
            "opposite_clear",
            "opposite_grounded",
            "opposite_live",
            "en_1992_4",
            "aci_318",
            "report_attached",
            "authority_accepted",
            "class_00",
            "class_0",
            "general",
            "selective",
            "bs_7671",
            "type_ii_au",
            "type_ii_nz",
            "type_i",
            "class_a_us",
            "parallel",
            "series",
            "iec_bs",
            "as_nzs",
            "circuit",
            "selv_pelv",
            "pv_array",
            "battery_to_case",
            "heating_element",
            "by_resistance",
            "annex_g",
            "copper",
            "aluminium",
            "distance",
            "prohibition",
            "demand",
            "direct_current",
            "one_phase",
            "three_phases",
            "split_phase",
            "joint_at_inverter",
            "joint_cable",
            "joint_fuse"
        ]
    );
    known.map_or_else(|| codes::designation(word), |key| w.say(key).to_owned())
}

/// A figure of a check: the word that its code stands for, or the quantity.
pub fn figure_value(w: Words, figure: &str, value: Quantity) -> String {
    match codes::word(figure, value.micro) {
        Some(word) => choice(w, word),
        None => quantity(w, value, Prefix::One),
    }
}

/// The limit of a check; where it is a code, by the word of the code.
pub fn check_limit(w: Words, check: &Check) -> Option<String> {
    let known = check.limit?;
    Some(match codes::limited_by(check.id) {
        Some(figure) => limit_shown(w, known.limit, |micro| figure_value(w, figure, Quantity::of(known.unit, micro))),
        None => limit(w, known.limit, known.unit, known.prefix()),
    })
}

/// The prefix in which a reading is usually shown.
pub fn prefix_of(need: &ReadingNeed) -> Prefix {
    need.field().entry
}

/// A limit in one line: "0.1 to 0.5 Ω", "at most 0.5 Ω".
pub fn limit(w: Words, limit: Limit, unit: Unit, prefix: Prefix) -> String {
    limit_shown(w, limit, |micro| quantity(w, Quantity::of(unit, micro), prefix))
}

fn limit_shown(w: Words, limit: Limit, show: impl Fn(i64) -> String) -> String {
    let limit = limit.shown();
    match (limit.at_least, limit.at_most) {
        (Some(least), Some(most)) => t!(w, "reason.limit.between", least = show(least), most = show(most)),
        (Some(least), None) => t!(w, "reason.limit.at_least", least = show(least)),
        (None, Some(most)) => t!(w, "reason.limit.at_most", most = show(most)),
        (None, None) => t!(w, "reason.limit.none").to_owned(),
    }
}

/// A comparison sign before a value.
pub const fn sign(cmp: Cmp) -> &'static str {
    match cmp {
        Cmp::Equal => "",
        Cmp::Less => "< ",
        Cmp::Greater => "> ",
    }
}

/// A recorded reading as it is shown.
pub fn reading(w: Words, need: &ReadingNeed, reading: &Reading) -> String {
    let stored = stored_reading(need, reading);
    let value = stored.value.map(|value| format!("{}{}", sign(stored.cmp), quantity(w, value, prefix_of(need))));
    let mut text = match (reading.quality, value) {
        (ReadingQuality::Ok | ReadingQuality::OutsideSanity, Some(value)) => value,
        (ReadingQuality::OverRange, _) => t!(w, "reason.quality.over_range").to_owned(),
        (ReadingQuality::NotTested, _) => t!(w, "reason.quality.not_tested").to_owned(),
        (ReadingQuality::Ok | ReadingQuality::OutsideSanity, None) => reading.raw.clone(),
    };
    if let Some(micro) = reading.test_voltage {
        let at = quantity(w, Quantity::of(Unit::Volt, micro), Prefix::One);
        let _ = write!(text, " {}", t!(w, "reason.quality.at_voltage", voltage = at));
    }
    text
}

/// The sign of a stored reading.
pub const fn stored_sign(cmp: Cmp) -> Sign {
    match cmp {
        Cmp::Equal => Sign::Equal,
        Cmp::Less => Sign::Less,
        Cmp::Greater => Sign::Greater,
    }
}

/// A recorded fact in one line, without who and when.
pub fn evidence(w: Words, card: &RequirementCard, item: &EvidenceItem) -> String {
    match (&item.body, &card.need) {
        (Body::Reading(own), Requirement::Reading(need)) => {
            let value = reading(w, need, own);
            match &own.instrument {
                Some(instrument) => t!(w, "step.evidence.reading_with", value = value, instrument = instrument.label),
                None => value,
            }
        }
        (Body::Serial(read), _) => {
            t!(w, "step.evidence.serial", serial = read.stored, source = w.say(serial_source(read.source)))
        }
        (Body::Choice(choice), Requirement::Choice(need)) => need
            .options
            .iter()
            .find(|option| option.id == choice.option)
            .map_or_else(|| choice.option.clone(), |option| option.label.in_language(w.lang.code()).to_owned()),
        (Body::Waited(waited), _) => w.span(waited.elapsed_ms / 1_000),
        (Body::Words(words), _) => words.text.clone(),
        (Body::Photo(photo), _) => {
            let origin = w.say(photo_origin(photo.origin));
            t!(w, "step.evidence.photo", origin = origin, size = w.bytes(photo.original.bytes))
        }
        (Body::Confirmation(_), _) => t!(w, "step.evidence.confirmed").to_owned(),
        (body, _) => w.say(entry_kind(body)).to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::i18n::{Decimal, Lang};

    const GERMAN: Words = Words { lang: Lang::De, decimal: Decimal::Comma };

    #[test]
    fn values_stand_in_the_prefix_of_their_box() {
        let point = Words::default();
        assert_eq!(quantity(point, Quantity::of(Unit::Ohm, 80_656), Prefix::One), "0.080656\u{202f}Ω");
        assert_eq!(quantity(GERMAN, Quantity::of(Unit::Ohm, 350_000), Prefix::One), "0,35\u{202f}Ω");
        assert_eq!(quantity(point, Quantity::of(Unit::Ohm, 999_000_000_000_000), Prefix::Mega), "999\u{202f}MΩ");
        assert_eq!(quantity(point, Quantity::of(Unit::Ohm, 1), Prefix::Mega), "0.000000000001\u{202f}MΩ");
        assert_eq!(quantity(point, Quantity::of(Unit::Volt, -51_200_000), Prefix::One), "\u{2212}51.2\u{202f}V");
        assert_eq!(quantity(point, Quantity::of(Unit::Count, 8_000_000), Prefix::One), "8");
        assert_eq!(quantity(point, Quantity::of(Unit::Volt, 500_000_000), Prefix::One), "500\u{202f}V");
    }

    #[test]
    fn a_limit_says_which_side_is_open() {
        let w = Words::default();
        let least = limit(w, Limit::at_least(1_000_000), Unit::Ohm, Prefix::One);
        let most = limit(w, Limit::at_most(1_000_000), Unit::Ohm, Prefix::One);
        assert_ne!(least, most);
        let both = limit(w, Limit::between(1_000_000, 2_000_000), Unit::Ohm, Prefix::One);
        assert!(both.contains("1\u{202f}Ω") && both.contains("2\u{202f}Ω"), "{both}");
    }

    #[test]
    fn a_figure_without_words_is_still_readable() {
        assert_eq!(figure(Words::default(), "shelf_life_left"), "shelf life left");
        assert_ne!(figure(GERMAN, "module_voltage"), figure(Words::default(), "module_voltage"));
        assert_eq!(instrument_kind(Words::default(), "crystal-ball"), "crystal ball");
    }

    #[test]
    fn every_check_of_the_domain_has_a_title() {
        for info in domain::electrical::all() {
            assert!(check_key(info.id).is_some(), "{}", info.id);
            for input in info.inputs {
                assert!(!figure(Words::default(), input.key).is_empty());
                assert_ne!(
                    figure(Words::default(), input.key),
                    input.key.replace('_', " "),
                    "{} has no words",
                    input.key
                );
            }
        }
    }
}
