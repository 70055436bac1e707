//! A handful of jobs in different states, written entry by entry as their people's devices would.
//!
//! The evidence comes from [`domain::rehearsal`], so a demo job is one that the gates themselves let through.

use std::collections::BTreeMap;
use std::sync::Arc;

use anyhow::Context as _;
use bytes::Bytes;
use domain::design::{Design, Following};
use domain::electrical::rule_set::{self, RuleSet};
use domain::electrical::units::MICRO;
use domain::ids::{CaptureId, DeviceId, EntryId, Hash32, JobId, PersonId, SiteId};
use domain::job_file::body::{
    Assigned, Assignment, Consent, ConsentState, CrewRole, DesignInputs, DeviationAsked, Equipment, InstrumentSnapshot,
    JobPlanned, LeftAs, MediaType, ModelSnapshot, Paused, PhotoFile, Place, Plain, Purpose, Remark, Returned, Schedule,
    SiteDetails, Slot, StopCause, StopWork,
};
use domain::job_file::{Body, Draft, Entry, JobFile, fold_at};
use domain::method::gate::{Plan, StepRef};
use domain::people::Role;
use domain::rehearsal::{Cast, Said, answers};
use pictures::drawn;
use uuid::Uuid;

use super::{catalogue, ids, queries};
use crate::auth::Caller;
use crate::db::FirmTx;
use crate::features::reference::{load_instruments, load_models};
use crate::handover::seal::seal_job;
use crate::job_files::append::{Appended, FirmLock, append};
use crate::methods::Published;
use crate::state::AppState;

