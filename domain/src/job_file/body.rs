//! What an entry says. Kinds are append-only: a number is never given a second meaning.
//!
//! Names, addresses, free text and drawings are bodies of kinds of their own ([`Body::SiteDetails`], [`Body::Remark`]),
//! so that they can be erased and the rest of the file still folds.

pub use super::origin::{DoubtCode, OriginDoubt};
pub use super::sealing::{DrawnNumber, Sealed};
pub use super::vouched::{
    Countersign, CountersignProof, DeviationByVoice, Drawing, Signature, VoiceAnswer, VoiceAnswerShown, VoiceAnswers,
};
use crate::ids::{CaptureId, EntryId, Hash32, InstrumentId, ModelId, PersonId, SiteId};
use minicbor::{Decode, Encode};

/// A place in a job where evidence goes: a step, its repetition and one of its requirements.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(map)]
pub struct Place {
    /// Step id of the pinned method.
    #[n(0)]
    pub step: String,
    /// Slot of the unit that the step is repeated for; 0 where it is not repeated.
    #[n(1)]
    pub slot: u16,
    /// Requirement id within the step; empty for the step as a whole.
    #[n(2)]
    pub requirement: String,
}

impl Place {
    /// A place.
    pub fn of(step: &str, slot: u16, requirement: &str) -> Self {
        Self { step: step.into(), slot, requirement: requirement.into() }
    }
}

/// What a visit is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum Purpose {
    /// First installation.
    #[n(0)]
    Install,
    /// More modules on an existing battery.
    #[n(1)]
    Extend,
    /// Routine visit.
    #[n(2)]
    Service,
    /// Something failed.
    #[n(3)]
    Repair,
    /// One unit for another.
    #[n(4)]
    Swap,
    /// The battery leaves.
    #[n(5)]
    TakeOut,
}

/// A method, its version and the hash of its bytes: what a job pins at creation.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(map)]
pub struct MethodRef {
    /// Stable id.
    #[n(0)]
    pub id: String,
    /// Version; immutable once published.
    #[n(1)]
    pub version: u32,
    /// SHA-256 of the method's CBOR.
    #[n(2)]
    pub hash: Hash32,
}

/// Opens a job file.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct JobPlanned {
    /// What for.
    #[n(0)]
    pub purpose: Purpose,
    /// Where.
    #[n(1)]
    pub site: SiteId,
    /// By which plan of work.
    #[n(2)]
    pub method: MethodRef,
    /// Rule set id and version that verdicts of this job use.
    #[n(3)]
    pub rule_set: String,
}

/// What an item of the catalogue is.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Encode, Decode, serde::Serialize, serde::Deserialize,
)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum UnitKind {
    /// A battery module.
    #[n(0)]
    Module,
    /// The unit that manages a stack of modules.
    #[n(1)]
    ControlUnit,
    /// Inverter or charger.
    #[n(2)]
    Inverter,
    /// Unit that separates the house from the grid.
    #[n(3)]
    Changeover,
    /// Energy meter or current sensor.
    #[n(4)]
    Meter,
    /// Communication gateway.
    #[n(5)]
    Gateway,
}

/// A catalogue item as it was when the job pinned it.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(map)]
pub struct ModelSnapshot {
    /// Catalogue id.
    #[n(0)]
    pub model: ModelId,
    /// Catalogue version.
    #[n(1)]
    pub version: u32,
    /// What it is.
    #[n(2)]
    pub kind: UnitKind,
    /// Maker's name.
    #[n(3)]
    pub maker: String,
    /// Model name.
    #[n(4)]
    pub name: String,
    /// GTIN, 14 digits, where it has one.
    #[n(5)]
    pub gtin: Option<String>,
    /// Prefix that the maker's serials begin with; empty when unknown.
    #[n(6)]
    pub serial_prefix: String,
    /// Least and greatest number of characters of a serial; 0 and 0 when unknown.
    #[n(7)]
    pub serial_length: (u16, u16),
    /// The maker's figures in millionths of the SI unit that the key names, sorted by key.
    #[n(8)]
    pub values: Vec<(String, i64)>,
}

