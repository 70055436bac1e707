//! A phone without a screen: the real log, the real bytes, the real messages, and a person who signed in.

use std::collections::BTreeMap;
use std::time::{SystemTime, UNIX_EPOCH};

use base64::Engine as _;
use domain::ids::{CaptureId, DeviceId, EntryId, FirmId, Hash32, JobId, ModelId, PersonId, SiteId};
use domain::job_file::body::{
    Assigned, Assignment, Confirmation, CrewRole, Equipment, JobPlanned, MediaType, ModelSnapshot, Photo, PhotoFile,
    PhotoOrigin, Purpose, Schedule, SerialRead, SerialSource, SiteDetails, Slot, UnitKind,
};
use domain::job_file::{Body, Draft, Entry, JobFile, Place};
use domain::method::Method;
use domain::method::load::from_toml;
use domain::wire::sync::{JobHead, Pull, PullReply, Push, PushReply, PushVerdict, SYNC_VERSION};
use domain::wire::{from_bytes, to_bytes};
use reqwest::Method as Verb;
use sqlx::PgPool;
use uuid::Uuid;

use crate::app::TestApp;
use crate::client::{Answer, Client, send};

/// A plan of work that fits a test: arrive (photo, tick) → dead (stop-work, at most 10 V) → plates (serial and label of each
/// unit) → settings (choice).
const SMALL_STEPS: &str = r#"
[[stage]]
id = "settings"
title = { en = "Settings" }

[[step]]
id = "arrive"
stage = "work"
hold = true
title = { en = "Arrive" }
act = { en = "Arrive." }
[[step.require]]
kind = "photo"
id = "photo"
label = { en = "Place" }
shows = { en = "The place" }
[[step.require]]
kind = "confirmation"
id = "here"
label = { en = "I am here." }

[[step]]
id = "dead"
stage = "work"
hold = true
stop_work = true
needs = ["arrive"]
title = { en = "Dead" }
act = { en = "Measure." }
[[step.require]]
kind = "reading"
id = "v"
label = { en = "Voltage" }
unit = "volt"
sanity = ["0", "1000"]
limit = { from = "constant", at_most = "10", source = "house rule" }

[[step]]
id = "plates"
stage = "work"
repeat = "module"
needs = ["arrive"]
title = { en = "Plates" }
act = { en = "Scan." }
[[step.require]]
kind = "serial"
id = "serial"
label = { en = "Serial" }
[[step.require]]
kind = "photo"
id = "label"
label = { en = "Plate" }
shows = { en = "The plate" }

[[step]]
id = "grid-profile"
stage = "settings"
needs = ["dead"]
title = { en = "Settings" }
act = { en = "Set." }
[[step.require]]
kind = "choice"
id = "profile"
label = { en = "Profile" }
option = [ { id = "b", label = { en = "Region B" } } ]
"#;

/// A method file for tests: one to eight new modules, the stage `work`, and what follows.
pub fn method_text(id: &str, rest: &str) -> String {
    format!(
        r#"
id = "{id}"
version = 1
purpose = "install"
title = {{ en = "{id}" }}
about = {{ en = "For tests" }}
caution = []

[[unit]]
unit = "module"
least = 1
most = 8
new = true

[[stage]]
id = "work"
title = {{ en = "Work" }}

{rest}"#
    )
}

/// The small method.
///
/// # Panics
/// It is no method any more.
pub fn small_method() -> Method {
    from_toml(&method_text("test-small", SMALL_STEPS)).expect("the small method is a method")
}

/// Puts a method where the server finds methods; a second time changes nothing.
///
/// # Errors
/// The database does not take it.
pub async fn publish(owner: &PgPool, method: &Method) -> Result<(), sqlx::Error> {
    sqlx::query(
        "insert into methods (id, version, hash, cbor, published_us) values ($1, 1, $2, $3, 0) on conflict do nothing",
    )
    .bind(&method.id)
    .bind(method.reference().hash.bytes().to_vec())
    .bind(method.to_bytes())
    .execute(owner)
    .await
    .map(drop)
}

/// Puts the small method where the server finds methods.
///
/// # Panics
/// The database does not take it.
pub async fn publish_small_method(app: &TestApp) -> Method {
    let method = small_method();
    let owner = app.db.owner_pool().await;
    publish(&owner, &method).await.expect("a method row");
    owner.close().await;
    method
}

