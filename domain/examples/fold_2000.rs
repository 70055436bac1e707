//! Prints the median milliseconds of a fold over a job file of 2,000 entries, with the state of every step worked out.
//!
//! The file is that of the built-in method with ten modules, worked by two devices, each requirement answered again and
//! again until there are 2,000 entries: more than any real job.
#![allow(clippy::unwrap_used, reason = "a bench that panics has failed")]

#[path = "../tests/built_in/mod.rs"]
mod built_in;

use domain::ids::{CaptureId, DeviceId, EntryId, FirmId, Hash32, JobId, ModelId, PersonId, SiteId, uuid_v7};
use domain::job_file::body::*;
use domain::job_file::{Body, Draft, Entry, JobFile, Place, Stamp, fold};
use domain::method::gate::Plan;
use domain::method::plan::Requirement;

const ENTRIES: usize = 2_000;
const RUNS: usize = 11;
const START_US: u64 = 1_767_225_600_000_000;

fn id(kind: u8, number: u64) -> uuid::Uuid {
    let mut random = [kind; 10];
    random[2..].copy_from_slice(&number.to_be_bytes());
    uuid_v7(START_US / 1_000 + number, &random)
}

fn main() {
    let method = domain::method::load::compose("series-stack-floor.toml", built_in::FILES).unwrap().method;
    let plan = Plan::of(&method);
    let mut file = JobFile::default();
    let lead = (PersonId::of(id(1, 1)), DeviceId::of(id(2, 1)));
    let tech = (PersonId::of(id(1, 2)), DeviceId::of(id(2, 2)));
    let model = |kind, number| ModelSnapshot {
        model: ModelId::of(id(3, number)),
        version: 1,
        kind,
        maker: "m".into(),
        name: "n".into(),
        gtin: None,
        serial_prefix: String::new(),
        serial_length: (0, 0),
        values: Vec::new(),
    };
    let mut slots: Vec<Slot> = (1..=10).map(|number| Slot { number, model: 0, new: true }).collect();
    slots.push(Slot { number: 11, model: 1, new: true });
    slots.push(Slot { number: 12, model: 2, new: false });
    let models = vec![model(UnitKind::Module, 1), model(UnitKind::ControlUnit, 2), model(UnitKind::Inverter, 3)];
    let opening = [
        Body::JobPlanned(JobPlanned {
            purpose: Purpose::Install,
            site: SiteId::of(id(4, 1)),
            method: method.reference(),
            rule_set: "neutral 1".into(),
        }),
        Body::Equipment(Equipment { models, slots }),
        Body::Assignment(Assignment {
            crew: vec![Assigned { person: tech.0, role: CrewRole::Technician, tickets: Vec::new() }],
        }),
    ];
    let mut number = 0u64;
    for body in opening {
        number += 1;
        add(&mut file, lead, body, number);
    }
    let mut places = Vec::new();
    for step in &method.steps {
        let slots: Vec<u16> = if step.repeat.is_some() { (1..=10).collect() } else { vec![0] };
        for slot in slots {
            for requirement in &step.requirements {
                places.push((Place::of(&step.id, slot, requirement.id()), requirement));
            }
        }
    }
    'outer: loop {
        for (place, requirement) in &places {
            if file.len() >= ENTRIES {
                break 'outer;
            }
            if let Some(body) = body(place, requirement, number) {
                number += 1;
                add(&mut file, if number.is_multiple_of(5) { lead } else { tech }, body, number);
            }
        }
    }
    let mut times: Vec<f64> = (0..RUNS)
        .map(|_| {
            let start = std::time::Instant::now();
            let mut state = fold(&file, &plan);
            let steps = state.gate.steps();
            let done = steps.iter().filter(|at| state.gate.is_done(**at)).count();
            assert!(steps.len() > 100 && done <= steps.len());
            start.elapsed().as_secs_f64() * 1_000.0
        })
        .collect();
    times.sort_by(f64::total_cmp);
    println!("{:.3}", times[RUNS / 2]);
}

fn add(file: &mut JobFile, (author, device): (PersonId, DeviceId), body: Body, number: u64) {
    let draft = Draft {
        id: EntryId::of(id(9, number)),
        firm: FirmId::of(id(5, 1)),
        job: JobId::of(id(6, 1)),
        author,
        device,
        salt: [7; 16],
        body,
    };
    let time_us = START_US + number * 1_000_000;
    let entry = Entry::write(draft, file.chain_head(device), file.len() as u64, time_us, 0);
    let position = file.len() as u64 + 1;
    file.absorb(entry, Some(Stamp { time_us, position }));
}

fn body(place: &Place, requirement: &Requirement, number: u64) -> Option<Body> {
    let at = place.clone();
    Some(match requirement {
        Requirement::Photo(_) => Body::Photo(Photo {
            at,
            capture: CaptureId::of(id(8, number)),
            original: PhotoFile {
                hash: Hash32::sha256(&number.to_be_bytes()),
                bytes: 4_000_000,
                width: 4000,
                height: 3000,
                media: MediaType::Jpeg,
            },
            preview: None,
            taken_ms: number,
            origin: PhotoOrigin::Camera,
            corrects: None,
            kept_anyway: false,
        }),
        Requirement::Reading(need) => Body::Reading(Reading {
            at,
            raw: "1".into(),
            micro: Some(1_000_000),
            unit: need.unit.code(),
            sign: Sign::Equal,
            quality: ReadingQuality::Ok,
            instrument: None,
            corrects: None,
            test_voltage: None,
        }),
        Requirement::Serial(_) => Body::Serial(SerialRead {
            at,
            raw: number.to_string(),
            stored: format!("S{number}"),
            source: SerialSource::Typed,
            gtin: None,
            lot: None,
            corrects: None,
        }),
        Requirement::Confirmation(_) => Body::Confirmation(Confirmation {
            at,
            statement: Hash32::NONE,
            person: None,
            named_in: None,
            corrects: None,
        }),
        Requirement::Choice(need) => {
            Body::Choice(Choice { at, option: need.options.first()?.id.clone(), corrects: None })
        }
        Requirement::Wait(_) => Body::Waited(Waited { at, elapsed_ms: 600_000, corrects: None }),
        Requirement::Words(_) => Body::Words(Words { at, text: "V1.02".into(), corrects: None }),
        Requirement::Countersign(_) | Requirement::Signature(_) | Requirement::Check(_) => return None,
    })
}
