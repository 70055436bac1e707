//! A photo that is dark, blurred or like another one: said at once, nothing lost meanwhile, and a mark where it is kept anyway.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result};
use camera::Picture;
use serde_json::json;
use tests::browser::{Browser, DESK, WITHIN};

use crate::people::{LEAD, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, step_path};
use crate::step::{look, press_main, until};

/// Photos on the disk that are not evidence.
const STAGED: &str = r#"await (async () => {
  const name = (await indexedDB.databases()).map((one) => one.name).find((name) => name.startsWith("witnessmark-"));
  const db = await new Promise((good, bad) => { const open = indexedDB.open(name); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); });
  const keys = await new Promise((good, bad) => { const all = db.transaction("drafts").objectStore("drafts").getAllKeys(); all.onsuccess = () => good(all.result); all.onerror = () => bad(all.error); });
  db.close();
  return keys.filter((key) => String(key).startsWith("staged/")).length;
})()"#;
const AGAIN: &str = "Take it again";
const KEEP: &str = "Keep it anyway";
const MARK: &str = "Kept against a warning";

fn file(folder: &Path, name: &str, bytes: &[u8]) -> Result<PathBuf> {
    let path = folder.join(name);
    std::fs::write(&path, bytes)?;
    Ok(path)
}

const fn picture(seed: u32) -> Picture {
    Picture { width: 1_632, height: 1_224, orientation: 6, seed }
}

async fn give(phone: &Browser, requirement: &str, photo: &Path) -> Result<()> {
    look(phone).await?;
    phone.choose_files(&format!("input[type=file][data-photo='{requirement}']:not([data-gallery])"), &[photo]).await
}

/// The page asks about the photo, says so in these words, and has recorded nothing.
async fn asks(phone: &Browser, requirement: &str, words: &str) -> Result<()> {
    phone.see(words).await?;
    let told = "const box = document.querySelector('.question')?.getBoundingClientRect(); const bottom = document.querySelector('.bottom').getBoundingClientRect(); return !!box && box.top >= 0 && box.top < bottom.top - 100";
    phone.until("the reason to stand above the actions", WITHIN, told, &[]).await?;
    let seen =
        until(phone, "the main action to be another photo", WITHIN, |now| now.main.as_deref() == Some(AGAIN)).await?;
    let need = seen.need(requirement).map(|need| (need.state.as_str(), need.photos));
    phone.check(need.is_some_and(|(state, photos)| state != "met" && photos == 0), &format!("{need:?}")).await?;
    let saved = phone.js("return !!document.querySelector('[data-saved=yes]')", &[]).await?;
    phone.check(saved == json!(false), "nothing is called saved that is not evidence yet").await?;
    phone.check(phone.js_promise(STAGED).await? == json!(1), "the photo is on the disk").await
}

async fn met(phone: &Browser, requirement: &str) -> Result<()> {
    let good =
        |now: &crate::step::StepView| now.need(requirement).is_some_and(|need| need.state == "met" && need.photos == 1);
    until(phone, "the photo to be recorded", WITHIN, good).await?;
    phone.check(phone.js_promise(STAGED).await? == json!(0), "nothing is left beside the evidence").await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dark_photo_is_asked_about_again_after_a_kill_and_goes_once_another_one_is_there() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let mut phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    let folder = tempfile::tempdir()?;
    let dark = file(folder.path(), "dark.jpg", &picture(1).dark_jpeg())?;
    let sharp = file(folder.path(), "sharp.jpg", &picture(2).jpeg())?;

    give(&phone, "photo", &dark).await?;
    asks(&phone, "photo", "It is too dark").await?;
    phone.kill().await?;
    phone.reopen().await?;
    phone.open(&step_path(job, "arrive")).await?;
    asks(&phone, "photo", "It is too dark").await?;

    give(&phone, "photo", &sharp).await?;
    met(&phone, "photo").await?;
    let words = phone.words().await?;
    phone.check(!words.contains("too dark") && !words.contains(MARK), "a good photo is kept without a word").await
}

