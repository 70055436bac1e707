//! A job of three steps that a test plans past the screens: for what does not need the whole method.

use anyhow::{Result, ensure};
use domain::ids::{JobId, PersonId};
use domain::job_file::Body;
use domain::method::Method;
use tests::browser::{Browser, PHONE, WITHIN};
use tests::phone::{TestPhone, all_stored, publish, small_method};

use crate::people::{LEAD, TECHNICIAN, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::step::look;

/// Plans it for the technician.
pub async fn plan(rig: &Rig) -> Result<JobId> {
    plan_of(rig, small_method(), &[TECHNICIAN], Vec::new()).await
}

/// Plans a job of another method, with this crew and further entries of the lead's.
pub async fn plan_of(rig: &Rig, method: Method, crew: &[&str], more: Vec<Body>) -> Result<JobId> {
    let pool = rig.server.db.owner_pool().await;
    publish(&pool, &method).await?;
    pool.close().await;
    let owner = rig.server.sign_in(LEAD, server::demo::PASSWORD).await?;
    // The server learns of it by being asked: from here on it stands in the list that devices fetch.
    let known = owner.get(&format!("/api/methods/{}/1", method.id)).await;
    ensure!(known.status == 200, "{}", known.body);
    let mut people = Vec::new();
    for email in crew {
        people.push(PersonId::of(rig.server.sign_in(email, server::demo::PASSWORD).await?.person()));
    }
    let mut lead = TestPhone::of(owner);
    let job = lead.plan_job(&method, &people);
    for body in more {
        lead.write(job, body);
    }
    all_stored(&lead.push().await)?;
    Ok(job)
}

/// A phone that signed in, was put away, and is open again. A browser writes cookies and small values to the disk seconds after it
/// was told them; putting it away makes it write, and so a kill later on is a kill of a phone in use.
pub async fn used_phone(rig: &Rig) -> Result<Browser> {
    let mut phone = browser_of(rig, TECHNICIAN, PHONE).await?;
    phone.until_it_opens_offline().await?;
    phone.close().await?;
    phone.reopen().await?;
    Ok(phone)
}

/// The technician's phone on the first step of the job, which it has opened online once: from here it needs no network.
pub async fn phone_on_first_step(rig: &Rig, job: JobId) -> Result<Browser> {
    phone_on_step(rig, job, "arrive", "Arrive").await
}

/// The same for a job that begins with another step.
pub async fn phone_on_step(rig: &Rig, job: JobId, first: &str, title: &str) -> Result<Browser> {
    let phone = used_phone(rig).await?;
    phone.open("/day").await?;
    phone.press("Lane 7").await?;
    phone.press(&format!("Go on: {title}")).await?;
    look(&phone).await?;
    phone.at(&step_path(job, first)).await?;
    until_all_sent(&phone, WITHIN).await?;
    Ok(phone)
}

/// The address of a step that is not repeated.
pub fn step_path(job: JobId, step: &str) -> String {
    format!("/jobs/{job}/steps/{step}/0")
}
