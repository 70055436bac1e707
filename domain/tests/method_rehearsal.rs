//! Every built-in method, walked through by the gates themselves: good work closes it, and each single omission or bad
//! value keeps what depends on it shut. The cases are generated from the method, not picked by hand.
#![cfg(feature = "methods")]
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

use domain::ids::{
    CaptureId, DeviceId, EntryId, FirmId, Hash32, InstrumentId, JobId, ModelId, PersonId, SiteId, uuid_v7,
};
use domain::job_file::body::*;
use domain::job_file::{Body, Draft, Entry, JobFile, Place, Stamp, fold};
use domain::method::gate::{Obstacle, Plan, StepRef, StepState};
use domain::method::plan::{LimitRule, Method, Requirement};
use domain::rehearsal::{Cast, Said, answers};
use std::collections::BTreeSet;

const METHODS: [&str; 1] = [include_str!("../../server/methods/series-stack-floor.toml")];
const START_US: u64 = 1_767_225_600_000_000;
const MODULES: u16 = 3;

fn id(kind: u8, number: u64) -> uuid::Uuid {
    let mut random = [kind; 10];
    random[2..].copy_from_slice(&number.to_be_bytes());
    uuid_v7(START_US / 1_000 + number, &random)
}
fn lead() -> (PersonId, DeviceId) {
    (PersonId::of(id(1, 1)), DeviceId::of(id(2, 1)))
}
fn tech() -> (PersonId, DeviceId) {
    (PersonId::of(id(1, 2)), DeviceId::of(id(2, 2)))
}

/// Writes entries as one device after another would and stamps them at once.
#[derive(Clone, Default)]
struct Log {
    file: JobFile,
    made: u64,
}

impl Log {
    fn write(&mut self, (author, device): (PersonId, DeviceId), entry: EntryId, body: Body) {
        self.made += 1;
        let draft = Draft {
            id: entry,
            firm: FirmId::of(id(5, 1)),
            job: JobId::of(id(6, 1)),
            author,
            device,
            salt: [7; 16],
            body,
        };
        let time_us = START_US + self.made * 1_000_000;
        let entry = Entry::write(draft, self.file.chain_head(device), self.made - 1, time_us, 0);
        self.file.absorb(entry, Some(Stamp { time_us, position: self.made }));
    }
}

fn model(kind: UnitKind, number: u64, values: &[(&str, i64)]) -> ModelSnapshot {
    ModelSnapshot {
        model: ModelId::of(id(3, number)),
        version: 1,
        kind,
        maker: "Maker".into(),
        name: "Model".into(),
        gtin: None,
        serial_prefix: "MK".into(),
        serial_length: (10, 10),
        values: values.iter().map(|(key, value)| ((*key).to_owned(), *value)).collect(),
    }
}

fn opening(method: &Method) -> Log {
    let module = [
        ("ocv_min", 51_000_000),
        ("ocv_max", 53_800_000),
        ("spread_max", 200_000),
        ("soc_spread_max", 5_000_000),
        ("temp_min", 5_000_000),
        ("temp_max", 40_000_000),
        ("cells", 16_000_000),
        ("cell_min", 2_500_000),
        ("cell_max", 3_650_000),
        ("depth_m", 360_000),
        ("torque_link_nm_min", 5_000_000),
        ("torque_link_nm_max", 6_000_000),
        ("clearance_side_m", 300_000),
        ("clearance_top_m", 300_000),
        ("clearance_front_m", 800_000),
    ];
    let control = [
        ("torque_bracket_nm_min", 9_000_000),
        ("torque_bracket_nm_max", 11_000_000),
        ("torque_pe_nm_min", 3_500_000),
        ("torque_pe_nm_max", 4_500_000),
        ("torque_dc_nm_min", 5_000_000),
        ("torque_dc_nm_max", 6_000_000),
        ("bracket_capacity_n", 1_200_000_000),
    ];
    let inverter = [
        ("dc_min", 120_000_000),
        ("dc_max", 600_000_000),
        ("discharge_wait_s", 300_000_000),
        ("torque_dc_nm_min", 2_500_000),
        ("torque_dc_nm_max", 3_000_000),
    ];
    let design = [
        ("energy_total_wh", 15_360_000_000),
        ("energy_limit_wh", 40_000_000_000),
        ("dc_device_rating_v", 1_000_000_000),
        ("dc_nominal_v", 153_600_000),
        ("dc_cable_size_mm2", 6_000_000),
        ("dc_cable_class", 5_000_000),
        ("dc_cable_length_m", 4_000_000),
        ("dc_cable_joints", 2_000_000),
        ("pe_size_mm2", 6_000_000),
        ("pe_class", 2_000_000),
        ("pe_length_m", 8_000_000),
        ("pe_joints", 2_000_000),
        ("pe_joints_module", 4_000_000),
        ("pe_cap_ohm", 500_000),
        ("ambient_c", 20_000_000),
        ("ac_nominal_v", 230_000_000),
        ("loop_max_ohm", 1_093_000),
        ("export_limit_w", 3_680_000_000),
        ("opening_distance_m", 1_000_000),
        ("stack_mass_kg", 180_000_000),
        ("stack_gravity_height_m", 600_000),
        ("bracket_height_m", 1_100_000),
    ];
    let mut slots: Vec<Slot> = (1..=MODULES).map(|number| Slot { number, model: 0, new: true }).collect();
    slots.push(Slot { number: MODULES + 1, model: 1, new: true });
    slots.push(Slot { number: MODULES + 2, model: 2, new: false });
    let models = vec![
        model(UnitKind::Module, 1, &module),
        model(UnitKind::ControlUnit, 2, &control),
        model(UnitKind::Inverter, 3, &inverter),
    ];
    let values = design.iter().map(|(key, value)| ((*key).to_owned(), *value)).collect();
    let crew = |person, role| Assigned { person, role, tickets: Vec::new() };
    let bodies = vec![
        Body::JobPlanned(JobPlanned {
            purpose: Purpose::Install,
            site: SiteId::of(id(4, 1)),
            method: method.reference(),
            rule_set: "neutral 1".into(),
        }),
        Body::Equipment(Equipment { models, slots }),
        Body::DesignInputs(DesignInputs { values }),
        Body::Consent(Consent { state: ConsentState::NotNeeded, reference: String::new() }),
        Body::Assignment(Assignment {
            crew: vec![crew(tech().0, CrewRole::Technician), crew(lead().0, CrewRole::Lead)],
        }),
    ];
    let mut log = Log::default();
    for (number, body) in bodies.into_iter().enumerate() {
        log.write(lead(), EntryId::of(id(8, number as u64)), body);
    }
    log
}

