//! What a method file says. The same structs are read from TOML on the server and from CBOR in the browser.

use crate::electrical::{FieldSpec, Prefix, Unit};
use crate::ids::Hash32;
use crate::job_file::body::{MethodRef, Purpose, StopCause, UnitKind};
use minicbor::{Decode, Encode};

/// A text in each language that the product speaks.
#[derive(Clone, Debug, Default, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct Text {
    /// English; what a translation falls back to.
    #[n(0)]
    pub en: String,
    /// German.
    #[n(1)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub de: String,
    /// Spanish.
    #[n(2)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub es: String,
}

impl Text {
    /// The text in a language given by its two letters; English where there is none.
    pub fn in_language(&self, language: &str) -> &str {
        let text = match language {
            "de" => &self.de,
            "es" => &self.es,
            _ => &self.en,
        };
        if text.is_empty() { &self.en } else { text }
    }
}

/// Millionths of a unit, written in method files as decimal text: `"0.08"`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Encode, Decode)]
#[cbor(transparent)]
pub struct Micro(#[n(0)] pub i64);

/// A plan of work.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct Method {
    /// Stable id.
    #[n(0)]
    pub id: String,
    /// Version; a published version never changes.
    #[n(1)]
    pub version: u32,
    /// What kind of job it is for.
    #[n(2)]
    pub purpose: Purpose,
    /// Its name.
    #[n(3)]
    pub title: Text,
    /// What it covers and what not.
    #[n(4)]
    pub about: Text,
    /// Who reviewed the translations, by language; a caution in a language without a name shows the English beside it.
    #[n(5)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub reviewed: Vec<Reviewed>,
    /// Cautions that stages and steps name.
    #[n(6)]
    #[cfg_attr(feature = "methods", serde(rename = "caution"))]
    pub cautions: Vec<Caution>,
    /// Stages in order.
    #[n(7)]
    #[cfg_attr(feature = "methods", serde(rename = "stage"))]
    pub stages: Vec<Stage>,
    /// Steps in the order in which a person alone would do them.
    #[n(8)]
    #[cfg_attr(feature = "methods", serde(rename = "step"))]
    pub steps: Vec<Step>,
    /// Design figures that the lead enters for this method.
    #[n(9)]
    #[cfg_attr(feature = "methods", serde(rename = "design", default))]
    pub design: Vec<DesignField>,
    /// Which units a job of this method has.
    #[n(10)]
    #[cfg_attr(feature = "methods", serde(rename = "unit"))]
    pub units: Vec<UnitPlan>,
    /// Boards and other enclosures that are worked inside; absent in methods older than this field, whose bytes stay.
    #[n(11)]
    #[cfg_attr(feature = "methods", serde(rename = "board"))]
    pub boards: Option<Vec<Board>>,
}

/// An enclosure with conductors that must be proved dead before anybody works inside.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct Board {
    /// Id within the method.
    #[n(0)]
    pub id: String,
    /// What it is called.
    #[n(1)]
    pub title: Text,
    /// Its conductors; every pair of them has a reading of its own.
    #[n(2)]
    #[cfg_attr(feature = "methods", serde(rename = "conductor"))]
    pub conductors: Vec<Conductor>,
}

/// One conductor of a board.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct Conductor {
    /// Short name: `L1`, `N`, `E`, `plus`.
    #[n(0)]
    pub id: String,
    /// Only there if a choice was made so. Where it is not, no reading with it is asked for.
    #[n(1)]
    pub when: Option<When>,
}

/// What a step does for a board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cbor(index_only)]
pub enum BoardPart {
    /// Proves the tester on a known source, before.
    #[n(0)]
    TesterBefore,
    /// Tests pairs of conductors.
    #[n(1)]
    Dead,
    /// Proves the tester again.
    #[n(2)]
    TesterAfter,
    /// Works inside: stays shut until all three records are there and pass.
    #[n(3)]
    Inside,
    /// Switches off, locks or waits: made again once power could reach the board.
    #[n(4)]
    Isolates,
    /// Takes locks off or switches on: from its first record on power can reach the board.
    #[n(5)]
    Ends,
    /// Makes ready for power, such as covers, polarity and the agreement to switch on: made again once the board was isolated anew.
    #[n(6)]
    BeforePower,
}

