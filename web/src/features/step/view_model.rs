//! What the page of a step shows, worked out from a [`JobView`] and from what was typed. Pure.

use domain::electrical::{
    Cmp, Limit, Note, NumberLocale, Prefix, Quality, Quantity, QuantityKind, Unit, Verdict, judge, parse_reading,
};
use domain::identification::{
    PatternVerdict, Problem, ScanReading, ScanSource, Serial, SerialPattern, read_scan, serial_as_confirmed,
    serial_from,
};
use domain::ids::{EntryId, InstrumentId, PersonId};
use domain::job_file::body::{
    Body, InstrumentSnapshot, ModelSnapshot, Place, Reading, ReadingQuality, SerialRead, SerialSource,
};
use domain::method::gate::{Answer, LimitInfo, LimitSource, Obstacle, StepRef, StepState, stored_reading};
use domain::method::plan::{ReadingNeed, Requirement};
use serde::{Deserialize, Serialize};

use crate::features::job::load::{EvidenceItem, EvidenceStanding, JobView, RequirementCard, StepCard};
use crate::features::words;
use crate::i18n::{Key, Words};
use crate::ui::Tone;
use crate::{key, t};

/// One thing that a gate still needs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GateNeed {
    /// The step where it is done, if it is one.
    pub step: Option<(String, u16)>,
    /// What it is.
    pub name: String,
    /// What is missing there.
    pub missing: String,
}

/// What stands before a shut step: what can be done now, and what comes after that.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct GateNeeds {
    /// Can be worked on, or is a sentence about the whole job.
    pub now: Vec<GateNeed>,
    /// Steps that are shut themselves.
    pub later: Vec<GateNeed>,
}

/// Everything that a shut step still needs.
pub fn gate_needs(w: Words, job: &JobView, step: &StepCard) -> GateNeeds {
    let StepState::Locked { by } = &step.state else { return GateNeeds::default() };
    let mut needs = GateNeeds::default();
    for obstacle in by {
        let need = |at: Option<&StepCard>| GateNeed {
            step: at.map(|step| (step.id.clone(), step.slot)),
            name: words::obstacle(w, job, obstacle),
            missing: at.map(|step| missing_of(w, step).join("; ")).unwrap_or_default(),
        };
        match obstacle {
            Obstacle::Step(at) => match find(job, *at) {
                Some(before) if matches!(before.state, StepState::Locked { .. }) => {
                    needs.later.push(need(Some(before)))
                }
                before => needs.now.push(need(before)),
            },
            Obstacle::StopWork(_)
            | Obstacle::Paused
            | Obstacle::Away
            | Obstacle::Passed
            | Obstacle::Withdrawn
            | Obstacle::NeedsNewerApp
            | Obstacle::EquipmentMissing
            | Obstacle::ConsentMissing => needs.now.push(need(None)),
        }
    }
    if by.is_empty() {
        // A choice that decides whether the step applies was not made; nothing else names it.
        needs.now.push(GateNeed { step: None, name: t!(w, "gate.obstacle.choice").to_owned(), missing: String::new() });
    }
    needs
}

fn find(job: &JobView, at: StepRef) -> Option<&StepCard> {
    job.step_at(at)
}

/// What a step lacks: its requirements that are not met.
pub fn missing_of(w: Words, step: &StepCard) -> Vec<String> {
    let mut missing: Vec<String> = Vec::new();
    if step.cautions.iter().any(|caution| caution.acknowledge && !caution.read) {
        missing.push(t!(w, "gate.cautions_unread").to_owned());
    }
    let open = step.requirements.iter().filter(|card| !card.answer.lets_through());
    // The list is of what is missing: only what else is the matter needs saying.
    missing.extend(open.map(|card| match card.answer {
        Answer::Missing { have: 0, want: 1 } => card.label.clone(),
        _ => t!(w, "gate.need", name = card.label, state = words::answer(w, card)),
    }));
    missing
}