impl ModelSnapshot {
    /// One of the maker's figures.
    pub fn value(&self, key: &str) -> Option<i64> {
        self.values.iter().find(|(k, _)| k == key).map(|(_, v)| *v)
    }
}

/// A place for one unit.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(map)]
pub struct Slot {
    /// From 1, unique in the job; never reused.
    #[n(0)]
    pub number: u16,
    /// Index into [`Equipment::models`].
    #[n(1)]
    pub model: u16,
    /// Part of the job (true), or there before (false): an existing inverter is not new.
    #[n(2)]
    pub new: bool,
}

/// Which units the job has, in which places.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(map)]
pub struct Equipment {
    /// Pinned catalogue items.
    #[n(0)]
    pub models: Vec<ModelSnapshot>,
    /// Places, bottom to top for modules.
    #[n(1)]
    pub slots: Vec<Slot>,
}

/// Design figures in millionths of the SI unit that the key names, sorted by key.
#[derive(Clone, Debug, Default, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct DesignInputs {
    /// Key and figure.
    #[n(0)]
    pub values: Vec<(String, i64)>,
}

/// Whether the network operator's consent is there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum ConsentState {
    /// Asked for and not yet answered.
    #[n(0)]
    Waiting,
    /// Granted under the reference given.
    #[n(1)]
    Granted,
    /// The route needs notice afterwards only.
    #[n(2)]
    NotNeeded,
    /// Refused.
    #[n(3)]
    Refused,
}

/// Consent of the network operator.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(map)]
pub struct Consent {
    /// Where it stands.
    #[n(0)]
    pub state: ConsentState,
    /// The operator's reference.
    #[n(1)]
    pub reference: String,
}

/// Personal data of a site; erasable.
#[derive(Clone, Debug, Default, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(map)]
pub struct SiteDetails {
    /// Householder's name.
    #[n(0)]
    pub householder: String,
    /// Street and house.
    #[n(1)]
    pub street: String,
    /// Town with postcode.
    #[n(2)]
    pub town: String,
    /// Telephone.
    #[n(3)]
    pub phone: String,
    /// E-mail.
    #[n(4)]
    pub email: String,
    /// Number of the connection point as the network operator writes it.
    #[n(5)]
    pub grid_point: String,
    /// How to get in, dogs, parking.
    #[n(6)]
    pub access: String,
    /// IANA time zone of the site.
    #[n(7)]
    pub zone: String,
}

/// When the crew is to be there, in the site's local time.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(map)]
pub struct Schedule {
    /// `YYYY-MM-DD`.
    #[n(0)]
    pub day: String,
    /// `HH:MM`, empty when open.
    #[n(1)]
    pub start: String,
}

/// Role in a job.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum CrewRole {
    /// Plans, allows deviations, reviews.
    #[n(0)]
    Lead,
    /// Works and records.
    #[n(1)]
    Technician,
}

/// A ticket as it stood at assignment.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(map)]
pub struct Ticket {
    /// What it permits.
    #[n(0)]
    pub kind: String,
    /// Last valid day, `YYYY-MM-DD`; empty when it does not end.
    #[n(1)]
    pub expires: String,
}

/// One person on the job.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(map)]
pub struct Assigned {
    /// Who.
    #[n(0)]
    pub person: PersonId,
    /// As what.
    #[n(1)]
    pub role: CrewRole,
    /// The tickets that matter.
    #[n(2)]
    pub tickets: Vec<Ticket>,
}

/// Everybody on the job; replaces the assignment before it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Assignment {
    /// The crew.
    #[n(0)]
    pub crew: Vec<Assigned>,
}

/// Type of a photo file by its leading bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum MediaType {
    /// JPEG.
    #[n(0)]
    Jpeg,
    /// PNG.
    #[n(1)]
    Png,
    /// WebP.
    #[n(2)]
    Webp,
    /// HEIF family: kept and named, not shown.
    #[n(3)]
    Heif,
}

