//! One run: servers, database, devices, and whoever kills.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use anyhow::{Context as _, Result, ensure};
use domain::ids::JobId;
use serde_json::{Value, json};
use server::demo::{PASSWORD, ids};
use sqlx::PgPool;
use tempfile::TempDir;
use tests::balancer::Balancer;
use tests::chance::Chance;
use tests::client::Client;
use tests::cluster::Cluster;
use tests::db::TestDb;
use tests::device::{Device, FastClock};
use tests::phone::{TestPhone, all_stored, publish, small_method};
use tests::program::Program;
use tokio::sync::watch;
use tokio::task::JoinHandle;

use crate::check::{Found, Log, heads};
use crate::keeper::Keeper;
use crate::work::{Phase, Standing, live};

const LEAD: &str = "quill@larkfield.example";
/// Several devices of one person, too: each has its own chain.
const PEOPLE: [&str; 6] = [
    LEAD,
    LEAD,
    "ashdown@larkfield.example",
    "ashdown@larkfield.example",
    "solano@larkfield.example",
    "solano@larkfield.example",
];
const JOBS: usize = 4;
/// How much faster than the wall's the devices' clocks run, so that a minute's backoff fits a test.
const SPEED: u32 = 20;
/// After the last kill something moves within this, until everything is at rest, or it never will be. A busy machine may take its
/// time over what two hundred kills have left in the trays.
const MOVES_WITHIN: Duration = Duration::from_secs(90);
/// What a world that has lost something is given to show it.
const BROKEN_WITHIN: Duration = Duration::from_secs(8);
const LOOK_EVERY: Duration = Duration::from_millis(50);

/// Who may be killed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Victims {
    /// Either server, both at once, and the database.
    All,
    /// The database only.
    Database,
}

/// When the database says that something is committed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Commits {
    /// Once it is on the disk.
    Strict,
    /// Before: the planted fault.
    Early,
}

/// A run.
#[derive(Clone, Copy, Debug)]
pub struct Plan {
    pub seed: u64,
    pub kills: u32,
    pub victims: Victims,
    pub commits: Commits,
}

/// What came of it.
#[derive(Debug, Default)]
pub struct Outcome {
    pub kills_server: u32,
    pub kills_both: u32,
    pub kills_database: u32,
    pub acknowledged: usize,
    pub photos_stored: usize,
    pub saved: usize,
    pub requests: u64,
    pub lost: u64,
    pub missing: u64,
    pub twice: u64,
    pub gaps: u64,
    pub disagreements: u64,
    pub seconds: f64,
    pub findings: Vec<String>,
}

impl Outcome {
    /// All of them.
    pub fn killed(&self) -> u32 {
        self.kills_server + self.kills_both + self.kills_database
    }

    /// One flat object.
    pub fn json(&self, plan: &Plan) -> Value {
        json!({
            "seed": plan.seed, "kills": self.killed(), "kills_server": self.kills_server,
            "kills_both_servers": self.kills_both, "kills_postgres": self.kills_database, "devices": PEOPLE.len(),
            "entries_acknowledged": self.acknowledged, "photos_stored": self.photos_stored,
            "entries_and_photos_saved": self.saved, "requests": self.requests, "lost": self.lost,
            "missing": self.missing, "twice": self.twice, "gaps": self.gaps, "disagreements": self.disagreements,
            "findings": self.findings.len(), "seconds": (self.seconds * 10.0).round() / 10.0,
        })
    }
}

/// Everything that stands while a run lasts. Dropped in this order.
struct World {
    keepers: Vec<Keeper>,
    balancer: Balancer,
    owner: PgPool,
    folder: TempDir,
    _db: TestDb,
    cluster: Cluster,
}

/// Makes a world, kills in it, lets it heal and asks.
pub async fn run(plan: Plan) -> Result<Outcome> {
    let began = Instant::now();
    let mut chance = Chance::of(plan.seed);
    let mut world = World::build(plan.commits).await?;
    let devices = world.devices(&mut chance).await?;
    let (phase, watched) = watch::channel(Phase::Work);
    let standings: Vec<Arc<Mutex<Standing>>> = devices.iter().map(|_| Arc::default()).collect();
    let live = |(device, standing): (Device, &Arc<Mutex<Standing>>)| {
        tokio::spawn(live(device, watched.clone(), Arc::clone(standing)))
    };
    let tasks: Vec<JoinHandle<Device>> = devices.into_iter().zip(&standings).map(live).collect();
    let mut outcome = Outcome::default();
    world.kill(&plan, &standings, &mut chance, &mut outcome).await?;
    phase.send_replace(Phase::Drain);
    let within = if plan.commits == Commits::Strict { MOVES_WITHIN } else { BROKEN_WITHIN };
    let drained = world.heals(&standings, within).await?;
    phase.send_replace(Phase::End);
    let mut devices = Vec::new();
    for task in tasks {
        devices.push(task.await?);
    }
    let found = Log::read(&world.owner).await?.compare(&devices, &world.folder.path().join("photos"), drained);
    outcome.take(&devices, found);
    if !drained {
        outcome.findings.push(format!("not at rest, and nothing moves within {within:?}"));
        outcome.findings.extend(devices.iter().enumerate().map(|(at, device)| left(at, device)));
    }
    outcome.seconds = began.elapsed().as_secs_f64();
    Ok(outcome)
}

/// Waits until somebody was told of an entry that was not confirmed when this began.
async fn something_is_confirmed(standings: &[Arc<Mutex<Standing>>]) -> Result<()> {
    let confirmed = || standings.iter().map(|standing| standing.lock().unwrap().confirmed).sum::<usize>();
    let (began, before) = (Instant::now(), confirmed());
    while confirmed() == before {
        ensure!(began.elapsed() < MOVES_WITHIN, "nothing is confirmed within {MOVES_WITHIN:?}");
        tokio::time::sleep(LOOK_EVERY).await;
    }
    Ok(())
}