const METHOD: (&str, u32) = ("series-stack-floor", 1);
const RULES: &str = "uk 1";
const ZONE: &str = "Europe/London";
/// A lead plans so many days before the work.
const PLANNED_BEFORE: i32 = 5;
/// Between two entries of a crew: a whole job takes about a working day.
const BETWEEN_ENTRIES_US: u64 = 75_000_000;
/// At most so many records close a step.
const RECORDS_OF_A_STEP: u64 = 12;

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
    /// Worked up to a step, where a module was dropped.
    Stopped(&'static str),
    /// Everything done and handed in.
    ForReview,
    /// Handed in, and one step sent back to the crew.
    Returned(&'static str),
    /// Reviewed, and sealed where this installation can.
    Sealed,
}

struct DemoJob {
    stage: Stage,
    /// Day of the work, counted from today.
    day: i32,
    /// Start on that day.
    start: &'static str,
    crew: &'static [PersonId],
    householder: &'static str,
    street: &'static str,
    town: &'static str,
    /// The last digits of a number of the range that is kept for stories.
    phone: &'static str,
    modules: u16,
    /// Watts that feed in beside the battery already; what decides whether the network operator must be asked first.
    beside_w: u32,
    consent: ConsentState,
    serial_base: u32,
}

/// In the order in which their work ended, so that the log of the firm reads as it would have been written.
const JOBS: &[DemoJob] = &[
    DemoJob {
        stage: Stage::Sealed,
        day: -9,
        start: "08:30",
        crew: &[ids::ASHDOWN, ids::QUILL],
        householder: "R. & J. Amberley",
        street: "33 Harbour Steps",
        town: "Saltmere",
        phone: "101",
        modules: 4,
        beside_w: 0,
        consent: ConsentState::NotNeeded,
        serial_base: 409_100,
    },
    DemoJob {
        stage: Stage::Returned("covers-closed"),
        day: -5,
        start: "08:30",
        crew: &[ids::ASHDOWN, ids::SOLANO],
        householder: "W. Tarrington",
        street: "5 Lime Kiln Road",
        town: "Saltmere",
        phone: "102",
        modules: 3,
        beside_w: 0,
        consent: ConsentState::NotNeeded,
        serial_base: 410_600,
    },
    DemoJob {
        stage: Stage::Stopped("place-module"),
        day: -3,
        start: "08:30",
        crew: &[ids::ASHDOWN, ids::QUILL],
        householder: "E. Fenwright",
        street: "12 Beacon Street",
        town: "Mossbridge",
        phone: "103",
        modules: 4,
        beside_w: 4_000,
        consent: ConsentState::Granted,
        serial_base: 410_700,
    },
    DemoJob {
        stage: Stage::Paused("place-module"),
        day: -2,
        start: "08:30",
        crew: &[ids::ASHDOWN, ids::SOLANO],
        householder: "C. Dunmore",
        street: "71 Chandler Lane",
        town: "Saltmere",
        phone: "104",
        modules: 3,
        beside_w: 0,
        consent: ConsentState::NotNeeded,
        serial_base: 410_400,
    },
    DemoJob {
        stage: Stage::ForReview,
        day: -1,
        start: "08:30",
        crew: &[ids::ASHDOWN, ids::QUILL],
        householder: "N. Okonjo-Vale",
        street: "2 Weir Cottages",
        town: "Upper Larkfield",
        phone: "105",
        modules: 3,
        beside_w: 4_000,
        consent: ConsentState::Granted,
        serial_base: 410_300,
    },
    DemoJob {
        stage: Stage::OnSite("match-modules"),
        day: 0,
        start: "08:30",
        crew: &[ids::ASHDOWN, ids::SOLANO],
        householder: "H. Haselbrink",
        street: "19 Quarry Rise",
        town: "Mossbridge",
        phone: "106",
        modules: 3,
        beside_w: 0,
        consent: ConsentState::NotNeeded,
        serial_base: 410_200,
    },
    DemoJob {
        stage: Stage::WithCrew,
        day: 1,
        start: "08:30",
        crew: &[ids::ASHDOWN, ids::QUILL],
        householder: "P. Thistlewood",
        street: "4 Ropewalk Yard",
        town: "Mossbridge",
        phone: "107",
        modules: 4,
        beside_w: 0,
        consent: ConsentState::NotNeeded,
        serial_base: 410_100,
    },
    DemoJob {
        stage: Stage::Planned,
        day: 6,
        start: "",
        crew: &[],
        householder: "S. Valverde",
        street: "8 Orchard Gate",
        town: "Upper Larkfield",
        phone: "108",
        modules: 5,
        beside_w: 4_000,
        consent: ConsentState::Waiting,
        serial_base: 410_500,
    },
    DemoJob {
        stage: Stage::Planned,
        day: 6,
        start: "",
        crew: &[],
        householder: "B. Oakenshaw",
        street: "1 Tollgate",
        town: "Upper Larkfield",
        phone: "109",
        modules: 5,
        beside_w: 6_000,
        consent: ConsentState::Refused,
        serial_base: 410_800,
    },
];

/// What a lead enters for every demo job; the rest follows from the units, from the rules and from the job.
const DESIGN: &str = include_str!("design.txt");
/// What only the method asks for, in millionths.
const FOR_THE_METHOD: [(&str, i64); 2] = [("export_limit_w", 3_680_000_000), ("pe_joints_module", 4_000_000)];

impl DemoJob {
    /// Of the range that the regulator keeps for stories, 01632 960000 to 960999.
    fn telephone(&self) -> String {
        format!("+44 1632 960{}", self.phone)
    }

    fn units(&self, catalogue: &[ModelSnapshot]) -> Equipment {
        let wanted = [ids::MODULE, ids::CONTROL_UNIT, ids::INVERTER];
        let models =
            wanted.iter().filter_map(|id| catalogue.iter().find(|model| model.model == *id)).cloned().collect();
        let mut slots: Vec<Slot> = (1..=self.modules).map(|number| Slot { number, model: 0, new: true }).collect();
        slots.push(Slot { number: self.modules + 1, model: 1, new: true });
        slots.push(Slot { number: self.modules + 2, model: 2, new: false });
        Equipment { models, slots }
    }

    fn entered(&self) -> anyhow::Result<Design> {
        let mut design = Design::parse(DESIGN).map_err(|line| anyhow::anyhow!("the demo's design says: {line}"))?;
        for (key, micro) in FOR_THE_METHOD {
            design.set(key, micro);
        }
        if self.beside_w > 0 {
            design.set("existing_inverter_w", i64::from(self.beside_w) * MICRO);
            design.set("existing_breaker_a", 32 * MICRO);
        }
        design.set("consent_given", i64::from(self.consent == ConsentState::Granted) * MICRO);
        Ok(design)
    }

    /// In the order in which they were planned.
    fn planned_day(&self) -> i32 {
        self.day.min(PLANNED_BEFORE - 1) - PLANNED_BEFORE
    }
}

/// Microseconds of `HH:MM` of a day by the site's clock.
fn moment(today_us: i64, day: i32, time: &str) -> anyhow::Result<u64> {
    let zone = jiff::tz::TimeZone::get(ZONE).unwrap_or(jiff::tz::TimeZone::UTC);
    let today = jiff::Timestamp::from_microsecond(today_us)?.to_zoned(zone.clone()).date();
    let at = today.checked_add(jiff::Span::new().days(day))?.to_datetime(time.parse::<jiff::civil::Time>()?);
    u64::try_from(at.to_zoned(zone)?.timestamp().as_microsecond()).context("the clock stands before 1970")
}

/// Writes all jobs: first what was planned, in the order of the days, then what was done.
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
    let models = models(&mut tx).await?;
    let instruments = instruments(&mut tx).await?;
    let now_us = state.clock.now_us();
    let mut writers = JOBS
        .iter()
        .map(|job| Writer::of(state, now_us, &devices, &models, &instruments, job))
        .collect::<anyhow::Result<Vec<_>>>()?;
    let mut in_order: Vec<&mut Writer<'_>> = writers.iter_mut().collect();
    in_order.sort_by_key(|writer| writer.clock_us);
    for writer in in_order {
        writer.plan(&mut tx).await?;
    }
    tx.commit().await?;
    for mut writer in writers {
        let mut tx = state.db.begin_for_firm(ids::FIRM).await?;
        writer.work(&mut tx).await.with_context(|| format!("the demo job at {}", writer.demo.street))?;
        tx.commit().await?;
        if writer.demo.stage == Stage::Sealed && state.sealing.is_some() {
            let lead = Caller {
                person: ids::MARLOW,
                firm: ids::FIRM,
                device: devices[&ids::MARLOW],
                roles: vec![Role::Owner, Role::Lead],
            };
            seal_job(state, &lead, writer.job, "en").await.context("the demo's seal")?;
        }
    }
    Ok(())
}

