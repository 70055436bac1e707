//! `push_ratio_to_bare_insert`: how much of the database's own speed is left when entries come through the server.
//!
//! One pair is a push of 500 entries over HTTP, from the first byte sent to the answer read, and a transaction that writes
//! the rows of 500 such entries (log, names of photos, the job's head) with `unnest`, into the same tables. Both wait for
//! fsync. What the server projects afterwards is done before the bare one begins, so that neither runs beside anything.

use std::time::Instant;

use domain::ids::JobId;
use domain::wire::limits::PUSH_ENTRIES_MAX;
use domain::wire::sync::PushVerdict;
use server::demo::ids;
use tests::app::TestApp;
use tests::phone::TestPhone;
use uuid::Uuid;

use crate::queries::{self, BareFirm, Rows};
use crate::stats::median;
use crate::work::{self, LEAD, TECHNICIAN};

const PAIRS: usize = 21;
/// Connections, plans and caches are warm after these.
const WARM_UP: usize = 4;

/// Entries per second through the server over entries per second bare: the median of the pairs.
pub async fn ratio_to_bare_insert() -> f64 {
    let app = TestApp::start().await;
    let owner = app.db.owner_pool().await;
    assert!(queries::fsync_is_on(&owner).await, "without fsync both sides measure nothing");
    let method = work::publish(&owner).await;
    let bare = BareFirm::open(&owner).await;
    let mut lead = TestPhone::sign_in(&app, LEAD).await;
    let mut technician = TestPhone::sign_in(&app, TECHNICIAN).await;
    let mut ratios = Vec::new();
    let mut through = Vec::new();
    let mut directly = Vec::new();
    for pair in 0..WARM_UP + PAIRS {
        let job = lead.plan_job(&method, &[ids::ASHDOWN]);
        lead.push().await;
        technician.pull().await;
        work::record(&mut technician, job, PUSH_ENTRIES_MAX);
        let entries = work::take_tray(&mut technician);
        let bytes: Vec<Vec<u8>> = entries.iter().map(|entry| entry.bytes().to_vec()).collect();
        let rows = Rows::of(&entries, JobId::of(Uuid::now_v7()), bare.device);
        // Which goes first alternates: what one leaves to the disk must not always meet the other.
        let (push_s, bare_s) = if pair % 2 == 0 {
            let push_s = push(&technician, &bytes).await;
            settle(&mut lead).await;
            (push_s, bare.insert(&rows).await)
        } else {
            let bare_s = bare.insert(&rows).await;
            let push_s = push(&technician, &bytes).await;
            settle(&mut lead).await;
            (push_s, bare_s)
        };
        // The phones need not hold what they are done with.
        lead.files.remove(&job);
        technician.files.remove(&job);
        if pair >= WARM_UP {
            ratios.push(bare_s / push_s);
            through.push(push_s * 1_000.0);
            directly.push(bare_s * 1_000.0);
        }
    }
    eprintln!(
        "push of {PUSH_ENTRIES_MAX}: {:.1} ms through the server, {:.1} ms bare (medians of {PAIRS})",
        median(through),
        median(directly)
    );
    owner.close().await;
    median(ratios)
}

async fn push(phone: &TestPhone, bytes: &[Vec<u8>]) -> f64 {
    let began = Instant::now();
    let verdicts = phone.push_bytes(bytes).await;
    let took = began.elapsed().as_secs_f64();
    assert!(verdicts.iter().all(|verdict| matches!(verdict, PushVerdict::Stored(_))), "all are stored");
    took
}

/// Whoever pulls finds projections up to date: after the answer they are.
async fn settle(lead: &mut TestPhone) {
    lead.pull_once(&[]).await;
}