/// A step's part at one board.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct BoardDuty {
    /// Board id.
    #[n(0)]
    pub id: String,
    /// Which part.
    #[n(1)]
    pub part: BoardPart,
}

/// A named reviewer of a translation.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct Reviewed {
    /// Two letters.
    #[n(0)]
    pub language: String,
    /// Whose name stands for it.
    #[n(1)]
    pub by: String,
}

/// What can hurt somebody, said before the act.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct Caution {
    /// Id within the method.
    #[n(0)]
    pub id: String,
    /// One or two short sentences.
    #[n(1)]
    pub text: Text,
    /// Must be acknowledged before the step takes evidence.
    #[n(2)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub acknowledge: bool,
}

/// A part of the work.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct Stage {
    /// Id.
    #[n(0)]
    pub id: String,
    /// Name.
    #[n(1)]
    pub title: Text,
    /// Each screen of it says that local code, the manual and licensed practice prevail.
    #[n(2)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub hazardous: bool,
}

/// For which units a step is repeated.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cbor(index_only)]
pub enum Repeat {
    /// Once for each new module.
    #[n(0)]
    Module,
    /// Once for each new unit of any kind.
    #[n(1)]
    Unit,
    /// Once for each new stack; its slot is that of its control unit.
    #[n(2)]
    Stack,
    /// Once for each inverter of the job that was there before.
    #[n(3)]
    ExistingInverter,
}

/// One act.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct Step {
    /// Stable id.
    #[n(0)]
    pub id: String,
    /// Stage id.
    #[n(1)]
    pub stage: String,
    /// What it is called.
    #[n(2)]
    pub title: Text,
    /// What to do, in one to three short sentences.
    #[n(3)]
    pub act: Text,
    /// Steps that depend on it stay shut until it is satisfied.
    #[n(4)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub hold: bool,
    /// Nothing but its evidence opens it.
    #[n(5)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub stop_work: bool,
    /// Repeated for units.
    #[n(6)]
    pub repeat: Option<Repeat>,
    /// Where repeated: the slot before must be satisfied first.
    #[n(7)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub in_order: bool,
    /// Steps that must be satisfied before this one opens. A repeated step on both sides means the same slot.
    #[n(8)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub needs: Vec<String>,
    /// Applies only if a choice was made so.
    #[n(9)]
    pub when: Option<When>,
    /// Caution ids, at most three.
    #[n(10)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub cautions: Vec<String>,
    /// The evidence.
    #[n(11)]
    #[cfg_attr(feature = "methods", serde(rename = "require", default))]
    pub requirements: Vec<Requirement>,
    /// Can hurt somebody: must have a caution and a photo.
    #[n(12)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub safety_critical: bool,
    /// Needs the network operator's consent (granted or not needed) in the job file before it opens.
    #[n(13)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub needs_consent: bool,
    /// Parts that it plays at boards.
    #[n(14)]
    pub boards: Option<Vec<BoardDuty>>,
    /// Its part in tests at a board that is open while it is live. Absent in methods older than this field, whose bytes stay.
    #[n(15)]
    pub live: Option<LiveDuty>,
    /// What it has to do with the grid. Absent in methods older than this field, whose bytes stay.
    #[n(16)]
    pub grid: Option<GridPart>,
    /// Names of terminals whose conductors it takes off. Absent in methods older than this field.
    #[n(17)]
    pub loosens: Option<Vec<String>>,
    /// Names of terminals that it tightens with a torque on record. Absent in methods older than this field.
    #[n(18)]
    pub tightens: Option<Vec<String>>,
}

/// What a step has to do with the public grid: it is set up before anything joins it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cbor(index_only)]
pub enum GridPart {
    /// Sets or reads what the network operator's consent is about.
    #[n(0)]
    Sets,
    /// Lets the inverter run beside the grid.
    #[n(1)]
    Joins,
}

/// What a step does at a board that is open while it is live.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct LiveDuty {
    /// Board id.
    #[n(0)]
    pub id: String,
    /// Which part.
    #[n(1)]
    pub part: LivePart,
}

/// Live tests lie between the step that opens and the one that closes again.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cbor(index_only)]
pub enum LivePart {
    /// Barrier, gear, somebody who knows; then the cover.
    #[n(0)]
    Opens,
    /// Measures inside.
    #[n(1)]
    Tests,
    /// Closes again.
    #[n(2)]
    Closes,
}

