//! A handful of jobs in different states, written entry by entry as their people's devices would.
//!
//! The evidence comes from [`domain::rehearsal`], so a demo job is one that the gates themselves let through.

use std::collections::BTreeMap;
use std::sync::Arc;

use anyhow::Context as _;
use bytes::Bytes;
use domain::ids::{CaptureId, DeviceId, EntryId, Hash32, JobId, PersonId, SiteId};
use domain::job_file::body::{
    Assigned, Assignment, Consent, ConsentState, CrewRole, DesignInputs, DeviationAsked, Equipment, InstrumentSnapshot,
    JobPlanned, LeftAs, MediaType, ModelSnapshot, Paused, PhotoFile, Place, Plain, Purpose, Remark, Schedule,
    SiteDetails, Slot, Ticket,
};
use domain::job_file::{Body, Draft, Entry, JobFile, fold};
use domain::method::gate::{Plan, StepRef};
use domain::rehearsal::{Cast, Said, answers};
use uuid::Uuid;

use super::{day_after, ids, picture, queries};
use crate::db::FirmTx;
use crate::features::reference::{load_instruments, load_models};
use crate::job_files::append::{Appended, FirmLock, append};
use crate::methods::Published;
use crate::state::AppState;

const METHOD: (&str, u32) = ("series-stack-floor", 1);
const DAY_US: i64 = crate::clock::DAY_US;

/// How far a demo job goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Stage {
    /// Planned, nobody assigned.
    Planned,
    /// Handed out.
    WithCrew,
    /// Worked up to a step, with a departure asked for at the next photo that allows one.
    OnSite(&'static str),
    /// The same, and left in a recorded state.
    Paused(&'static str),
    /// Everything done and handed in.
    ForReview,
    /// Reviewed.
    Passed,
}

struct DemoJob {
    stage: Stage,
    /// Planned day, counted from today.
    day: i32,
    crew: &'static [PersonId],
    householder: &'static str,
    street: &'static str,
    town: &'static str,
    modules: u16,
    consent: ConsentState,
    serial_base: u32,
}

const JOBS: &[DemoJob] = &[
    DemoJob {
        stage: Stage::WithCrew,
        day: 0,
        crew: &[ids::ASHDOWN, ids::QUILL],
        householder: "P. Thistlewood",
        street: "4 Ropewalk Yard",
        town: "Mossbridge",
        modules: 4,
        consent: ConsentState::Granted,
        serial_base: 410_100,
    },
    DemoJob {
        stage: Stage::OnSite("match-modules"),
        day: 0,
        crew: &[ids::ASHDOWN, ids::SOLANO],
        householder: "Familie Haselbrink",
        street: "19 Quarry Rise",
        town: "Mossbridge",
        modules: 3,
        consent: ConsentState::Granted,
        serial_base: 410_200,
    },
    DemoJob {
        stage: Stage::ForReview,
        day: -1,
        crew: &[ids::ASHDOWN, ids::QUILL],
        householder: "N. Okonjo-Vale",
        street: "2 Weir Cottages",
        town: "Upper Larkfield",
        modules: 3,
        consent: ConsentState::Granted,
        serial_base: 410_300,
    },
    DemoJob {
        stage: Stage::Passed,
        day: -9,
        crew: &[ids::SOLANO, ids::QUILL],
        householder: "R. & J. Amberley",
        street: "33 Harbour Steps",
        town: "Saltmere",
        modules: 4,
        consent: ConsentState::NotNeeded,
        serial_base: 409_100,
    },
    DemoJob {
        stage: Stage::Paused("place-module"),
        day: -2,
        crew: &[ids::SOLANO, ids::ASHDOWN],
        householder: "C. Dunmore",
        street: "71 Chandler Lane",
        town: "Saltmere",
        modules: 3,
        consent: ConsentState::Waiting,
        serial_base: 410_400,
    },
    DemoJob {
        stage: Stage::Planned,
        day: 6,
        crew: &[],
        householder: "Sra. Valverde",
        street: "8 Orchard Gate",
        town: "Upper Larkfield",
        modules: 5,
        consent: ConsentState::Waiting,
        serial_base: 410_500,
    },
];

/// Design figures of all demo jobs, millionths of the unit.
const DESIGN: &[(&str, i64)] = &[
    ("ac_nominal_v", 230_000_000),
    ("ambient_c", 20_000_000),
    ("bracket_height_m", 1_100_000),
    ("dc_cable_class", 5_000_000),
    ("dc_cable_joints", 2_000_000),
    ("dc_cable_length_m", 4_000_000),
    ("dc_cable_size_mm2", 6_000_000),
    ("dc_device_rating_v", 1_000_000_000),
    ("dc_nominal_v", 153_600_000),
    ("energy_limit_wh", 40_000_000_000),
    ("energy_total_wh", 20_480_000_000),
    ("export_limit_w", 3_680_000_000),
    ("loop_max_ohm", 1_093_000),
    ("opening_distance_m", 1_000_000),
    ("pe_cap_ohm", 500_000),
    ("pe_class", 2_000_000),
    ("pe_joints", 2_000_000),
    ("pe_joints_module", 4_000_000),
    ("pe_length_m", 8_000_000),
    ("pe_size_mm2", 6_000_000),
    ("rcd_kind", 1_000_000),
    ("stack_gravity_height_m", 600_000),
    ("stack_mass_kg", 180_000_000),
];

/// Writes all jobs.
///
/// # Errors
/// The database or the photo store; a method that good work does not close.
pub(super) async fn seed(state: &AppState) -> anyhow::Result<()> {
    let mut devices = BTreeMap::new();
    let mut tx = state.db.begin_for_firm(ids::FIRM).await?;
    for person in [ids::MARLOW, ids::QUILL, ids::ASHDOWN, ids::SOLANO] {
        let device = DeviceId::of(state.clock.new_id());
        queries::insert_device(&mut tx, device, person, "Demo device", state.clock.now_us()).await?;
        devices.insert(person, device);
    }
    tx.commit().await?;
    for job in JOBS {
        let mut tx = state.db.begin_for_firm(ids::FIRM).await?;
        let writer = Writer::open(state, &mut tx, &devices, job).await?;
        writer.work(job).await.with_context(|| format!("the demo job at {}", job.street))?;
        tx.commit().await?;
    }
    Ok(())
}

/// Writes one job.
struct Writer<'w> {
    state: &'w AppState,
    tx: &'w mut FirmTx,
    devices: &'w BTreeMap<PersonId, DeviceId>,
    models: Vec<ModelSnapshot>,
    instruments: Vec<InstrumentSnapshot>,
    job: JobId,
    file: JobFile,
    /// The devices' clock, microseconds.
    clock_us: u64,
    photos: Vec<(Hash32, i64)>,
    pictures: u32,
}

