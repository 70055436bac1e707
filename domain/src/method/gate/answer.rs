//! What the evidence of one requirement amounts to.

use super::limit::{self, LimitInfo, LimitSource};
use super::plan::Plan;
use super::{signed, wait::wait_answer};
use crate::electrical::{Check, Cmp, Limit, ParsedReading, Quality, Quantity, Unit, Verdict, Why, judge};
use crate::identification::Serial;
use crate::identification::dates::Date;
use crate::ids::{EntryId, Hash32};
use crate::job_file::body::{self, Body, Place, ReadingQuality, Sign};
use crate::job_file::file::OrderKey;
use crate::job_file::record::{Evidence, Record};
use crate::method::plan::{Confirmer, ReadingNeed, Requirement, Step};

const MICROS_PER_DAY: u64 = 86_400_000_000;

/// How one requirement stands.
#[derive(Clone, Debug, PartialEq)]
pub enum Answer {
    /// Nothing that counts is there, or not enough.
    Missing {
        /// How many photos count already, milliseconds that were waited, or 0.
        have: u64,
        /// How many are needed.
        want: u64,
    },
    /// It does.
    Met {
        /// The entries that count.
        by: Vec<EntryId>,
    },
    /// It is there and does not do.
    Failed {
        /// The entry that decides; none for a computed comparison.
        by: Option<EntryId>,
        /// Why.
        why: FailWhy,
    },
    /// A person must decide or add what is missing.
    NotDetermined {
        /// The entry that decides.
        by: Option<EntryId>,
        /// Why.
        why: OpenWhy,
    },
    /// A departure was asked for; the gate stays shut.
    DeviationAsked {
        /// The request.
        asked: EntryId,
    },
    /// A lead has allowed the departure.
    DeviationAllowed {
        /// The request.
        asked: EntryId,
    },
    /// It is read between two conductors, and one of them is not there.
    NotApplicable,
}

/// Why evidence does not do.
#[derive(Clone, Debug, PartialEq)]
pub enum FailWhy {
    /// The very same photo stands at another place.
    SamePhotoAt(Place),
    /// The serial stands in another slot of this job.
    SerialInSlot(u16),
    /// The text is not a serial.
    SerialUnreadable,
    /// Below or above the limit, or otherwise bad.
    Value {
        /// The limit that it was compared with.
        limit: Limit,
        /// Which side.
        why: Why,
        /// No standard says so, only a figure of this house.
        house: bool,
    },
    /// The computed comparison fails.
    Check(Box<Check>),
    /// The option that was chosen says that something is wrong.
    OptionSaysNo(String),
    /// Another person of the crew must be named.
    SecondPersonNeeded,
    /// The householder must be named.
    HouseholderNeeded,
    /// The very same photo was entered in another job of the firm before, in this entry.
    SamePhotoInFirm(EntryId),
    /// Who countersigns does not hold this ticket, or it had ended.
    TicketNeeded(String),
    /// The sealed PIN is not beside the countersignature.
    PinProofMissing,
    /// The server found another PIN.
    PinWrong,
    /// There is no drawing, or hardly a line in it.
    NotDrawn,
    /// No words, or more than fit on a line.
    WordsUnreadable,
}

impl FailWhy {
    /// It fails by a figure of this house only, which no standard asks for.
    pub fn is_by_house_figure(&self) -> bool {
        match self {
            FailWhy::Value { house, .. } => *house,
            FailWhy::Check(check) => check.fails_by_house_figure(),
            _ => false,
        }
    }
}

/// Why nothing can be decided.
#[derive(Clone, Debug, PartialEq)]
pub enum OpenWhy {
    /// The value does not allow it.
    Value(Why),
    /// The maker's figure is not in the model's data.
    NoMakerFigure(String),
    /// An input of the check is missing.
    InputMissing(String),
    /// The computed comparison cannot decide.
    Check(Box<Check>),
    /// No instrument was named.
    InstrumentMissing,
    /// An instrument of another kind is needed.
    InstrumentKind(String),
    /// Its calibration had ended, or nobody knows until when it holds.
    CalibrationEnded(String),
}