async fn models(tx: &mut FirmTx) -> anyhow::Result<Vec<ModelSnapshot>> {
    Ok(load_models(tx).await?.into_iter().map(catalogue::snapshot).collect())
}

async fn instruments(tx: &mut FirmTx) -> anyhow::Result<Vec<InstrumentSnapshot>> {
    let instruments = load_instruments(tx).await?.into_iter().map(|one| InstrumentSnapshot {
        id: one.id,
        kind: one.kind,
        label: one.label,
        calibration_due: one.calibration_due,
    });
    Ok(instruments.collect())
}

/// Writes one job.
struct Writer<'w> {
    state: &'w AppState,
    demo: &'w DemoJob,
    devices: &'w BTreeMap<PersonId, DeviceId>,
    models: &'w [ModelSnapshot],
    instruments: &'w [InstrumentSnapshot],
    job: JobId,
    file: JobFile,
    /// When the firm was seeded, microseconds.
    now_us: i64,
    /// The devices' clock, microseconds.
    clock_us: u64,
    /// What it goes on by with each entry.
    step_us: u64,
    photos: Vec<(Hash32, i64)>,
    pictures: u32,
}

impl<'w> Writer<'w> {
    fn of(
        state: &'w AppState,
        now_us: i64,
        devices: &'w BTreeMap<PersonId, DeviceId>,
        models: &'w [ModelSnapshot],
        instruments: &'w [InstrumentSnapshot],
        demo: &'w DemoJob,
    ) -> anyhow::Result<Self> {
        Ok(Self {
            state,
            demo,
            devices,
            models,
            instruments,
            job: JobId::of(state.clock.new_id()),
            file: JobFile::default(),
            now_us,
            clock_us: moment(now_us, demo.planned_day(), "10:05")?,
            step_us: BETWEEN_ENTRIES_US,
            photos: Vec::new(),
            // Far enough apart that no picture is drawn for two jobs.
            pictures: demo.serial_base * 10,
        })
    }