/// Which requirement the page opens by itself: the first at which something can be done.
pub fn first_to_do(step: &StepCard) -> Option<usize> {
    step.requirements.iter().position(|card| match card.answer {
        Answer::Missing { .. } | Answer::Failed { .. } | Answer::NotDetermined { .. } => {
            // A comparison has no entry of its own: what it needs is done elsewhere.
            !matches!(card.need, Requirement::Check(_))
        }
        Answer::Met { .. }
        | Answer::DeviationAsked { .. }
        | Answer::DeviationAllowed { .. }
        | Answer::NotApplicable => false,
    })
}

/// The step that comes after this one: the next at which something can be done, else none.
pub fn next_after<'a>(job: &'a JobView, step: &StepCard) -> Option<&'a StepCard> {
    let here = job.steps.iter().position(|own| own.at == step.at)?;
    let (before, after) = job.steps.split_at(here);
    after.iter().skip(1).chain(before).find(|step| step.has_work())
}

/// The last entry that counts at a requirement.
pub fn counting(card: &RequirementCard) -> Option<&EvidenceItem> {
    card.evidence.iter().rev().find(|item| item.standing == EvidenceStanding::Counts)
}

// --- readings

/// What was typed for a reading; kept as a draft.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReadingDraft {
    /// The value as it was typed.
    #[serde(default)]
    pub raw: String,
    /// The instrument's id.
    #[serde(default)]
    pub instrument: String,
    /// Test voltage of an insulation tester, as typed.
    #[serde(default)]
    pub voltage: String,
    /// Which of several possible values was meant.
    #[serde(default)]
    pub chosen: Option<usize>,
    /// An implausible value was looked at again.
    #[serde(default)]
    pub keep: bool,
    /// Not measured.
    #[serde(default)]
    pub not_tested: bool,
    /// Why not.
    #[serde(default)]
    pub reason: String,
}

impl ReadingDraft {
    /// What a person typed of it: an instrument that the form proposed is not theirs.
    pub fn by_hand(mut self, proposed: &str) -> Self {
        if self.instrument == proposed {
            self.instrument.clear();
        }
        self
    }
}

/// What the page asks back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ReadingQuestion {
    /// The text can be read in several ways; these are they.
    Which(Vec<String>),
    /// Perhaps this was meant; the text to take over.
    Meant(String),
    /// Implausible: the value, and from where to where one would expect it.
    Implausible(String, String),
}

/// A reading as it would be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadingValue {
    /// Millionths.
    pub micro: Option<i64>,
    /// Sign.
    pub cmp: Cmp,
    /// How it was understood.
    pub quality: ReadingQuality,
    /// Millionths of a volt.
    pub test_voltage: Option<i64>,
}

/// What the page says while somebody types.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct ReadingPreview {
    /// How it was understood.
    pub understood: Option<String>,
    /// Remarks.
    pub notes: Vec<Key>,
    /// What is asked back.
    pub question: Option<ReadingQuestion>,
    /// Why it cannot be read.
    pub fault: Option<String>,
    /// Verdict with its weight: good, wrong, or not determined.
    pub verdict: Option<(Tone, String)>,
    /// What would be written; `None` while something is missing.
    pub value: Option<ReadingValue>,
    /// What is missing before it can be written.
    pub lacks: Option<Key>,
}

/// An insulation tester applies a voltage that the verdict needs.
pub fn needs_voltage(need: &ReadingNeed) -> bool {
    need.field().kind == QuantityKind::Insulation
}

