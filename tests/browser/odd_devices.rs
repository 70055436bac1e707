//! Browsers that promise nothing, draw nothing, have no camera, or lose their page: each says so, and nothing that was recorded is lost.

use anyhow::{Context as _, Result, ensure};
use camera::Picture;
use domain::ids::Hash32;
use serde_json::json;
use tests::browser::{Browser, PHONE, WITHIN};

use crate::people::{TECHNICIAN, browser_of, until_all_sent};
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, phone_on_step, plan, plan_of, step_path, used_phone};
use crate::step::{look, until};

/// Runs before each page from now on.
pub async fn before_each_page(phone: &Browser, script: &str) -> Result<()> {
    phone.cdp("Page.enable", json!({})).await?;
    phone.cdp("Page.addScriptToEvaluateOnNewDocument", json!({"source": script})).await.map(drop)
}

/// Fault 14: the browser's answer to "please keep this" is told, whatever it is.
#[tokio::test(flavor = "multi_thread")]
async fn what_the_browser_promises_of_its_storage_is_told() -> Result<()> {
    let rig = Rig::demo().await?;
    let phone = browser_of(&rig, TECHNICIAN, PHONE).await?;
    for (answer, words) in [
        ("async () => false", "The browser may clear it when space runs short"),
        ("async () => true", "The browser promises to keep it."),
        ("async () => { throw new Error('no') }", "The browser does not say whether it keeps it."),
    ] {
        before_each_page(&phone, &format!("navigator.storage.persist = navigator.storage.persisted = {answer}"))
            .await?;
        phone.open("/tray").await?;
        phone.see(words).await?;
    }
    Ok(())
}

/// What works on a device and what does not is told when a person asks, and nothing is left behind.
#[tokio::test(flavor = "multi_thread")]
async fn a_device_is_tried_and_says_plainly_what_works() -> Result<()> {
    let rig = Rig::demo().await?;
    let phone = browser_of(&rig, TECHNICIAN, PHONE).await?;
    phone.until_it_opens_offline().await?;
    before_each_page(
        &phone,
        "delete globalThis.BarcodeDetector; navigator.mediaDevices.enumerateDevices = async () => [];",
    )
    .await?;
    let told = "const told = [...document.querySelectorAll('[data-try]')]; return told.length === 5 ? told.map((one) => `${one.dataset.try} ${one.dataset.works}`).join(', ') : null";
    for (is_cut, wanted) in [
        (false, "store yes, camera no, reader yes, offline yes, server yes"),
        (true, "store yes, camera no, reader yes, offline yes, server no"),
    ] {
        if is_cut {
            rig.server.road.cut().await;
        }
        phone.open("/tray").await?;
        phone.press("Try it now").await?;
        let found = phone.until("five answers", WITHIN, told, &[]).await?;
        phone.check(found == json!(wanted), &format!("{found}")).await?;
    }
    phone.open("/tray").await?;
    let left = phone.js_promise(TRIALS).await?;
    phone.check(left == json!(0), &format!("nothing is left of the trial: {left}")).await
}

/// Rows that a trial has left.
const TRIALS: &str = r#"await (async () => {
  const name = (await indexedDB.databases()).map((one) => one.name).find((name) => name.startsWith("witnessmark-"));
  const db = await new Promise((good, bad) => { const open = indexedDB.open(name); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); });
  const keys = await new Promise((good, bad) => { const all = db.transaction("drafts").objectStore("drafts").getAllKeys(); all.onsuccess = () => good(all.result); all.onerror = () => bad(all.error); });
  db.close();
  return keys.filter((key) => String(key).includes("trial")).length;
})()"#;