impl<'w> Writer<'w> {
    async fn open(
        state: &'w AppState,
        tx: &'w mut FirmTx,
        devices: &'w BTreeMap<PersonId, DeviceId>,
        job: &DemoJob,
    ) -> anyhow::Result<Self> {
        let models = load_models(tx).await?.into_iter().map(|model| ModelSnapshot {
            model: model.id,
            version: model.version,
            kind: model.kind,
            maker: model.maker,
            name: model.name,
            gtin: model.gtin,
            serial_prefix: model.serial_prefix,
            serial_length: model.serial_length,
            values: model.values.into_iter().collect(),
        });
        let models = models.collect();
        let instruments = load_instruments(tx).await?.into_iter().map(|one| InstrumentSnapshot {
            id: one.id,
            kind: one.kind,
            label: one.label,
            calibration_due: one.calibration_due,
        });
        let instruments = instruments.collect();
        // A job of another day was worked then; one of today or later was planned yesterday.
        let begun = state.clock.now_us() + i64::from(job.day.min(0) - 1) * DAY_US;
        let clock_us = u64::try_from(begun).context("the clock stands before 1970")?;
        Ok(Self {
            state,
            tx,
            devices,
            models,
            instruments,
            job: JobId::of(state.clock.new_id()),
            file: JobFile::default(),
            clock_us,
            photos: Vec::new(),
            pictures: job.serial_base,
        })
    }

    async fn work(mut self, job: &DemoJob) -> anyhow::Result<()> {
        self.write(ids::MARLOW, self.opening(job)?).await?;
        match job.stage {
            Stage::Planned | Stage::WithCrew => {}
            Stage::OnSite(until) => {
                self.rehearse(job, Some(until)).await?;
                self.ask_for_a_deviation(job).await?;
            }
            Stage::Paused(until) => {
                self.rehearse(job, Some(until)).await?;
                let id = self.entry_id();
                let words = "Bracket missing from the delivery; the stack is strapped and covered.".to_owned();
                let remark = Said { id, body: Body::Remark(Remark { at: None, text: words }) };
                let paused = self.said(Body::Paused(Paused { left_as: LeftAs::IsolatedAndLocked, remark: Some(id) }));
                self.write(job.crew[0], vec![remark, paused]).await?;
            }
            Stage::ForReview | Stage::Passed => {
                self.rehearse(job, None).await?;
                let submitted = self.said(Body::Submitted(Plain {}));
                self.write(job.crew[0], vec![submitted]).await?;
                if job.stage == Stage::Passed {
                    let passed = self.said(Body::Passed(Plain {}));
                    self.write(ids::MARLOW, vec![passed]).await?;
                }
            }
        }
        let by = job.crew.first().copied().unwrap_or(ids::MARLOW);
        queries::insert_photos(self.tx, self.job, by, &self.photos, self.state.clock.now_us()).await?;
        Ok(())
    }

