//! `pull_first_look_ms`: a lead's first pull after another lead has planned two hundred jobs, by the method with most steps and
//! each with a crew, counted from the moment in which the last of them was stored.

use std::time::Instant;

use anyhow::{Context as _, Result, ensure};
use domain::wire::sync::{Pull, PullReply, SYNC_VERSION};
use domain::wire::{from_bytes, to_bytes};
use server::demo::ids;
use tests::app::TestApp;
use tests::phone::{TestPhone, all_stored};

use crate::work::LEAD;

/// Owner of the demo firm, who leads too.
const OTHER_LEAD: &str = "marlow@larkfield.example";
const METHOD: (&str, u32) = ("series-stack-floor", 1);
const JOBS: usize = 200;
/// A plan is five entries, a push takes five hundred.
const PLANS_A_PUSH: usize = 50;

/// Milliseconds until the answer is there.
pub async fn ms() -> Result<f64> {
    let app = TestApp::start().await;
    let state = &app.state;
    let published = state.methods.find(&state.db, METHOD.0, METHOD.1).await?.context("the built-in method")?;
    let mut planner = TestPhone::sign_in(&app, LEAD).await;
    let other = TestPhone::sign_in(&app, OTHER_LEAD).await;
    for _ in 0..JOBS / PLANS_A_PUSH {
        for _ in 0..PLANS_A_PUSH {
            planner.plan_job(&published.method, &[ids::ASHDOWN]);
        }
        all_stored(&planner.push().await)?;
    }
    let (version, device) = (SYNC_VERSION, other.device());
    let first = Pull {
        version,
        device,
        epoch: Vec::new().into(),
        have: Vec::new(),
        also: Vec::new(),
        waiting: 0,
        written: Vec::new(),
    };
    let message = to_bytes(&first);
    let began = Instant::now();
    let answer = other.client.post_cbor("/api/sync/pull", message).await;
    let took = began.elapsed();
    ensure!(answer.status == 200, "{}", answer.body);
    let reply: PullReply = from_bytes(&answer.bytes)?;
    ensure!(reply.manifest.len() == JOBS, "{} jobs in the manifest", reply.manifest.len());
    Ok(took.as_secs_f64() * 1_000.0)
}