/// One photo file by its exact bytes.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct PhotoFile {
    /// SHA-256 of the bytes.
    #[n(0)]
    pub hash: Hash32,
    /// How many bytes.
    #[n(1)]
    pub bytes: u64,
    /// Pixels across as stored; 0 when unknown.
    #[n(2)]
    pub width: u32,
    /// Pixels down as stored; 0 when unknown.
    #[n(3)]
    pub height: u32,
    /// Type.
    #[n(4)]
    pub media: MediaType,
}

/// Where a photo came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum PhotoOrigin {
    /// Taken for this place: the file is not older than the moment the chooser opened.
    #[n(0)]
    Camera,
    /// Chosen from what was there: the time of capture is not vouched for.
    #[n(1)]
    Imported,
}

/// A photo as evidence.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Photo {
    /// What it shows.
    #[n(0)]
    pub at: Place,
    /// The act of capture; a retry has the same.
    #[n(1)]
    pub capture: CaptureId,
    /// The untouched file.
    #[n(2)]
    pub original: PhotoFile,
    /// Upright, small, without metadata; absent where the device could not make one.
    #[n(3)]
    pub preview: Option<PhotoFile>,
    /// Device clock when it was taken, milliseconds since 1970 UTC: a claim.
    #[n(4)]
    pub taken_ms: u64,
    /// Camera or gallery.
    #[n(5)]
    pub origin: PhotoOrigin,
    /// The entry that this one replaces.
    #[n(6)]
    pub corrects: Option<EntryId>,
    /// Kept by its maker against a warning: shown at review.
    #[n(7)]
    pub kept_anyway: bool,
}

/// The instrument as it stood when it was used.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct InstrumentSnapshot {
    /// Which.
    #[n(0)]
    pub id: InstrumentId,
    /// Kind, as methods name it (`low-ohm`, `dc-meter`…).
    #[n(1)]
    pub kind: String,
    /// Label on the case.
    #[n(2)]
    pub label: String,
    /// Last day of its calibration, `YYYY-MM-DD`; empty when unknown.
    #[n(3)]
    pub calibration_due: String,
}

/// How a typed reading was understood (codes of [`crate::electrical::reading`], kept as data).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(index_only)]
pub enum ReadingQuality {
    /// A value.
    #[n(0)]
    Ok,
    /// Beyond the range of the instrument.
    #[n(1)]
    OverRange,
    /// The person said that it was not measured.
    #[n(2)]
    NotTested,
    /// Outside what is plausible, and kept when asked again.
    #[n(3)]
    OutsideSanity,
}

/// Comparison sign of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(index_only)]
pub enum Sign {
    /// Exactly.
    #[n(0)]
    Equal,
    /// Less than.
    #[n(1)]
    Less,
    /// More than.
    #[n(2)]
    Greater,
}

/// A measured value.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Reading {
    /// Where.
    #[n(0)]
    pub at: Place,
    /// As it was typed, byte for byte.
    #[n(1)]
    pub raw: String,
    /// Millionths of the unit; absent when there is no value.
    #[n(2)]
    pub micro: Option<i64>,
    /// [`crate::electrical::units::Unit::code`].
    #[n(3)]
    pub unit: u8,
    /// Comparison sign.
    #[n(4)]
    pub sign: Sign,
    /// How it was understood.
    #[n(5)]
    pub quality: ReadingQuality,
    /// With what.
    #[n(6)]
    pub instrument: Option<InstrumentSnapshot>,
    /// The entry that this one replaces.
    #[n(7)]
    pub corrects: Option<EntryId>,
    /// Voltage that an insulation tester applied, millionths of a volt.
    #[n(8)]
    pub test_voltage: Option<i64>,
}

/// How a serial came in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum SerialSource {
    /// Read by the camera.
    #[n(0)]
    Camera,
    /// A scanner that types.
    #[n(1)]
    Wedge,
    /// By hand, twice.
    #[n(2)]
    Typed,
}