    fn entry_id(&self) -> EntryId {
        EntryId::of(self.state.clock.new_id())
    }

    fn said(&self, body: Body) -> Said {
        Said { id: self.entry_id(), body }
    }

    fn method(&self) -> anyhow::Result<Arc<Published>> {
        let all = self.state.methods.all();
        let own = all.into_iter().find(|own| (own.method.id.as_str(), own.method.version) == METHOD);
        own.context("the built-in method is not loaded")
    }

    fn opening(&self, job: &DemoJob) -> anyhow::Result<Vec<Said>> {
        let method = self.method()?;
        let wanted = [ids::MODULE, ids::CONTROL_UNIT, ids::INVERTER];
        let models: Vec<ModelSnapshot> =
            wanted.iter().filter_map(|id| self.models.iter().find(|model| model.model == *id)).cloned().collect();
        let mut slots: Vec<Slot> = (1..=job.modules).map(|number| Slot { number, model: 0, new: true }).collect();
        slots.push(Slot { number: job.modules + 1, model: 1, new: true });
        slots.push(Slot { number: job.modules + 2, model: 2, new: false });
        let consent_reference =
            if job.consent == ConsentState::Granted { format!("GL-{}", job.serial_base) } else { String::new() };
        let mut bodies = vec![
            Body::JobPlanned(JobPlanned {
                purpose: Purpose::Install,
                site: SiteId::of(self.state.clock.new_id()),
                method: method.method.reference(),
                rule_set: "neutral 1".to_owned(),
            }),
            Body::SiteDetails(SiteDetails {
                householder: job.householder.to_owned(),
                street: job.street.to_owned(),
                town: job.town.to_owned(),
                phone: "+00 555 0100".to_owned(),
                email: "householder@mossbridge.example".to_owned(),
                grid_point: format!("MB-{}", job.serial_base),
                access: "Side gate; the dog is friendly.".to_owned(),
                zone: "Europe/London".to_owned(),
            }),
            Body::Equipment(Equipment { models, slots }),
            Body::DesignInputs(DesignInputs {
                values: DESIGN.iter().map(|(key, micro)| ((*key).to_owned(), *micro)).collect(),
            }),
            Body::Consent(Consent { state: job.consent, reference: consent_reference }),
        ];
        if !job.crew.is_empty() {
            let crew = job.crew.iter().map(|person| Assigned {
                person: *person,
                role: if *person == ids::QUILL { CrewRole::Lead } else { CrewRole::Technician },
                tickets: vec![Ticket { kind: "battery-systems".to_owned(), expires: String::new() }],
            });
            bodies.push(Body::Assignment(Assignment { crew: crew.collect() }));
            let day = day_after(self.state.clock.now_us(), job.day)?;
            bodies.push(Body::Schedule(Schedule { day, start: "08:30".to_owned() }));
        }
        Ok(bodies.into_iter().map(|body| self.said(body)).collect())
    }

    /// Works step after step until a step is reached (and left open) or the job is done.
    async fn rehearse(&mut self, job: &DemoJob, until: Option<&str>) -> anyhow::Result<()> {
        let method = self.method()?;
        let plan = Plan::of(&method.method);
        loop {
            let Some(at) = next_open(&self.file, &plan) else { return Ok(()) };
            if until == Some(plan.step(at.step).id.as_str()) {
                return Ok(());
            }
            let (said, pictures) = self.answers(job, &plan, at);
            anyhow::ensure!(!said.is_empty(), "step {} is not closed by good work", plan.step(at.step).id);
            for jpeg in pictures {
                self.keep(jpeg).await?;
            }
            self.write(job.crew[0], said).await?;
        }
    }

