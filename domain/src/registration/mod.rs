//! The data that a maker wants before a warranty counts: what of it is there, what is missing, and until when.
//!
//! [`registration`] reads a folded job file; the desk lists what it says. Nothing is guessed: a day comes from evidence, a
//! serial from a scan that counts, and what a method does not ask for is not missing.
//!
//! Methods mark what belongs here by ids, since the words of steps are in many languages: [`COMMISSIONING`],
//! [`GRID_PROFILE`], [`FIRMWARE`], [`LABEL`]. **Never enters:** any maker's form, sending, a clock, a time zone (days come
//! in as a function).

use crate::identification::Serial;
use crate::identification::dates::{Date, Milestone, out_of_order, warranty_due};
use crate::ids::{EntryId, Hash32};
use crate::job_file::JobState;
use crate::job_file::body::{Body, Place, Slot, UnitKind};
use crate::job_file::record::{Evidence, PhaseEvent, Record};
use crate::method::gate::Plan;
use crate::method::plan::{Repeat, Requirement, Step};
use std::collections::BTreeSet;

/// Beginnings of the ids of steps or stages whose evidence shows that the installation was put into service.
pub const COMMISSIONING: [&str; 4] = ["first-power", "power-up", "commissioning", "settings"];
/// Id of the step or requirement about the grid profile that was set: choices made there, and words.
pub const GRID_PROFILE: &str = "grid-profile";
/// Id of the step or requirement about firmware versions: choices made there, and words.
pub const FIRMWARE: &str = "firmware";
/// Requirement id of a photo of a unit's label. A photo asked for beside the serial in the same step counts as well.
pub const LABEL: &str = "label";
/// Key of a model's figure: days within which the maker wants the registration, counted from commissioning.
pub const REGISTRATION_DAYS: &str = "registration_days";

const MICRO: i64 = 1_000_000;

/// What the job file cannot know.
#[derive(Clone, Copy)]
pub struct Around<'x> {
    /// Today where the site is.
    pub today: Date,
    /// The installing firm's name.
    pub installer: &'x str,
    /// Photo files that have arrived for this job.
    pub arrived: &'x BTreeSet<Hash32>,
    /// The site's day of a moment, microseconds since 1970 UTC.
    pub day_of: &'x dyn Fn(u64) -> Option<Date>,
}

/// One unit that the job brought, or an inverter that was there before and whose serial the method asks for.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct RegisteredUnit {
    /// Its place.
    pub slot: u16,
    /// What it is.
    pub kind: UnitKind,
    /// Maker's name.
    pub maker: String,
    /// Model name.
    pub model: String,
    /// GTIN of the label, or else of the catalogue.
    pub gtin: Option<String>,
    /// As printed; absent while nothing that counts was read.
    pub serial: Option<String>,
    /// Lot of the label.
    pub lot: Option<String>,
    /// The entry of the serial.
    pub entry: Option<EntryId>,
    /// Photos of its label.
    pub labels: Vec<Hash32>,
    /// Brought by this job; `false` for one that was there before.
    pub new: bool,
}

/// Something that the registration still needs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(tag = "code", rename_all = "snake_case")]
pub enum Missing {
    /// The firm has no name.
    Installer,
    /// Householder's name.
    Householder,
    /// Street or town.
    SiteAddress,
    /// Nobody has said which units the job has.
    Equipment,
    /// A unit without a serial.
    Serial {
        /// Where.
        slot: u16,
    },
    /// The text in this slot is not a serial.
    SerialUnreadable {
        /// Where.
        slot: u16,
    },
    /// Two slots have the same serial.
    SerialTwice {
        /// The one.
        slot: u16,
        /// The other.
        other: u16,
    },
    /// A unit without a photo of its label.
    LabelPhoto {
        /// Where.
        slot: u16,
    },
    /// Nothing shows when the units were mounted.
    InstalledOn,
    /// Nothing shows when the installation was put into service.
    CommissionedOn,
    /// The method asks for it.
    GridProfile,
    /// The method asks for it.
    Firmware,
    /// Photos that entries name and that are not here.
    Photos {
        /// How many.
        count: u32,
    },
    /// The review has not passed.
    Review,
}

