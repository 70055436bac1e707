//! Walks a job through its method with evidence that the gates let through.
//!
//! The demo firm's jobs and the tests of every method are made with it, so that a method which cannot be closed by good
//! work is found before a crew stands in a garage with it. **Never enters:** a real job; nothing here records what a
//! person did.

use crate::electrical::{Limit, Unit};
use crate::ids::{CaptureId, EntryId, Hash32, PersonId};
use crate::job_file::Body;
use crate::job_file::body::{
    CautionsRead, Choice, Confirmation, Countersign, CountersignProof, Drawing, InstrumentSnapshot, Photo, PhotoFile,
    PhotoOrigin, Place, Reading, ReadingQuality, Remark, SerialRead, SerialSource, Sign, Signature, Waited, Words,
};
use crate::method::gate::{Answer, Gate, LimitInfo, LimitSource, StepRef};
use crate::method::plan::{Confirmer, ReadingNeed, Requirement, SignatureNeed, WaitNeed};

/// Those who act and what they hold: everything that a rehearsal must not make up by itself.
pub struct Cast<'c> {
    /// A fresh entry id.
    pub entry_id: &'c mut dyn FnMut() -> EntryId,
    /// An instrument of a kind.
    pub instrument: &'c dyn Fn(&str) -> Option<InstrumentSnapshot>,
    /// A photo for a place: original, preview, capture.
    pub photo: &'c mut dyn FnMut(&Place) -> Shot,
    /// The other person of the crew.
    pub second_person: PersonId,
    /// The householder's name.
    pub householder: &'c str,
    /// What the serials count from.
    pub serial_base: u32,
}

/// Original, preview, capture.
pub type Shot = (PhotoFile, Option<PhotoFile>, CaptureId);

/// Something to write, under an id that was drawn for it.
#[derive(Clone, Debug)]
pub struct Said {
    /// The entry's id.
    pub id: EntryId,
    /// What it says.
    pub body: Body,
}

/// Good evidence for everything that a step still lacks, in the order in which to write it.
pub fn answers(gate: &mut Gate<'_, '_>, at: StepRef, cast: &mut Cast<'_>) -> Vec<Said> {
    let view = gate.view(at);
    let mut said = Vec::new();
    if !view.cautions_unread.is_empty() {
        let body = CautionsRead { at: gate.place(at, ""), cautions: view.cautions_unread.clone() };
        say(&mut said, cast, Body::CautionsRead(body));
    }
    for (requirement, answer) in view.step.requirements.iter().zip(&view.answers) {
        if !answer.lets_through() {
            let place = gate.place(at, requirement.id());
            answer_one(gate, at, place, requirement, answer, cast, &mut said);
        }
    }
    said
}

fn say(said: &mut Vec<Said>, cast: &mut Cast<'_>, body: Body) {
    let id = (cast.entry_id)();
    said.push(Said { id, body });
}

fn answer_one(
    gate: &Gate<'_, '_>,
    at: StepRef,
    place: Place,
    requirement: &Requirement,
    answer: &Answer,
    cast: &mut Cast<'_>,
    said: &mut Vec<Said>,
) {
    match requirement {
        Requirement::Photo(need) => {
            for _ in 0..need.count {
                let (original, preview, capture) = (cast.photo)(&place);
                let photo = Photo {
                    at: place.clone(),
                    capture,
                    original,
                    preview,
                    taken_ms: 0,
                    origin: PhotoOrigin::Camera,
                    corrects: None,
                    kept_anyway: false,
                };
                say(said, cast, Body::Photo(photo));
            }
        }
        Requirement::Reading(need) => {
            let micro = good_value(need, &gate.limit_at(at, &need.id));
            let reading = Reading {
                at: place,
                raw: crate::electrical::Quantity::of(need.unit, micro).plain(),
                micro: Some(micro),
                unit: need.unit.code(),
                sign: Sign::Equal,
                quality: ReadingQuality::Ok,
                instrument: need.instrument.as_deref().and_then(|kind| (cast.instrument)(kind)),
                corrects: None,
                test_voltage: None,
            };
            say(said, cast, Body::Reading(reading));
        }
        Requirement::Serial(_) => {
            let stored = serial(gate, at.slot, cast.serial_base);
            let read = SerialRead {
                at: place,
                raw: stored.clone(),
                stored,
                source: SerialSource::Typed,
                gtin: gate.record().model_of_slot(at.slot).and_then(|model| model.gtin.clone()),
                lot: None,
                corrects: None,
            };
            say(said, cast, Body::Serial(read));
        }
        Requirement::Confirmation(need) => {
            let mut confirmation = Confirmation {
                at: place.clone(),
                statement: Hash32::sha256(need.label.en.as_bytes()),
                person: None,
                named_in: None,
                corrects: None,
            };
            match need.by {
                Confirmer::Recorder => {}
                Confirmer::SecondPerson => confirmation.person = Some(cast.second_person),
                Confirmer::Householder => {
                    say(said, cast, Body::Remark(Remark { at: Some(place), text: cast.householder.to_owned() }));
                    confirmation.named_in = said.last().map(|remark| remark.id);
                }
            }
            say(said, cast, Body::Confirmation(confirmation));
        }
        Requirement::Choice(need) => {
            if let Some(option) = need.options.iter().find(|option| !option.fails) {
                say(said, cast, Body::Choice(Choice { at: place, option: option.id.clone(), corrects: None }));
            }
        }
        Requirement::Words(_) => {
            say(said, cast, Body::Words(Words { at: place, text: "V1.02".into(), corrects: None }));
        }
        Requirement::Wait(need) => {
            if let Answer::Missing { want, .. } = answer {
                let elapsed_ms = just_read_ms(said, need).max(*want);
                say(said, cast, Body::Waited(Waited { at: place, elapsed_ms, corrects: None }));
            }
        }
        Requirement::Countersign(need) => {
            let countersign = (cast.entry_id)();
            // Nobody's PIN: a server that opens it finds it wrong, as it should.
            let proof = CountersignProof { of: countersign, key: Hash32::NONE, sealed: b"rehearsal".to_vec().into() };
            say(said, cast, Body::CountersignProof(proof));
            let body = Countersign {
                at: place,
                statement: Hash32::sha256(need.label.en.as_bytes()),
                person: cast.second_person,
                proof: said.last().map_or(countersign, |proof| proof.id),
                corrects: None,
            };
            said.push(Said { id: countersign, body: Body::Countersign(body) });
        }
        Requirement::Signature(need) => sign(place, need, cast, said),
        // Follows from what was recorded.
        Requirement::Check(_) => {}
    }
}