/// Fault 4: a canvas that gives nothing, or a blank picture, costs the preview and never the photo.
#[tokio::test(flavor = "multi_thread")]
async fn a_canvas_that_draws_nothing_costs_no_photo() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    let folder = tempfile::tempdir()?;
    let blank = "const real = OffscreenCanvas.prototype.convertToBlob; OffscreenCanvas.prototype.convertToBlob = function (options) { const other = new OffscreenCanvas(this.width, this.height); other.getContext('2d'); return real.call(other, options); };";
    let nothing = "OffscreenCanvas.prototype.convertToBlob = async () => null;";
    let refuses = "OffscreenCanvas.prototype.convertToBlob = async () => { throw new Error('too large'); };";
    let mut originals = Vec::new();
    for (number, broken) in (1_u32..).zip([blank, nothing, refuses]) {
        phone.open(&step_path(job, "arrive")).await?;
        let before = look(&phone).await?.need("photo").map_or(0, |need| need.photos);
        phone.js(&format!("{broken} return true"), &[]).await?;
        if before > 0 {
            phone.press("One more photo").await?;
        }
        let bytes = Picture { width: 1_632, height: 1_224, orientation: 6, seed: 40 + number }.jpeg();
        let file = folder.path().join(format!("{number}.jpg"));
        std::fs::write(&file, &bytes)?;
        originals.push((Hash32::sha256(&bytes), bytes));
        phone.choose_files("input[type=file][data-photo=photo]:not([data-gallery])", &[&file]).await?;
        let kept = |now: &crate::step::StepView| now.need("photo").is_some_and(|need| need.photos == before + 1);
        until(&phone, "the photo to be kept", WITHIN, kept).await?;
    }
    until_all_sent(&phone, WITHIN * 2).await?;
    let office = rig.server.sign_in(TECHNICIAN, server::demo::PASSWORD).await?;
    for (hash, bytes) in &originals {
        let arrived = office.get(&format!("/api/jobs/{job}/photos/{hash}")).await;
        ensure!(arrived.status == 200 && arrived.bytes == *bytes, "an original did not arrive: {}", arrived.status);
    }
    let listed = office.get(&format!("/api/jobs/{job}/photos")).await.body;
    let listed = listed.as_array().context("a list of photos")?.len();
    ensure!(listed == originals.len(), "{listed} photos for {} originals: a blank one is among them", originals.len());
    Ok(())
}

/// Fault 2: a camera that refuses says so at once and leaves a photo and the keys.
#[tokio::test(flavor = "multi_thread")]
async fn a_serial_is_typed_where_no_camera_reads_it() -> Result<()> {
    let rig = Rig::demo().await?;
    let method = domain::method::load::from_toml(&tests::phone::method_text("test-serial", SERIAL))?;
    let job = plan_of(&rig, method, &[TECHNICIAN], Vec::new()).await?;
    let phone = used_phone(&rig).await?;
    phone.open("/day").await?;
    phone.press("Lane 7").await?;
    until_all_sent(&phone, WITHIN).await?;
    rig.server.road.cut().await;
    let plates = format!("/jobs/{job}/steps/plates/1");
    for refusal in ["NotAllowedError", "NotFoundError", "OverconstrainedError"] {
        let script = format!(
            "delete globalThis.BarcodeDetector;
             navigator.mediaDevices.getUserMedia = async () => {{ throw new DOMException('no', '{refusal}'); }};"
        );
        before_each_page(&phone, &script).await?;
        phone.open(&plates).await?;
        look(&phone).await?;
        phone.press("Scan the label").await?;
        phone.see("The camera could not be used. Type the serial number.").await?;
        phone.see_css("dialog[open] label.chooser").await?;
        phone.press("Type the serial number").await?;
    }
    phone.fill("Serial number", "WM-2600417").await?;
    phone.fill("Serial number once more", "WM-2600417").await?;
    phone.press_css(".bottom .act.main").await?;
    until(&phone, "the serial to be kept", WITHIN, |now| now.need("serial").is_some_and(|need| need.state == "met"))
        .await
        .map(drop)
}

const READING: &str = r#"
[[step]]
id = "measure"
stage = "work"
title = { en = "Measure" }
act = { en = "Measure." }
[[step.require]]
kind = "reading"
id = "v"
label = { en = "Voltage" }
unit = "volt"
sanity = ["0", "1000"]
"#;

