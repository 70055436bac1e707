//! A job of a built-in method, worked from the first to the last step by the gates themselves.
#![allow(dead_code, reason = "each test binary uses its part")]

use domain::design::Following;
use domain::electrical::rule_set::{Place as Country, RuleSet};
use domain::ids::{
    CaptureId, DeviceId, EntryId, FirmId, Hash32, InstrumentId, JobId, ModelId, PersonId, SiteId, uuid_v7,
};
use domain::job_file::body::*;
use domain::job_file::{Body, Draft, Entry, JobFile, Place, Stamp, fold_for};
use domain::method::gate::{Obstacle, Plan, StepRef};
use domain::method::plan::{Method, Requirement, When};
use domain::rehearsal::{Cast, Said, answers};
use std::collections::BTreeMap;
use std::sync::Mutex;

pub const START_US: u64 = 1_767_225_600_000_000;

pub fn id(kind: u8, number: u64) -> uuid::Uuid {
    let mut random = [kind; 10];
    random[2..].copy_from_slice(&number.to_be_bytes());
    uuid_v7(START_US / 1_000 + number, &random)
}
pub type Who = (PersonId, DeviceId);
pub fn lead() -> Who {
    (PersonId::of(id(1, 1)), DeviceId::of(id(2, 1)))
}
pub fn tech() -> Who {
    (PersonId::of(id(1, 2)), DeviceId::of(id(2, 2)))
}
/// The server's own device stands where a person would.
pub fn server() -> Who {
    (PersonId::of(id(2, 3)), DeviceId::of(id(2, 3)))
}

/// One thing that somebody writes.
#[derive(Clone, Debug)]
pub struct Line {
    pub who: Who,
    pub id: EntryId,
    pub body: Body,
}

/// Entries in the order in which they were written and arrived at once.
#[derive(Clone, Debug, Default)]
pub struct Log {
    pub lines: Vec<Line>,
    pub file: JobFile,
    /// How much later everything from here on is written than a second after the line before, in microseconds.
    pub later_us: u64,
    heads: BTreeMap<DeviceId, (domain::job_file::ChainHead, u64)>,
}

impl Log {
    pub fn write(&mut self, who: Who, entry: EntryId, body: Body) {
        let made = self.lines.len() as u64 + 1;
        let time_us = self.next_us();
        self.lines.push(Line { who, id: entry, body: body.clone() });
        let draft = Draft {
            id: entry,
            firm: FirmId::of(id(5, 1)),
            job: JobId::of(id(6, 1)),
            author: who.0,
            device: who.1,
            salt: [7; 16],
            body,
        };
        let head = self.heads.get(&who.1).map_or(domain::job_file::ChainHead::START, |(head, _)| *head);
        let entry = Entry::write(draft, head, made - 1, time_us, 0);
        self.heads.insert(who.1, (entry.as_head(), made));
        self.file.absorb(entry, Some(Stamp { time_us, position: made }));
    }

    /// When the next line is written, microseconds since 1970 UTC.
    pub fn next_us(&self) -> u64 {
        START_US + (self.lines.len() as u64 + 1) * 1_000_000 + self.later_us
    }

    /// The same lines, each replaced by what `change` makes of it.
    pub fn altered(&self, change: &mut dyn FnMut(&Line) -> Vec<Line>) -> Self {
        let mut out = Self::default();
        for line in &self.lines {
            for line in change(line) {
                out.write(line.who, line.id, line.body);
            }
        }
        out
    }
}

fn model(kind: UnitKind, number: u64, values: &[(&str, i64)]) -> ModelSnapshot {
    let mut values: Vec<(String, i64)> = values.iter().map(|(key, value)| ((*key).to_owned(), *value)).collect();
    values.sort();
    ModelSnapshot {
        model: ModelId::of(id(3, number)),
        version: 1,
        kind,
        maker: "Maker".into(),
        name: "Model".into(),
        gtin: None,
        serial_prefix: "MK".into(),
        serial_length: (10, 10),
        values,
    }
}

