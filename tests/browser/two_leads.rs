//! Two leads have the plan of one job open: what one corrected is not undone by the other, and what both changed is asked about.

use anyhow::{Context as _, Result, ensure};
use domain::ids::{JobId, PersonId};
use domain::job_file::Body;
use domain::job_file::body::{Assigned, Assignment, CrewRole, SiteDetails};
use tests::browser::{Browser, DESK, WITHIN};
use tests::phone::{TestPhone, all_stored, small_method};

use crate::people::{LEAD, OTHER_LEAD, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::plan_of;

/// The site as the log says it last.
async fn site_of(other: &mut TestPhone, job: JobId) -> Result<SiteDetails> {
    other.pull().await;
    let file = &other.files[&job];
    let keys = file.order_keys();
    let sites = file.iter().filter_map(|held| match held.entry.body() {
        Some(Body::SiteDetails(site)) => Some((keys[&held.entry.header.id], site.clone())),
        _ => None,
    });
    sites.max_by_key(|(key, _)| *key).map(|(_, site)| site).context("the job has no site")
}

async fn save(desk: &Browser, job: JobId) -> Result<()> {
    desk.press("Save the changes").await?;
    desk.at(&format!("/desk/{job}")).await?;
    until_all_sent(desk, WITHIN).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_correction_of_another_lead_is_not_undone_and_a_clash_shows_both_values() -> Result<()> {
    let rig = Rig::demo().await?;
    let mut other = TestPhone::of(rig.server.sign_in(OTHER_LEAD, server::demo::PASSWORD).await?);
    let second = Assigned { person: PersonId::of(other.client.person()), role: CrewRole::Lead, tickets: Vec::new() };
    let crew = Body::Assignment(Assignment { crew: vec![second] });
    let job = plan_of(&rig, small_method(), &[], vec![crew]).await?;
    let before = site_of(&mut other, job).await?;

    let desk = browser_of(&rig, LEAD, DESK).await?;
    desk.open(&format!("/desk/{job}/plan")).await?;
    desk.see("Change the plan").await?;
    desk.fill("Getting in", "Ring at the back door.").await?;
    let corrected = SiteDetails { email: "rowan@home.example".into(), ..before };
    other.write(job, Body::SiteDetails(corrected.clone()));
    all_stored(&other.push().await)?;
    desk.see("Changed meanwhile by somebody else and taken over here: E-mail.").await?;
    save(&desk, job).await?;
    let merged = SiteDetails { access: "Ring at the back door.".into(), ..corrected };
    let now = site_of(&mut other, job).await?;
    ensure!(now == merged, "{now:?}");

    desk.open(&format!("/desk/{job}/plan")).await?;
    desk.fill("Telephone", "+1 202-555-0199").await?;
    let theirs = SiteDetails { phone: "+1 202-555-0123".into(), ..merged };
    other.write(job, Body::SiteDetails(theirs.clone()));
    all_stored(&other.push().await)?;
    desk.see("Changed meanwhile by Tobias Quill to “+1 202-555-0123”; yours is “+1 202-555-0199”.").await?;
    desk.press("Save the changes").await?;
    desk.see("1 field was changed by somebody else as well.").await?;
    let now = site_of(&mut other, job).await?;
    ensure!(now == theirs, "nothing is written before somebody has chosen: {now:?}");
    // What was typed and what clashes outlive a reload.
    desk.open(&format!("/desk/{job}/plan")).await?;
    desk.see("yours is “+1 202-555-0199”.").await?;
    desk.press("Keep mine").await?;
    save(&desk, job).await?;
    let now = site_of(&mut other, job).await?;
    ensure!(now == SiteDetails { phone: "+1 202-555-0199".into(), ..theirs }, "{now:?}");
    Ok(())
}
