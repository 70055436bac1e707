//! Field faults of the way to the server, on the fault proxy, with the tray that phones turn: half-open lines, lost answers, a
//! flapping link, a line of 2G, and photos over a link that drops.

use std::time::{Duration, Instant};

use domain::ids::JobId;
use domain::job_file::Place;
use domain::job_file::body::{Body, Remark};
use server::demo::ids;
use tests::app::TestApp;
use tests::chance::Chance;
use tests::device::{Device, FastClock, PATIENT, Turn};
use tests::dropping_link;
use tests::phone::{TestPhone, all_stored, publish_small_method};
use tests::proxy::{Line, Proxy};

const LEAD: &str = "quill@larkfield.example";
const TECHNICIAN: &str = "ashdown@larkfield.example";
/// Only so that what hangs ends: nothing is measured by it.
const WITHIN: Duration = Duration::from_secs(180);

/// A technician's device behind a proxy, with a job.
struct Ground {
    device: Device,
    job: JobId,
    road: Proxy,
    app: TestApp,
}

impl Ground {
    async fn open(speed: u32) -> Self {
        let app = TestApp::start().await;
        let method = publish_small_method(&app).await;
        let mut lead = TestPhone::sign_in(&app, LEAD).await;
        let job = lead.plan_job(&method, &[ids::ASHDOWN]);
        all_stored(&lead.push().await).unwrap();
        let road = Proxy::start(app.base.trim_start_matches("http://").parse().unwrap()).await;
        let mut client = app.sign_in(TECHNICIAN).await;
        client.by(&road.address());
        let mut device = Device::of(client, FastClock::of(speed), Chance::of(1));
        device.patience = PATIENT;
        device.until_idle().await;
        Self { device, job, road, app }
    }

    fn remarks(&mut self, count: usize) {
        for number in 0..count {
            let body = Body::Remark(Remark { at: None, text: format!("cable tray {number} is a hand wider") });
            self.device.write(self.job, body);
        }
    }

    fn photo(&mut self, original: usize, preview: usize) {
        let (original, preview) = (self.device.chance().noise(original), self.device.chance().noise(preview));
        self.device.photograph(self.job, Place::of("arrive", 0, "photo"), &original, &preview);
    }

    /// Turns until all facts are confirmed, and the photos too where they are wanted.
    async fn until_sent(&mut self, photos: bool) {
        let began = Instant::now();
        let waits = |device: &Device| {
            let counts = device.tray().counts();
            if photos { counts.waiting() } else { counts.entries }
        };
        while waits(&self.device) > 0 {
            assert!(began.elapsed() < WITHIN, "{:?} {:?}", self.device.tray().counts(), self.device.failures);
            if self.device.turn().await == Turn::Idle {
                tokio::time::sleep(Duration::from_millis(5)).await;
            }
        }
        assert!(self.device.ledger.contradictions.is_empty(), "{:?}", self.device.ledger.contradictions);
    }

    async fn rows(&self) -> i64 {
        let pool = self.app.db.owner_pool().await;
        let count = "select count(*) from entries where device_id = $1";
        sqlx::query_scalar(count).bind(self.device.device().uuid()).fetch_one(&pool).await.unwrap()
    }
}