    async fn plan(&mut self, tx: &mut FirmTx) -> anyhow::Result<()> {
        let opening = self.opening()?;
        self.write(tx, ids::MARLOW, opening).await
    }

    /// The clock of the crew when it arrives. Who tries the demo at six in the morning sees a crew that began early, and at midnight one
    /// that is very quick: nothing is recorded in the future, and nothing of today yesterday.
    fn arrive(&mut self) -> anyhow::Result<()> {
        const ENTRIES_MOST: u64 = 520;
        self.clock_us = moment(self.now_us, self.demo.day, self.demo.start)?;
        let now_us = u64::try_from(self.now_us).context("the clock stands before 1970")?;
        if self.clock_us + ENTRIES_MOST * self.step_us > now_us {
            let midnight = moment(self.now_us, 0, "00:00")?;
            self.step_us = self.step_us.min(now_us.saturating_sub(midnight) / ENTRIES_MOST);
            self.clock_us = self.clock_us.min(now_us - ENTRIES_MOST * self.step_us);
        }
        Ok(())
    }

    async fn work(&mut self, tx: &mut FirmTx) -> anyhow::Result<()> {
        let demo = self.demo;
        if let Stage::OnSite(step) | Stage::Paused(step) | Stage::Stopped(step) | Stage::Returned(step) = demo.stage {
            anyhow::ensure!(self.method()?.method.step(step).is_some(), "the method has no step {step}");
        }
        if !matches!(demo.stage, Stage::Planned | Stage::WithCrew) {
            self.arrive()?;
        }
        match demo.stage {
            Stage::Planned | Stage::WithCrew => return Ok(()),
            Stage::OnSite(until) => {
                self.rehearse(tx, Some(until)).await?;
                self.ask_for_a_deviation(tx, until).await?;
            }
            Stage::Paused(until) => {
                self.rehearse(tx, Some(until)).await?;
                let words = "Bracket missing from the delivery; the modules are strapped and covered.";
                let remark = self.remark(None, words);
                let paused =
                    self.said(Body::Paused(Paused { left_as: LeftAs::IsolatedAndLocked, remark: Some(remark.id) }));
                self.write(tx, demo.crew[0], vec![remark, paused]).await?;
            }
            Stage::Stopped(until) => {
                self.rehearse(tx, Some(until)).await?;
                let at = Place::of(until, 1, "");
                let words = "Module 1 slipped from the trolley; one corner of its case is dented. It stands outside, away from the house.";
                let remark = self.remark(Some(at.clone()), words);
                let stop = self.said(Body::StopWork(StopWork {
                    cause: StopCause::Damage,
                    at: Some(at),
                    remark: Some(remark.id),
                }));
                self.write(tx, demo.crew[0], vec![remark, stop]).await?;
            }
            Stage::ForReview => self.finish(tx).await?,
            Stage::Returned(step) => {
                self.finish(tx).await?;
                let at = Place::of(step, 0, "");
                let remark =
                    self.remark(Some(at.clone()), "The photo shows three of the four screws. Please show the fourth.");
                let returned = self.said(Body::Returned(Returned { at, remark: remark.id }));
                self.write(tx, ids::MARLOW, vec![remark, returned]).await?;
            }
            Stage::Sealed => {
                self.finish(tx).await?;
                self.clock_us = moment(self.now_us, demo.day + 1, "09:10")?;
                let passed = self.said(Body::Passed(Plain {}));
                self.write(tx, ids::MARLOW, vec![passed]).await?;
            }
        }
        queries::insert_photos(tx, self.job, demo.crew[0], &self.photos, crate::job_files::cut(self.clock_us)).await?;
        Ok(())
    }

    async fn finish(&mut self, tx: &mut FirmTx) -> anyhow::Result<()> {
        self.rehearse(tx, None).await?;
        let submitted = self.said(Body::Submitted(Plain {}));
        self.write(tx, self.demo.crew[0], vec![submitted]).await
    }

