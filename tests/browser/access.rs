//! The access of somebody who is still on jobs: it is asked first, and no is no.

use anyhow::{Result, ensure};
use tests::browser::DESK;

use crate::people::{LEAD, TECHNICIAN, browser_of};
use crate::rig::Rig;

async fn may_sign_in(rig: &Rig) -> Result<bool> {
    let owner = rig.server.sign_in(LEAD, server::demo::PASSWORD).await?;
    let people = owner.get("/api/people").await.body;
    let person = people.as_array().and_then(|all| all.iter().find(|person| person["email"] == TECHNICIAN));
    Ok(person.is_some_and(|person| person["active"] == true))
}

#[tokio::test(flavor = "multi_thread")]
async fn ending_the_access_of_somebody_with_open_jobs_is_asked_first() -> Result<()> {
    let rig = Rig::demo_with_jobs().await?;
    let owner = browser_of(&rig, LEAD, DESK).await?;
    owner.open("/people").await?;
    owner.press("Wren Ashdown").await?;
    owner.tick("May sign in").await?;
    owner.press("Save").await?;
    owner.see("Wren Ashdown still has 6 open jobs").await?;
    owner.see("Thistlewood, Mossbridge").await?;
    owner.see("and 2 more").await?;
    owner.press("Cancel").await?;
    ensure!(may_sign_in(&rig).await?, "nobody said yes");

    owner.press("Save").await?;
    owner.press("End access now").await?;
    owner.see("Saved").await?;
    ensure!(!may_sign_in(&rig).await?, "somebody said yes");

    // Who is on none is not asked about.
    owner.open("/people").await?;
    owner.press("Greta Pendle").await?;
    owner.tick("May sign in").await?;
    owner.press("Save").await?;
    owner.see("Saved").await
}