/// Until when the maker wants to have it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Deadline {
    /// Last day that is in time.
    pub due: Date,
    /// Days from today to it; negative when it has passed.
    pub days_left: i64,
}

/// What there is to register.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Registration {
    /// The firm.
    pub installer: String,
    /// Householder, street, town, telephone, e-mail, connection point; empty where nobody wrote it.
    pub householder: String,
    /// Street and house.
    pub street: String,
    /// Town with postcode.
    pub town: String,
    /// Telephone.
    pub phone: String,
    /// E-mail.
    pub email: String,
    /// Connection point.
    pub grid_point: String,
    /// New units, and inverters of before whose serial the method asks for, by slot.
    pub units: Vec<RegisteredUnit>,
    /// The day of the last serial of a new unit that counts: then all units were in their places.
    pub installed_on: Option<Date>,
    /// The day of the last commissioning evidence, or else of the passed review.
    pub commissioned_on: Option<Date>,
    /// Grid profile.
    pub grid_profile: Option<String>,
    /// Firmware versions.
    pub firmware: Option<String>,
    /// The earliest of the makers' deadlines, once the installation was put into service.
    pub deadline: Option<Deadline>,
    /// Days that contradict each other: a warning, for makers reject such data.
    pub out_of_order: Vec<(Milestone, Milestone)>,
    /// What is missing, in the order of the form.
    pub missing: Vec<Missing>,
    /// Nothing is.
    pub complete: bool,
}

/// Gathers what a job has for the registration of its units.
pub fn registration(state: &JobState<'_, '_>, around: Around<'_>) -> Registration {
    let record = state.gate.record();
    let plan = state.gate.plan();
    let units = units(record, plan);
    let site = record.site.as_ref().map(|latest| latest.value.clone()).unwrap_or_default();
    let installed_on = units
        .iter()
        .filter(|unit| unit.new)
        .filter_map(|unit| unit.entry)
        .filter_map(|entry| state.keys.get(&entry))
        .map(|key| key.at)
        .max()
        .and_then(around.day_of);
    let commissioned_on = commissioned_at(record, plan).and_then(around.day_of);
    let milestones: Vec<(Milestone, Date)> = [
        (Milestone::Installation, installed_on),
        (Milestone::Commissioning, commissioned_on),
        (Milestone::Registration, Some(around.today)),
    ]
    .into_iter()
    .filter_map(|(milestone, day)| day.map(|day| (milestone, day)))
    .collect();
    let mut found = Registration {
        installer: around.installer.trim().to_owned(),
        householder: site.householder,
        street: site.street,
        town: site.town,
        phone: site.phone,
        email: site.email,
        grid_point: site.grid_point,
        units,
        installed_on,
        commissioned_on,
        grid_profile: said_at(record, plan, GRID_PROFILE),
        firmware: said_at(record, plan, FIRMWARE),
        deadline: commissioned_on.and_then(|day| deadline(record, day, around.today)),
        out_of_order: out_of_order(&milestones),
        missing: Vec::new(),
        complete: false,
    };
    found.missing = missing(&found, state, around.arrived);
    found.complete = found.missing.is_empty();
    found
}

/// The units that are new in this job, by slot.
fn new_slots<'a>(record: &Record<'a>) -> Vec<&'a Slot> {
    slots_where(record, |slot| slot.new)
}

fn slots_where<'a>(record: &Record<'a>, wanted: impl Fn(&Slot) -> bool) -> Vec<&'a Slot> {
    let Some(equipment) = &record.equipment else { return Vec::new() };
    let mut slots: Vec<&Slot> = equipment.value.slots.iter().filter(|slot| wanted(slot)).collect();
    slots.sort_by_key(|slot| slot.number);
    slots
}

/// The method reads the serials of inverters that were there before.
fn reads_existing(plan: &Plan<'_>) -> bool {
    let reads = |step: &Step| step.requirements.iter().any(|need| matches!(need, Requirement::Serial(_)));
    plan.method().steps.iter().any(|step| step.repeat == Some(Repeat::ExistingInverter) && reads(step))
}