/// A condition on a choice made elsewhere.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct When {
    /// Step id of the choice.
    #[n(0)]
    pub step: String,
    /// Requirement id of the choice.
    #[n(1)]
    pub requirement: String,
    /// Any of these options.
    #[n(2)]
    pub is: Vec<String>,
}

/// What a step needs as evidence.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(tag = "kind", rename_all = "kebab-case"))]
pub enum Requirement {
    /// One or more photos.
    #[n(0)]
    Photo(#[n(0)] PhotoNeed),
    /// A measured value.
    #[n(1)]
    Reading(#[n(0)] ReadingNeed),
    /// A serial number of the unit in this slot.
    #[n(2)]
    Serial(#[n(0)] SerialNeed),
    /// A statement ticked by a named person.
    #[n(3)]
    Confirmation(#[n(0)] ConfirmationNeed),
    /// One of a list.
    #[n(4)]
    Choice(#[n(0)] ChoiceNeed),
    /// A span after the steps that this one needs.
    #[n(5)]
    Wait(#[n(0)] WaitNeed),
    /// A computed comparison of what was recorded: no entry of its own.
    #[n(6)]
    Check(#[n(0)] CheckNeed),
    /// A second person of the crew puts their PIN under it.
    #[n(7)]
    Countersign(#[n(0)] CountersignNeed),
    /// A named person draws their signature under a text.
    #[n(8)]
    Signature(#[n(0)] SignatureNeed),
    /// What the equipment calls something, written down.
    #[n(9)]
    Words(#[n(0)] WordsNeed),
}

impl Requirement {
    /// Id within the step.
    pub fn id(&self) -> &str {
        match self {
            Self::Photo(n) => &n.id,
            Self::Reading(n) => &n.id,
            Self::Serial(n) => &n.id,
            Self::Confirmation(n) => &n.id,
            Self::Choice(n) => &n.id,
            Self::Wait(n) => &n.id,
            Self::Check(n) => &n.id,
            Self::Countersign(n) => &n.id,
            Self::Signature(n) => &n.id,
            Self::Words(n) => &n.id,
        }
    }
    /// What the screen and the report call it.
    pub const fn label(&self) -> &Text {
        match self {
            Self::Photo(n) => &n.label,
            Self::Reading(n) => &n.label,
            Self::Serial(n) => &n.label,
            Self::Confirmation(n) => &n.label,
            Self::Choice(n) => &n.label,
            Self::Wait(n) => &n.label,
            Self::Check(n) => &n.label,
            Self::Countersign(n) => &n.label,
            Self::Signature(n) => &n.label,
            Self::Words(n) => &n.label,
        }
    }
    /// The kind's name as method files write it.
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Photo(_) => "photo",
            Self::Reading(_) => "reading",
            Self::Serial(_) => "serial",
            Self::Confirmation(_) => "confirmation",
            Self::Choice(_) => "choice",
            Self::Wait(_) => "wait",
            Self::Check(_) => "check",
            Self::Countersign(_) => "countersign",
            Self::Signature(_) => "signature",
            Self::Words(_) => "words",
        }
    }
}

/// Photos of one subject.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct PhotoNeed {
    /// Id.
    #[n(0)]
    pub id: String,
    /// Name of the picture.
    #[n(1)]
    pub label: Text,
    /// What must be seen in it, one line.
    #[n(2)]
    pub shows: Text,
    /// At least so many.
    #[n(3)]
    #[cfg_attr(feature = "methods", serde(default = "one"))]
    pub count: u16,
    /// Who or what holds instrument, leads and phone, so that one person can take it. Absent in methods older than this field.
    #[n(4)]
    pub held: Option<Text>,
}

#[cfg(feature = "methods")]
const fn one() -> u16 {
    1
}

/// A measured value.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct ReadingNeed {
    /// Id.
    #[n(0)]
    pub id: String,
    /// Name.
    #[n(1)]
    pub label: Text,
    /// Unit in which it is kept.
    #[n(2)]
    pub unit: Unit,
    /// Decimal prefix in which it is usually shown and typed: `m`, `k`, `M` or empty.
    #[n(3)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub prefix: String,
    /// What is plausible at all: a net for typing errors, not a limit.
    #[n(4)]
    pub sanity: (Micro, Micro),
    /// Kind of instrument that must be named; absent when the value is read off the equipment.
    #[n(5)]
    pub instrument: Option<String>,
    /// The limit; absent when the value is recorded without one.
    #[n(6)]
    pub limit: Option<LimitRule>,
    /// The two conductors of the step's board between which it is measured.
    #[n(7)]
    pub pair: Option<(String, String)>,
    /// Limits in place of the usual one, by what was chosen in the same step; the first that fits. Absent in methods older than this
    /// field, whose bytes stay.
    #[n(8)]
    pub by_choice: Option<Vec<ChoiceLimit>>,
}

/// A limit that holds where a choice was made so.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct ChoiceLimit {
    /// The choice, of the reading's own step.
    #[n(0)]
    pub when: When,
    /// The limit then.
    #[n(1)]
    pub limit: LimitRule,
}

/// Where a limit comes from.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(tag = "from", rename_all = "kebab-case"))]
pub enum LimitRule {
    /// Written here, with its source.
    #[n(0)]
    Constant(#[n(0)] ConstantLimit),
    /// The maker's figures of the unit in this slot (or of a kind of unit of the job).
    #[n(1)]
    Model(#[n(0)] ModelLimit),
    /// A named check over the design, the models and other readings.
    #[n(2)]
    Check(#[n(0)] CheckCall),
    /// Figures that the lead entered for this job.
    #[n(3)]
    Design(#[n(0)] DesignLimit),
}

impl LimitRule {
    /// The check that gives the limit.
    pub const fn call(&self) -> Option<&CheckCall> {
        match self {
            Self::Check(call) => Some(call),
            Self::Constant(_) | Self::Model(_) | Self::Design(_) => None,
        }
    }
}

/// A limit by the design: the same key on both sides asks for that very figure.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct DesignLimit {
    /// Key of the least figure.
    #[n(0)]
    pub at_least: Option<String>,
    /// Key of the greatest figure.
    #[n(1)]
    pub at_most: Option<String>,
}

/// How a method file cites a limit that stands in no standard, with or without words behind it. Whoever shows it says it in
/// the reader's language, and as this program's: to a firm its own rules are the house's.
pub const HOUSE_RULE: &str = "house rule";

/// A limit that the method itself states.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct ConstantLimit {
    /// Not less than.
    #[n(0)]
    pub at_least: Option<Micro>,
    /// Not more than.
    #[n(1)]
    pub at_most: Option<Micro>,
    /// Standard with edition and clause, or [`HOUSE_RULE`].
    #[n(2)]
    pub source: String,
}

/// A limit by the maker.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct ModelLimit {
    /// Key of the model's least figure.
    #[n(0)]
    pub at_least: Option<String>,
    /// Key of the model's greatest figure.
    #[n(1)]
    pub at_most: Option<String>,
    /// Kind of unit whose model is asked; absent: the unit in this slot.
    #[n(2)]
    pub unit: Option<UnitKind>,
}

/// A check by its number, with where its inputs come from.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct CheckCall {
    /// Id of the check: `F04`.
    #[n(0)]
    pub check: String,
    /// Input key and its source.
    #[n(1)]
    pub inputs: Vec<InputSource>,
}

/// Where one input of a check comes from.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct InputSource {
    /// The check's input key.
    #[n(0)]
    pub key: String,
    /// `design.KEY`, `model.KEY` (unit in this slot), `model.KIND.KEY`, `count.module`, `reading.STEP.REQ` (same slot,
    /// or the only one), `readings.STEP.REQ` (all slots), `readings-to-here.STEP.REQ` (slots up to this one),
    /// `constant.MICRO`. Step ids hold hyphens, never dots.
    #[n(1)]
    pub from: String,
}

/// The serial of the unit in this slot.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct SerialNeed {
    /// Id.
    #[n(0)]
    pub id: String,
    /// Name.
    #[n(1)]
    pub label: Text,
}

/// Who confirms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(rename_all = "kebab-case"))]
#[cbor(index_only)]
pub enum Confirmer {
    /// The person who is recording.
    #[n(0)]
    Recorder,
    /// Another person of the crew, by name.
    #[n(1)]
    SecondPerson,
    /// The householder, by name.
    #[n(2)]
    Householder,
}

/// A statement.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct ConfirmationNeed {
    /// Id.
    #[n(0)]
    pub id: String,
    /// The statement, in the first person.
    #[n(1)]
    pub label: Text,
    /// Whose.
    #[n(2)]
    #[cfg_attr(feature = "methods", serde(default = "recorder"))]
    pub by: Confirmer,
}

#[cfg(feature = "methods")]
const fn recorder() -> Confirmer {
    Confirmer::Recorder
}

/// A list to choose from.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct ChoiceNeed {
    /// Id.
    #[n(0)]
    pub id: String,
    /// The question.
    #[n(1)]
    pub label: Text,
    /// The options.
    #[n(2)]
    #[cfg_attr(feature = "methods", serde(rename = "option"))]
    pub options: Vec<ChoiceOption>,
}

/// One answer.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct ChoiceOption {
    /// Id.
    #[n(0)]
    pub id: String,
    /// Words.
    #[n(1)]
    pub label: Text,
    /// Choosing it leaves the gate shut: something is wrong and must be put right.
    #[n(2)]
    #[cfg_attr(feature = "methods", serde(default))]
    pub fails: bool,
    /// Choosing it stops all work on the job until a lead has recorded how it was resolved.
    #[n(3)]
    pub stops: Option<StopCause>,
}