/// A serial number.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct SerialRead {
    /// Where.
    #[n(0)]
    pub at: Place,
    /// As it was read, byte for byte.
    #[n(1)]
    pub raw: String,
    /// The serial as printed.
    #[n(2)]
    pub stored: String,
    /// How it came in.
    #[n(3)]
    pub source: SerialSource,
    /// GTIN that the carrier named.
    #[n(4)]
    pub gtin: Option<String>,
    /// Lot that the carrier named.
    #[n(5)]
    pub lot: Option<String>,
    /// The entry that this one replaces.
    #[n(6)]
    pub corrects: Option<EntryId>,
}

/// A statement ticked by a named person.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Confirmation {
    /// Where.
    #[n(0)]
    pub at: Place,
    /// SHA-256 of the statement as shown, in the language shown.
    #[n(1)]
    pub statement: Hash32,
    /// Who confirms, when it is another person of the crew.
    #[n(2)]
    pub person: Option<PersonId>,
    /// The remark that holds the name, when it is somebody outside the firm.
    #[n(3)]
    pub named_in: Option<EntryId>,
    /// The entry that this one replaces.
    #[n(4)]
    pub corrects: Option<EntryId>,
}

/// One of a list.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Choice {
    /// Where.
    #[n(0)]
    pub at: Place,
    /// Option id.
    #[n(1)]
    pub option: String,
    /// The entry that this one replaces.
    #[n(2)]
    pub corrects: Option<EntryId>,
}

/// What the equipment calls something, letter by letter: a profile, a firmware version.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Words {
    /// Where.
    #[n(0)]
    pub at: Place,
    /// The words.
    #[n(1)]
    pub text: String,
    /// The entry that this one replaces.
    #[n(2)]
    pub corrects: Option<EntryId>,
}

/// A span that was waited.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Waited {
    /// Where.
    #[n(0)]
    pub at: Place,
    /// Milliseconds of the page's monotonic clock while it was awake.
    #[n(1)]
    pub elapsed_ms: u64,
    /// The entry that this one replaces.
    #[n(2)]
    pub corrects: Option<EntryId>,
}

/// Free text; erasable.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Remark {
    /// What it is about, when it is about a place.
    #[n(0)]
    pub at: Option<Place>,
    /// The words.
    #[n(1)]
    pub text: String,
}

/// Own evidence taken back.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Retraction {
    /// What is taken back.
    #[n(0)]
    pub target: EntryId,
    /// Why.
    #[n(1)]
    pub remark: Option<EntryId>,
}

/// A departure that somebody asks to be allowed.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct DeviationAsked {
    /// From which requirement.
    #[n(0)]
    pub at: Place,
    /// Why.
    #[n(1)]
    pub remark: EntryId,
    /// What it looks like.
    #[n(2)]
    pub photo: PhotoFile,
    /// Its preview.
    #[n(3)]
    pub preview: Option<PhotoFile>,
}

/// The lead's answer.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct DeviationDecided {
    /// Which request.
    #[n(0)]
    pub asked: EntryId,
    /// Allowed or not.
    #[n(1)]
    pub allowed: bool,
    /// Why.
    #[n(2)]
    pub remark: Option<EntryId>,
}

/// Why work was stopped.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum StopCause {
    /// Case damaged, pierced, wet or dropped.
    #[n(0)]
    Damage,
    /// Swelling, heat, hiss or smell.
    #[n(1)]
    HeatOrSmell,
    /// An alarm at power-up.
    #[n(2)]
    Alarm,
    /// Somebody was hurt or nearly.
    #[n(3)]
    Injury,
    /// Anything else; the remark says what.
    #[n(4)]
    Other,
}

/// Work is stopped until a lead says how it was resolved.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct StopWork {
    /// Why.
    #[n(0)]
    pub cause: StopCause,
    /// Where the crew was.
    #[n(1)]
    pub at: Option<Place>,
    /// In words.
    #[n(2)]
    pub remark: Option<EntryId>,
}

/// How a stop was resolved.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct StopResolved {
    /// Which stop.
    #[n(0)]
    pub stop: EntryId,
    /// How.
    #[n(1)]
    pub remark: EntryId,
}