/// Number 38: the proxy takes the request and says nothing more; after the limit of silence the tray tries anew.
#[tokio::test(flavor = "multi_thread")]
async fn a_request_without_end_is_given_up_and_goes_again() {
    let mut ground = Ground::open(60).await;
    ground.remarks(3);
    ground.device.patience = ground.device.clock.on_the_wall(Duration::from_secs(30));
    for line in [Line { silent_after: Some(100), ..Line::default() }, Line { no_answers: true, ..Line::default() }] {
        ground.road.line(line).await;
        let before = ground.device.requests;
        let began = Instant::now();
        while ground.device.requests < before + 2 {
            assert!(began.elapsed() < WITHIN, "the first request holds up all others");
            ground.device.turn().await;
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
        assert_eq!(ground.device.tray().counts().entries, 3, "nothing is called sent");
    }
    ground.device.patience = PATIENT;
    ground.road.heal().await;
    ground.until_sent(true).await;
    // What arrived while its answer was lost is there once.
    assert_eq!(ground.rows().await, 3);
}

/// What a link of 2 Mbit/s carries in five seconds is about twice this.
const BETWEEN_FLAPS: u64 = 625_000;

/// Number 39: the link comes and goes all the time; what was sent is not sent again and again. It goes each time when so much has gone
/// over it: with clocks, a busy machine would decide how much is lost.
#[tokio::test(flavor = "multi_thread")]
async fn over_a_flapping_link_bytes_go_about_once() {
    let mut ground = Ground::open(20).await;
    ground.remarks(20);
    for _ in 0..8 {
        ground.photo(600_000, 40_000);
    }
    let (before, line) = (ground.road.sent(), Line { bytes_per_s: Some(2_500_000), ..Line::default() });
    let mut flaps = 0;
    while ground.device.tray().counts().waiting() > 0 {
        flaps += 1;
        assert!(flaps < 100, "{:?} {:?}", ground.device.tray().counts(), ground.device.failures);
        ground.road.line(line).await;
        let until = ground.road.sent() + BETWEEN_FLAPS;
        while ground.device.tray().counts().waiting() > 0 {
            let turn = ground.device.turn();
            tokio::pin!(turn);
            tokio::select! {
                // What was under way fails, and the device hears of it.
                () = ground.road.until_sent(until) => {
                    ground.road.cut().await;
                    turn.await;
                    break;
                }
                turn = &mut turn => if turn == Turn::Idle {
                    tokio::time::sleep(Duration::from_millis(5)).await;
                },
            }
        }
        ground.road.cut().await;
    }
    let (needed, sent) = (8 * 640_000, ground.road.sent() - before);
    assert!(flaps > 4, "the link flapped {flaps} times");
    assert!(sent * 10 <= needed * 11, "{sent} bytes for {needed}");
    ground.road.heal().await;
    assert_eq!(ground.rows().await, 28);
}

/// Number 40: 50 kbit/s and 800 ms, forty photos behind a form of thirty fields. The line and the clock run ten times as fast.
#[tokio::test(flavor = "multi_thread")]
async fn on_a_slow_line_facts_are_confirmed_before_forty_photos() {
    const FASTER: u32 = 10;
    let mut ground = Ground::open(FASTER).await;
    for _ in 0..40 {
        ground.photo(300_000, 20_000);
    }
    // The photos are on their way already when the form is filled in.
    ground.until_sent(false).await;
    let line = Line { delay: Duration::from_millis(80), bytes_per_s: Some(62_500), ..Line::default() };
    ground.road.line(line).await;
    for _ in 0..4 {
        ground.device.turn().await;
    }
    let (before, began_ms) = (ground.device.ledger.acknowledged.len(), ground.device.clock.now_ms());
    ground.remarks(30);
    ground.until_sent(false).await;
    let took_ms = ground.device.clock.now_ms() - began_ms;
    assert_eq!(ground.device.ledger.acknowledged.len(), before + 30);
    assert!(took_ms < 15_000, "{took_ms} ms of the device's clock");
    assert!(ground.device.tray().counts().originals > 0, "the photos are still behind");
    assert_eq!(ground.device.tray().counts().stuck, 0);
}

/// Forty photos over a link that drops each time a quarter of what it carries in thirty seconds has gone out.
#[tokio::test(flavor = "multi_thread")]
async fn over_a_dropping_link_forty_photos_cost_a_tenth_more_at_most() {
    let ground = Ground::open(20).await;
    let plan = dropping_link::Plan {
        photos: 40,
        original_bytes: 800_000,
        preview_bytes: 60_000,
        cut_after: 937_500,
        lost_at_cut: 16 * 1024,
    };
    let server = ground.app.base.trim_start_matches("http://").parse().unwrap();
    let client = ground.app.sign_in(TECHNICIAN).await;
    let outcome = dropping_link::upload(server, client, ground.job, plan).await.unwrap();
    assert!(outcome.cuts >= 20, "{outcome:?}");
    assert!(outcome.ratio() <= 1.1, "{outcome:?}: {}", outcome.ratio());
}

/// Bytes that are there are not sent a second time, by nobody.
#[tokio::test(flavor = "multi_thread")]
async fn identical_bytes_are_never_sent_twice() {
    let mut ground = Ground::open(20).await;
    let (original, preview) = (ground.device.chance().noise(400_000), ground.device.chance().noise(30_000));
    let place = || Place::of("arrive", 0, "photo");
    ground.device.photograph(ground.job, place(), &original, &preview);
    ground.until_sent(true).await;
    let sent = ground.road.sent();
    assert!(sent > 430_000);
    // Once more on the same device, and from another one.
    ground.device.photograph(ground.job, place(), &original, &preview);
    ground.until_sent(true).await;
    let mut client = ground.app.sign_in(LEAD).await;
    client.by(&ground.road.address());
    let mut other = Device::of(client, FastClock::of(20), Chance::of(2));
    other.until_idle().await;
    other.photograph(ground.job, place(), &original, &preview);
    std::mem::swap(&mut ground.device, &mut other);
    ground.until_sent(true).await;
    assert_eq!(ground.device.ledger.photos_stored.len(), 2);
    let again = ground.road.sent() - sent;
    assert!(again < 20_000, "{again} bytes went out for photos that were there");
}
