//! `live_ms_p95`: from the lead's push at one server process until the technician's open phone, which hangs on another one, has
//! drawn it. Both clocks are this machine's.

use std::time::{Duration, SystemTime, UNIX_EPOCH};

use anyhow::{Context as _, Result};
use domain::job_file::body::{Body, Remark};
use serde_json::json;
use server::demo::ids;
use tests::browser::{Browser, PHONE, WITHIN};
use tests::phone::{TestPhone, all_stored};
use tests::server_process::{Content, ServerProcess};

use crate::browser::{built_in, shown};
use crate::firm::sign_in;
use crate::stats::p95;
use crate::work::{LEAD, TECHNICIAN};

const CHANGES: usize = 40;
/// So that no change rides on the one before.
const PAUSE: Duration = Duration::from_millis(400);
/// Notes when the words that are waited for stand in the page, at the frame that shows them.
const WATCH: &str = "
    window.__wanted = null; window.__at = null;
    const look = () => {
        if (window.__wanted && !window.__at && document.body.innerText.includes(window.__wanted)) {
            requestAnimationFrame(() => { window.__at ||= Date.now(); });
        }
    };
    new MutationObserver(look).observe(document.body, {subtree: true, childList: true, characterData: true});
    return true";
const WANT: &str = "window.__at = null; window.__wanted = arguments[0]; return true";

/// Milliseconds: of twenty changes nineteen were drawn as fast.
pub async fn shown_ms_p95() -> Result<f64> {
    let server = ServerProcess::start(Content::Firm).await?;
    let beside = server.beside().await?;
    let mut lead = TestPhone::of(sign_in(&beside.address(), LEAD).await?);
    let job = lead.plan_job(&built_in()?, &[ids::ASHDOWN]);
    all_stored(&lead.push().await)?;

    let phone = Browser::start("bench-live", &server.address(), PHONE).await?;
    phone.open("/sign-in").await?;
    phone.fill("E-mail", TECHNICIAN).await?;
    phone.fill("Password", server::demo::PASSWORD).await?;
    phone.press("Sign in").await?;
    phone.see_css(".job-row").await?;
    phone.open("/tray").await?;
    phone.see_css("[data-live='true']").await?;
    phone.open(&format!("/jobs/{job}")).await?;
    phone.see_css(".page").await?;
    phone.js(WATCH, &[]).await?;
    let mut times = Vec::new();
    for number in 0..CHANGES {
        tokio::time::sleep(PAUSE).await;
        let words = format!("Change {number} of the bench.");
        phone.js(WANT, &[json!(words)]).await?;
        lead.write(job, Body::Remark(Remark { at: None, text: words }));
        let began_ms = SystemTime::now().duration_since(UNIX_EPOCH)?.as_millis() as f64;
        all_stored(&lead.push().await)?;
        let at = phone.until("the change on the phone", WITHIN, "return window.__at", &[]).await?;
        times.push(at.as_f64().context("a time")? - began_ms);
    }
    eprintln!("live, ms: {}", shown(&times));
    Ok(p95(times))
}
