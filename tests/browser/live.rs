//! A phone that is open hears of a change at once, and where no stream gets through it asks.

use anyhow::{Context as _, Result, ensure};
use domain::ids::JobId;
use domain::job_file::Body;
use domain::job_file::body::Remark;
use serde_json::json;
use tests::browser::{Browser, DESK, PHONE, WITHIN};
use tests::phone::{TestPhone, all_stored};

use crate::people::{LEAD, OFFICE, TECHNICIAN, TECHNICIAN_NAME, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::plan;

/// Waits until the tray says how it hears of changes.
async fn hears_at_once(phone: &Browser, wanted: bool) -> Result<()> {
    let script = "return document.querySelector('[data-live]')?.dataset.live === arguments[0]";
    phone.until("the tray to say how it hears", WITHIN, script, &[json!(wanted.to_string())]).await.map(drop)
}

async fn lead_says(lead: &mut TestPhone, job: JobId, text: &str) -> Result<()> {
    lead.write(job, Body::Remark(Remark { at: None, text: text.to_owned() }));
    all_stored(&lead.push().await)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_change_is_heard_at_once_and_asked_for_where_no_stream_gets_through() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut lead = TestPhone::of(rig.server.sign_in(LEAD, server::demo::PASSWORD).await?);
    lead.pull().await;
    let phone = browser_of(&rig, TECHNICIAN, PHONE).await?;
    phone.open("/tray").await?;
    hears_at_once(&phone, true).await?;
    phone.open(&format!("/jobs/{job}")).await?;
    until_all_sent(&phone, WITHIN).await?;
    lead_says(&mut lead, job, "Use the side door.").await?;
    phone.see("Use the side door.").await?;

    // A network that lets no stream through, and everything else.
    phone.cdp("Network.enable", json!({})).await?;
    phone.cdp("Network.setBlockedURLs", json!({"urls": ["*/api/live"]})).await?;
    phone.open("/tray").await?;
    hears_at_once(&phone, false).await?;
    phone.open(&format!("/jobs/{job}")).await?;
    lead_says(&mut lead, job, "The dog is in the kitchen.").await?;
    phone.see("The dog is in the kitchen.").await?;

    phone.cdp("Network.setBlockedURLs", json!({"urls": []})).await?;
    phone.open("/tray").await?;
    hears_at_once(&phone, true).await
}

/// How far from the top of the page a button stands.
async fn height_of(desk: &Browser, word: &str) -> Result<f64> {
    let script = "const at = findPressable(arguments[0])?.getBoundingClientRect(); return at ? [at.y + scrollY] : null";
    let at = desk.until(&format!("a place to press {word:?}"), WITHIN, script, &[json!(word)]).await?;
    at[0].as_f64().context("a height")
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_about_to_be_pressed_stays_where_it_is_when_the_server_answers() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut lead = TestPhone::of(rig.server.sign_in(LEAD, server::demo::PASSWORD).await?);
    lead.pull().await;
    lead.arrive(job, b"a picture");
    all_stored(&lead.push().await)?;
    let desk = browser_of(&rig, OFFICE, DESK).await?;
    until_all_sent(&desk, WITHIN).await?;
    desk.cdp("Network.enable", json!({})).await?;
    desk.cdp("Network.setBlockedURLs", json!({"urls": [format!("*/api/jobs/{job}")]})).await?;
    desk.open(&format!("/desk/{job}")).await?;
    // Names come with a device's first reference data, once.
    let named = "return words(document.querySelector('.job-head .facts ul'))?.includes(arguments[0])";
    desk.until("the crew by name", WITHIN, named, &[json!(TECHNICIAN_NAME)]).await?;
    let before = height_of(&desk, "Registration (JSON)").await?;
    ensure!(!desk.words().await?.contains("Photos at the server"), "the server has not answered yet");
    desk.cdp("Network.setBlockedURLs", json!({"urls": []})).await?;
    lead_says(&mut lead, job, "The dog is in the kitchen.").await?;
    desk.see("Photos at the server").await?;
    let after = height_of(&desk, "Registration (JSON)").await?;
    ensure!((after - before).abs() < 1.0, "it moved from {before} to {after}");
    Ok(())
}