fn units(record: &Record<'_>, plan: &Plan<'_>) -> Vec<RegisteredUnit> {
    let with_existing = reads_existing(plan);
    let slots = slots_where(record, |_| true);
    let known = slots.into_iter().filter_map(|slot| Some((slot.number, slot.new, record.model_of_slot(slot.number)?)));
    known
        .filter(|(_, new, model)| *new || (with_existing && model.kind == UnitKind::Inverter))
        .map(|(slot, new, model)| {
            let read = serial_of(record, slot);
            let body = read.as_ref().and_then(|evidence| match evidence.body {
                Body::Serial(serial) => Some(serial),
                _ => None,
            });
            RegisteredUnit {
                slot,
                kind: model.kind,
                maker: model.maker.clone(),
                model: model.name.clone(),
                gtin: body.and_then(|serial| serial.gtin.clone()).or_else(|| model.gtin.clone()),
                serial: body.map(|serial| serial.stored.clone()),
                lot: body.and_then(|serial| serial.lot.clone()),
                entry: read.map(|evidence| evidence.key.id),
                labels: labels(record, plan, slot),
                new,
            }
        })
        .collect()
}

/// The serial that counts in a slot, wherever the method asks for it; the latest, if it does so twice.
fn serial_of<'a>(record: &Record<'a>, slot: u16) -> Option<Evidence<'a>> {
    let places = record.evidence.keys().filter(|place| place.slot == slot);
    let last = places.filter_map(|place| record.counting(place).last().copied());
    last.filter(|evidence| matches!(evidence.body, Body::Serial(_))).max_by_key(|evidence| evidence.key)
}

fn labels(record: &Record<'_>, plan: &Plan<'_>, slot: u16) -> Vec<Hash32> {
    let mut hashes = Vec::new();
    for place in label_places(plan, slot) {
        for evidence in record.counting(&place) {
            if let Body::Photo(photo) = evidence.body {
                hashes.push(photo.original.hash);
            }
        }
    }
    hashes.sort_unstable();
    hashes.dedup();
    hashes
}

/// Where photos of a unit's label go: a requirement of that id, or a photo in the step that reads the serial.
fn label_places(plan: &Plan<'_>, slot: u16) -> Vec<Place> {
    let mut places = Vec::new();
    for step in plan.method().steps.iter().filter(|step| step.repeat.is_some()) {
        let reads = step.requirements.iter().any(|need| matches!(need, Requirement::Serial(_)));
        let photos = step.requirements.iter().filter(|need| matches!(need, Requirement::Photo(_)));
        let of_label = photos.filter(|need| reads || need.id() == LABEL);
        places.extend(of_label.map(|need| Place::of(&step.id, slot, need.id())));
    }
    places
}

/// When the installation was put into service, as far as evidence shows.
fn commissioned_at(record: &Record<'_>, plan: &Plan<'_>) -> Option<u64> {
    let shows = |place: &Place| {
        let step = plan.index_of(&place.step).map(|index| plan.step(index));
        step.is_some_and(|step| {
            COMMISSIONING.iter().any(|begins| step.id.starts_with(begins) || step.stage.starts_with(begins))
        })
    };
    let places = record.evidence.keys().filter(|place| shows(place));
    let by_evidence = places.filter_map(|place| record.counting(place).last().map(|evidence| evidence.key.at)).max();
    by_evidence.or_else(|| {
        let passed = record.phases.iter().filter(|(_, (event, _))| *event == PhaseEvent::Passed);
        passed.map(|(key, _)| key.at).max()
    })
}

/// What was chosen and written where a step or requirement of this id asks, each once. A choice gives the option's English words.
fn said_at(record: &Record<'_>, plan: &Plan<'_>, about: &str) -> Option<String> {
    let mut said: Vec<String> = Vec::new();
    for step in plan.method().steps.iter().filter(|step| is_about(step, about)) {
        let here = |place: &Place| place.step == step.id && (step.id == about || place.requirement == about);
        for place in record.evidence.keys().filter(|place| here(place)) {
            match (record.counting(place).last().map(|evidence| evidence.body), step.requirement(&place.requirement)) {
                (Some(Body::Choice(chosen)), Some(Requirement::Choice(choice))) => {
                    let option = choice.options.iter().find(|option| option.id == chosen.option);
                    said.push(option.map_or_else(|| chosen.option.clone(), |option| option.label.en.clone()));
                }
                (Some(Body::Words(words)), Some(Requirement::Words(_))) => {
                    // One of several units says whose words these are.
                    let unit = record.model_of_slot(place.slot).map(|model| format!("{}: ", model.name));
                    said.push(format!("{}{}", unit.unwrap_or_default(), words.text.trim()));
                }
                _ => {}
            }
        }
        let mut words: Vec<_> = record.remarks.values().filter(|(_, _, at, _)| at.is_some_and(here)).collect();
        words.sort_by_key(|(key, _, _, _)| *key);
        said.extend(words.into_iter().map(|(_, _, _, text)| (*text).to_owned()));
    }
    let mut seen = BTreeSet::new();
    said.retain(|text| !text.trim().is_empty() && seen.insert(text.clone()));
    (!said.is_empty()).then(|| said.join("; "))
}