impl Answer {
    /// It does not stand in the way.
    pub const fn lets_through(&self) -> bool {
        matches!(self, Self::Met { .. } | Self::DeviationAllowed { .. } | Self::NotApplicable)
    }

    /// Something is there that does not do.
    pub const fn is_bad(&self) -> bool {
        matches!(self, Self::Failed { .. } | Self::NotDetermined { .. })
    }
}

/// Judges one requirement of a step; evidence older than what ended it counts for nothing.
pub(super) fn answer(
    record: &Record<'_>,
    plan: &Plan<'_>,
    step: &Step,
    slot: u16,
    requirement: &Requirement,
    ended: Option<OrderKey>,
) -> Answer {
    let place = Place::of(&step.id, slot, requirement.id());
    let plain = of_evidence(record, plan, &place, requirement, ended);
    // Nothing but its evidence opens a stop-work step, whatever a lead has said.
    if plain.lets_through() || step.stop_work {
        return plain;
    }
    let deviation = record.deviation_at(&place).filter(|(_, own)| ended.is_none_or(|ended| own.key > ended));
    match deviation.map(|(asked, deviation)| (asked, deviation.allowed())) {
        Some((asked, Some(true))) => Answer::DeviationAllowed { asked },
        Some((asked, None)) => Answer::DeviationAsked { asked },
        Some((_, Some(false))) | None => plain,
    }
}

fn of_evidence(
    record: &Record<'_>,
    plan: &Plan<'_>,
    place: &Place,
    requirement: &Requirement,
    ended: Option<OrderKey>,
) -> Answer {
    let counting = record.counting_since(place, ended);
    let missing = Answer::Missing { have: 0, want: 1 };
    match requirement {
        Requirement::Photo(need) => photos(record, place, &counting, u64::from(need.count)),
        Requirement::Reading(need) => counting.last().map_or(missing, |evidence| match evidence.body {
            Body::Reading(reading) => {
                let info = limit::limit_of(record, plan, need, place.slot);
                reading_answer(evidence, reading, need, info)
            }
            _ => Answer::Missing { have: 0, want: 1 },
        }),
        Requirement::Serial(_) => counting.last().map_or(missing, |evidence| match evidence.body {
            Body::Serial(serial) => serial_answer(record, evidence, serial),
            _ => Answer::Missing { have: 0, want: 1 },
        }),
        Requirement::Confirmation(need) => counting.last().map_or(missing, |evidence| match evidence.body {
            Body::Confirmation(confirmation) => confirmation_answer(record, evidence, confirmation, need.by),
            _ => Answer::Missing { have: 0, want: 1 },
        }),
        Requirement::Choice(need) => counting.last().map_or(missing, |evidence| match evidence.body {
            Body::Choice(choice) => match need.options.iter().find(|option| option.id == choice.option) {
                Some(option) if !option.fails => Answer::Met { by: vec![evidence.key.id] },
                Some(_) | None => {
                    Answer::Failed { by: Some(evidence.key.id), why: FailWhy::OptionSaysNo(choice.option.clone()) }
                }
            },
            _ => Answer::Missing { have: 0, want: 1 },
        }),
        Requirement::Words(_) => counting.last().map_or(missing, |evidence| match evidence.body {
            Body::Words(words) if crate::bounds::name(&words.text).is_ok() => Answer::Met { by: vec![evidence.key.id] },
            Body::Words(_) => Answer::Failed { by: Some(evidence.key.id), why: FailWhy::WordsUnreadable },
            _ => Answer::Missing { have: 0, want: 1 },
        }),
        Requirement::Wait(need) => wait_answer(record, plan, place, &counting, need, ended),
        Requirement::Countersign(need) => counting.last().map_or(missing, |evidence| match evidence.body {
            Body::Countersign(countersign) => signed::countersign(record, evidence, countersign, need),
            _ => Answer::Missing { have: 0, want: 1 },
        }),
        Requirement::Signature(need) => counting.last().map_or(missing, |evidence| match evidence.body {
            Body::Signature(signature) => signed::signature(record, evidence, signature, need.by),
            _ => Answer::Missing { have: 0, want: 1 },
        }),
        Requirement::Check(need) => match limit::run(record, plan, &need.call, place.slot) {
            Err(key) => Answer::NotDetermined { by: None, why: OpenWhy::InputMissing(key) },
            Ok(check) => match check.verdict {
                Verdict::Pass | Verdict::NotApplicable(_) => Answer::Met { by: Vec::new() },
                Verdict::Fail(_) => Answer::Failed { by: None, why: FailWhy::Check(Box::new(check)) },
                Verdict::NotDetermined(_) => Answer::NotDetermined { by: None, why: OpenWhy::Check(Box::new(check)) },
            },
        },
    }
}

