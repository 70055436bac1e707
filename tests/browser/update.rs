//! A new version of the app: it comes whole or not at all, takes over when a person says so, and takes nothing away.

use std::path::Path;

use anyhow::{Context as _, Result};
use domain::ids::Hash32;
use serde_json::{Value, json};
use tests::browser::{Browser, PHONE, WITHIN};

use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, step_path};
use crate::step::look;

const NEXT: &str = "00112233aabbccdd";

/// Turns the app of this folder into the next build: a page that says so, and a worker that asks for that page. `whole`: with every
/// file as the worker wants it; else with one that it will find changed.
fn put_next_build(web: &Path, whole: bool) -> Result<()> {
    let worker = std::fs::read_to_string(web.join("sw.js"))?;
    let (start, rest) = worker.split_once("const SHELL = ").context("a list of files")?;
    let (list, end) = rest.split_once(";\n").context("the end of the list")?;
    let mut list: Value = serde_json::from_str(list)?;
    let before = list["build"].as_str().context("a build")?.to_owned();
    let page = std::fs::read_to_string(web.join("index.html"))?.replace(&before, NEXT);
    let mut hash = Hash32::sha256(page.as_bytes()).to_string();
    if !whole {
        hash = Hash32::sha256(b"other bytes").to_string();
    }
    list["build"] = json!(NEXT);
    for file in list["files"].as_array_mut().context("files")? {
        if file["url"] == json!("/index.html") {
            file["sha256"] = json!(hash);
        }
    }
    // What lies packed beside them is of the old build.
    for name in ["index.html.br", "index.html.gz", "sw.js.br", "sw.js.gz"] {
        let _ = std::fs::remove_file(web.join(name));
    }
    std::fs::write(web.join("index.html"), page)?;
    std::fs::write(web.join("sw.js"), format!("{start}const SHELL = {list};\n{}", end.replace(&before, NEXT)))?;
    Ok(())
}

async fn build_of(phone: &Browser) -> Result<Value> {
    phone.js("return document.documentElement.dataset.build", &[]).await
}

/// Looks for a new version now; the app does so each hour and whenever it is seen again.
const LOOK: &str = "await navigator.serviceWorker.getRegistration('/').then((found) => found.update()).then(() => 'looked', (refused) => 'refused ' + refused.name)";

/// Faults 27 and 28: the old page goes on, with every part that it has not asked for yet, until a person lets the new one in.
#[tokio::test(flavor = "multi_thread")]
async fn a_new_version_waits_for_a_word_and_the_old_page_loses_nothing() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    let old = build_of(&phone).await?;
    put_next_build(&rig.server.web_folder(), true)?;
    // What the old page has not loaded yet is not on the server any more either.
    for asset in std::fs::read_dir(rig.server.web_folder().join("assets"))? {
        let asset = asset?;
        if asset.file_name().to_string_lossy().starts_with("part-") {
            std::fs::remove_file(asset.path())?;
        }
    }
    let looked = phone.js_promise(LOOK).await?;
    phone.check(looked == json!("looked"), &format!("{looked}")).await?;
    phone.see("A new version is here.").await?;
    phone.check(build_of(&phone).await? == old, "nothing changes under the hand").await?;
    for (address, words) in [("/settings", "Settings"), ("/tray", "Does this device work?"), ("/about", "About")] {
        let go = "history.pushState(null, '', arguments[0]); dispatchEvent(new PopStateEvent('popstate')); return true";
        phone.js(go, &[json!(address)]).await?;
        phone.see(words).await?;
        phone.check(build_of(&phone).await? == old, "the old page loads its own parts").await?;
    }
    phone.press("Use it now").await?;
    let new = "return document.documentElement.dataset.build === arguments[0]";
    phone.until("the new version", WITHIN, new, &[json!(NEXT)]).await?;
    rig.server.road.cut().await;
    phone.open(&step_path(job, "arrive")).await?;
    let seen = look(&phone).await?;
    phone.check(seen.step == "arrive", "the job is there, offline, under the new version").await
}

/// Fault 31: of a version whose files do not belong together nothing is installed.
#[tokio::test(flavor = "multi_thread")]
async fn half_a_new_version_is_no_version() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    let old = build_of(&phone).await?;
    put_next_build(&rig.server.web_folder(), false)?;
    phone.js_promise(LOOK).await?;
    let gone = "return navigator.serviceWorker.getRegistration('/').then((found) => { window.__left = !found.installing && !found.waiting; }), window.__left === true";
    phone.until("the half version to be given up", WITHIN, gone, &[]).await?;
    rig.server.road.cut().await;
    phone.open(&step_path(job, "arrive")).await?;
    look(&phone).await?;
    phone.check(build_of(&phone).await? == old, "the old version is whole").await
}

/// Fault 30: code that does not arrive as it left says so, and the way to what was recorded stands open.
#[tokio::test(flavor = "multi_thread")]
async fn damaged_code_says_so_instead_of_loading_for_ever() -> Result<()> {
    let rig = Rig::demo().await?;
    for asset in std::fs::read_dir(rig.server.web_folder().join("assets"))? {
        let path = asset?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if name.starts_with("web-") && name.contains(".wasm") {
            let mut bytes = std::fs::read(&path)?;
            let middle = bytes.len() / 2;
            bytes.truncate(middle);
            std::fs::write(&path, bytes)?;
        }
    }
    let phone = Browser::start("damaged", &rig.server.address(), PHONE).await?;
    phone.open("/sign-in").await?;
    phone.see("The app does not start").await?;
    phone.see("What you recorded is kept on this device.").await?;
    phone.press("See what this device holds, and save it as a file").await?;
    phone.see("What this device holds").await
}
