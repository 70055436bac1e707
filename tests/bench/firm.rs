//! A firm of so many technicians, each with a phone and a job, on the server's own program.

use std::net::Ipv4Addr;

use anyhow::{Context as _, Result, ensure};
use domain::ids::{JobId, PersonId};
use futures_util::{StreamExt as _, TryStreamExt as _};
use serde_json::json;
use server::demo::PASSWORD;
use sqlx::PgPool;
use tempfile::TempDir;
use tests::app::api_of;
use tests::chance::Chance;
use tests::client::Client;
use tests::db::TestDb;
use tests::device::{Device, FastClock};
use tests::phone::{TestPhone, all_stored};
use tests::program::Program;

use crate::work::{self, LEAD};

const OWNER: &str = "marlow@larkfield.example";
/// Passwords are hashed: two cores do two at a time, and a few more fill the gaps.
const AT_ONCE: usize = 6;
/// A plan is five entries, a push takes five hundred.
const PLANS_A_PUSH: usize = 50;

/// A phone and the job of its day.
pub struct Phone {
    pub device: Device,
    pub job: JobId,
}

/// The firm. Dropped in this order.
pub struct Firm {
    pub phones: Vec<Phone>,
    pub server: Program,
    pub owner: PgPool,
    _folder: TempDir,
    _db: TestDb,
}

impl Firm {
    /// Makes it, and lets each phone fetch its job. The phones' clocks run `speed` times as fast as the wall's.
    pub async fn open(technicians: usize, speed: u32) -> Result<Self> {
        let db = TestDb::create().await;
        let folder = tempfile::tempdir()?;
        let photos = format!("file://{}", folder.path().join("photos").display());
        let mut server = Program::of(&db, photos, folder.path())?.with("TRUST_FORWARDED_FOR", "1".to_owned());
        server.start().await?;
        let owner = db.owner_pool().await;
        let method = work::publish(&owner).await;
        let clients = people(&server.address(), technicians).await?;
        let mut lead = TestPhone::of(sign_in(&server.address(), LEAD).await?);
        let mut jobs = Vec::new();
        for some in clients.chunks(PLANS_A_PUSH) {
            jobs.extend(some.iter().map(|client| lead.plan_job(&method, &[PersonId::of(client.person())])));
            all_stored(&lead.push().await)?;
        }
        let mut phones = Vec::new();
        for (seed, (client, job)) in (1..).zip(clients.into_iter().zip(jobs)) {
            let mut device = Device::of(client, FastClock::of(speed), Chance::of(seed));
            device.until_idle().await;
            ensure!(device.jobs() == [job], "a phone has {} jobs", device.jobs().len());
            phones.push(Phone { device, job });
        }
        Ok(Self { phones, server, owner, _folder: folder, _db: db })
    }
}

/// Somebody of the demo firm.
pub async fn sign_in(address: &str, email: &str) -> Result<Client> {
    sign_in_as(Client::new(address), email).await
}

async fn sign_in_as(mut client: Client, email: &str) -> Result<Client> {
    let answer = client.sign_in(email, PASSWORD, None).await;
    ensure!(answer.status == 200, "{email}: {} {}", answer.status, answer.body);
    Ok(client)
}

async fn people(address: &str, count: usize) -> Result<Vec<Client>> {
    let owner = sign_in(address, OWNER).await?;
    let join = |number: usize| {
        let owner = owner.clone();
        async move {
            let email = format!("bench-{number}@larkfield.example");
            let name = format!("Bench {number}");
            let invitation = json!({"email": email, "display_name": name, "roles": ["technician"], "language": "en"});
            let invited = owner.post("/api/people", &invitation).await;
            let link = invited.body["link"].as_str().with_context(|| invited.body.to_string())?.to_owned();
            let body = json!({"password": PASSWORD, "display_name": name});
            // Tries are counted by network address, and technicians are out on the road.
            let own = Ipv4Addr::from_bits(Ipv4Addr::new(10, 0, 0, 1).to_bits() + u32::try_from(number)?);
            let joined = Client::from_address(address, own).post(&api_of(&link), &body).await;
            ensure!(joined.status == 204, "{} {}", joined.status, joined.body);
            sign_in_as(Client::from_address(address, own), &email).await
        }
    };
    futures_util::stream::iter((0..count).map(join)).buffered(AT_ONCE).try_collect().await
}