/// The option last chosen at a place, and not before what ended such choices.
pub(super) fn last_choice<'a>(record: &Record<'a>, place: &Place, ended: Option<OrderKey>) -> Option<&'a str> {
    match record.counting_since(place, ended).last()?.body {
        Body::Choice(choice) => Some(&choice.option),
        _ => None,
    }
}

fn photos(record: &Record<'_>, place: &Place, counting: &[Evidence<'_>], want: u64) -> Answer {
    let mut seen: Vec<Hash32> = Vec::new();
    let mut by = Vec::new();
    let mut elsewhere = None;
    let mut copied = None;
    for evidence in counting {
        let Body::Photo(photo) = evidence.body else { continue };
        if let Some(other) = record.copies.get(&evidence.key.id) {
            copied = Some((evidence.key.id, *other));
            continue;
        }
        match first_place(record, photo.original.hash) {
            Some(first) if first != *place => elsewhere = Some((evidence.key.id, first)),
            _ if seen.contains(&photo.original.hash) => {}
            _ => {
                seen.push(photo.original.hash);
                by.push(evidence.key.id);
            }
        }
    }
    let have = seen.len() as u64;
    match (elsewhere, copied) {
        _ if have >= want => Answer::Met { by },
        (Some((id, first)), _) => Answer::Failed { by: Some(id), why: FailWhy::SamePhotoAt(first) },
        (None, Some((id, other))) => Answer::Failed { by: Some(id), why: FailWhy::SamePhotoInFirm(other) },
        (None, None) => Answer::Missing { have, want },
    }
}

/// Where these bytes stood first, evidence that was taken back aside.
fn first_place(record: &Record<'_>, hash: Hash32) -> Option<Place> {
    let places = record.photo_places.get(&hash)?;
    places.iter().find(|(key, _)| !record.replaced.contains_key(&key.id)).map(|(_, place)| place.clone())
}

fn reading_answer(evidence: &Evidence<'_>, reading: &body::Reading, need: &ReadingNeed, info: LimitInfo) -> Answer {
    let by = Some(evidence.key.id);
    let open = |why| Answer::NotDetermined { by, why };
    let stored = stored_reading(need, reading);
    match reading.quality {
        ReadingQuality::NotTested => return open(OpenWhy::Value(Why::NotTested)),
        ReadingQuality::OutsideSanity => return open(OpenWhy::Value(Why::OutsideSanity)),
        ReadingQuality::Ok | ReadingQuality::OverRange => {}
    }
    if let Some(kind) = &need.instrument
        && let Some(why) = instrument_fault(kind, reading.instrument.as_ref(), evidence.key.at)
    {
        return open(why);
    }
    let (limit, source) = match info {
        LimitInfo::None if stored.value.is_none() => return open(OpenWhy::Value(Why::RangeTopUnknown)),
        LimitInfo::None => return Answer::Met { by: vec![evidence.key.id] },
        LimitInfo::Known { limit, source } => (limit, source),
        LimitInfo::NoMakerFigure { key } => return open(OpenWhy::NoMakerFigure(key)),
        LimitInfo::InputMissing { key } => return open(OpenWhy::InputMissing(key)),
    };
    let (verdict, house): (_, &[Why]) = match source {
        LimitSource::Check(check) => (check.judge_reading(&stored), check.house),
        LimitSource::Maker | LimitSource::Design | LimitSource::Method(_) => (judge(&stored, &limit), &[]),
    };
    match verdict {
        Verdict::Pass | Verdict::NotApplicable(_) => Answer::Met { by: vec![evidence.key.id] },
        Verdict::Fail(why) => Answer::Failed { by, why: FailWhy::Value { limit, why, house: house.contains(&why) } },
        Verdict::NotDetermined(why) => open(OpenWhy::Value(why)),
    }
}

