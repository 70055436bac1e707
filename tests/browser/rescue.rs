//! A device that will never send again: what it holds is saved outside the app, brought in on another one, and arrives.

use anyhow::{Context as _, Result, ensure};
use serde_json::{Value, json};
use tests::browser::{PHONE, WITHIN};

use crate::downloads::downloaded;
use crate::ledger::OnDevice;
use crate::people::{OFFICE, TECHNICIAN, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan};
use crate::step::{Hands, give_photo, press_main, until};
use crate::{answers, photos};

const CHOOSER: &str = "input[data-rescue]";
const TOLD: &str = "return words(document.querySelector('[data-testid=rescue-told]')) || null";

#[tokio::test(flavor = "multi_thread")]
async fn a_dead_devices_work_is_saved_as_a_file_and_arrives_from_another() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let folder = tempfile::tempdir()?;
    let method = answers::built_in_method()?;
    let mut hands = Hands::new(&method, photos::make_small(folder.path(), 1)?);

    let lost = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    give_photo(&lost, &mut hands, "photo").await?;
    until(&lost, "the photo to be kept", WITHIN, |now| now.need("photo").is_some_and(|need| need.state == "met"))
        .await?;
    press_main(&lost, "Confirm").await?;
    until(&lost, "the step to be done", WITHIN, |now| now.state == "satisfied").await?;
    let held = OnDevice::read(&lost, job).await?;
    ensure!(held.waiting() > 2, "the device holds what it recorded");

    lost.open("/rescue.html").await?;
    lost.see("What this device holds").await?;
    lost.see("of which not confirmed by the server").await?;
    lost.press("Save everything as one file").await?;
    let file = downloaded(&lost, "zip", WITHIN).await?;
    lost.see("The file is saved with your downloads").await?;
    let kept = folder.path().join("rescue.zip");
    std::fs::copy(&file, &kept)?;
    drop(lost);

    rig.server.road.heal().await;
    let office = browser_of(&rig, OFFICE, PHONE).await?;
    office.open("/tray").await?;
    office.choose_files(CHOOSER, &[&kept]).await?;
    office.see("This file holds nothing of yours").await?;
    drop(office);

    let other = browser_of(&rig, TECHNICIAN, PHONE).await?;
    other.open("/tray").await?;
    let mut spoilt = std::fs::read(&kept)?;
    spoilt.truncate(spoilt.len() / 2);
    let half = folder.path().join("half.zip");
    std::fs::write(&half, spoilt)?;
    other.choose_files(CHOOSER, &[&half]).await?;
    other.see("or it was cut short. Nothing was changed.").await?;
    other.choose_files(CHOOSER, &[&kept]).await?;
    let told = other.until("the file to be brought in", WITHIN, TOLD, &[]).await?;
    other
        .until(
            "records to have come in",
            WITHIN,
            "return words(document.querySelector('[data-testid=rescue-told]')).includes('came in')",
            &[],
        )
        .await
        .with_context(|| told.to_string())?;
    until_all_sent(&other, WITHIN).await?;
    held.is_held_by(&rig.server, job).await?;
    other.choose_files(CHOOSER, &[&kept]).await?;
    other.see("Everything in this file is here already").await?;
    let again: Value = other.js("return words(document.querySelector('.corner .sync'))", &[]).await?;
    other.check(again == json!("All sent"), "bringing it in once more sends nothing").await
}