pub const SERIAL: &str = r#"
[[step]]
id = "plates"
stage = "work"
repeat = "module"
title = { en = "Plates" }
act = { en = "Read the plate." }
[[step.require]]
kind = "serial"
id = "serial"
label = { en = "Serial number" }
"#;

/// Faults 20 and 21: a window of a newer app may upgrade the store at once; the older page says what to do and loses nothing.
#[tokio::test(flavor = "multi_thread")]
async fn a_newer_app_takes_the_store_over_and_the_older_one_says_so() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    crate::tray::tick(&phone).await?;
    until_all_sent(&phone, WITHIN).await?;
    rig.server.road.cut().await;
    // What another window of a newer build does.
    let upgraded = phone.js_promise(&upgrade(1)).await?;
    phone.check(upgraded == json!("upgraded"), &format!("the open page gives way: {upgraded}")).await?;
    phone.open("/tray").await?;
    phone.see("The data on this device is of a newer app.").await?;
    let entries = phone.js_promise(COUNT).await?;
    phone
        .check(entries.as_u64().is_some_and(|count| count > 0), &format!("what was recorded is there: {entries}"))
        .await?;
    phone.open("/rescue.html").await?;
    let held = "return /Records: [1-9]/.test(document.body.textContent)";
    phone.until("the page outside the app to find the records", WITHIN, held, &[]).await.map(drop)
}

/// Opens the store of the app as so many versions newer; within the five seconds that the fault list allows.
fn upgrade(by: u32) -> String {
    format!(
        r#"await (async () => {{
  const found = (await indexedDB.databases()).find((one) => one.name.startsWith("witnessmark-"));
  return await new Promise((done) => {{
    const open = indexedDB.open(found.name, found.version + {by});
    open.onsuccess = () => {{ open.result.close(); done("upgraded"); }};
    open.onerror = () => done("error " + open.error);
    setTimeout(() => done("still waits"), 5000);
  }});
}})()"#
    )
}

/// Entries on the disk.
const COUNT: &str = r#"await (async () => {
  const name = (await indexedDB.databases()).map((one) => one.name).find((name) => name.startsWith("witnessmark-"));
  const db = await new Promise((good, bad) => { const open = indexedDB.open(name); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); });
  const count = await new Promise((good, bad) => { const all = db.transaction("entries").objectStore("entries").count(); all.onsuccess = () => good(all.result); all.onerror = () => bad(all.error); });
  db.close();
  return count;
})()"#;

/// Fault 33: a page that stumbles is covered, comes back by itself once with what was typed, and the second time within a minute asks
/// a person instead of turning in a circle.
#[tokio::test(flavor = "multi_thread")]
async fn a_page_that_stumbles_comes_back_with_what_was_typed() -> Result<()> {
    let rig = Rig::demo().await?;
    let method = domain::method::load::from_toml(&tests::phone::method_text("test-reading", READING))?;
    let job = plan_of(&rig, method, &[TECHNICIAN], Vec::new()).await?;
    let phone = phone_on_step(&rig, job, "measure", "Measure").await?;
    rig.server.road.cut().await;
    phone.fill("Measured value", "7.5").await?;
    phone.see("Understood as 7.5 V").await?;
    // A keystroke is kept while the next one is thought about.
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    let stumble = "window.stumbled = true; dispatchEvent(new CustomEvent('witnessmark:crashed', {detail: 'a test'})); return true";
    phone.js(stumble, &[]).await?;
    phone.see("Your work is saved on this phone. The page loads again.").await?;
    phone
        .until("a new page", WITHIN, "return window.stumbled === undefined && !document.querySelector('.cover')", &[])
        .await?;
    look(&phone).await?;
    phone.until("what was typed", WITHIN, "return findField('Measured value')?.value === '7.5'", &[]).await?;

    phone.js(stumble, &[]).await?;
    phone.see("The app stumbled more than once.").await?;
    phone.see("See what this device holds, and save it as a file").await?;
    let again = phone.js("return window.stumbled === true", &[]).await?;
    phone.check(again == json!(true), "it does not turn in a circle").await
}