/// Reads what was typed and says at once what it would mean.
pub fn preview(
    w: Words,
    need: &ReadingNeed,
    limit: &LimitInfo,
    draft: &ReadingDraft,
    instrument: Option<&InstrumentSnapshot>,
    today: &str,
) -> ReadingPreview {
    let mut out = ReadingPreview::default();
    if draft.not_tested {
        out.verdict = Some((Tone::Caution, t!(w, "reason.why.not_tested").to_owned()));
        if draft.reason.trim().is_empty() {
            out.lacks = Some(key!("step.reading.lacks_reason"));
        } else {
            out.value = Some(ReadingValue {
                micro: None,
                cmp: Cmp::Equal,
                quality: ReadingQuality::NotTested,
                test_voltage: None,
            });
        }
        return out;
    }
    let field = need.field();
    let locale = NumberLocale::from_decimal(w.decimal.sign());
    let parsed = parse_reading(&draft.raw, &field, locale);
    out.notes = parsed.notes.iter().filter(|note| **note != Note::Empty).map(|note| words::note(*note)).collect();
    if draft.raw.trim().is_empty() {
        return out;
    }
    let show = |value: Quantity| words::quantity(w, value, field.entry);
    let plain = |value: Quantity| value.format(12, field.entry, w.decimal.sign());
    let (value, quality) = match &parsed.quality {
        Quality::Ok => (parsed.value, ReadingQuality::Ok),
        Quality::OverRange => (parsed.value, ReadingQuality::OverRange),
        Quality::Ambiguous { candidates } => match draft.chosen.and_then(|at| candidates.get(at)) {
            Some(chosen) => (Some(*chosen), ReadingQuality::Ok),
            None => {
                out.question = Some(ReadingQuestion::Which(candidates.iter().map(|value| show(*value)).collect()));
                out.lacks = Some(key!("step.reading.lacks_choice"));
                return out;
            }
        },
        Quality::Invalid { .. } if parsed.has(Note::Impossible) => {
            out.notes.clear();
            out.fault = Some(impossible(w, need));
            return out;
        }
        Quality::Invalid { suggestion } => {
            out.fault = Some(t!(w, "step.reading.unreadable", example = example(w, need)));
            out.question = suggestion.map(|value| ReadingQuestion::Meant(short(&plain(value), w)));
            return out;
        }
        Quality::UnitMismatch { found, suggestion } => {
            out.fault = Some(t!(
                w,
                "step.reading.other_unit",
                found = found.symbol(),
                wanted = format!("{}{}", field.entry.symbol(), need.unit.symbol())
            ));
            out.question = suggestion.map(|value| ReadingQuestion::Meant(short(&plain(value), w)));
            return out;
        }
        Quality::NotTested => {
            out.fault = Some(t!(w, "step.reading.use_not_tested").to_owned());
            return out;
        }
        Quality::OutsideSanity => (parsed.value, ReadingQuality::OutsideSanity),
    };
    out.understood = Some(match (quality, value) {
        (ReadingQuality::OverRange, _) | (_, None) => t!(w, "reason.quality.over_range").to_owned(),
        (_, Some(value)) => format!("{}{}", words::sign(parsed.cmp), show(value)),
    });
    if quality == ReadingQuality::OutsideSanity && !draft.keep {
        let range = words::limit(w, Limit::between(need.sanity.0.0, need.sanity.1.0), need.unit, field.entry);
        out.question = Some(ReadingQuestion::Implausible(out.understood.clone().unwrap_or_default(), range));
        out.lacks = Some(key!("step.reading.lacks_look"));
        return out;
    }
    let typed_voltage = voltage_of(&draft.voltage, w);
    let test_voltage = parsed.parts.test_voltage.map(|value| value.micro).or(typed_voltage);
    let value = ReadingValue { micro: value.map(|value| value.micro), cmp: parsed.cmp, quality, test_voltage };
    if need.instrument.is_some() && instrument.is_none() {
        out.lacks = Some(key!("step.reading.lacks_instrument"));
    } else if needs_voltage(need) && test_voltage.is_none() {
        out.lacks = Some(key!("step.reading.lacks_voltage"));
    }
    out.verdict = Some(verdict_of(w, need, limit, &value, instrument, today));
    if out.lacks.is_none() {
        out.value = Some(value);
    }
    out
}

