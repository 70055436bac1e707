//! A device as phones have it, without a screen: the shelf in memory, the same tray (`domain::tray`) and the same loop as
//! `web/src/sync/driver.rs`, over real HTTP that may break at any byte. It keeps a ledger of what a person was told.
//!
//! Start with [`Device::turn`]. Its clock may run faster than the wall's, so that the waits of the tray fit a test.

mod ledger;
mod wire;

use std::collections::{BTreeMap, VecDeque};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

use domain::ids::{CaptureId, DeviceId, EntryId, FirmId, Hash32, JobId, PersonId};
use domain::job_file::body::{MediaType, Photo, PhotoFile, PhotoOrigin};
use domain::job_file::{Body, Draft, Entry, JobFile, Place};
use domain::tray::{Answer, Failure, PhotoDelivery, PhotoRole, PhotoRow, Plan, Request, Shelf, Tray, Write};
use uuid::Uuid;

pub use ledger::Ledger;
pub use wire::gzip;

use crate::chance::Chance;
use crate::client::Client;

/// Enough to see why something waits.
const FAILURES_KEPT: usize = 40;
/// As phones have it.
const SILENCE: Duration = Duration::from_secs(30);
/// Longer than any answer takes.
pub const PATIENT: Duration = Duration::from_secs(60);

/// What a turn came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    /// Something was asked and answered, or not: there may be more.
    Moved,
    /// Nothing to do now.
    Idle,
}

/// A clock that runs so many times as fast as the wall's.
#[derive(Clone, Copy, Debug)]
pub struct FastClock {
    began: Instant,
    began_ms: u64,
    speed: u32,
}

impl FastClock {
    /// Shows the time of day now.
    ///
    /// # Panics
    /// The machine believes that 1970 is to come.
    pub fn of(speed: u32) -> Self {
        let since = SystemTime::now().duration_since(UNIX_EPOCH).expect("after 1970").as_millis();
        Self { began: Instant::now(), began_ms: u64::try_from(since).expect("not that late"), speed }
    }

    /// Milliseconds since 1970 UTC.
    pub fn now_ms(&self) -> u64 {
        let since = self.began.elapsed() * self.speed;
        self.began_ms + u64::try_from(since.as_millis()).expect("not that long")
    }

    /// How long the wall's clock takes for so much of this one's.
    pub fn on_the_wall(&self, span: Duration) -> Duration {
        span / self.speed
    }
}

/// A device.
pub struct Device {
    /// Who is signed in, and where the server is.
    pub client: Client,
    /// What is on its disk.
    pub shelf: Shelf,
    /// What its person was told.
    pub ledger: Ledger,
    /// Its clock.
    pub clock: FastClock,
    /// So long nothing may arrive before a request is given up, on the wall's clock. Where nothing is to be given up, a test that counts
    /// bytes or tries sets it to [`PATIENT`]: a fast clock makes the server of a busy machine look dead.
    pub patience: Duration,
    /// How many requests it made.
    pub requests: u64,
    /// How many of them our server answered with a fault of its own.
    pub server_faults: u64,
    /// The last ones that came to nothing, in words.
    pub failures: VecDeque<String>,
    /// Job files as the shelf has them, so that a write need not read all of a job again.
    files: BTreeMap<JobId, JobFile>,
    tray: Tray,
    /// The server's last answer said that it takes packed messages.
    takes_packed: bool,
    chance: Chance,
}

impl Device {
    /// A new device of somebody who has signed in.
    pub fn of(client: Client, clock: FastClock, chance: Chance) -> Self {
        Self {
            client,
            shelf: Shelf::default(),
            ledger: Ledger::default(),
            clock,
            patience: clock.on_the_wall(SILENCE),
            requests: 0,
            server_faults: 0,
            failures: VecDeque::new(),
            files: BTreeMap::new(),
            tray: Tray::default(),
            takes_packed: false,
            chance,
        }
    }

    /// Who.
    pub fn person(&self) -> PersonId {
        PersonId::of(self.client.person())
    }

    /// On which enrolment.
    pub fn device(&self) -> DeviceId {
        DeviceId::of(self.client.device())
    }

    /// What waits and what is known of the way to the server.
    pub const fn tray(&self) -> &Tray {
        &self.tray
    }

    /// Draws from its own chance.
    pub const fn chance(&mut self) -> &mut Chance {
        &mut self.chance
    }

    /// The jobs that it holds.
    pub fn jobs(&self) -> Vec<JobId> {
        self.shelf.jobs.keys().copied().collect()
    }

    /// The job file as it stands here.
    pub fn file(&self, job: JobId) -> Option<&JobFile> {
        self.files.get(&job)
    }

    /// Writes into a job, and is told that it is saved.
    pub fn write(&mut self, job: JobId, body: Body) -> EntryId {
        self.save(job, body, &[])
    }

