//! Those who work: the lead plans and moves jobs, technicians record by the rules and against them, and a stranger with a
//! good session sends what no app of ours would.

use crate::Bytes;
use crate::device::{Pending, Said};
use crate::net::Outgoing;
use crate::options::{MINUTE, SECOND};
use crate::planted::Planted;
use crate::world::{Ev, World};
use domain::ids::{CaptureId, EntryId, Hash32, JobId, PersonId, SiteId, uuid_v7};
use domain::job_file::body::{
    Assigned, Assignment, Choice, Confirmation, CrewRole, DeviationAsked, DeviationDecided, JobPlanned, LeftAs,
    LockHandedOver, MediaType, Paused, Photo, PhotoFile, PhotoOrigin, Place, Plain, Purpose, Reading, ReadingQuality,
    Remark, Retraction, Returned, Schedule, Settled, Sign, StopCause, StopResolved, StopWork,
};
use domain::job_file::entry::Envelope;
use domain::job_file::header::{Header, body_hash};
use domain::job_file::{Body, Entry, JobFile, fold_for};
use domain::people::Role;
use domain::tray::{PhotoDelivery, PhotoRole, PhotoRow};
use domain::wire::{from_bytes, to_bytes};

/// Kind of an app that does not exist yet.
const NEWER_KIND: u32 = 9_001;
const SMALLEST_PHOTO: u64 = 40 * 1024;
const LARGEST_PHOTO: u64 = 3 * 1024 * 1024;

/// Photo files with their bytes.
type Photos = Vec<(PhotoRow, Vec<u8>)>;
/// What somebody does at once: in which job, what they say, which photos they took.
type Act = (JobId, Vec<Body>, Photos);

/// The same entry with a body that nobody here can read: what an app of next year writes.
pub(crate) fn of_newer_app(entry: &Entry, body: &[u8], salt: &[u8; 16]) -> Entry {
    let header =
        Header { kind: NEWER_KIND, must_understand: false, body_hash: body_hash(salt, body), ..entry.header.clone() };
    let envelope = Envelope {
        header: to_bytes(&header).into(),
        salt: Some(salt.to_vec().into()),
        body: Some(body.to_vec().into()),
        signature: None,
    };
    Entry::read(&to_bytes(&envelope)).expect("a header and a body that belong together")
}

