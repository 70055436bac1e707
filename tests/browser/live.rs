//! A phone that is open hears of a change at once, and where no stream gets through it asks.

use anyhow::Result;
use domain::ids::JobId;
use domain::job_file::Body;
use domain::job_file::body::Remark;
use serde_json::json;
use tests::browser::{Browser, PHONE, WITHIN};
use tests::phone::{TestPhone, all_stored};

use crate::people::{LEAD, TECHNICIAN, browser_of, until_all_sent};
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
