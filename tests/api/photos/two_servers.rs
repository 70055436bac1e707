//! Two processes of the server as it ships, over one database and one store of photos: either may go on with what the other
//! began, and a store that fails for a while costs time and nothing else.

use std::time::Duration;

use anyhow::{Result, ensure};
use domain::ids::{Hash32, JobId};
use domain::job_file::Place;
use domain::job_file::body::{Body, Remark};
use server::demo::{PASSWORD, ids};
use tempfile::TempDir;
use tests::chance::Chance;
use tests::client::Client;
use tests::db::TestDb;
use tests::device::{Device, FastClock};
use tests::phone::{TestPhone, all_stored, publish, small_method};
use tests::program::Program;
use tests::proxy::Line;

use super::Store;
use super::s3::S3;

const LEAD: &str = "quill@larkfield.example";
const TECHNICIAN: &str = "ashdown@larkfield.example";
/// The device's minute of waiting takes a second.
const SPEED: u32 = 60;
const WITHIN: Duration = Duration::from_secs(40);

/// Both processes, and what they stand on.
struct Pair {
    servers: [Program; 2],
    s3: Option<S3>,
    db: TestDb,
    _folder: TempDir,
}

impl Pair {
    async fn start(store: Store) -> Result<Self> {
        let db = TestDb::create().await;
        let folder = tempfile::tempdir()?;
        let s3 = match store {
            Store::Folder => None,
            Store::S3 => Some(S3::start().await),
        };
        let photos = format!("file://{}", folder.path().join("photos").display());
        let setting = s3.as_ref().map_or(photos, S3::setting);
        let program = || Program::of(&db, setting.clone(), folder.path()).map(S3::keys);
        let mut servers = [program()?, program()?];
        for server in &mut servers {
            server.start().await?;
        }
        Ok(Self { servers, s3, db, _folder: folder })
    }

    async fn sign_in(&self, email: &str) -> Result<Client> {
        let mut client = Client::new(&self.servers[0].address());
        let answer = client.sign_in(email, PASSWORD, None).await;
        ensure!(answer.status == 200, "{email}: {} {}", answer.status, answer.body);
        Ok(client)
    }

    /// A technician's device with a job on it.
    async fn device(&self) -> Result<(Device, JobId)> {
        let owner = self.db.owner_pool().await;
        let method = small_method();
        publish(&owner, &method).await?;
        owner.close().await;
        let mut lead = TestPhone::of(self.sign_in(LEAD).await?);
        let job = lead.plan_job(&method, &[ids::ASHDOWN]);
        all_stored(&lead.push().await)?;
        let mut device = Device::of(self.sign_in(TECHNICIAN).await?, FastClock::of(SPEED), Chance::of(1));
        device.until_idle().await;
        Ok((device, job))
    }

    fn road(&self) -> &tests::proxy::Proxy {
        &self.s3.as_ref().unwrap().road
    }
}

fn photo(seed: u64, length: usize) -> Vec<u8> {
    let mut bytes = vec![0xff, 0xd8, 0xff];
    bytes.extend(Chance::of(seed).noise(length));
    bytes
}