    fn entry_id(&self) -> EntryId {
        EntryId::of(self.state.clock.new_id())
    }

    fn said(&self, body: Body) -> Said {
        Said { id: self.entry_id(), body }
    }

    fn remark(&self, at: Option<Place>, words: &str) -> Said {
        self.said(Body::Remark(Remark { at, text: words.to_owned() }))
    }

    fn method(&self) -> anyhow::Result<Arc<Published>> {
        let all = self.state.methods.all();
        let own = all.into_iter().find(|own| (own.method.id.as_str(), own.method.version) == METHOD);
        own.context("the built-in method is not loaded")
    }

    fn opening(&self) -> anyhow::Result<Vec<Said>> {
        let (demo, method) = (self.demo, self.method()?);
        let equipment = demo.units(self.models);
        let rules = RuleSet::of(rule_set::Place::Uk);
        let following = Following { equipment: Some(&equipment), rules: &rules, asked: &method.method.design };
        let entered: Vec<(String, i64)> =
            demo.entered()?.values().map(|(key, micro)| (key.to_owned(), micro)).collect();
        let values = following.completed(&entered);
        let name = demo.householder.rsplit(' ').next().unwrap_or_default().to_lowercase();
        let consent_reference = match demo.consent {
            ConsentState::Granted | ConsentState::Refused => format!("GL-{}", demo.serial_base),
            ConsentState::Waiting | ConsentState::NotNeeded => String::new(),
        };
        let mut bodies = vec![
            Body::JobPlanned(JobPlanned {
                purpose: Purpose::Install,
                site: SiteId::of(self.state.clock.new_id()),
                method: method.method.reference(),
                rule_set: RULES.to_owned(),
            }),
            Body::SiteDetails(SiteDetails {
                householder: demo.householder.to_owned(),
                street: demo.street.to_owned(),
                town: demo.town.to_owned(),
                phone: demo.telephone(),
                email: format!("{name}@householder.example"),
                grid_point: format!("MB-{}", demo.serial_base),
                access: "Side gate; the dog is friendly.".to_owned(),
                zone: ZONE.to_owned(),
            }),
            Body::Equipment(equipment),
            Body::DesignInputs(DesignInputs { values }),
            Body::Consent(Consent { state: demo.consent, reference: consent_reference }),
        ];
        if !demo.crew.is_empty() {
            let tickets = |person: PersonId| super::tickets_of(person, self.now_us);
            let crew = demo.crew.iter().map(|person| {
                let role = if *person == ids::QUILL { CrewRole::Lead } else { CrewRole::Technician };
                anyhow::Ok(Assigned { person: *person, role, tickets: tickets(*person)? })
            });
            bodies.push(Body::Assignment(Assignment { crew: crew.collect::<anyhow::Result<_>>()? }));
            let day = super::day_after(self.now_us, demo.day)?;
            bodies.push(Body::Schedule(Schedule { day, start: demo.start.to_owned() }));
        }
        Ok(bodies.into_iter().map(|body| self.said(body)).collect())
    }

    /// When the last record of the next step may be written: a proof of dead must hold until then.
    const fn soon_us(&self) -> u64 {
        self.clock_us + RECORDS_OF_A_STEP * self.step_us
    }

    /// Works step after step until a step is reached (and left open) or the job is done.
    async fn rehearse(&mut self, tx: &mut FirmTx, until: Option<&str>) -> anyhow::Result<()> {
        let method = self.method()?;
        let plan = Plan::of(&method.method);
        let mut last = None;
        loop {
            let Some(at) = next_open(&self.file, &plan, self.soon_us()) else { return Ok(()) };
            // Else a figure that the demo lacks would be worked on for ever.
            if last.replace(at) == Some(at) {
                let mut state = fold_at(&self.file, &plan, self.soon_us());
                anyhow::bail!(
                    "step {} is not closed by good work: {:?}",
                    plan.step(at.step).id,
                    state.gate.view(at).answers
                );
            }
            if until == Some(plan.step(at.step).id.as_str()) {
                return Ok(());
            }
            let (said, pictures) = self.answers(&plan, at);
            anyhow::ensure!(!said.is_empty(), "step {} is not closed by good work", plan.step(at.step).id);
            for jpeg in pictures {
                self.keep(jpeg).await?;
            }
            self.write(tx, self.demo.crew[0], said).await?;
        }
    }