/// What was read off a moment ago for this wait, in milliseconds.
fn just_read_ms(said: &[Said], need: &WaitNeed) -> u64 {
    let read = said.iter().rev().find_map(|one| match &one.body {
        Body::Reading(reading) if Some(&reading.at.requirement) == need.reading.as_ref() => reading.micro,
        _ => None,
    });
    u64::try_from(read.unwrap_or(0) / 1_000).unwrap_or(0)
}

fn sign(place: Place, need: &SignatureNeed, cast: &mut Cast<'_>, said: &mut Vec<Said>) {
    let wave = (0..16_u16).map(|step| (step * 60, if step % 2 == 0 { 200 } else { 300 })).collect();
    say(said, cast, Body::Drawing(Drawing { size: (1_000, 500), strokes: vec![wave] }));
    let mut signature = Signature {
        at: place.clone(),
        text: Hash32::sha256(need.label.en.as_bytes()),
        drawing: said.last().map_or_else(|| (cast.entry_id)(), |drawing| drawing.id),
        person: None,
        named_in: None,
        corrects: None,
    };
    match need.by {
        Confirmer::Recorder => {}
        Confirmer::SecondPerson => signature.person = Some(cast.second_person),
        Confirmer::Householder => {
            say(said, cast, Body::Remark(Remark { at: Some(place), text: cast.householder.to_owned() }));
            signature.named_in = said.last().map(|remark| remark.id);
        }
    }
    say(said, cast, Body::Signature(signature));
}

/// A serial in the form that the maker uses, different for each slot.
fn serial(gate: &Gate<'_, '_>, slot: u16, base: u32) -> String {
    let model = gate.record().model_of_slot(slot);
    let prefix = model.map_or("", |model| model.serial_prefix.as_str());
    let least = model.map_or(0, |model| usize::from(model.serial_length.0));
    let digits = least.saturating_sub(prefix.chars().filter(char::is_ascii_alphanumeric).count()).max(6);
    format!("{prefix}{:0digits$}", u64::from(base) + u64::from(slot))
}

/// A value inside the limit, of a size that a person would not wonder at.
fn good_value(need: &ReadingNeed, info: &LimitInfo) -> i64 {
    match info {
        LimitInfo::Known { limit: Limit { at_least: Some(least), at_most: Some(most) }, .. } => {
            least + (most - least) / 2
        }
        LimitInfo::Known { limit: Limit { at_least: Some(least), at_most: None }, .. } => {
            let wanted = match need.unit {
                Unit::Count => *least,
                Unit::Ohm => least.saturating_mul(200),
                _ => least / 5 * 8,
            };
            wanted.clamp(*least, need.sanity.1.0.max(*least))
        }
        // A computed upper limit has a floor of belief under it: stay near the expected value.
        LimitInfo::Known { limit: Limit { at_most: Some(most), .. }, source: LimitSource::Check(_) } => most / 4 * 3,
        LimitInfo::Known { limit: Limit { at_most: Some(most), .. }, .. } => most / 4,
        LimitInfo::Known { .. }
        | LimitInfo::None
        | LimitInfo::NoMakerFigure { .. }
        | LimitInfo::InputMissing { .. } => free_value(need),
    }
}

/// A value where nothing limits it.
fn free_value(need: &ReadingNeed) -> i64 {
    let usual = match need.unit {
        Unit::Volt => 500_000_000,
        Unit::Ohm => 20_000,
        Unit::Percent => 40_000_000,
        Unit::Watt => 3_200_000_000,
        Unit::Ampere => 8_100_000,
        Unit::Second => 65_000_000,
        Unit::Metre => 1_400_000,
        Unit::Celsius => 21_000_000,
        Unit::Count
        | Unit::WattHour
        | Unit::Hertz
        | Unit::MetrePerMetre
        | Unit::SquareMillimetre
        | Unit::NewtonMetre
        | Unit::Newton
        | Unit::Kelvin
        | Unit::Kilogram
        | Unit::Farad
        | Unit::Joule
        | Unit::AmpereSquaredSecond
        | Unit::Pascal
        | Unit::CaloriePerSquareCentimetre => need.sanity.0.0 / 2 + need.sanity.1.0 / 2,
    };
    usual.clamp(need.sanity.0.0, need.sanity.1.0)
}