/// A wait.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct WaitNeed {
    /// Id.
    #[n(0)]
    pub id: String,
    /// What is waited for.
    #[n(1)]
    pub label: Text,
    /// Seconds by the method itself, as a floor.
    #[n(2)]
    pub seconds: Option<u32>,
    /// Key of the maker's time, seconds; the longer one counts, and a missing figure is not determined.
    #[n(3)]
    pub model: Option<String>,
    /// Kind of unit whose model is asked.
    #[n(4)]
    pub unit: Option<UnitKind>,
    /// A reading of the same step, in seconds, such as the time on a label: it lengthens the wait and never shortens it.
    #[n(5)]
    pub reading: Option<String>,
    /// Key of a figure of the job's design, seconds: where it is known, it lengthens the wait and never shortens it.
    #[n(6)]
    pub design: Option<String>,
}

/// A computed comparison.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct CheckNeed {
    /// Id.
    #[n(0)]
    pub id: String,
    /// Name.
    #[n(1)]
    pub label: Text,
    /// The check and its inputs.
    #[n(2)]
    pub call: CheckCall,
}

/// A countersignature.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct CountersignNeed {
    /// Id.
    #[n(0)]
    pub id: String,
    /// The statement that the second person puts their PIN under, in the first person.
    #[n(1)]
    pub label: Text,
    /// Kind of ticket that they must hold, as assignments write it.
    #[n(2)]
    pub ticket: Option<String>,
}