fn rehearse(plan: &Plan<'_>, made: &mut u64, at: StepRef, file: &JobFile) -> Vec<Said> {
    let mut state = fold(file, plan);
    let numbers = std::cell::Cell::new(*made);
    let next = || {
        numbers.set(numbers.get() + 1);
        numbers.get()
    };
    let instrument = |kind: &str| {
        Some(InstrumentSnapshot {
            id: InstrumentId::of(id(7, 1)),
            kind: kind.to_owned(),
            label: "meter".into(),
            calibration_due: "2027-01-01".into(),
        })
    };
    let mut cast = Cast {
        entry_id: &mut || EntryId::of(id(9, next())),
        instrument: &instrument,
        photo: &mut |_| {
            let number = next();
            let file = PhotoFile {
                hash: Hash32::sha256(&number.to_be_bytes()),
                bytes: 1,
                width: 1,
                height: 1,
                media: MediaType::Jpeg,
            };
            (file, None, CaptureId::of(id(11, number)))
        },
        second_person: lead().0,
        householder: "Householder",
        serial_base: 0,
    };
    let said = answers(&mut state.gate, at, &mut cast);
    *made = numbers.get();
    said
}

/// Works the whole method; gives the log and, for each entry of evidence, where it belongs.
fn perfect_run(plan: &Plan<'_>) -> Log {
    let mut log = opening(plan.method());
    let mut made = 0;
    loop {
        let next = {
            let mut state = fold(&log.file, plan);
            assert!(state.breaches.is_empty(), "good work makes no breach: {:?}", state.breaches);
            let open = state.gate.unfinished();
            if open.is_empty() {
                return log;
            }
            open.into_iter().find(|at| state.gate.obstacles(*at).is_empty())
        };
        let at = next.expect("some step is open while the job is unfinished");
        let said = rehearse(plan, &mut made, at, &log.file);
        for one in said {
            log.write(tech(), one.id, one.body);
        }
        let mut state = fold(&log.file, plan);
        let view = state.gate.view(at);
        assert!(
            state.gate.is_done(at),
            "{} slot {} is not closed by good work: {:?}",
            view.step.id,
            at.slot,
            view.answers
        );
    }
}

/// The same log without the evidence at a place, or with it changed.
fn altered(log: &Log, place: &Place, change: &dyn Fn(&Body) -> Option<Body>) -> JobFile {
    let mut out = Log::default();
    let mut held: Vec<_> = log.file.iter().collect();
    held.sort_by_key(|held| held.stamp.unwrap().position);
    for held in held {
        let header = &held.entry.header;
        let body = held.entry.body().unwrap();
        let body = if body.evidence_place() == Some(place) { change(body) } else { Some(body.clone()) };
        match body {
            Some(body) => out.write((header.author, header.device), header.id, body),
            None => continue,
        }
    }
    out.file
}

/// Steps that are shut because of others, and whether the step itself is done.
fn outcome(file: &JobFile, plan: &Plan<'_>, at: StepRef) -> (BTreeSet<StepRef>, bool) {
    let mut state = fold(file, plan);
    let shut = state
        .gate
        .steps()
        .into_iter()
        .filter(|step| {
            let view = state.gate.view(*step);
            matches!(&view.state, StepState::Locked { by } if by.iter().any(|o| matches!(o, Obstacle::Step(_))))
        })
        .collect();
    (shut, state.gate.is_done(at))
}

