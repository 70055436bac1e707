//! One of two leaves the site and comes back, and a lock changes hands: by hand, on a phone without a network.

use anyhow::Result;
use serde_json::json;
use tests::browser::WITHIN;

use crate::looks::look_at_this;
use crate::people::{TECHNICIAN, until_all_sent};
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan_of, step_path};
use domain::job_file::Body;
use domain::job_file::body::{Confirmation, Place};
use tests::phone::{TestPhone, all_stored, small_method};

/// The other one of the crew.
const OTHER: &str = "solano@larkfield.example";
const OTHER_NAME: &str = "Mateo Solano";

#[tokio::test(flavor = "multi_thread")]
async fn one_of_two_leaves_says_that_they_are_back_and_hands_a_lock_over() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan_of(&rig, small_method(), &[TECHNICIAN, OTHER], Vec::new()).await?;
    // The other one is at work as well, or there would be nobody to stay.
    let mut other = TestPhone::of(rig.server.sign_in(OTHER, server::demo::PASSWORD).await?);
    other.pull().await;
    let statement = domain::ids::Hash32::sha256(b"I am here.");
    let here =
        Confirmation { at: Place::of("arrive", 0, "here"), statement, person: None, named_in: None, corrects: None };
    other.write(job, Body::Confirmation(here));
    all_stored(&other.push().await)?;
    let phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    let page = format!("/jobs/{job}");
    phone.open(&page).await?;
    phone.press("Leave the site").await?;
    phone.see("Who leaves?").await?;
    phone.see("How is it left").await?;
    look_at_this(&phone, "leave-all").await?;
    phone.tick("Just me; the others carry on").await?;
    phone.see("Take your own locks off").await?;
    look_at_this(&phone, "leave-alone").await?;
    phone.press("Record it and leave").await?;
    phone.see("You have left; the others carry on").await?;
    look_at_this(&phone, "away").await?;
    phone.open(&step_path(job, "arrive")).await?;
    phone.see("Record that you are back first.").await?;

    phone.open(&page).await?;
    phone.press("I am back").await?;
    let gone = "return !words(document.body).includes('You have left')";
    phone.until("nothing more to be said of it", WITHIN, gone, &[]).await?;
    phone.see("Go on: Arrive").await?;

    phone.press("Leave the site").await?;
    phone.tick("Nobody; I am handing my lock over").await?;
    phone.see("the new lock goes on first").await?;
    let shut = "return document.querySelector('dialog[open] .act.main').disabled";
    phone.check(phone.js(shut, &[]).await? == json!(true), "it is recorded once somebody is named").await?;
    phone.tick(OTHER_NAME).await?;
    look_at_this(&phone, "leave-lock").await?;
    phone.press("Record the handover").await?;
    phone.see("Lock handed over. Saved on this device at").await?;

    rig.server.road.heal().await;
    until_all_sent(&phone, WITHIN).await?;
    let pool = rig.server.db.owner_pool().await;
    let kinds = sqlx::query_scalar::<_, i64>("select kind from entries where job_id = $1 and kind >= 58 order by kind");
    let kinds = kinds.bind(job.uuid()).fetch_all(&pool).await?;
    phone.check(kinds == [58, 59, 60], &format!("{kinds:?} lie in the job file")).await
}
