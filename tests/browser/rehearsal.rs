//! A job of any built-in method: good work past the screens up to where a test begins, and what good work would write at a step, for
//! a test that does it by hand.

use std::collections::BTreeMap;

use anyhow::{Context as _, Result, ensure};
use domain::ids::{EntryId, Hash32, JobId, PersonId, SiteId, from_hex};
use domain::job_file::body::{
    Assigned, Assignment, CrewRole, InstrumentSnapshot, JobPlanned, Schedule, SiteDetails, Ticket,
};
use domain::job_file::{Body, JobFile, fold};
use domain::method::Method;
use domain::method::gate::{Gate, Plan, StepRef};
use domain::method::load::compose;
use domain::rehearsal::{Cast, Said, answers};
use server::auth::pins::seal;
use server::demo::{PASSWORD, PIN};
use tests::phone::{TestPhone, all_stored};
use uuid::Uuid;

use crate::built_in::FILES;
use crate::domain_rehearsal::{id, opening, photo_file, ways};
use crate::people::{LEAD, TECHNICIAN};
use crate::rig::Rig;

/// Where the job is.
pub const STREET: &str = "Weir Row 9";
/// The least that a method may ask for a wait.
const WAIT_S: i64 = 60;

/// The job and a technician who works it past the screens, on an enrolment of their own.
pub struct Rehearsal {
    pub method: Method,
    pub job: JobId,
    technician: TestPhone,
    second: PersonId,
    pin_key: Vec<u8>,
}

impl Rehearsal {
    /// Plans a job of this file's method for the technician and the lead.
    pub async fn plan(rig: &Rig, file: &str) -> Result<Self> {
        let method = compose(file, FILES).map_err(|fault| anyhow::anyhow!("{fault}"))?.method;
        let technician = TestPhone::of(rig.server.sign_in(TECHNICIAN, PASSWORD).await?);
        let mut lead = TestPhone::of(rig.server.sign_in(LEAD, PASSWORD).await?);
        let reference = lead.client.get("/api/reference").await.body;
        let pin_key = from_hex(reference["pin_key"].as_str().context("the key of PINs")?).context("digits")?;
        let (job, second) = (JobId::of(Uuid::now_v7()), lead.person());
        for body in plan_of(&method, technician.person(), second) {
            lead.write(job, body);
        }
        all_stored(&lead.push().await)?;
        let mut this = Self { method, job, technician, second, pin_key };
        this.technician.pull().await;
        Ok(this)
    }

    /// A job that somebody has planned on the screens.
    pub async fn of(rig: &Rig, method: Method, job: JobId) -> Result<Self> {
        let mut technician = TestPhone::of(rig.server.sign_in(TECHNICIAN, PASSWORD).await?);
        let second = PersonId::of(rig.server.sign_in(LEAD, PASSWORD).await?.person());
        technician.pull().await;
        Ok(Self { method, job, technician, second, pin_key: Vec::new() })
    }

    /// What good work would write at each step that applies, with every choice that switches the most on. Nothing is sent, and the job
    /// file is as it was before.
    pub fn whole(&mut self) -> Result<BTreeMap<(String, u16), BTreeMap<String, Body>>> {
        let mut options = ways(&self.method).swap_remove(0).options;
        // The jobs of these tests have one stack.
        options.insert(("site-conditions".to_owned(), "stacks".to_owned()), "one".to_owned());
        let (file, tray) = (self.technician.files[&self.job].clone(), self.technician.tray.clone());
        let mut whole: BTreeMap<(String, u16), BTreeMap<String, Body>> = BTreeMap::new();
        let mut before = String::new();
        loop {
            let (here, said) = self.with_gate(|gate, cast| {
                let open = gate.unfinished().into_iter().find(|at| gate.obstacles(*at).is_empty());
                let here = open.map(|at| format!("{} {}", gate.plan().step(at.step).id, at.slot));
                (here.unwrap_or_default(), open.map_or_else(Vec::new, |at| answers(gate, at, cast)))
            });
            ensure!(said.is_empty() || here != before, "good work does not close {here}");
            before = here;
            if said.is_empty() {
                break;
            }
            for mut one in said {
                if let Body::Choice(choice) = &mut one.body
                    && let Some(option) = options.get(&(choice.at.step.clone(), choice.at.requirement.clone()))
                {
                    choice.option.clone_from(option);
                }
                if let Some(at) = one.body.evidence_place() {
                    let step = whole.entry((at.step.clone(), at.slot)).or_default();
                    step.insert(at.requirement.clone(), one.body.clone());
                }
                let entry = self.technician.draft_as(one.id, self.job, one.body);
                self.technician.keep(entry);
            }
        }
        let left = self.with_gate(|gate, _| gate.unfinished().len());
        self.technician.files.insert(self.job, file);
        self.technician.tray = tray;
        ensure!(left == 0, "good work does not close {left} steps");
        Ok(whole)
    }

    /// Good work at every step that can be worked and that `past` names, until there is none; then it is sent.
    pub async fn work(&mut self, past: impl Fn(&str) -> bool) -> Result<()> {
        self.technician.pull().await;
        loop {
            let said = self.with_gate(|gate, cast| {
                let todo = gate.unfinished();
                let named = todo.into_iter().filter(|at| past(&gate.plan().step(at.step).id));
                let open: Vec<StepRef> = named.collect();
                let open = open.into_iter().find(|at| gate.obstacles(*at).is_empty());
                open.map_or_else(Vec::new, |at| answers(gate, at, cast))
            });
            if said.is_empty() {
                break;
            }
            for one in self.with_real_pins(said)? {
                let entry = self.technician.draft_as(one.id, self.job, one.body);
                self.technician.keep(entry);
            }
        }
        all_stored(&self.technician.push().await)
    }