/// What the method says must wait for a step.
fn dependents(plan: &Plan<'_>, file: &JobFile, at: StepRef) -> BTreeSet<StepRef> {
    let mut state = fold(file, plan);
    let all = state.gate.steps();
    all.into_iter()
        .filter(|step| {
            let applicable = !matches!(state.gate.view(*step).state, StepState::NotApplicable);
            let by_need = plan.needs_of(step.step).iter().any(|need| {
                need.step == at.step && (need.reach != domain::method::gate::Reach::Slot || step.slot == at.slot)
            });
            // Steps in order wait for their own slots before them, and whoever waits for those waits as well.
            let in_order = step.step == at.step && plan.step(step.step).in_order && step.slot > at.slot;
            applicable && (by_need || in_order)
        })
        .collect()
}

/// A value that fails, where the requirement can fail at all.
fn bad(requirement: &Requirement, body: &Body) -> Option<Body> {
    match (requirement, body) {
        (Requirement::Reading(need), Body::Reading(reading)) => {
            let limit = need.limit.as_ref()?;
            let micro = match limit {
                LimitRule::Constant(limit) => match (limit.at_most, limit.at_least) {
                    (Some(most), _) => most.0 + 1,
                    (None, Some(least)) => least.0 - 1,
                    (None, None) => return None,
                },
                LimitRule::Model(limit) if limit.at_most.is_some() => need.sanity.1.0,
                LimitRule::Model(_) => need.sanity.0.0,
                LimitRule::Check(call) if call.check == "F05" => 1,
                LimitRule::Check(_) => need.sanity.1.0,
            };
            Some(Body::Reading(Reading { micro: Some(micro), ..reading.clone() }))
        }
        (Requirement::Choice(need), Body::Choice(choice)) => {
            let option = need.options.iter().find(|option| option.fails)?.id.clone();
            Some(Body::Choice(Choice { option, ..choice.clone() }))
        }
        (Requirement::Wait(_), Body::Waited(waited)) => {
            Some(Body::Waited(Waited { elapsed_ms: waited.elapsed_ms - 1, ..waited.clone() }))
        }
        (Requirement::Serial(_), Body::Serial(serial)) => {
            Some(Body::Serial(SerialRead { stored: "АВС".into(), ..serial.clone() }))
        }
        (Requirement::Confirmation(need), Body::Confirmation(confirmation)) => {
            let named = need.by != domain::method::plan::Confirmer::Recorder;
            named.then(|| Body::Confirmation(Confirmation { person: None, named_in: None, ..confirmation.clone() }))
        }
        _ => None,
    }
}

#[test]
fn good_work_closes_each_method_and_every_omission_shuts_what_follows() {
    for text in METHODS {
        let method = domain::method::load::from_toml(text).unwrap();
        let plan = Plan::of(&method);
        let log = perfect_run(&plan);
        let (shut, _) = outcome(&log.file, &plan, StepRef { step: 0, slot: 0 });
        assert!(shut.is_empty());
        let mut omissions = 0;
        let mut failures = 0;
        for at in fold(&log.file, &plan).gate.steps() {
            let mut state = fold(&log.file, &plan);
            if matches!(state.gate.view(at).state, StepState::NotApplicable) {
                continue;
            }
            let waits_for = dependents(&plan, &log.file, at);
            for requirement in &plan.step(at.step).requirements {
                let place = state.gate.place(at, requirement.id());
                let switches = method.steps.iter().any(|step| {
                    step.when
                        .as_ref()
                        .is_some_and(|when| when.step == place.step && when.requirement == place.requirement)
                });
                if matches!(requirement, Requirement::Check(_)) || switches {
                    continue;
                }
                let without = altered(&log, &place, &|_| None);
                let (shut, done) = outcome(&without, &plan, at);
                assert!(!done, "{place:?} left out and the step is done");
                assert!(waits_for.is_subset(&shut), "{place:?} left out: {:?} stay open", waits_for.difference(&shut));
                omissions += 1;
                let some_bad = without.len() < log.file.len()
                    && log
                        .file
                        .iter()
                        .filter_map(|h| h.entry.body())
                        .any(|body| body.evidence_place() == Some(&place) && bad(requirement, body).is_some());
                if some_bad {
                    let spoiled = altered(&log, &place, &|body| bad(requirement, body));
                    let (shut, done) = outcome(&spoiled, &plan, at);
                    assert!(!done, "{place:?} with a bad value and the step is done");
                    assert!(waits_for.is_subset(&shut), "{place:?} bad: {:?} stay open", waits_for.difference(&shut));
                    failures += 1;
                }
            }
        }
        println!("{}: {omissions} omissions and {failures} bad values, each shut what follows", method.id);
        assert!(omissions > 150 && failures > 80, "{omissions} {failures}");
    }
}