/// A drawn signature.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct SignatureNeed {
    /// Id.
    #[n(0)]
    pub id: String,
    /// What is signed, in the first person.
    #[n(1)]
    pub label: Text,
    /// Whose.
    #[n(2)]
    pub by: Confirmer,
}

/// Words to be written down as the equipment shows them: 1 to [`crate::bounds::NAME_CHARS_MAX`] characters.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct WordsNeed {
    /// Id.
    #[n(0)]
    pub id: String,
    /// What is asked for.
    #[n(1)]
    pub label: Text,
}

/// A figure that the lead enters.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct DesignField {
    /// Key, as `design.KEY` names it.
    #[n(0)]
    pub key: String,
    /// Name.
    #[n(1)]
    pub label: Text,
    /// Unit.
    #[n(2)]
    pub unit: Unit,
    /// What is plausible.
    #[n(3)]
    pub sanity: (Micro, Micro),
    /// Proposed at first.
    #[n(4)]
    pub proposal: Option<Micro>,
}

/// Which units a job of this method has.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cfg_attr(feature = "methods", derive(serde::Deserialize), serde(deny_unknown_fields))]
#[cbor(map)]
pub struct UnitPlan {
    /// Kind.
    #[n(0)]
    pub unit: UnitKind,
    /// At least.
    #[n(1)]
    pub least: u16,
    /// At most.
    #[n(2)]
    pub most: u16,
    /// New in this job, or there before.
    #[n(3)]
    pub new: bool,
}