fn models() -> Vec<ModelSnapshot> {
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
        ("stack_difference_max", 2_000_000),
    ];
    let inverter = [
        ("dc_min", 120_000_000),
        ("dc_max", 600_000_000),
        ("discharge_wait_s", 300_000_000),
        ("torque_dc_nm_min", 2_500_000),
        ("torque_dc_nm_max", 3_000_000),
        ("torque_ac_nm_min", 1_500_000),
        ("torque_ac_nm_max", 2_000_000),
        ("torque_bracket_nm_min", 9_000_000),
        ("torque_bracket_nm_max", 11_000_000),
        ("mass_kg", 28_000_000),
        ("clearance_side_m", 200_000),
        ("clearance_top_m", 300_000),
        ("clearance_bottom_m", 300_000),
        ("clearance_front_m", 500_000),
        ("pv_min_v", 90_000_000),
        ("pv_max_v", 550_000_000),
    ];
    let changeover =
        [("torque_ac_nm_min", 2_500_000), ("torque_ac_nm_max", 3_000_000), ("transfer_time_max_s", 10_000_000)];
    vec![
        model(UnitKind::Module, 1, &module),
        model(UnitKind::ControlUnit, 2, &control),
        model(UnitKind::Inverter, 3, &inverter),
        model(UnitKind::Changeover, 4, &changeover),
    ]
}

pub const DESIGN: [(&str, i64); 47] = [
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
    ("rcd_kind", 1_000_000),
    ("export_limit_w", 3_680_000_000),
    ("opening_limit_m", 1_000_000),
    ("stack_mass_kg", 180_000_000),
    ("stack_gravity_height_m", 600_000),
    ("bracket_height_m", 1_100_000),
    ("electrode_max_ohm", 100_000_000),
    ("backup_limit_w", 5_000_000_000),
    ("reconnect_min_s", 60_000_000),
    ("fuse_rating_a", 40_000_000),
    ("fuse_voltage_v", 1_000_000_000),
    ("fuse_breaking_a", 10_000_000_000),
    ("rcd_residual_a", 30_000),
    ("supply_neutral_v", 230_000_000),
    ("supply_band_low_pct", -10_000_000),
    ("supply_band_high_pct", 10_000_000),
    ("supply_frequency_min_hz", 49_000_000),
    ("supply_frequency_max_hz", 51_000_000),
    ("supply_line_v", 400_000_000),
    ("inverter_gravity_m", 120_000),
    ("inverter_lever_m", 450_000),
    ("inverter_anchor_tension_n", 400_000_000),
    ("inverter_anchor_shear_n", 600_000_000),
    ("anchor_standard", 1_000_000),
    ("ac_breaker_a", 32_000_000),
    ("ac_cable_size_mm2", 6_000_000),
    ("ac_protective_core_mm2", 6_000_000),
    ("ac_cable_length_m", 12_000_000),
    ("pv_stc_v", 380_000_000),
    ("unused", 1),
];

/// The figures of a job there: what a lead enters, and what follows from it by the rules of the place.
pub fn figures(method: &Method, country: Country) -> Vec<(String, i64)> {
    let mut entered: BTreeMap<&str, i64> = DESIGN.into_iter().collect();
    entered.retain(|key, _| !key.starts_with("supply_") && !["rcd_kind", "anchor_standard"].contains(key));
    if country == Country::Us {
        // By gauge: 10, 6 and 8 AWG with the resistances of their maker.
        entered.extend([
            ("phases", 2_000_000),
            ("ac_nominal_v", 240_000_000),
            ("rcd_residual_a", 6_000),
            ("pe_size_mm2", 5_261_000),
            ("pe_ohm_per_km", 3_277_000),
            ("dc_cable_size_mm2", 13_300_000),
            ("dc_cable_ohm_per_km", 1_296_000),
            ("ac_cable_size_mm2", 8_367_000),
            ("ac_protective_core_mm2", 5_261_000),
            ("ac_pe_ohm_per_km", 3_277_000),
        ]);
    }
    let entered: Vec<(String, i64)> = entered.into_iter().map(|(key, micro)| (key.to_owned(), micro)).collect();
    let values = Following { equipment: None, rules: &RuleSet::of(country), asked: &method.design }.completed(&entered);
    let asked = method.design.iter().map(|field| field.key.as_str());
    let unanswered: Vec<&str> = asked.filter(|key| !Following::is_answered(&values, key)).collect();
    assert_eq!(unanswered, Vec::<&str>::new(), "{} {country:?}", method.id);
    values
}