impl World<'_> {
    fn new_id(&mut self, at: usize) -> EntryId {
        let ms = self.clock_ms(at);
        EntryId::of(uuid_v7(ms, &self.rng.bytes()))
    }

    /// One act, and when the next comes.
    pub(crate) fn act(&mut self, at: usize, run: u32) {
        if self.healed || !self.devices[at].works() || self.devices[at].run != run {
            return;
        }
        let pause = self.rng.between(20 * SECOND, 9 * MINUTE);
        self.after(pause, Ev::Act(at, run));
        let person = self.devices[at].person;
        let Some((job, bodies, photos)) = (match self.people[person].roles[0] {
            Role::Lead | Role::Owner => self.lead_acts(at),
            Role::Office => self.office_acts(at),
            Role::Technician => self.technician_acts(at),
        }) else {
            return;
        };
        let newer = self.rng.chance(self.opt.unknown_kinds);
        let mut said: Vec<(EntryId, Said)> = Vec::new();
        for body in bodies {
            let id = self.new_id(at);
            self.ledger.new_intent(id);
            said.push((id, Said::Body(Box::new(body))));
        }
        if newer {
            let id = self.new_id(at);
            self.ledger.new_intent(id);
            let number = u8::try_from(self.rng.below(24)).unwrap_or(0);
            said.push((id, Said::Newer(vec![0x82, number, 0x61, 0x78])));
        }
        let pending = Pending { job, said, photos, chain: None };
        self.save(at, pending.clone());
        if self.rng.chance(120) {
            self.tap_again(at, pending);
        }
        if self.rng.chance(60) {
            // A second window, in the same moment.
            let id = self.new_id(at);
            self.ledger.new_intent(id);
            let remark = Remark { at: None, text: format!("w{}", self.rng.below(1_000_000)) };
            let said = vec![(id, Said::Body(Box::new(Body::Remark(remark))))];
            self.save(at, Pending { job, said, photos: Vec::new(), chain: None });
        }
    }

    /// The second tap repeats the same ids and changes nothing.
    fn tap_again(&mut self, at: usize, mut pending: Pending) {
        if self.is(Planted::IdAtEachTap) {
            for at_said in 0..pending.said.len() {
                let id = self.new_id(at);
                self.ledger.same_intent(id, pending.said[at_said].0);
                pending.said[at_said].0 = id;
            }
        }
        self.save(at, pending);
    }

    fn some_job(&mut self, at: usize) -> Option<JobId> {
        let jobs: Vec<JobId> = self.devices[at].shelf.jobs.keys().copied().collect();
        self.rng.pick(&jobs).copied()
    }

    fn lead_acts(&mut self, at: usize) -> Option<Act> {
        let jobs = self.devices[at].shelf.jobs.len();
        let wanted = 2 + self.opt.technicians;
        if jobs == 0 || (jobs < wanted && self.rng.chance(300)) {
            return Some(self.plan_job(at));
        }
        let job = self.some_job(at)?;
        let file = self.devices[at].shelf.job_file(job);
        let bodies = match self.rng.below(if self.opt.jobs_move { 9 } else { 6 }) {
            0 => vec![self.remark(None)],
            1 => self.settle_something(&file),
            2 => self.decide(&file),
            3 => self.resolve_stop(&file),
            4 => vec![Body::Passed(Plain {})],
            5 => {
                let (remark, place) = (self.entry_of(&file), self.place());
                remark.map(|remark| vec![Body::Returned(Returned { at: place, remark })]).unwrap_or_default()
            }
            6 => vec![self.assignment()],
            7 => vec![self.schedule()],
            _ if self.rng.chance(150) => vec![Body::Withdrawn(Plain {})],
            _ => vec![self.assignment()],
        };
        Some((job, bodies, Vec::new()))
    }

    fn plan_job(&mut self, at: usize) -> Act {
        let now_ms = self.clock_ms(at);
        let job = JobId::of(uuid_v7(now_ms, &self.rng.bytes()));
        let site = SiteId::of(uuid_v7(now_ms, &self.rng.bytes()));
        let method = self.method_ref.clone();
        let plan = JobPlanned { purpose: Purpose::Install, site, method, rule_set: "sim-1".into() };
        let (assignment, schedule) = (self.assignment(), self.schedule());
        (job, vec![Body::JobPlanned(plan), schedule, assignment], Vec::new())
    }

    fn assignment(&mut self) -> Body {
        let mut crew = Vec::new();
        for person in 0..self.people.len() {
            let one = &self.people[person];
            let role = match one.roles[0] {
                Role::Lead => CrewRole::Lead,
                Role::Technician => CrewRole::Technician,
                Role::Owner | Role::Office => continue,
            };
            let id: PersonId = one.id;
            if role == CrewRole::Lead || self.rng.chance(550) {
                crew.push(Assigned { person: id, role, tickets: Vec::new() });
            }
        }
        Body::Assignment(Assignment { crew })
    }

    fn schedule(&mut self) -> Body {
        Body::Schedule(Schedule { day: format!("2026-01-{:02}", self.rng.between(1, 28)), start: String::new() })
    }

    fn remark(&mut self, at: Option<Place>) -> Body {
        Body::Remark(Remark { at, text: format!("r{}", self.rng.below(1_000_000)) })
    }

    fn entry_of(&mut self, file: &JobFile) -> Option<EntryId> {
        let ids: Vec<EntryId> = file.iter().map(|held| held.entry.header.id).collect();
        self.rng.pick(&ids).copied()
    }

    fn settle_something(&mut self, file: &JobFile) -> Vec<Body> {
        let (entry, remark) = (self.entry_of(file), self.entry_of(file));
        match (entry, remark) {
            (Some(entry), Some(remark)) => vec![Body::BreachSettled(Settled { entry, remark })],
            (_, _) => vec![self.remark(None)],
        }
    }

    fn decide(&mut self, file: &JobFile) -> Vec<Body> {
        let asked = file.iter().filter(|held| matches!(held.entry.body(), Some(Body::DeviationAsked(_))));
        let asked: Vec<EntryId> = asked.map(|held| held.entry.header.id).collect();
        let allowed = self.rng.chance(500);
        let chosen = self.rng.pick(&asked).copied();
        chosen
            .map(|asked| vec![Body::DeviationDecided(DeviationDecided { asked, allowed, remark: None })])
            .unwrap_or_default()
    }

    fn resolve_stop(&mut self, file: &JobFile) -> Vec<Body> {
        let stops = file.iter().filter(|held| matches!(held.entry.body(), Some(Body::StopWork(_))));
        let stops: Vec<EntryId> = stops.map(|held| held.entry.header.id).collect();
        let remark = self.entry_of(file);
        match (self.rng.pick(&stops).copied(), remark) {
            (Some(stop), Some(remark)) => vec![Body::StopResolved(StopResolved { stop, remark })],
            (_, _) => Vec::new(),
        }
    }

    fn office_acts(&mut self, at: usize) -> Option<Act> {
        let job = self.some_job(at)?;
        // Against the rules: the office records evidence. It is kept, held and shown.
        let against = self.rng.chance(200);
        let place = self.place();
        let body = if against {
            Body::Choice(Choice { at: place, option: "level".into(), corrects: None })
        } else {
            self.remark(None)
        };
        Some((job, vec![body], Vec::new()))
    }

    fn technician_acts(&mut self, at: usize) -> Option<Act> {
        let job = self.some_job(at)?;
        let file = self.devices[at].shelf.job_file(job);
        let (bodies, photos) = match self.rng.below(15) {
            0..=4 | 13..=14 => self.work_by_the_rules(at, job, file),
            5 => self.work_against_the_rules(at, job),
            6 => (vec![self.remark(None)], Vec::new()),
            7 => (vec![Body::StopWork(StopWork { cause: StopCause::Other, at: None, remark: None })], Vec::new()),
            8 => {
                let pause = Body::Paused(Paused { left_as: LeftAs::NotConnected, remark: None });
                (vec![if self.rng.chance(500) { pause } else { Body::Resumed(Plain {}) }], Vec::new())
            }
            9 => (self.correct(&file), Vec::new()),
            10 => self.ask_deviation(at, job, &file),
            11 => (self.come_and_go(), Vec::new()),
            _ => (vec![Body::Submitted(Plain {})], Vec::new()),
        };
        (!bodies.is_empty()).then_some((job, bodies, photos))
    }

    /// One of the crew leaves the others or is back, or a lock changes hands.
    fn come_and_go(&mut self) -> Vec<Body> {
        let to = self.rng.index(self.people.len());
        vec![match self.rng.below(4) {
            0 => Body::WentAway(Plain {}),
            1 | 2 => Body::CameBack(Plain {}),
            _ => Body::LockHandedOver(LockHandedOver { to: self.people[to].id }),
        }]
    }

    /// Evidence for a step that is open on this phone.
    fn work_by_the_rules(&mut self, at: usize, job: JobId, file: JobFile) -> (Vec<Body>, Photos) {
        let (file, now_us) = (self.as_gates_see(file), self.clock_ms(at) * 1_000);
        let mut state = fold_for(&file, self.plan, now_us, self.people[self.devices[at].person].id);
        let open = state.gate.unfinished().into_iter().find(|step| state.gate.obstacles(*step).is_empty());
        let Some(step) = open else { return (vec![self.remark(None)], Vec::new()) };
        let view = state.gate.view(step);
        let mut bodies = Vec::new();
        if !view.cautions_unread.is_empty() {
            let at = state.gate.place(step, "");
            bodies.push(Body::CautionsRead(domain::job_file::body::CautionsRead {
                at,
                cautions: view.cautions_unread.clone(),
            }));
        }
        let missing = view.step.requirements.iter().zip(&view.answers).find(|(_, answer)| !answer.lets_through());
        let Some((need, _)) = missing else { return (bodies, Vec::new()) };
        let place = state.gate.place(step, need.id());
        let kind = need.kind();
        let mut photos = Vec::new();
        bodies.extend(self.evidence(at, job, place, kind, &mut photos));
        (bodies, photos)
    }

    /// Anything anywhere: a step that is shut, a place that does not exist, a kind that does not fit.
    fn work_against_the_rules(&mut self, at: usize, job: JobId) -> (Vec<Body>, Photos) {
        let place = self.place();
        let kind = self.rng.pick(&["photo", "reading", "choice", "confirmation"]).copied().unwrap_or("choice");
        let mut photos = Vec::new();
        let body = self.evidence(at, job, place, kind, &mut photos);
        (body.into_iter().collect(), photos)
    }

    fn place(&mut self) -> Place {
        let places = [
            ("arrive", "place"),
            ("dead", "v"),
            ("after", "v"),
            ("floor", "kind"),
            ("shim", "done"),
            ("end", "whole"),
            ("end", "nowhere"),
        ];
        let (step, need) = self.rng.pick(&places).copied().unwrap_or(("end", "clean"));
        Place::of(step, 0, need)
    }

    fn evidence(&mut self, at: usize, job: JobId, place: Place, kind: &str, photos: &mut Photos) -> Option<Body> {
        Some(match kind {
            "photo" => Body::Photo(self.photograph(at, job, place, photos)),
            "reading" => {
                let volts = i64::try_from(self.rng.below(80)).unwrap_or(0);
                Body::Reading(Reading {
                    at: place,
                    raw: volts.to_string(),
                    micro: Some(volts * 1_000_000),
                    unit: domain::electrical::Unit::Volt.code(),
                    sign: Sign::Equal,
                    quality: ReadingQuality::Ok,
                    instrument: None,
                    corrects: None,
                    test_voltage: None,
                })
            }
            "choice" => {
                let option = if self.rng.chance(500) { "level" } else { "uneven" };
                Body::Choice(Choice { at: place, option: option.into(), corrects: None })
            }
            "confirmation" => {
                let statement = Hash32::sha256(place.requirement.as_bytes());
                Body::Confirmation(Confirmation { at: place, statement, person: None, named_in: None, corrects: None })
            }
            _ => return None,
        })
    }

    fn photograph(&mut self, at: usize, job: JobId, place: Place, photos: &mut Photos) -> Photo {
        let now_ms = self.clock_ms(at);
        let capture = CaptureId::of(uuid_v7(now_ms, &self.rng.bytes()));
        // Against the rules: a picture that was taken for another job.
        let old: Photos = self.devices[at]
            .shelf
            .photos
            .values()
            .filter(|row| row.job != job && row.bytes_here && row.role == PhotoRole::Original)
            .filter_map(|row| Some((row.clone(), self.devices[at].shelf.photo_bytes.get(&row.file.hash)?.clone())))
            .collect();
        let again = self.rng.chance(150);
        let original = match self.rng.pick(&old) {
            Some((row, bytes)) if again => (row.file.clone(), bytes.clone()),
            Some(_) | None => self.picture(SMALLEST_PHOTO, LARGEST_PHOTO),
        };
        let preview = self.rng.chance(900).then(|| self.picture(10 * 1024, SMALLEST_PHOTO));
        let mut keep = |(file, bytes): &(PhotoFile, Vec<u8>), role| {
            let delivery = PhotoDelivery::fresh();
            let row = PhotoRow { job, file: file.clone(), role, capture, added_ms: now_ms, bytes_here: true, delivery };
            photos.push((row, bytes.clone()));
        };
        keep(&original, PhotoRole::Original);
        if let Some(preview) = &preview {
            keep(preview, PhotoRole::Preview);
        }
        Photo {
            at: place,
            capture,
            original: original.0,
            preview: preview.map(|(file, _)| file),
            taken_ms: now_ms,
            origin: PhotoOrigin::Camera,
            corrects: None,
            kept_anyway: false,
        }
    }

    /// A picture's content is sixteen bytes here, whatever size it claims.
    fn picture(&mut self, least: u64, most: u64) -> (PhotoFile, Vec<u8>) {
        let content = self.rng.bytes::<16>().to_vec();
        let bytes = self.rng.between(least, most);
        (PhotoFile { hash: Hash32::sha256(&content), bytes, width: 4, height: 3, media: MediaType::Jpeg }, content)
    }

    fn correct(&mut self, file: &JobFile) -> Vec<Body> {
        let evidence = file.iter().filter(|held| held.entry.body().is_some_and(|body| body.evidence_place().is_some()));
        let evidence: Vec<EntryId> = evidence.map(|held| held.entry.header.id).collect();
        let target = self.rng.pick(&evidence).copied();
        target.map(|target| vec![Body::Retraction(Retraction { target, remark: None })]).unwrap_or_default()
    }

    fn ask_deviation(&mut self, at: usize, job: JobId, file: &JobFile) -> (Vec<Body>, Photos) {
        let Some(remark) = self.entry_of(file) else { return (Vec::new(), Vec::new()) };
        let mut photos = Vec::new();
        let place = self.place();
        let photo = self.photograph(at, job, place.clone(), &mut photos);
        let asked = DeviationAsked { at: place, remark, photo: photo.original, preview: photo.preview };
        (vec![Body::DeviationAsked(asked)], photos)
    }

    // --- the stranger

    /// Somebody with a good session and no good intentions, or an app with a bad bug.
    pub(crate) fn hostile(&mut self) {
        if self.healed {
            return;
        }
        self.about(50 * MINUTE, Ev::Hostile);
        let technicians: Vec<usize> = (0..self.devices.len()).filter(|at| !self.devices[*at].gone).collect();
        let Some(&at) = self.rng.pick(&technicians) else { return };
        let (person, id) = (self.devices[at].person, self.devices[at].id);
        let Some(victim) = self.somebodys_entry() else { return };
        let mut batch: Vec<Bytes> = vec![victim];
        match self.rng.below(4) {
            0 => batch.push(Bytes::from(vec![0xff; 40])),
            1 => batch.push(Bytes::from(vec![0; 70_000])),
            2 => batch.push(Bytes::from(vec![0xa1, 0x18, 0x00, 0x00])),
            _ => {}
        }
        let call = self.open_call(None, (None, person, id), Outgoing::Push(batch));
        self.after(5, Ev::Arrive(call));
    }

    /// An entry that a phone has not sent yet, with the same id and other bytes, or as it is: under a wrong name.
    fn somebodys_entry(&mut self) -> Option<Bytes> {
        let waiting: Vec<Bytes> = self
            .devices
            .iter()
            .flat_map(|device| device.shelf.entries.values())
            .filter(|(_, row)| row.stamp.is_none())
            .map(|(_, row)| Bytes::from(row.envelope.as_slice()))
            .collect();
        let bytes = self.rng.pick(&waiting).cloned()?;
        let entry = Entry::read(&bytes).ok()?;
        if self.rng.chance(500) {
            return Some(bytes);
        }
        let envelope: Envelope = from_bytes(&bytes).ok()?;
        let salt: [u8; 16] = self.rng.bytes();
        let body = envelope.body.as_ref()?.to_vec();
        let header = Header { body_hash: body_hash(&salt, &body), hlc: entry.header.hlc + 5, ..entry.header };
        let forged = Envelope {
            header: to_bytes(&header).into(),
            salt: Some(salt.to_vec().into()),
            body: Some(body.into()),
            signature: None,
        };
        let forged = to_bytes(&forged);
        self.ledger.forged.insert(Hash32::sha256(&forged));
        Some(Bytes::from(forged))
    }
}