/// What can be measured here at all. The upper end is said where a person would ever meet it.
fn impossible(w: Words, need: &ReadingNeed) -> String {
    const TOLD_TO_MICRO: i64 = 1_000_000_000_000;
    let field = need.field();
    let (least, most) = field.possible();
    let show = |micro| words::quantity(w, Quantity::of(need.unit, micro), field.entry);
    if most > TOLD_TO_MICRO {
        t!(w, "step.reading.impossible", least = show(least))
    } else {
        t!(w, "plan.fault.impossible", least = show(least), most = show(most))
    }
}

/// Volts as typed: a bare number or one with its unit.
fn voltage_of(text: &str, w: Words) -> Option<i64> {
    const MOST: i64 = 10_000_000_000;
    let field = domain::electrical::FieldSpec::plain(Unit::Volt, Prefix::One, 0, MOST);
    let parsed = parse_reading(text, &field, NumberLocale::from_decimal(w.decimal.sign()));
    (parsed.quality == Quality::Ok).then_some(parsed.value).flatten().map(|value| value.micro)
}

fn short(digits: &str, w: Words) -> String {
    let sign = w.decimal.sign();
    if digits.contains(sign) {
        digits.trim_end_matches('0').trim_end_matches(sign).to_owned()
    } else {
        digits.to_owned()
    }
}

/// How a value is typed in this box, in the person's own way.
pub fn example(w: Words, need: &ReadingNeed) -> String {
    /// Digits that show the decimal sign and are no real value.
    const SAMPLE: i64 = 12_300_000;
    format!("{} {}{}", w.number(SAMPLE, 1), need.field().entry.symbol(), need.unit.symbol())
}

fn verdict_of(
    w: Words,
    need: &ReadingNeed,
    limit: &LimitInfo,
    value: &ReadingValue,
    instrument: Option<&InstrumentSnapshot>,
    today: &str,
) -> (Tone, String) {
    let open = |words: &str| (Tone::Caution, words.to_owned());
    if value.quality == ReadingQuality::OutsideSanity {
        return open(t!(w, "reason.why.outside_sanity"));
    }
    if let Some(used) = instrument.filter(|_| need.instrument.is_some()) {
        if used.calibration_due.is_empty() {
            return open(t!(w, "reason.open.calibration_unknown"));
        }
        if used.calibration_due.as_str() < today {
            let words = t!(w, "reason.open.calibration_ended", day = w.day_text(&used.calibration_due));
            return open(&words);
        }
    }
    let stored = stored_reading(
        need,
        &Reading {
            at: Place::of("", 0, ""),
            raw: String::new(),
            micro: value.micro,
            unit: need.unit.code(),
            sign: words::stored_sign(value.cmp),
            quality: value.quality,
            instrument: None,
            corrects: None,
            test_voltage: value.test_voltage,
        },
    );
    let verdict = match limit {
        LimitInfo::None if stored.value.is_none() => Verdict::NotDetermined(domain::electrical::Why::RangeTopUnknown),
        LimitInfo::None => return (Tone::Good, t!(w, "step.reading.recorded_only").to_owned()),
        LimitInfo::Known { limit, source: LimitSource::Maker | LimitSource::Design | LimitSource::Method(_) } => {
            judge(&stored, limit)
        }
        LimitInfo::Known { source: LimitSource::Check(check), .. } => check.judge_reading(&stored),
        LimitInfo::NoMakerFigure { key } => {
            let words = t!(w, "reason.open.no_maker_figure", figure = words::figure(w, key));
            return open(&words);
        }
        LimitInfo::InputMissing { key } => {
            let words = t!(w, "reason.open.input_missing", figure = words::figure(w, key));
            return open(&words);
        }
    };
    match verdict {
        Verdict::Pass => (Tone::Good, t!(w, "step.reading.inside").to_owned()),
        Verdict::NotApplicable(why) => (Tone::Good, w.say(words::why(why)).to_owned()),
        Verdict::Fail(why) => (Tone::Stop, w.say(words::why(why)).to_owned()),
        Verdict::NotDetermined(why) => open(w.say(words::why(why))),
    }
}

