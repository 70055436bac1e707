//! `pull_ratio_1m_to_1k`: does a pull of 100 new entries grow with what the firm has recorded in all its years?
//!
//! Two servers on one cluster: in one the firm has 1,000 entries, in the other 1,000,000, in jobs of 500 of which most were
//! passed long ago and a third hold work of the technician who pulls. The lead pushes 100 entries into the technician's
//! job of the day, and the phone pulls them again and again from the same position, now here, now there.

use std::time::Instant;

use domain::ids::JobId;
use domain::wire::sync::{Pull, PullReply, SYNC_VERSION};
use domain::wire::{from_bytes, to_bytes};
use server::demo::ids;
use sqlx::PgPool;
use tests::app::TestApp;
use tests::phone::TestPhone;

use crate::queries::{self, History};
use crate::stats::median;
use crate::work::{self, LEAD, TECHNICIAN};

const ENTRIES_A_JOB: usize = 500;
const NEW: usize = 100;
const FEW_JOBS: i64 = 2;
const MANY_JOBS: i64 = 2_000;
/// One job in so many is still open, which for a firm of 2,000 jobs is a busy month.
const OPEN_EVERY: i64 = 40;
const ROUNDS: usize = 6;
const PULLS_A_ROUND: usize = 8;
const WARM_UP_ROUNDS: usize = 1;

/// Time with 1,000,000 entries stored over the time with 1,000: the median of the pairs.
pub async fn ratio_1m_to_1k() -> f64 {
    let mut few = Side::open(FEW_JOBS).await;
    let mut many = Side::open(MANY_JOBS).await;
    let (mut ratios, mut with_few, mut with_many) = (Vec::new(), Vec::new(), Vec::new());
    for round in 0..WARM_UP_ROUNDS + ROUNDS {
        few.news().await;
        many.news().await;
        for pull in 0..PULLS_A_ROUND {
            let (few_s, many_s) = if pull % 2 == 0 {
                (few.pull().await, many.pull().await)
            } else {
                let many_s = many.pull().await;
                (few.pull().await, many_s)
            };
            if round >= WARM_UP_ROUNDS {
                ratios.push(many_s / few_s);
                with_few.push(few_s * 1_000.0);
                with_many.push(many_s * 1_000.0);
            }
        }
    }
    eprintln!(
        "pull of {NEW}: {:.1} ms with {} stored, {:.1} ms with {} (medians of {})",
        median(with_few),
        few.stored,
        median(with_many),
        many.stored,
        ratios.len()
    );
    median(ratios)
}

/// A server with so much history, a lead who writes and a technician who pulls.
struct Side {
    lead: TestPhone,
    technician: TestPhone,
    job: JobId,
    /// What the phone says that it has, made before the clock runs.
    message: Vec<u8>,
    stored: i64,
    _owner: PgPool,
    _app: TestApp,
}

impl Side {
    async fn open(copies: i64) -> Self {
        let app = TestApp::start().await;
        let owner = app.db.owner_pool().await;
        let method = work::publish(&owner).await;
        let mut lead = TestPhone::sign_in(&app, LEAD).await;
        let technician = TestPhone::sign_in(&app, TECHNICIAN).await;
        let old = lead.plan_job(&method, &[ids::QUILL]);
        let planned = lead.tray.len();
        work::record(&mut lead, old, ENTRIES_A_JOB - planned);
        lead.push().await;
        // Projected by the next reader.
        lead.pull_once(&[]).await;
        let history =
            History { job: old.uuid(), copies: copies - 1, open_every: OPEN_EVERY, author: ids::ASHDOWN.uuid() };
        let began = Instant::now();
        let written = queries::fill(&owner, &history).await;
        eprintln!("{written} entries written in {:.0} s", began.elapsed().as_secs_f64());
        let job = lead.plan_job(&method, &[ids::ASHDOWN]);
        lead.push().await;
        let stored = written + i64::try_from(ENTRIES_A_JOB).unwrap();
        Self { lead, technician, job, message: Vec::new(), stored, _owner: owner, _app: app }
    }

    /// One hundred new entries come in, and the phone has all but these.
    async fn news(&mut self) {
        // The copies carry the names of the job that they were copied from: nobody takes them in, the manifest is enough.
        let before = self.ask(self.message_with(Vec::new(), Vec::new())).await.1;
        let have = before.manifest.iter().map(|head| (head.job, head.position)).collect();
        self.message = self.message_with(before.epoch.to_vec(), have);
        let nothing = self.ask(self.message.clone()).await.1;
        assert!(nothing.entries.is_empty() && !nothing.more, "the phone is up to date");
        work::record(&mut self.lead, self.job, NEW);
        self.lead.push().await;
        // Projects what came, so that no measured pull does it.
        self.pull().await;
    }

    fn message_with(&self, epoch: Vec<u8>, have: Vec<(JobId, u64)>) -> Vec<u8> {
        let device = self.technician.device();
        to_bytes(&Pull {
            version: SYNC_VERSION,
            device,
            epoch: epoch.into(),
            have,
            also: Vec::new(),
            waiting: 0,
            written: Vec::new(),
        })
    }

    /// Seconds until one hundred entries are here.
    async fn pull(&self) -> f64 {
        let (took, reply) = self.ask(self.message.clone()).await;
        assert!(reply.entries.len() == NEW && !reply.more, "{} came", reply.entries.len());
        took
    }

    async fn ask(&self, message: Vec<u8>) -> (f64, PullReply) {
        let began = Instant::now();
        let answer = self.technician.client.post_cbor("/api/sync/pull", message).await;
        let took = began.elapsed().as_secs_f64();
        assert_eq!(answer.status, 200, "{}", answer.body);
        (took, from_bytes(&answer.bytes).unwrap())
    }
}
