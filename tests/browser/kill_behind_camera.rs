//! A phone that ends the page behind its camera: what was typed is there, and the photo is asked for again at its place.

use anyhow::Result;
use serde_json::json;
use tests::browser::WITHIN;

use crate::photos;
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, step_path};
use crate::step::{Hands, give_photo, look, press_main, until};

/// Whether the note of the open camera is on the disk.
const NOTED: &str = r#"await (async () => {
  const name = (await indexedDB.databases()).map((one) => one.name).find((name) => name.startsWith("witnessmark-"));
  const db = await new Promise((good, bad) => { const open = indexedDB.open(name); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); });
  const note = await new Promise((good, bad) => { const get = db.transaction("drafts").objectStore("drafts").get("camera"); get.onsuccess = () => good(get.result); get.onerror = () => bad(get.error); });
  db.close();
  return !!note && note.length > 2;
})()"#;

#[tokio::test(flavor = "multi_thread")]
async fn a_page_killed_behind_its_camera_asks_for_the_photo_again_where_it_belongs() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;

    // The chooser itself is never answered: the camera has the screen.
    phone.cdp("Page.setInterceptFileChooserDialog", json!({"enabled": true})).await?;
    phone.press_css("label.chooser.main").await?;
    let began = std::time::Instant::now();
    while phone.js_promise(NOTED).await? != json!(true) {
        phone.check(began.elapsed() < WITHIN, "the open camera is noted on the disk before it opens").await?;
        tokio::time::sleep(std::time::Duration::from_millis(60)).await;
    }
    phone.kill().await?;

    phone.reopen().await?;
    phone.open("/").await?;
    phone.at(&step_path(job, "arrive")).await?;
    phone.see("Take the photo again: Place").await?;
    let folder = tempfile::tempdir()?;
    let method = crate::answers::built_in_method()?;
    let mut hands = Hands::new(&method, photos::make_small(folder.path(), 1)?);
    give_photo(&phone, &mut hands, "photo").await?;
    until(&phone, "the photo to be kept", WITHIN, |now| now.need("photo").is_some_and(|need| need.state == "met"))
        .await?;
    press_main(&phone, "Confirm").await?;
    until(&phone, "the step to be done", WITHIN, |now| now.state == "satisfied").await?;

    phone.press("Go on: Dead").await?;
    until(&phone, "the reading to be at work", WITHIN, |now| now.at.as_deref() == Some("v")).await?;
    phone.fill("Measured value", "7.5").await?;
    phone.see("Understood as 7.5 V").await?;
    // A keystroke is kept while the next one is thought about.
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    phone.kill().await?;
    phone.reopen().await?;
    phone.open(&step_path(job, "dead")).await?;
    look(&phone).await?;
    phone.until("the value that was typed", WITHIN, "return findField('Measured value')?.value === '7.5'", &[]).await?;
    Ok(())
}