impl Method {
    /// Whose name stands for the words in a language (two letters); `None` where nobody's does.
    pub fn reviewer(&self, language: &str) -> Option<&str> {
        self.reviewed.iter().find(|reviewed| reviewed.language == language).map(|reviewed| reviewed.by.as_str())
    }
    /// The step of an id.
    pub fn step(&self, id: &str) -> Option<&Step> {
        self.steps.iter().find(|step| step.id == id)
    }
    /// The stage of an id.
    pub fn stage(&self, id: &str) -> Option<&Stage> {
        self.stages.iter().find(|stage| stage.id == id)
    }
    /// A plan of work without work: stands in while a job's own is not here, so that people, day and address still fold.
    pub fn without_work() -> Self {
        Self {
            id: String::new(),
            version: 0,
            purpose: Purpose::Service,
            title: Text::default(),
            about: Text::default(),
            reviewed: Vec::new(),
            cautions: Vec::new(),
            stages: Vec::new(),
            steps: Vec::new(),
            design: Vec::new(),
            units: Vec::new(),
            boards: None,
        }
    }
    /// The caution of an id.
    pub fn caution(&self, id: &str) -> Option<&Caution> {
        self.cautions.iter().find(|caution| caution.id == id)
    }
    /// The method's CBOR: what travels to browsers and what is pinned by hash.
    pub fn to_bytes(&self) -> Vec<u8> {
        crate::wire::to_bytes(self)
    }
    /// Reads the CBOR of a method.
    ///
    /// # Errors
    /// Not the bytes of a method.
    pub fn from_bytes(bytes: &[u8]) -> Result<Self, minicbor::decode::Error> {
        crate::wire::from_bytes(bytes)
    }
    /// What a job pins.
    pub fn reference(&self) -> MethodRef {
        MethodRef { id: self.id.clone(), version: self.version, hash: Hash32::sha256(&self.to_bytes()) }
    }
}

impl ReadingNeed {
    /// The usual limit and those by choice.
    pub fn limits(&self) -> impl Iterator<Item = &LimitRule> {
        self.limit.iter().chain(self.by_choice.iter().flatten().map(|own| &own.limit))
    }
    /// The box that it is typed into.
    pub fn field(&self) -> FieldSpec {
        let prefix = match self.prefix.as_str() {
            "µ" => Prefix::Micro,
            "m" => Prefix::Milli,
            "k" => Prefix::Kilo,
            "M" => Prefix::Mega,
            _ => Prefix::One,
        };
        FieldSpec::plain(self.unit, prefix, self.sanity.0.0, self.sanity.1.0)
    }
}

impl Method {
    /// The board of an id.
    pub fn board(&self, id: &str) -> Option<&Board> {
        self.boards().iter().find(|board| board.id == id)
    }
    /// The conductors between which a step that proves dead reads; none for any other reading.
    pub fn conductors_of<'m>(&'m self, step: &'m Step, need: &'m ReadingNeed) -> impl Iterator<Item = &'m Conductor> {
        let of_step = self.boards().iter().filter(|board| step.is_part(&board.id, BoardPart::Dead));
        let board = of_step.into_iter().find(|board| need.pair.as_ref().is_some_and(|pair| board.has_pair(pair)));
        let is_own = |conductor: &&Conductor| {
            need.pair.as_ref().is_some_and(|(one, other)| conductor.id == *one || conductor.id == *other)
        };
        board.into_iter().flat_map(|board| &board.conductors).filter(is_own)
    }
    /// All boards.
    pub fn boards(&self) -> &[Board] {
        self.boards.as_deref().unwrap_or_default()
    }
}

impl Board {
    /// Whether two different conductors of it are these.
    pub fn has_pair(&self, (one, other): &(String, String)) -> bool {
        let has = |id: &String| self.conductors.iter().any(|conductor| conductor.id == *id);
        one != other && has(one) && has(other)
    }
}

impl Step {
    /// Whether it plays a part at a board.
    pub fn is_part(&self, board: &str, part: BoardPart) -> bool {
        self.duties().iter().any(|duty| duty.id == board && duty.part == part)
    }
    /// Whether it has this part in live tests at a board.
    pub fn is_live(&self, board: &str, part: LivePart) -> bool {
        self.live.as_ref().is_some_and(|duty| duty.id == board && duty.part == part)
    }
    /// Its parts at boards.
    pub fn duties(&self) -> &[BoardDuty] {
        self.boards.as_deref().unwrap_or_default()
    }
    /// A requirement of this step.
    pub fn requirement(&self, id: &str) -> Option<&Requirement> {
        self.requirements.iter().find(|requirement| requirement.id() == id)
    }
}