/// Nothing of a push was held or refused, and nothing was there before.
///
/// # Errors
/// The verdicts.
pub fn all_stored(verdicts: &[PushVerdict]) -> anyhow::Result<()> {
    let stored = verdicts.iter().all(|verdict| matches!(verdict, PushVerdict::Stored(_)));
    anyhow::ensure!(stored, "not all is stored: {verdicts:?}");
    Ok(())
}

/// A phone.
pub struct TestPhone {
    /// Who is signed in.
    pub client: Client,
    /// What it holds.
    pub files: BTreeMap<JobId, JobFile>,
    /// The manifest of the last pull.
    pub manifest: Vec<JobHead>,
    /// The server life that its positions belong to.
    pub epoch: Vec<u8>,
    /// How wrong its clock is, microseconds.
    pub clock_off_us: i64,
    /// Entries that are not confirmed, in the order of writing.
    pub tray: Vec<(JobId, EntryId)>,
}

impl TestPhone {
    /// A new phone of somebody who has signed in.
    pub fn of(client: Client) -> Self {
        Self {
            client,
            files: BTreeMap::new(),
            manifest: Vec::new(),
            epoch: Vec::new(),
            clock_off_us: 0,
            tray: Vec::new(),
        }
    }

    /// Somebody of the demo firm with a phone.
    pub async fn sign_in(app: &TestApp, email: &str) -> Self {
        Self::of(app.sign_in(email).await)
    }

    /// Who.
    pub fn person(&self) -> PersonId {
        PersonId::of(self.client.person())
    }

    /// On which enrolment.
    pub fn device(&self) -> DeviceId {
        DeviceId::of(self.client.device())
    }

    /// Of which firm.
    pub fn firm(&self) -> FirmId {
        FirmId::of(self.client.firm())
    }

    /// The phone's clock, microseconds since 1970 UTC.
    pub fn now_us(&self) -> u64 {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970").as_micros();
        let now = i64::try_from(since).expect("before the year 290 000") + self.clock_off_us;
        u64::try_from(now).expect("after 1970")
    }

    /// An entry as this phone would write it next; nothing is kept.
    pub fn draft(&self, job: JobId, body: Body) -> Entry {
        self.draft_as(EntryId::of(Uuid::now_v7()), job, body)
    }

    /// The same under an id that other entries already name.
    pub fn draft_as(&self, id: EntryId, job: JobId, body: Body) -> Entry {
        self.draft_having(id, job, body, self.files.get(&job).map_or(0, JobFile::head))
    }

    /// The same as if so much of the job had been received.
    pub fn draft_having(&self, id: EntryId, job: JobId, body: Body, seen: u64) -> Entry {
        let empty = JobFile::default();
        let file = self.files.get(&job).unwrap_or(&empty);
        let (author, device) = (self.person(), self.device());
        let draft = Draft { id, firm: self.firm(), job, author, device, salt: *Uuid::new_v4().as_bytes(), body };
        Entry::write(draft, file.chain_head(device), seen, self.now_us(), file.latest_at())
    }

    /// Writes into the job file and the tray.
    pub fn write(&mut self, job: JobId, body: Body) -> EntryId {
        let entry = self.draft(job, body);
        self.keep(entry)
    }

    /// Takes an entry that was made by hand.
    pub fn keep(&mut self, entry: Entry) -> EntryId {
        let (job, id) = (entry.header.job, entry.header.id);
        self.files.entry(job).or_default().absorb(entry, None);
        self.tray.push((job, id));
        id
    }

    /// Plans a job at a new site: what for, two modules, address, day, crew.
    pub fn plan_job(&mut self, method: &Method, crew: &[PersonId]) -> JobId {
        let job = JobId::of(Uuid::now_v7());
        let plan = JobPlanned {
            purpose: Purpose::Install,
            site: SiteId::of(Uuid::now_v7()),
            method: method.reference(),
            rule_set: "neutral 1".into(),
        };
        self.write(job, Body::JobPlanned(plan));
        self.equip(job, None);
        let site = SiteDetails {
            householder: "Rowan Example".into(),
            street: "Lane 7".into(),
            town: "10000 Exampleton".into(),
            zone: "Europe/Berlin".into(),
            ..SiteDetails::default()
        };
        self.write(job, Body::SiteDetails(site));
        self.write(job, Body::Schedule(Schedule { day: "2026-12-01".into(), start: String::new() }));
        self.assign(job, crew);
        job
    }

