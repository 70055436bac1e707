//! The pictures of the README, and that what they show agrees with itself. `cargo xtask pictures` puts them where the README looks.

use anyhow::{Result, ensure};
use tests::browser::{Browser, Screen, WITHIN, target_folder};

use crate::people::{LEAD, OFFICE, TECHNICIAN, browser_of};
use crate::rig::Rig;

/// One pixel a point: a picture on a page needs no more.
const PHONE: Screen = Screen { width: 360, height: 740, scale: 1, mobile: true };
const DESK: Screen = Screen { width: 1100, height: 688, scale: 1, mobile: false };
/// The screen stands still.
const SETTLED: &str = "return words(document.querySelector('main h1')) !== '' && !all('.skeleton').length && document.fonts.status === 'loaded'";

async fn take(browser: &Browser, name: &str) -> Result<()> {
    browser.until(&format!("{name} to stand"), WITHIN, SETTLED, &[]).await?;
    browser.picture(&target_folder().join(format!("pictures/{name}.png"))).await
}

async fn follow(browser: &Browser, starts: &str) -> Result<()> {
    let script = "return document.querySelector(`main a[href^='${arguments[0]}']`)?.getAttribute('href')";
    let href = browser.until(&format!("a link to {starts}"), WITHIN, script, &[starts.into()]).await?;
    browser.open(href.as_str().unwrap_or_default()).await
}

#[tokio::test(flavor = "multi_thread")]
async fn of_the_demo_firm() -> Result<()> {
    let rig = Rig::demo_with_jobs().await?;

    let phone = browser_of(&rig, TECHNICIAN, PHONE).await?;
    phone.open("/day").await?;
    phone.see("19 Quarry Rise").await?;
    follow(&phone, "/jobs/").await?;
    let job = phone.path().await?;
    follow(&phone, &format!("{job}/steps/")).await?;
    take(&phone, "technician").await?;
    drop(phone);

    let lead = browser_of(&rig, LEAD, DESK).await?;
    for (who, state) in [
        ("Amberley", "Sealed"),
        ("Tarrington", "Returned"),
        ("Fenwright", "Work is stopped"),
        ("Dunmore", "Paused"),
        ("Okonjo", "For review"),
    ] {
        lead.open(&format!("/jobs?q={who}")).await?;
        follow(&lead, "/desk/").await?;
        lead.see(who).await?;
        lead.see(state).await?;
        let words = lead.words().await?;
        ensure!(!words.contains("very same photo"), "{who}: a photo of another job");
    }
    take(&lead, "lead").await?;
    drop(lead);

    let office = browser_of(&rig, OFFICE, DESK).await?;
    office.open("/registration").await?;
    office.see("Okonjo").await?;
    take(&office, "office").await
}
