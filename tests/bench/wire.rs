//! What goes over the line: `wire_ratio_day`, `backlog_requests_500` and `upload_bytes_ratio_drop30s`.

use std::io::Write as _;

use anyhow::{Result, ensure};
use domain::ids::JobId;
use domain::wire::limits::PUSH_ENTRIES_MAX;
use server::demo::ids;
use tests::app::TestApp;
use tests::chance::Chance;
use tests::device::{Device, FastClock};
use tests::dropping_link;
use tests::phone::{TestPhone, all_stored};
use tests::proxy::Proxy;

use crate::work::{self, LEAD, TECHNICIAN};

/// What the server packs with, as `tower-http` sets it.
const QUALITY: u32 = 4;
const WINDOW: u32 = 22;
const SPEED: u32 = 20;
/// Forty photos as phones take them, on a link of one megabit a second that drops every thirty seconds with what is in the air.
const LINK: dropping_link::Plan = dropping_link::Plan {
    photos: 40,
    original_bytes: 3_500_000,
    preview_bytes: 300_000,
    cut_after: 3_750_000,
    lost_at_cut: 64 * 1024,
};

/// A technician's phone behind a line that counts.
struct Ground {
    device: Device,
    job: JobId,
    road: Proxy,
    app: TestApp,
}

impl Ground {
    async fn open() -> Result<Self> {
        let app = TestApp::start().await;
        let owner = app.db.owner_pool().await;
        let method = work::publish(&owner).await;
        owner.close().await;
        let mut lead = TestPhone::sign_in(&app, LEAD).await;
        let job = lead.plan_job(&method, &[ids::ASHDOWN]);
        all_stored(&lead.push().await)?;
        let road = Proxy::start(app.base.trim_start_matches("http://").parse()?).await;
        let device = Self::device(&app, &road, TECHNICIAN).await;
        Ok(Self { device, job, road, app })
    }

    async fn device(app: &TestApp, road: &Proxy, email: &str) -> Device {
        let mut client = app.sign_in(email).await;
        client.by(&road.address());
        let mut device = Device::of(client, FastClock::of(SPEED), Chance::of(1));
        device.until_idle().await;
        device
    }
}

/// Both figures of one day: bytes on the line over what the bare entries take when they are packed, and how many requests it was.
///
/// The day was offline and is sent in the evening; the lead's phone fetches it. Each sends or fetches every entry once, so the
/// line carries it twice.
pub async fn day_and_requests() -> Result<(f64, f64)> {
    let mut ground = Ground::open().await?;
    let mut lead = Ground::device(&ground.app, &ground.road, LEAD).await;
    for number in 0..PUSH_ENTRIES_MAX {
        ground.device.write(ground.job, work::body(number));
    }
    let own = &ground.device.ledger.entries_saved;
    let mut entries: Vec<_> = own.keys().map(|id| ground.device.file(ground.job).unwrap().get(*id).unwrap()).collect();
    entries.sort_by_key(|held| held.entry.header.seq);
    let plain: Vec<u8> = entries.iter().flat_map(|held| held.entry.bytes().to_vec()).collect();
    let mut packed = brotli::CompressorWriter::new(Vec::new(), 4096, QUALITY, WINDOW);
    packed.write_all(&plain)?;
    let packed = packed.into_inner().len() as f64;
    let (line, requests) = (ground.road.sent() + ground.road.came_back(), ground.device.requests);
    ground.device.poke();
    while ground.device.tray().counts().waiting() > 0 {
        ground.device.turn().await;
    }
    let sent = ground.road.sent() + ground.road.came_back() - line;
    let requests = ground.device.requests - requests;
    while lead.ledger.stamps.len() < ground.device.ledger.stamps.len() {
        lead.turn().await;
    }
    let all = ground.road.sent() + ground.road.came_back() - line;
    eprintln!(
        "a day of {PUSH_ENTRIES_MAX} entries: {} bytes plain, {packed} packed, {sent} sent, {} fetched, {requests} requests",
        plain.len(),
        all - sent
    );
    Ok((all as f64 / (2.0 * packed), requests as f64))
}

/// Bytes on the line over bytes of the photos.
pub async fn ratio_of_a_dropping_link() -> Result<f64> {
    let app = TestApp::start().await;
    let owner = app.db.owner_pool().await;
    let method = work::publish(&owner).await;
    owner.close().await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let job = lead.plan_job(&method, &[ids::ASHDOWN]);
    all_stored(&lead.push().await)?;
    let server = app.base.trim_start_matches("http://").parse()?;
    let outcome = dropping_link::upload(server, app.sign_in(TECHNICIAN).await, job, LINK).await?;
    eprintln!("dropping link: {outcome:?}");
    ensure!(outcome.cuts > 10, "the link dropped {} times only", outcome.cuts);
    Ok(outcome.ratio())
}