/// What a device still has in its tray, and why.
fn left(at: usize, device: &Device) -> String {
    let (here, now_ms) = (device.tray().here(), device.clock.now_ms());
    let entries: Vec<String> = here.entries.iter().map(|entry| format!("{:?}", entry.delivery)).collect();
    let photos: Vec<String> = here.photos.iter().map(|photo| format!("{:?}", photo.delivery)).collect();
    let word = device.tray().word();
    format!("device {at} at {now_ms}: {word:?}, entries {entries:?}, photos {photos:?}, failed {:#?}", device.failures)
}

impl Outcome {
    fn take(&mut self, devices: &[Device], found: Found) {
        for device in devices {
            self.acknowledged += device.ledger.acknowledged.len();
            self.photos_stored += device.ledger.photos_stored.len();
            self.saved += device.ledger.entries_saved.len() + device.ledger.photos_saved.len();
            self.requests += device.requests;
        }
        (self.lost, self.missing, self.twice) = (found.lost, found.missing, found.twice);
        (self.gaps, self.disagreements) = (found.gaps, found.disagreements);
        self.findings.extend(found.findings);
    }
}

impl World {
    async fn build(commits: Commits) -> Result<Self> {
        let settings: &[&str] = match commits {
            Commits::Strict => &[],
            Commits::Early => &["synchronous_commit=off"],
        };
        let cluster = Cluster::start(settings).await?;
        let db = TestDb::create_in(cluster.owner_url()).await;
        let folder = tempfile::tempdir()?;
        let photos = format!("file://{}", folder.path().join("photos").display());
        let mut programs = [Program::of(&db, photos.clone(), folder.path())?, Program::of(&db, photos, folder.path())?];
        // One after the other: the first migrates and seeds.
        for program in &mut programs {
            program.start().await?;
        }
        let servers: Vec<SocketAddr> = programs.iter().map(|program| program.listen).collect();
        let balancer = Balancer::start(servers).await;
        let owner = db.owner_pool().await;
        let keepers = programs.into_iter().map(Keeper::of).collect();
        Ok(Self { keepers, balancer, owner, folder, _db: db, cluster })
    }

    async fn sign_in(&self, email: &str) -> Result<Client> {
        let mut client = Client::new(&format!("http://{}", self.balancer.address()));
        let answer = client.sign_in(email, PASSWORD, None).await;
        ensure!(answer.status == 200, "{email}: {} {}", answer.status, answer.body);
        Ok(client)
    }

    /// Jobs of all of them, and devices that have fetched these.
    async fn devices(&self, chance: &mut Chance) -> Result<Vec<Device>> {
        let method = small_method();
        publish(&self.owner, &method).await?;
        let mut lead = TestPhone::of(self.sign_in(LEAD).await?);
        let jobs: Vec<JobId> = (0..JOBS).map(|_| lead.plan_job(&method, &[ids::ASHDOWN, ids::SOLANO])).collect();
        all_stored(&lead.push().await)?;
        let mut devices = Vec::new();
        for email in PEOPLE {
            let mut device = Device::of(self.sign_in(email).await?, FastClock::of(SPEED), chance.fork());
            device.until_idle().await;
            ensure!(device.jobs().len() == jobs.len(), "{email} sees {} jobs", device.jobs().len());
            devices.push(device);
        }
        Ok(devices)
    }

    async fn kill(
        &mut self,
        plan: &Plan,
        standings: &[Arc<Mutex<Standing>>],
        chance: &mut Chance,
        outcome: &mut Outcome,
    ) -> Result<()> {
        for number in 0..plan.kills {
            let pause = Duration::from_millis(chance.between(150, 1_500));
            if plan.commits == Commits::Early {
                self.cluster.stop_the_writer().await?;
                something_is_confirmed(standings).await?;
            }
            tokio::time::sleep(pause).await;
            let victim = match plan.victims {
                Victims::All => chance.between(0, 9),
                Victims::Database => 9,
            };
            match victim {
                0..=2 => self.keepers[0].kill().await?,
                3..=5 => self.keepers[1].kill().await?,
                6 => {
                    for keeper in &mut self.keepers {
                        keeper.kill().await?;
                    }
                }
                _ => {
                    self.cluster.stop_at_once().await?;
                    tokio::time::sleep(Duration::from_millis(chance.between(0, 400))).await;
                    self.cluster.start_again().await?;
                }
            }
            match victim {
                0..=5 => outcome.kills_server += 1,
                6 => outcome.kills_both += 1,
                _ => outcome.kills_database += 1,
            }
            if (number + 1) % 20 == 0 {
                eprintln!("{} of {} kills", number + 1, plan.kills);
            }
        }
        Ok(())
    }

    /// Waits until nothing waits on any device and each has pulled all there is.
    async fn heals(&self, standings: &[Arc<Mutex<Standing>>], within: Duration) -> Result<bool> {
        let (mut moved, mut before) = (Instant::now(), None);
        while moved.elapsed() < within {
            tokio::time::sleep(LOOK_EVERY).await;
            let heads: Vec<(JobId, u64)> = heads(&self.owner).await.context("the log")?.into_iter().collect();
            let now: Vec<Standing> = standings.iter().map(|standing| standing.lock().unwrap().clone()).collect();
            if now.iter().all(|standing| standing.waiting == 0 && standing.positions == heads) {
                return Ok(true);
            }
            if before.as_ref() != Some(&now) {
                (moved, before) = (Instant::now(), Some(now));
            }
        }
        Ok(false)
    }
}