    /// Two modules; `registration_days` is the maker's figure.
    pub fn equip(&mut self, job: JobId, registration_days: Option<i64>) -> EntryId {
        let model = ModelSnapshot {
            model: ModelId::of(Uuid::from_u128(7)),
            version: 1,
            kind: UnitKind::Module,
            maker: "Kestrel Cellworks (demo)".into(),
            name: "Floor 5".into(),
            gtin: Some("09521234543213".into()),
            serial_prefix: String::new(),
            serial_length: (0, 0),
            values: registration_days
                .map(|days| ("registration_days".to_owned(), days * 1_000_000))
                .into_iter()
                .collect(),
        };
        let slots = (1..=2).map(|number| Slot { number, model: 0, new: true }).collect();
        self.write(job, Body::Equipment(Equipment { models: vec![model], slots }))
    }

    /// Names the crew anew.
    pub fn assign(&mut self, job: JobId, crew: &[PersonId]) -> EntryId {
        let assigned =
            |person: &PersonId| Assigned { person: *person, role: CrewRole::Technician, tickets: Vec::new() };
        self.write(job, Body::Assignment(Assignment { crew: crew.iter().map(assigned).collect() }))
    }

    /// Ticks a statement.
    pub fn tick(&mut self, job: JobId, place: Place) -> EntryId {
        let statement = Hash32::sha256(b"as shown");
        self.write(
            job,
            Body::Confirmation(Confirmation { at: place, statement, person: None, named_in: None, corrects: None }),
        )
    }

    /// Reads a serial.
    pub fn scan(&mut self, job: JobId, slot: u16, serial: &str) -> EntryId {
        self.write(job, Body::Serial(serial_read(slot, serial, None)))
    }

    /// Takes a photo.
    pub fn photograph(&mut self, job: JobId, place: Place, bytes: &[u8]) -> EntryId {
        self.write(job, Body::Photo(photo(place, bytes)))
    }

    /// Arrives: the photo and the tick of the first step.
    pub fn arrive(&mut self, job: JobId, photo: &[u8]) {
        self.photograph(job, Place::of("arrive", 0, "photo"), photo);
        self.tick(job, Place::of("arrive", 0, "here"));
    }

    /// Offers the tray and believes the answer.
    ///
    /// # Panics
    /// The server does not take the push.
    pub async fn push(&mut self) -> Vec<PushVerdict> {
        let waiting = std::mem::take(&mut self.tray);
        let entries = waiting.iter().map(|(job, id)| {
            self.files[job].get(*id).expect("what is in the tray is in the file").entry.bytes().to_vec()
        });
        let entries: Vec<Vec<u8>> = entries.collect();
        let answer = self.post_push(&entries).await;
        let reply = Self::push_reply(&answer);
        let verdicts = reply.verdicts;
        if self.epoch.is_empty() {
            // The stamps of the answer are positions of this server life.
            self.epoch = reply.epoch.to_vec();
        }
        for ((job, id), verdict) in waiting.iter().zip(&verdicts) {
            if let PushVerdict::Stored(stamp) | PushVerdict::Had(stamp) = verdict {
                let file = self.files.get_mut(job).expect("the job is there");
                let entry = file.get(*id).expect("the entry is there").entry.clone();
                file.absorb(entry, Some(*stamp));
            }
        }
        verdicts
    }

    /// Offers these bytes.
    ///
    /// # Panics
    /// The server does not take the push.
    pub async fn push_bytes(&self, entries: &[Vec<u8>]) -> Vec<PushVerdict> {
        let answer = self.post_push(entries).await;
        let reply = Self::push_reply(&answer);
        assert_eq!(reply.verdicts.len(), entries.len());
        reply.verdicts
    }

    fn push_reply(answer: &Answer) -> PushReply {
        assert_eq!(answer.status, 200, "{}", answer.body);
        from_bytes(&answer.bytes).expect("a push reply")
    }

    /// Offers these bytes, whatever comes of it.
    pub async fn post_push(&self, entries: &[Vec<u8>]) -> Answer {
        let push = Push {
            version: SYNC_VERSION,
            device: self.device(),
            entries: entries.iter().map(|bytes| bytes.clone().into()).collect(),
        };
        self.client.post_cbor("/api/sync/push", to_bytes(&push)).await
    }

    /// Pulls until there is no more. Gives how many entries came.
    pub async fn pull(&mut self) -> usize {
        let mut came = 0;
        loop {
            let reply = self.pull_once(&[]).await;
            came += reply.entries.len();
            if !reply.more {
                return came;
            }
        }
    }

