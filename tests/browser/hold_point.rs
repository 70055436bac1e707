//! A hold point on a phone without a network: what is out of limits is kept and opens nothing; stop work freezes everything.

use anyhow::Result;
use tests::browser::WITHIN;

use crate::photos;
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, step_path};
use crate::step::{Hands, give_photo, look, press_main, read, until};

#[tokio::test(flavor = "multi_thread")]
async fn a_gate_stays_shut_until_its_evidence_is_good_and_stop_work_shuts_all() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;

    phone.open(&step_path(job, "dead")).await?;
    let shut = look(&phone).await?;
    phone
        .check(shut.state == "locked" && shut.at.is_none(), &format!("a step behind a gate is shut: {shut:?}"))
        .await?;
    phone.see("This step is shut").await?;
    phone.see("Arrive").await?;
    phone.press("Go on: Arrive").await?;
    until(&phone, "the step that opens the gate", WITHIN, |now| now.step == "arrive").await?;

    let folder = tempfile::tempdir()?;
    let method = crate::answers::built_in_method()?;
    let mut hands = Hands::new(&method, photos::make_small(folder.path(), 2)?);
    give_photo(&phone, &mut hands, "photo").await?;
    until(&phone, "the photo to be kept", WITHIN, |now| now.need("photo").is_some_and(|need| need.state == "met"))
        .await?;
    press_main(&phone, "Confirm").await?;
    until(&phone, "the step to be done", WITHIN, |now| now.state == "satisfied").await?;

    phone.press("Go on: Dead").await?;
    until(&phone, "the reading to be at work", WITHIN, |now| now.at.as_deref() == Some("v")).await?;
    read(&phone, "v", "48").await?;
    let failed =
        until(&phone, "the reading to fail", WITHIN, |now| now.need("v").is_some_and(|need| need.state == "failed"))
            .await?;
    phone.check(failed.state == "failed", &format!("{failed:?}")).await?;
    phone.see("Only the evidence opens this step").await?;
    phone.open(&step_path(job, "grid-profile")).await?;
    let shut = look(&phone).await?;
    phone.check(shut.state == "locked", &format!("what follows stays shut: {shut:?}")).await?;
    phone.open(&step_path(job, "dead")).await?;
    look(&phone).await?;
    read(&phone, "v", "3").await?;
    until(&phone, "the step to be done", WITHIN, |now| now.state == "satisfied").await?;

    // Two taps, and the work is stopped; by mistake, and it is taken back at once.
    phone.press("Stop work").await?;
    phone.press("Something else").await?;
    phone.see("Work is stopped").await?;
    phone.press("Pressed by mistake: take it back").await?;
    let open = "const dialog = document.querySelector('dialog.sheet[open]'); return !dialog && !words(document.body).includes('Every step is shut')";
    phone.until("the stop to be taken back", WITHIN, open, &[]).await?;
    phone.press("Stop work").await?;
    phone.press("Swelling, heat, a hiss or a smell").await?;
    phone.see("Work is stopped").await?;
    phone.see("Nobody has been told yet").await?;
    phone.see("Emergency call 112").await?;
    // A tap that was meant for the cause does nothing here for half a second.
    let wakes = "const sheet = document.querySelector('.just-stopped'); return !!sheet && getComputedStyle(sheet).pointerEvents !== 'none'";
    phone.until("the sheet to take a press", WITHIN, wakes, &[]).await?;
    phone.fill("What happened, in your words", "Warm by the window").await?;
    phone.press("Save what happened").await?;
    phone.until("the sheet to go", WITHIN, "return !document.querySelector('dialog[open]')", &[]).await?;
    phone.see("Warm by the window").await?;
    phone.open(&step_path(job, "grid-profile")).await?;
    phone.see("Work is stopped. The lead must say how it was resolved.").await?;
    let frozen = look(&phone).await?;
    phone.check(frozen.at.is_none(), &format!("nothing can be recorded while work is stopped: {frozen:?}")).await
}