/// The units of a job: each stack with three modules below its control unit, then the rest.
fn equipment(method: &Method, stacks: u16) -> Equipment {
    let models = models();
    let mut slots: Vec<Slot> = Vec::new();
    let plan = |kind| method.units.iter().find(|unit| unit.unit == kind);
    let mut put = |kind: UnitKind, new: bool| {
        let model = models.iter().position(|model| model.kind == kind).map_or(0, |at| at as u16);
        slots.push(Slot { number: slots.len() as u16 + 1, model, new });
    };
    for _ in 0..stacks {
        for kind in [UnitKind::Module, UnitKind::Module, UnitKind::Module, UnitKind::ControlUnit] {
            if let Some(unit) = plan(kind) {
                put(kind, unit.new);
            }
        }
    }
    for kind in [UnitKind::Inverter, UnitKind::Changeover] {
        if let Some(unit) = plan(kind) {
            put(kind, unit.new);
        }
    }
    Equipment { models, slots }
}

/// One way through a method: which option is taken where it matters, and how many stacks there are.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Way {
    pub options: BTreeMap<(String, String), String>,
    pub stacks: u16,
}

/// Every choice on which a step applies or a conductor is there.
fn conditions(method: &Method) -> impl Iterator<Item = &When> {
    let conductors = method.boards().iter().flat_map(|board| &board.conductors);
    let steps = method.steps.iter().filter_map(|step| step.when.as_ref());
    steps.chain(conductors.filter_map(|conductor| conductor.when.as_ref()))
}

/// The choices that switch steps, with their options that do not fail.
pub fn switches(method: &Method) -> BTreeMap<(String, String), Vec<String>> {
    conditions(method)
        .filter_map(|when| {
            let Requirement::Choice(need) = method.step(&when.step)?.requirement(&when.requirement)? else {
                return None;
            };
            let options = need.options.iter().filter(|option| !option.fails).map(|option| option.id.clone());
            Some(((when.step.clone(), when.requirement.clone()), options.collect()))
        })
        .collect()
}

/// The first options everywhere; the way that switches most on; and each further option once.
pub fn ways(method: &Method) -> Vec<Way> {
    let switches = switches(method);
    let first = |stacks| Way {
        options: switches.iter().map(|(choice, options)| (choice.clone(), options[0].clone())).collect(),
        stacks,
    };
    let mut fullest = first(2);
    for ((step, requirement), options) in &switches {
        let turned_on = |option: &&String| {
            conditions(method)
                .filter(|w| w.step == *step && w.requirement == *requirement && w.is.contains(option))
                .count()
        };
        let best = options.iter().max_by_key(turned_on).cloned().unwrap_or_default();
        fullest.options.insert((step.clone(), requirement.clone()), best);
    }
    let mut all = vec![fullest, first(1)];
    for (choice, options) in &switches {
        for option in &options[1..] {
            let mut way = first(1);
            way.options.insert(choice.clone(), option.clone());
            all.push(way);
        }
    }
    all
}

pub fn opening(method: &Method, stacks: u16) -> Log {
    let mut values: Vec<(String, i64)> = DESIGN.iter().map(|(key, value)| ((*key).to_owned(), *value)).collect();
    values.sort();
    let ticket = || vec![Ticket { kind: "battery-systems".into(), expires: "2026-12-31".into() }];
    let crew = |person, role| Assigned { person, role, tickets: ticket() };
    let bodies = vec![
        Body::JobPlanned(JobPlanned {
            purpose: method.purpose,
            site: SiteId::of(id(4, 1)),
            method: method.reference(),
            rule_set: "neutral 1".into(),
        }),
        Body::Equipment(equipment(method, stacks)),
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

pub fn photo_file(number: u64) -> PhotoFile {
    let hash = Hash32::sha256(&number.to_be_bytes());
    PhotoFile { hash, bytes: 1, width: 1, height: 1, media: MediaType::Jpeg }
}

pub fn rehearse(made: &mut u64, at: StepRef, gate: &mut domain::method::gate::Gate<'_, '_>) -> Vec<Said> {
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
            (photo_file(number), None, CaptureId::of(id(11, number)))
        },
        second_person: lead().0,
        householder: "Householder",
        serial_base: 0,
    };
    let said = answers(gate, at, &mut cast);
    *made = numbers.get();
    said
}