/// The limit of a reading in one line, with whose word it is; or why there is none.
pub fn limit_line(w: Words, need: &ReadingNeed, limit: &LimitInfo) -> Option<String> {
    match limit {
        LimitInfo::None => None,
        LimitInfo::Known { limit: allowed, .. } => {
            let allowed = words::limit(w, *allowed, need.unit, need.field().entry);
            let source = words::limit_source(w, limit).unwrap_or_default();
            Some(t!(w, "step.reading.limit", limit = allowed, source = source))
        }
        LimitInfo::NoMakerFigure { key } => Some(t!(w, "reason.open.no_maker_figure", figure = words::figure(w, key))),
        LimitInfo::InputMissing { key } => Some(t!(w, "reason.open.input_missing", figure = words::figure(w, key))),
    }
}

/// The entry of a reading.
pub fn reading_body(
    place: &Place,
    need: &ReadingNeed,
    draft: &ReadingDraft,
    value: &ReadingValue,
    instrument: Option<InstrumentSnapshot>,
    corrects: Option<EntryId>,
) -> Body {
    Body::Reading(Reading {
        at: place.clone(),
        raw: draft.raw.clone(),
        micro: value.micro,
        unit: need.unit.code(),
        sign: words::stored_sign(value.cmp),
        quality: value.quality,
        instrument,
        corrects,
        test_voltage: value.test_voltage,
    })
}

/// Reads the id of a chosen instrument.
pub fn instrument_id(text: &str) -> Option<InstrumentId> {
    text.parse().ok()
}

/// The instrument of a kind that this person used last in the job.
pub fn last_instrument(job: &JobView, kind: &str, person: Option<PersonId>) -> Option<InstrumentId> {
    let cards = job.steps.iter().flat_map(|step| &step.requirements);
    let items = cards.flat_map(|card| &card.evidence).filter(|item| Some(item.by) == person);
    let used = items.filter_map(|item| match &item.body {
        Body::Reading(reading) => {
            reading.instrument.as_ref().filter(|used| used.kind == kind).map(|used| (item.at_us, used.id))
        }
        _ => None,
    });
    used.max_by_key(|(at_us, _)| *at_us).map(|(_, id)| id)
}

// --- serials

/// What was typed or scanned for a serial; kept as a draft.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SerialDraft {
    /// First time.
    #[serde(default)]
    pub raw: String,
    /// Second time, where it was typed.
    #[serde(default)]
    pub again: String,
    /// Read by the camera.
    #[serde(default)]
    pub scanned: bool,
    /// The person says that it is the serial although it looks like something else.
    #[serde(default)]
    pub confirmed: bool,
}

/// What the page says about a serial.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SerialPreview {
    /// The serial as it would be kept.
    pub serial: Option<String>,
    /// Why it is not taken.
    pub fault: Option<String>,
    /// It only looks like something else: may be confirmed.
    pub may_confirm: bool,
    /// It must be typed a second time.
    pub wants_again: bool,
    /// The second time differs.
    pub differs: bool,
    /// A warning that does not refuse.
    pub warning: Option<String>,
    /// It can be written.
    pub ready: bool,
}

fn scan_of(draft: &SerialDraft) -> ScanReading {
    let source = if draft.scanned { ScanSource::Camera } else { ScanSource::Typed };
    read_scan(&draft.raw, source)
}

fn serial_of(draft: &SerialDraft, scan: &ScanReading) -> Result<Serial, Problem> {
    if draft.confirmed { serial_as_confirmed(scan) } else { serial_from(scan) }
}

/// A code as a person can see it: signs that only machines see become dots.
pub fn shown_code(raw: &str) -> String {
    raw.trim().chars().map(|sign| if sign.is_control() { '·' } else { sign }).collect()
}