async fn one_begins_and_the_other_finishes(store: Store) -> Result<()> {
    let pair = Pair::start(store).await?;
    let mut phone = TestPhone::of(pair.sign_in(TECHNICIAN).await?);
    let job = JobId::of(uuid::Uuid::now_v7());
    let bytes = photo(2, 3_000_000);
    let begun = phone.begin_upload(job, &bytes).await;
    let location = begun.header("location").to_owned();
    ensure!(phone.go_on(&location, 0, &bytes[..1_300_000]).await.status == 204);
    phone.client.by(&pair.servers[1].address());
    let offset = phone.ask(&location).await.header("upload-offset").to_owned();
    ensure!(offset == "1300000", "the other process knows of {offset} bytes");
    ensure!(phone.go_on(&location, 1_300_000, &bytes[1_300_000..2_000_000]).await.status == 204);
    phone.client.by(&pair.servers[0].address());
    let last = phone.go_on(&location, 2_000_000, &bytes[2_000_000..]).await;
    ensure!(last.header("witnessmark-stored") == Hash32::sha256(&bytes).hex(), "{} {}", last.status, last.body);
    let again = phone.begin_upload(job, &bytes).await;
    ensure!(again.header("witnessmark-have") == "1", "a photo that is here is not sent again");
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn either_process_goes_on_with_an_upload_in_a_folder() -> Result<()> {
    one_begins_and_the_other_finishes(Store::Folder).await
}

#[tokio::test(flavor = "multi_thread")]
async fn either_process_goes_on_with_an_upload_in_s3() -> Result<()> {
    one_begins_and_the_other_finishes(Store::S3).await
}

/// Turns until this is so.
async fn until(device: &mut Device, what: &str, done: impl Fn(&Device) -> bool) -> Result<()> {
    let began = std::time::Instant::now();
    while !done(device) {
        ensure!(began.elapsed() < WITHIN, "waited for {what}: {:?} {:?}", device.tray().counts(), device.ledger);
        if device.turn().await == tests::device::Turn::Idle {
            tokio::time::sleep(Duration::from_millis(10)).await;
        }
    }
    Ok(())
}

/// While the store of photos fails in this way, facts are confirmed; when it is well again, photos are.
async fn facts_go_on_and_photos_follow(name: &str, pair: &Pair, device: &mut Device, job: JobId) -> Result<()> {
    let stored = device.ledger.photos_stored.len();
    let seed = device.chance().bits();
    device.photograph(job, Place::of("arrive", 0, "photo"), &photo(seed, 900_000), &photo(seed + 1, 30_000));
    for number in 0..5 {
        let requests = device.requests;
        let id = device.write(job, Body::Remark(Remark { at: None, text: format!("{name} {number}") }));
        until(device, "a fact", |device| device.ledger.acknowledged.contains_key(&id)).await?;
        // Photos are tried in between, in vain.
        until(device, "tries", |device| device.requests > requests + 4).await?;
    }
    ensure!(device.ledger.photos_stored.len() == stored, "{name}: a photo was called stored");
    let counts = device.tray().counts();
    ensure!(counts.stuck == 0 && counts.aside == 0, "{name}: a photo is blamed: {counts:?}");
    pair.road().heal().await;
    until(device, "the photo", |device| device.ledger.photos_stored.len() == stored + 2).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_service_that_fails_for_a_while_stops_no_fact() -> Result<()> {
    let pair = Pair::start(Store::S3).await?;
    let (mut device, job) = pair.device().await?;
    for status in [500, 503, 507] {
        pair.road().answer(status).await;
        facts_go_on_and_photos_follow(&format!("status {status}"), &pair, &mut device, job).await?;
    }
    pair.road().cut().await;
    facts_go_on_and_photos_follow("nobody listens", &pair, &mut device, job).await?;
    // Every connection to the service breaks in the middle of a part.
    pair.road().line(Line { cut_after: Some(9_000), ..Line::default() }).await;
    facts_go_on_and_photos_follow("it breaks off", &pair, &mut device, job).await?;
    ensure!(device.ledger.contradictions.is_empty(), "{:?}", device.ledger.contradictions);
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn a_full_service_has_its_answer() -> Result<()> {
    let pair = Pair::start(Store::S3).await?;
    let phone = TestPhone::of(pair.sign_in(TECHNICIAN).await?);
    let bytes = photo(3, 50_000);
    let job = JobId::of(uuid::Uuid::now_v7());
    let location = phone.begin_upload(job, &bytes).await.header("location").to_owned();
    pair.road().answer(507).await;
    ensure!(phone.go_on(&location, 0, &bytes).await.problem() == (507, "storage_full"));
    pair.road().answer(503).await;
    ensure!(phone.go_on(&location, 0, &bytes).await.problem() == (503, "unavailable"));
    pair.road().heal().await;
    let sent = phone.go_on(&location, 0, &bytes).await;
    ensure!(sent.header("witnessmark-stored") == Hash32::sha256(&bytes).hex(), "{} {}", sent.status, sent.body);
    Ok(())
}