/// No browser shows these, or shows a part of them in grey: each is asked about, and what is kept anyway is marked.
#[tokio::test(flavor = "multi_thread")]
async fn a_photo_that_nobody_could_look_at_is_asked_about() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    let folder = tempfile::tempdir()?;
    let noise = |seed: u32| (0..4_000_u32).map(move |at| (at.wrapping_mul(2_654_435_761 + seed) >> 13) as u8);
    let heic: Vec<u8> = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic".iter().copied().chain(noise(1)).collect();
    let whole = picture(3).jpeg();
    let huge = [
        b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR\0\0\x4e\x20\0\0\x4e\x20\x01\0\0\0\0".as_slice(),
        &[0; 4],
        b"\0\0\0\0IEND\xae\x42\x60\x82",
    ]
    .concat();
    let random: Vec<u8> = b"\xff\xd8\xff\xe0".iter().copied().chain(noise(2).take(20)).collect();
    for (name, bytes, words) in [
        ("noise.heic", heic, "This device cannot show this photo"),
        ("third.jpg", whole[..whole.len() / 3].to_vec(), "The file is cut off"),
        ("random.jpg", random, "The file is cut off"),
        ("huge.png", huge, "This device cannot show this photo"),
    ] {
        give(&phone, "photo", &file(folder.path(), name, &bytes)?).await?;
        asks(&phone, "photo", words).await.with_context(|| name.to_owned())?;
    }
    phone.press(KEEP).await?;
    met(&phone, "photo").await?;
    phone.see(MARK).await?;
    phone.see("This photo cannot be shown here").await?;
    // The lead reads the same, and not that the photo is still on its way.
    rig.server.road.heal().await;
    until_all_sent(&phone, WITHIN).await?;
    drop(phone);
    let desk = browser_of(&rig, LEAD, DESK).await?;
    desk.open(&format!("/desk/{job}")).await?;
    desk.press("Worth a look").await?;
    desk.press("Arrive").await?;
    desk.see("This photo cannot be shown here").await
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_kept_anyway_is_marked_for_the_lead() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    let folder = tempfile::tempdir()?;
    let blurred = file(folder.path(), "blurred.jpg", &picture(1).blurred_jpeg())?;
    give(&phone, "photo", &blurred).await?;
    asks(&phone, "photo", "It is blurred").await?;
    phone.press(KEEP).await?;
    met(&phone, "photo").await?;
    phone.see(MARK).await?;
    press_main(&phone, "Confirm").await?;
    until(&phone, "the step to be done", WITHIN, |now| now.state == "satisfied").await?;

    // Two plates that were photographed as one: bytes behind the end of a JPEG make another file of it and change no pixel.
    let sharp = picture(2).jpeg();
    let (one, twin) =
        (file(folder.path(), "one.jpg", &sharp)?, file(folder.path(), "twin.jpg", &[&sharp[..], b"2"].concat())?);
    plate(&phone, &format!("/jobs/{job}/steps/plates/1"), 1).await?;
    give(&phone, "label", &one).await?;
    met(&phone, "label").await?;
    // A new page has forgotten what the photo looked like and learns it from the preview.
    plate(&phone, &format!("/jobs/{job}/steps/plates/2"), 2).await?;
    give(&phone, "label", &twin).await?;
    asks(&phone, "label", "It looks like the photo of").await?;
    phone.press(KEEP).await?;
    met(&phone, "label").await?;

    rig.server.road.heal().await;
    until_all_sent(&phone, WITHIN).await?;
    drop(phone);
    let desk = browser_of(&rig, LEAD, DESK).await?;
    desk.open(&format!("/desk/{job}")).await?;
    // What was kept anyway is worth a look; a step shows its photos once it is opened.
    desk.press("Worth a look").await?;
    desk.press("Arrive").await?;
    desk.see(MARK).await
}

/// Opens the step of a unit and gives its serial number, so that its photo is at work.
async fn plate(phone: &Browser, path: &str, slot: u16) -> Result<()> {
    phone.open(path).await?;
    until(phone, "the serial to be at work", WITHIN, |now| now.at.as_deref() == Some("serial")).await?;
    let serial = format!("KCM5{:010}", 4_071_900 + u32::from(slot) * 37);
    phone.fill("Serial number", &serial).await?;
    phone.fill("Serial number once more", &serial).await?;
    press_main(phone, "Save the serial number").await?;
    until(phone, "the photo to be at work", WITHIN, |now| now.at.as_deref() == Some("label")).await.map(drop)
}