fn is_about(step: &Step, about: &str) -> bool {
    step.id == about || step.requirement(about).is_some()
}

fn asks_for(plan: &Plan<'_>, about: &str) -> bool {
    plan.method().steps.iter().any(|step| is_about(step, about))
}

/// The earliest deadline of the new units' makers. Not a guess: without the maker's figure there is none.
fn deadline(record: &Record<'_>, commissioned: Date, today: Date) -> Option<Deadline> {
    let models = new_slots(record).into_iter().filter_map(|slot| record.model_of_slot(slot.number));
    let days = models.filter_map(|model| model.value(REGISTRATION_DAYS)).map(|micro| micro / MICRO);
    let least = days.filter_map(|days| u16::try_from(days).ok()).filter(|days| *days > 0).min()?;
    let due = warranty_due(commissioned, least).ok()?;
    Some(Deadline { due, days_left: due.unix_days() - today.unix_days() })
}

fn missing(found: &Registration, state: &JobState<'_, '_>, arrived: &BTreeSet<Hash32>) -> Vec<Missing> {
    let record = state.gate.record();
    let plan = state.gate.plan();
    let empty = |text: &str| text.trim().is_empty();
    let mut missing = Vec::new();
    let mut need = |absent: bool, what: Missing| {
        if absent {
            missing.push(what);
        }
    };
    need(empty(&found.installer), Missing::Installer);
    need(empty(&found.householder), Missing::Householder);
    need(empty(&found.street) || empty(&found.town), Missing::SiteAddress);
    need(found.units.is_empty(), Missing::Equipment);
    let asks_labels = !label_places(plan, 0).is_empty();
    let mut keys: Vec<(String, u16)> = Vec::new();
    for unit in &found.units {
        let slot = unit.slot;
        match unit.serial.as_deref().map(Serial::of) {
            None => need(true, Missing::Serial { slot }),
            Some(Err(_)) => need(true, Missing::SerialUnreadable { slot }),
            Some(Ok(serial)) => {
                if let Some((_, other)) = keys.iter().find(|(key, _)| *key == serial.match_key) {
                    need(true, Missing::SerialTwice { slot, other: *other });
                }
                keys.push((serial.match_key, slot));
            }
        }
        need(asks_labels && unit.labels.is_empty(), Missing::LabelPhoto { slot });
    }
    need(found.installed_on.is_none(), Missing::InstalledOn);
    need(found.commissioned_on.is_none(), Missing::CommissionedOn);
    need(found.grid_profile.is_none() && asks_for(plan, GRID_PROFILE), Missing::GridProfile);
    need(found.firmware.is_none() && asks_for(plan, FIRMWARE), Missing::Firmware);
    let on_the_way = photos_on_the_way(record, arrived);
    need(on_the_way > 0, Missing::Photos { count: on_the_way });
    need(!state.phase.has_passed(), Missing::Review);
    missing
}

/// Originals of evidence that counts, which have neither arrived nor been given up with a reason.
fn photos_on_the_way(record: &Record<'_>, arrived: &BTreeSet<Hash32>) -> u32 {
    let counting = record.evidence.keys().flat_map(|place| record.counting(place));
    let named: BTreeSet<Hash32> = counting
        .filter_map(|evidence| match evidence.body {
            Body::Photo(photo) => Some(photo.original.hash),
            _ => None,
        })
        .collect();
    let absent = named.iter().filter(|hash| !arrived.contains(hash) && !record.photos_absent.contains_key(hash));
    u32::try_from(absent.count()).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests;