    fn answers(&mut self, plan: &Plan<'_>, at: StepRef) -> (Vec<Said>, Vec<Vec<u8>>) {
        let mut state = fold_at(&self.file, plan, self.soon_us());
        let clock = &self.state.clock;
        let instruments = self.instruments;
        let today = super::day_after(self.now_us, 0).unwrap_or_default();
        let mut pictures = Vec::new();
        let number = &mut self.pictures;
        let mut cast = Cast {
            entry_id: &mut || EntryId::of(clock.new_id()),
            instrument: &|kind| {
                instruments.iter().find(|one| one.kind == kind && one.calibration_due >= today).cloned()
            },
            photo: &mut |_: &Place| {
                *number += 1;
                let (jpeg, small) = drawn::draw(*number);
                let (file, preview) = (photo_file(&jpeg, drawn::SIZE), photo_file(&small, drawn::SMALL));
                pictures.extend([jpeg, small]);
                (file, Some(preview), CaptureId::of(clock.new_id()))
            },
            second_person: self.demo.crew[1],
            householder: self.demo.householder,
            serial_base: self.demo.serial_base,
        };
        let said = answers(&mut state.gate, at, &mut cast);
        (said, pictures)
    }

    /// At the first step that is open beside the one that the story has come to.
    async fn ask_for_a_deviation(&mut self, tx: &mut FirmTx, beside: &str) -> anyhow::Result<()> {
        let method = self.method()?;
        let plan = Plan::of(&method.method);
        let mut state = fold_at(&self.file, &plan, self.soon_us());
        let open = state.gate.unfinished();
        let place = open.into_iter().find_map(|at| {
            let step = plan.step(at.step);
            let may_deviate = !step.stop_work && step.id != beside && state.gate.obstacles(at).is_empty();
            may_deviate.then(|| step.requirements.first().map(|need| Place::of(&step.id, at.slot, need.id()))).flatten()
        });
        let Some(at) = place else { return Ok(()) };
        let words = "The fixture hides this side; it can only be seen once the shelf is down next week.";
        let remark = self.remark(Some(at.clone()), words);
        self.pictures += 1;
        let (jpeg, small) = drawn::draw(self.pictures);
        let (photo, preview) = (photo_file(&jpeg, drawn::SIZE), photo_file(&small, drawn::SMALL));
        self.keep(jpeg).await?;
        self.keep(small).await?;
        let asked =
            self.said(Body::DeviationAsked(DeviationAsked { at, remark: remark.id, photo, preview: Some(preview) }));
        self.write(tx, self.demo.crew[0], vec![remark, asked]).await
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
    async fn write(&mut self, tx: &mut FirmTx, person: PersonId, said: Vec<Said>) -> anyhow::Result<()> {
        let device = *self.devices.get(&person).context("this person has no device")?;
        let mut head = self.file.chain_head(device);
        let (seen, mut latest) = (self.file.head(), self.file.latest_at());
        let mut entries = Vec::with_capacity(said.len());
        for one in said {
            self.clock_us += self.step_us;
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
        let mut lock = FirmLock::take(tx).await?;
        let outcomes = append(tx, &mut lock, crate::job_files::cut(self.clock_us), &entries).await?;
        for (entry, outcome) in entries.into_iter().zip(outcomes) {
            match outcome {
                Appended::Stored(stamp) | Appended::Had(stamp) => self.file.absorb(entry, Some(stamp)),
                Appended::OtherBytes | Appended::Impossible => anyhow::bail!("the log did not take an entry"),
            };
        }
        Ok(())
    }
}

/// The first step that the crew may work at this moment: a proof of dead may have ended since the last entry.
fn next_open(file: &JobFile, plan: &Plan<'_>, now_us: u64) -> Option<StepRef> {
    let mut state = fold_at(file, plan, now_us);
    let open = state.gate.unfinished();
    open.into_iter().find(|at| state.gate.obstacles(*at).is_empty())
}

fn photo_file(jpeg: &[u8], (width, height): (u32, u32)) -> PhotoFile {
    PhotoFile { hash: Hash32::sha256(jpeg), bytes: jpeg.len() as u64, width, height, media: MediaType::Jpeg }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;
    use domain::design::{sheet, with_equipment};
    use domain::electrical::Verdict;

    #[test]
    fn designs_fit_their_units_and_leave_nothing_open() {
        for job in JOBS {
            let equipment = job.units(&catalogue::snapshots());
            let design = with_equipment(&job.entered().unwrap(), &equipment);
            assert_eq!(design.get("modules"), Some(i64::from(job.modules) * MICRO));
            let sheet = sheet(&design, &RuleSet::of(rule_set::Place::Uk));
            assert_eq!(sheet.missing, Vec::<&str>::new(), "{}", job.street);
            let lacks_consent = matches!(job.consent, ConsentState::Waiting | ConsentState::Refused);
            let may_fail = |key: &str| lacks_consent && key == "grid_route";
            let open: Vec<String> = sheet
                .lines
                .iter()
                .filter(|line| {
                    !matches!(line.verdict(), Verdict::Pass | Verdict::NotApplicable(_)) && !may_fail(line.key)
                })
                .map(|line| format!("{}: {:?}", line.key, line.verdict()))
                .collect();
            assert_eq!(open, Vec::<String>::new(), "{}", job.street);
        }
    }

    #[test]
    fn nobody_is_at_two_places_and_no_telephone_rings() {
        let mut seen = std::collections::BTreeSet::new();
        let mut phones = std::collections::BTreeSet::new();
        for job in JOBS {
            for person in job.crew {
                assert!(seen.insert((job.day, job.start, *person)), "{person:?} is at two places on day {}", job.day);
            }
            let phone = job.telephone();
            let last = phone
                .strip_prefix("+44 1632 960")
                .map(|last| last.bytes().all(|b| b.is_ascii_digit()) && last.len() == 3);
            assert_eq!(last, Some(true), "{phone} may ring somewhere");
            assert!(phones.insert(phone), "{} is used twice", job.phone);
        }
    }

    #[test]
    fn one_job_is_sealed_one_stands_still_and_one_the_network_refused() {
        let count = |is: fn(&DemoJob) -> bool| JOBS.iter().filter(|job| is(job)).count();
        assert_eq!(count(|job| matches!(job.stage, Stage::Sealed)), 1);
        assert_eq!(count(|job| matches!(job.stage, Stage::Stopped(_))), 1);
        let refused: Vec<&DemoJob> = JOBS.iter().filter(|job| job.consent == ConsentState::Refused).collect();
        let [refused] = refused[..] else { panic!("{} are refused", refused.len()) };
        // Only where the network operator is asked first can it refuse, and nobody begins to work then.
        assert!(refused.beside_w > 0 && refused.crew.is_empty() && matches!(refused.stage, Stage::Planned));
        let sheet = sheet(
            &with_equipment(&refused.entered().unwrap(), &refused.units(&catalogue::snapshots())),
            &RuleSet::of(rule_set::Place::Uk),
        );
        let route = sheet.lines.iter().find(|line| line.key == "grid_route").unwrap();
        assert_ne!(route.verdict(), Verdict::Pass, "the sheet of a refused job does not pass");
    }

    #[test]
    fn a_day_is_that_of_the_site() {
        // 23:30 UTC in summer is half past midnight there.
        let now = jiff::civil::date(2026, 7, 1).at(23, 30, 0, 0).to_zoned(jiff::tz::TimeZone::UTC).unwrap().timestamp();
        let expected =
            jiff::civil::date(2026, 7, 2).at(7, 30, 0, 0).to_zoned(jiff::tz::TimeZone::UTC).unwrap().timestamp();
        assert_eq!(
            moment(now.as_microsecond(), 0, "08:30").unwrap(),
            u64::try_from(expected.as_microsecond()).unwrap()
        );
    }
}