/// How the site was left.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum LeftAs {
    /// Every source isolated and locked, covers closed.
    #[n(0)]
    IsolatedAndLocked,
    /// Nothing connected yet, units secured and covered.
    #[n(1)]
    NotConnected,
    /// Running as before the work.
    #[n(2)]
    RunningAsBefore,
}

/// The crew leaves before the end.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Paused {
    /// In which state.
    #[n(0)]
    pub left_as: LeftAs,
    /// In words.
    #[n(1)]
    pub remark: Option<EntryId>,
}

/// A lock goes from the one who put it on to another person, with its key.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct LockHandedOver {
    /// Who has it now.
    #[n(0)]
    pub to: PersonId,
}

/// An entry without content of its own.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Plain {}

/// A place must be done again.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Returned {
    /// Which; an empty requirement means the whole step.
    #[n(0)]
    pub at: Place,
    /// Why.
    #[n(1)]
    pub remark: EntryId,
}

/// A decision about one entry, with its reason.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Settled {
    /// Which entry.
    #[n(0)]
    pub entry: EntryId,
    /// Why.
    #[n(1)]
    pub remark: EntryId,
}

/// A named photo will not come.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct PhotoAbsent {
    /// Which file.
    #[n(0)]
    pub hash: Hash32,
    /// Why.
    #[n(1)]
    pub remark: EntryId,
}

/// Cautions that were read before a step.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct CautionsRead {
    /// Step and slot; the requirement is empty.
    #[n(0)]
    pub at: Place,
    /// Caution ids of the method.
    #[n(1)]
    pub cautions: Vec<String>,
}

/// What only the server can know.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Encode, Decode, serde::Serialize, serde::Deserialize)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum FindingCode {
    /// The same serial is in another job of the firm.
    #[n(0)]
    SerialElsewhere,
    /// The very same photo bytes are in another job of the firm.
    #[n(1)]
    PhotoElsewhere,
    /// A device's chain has two entries after one.
    #[n(2)]
    ForkedChain,
    /// The preview does not show what the original shows.
    #[n(3)]
    PreviewDiffers,
    /// The PIN under a countersignature was that of the person.
    #[n(4)]
    CountersignConfirmed,
    /// The PIN under a countersignature was wrong, or tried too often.
    #[n(5)]
    CountersignWrong,
}

/// An entry by the server's own device.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Finding {
    /// What.
    #[n(0)]
    pub code: FindingCode,
    /// About which entry.
    #[n(1)]
    pub about: EntryId,
    /// The other entry.
    #[n(2)]
    pub other: Option<EntryId>,
}