/// How often good work is tried at a step: where what it reads is recorded beside it, the second try closes it.
const TRIES: usize = 20;

/// Goes on with a job by good work until nothing is unfinished; says where it stands still.
///
/// # Errors
/// The step that good work does not close, or that nothing opens.
pub fn work_on(log: &mut Log, plan: &Plan<'_>, way: &Way, made: &mut u64) -> Result<(), String> {
    let mut tried: BTreeMap<StepRef, usize> = BTreeMap::new();
    loop {
        // One fold serves as many steps as stand open beside each other.
        let mut said: Vec<Said> = Vec::new();
        {
            let mut state = fold_for(&log.file, plan, log.next_us(), tech().0);
            if let Some((id, breach)) = state.open_breaches().next() {
                let place = log.file.get(*id).and_then(|held| held.entry.body()?.evidence_place().cloned());
                let by = match &breach.why {
                    domain::job_file::BreachWhy::StepShut(by) => by
                        .iter()
                        .map(|one| match one {
                            Obstacle::Step(at) => plan.step(at.step).id.clone(),
                            other => format!("{other:?}"),
                        })
                        .collect(),
                    _ => Vec::new(),
                };
                return Err(format!("good work makes a breach: {id:?} at {place:?} {breach:?} {by:?}"));
            }
            let unfinished = state.gate.unfinished();
            if unfinished.is_empty() {
                return Ok(());
            }
            let open: Vec<StepRef> =
                unfinished.iter().copied().filter(|at| state.gate.obstacles(*at).is_empty()).collect();
            let before = said.len();
            for at in &open {
                let times = tried.entry(*at).or_default();
                *times += 1;
                // A step that good evidence does not close would be tried for ever.
                if *times > TRIES {
                    let view = state.gate.view(*at);
                    return Err(format!("good work does not close {}: {:?}", plan.step(at.step).id, view.answers));
                }
                said.extend(rehearse(made, *at, &mut state.gate));
            }
            if said.len() == before {
                let step = |at: &StepRef| format!("{} {}", plan.step(at.step).id, at.slot);
                let first =
                    open.first().or(unfinished.first()).map(|at| format!("{}: {:?}", step(at), state.gate.view(*at)));
                return Err(format!("nothing more can be done: {first:?}"));
            }
        }
        for one in said {
            let body = match one.body {
                Body::Choice(mut choice) => {
                    let key = (choice.at.step.clone(), choice.at.requirement.clone());
                    if let Some(option) = way.options.get(&key) {
                        choice.option.clone_from(option);
                    }
                    Body::Choice(choice)
                }
                body => body,
            };
            log.write(tech(), one.id, body);
        }
    }
}

/// A whole job by good work.
pub fn perfect_run(plan: &Plan<'_>, way: &Way) -> Log {
    // Many tests begin with the same one.
    static WORKED: Mutex<Vec<(Method, Way, Log)>> = Mutex::new(Vec::new());
    let known = |worked: &[(Method, Way, Log)]| {
        let same = worked.iter().find(|(method, by, _)| by == way && method == plan.method());
        same.map(|(_, _, log)| log.clone())
    };
    if let Some(log) = known(&WORKED.lock().unwrap()) {
        return log;
    }
    let mut log = opening(plan.method(), way.stacks);
    work_on(&mut log, plan, way, &mut 0).unwrap_or_else(|why| panic!("{} by {way:?}: {why}", plan.method().id));
    WORKED.lock().unwrap().push((plan.method().clone(), way.clone(), log.clone()));
    log
}

/// The place in a job, as words.
pub fn words(plan: &Plan<'_>, at: StepRef) -> String {
    format!("{} {}", plan.step(at.step).id, at.slot)
}

/// The place that a requirement of a step has.
pub fn place(plan: &Plan<'_>, at: StepRef, requirement: &str) -> Place {
    Place::of(&plan.step(at.step).id, at.slot, requirement)
}