    /// Takes a photo with a preview, and is told that they are saved.
    pub fn photograph(&mut self, job: JobId, place: Place, original: &[u8], preview: &[u8]) -> EntryId {
        let capture = CaptureId::of(self.new_id());
        let (original_file, preview_file) = (file_of(original), file_of(preview));
        let now_ms = self.clock.now_ms();
        let row = |file: &PhotoFile, role| PhotoRow {
            job,
            file: file.clone(),
            role,
            capture,
            added_ms: now_ms,
            bytes_here: true,
            delivery: PhotoDelivery::fresh(),
        };
        let photos = [
            (row(&original_file, PhotoRole::Original), original.to_vec()),
            (row(&preview_file, PhotoRole::Preview), preview.to_vec()),
        ];
        let body = Photo {
            at: place,
            capture,
            original: original_file,
            preview: Some(preview_file),
            taken_ms: now_ms,
            origin: PhotoOrigin::Camera,
            corrects: None,
            kept_anyway: false,
        };
        self.save(job, Body::Photo(body), &photos)
    }

    fn save(&mut self, job: JobId, body: Body, photos: &[(PhotoRow, Vec<u8>)]) -> EntryId {
        let (author, device) = (self.person(), self.device());
        let firm = FirmId::of(self.client.firm());
        let salt = self.chance.noise(16).try_into().expect("sixteen bytes");
        let id = EntryId::of(self.new_id());
        let draft = Draft { id, firm, job, author, device, salt, body };
        let file = self.files.entry(job).or_default();
        let now_us = self.clock.now_ms() * 1_000;
        let entry = Entry::write(draft, file.chain_head(device), file.head(), now_us, file.latest_at());
        file.absorb(entry.clone(), None);
        self.shelf.keep(std::slice::from_ref(&entry), photos);
        self.ledger.saved(&entry, photos);
        self.tray.refill(self.shelf.on_device());
        id
    }

    fn new_id(&mut self) -> Uuid {
        let random: [u8; 10] = self.chance.noise(10).try_into().expect("ten bytes");
        domain::ids::uuid_v7(self.clock.now_ms(), &random)
    }

    /// One question and its answer, as `SyncHandle::turn` of the app.
    pub async fn turn(&mut self) -> Turn {
        if self.timed_turn().await.is_some() { Turn::Moved } else { Turn::Idle }
    }

    /// The same, with what was asked and how long its answer took on the wall's clock.
    pub async fn timed_turn(&mut self) -> Option<(Request, Duration)> {
        let request = self.next_request()?;
        self.requests += 1;
        let began = Instant::now();
        let answer = wire::exchange(self, &request).await;
        let took = began.elapsed();
        self.note_failure(&request, &answer);
        let jitter = u32::try_from(self.chance.bits() >> 32).expect("half of it");
        let plan = self.tray.take_reply(&request, answer, self.clock.now_ms(), jitter);
        self.apply(plan);
        Some((request, took))
    }

    fn note_failure(&mut self, request: &Request, answer: &Answer) {
        let Answer::Failed(failure) = answer else { return };
        self.server_faults += u64::from(matches!(failure, Failure::Status { status: 500.., .. }));
        if self.failures.len() == FAILURES_KEPT {
            self.failures.pop_front();
        }
        let what = match request {
            Request::Push(ids) => format!("push of {}", ids.len()),
            Request::Pull { .. } => "pull".to_owned(),
            Request::Photo(key, step) => format!("photo {} {step:?}", key.hash),
            Request::Reference | Request::Method(_) => "reference data".to_owned(),
        };
        self.failures.push_back(format!("{}: {what}: {failure:?}", self.clock.now_ms()));
    }

    /// What the tray would send now; it is on its way then.
    pub fn next_request(&mut self) -> Option<Request> {
        let now_ms = self.clock.now_ms();
        let request = self.tray.next_request(now_ms)?;
        self.tray.begin(&request, now_ms);
        Some(request)
    }

    /// Turns until there is nothing to do or nothing waits any more.
    pub async fn until_idle(&mut self) {
        while self.turn().await == Turn::Moved {}
    }

    /// Somebody taps: whatever rests is tried soon.
    pub fn poke(&mut self) {
        self.tray.poke(self.clock.now_ms());
    }

    /// The app is started anew: what was only in memory is gone.
    pub fn restart(&mut self) {
        self.tray = Tray::new(self.shelf.on_device());
    }

    fn apply(&mut self, plan: Plan) {
        if plan.writes.is_empty() {
            return;
        }
        self.ledger.told(&plan);
        let stamped: Vec<(JobId, EntryId)> = plan.writes.iter().filter_map(|write| self.stamped(write)).collect();
        self.shelf.apply(plan);
        for (job, id) in stamped {
            if let Some((_, row)) = self.shelf.entries.get(&id)
                && let Ok(entry) = Entry::read(&row.envelope)
            {
                self.files.entry(job).or_default().absorb(entry, row.stamp);
            }
        }
        self.tray.refill(self.shelf.on_device());
    }

    fn stamped(&self, write: &Write) -> Option<(JobId, EntryId)> {
        match write {
            Write::Confirm(id, _) => self.shelf.entries.get(id).map(|(job, _)| (*job, *id)),
            Write::Store { job, id, .. } => Some((*job, *id)),
            _ => None,
        }
    }
}

/// The name of these bytes.
fn file_of(bytes: &[u8]) -> PhotoFile {
    PhotoFile { hash: Hash32::sha256(bytes), bytes: bytes.len() as u64, width: 0, height: 0, media: MediaType::Jpeg }
}