macro_rules! bodies {
    ($($(#[$doc:meta])* $number:literal $name:ident($content:ty) $must:literal;)*) => {
        /// The content of an entry.
        #[derive(Clone, Debug, PartialEq, Eq)]
        pub enum Body {
            $($(#[$doc])* $name($content),)*
        }
        impl Body {
            /// The number that the header carries.
            pub const fn kind(&self) -> u32 { match self { $(Self::$name(_) => $number,)* } }
            /// Whether an app that does not know this kind must shut the job's gates.
            pub const fn must_understand(&self) -> bool { match self { $(Self::$name(_) => $must,)* } }
            /// The body's bytes.
            pub fn to_bytes(&self) -> Vec<u8> { match self { $(Self::$name(content) => crate::wire::to_bytes(content),)* } }
            /// Reads the body of a kind; `None` for a kind that this app does not know.
            pub fn of(kind: u32, bytes: &[u8]) -> Option<Result<Self, minicbor::decode::Error>> {
                match kind {
                    $($number => Some(crate::wire::from_bytes(bytes).map(Self::$name)),)*
                    _ => None,
                }
            }
            /// Every known kind with its name, for the table in the docs and for its test.
            pub const KINDS: &'static [(u32, &'static str)] = &[$(($number, stringify!($name)),)*];
        }
    };
}

bodies! {
    /// Opens the file.
    10 JobPlanned(JobPlanned) true;
    /// Units and their places.
    11 Equipment(Equipment) true;
    /// Figures of the design.
    12 DesignInputs(DesignInputs) true;
    /// The network operator's word.
    13 Consent(Consent) true;
    /// Personal data of the site.
    14 SiteDetails(SiteDetails) false;
    /// Day and hour.
    15 Schedule(Schedule) false;
    /// The crew.
    16 Assignment(Assignment) true;
    /// The job will not be done.
    17 Withdrawn(Plain) true;
    /// Photo evidence.
    20 Photo(Photo) true;
    /// A reading.
    21 Reading(Reading) true;
    /// A serial.
    22 Serial(SerialRead) true;
    /// A confirmation.
    23 Confirmation(Confirmation) true;
    /// A choice.
    24 Choice(Choice) true;
    /// A wait.
    25 Waited(Waited) true;
    /// Free text.
    26 Remark(Remark) false;
    /// Evidence taken back.
    28 Retraction(Retraction) true;
    /// Cautions read.
    29 CautionsRead(CautionsRead) true;
    /// A departure asked for.
    30 DeviationAsked(DeviationAsked) true;
    /// A departure decided.
    31 DeviationDecided(DeviationDecided) true;
    /// Stop work.
    32 StopWork(StopWork) true;
    /// A stop resolved.
    33 StopResolved(StopResolved) true;
    /// The crew left.
    34 Paused(Paused) true;
    /// The crew is back.
    35 Resumed(Plain) true;
    /// Ready for review.
    36 Submitted(Plain) true;
    /// To be done again.
    37 Returned(Returned) true;
    /// Review passed.
    38 Passed(Plain) true;
    /// A breach dealt with.
    39 BreachSettled(Settled) true;
    /// A photo that will not come.
    40 PhotoAbsent(PhotoAbsent) false;
    /// A second person's word.
    41 Countersign(Countersign) true;
    /// Its sealed PIN.
    42 CountersignProof(CountersignProof) false;
    /// A drawn signature.
    43 Signature(Signature) true;
    /// Its drawing.
    44 Drawing(Drawing) false;
    /// Hashes of answers for departures by voice.
    45 VoiceAnswers(VoiceAnswers) false;
    /// An answer shown to a lead.
    46 VoiceAnswerShown(VoiceAnswerShown) false;
    /// A departure allowed by voice.
    47 DeviationByVoice(DeviationByVoice) true;
    /// The server's finding.
    50 Finding(Finding) false;
    /// The job is sealed.
    51 Sealed(Sealed) false;
    /// A number of the server's, written by a device.
    52 DrawnNumber(DrawnNumber) false;
    /// The server's doubt about where an entry came from.
    56 OriginDoubt(OriginDoubt) false;
    /// Words of the equipment.
    57 Words(Words) true;
    /// One of several leaves the site; the others work on.
    58 WentAway(Plain) true;
    /// Who had left the others is back with them.
    59 CameBack(Plain) true;
    /// A lock changes hands.
    60 LockHandedOver(LockHandedOver) true;
}

impl Body {
    /// Kind of [`CountersignProof`]: its entry still stands once the body was erased.
    pub const COUNTERSIGN_PROOF: u32 = 42;
    /// Kind of [`Drawing`]: likewise.
    pub const DRAWING: u32 = 44;

    /// The place that this body is evidence for.
    pub const fn evidence_place(&self) -> Option<&Place> {
        match self {
            Self::Photo(b) => Some(&b.at),
            Self::Reading(b) => Some(&b.at),
            Self::Serial(b) => Some(&b.at),
            Self::Confirmation(b) => Some(&b.at),
            Self::Choice(b) => Some(&b.at),
            Self::Waited(b) => Some(&b.at),
            Self::Words(b) => Some(&b.at),
            Self::Countersign(b) => Some(&b.at),
            Self::Signature(b) => Some(&b.at),
            Self::JobPlanned(_)
            | Self::Equipment(_)
            | Self::DesignInputs(_)
            | Self::Consent(_)
            | Self::SiteDetails(_)
            | Self::Schedule(_)
            | Self::Assignment(_)
            | Self::Withdrawn(_)
            | Self::Remark(_)
            | Self::Retraction(_)
            | Self::CautionsRead(_)
            | Self::DeviationAsked(_)
            | Self::DeviationDecided(_)
            | Self::StopWork(_)
            | Self::StopResolved(_)
            | Self::Paused(_)
            | Self::Resumed(_)
            | Self::Submitted(_)
            | Self::Returned(_)
            | Self::Passed(_)
            | Self::BreachSettled(_)
            | Self::PhotoAbsent(_)
            | Self::CountersignProof(_)
            | Self::Drawing(_)
            | Self::VoiceAnswers(_)
            | Self::VoiceAnswerShown(_)
            | Self::DeviationByVoice(_)
            | Self::Finding(_)
            | Self::Sealed(_)
            | Self::DrawnNumber(_)
            | Self::OriginDoubt(_)
            | Self::WentAway(_)
            | Self::CameBack(_)
            | Self::LockHandedOver(_) => None,
        }
    }

    /// The entry that this body replaces.
    pub const fn corrects(&self) -> Option<EntryId> {
        match self {
            Self::Photo(b) => b.corrects,
            Self::Reading(b) => b.corrects,
            Self::Serial(b) => b.corrects,
            Self::Confirmation(b) => b.corrects,
            Self::Choice(b) => b.corrects,
            Self::Waited(b) => b.corrects,
            Self::Words(b) => b.corrects,
            Self::Countersign(b) => b.corrects,
            Self::Signature(b) => b.corrects,
            Self::Retraction(b) => Some(b.target),
            Self::JobPlanned(_)
            | Self::Equipment(_)
            | Self::DesignInputs(_)
            | Self::Consent(_)
            | Self::SiteDetails(_)
            | Self::Schedule(_)
            | Self::Assignment(_)
            | Self::Withdrawn(_)
            | Self::Remark(_)
            | Self::CautionsRead(_)
            | Self::DeviationAsked(_)
            | Self::DeviationDecided(_)
            | Self::StopWork(_)
            | Self::StopResolved(_)
            | Self::Paused(_)
            | Self::Resumed(_)
            | Self::Submitted(_)
            | Self::Returned(_)
            | Self::Passed(_)
            | Self::BreachSettled(_)
            | Self::PhotoAbsent(_)
            | Self::CountersignProof(_)
            | Self::Drawing(_)
            | Self::VoiceAnswers(_)
            | Self::VoiceAnswerShown(_)
            | Self::DeviationByVoice(_)
            | Self::Finding(_)
            | Self::Sealed(_)
            | Self::DrawnNumber(_)
            | Self::OriginDoubt(_)
            | Self::WentAway(_)
            | Self::CameBack(_)
            | Self::LockHandedOver(_) => None,
        }
    }

    /// The photo files that this body names: original first.
    pub fn photo_files(&self) -> Vec<&PhotoFile> {
        match self {
            Self::Photo(b) => core::iter::once(&b.original).chain(b.preview.as_ref()).collect(),
            Self::DeviationAsked(b) => core::iter::once(&b.photo).chain(b.preview.as_ref()).collect(),
            _ => Vec::new(),
        }
    }

    /// Written by somebody who plans or decides, never by a technician alone: see [`crate::people`].
    pub const fn is_lead_act(&self) -> bool {
        matches!(
            self,
            Self::JobPlanned(_)
                | Self::Equipment(_)
                | Self::DesignInputs(_)
                | Self::Consent(_)
                | Self::SiteDetails(_)
                | Self::Schedule(_)
                | Self::Assignment(_)
                | Self::Withdrawn(_)
                | Self::DeviationDecided(_)
                | Self::StopResolved(_)
                | Self::Returned(_)
                | Self::Passed(_)
                | Self::BreachSettled(_)
                | Self::PhotoAbsent(_)
                | Self::VoiceAnswerShown(_)
        )
    }
}