/// Reads a serial and compares it with its model and with the other places of the job.
pub fn serial_preview(
    w: Words,
    job: &JobView,
    slot: u16,
    model: Option<&ModelSnapshot>,
    draft: &SerialDraft,
) -> SerialPreview {
    let mut out = SerialPreview::default();
    if draft.raw.trim().is_empty() {
        return out;
    }
    let scan = scan_of(draft);
    let serial = match serial_of(draft, &scan) {
        Ok(serial) => serial,
        Err(problem) => {
            out.fault = Some(w.say(words::problem(problem)).to_owned());
            out.may_confirm = problem.may_be_confirmed() && !scan.certain;
            return out;
        }
    };
    out.serial = Some(serial.stored.clone());
    let twin = job.units.iter().find(|unit| {
        let same = |text: &String| Serial::of(text).is_ok_and(|other| other.match_key == serial.match_key);
        unit.slot != slot && unit.serial.as_ref().is_some_and(same)
    });
    if let Some(twin) = twin {
        out.fault = Some(t!(w, "reason.fail.serial_in_slot", unit = words::unit_in_slot(w, twin.kind, twin.slot)));
        return out;
    }
    out.warning = model.and_then(|model| pattern_warning(w, model, &serial)).or_else(|| gtin_warning(w, model, &scan));
    // What a carrier itself declares was read by a machine; a text alone may hold a slip.
    out.wants_again = !draft.scanned && !scan.certain;
    if out.wants_again {
        let again = Serial::of(draft.again.trim());
        let same = again.as_ref().is_ok_and(|again| again.match_key == serial.match_key);
        out.differs = !draft.again.trim().is_empty()
            && !same
            && again.as_ref().map_or(0, |a| a.stored.len()) >= serial.stored.len();
        out.ready = same;
    } else {
        out.ready = true;
    }
    out
}

fn pattern_warning(w: Words, model: &ModelSnapshot, serial: &Serial) -> Option<String> {
    let (least, most) = model.serial_length;
    let length = (most > 0).then_some((usize::from(least), usize::from(most)));
    let pattern = SerialPattern { prefix: model.serial_prefix.clone(), length };
    match pattern.matches(serial) {
        PatternVerdict::Fits => None,
        PatternVerdict::PrefixDiffers => {
            Some(t!(w, "step.serial.prefix_differs", model = model.name, prefix = model.serial_prefix))
        }
        PatternVerdict::LengthDiffers => {
            Some(t!(w, "step.serial.length_differs", model = model.name, least = least, most = most))
        }
    }
}

fn gtin_warning(w: Words, model: Option<&ModelSnapshot>, scan: &ScanReading) -> Option<String> {
    let (model, read) = (model?, scan.gtin.as_ref()?);
    let known = model.gtin.as_ref()?;
    (read != known).then(|| t!(w, "step.serial.other_product", model = model.name))
}

/// The entry of a serial; `None` while it cannot be written.
pub fn serial_body(place: &Place, draft: &SerialDraft, corrects: Option<EntryId>) -> Option<Body> {
    let scan = scan_of(draft);
    let serial = serial_of(draft, &scan).ok()?;
    let source = match (draft.scanned, scan.certain) {
        (true, _) => SerialSource::Camera,
        (false, true) => SerialSource::Wedge,
        (false, false) => SerialSource::Typed,
    };
    Some(Body::Serial(SerialRead {
        at: place.clone(),
        raw: draft.raw.clone(),
        stored: serial.stored,
        source,
        gtin: scan.gtin,
        lot: scan.lot,
        corrects,
    }))
}

// --- waits

/// A tick of the page's clock that is longer than this was a sleep: it does not count.
const TICK_MOST_MS: u64 = 2_500;

/// Adds a tick to a wait. Time in which the page slept is left out: never early, sometimes late.
pub const fn waited(elapsed_ms: u64, tick_ms: u64) -> u64 {
    if tick_ms > TICK_MOST_MS { elapsed_ms } else { elapsed_ms + tick_ms }
}