    /// Pulls once and takes in what comes.
    ///
    /// # Panics
    /// The server does not answer, or with something that is no entry.
    pub async fn pull_once(&mut self, also: &[JobId]) -> PullReply {
        let pull = Pull {
            version: SYNC_VERSION,
            device: self.device(),
            epoch: self.epoch.clone().into(),
            have: self.files.iter().map(|(job, file)| (*job, contiguous(file))).collect(),
            also: also.to_vec(),
            waiting: u32::try_from(self.tray.len()).expect("a few"),
            written: self
                .tray
                .iter()
                .filter_map(|(job, id)| Some((*job, self.files[job].get(*id)?.entry.header.seq)))
                .collect(),
        };
        let answer = self.client.post_cbor("/api/sync/pull", to_bytes(&pull)).await;
        assert_eq!(answer.status, 200, "{}", answer.body);
        let reply: PullReply = from_bytes(&answer.bytes).expect("a pull reply");
        for pulled in &reply.entries {
            let entry = Entry::read(&pulled.envelope).expect("an entry");
            assert_eq!((entry.header.job, entry.header.id), (pulled.job, pulled.id));
            self.files.entry(pulled.job).or_default().absorb(entry, Some(pulled.stamp));
        }
        self.epoch = reply.epoch.to_vec();
        self.manifest.clone_from(&reply.manifest);
        reply
    }

    /// Is the job in the manifest?
    pub fn sees(&self, job: JobId) -> bool {
        self.manifest.iter().any(|head| head.job == job)
    }

    /// Begins an upload of these bytes.
    pub async fn begin_upload(&self, job: JobId, bytes: &[u8]) -> Answer {
        self.begin_upload_as(job, Hash32::sha256(bytes), bytes.len() as u64).await
    }

    /// Begins an upload with a hash and a length that need not be true.
    pub async fn begin_upload_as(&self, job: JobId, sha256: Hash32, length: u64) -> Answer {
        let b64 = |text: String| base64::engine::general_purpose::STANDARD.encode(text);
        let metadata = format!("sha256 {},job {}", b64(sha256.hex()), b64(job.to_string()));
        let request = self.client.request(Verb::POST, "/api/photos").header("tus-resumable", "1.0.0");
        send(request.header("upload-length", length).header("upload-metadata", metadata)).await
    }

    /// Goes on with an upload.
    pub async fn go_on(&self, location: &str, offset: u64, bytes: &[u8]) -> Answer {
        let request = self.client.request(Verb::PATCH, location).header("tus-resumable", "1.0.0");
        let request = request.header("upload-offset", offset).header("content-type", "application/offset+octet-stream");
        send(request.body(bytes.to_vec())).await
    }

    /// Asks how far an upload is.
    pub async fn ask(&self, location: &str) -> Answer {
        send(self.client.request(Verb::HEAD, location).header("tus-resumable", "1.0.0")).await
    }

    /// Uploads a photo in one go.
    ///
    /// # Panics
    /// The server refuses.
    pub async fn upload(&self, job: JobId, bytes: &[u8]) -> Answer {
        let begun = self.begin_upload(job, bytes).await;
        if begun.status == 200 {
            return begun;
        }
        assert_eq!(begun.status, 201, "{}", begun.body);
        let location = begun.header("location").to_owned();
        let sent = self.go_on(&location, 0, bytes).await;
        assert_eq!(sent.status, 204, "{}", sent.body);
        sent
    }
}

/// Up to where the file has no gap: what a phone may name as its position.
fn contiguous(file: &JobFile) -> u64 {
    let mut positions: Vec<u64> = file.iter().filter_map(|held| held.stamp).map(|stamp| stamp.position).collect();
    positions.sort_unstable();
    (1..).zip(positions).take_while(|(wanted, there)| wanted == there).count() as u64
}

/// A serial as the step `plates` takes it.
pub fn serial_read(slot: u16, serial: &str, lot: Option<&str>) -> SerialRead {
    SerialRead {
        at: Place::of("plates", slot, "serial"),
        raw: serial.into(),
        stored: serial.into(),
        source: SerialSource::Camera,
        gtin: None,
        lot: lot.map(str::to_owned),
        corrects: None,
    }
}

/// A photo without a preview.
pub fn photo(place: Place, bytes: &[u8]) -> Photo {
    Photo {
        at: place,
        capture: CaptureId::of(Uuid::now_v7()),
        original: photo_file(bytes),
        preview: None,
        taken_ms: 0,
        origin: PhotoOrigin::Camera,
        corrects: None,
        kept_anyway: false,
    }
}

/// The name of these bytes.
pub fn photo_file(bytes: &[u8]) -> PhotoFile {
    PhotoFile { hash: Hash32::sha256(bytes), bytes: bytes.len() as u64, width: 0, height: 0, media: MediaType::Jpeg }
}