    /// The slot of a step, or the first of them where it is repeated.
    pub fn slot_of(&self, step: &str) -> Result<u16> {
        let slot = self.with_gate(|gate, _| {
            gate.steps().into_iter().find(|at| gate.plan().step(at.step).id == step).map(|at| at.slot)
        });
        slot.with_context(|| format!("the job has no step {step}"))
    }

    /// What good work would write at a step, by requirement.
    pub async fn good(&mut self, step: &str, slot: u16) -> Result<BTreeMap<String, Body>> {
        self.technician.pull().await;
        let said = self.with_gate(|gate, cast| {
            let at = gate.steps().into_iter().find(|at| at.slot == slot && gate.plan().step(at.step).id == step);
            at.map(|at| answers(gate, at, cast))
        });
        let said = said.with_context(|| format!("the method has no step {step}/{slot}"))?;
        Ok(said
            .into_iter()
            .filter_map(|one| Some((one.body.evidence_place()?.requirement.clone(), one.body)))
            .collect())
    }

    /// Steps that are not finished, by the entries that the server has.
    pub async fn unfinished(&mut self) -> Vec<(String, u16)> {
        self.technician.pull().await;
        self.with_gate(|gate, _| {
            let todo = gate.unfinished();
            todo.into_iter().map(|at| (gate.plan().step(at.step).id.clone(), at.slot)).collect()
        })
    }

    /// Evidence that the gates would not have let through.
    pub async fn breaches(&mut self) -> Vec<String> {
        self.technician.pull().await;
        let plan = Plan::of(&self.method);
        let state = fold(&self.technician.files[&self.job], &plan);
        state.open_breaches().map(|(id, breach)| format!("{id} {breach:?}")).collect()
    }

    /// Entries that the server has of the job.
    pub async fn file(&mut self) -> &JobFile {
        self.technician.pull().await;
        &self.technician.files[&self.job]
    }

    fn with_gate<T>(&self, act: impl FnOnce(&mut Gate<'_, '_>, &mut Cast<'_>) -> T) -> T {
        let plan = Plan::of(&self.method);
        let mut state = fold(&self.technician.files[&self.job], &plan);
        let instrument = |kind: &str| {
            let (label, calibration_due) = ("meter".into(), "2099-01-01".into());
            let id = domain::ids::InstrumentId::of(id(7, 1));
            Some(InstrumentSnapshot { id, kind: kind.to_owned(), label, calibration_due })
        };
        let mut cast = Cast {
            entry_id: &mut || EntryId::of(Uuid::now_v7()),
            instrument: &instrument,
            photo: &mut |_| {
                let mut file = photo_file(0);
                file.hash = Hash32::sha256(Uuid::new_v4().as_bytes());
                (file, None, domain::ids::CaptureId::of(Uuid::now_v7()))
            },
            second_person: self.second,
            householder: crate::lead::HOUSEHOLDER,
            serial_base: 4_071_900,
        };
        act(&mut state.gate, &mut cast)
    }

    /// A rehearsal knows nobody's PIN; the demo's people have one.
    fn with_real_pins(&self, said: Vec<Said>) -> Result<Vec<Said>> {
        let sealed = |one: Said| match one.body {
            Body::CountersignProof(mut proof) => {
                let sealed = seal(
                    &self.pin_key,
                    PIN,
                    proof.of,
                    self.second,
                    Uuid::new_v4().into_bytes().repeat(2).as_slice().try_into()?,
                );
                proof.sealed = sealed.context("the PIN is sealed")?.into();
                proof.key = Hash32::sha256(&self.pin_key);
                Ok(Said { id: one.id, body: Body::CountersignProof(proof) })
            }
            body => Ok(Said { id: one.id, body }),
        };
        said.into_iter().map(sealed).collect()
    }
}

/// The plan of the domain's own rehearsals, for people who exist, with the shortest wait.
fn plan_of(method: &Method, technician: PersonId, lead: PersonId) -> Vec<Body> {
    let ticket = |kind: &str| Ticket { kind: kind.to_owned(), expires: String::new() };
    let tickets = || vec![ticket("battery-systems"), ticket("electrician")];
    let assigned = |person, role| Assigned { person, role, tickets: tickets() };
    let real = |body: Body| match body {
        Body::JobPlanned(plan) => Body::JobPlanned(JobPlanned { site: SiteId::of(Uuid::now_v7()), ..plan }),
        Body::Assignment(_) => {
            let crew = vec![assigned(technician, CrewRole::Technician), assigned(lead, CrewRole::Lead)];
            Body::Assignment(Assignment { crew })
        }
        Body::Equipment(mut equipment) => {
            let values = equipment.models.iter_mut().flat_map(|model| &mut model.values);
            values.filter(|(key, _)| key == "discharge_wait_s").for_each(|(_, value)| *value = WAIT_S * 1_000_000);
            Body::Equipment(equipment)
        }
        other => other,
    };
    let site = SiteDetails {
        householder: crate::lead::HOUSEHOLDER.into(),
        street: STREET.into(),
        town: "00418 Larkfield".into(),
        zone: "Europe/London".into(),
        ..SiteDetails::default()
    };
    let opening = opening(method, 1).lines.into_iter().map(|line| real(line.body));
    let day = Schedule { day: "2099-12-01".into(), start: String::new() };
    opening.chain([Body::SiteDetails(site), Body::Schedule(day)]).collect()
}