    fn answers(&mut self, job: &DemoJob, plan: &Plan<'_>, at: StepRef) -> (Vec<Said>, Vec<Vec<u8>>) {
        let mut state = fold(&self.file, plan);
        let clock = &self.state.clock;
        let instruments = &self.instruments;
        let today = day_after(clock.now_us(), 0).unwrap_or_default();
        let mut pictures = Vec::new();
        let number = &mut self.pictures;
        let mut cast = Cast {
            entry_id: &mut || EntryId::of(clock.new_id()),
            instrument: &|kind| {
                instruments.iter().find(|one| one.kind == kind && one.calibration_due >= today).cloned()
            },
            photo: &mut |_: &Place| {
                *number += 1;
                let jpeg = picture::draw(*number);
                let file = photo_file(&jpeg);
                pictures.push(jpeg);
                (file, None, CaptureId::of(clock.new_id()))
            },
            second_person: job.crew[1],
            householder: job.householder,
            serial_base: job.serial_base,
        };
        let said = answers(&mut state.gate, at, &mut cast);
        (said, pictures)
    }

    async fn ask_for_a_deviation(&mut self, job: &DemoJob) -> anyhow::Result<()> {
        let method = self.method()?;
        let plan = Plan::of(&method.method);
        let mut state = fold(&self.file, &plan);
        let open = state.gate.unfinished();
        let place = open.into_iter().find_map(|at| {
            let step = plan.step(at.step);
            let may_deviate = !step.stop_work && state.gate.obstacles(at).is_empty();
            may_deviate.then(|| step.requirements.first().map(|need| Place::of(&step.id, at.slot, need.id()))).flatten()
        });
        let Some(at) = place else { return Ok(()) };
        let id = self.entry_id();
        let words = "The fixture hides this side; it can only be seen once the shelf is down next week.".to_owned();
        let remark = Said { id, body: Body::Remark(Remark { at: Some(at.clone()), text: words }) };
        self.pictures += 1;
        let jpeg = picture::draw(self.pictures);
        let photo = photo_file(&jpeg);
        self.keep(jpeg).await?;
        let asked = self.said(Body::DeviationAsked(DeviationAsked { at, remark: id, photo, preview: None }));
        self.write(job.crew[0], vec![remark, asked]).await
    }

    /// Puts a picture into the store, as a finished upload.
    async fn keep(&mut self, jpeg: Vec<u8>) -> anyhow::Result<()> {
        let hash = Hash32::sha256(&jpeg);
        let size = i64::try_from(jpeg.len()).unwrap_or(i64::MAX);
        let store = self.state.photo_store();
        let (upload, part): (Uuid, Uuid) = (self.state.clock.new_id(), self.state.clock.new_id());
        store.append(upload, part, Bytes::from(jpeg)).await.map_err(crate::error::ApiError::from)?;
        store.finish(upload, &[part], ids::FIRM, hash).await.map_err(crate::error::ApiError::from)?;
        store.drop_upload(upload).await.map_err(crate::error::ApiError::from)?;
        self.photos.push((hash, size));
        Ok(())
    }

    /// Writes entries at the end of a person's chain and takes their stamps.
    async fn write(&mut self, person: PersonId, said: Vec<Said>) -> anyhow::Result<()> {
        let device = *self.devices.get(&person).context("this person has no device")?;
        let mut head = self.file.chain_head(device);
        let (seen, mut latest) = (self.file.head(), self.file.latest_at());
        let mut entries = Vec::with_capacity(said.len());
        for one in said {
            // Half a minute an entry: about a working day for a whole job.
            self.clock_us += 30_000_000;
            let draft = Draft {
                id: one.id,
                firm: ids::FIRM,
                job: self.job,
                author: person,
                device,
                salt: *self.state.clock.new_id().as_bytes(),
                body: one.body,
            };
            let entry = Entry::write(draft, head, seen, self.clock_us, latest);
            head = entry.as_head();
            latest = entry.header.hlc;
            entries.push(entry);
        }
        let mut lock = FirmLock::take(self.tx).await?;
        let outcomes = append(self.tx, &mut lock, self.state.clock.now_us(), &entries).await?;
        for (entry, outcome) in entries.into_iter().zip(outcomes) {
            match outcome {
                Appended::Stored(stamp) | Appended::Had(stamp) => self.file.absorb(entry, Some(stamp)),
                Appended::OtherBytes | Appended::Impossible => anyhow::bail!("the log did not take an entry"),
            };
        }
        Ok(())
    }
}

fn next_open(file: &JobFile, plan: &Plan<'_>) -> Option<StepRef> {
    let mut state = fold(file, plan);
    let open = state.gate.unfinished();
    open.into_iter().find(|at| state.gate.obstacles(*at).is_empty())
}

fn photo_file(jpeg: &[u8]) -> PhotoFile {
    PhotoFile { hash: Hash32::sha256(jpeg), bytes: jpeg.len() as u64, width: 800, height: 600, media: MediaType::Jpeg }
}