/// A stored reading as the judges of [`crate::electrical`] take it.
pub fn stored_reading(need: &ReadingNeed, reading: &body::Reading) -> ParsedReading {
    let unit = Unit::from_code(reading.unit).unwrap_or(need.unit);
    let cmp = match reading.sign {
        Sign::Equal => Cmp::Equal,
        Sign::Less => Cmp::Less,
        Sign::Greater => Cmp::Greater,
    };
    let quality = match reading.quality {
        ReadingQuality::Ok => Quality::Ok,
        ReadingQuality::OverRange => Quality::OverRange,
        ReadingQuality::NotTested => Quality::NotTested,
        ReadingQuality::OutsideSanity => Quality::OutsideSanity,
    };
    let value = reading.micro.map(|micro| Quantity::of(unit, micro));
    let mut stored = ParsedReading::recall(&need.field(), value, cmp, quality);
    stored.parts.test_voltage = reading.test_voltage.map(|micro| Quantity::of(Unit::Volt, micro));
    stored
}

fn instrument_fault(kind: &str, used: Option<&body::InstrumentSnapshot>, at_us: u64) -> Option<OpenWhy> {
    let Some(used) = used else { return Some(OpenWhy::InstrumentMissing) };
    if used.kind != kind {
        return Some(OpenWhy::InstrumentKind(used.kind.clone()));
    }
    (!holds_on(at_us, &used.calibration_due)).then(|| OpenWhy::CalibrationEnded(used.calibration_due.clone()))
}

/// Whether a last valid day is known and not past, in UTC.
pub(super) fn holds_on(at_us: u64, last_day: &str) -> bool {
    let day = i64::try_from(at_us / MICROS_PER_DAY).ok().and_then(|days| Date::from_unix_days(days).ok());
    day.zip(Date::parse(last_day).ok()).is_some_and(|(day, last)| day <= last)
}

fn serial_answer(record: &Record<'_>, evidence: &Evidence<'_>, read: &body::SerialRead) -> Answer {
    let by = Some(evidence.key.id);
    let Ok(serial) = Serial::of(&read.stored) else { return Answer::Failed { by, why: FailWhy::SerialUnreadable } };
    let twin = record
        .evidence
        .keys()
        .filter(|place| place.slot != read.at.slot)
        .filter_map(|place| record.counting(place).last().copied())
        .filter(|other| other.key < evidence.key)
        .find_map(|other| match other.body {
            Body::Serial(other) if Serial::of(&other.stored).is_ok_and(|o| o.match_key == serial.match_key) => {
                Some(other.at.slot)
            }
            _ => None,
        });
    match twin {
        Some(slot) => Answer::Failed { by, why: FailWhy::SerialInSlot(slot) },
        None => Answer::Met { by: vec![evidence.key.id] },
    }
}

fn confirmation_answer(
    record: &Record<'_>,
    evidence: &Evidence<'_>,
    confirmation: &body::Confirmation,
    by: Confirmer,
) -> Answer {
    let id = evidence.key.id;
    let fault = signed::wrong_person(record, evidence, confirmation.person, confirmation.named_in, by);
    fault.map_or_else(|| Answer::Met { by: vec![id] }, |why| Answer::Failed { by: Some(id), why })
}
