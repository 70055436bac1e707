//! What a phone keeps does not lie in the clear in the browser's folder, its key leaves with its person, and a lost key is said.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result, ensure};
use domain::ids::JobId;
use serde_json::json;
use tests::browser::{Browser, WITHIN};

use crate::people::until_sent;
use crate::photos;
use crate::rig::Rig;
use crate::small_job::{phone_on_first_step, plan, step_path};
use crate::step::{Hands, give_photo, until};

/// No other file of a browser holds it.
const SENTENCE: &str = "the spare key hangs behind the third flower pot, 7Q4ZK";
/// Of the job's own address, which came from the server and stands on the day sheet too.
const HOUSEHOLDER: &str = "Rowan Example";
/// As in a browser that cannot seal.
const NO_CIPHER: &str = "SubtleCrypto.prototype.encrypt = undefined;";

/// Names of the databases of people, and of the keys in each and in the one that is read before anybody is known.
const KEYS: &str = r#"await (async () => {
  const found = [];
  for (const { name } of await indexedDB.databases()) {
    const db = await new Promise((good, bad) => { const open = indexedDB.open(name); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); });
    const keys = await new Promise((good, bad) => { const all = db.transaction("keys").objectStore("keys").getAllKeys(); all.onsuccess = () => good(all.result); all.onerror = () => bad(all.error); });
    db.close();
    found.push(...keys.map((key) => `${name.replace(/-.*/, "-person")}: ${key.replace(/\/.*/, "")}`));
  }
  return found.sort().join(", ");
})()"#;

/// Takes the key of the rows away, as a browser that is broken might.
const LOSE: &str = r#"await (async () => {
  const name = (await indexedDB.databases()).map((one) => one.name).find((name) => name.startsWith("witnessmark-"));
  const db = await new Promise((good, bad) => { const open = indexedDB.open(name); open.onsuccess = () => good(open.result); open.onerror = () => bad(open.error); });
  const over = db.transaction("keys", "readwrite", { durability: "strict" });
  over.objectStore("keys").delete("rows");
  await new Promise((good, bad) => { over.oncomplete = good; over.onabort = bad; });
  db.close();
})()"#;

/// What is looked for in the folder: words, and pieces of the photo.
struct Marks(Vec<(String, Vec<u8>)>);

impl Marks {
    fn of(photo: &[u8]) -> Self {
        let mut marks = Vec::new();
        for words in [SENTENCE, HOUSEHOLDER] {
            marks.push((words.to_owned(), words.as_bytes().to_vec()));
            marks.push((format!("{words} in UTF-16"), words.encode_utf16().flat_map(u16::to_le_bytes).collect()));
        }
        for part in 1..4 {
            let at = photo.len() * part / 4;
            marks.push((format!("photo, part {part}"), photo[at..at + 32].to_vec()));
        }
        Self(marks)
    }

    /// What is found, and in which file.
    fn found_in(&self, folder: &Path) -> Result<Vec<String>> {
        let (mut found, mut folders): (Vec<String>, Vec<PathBuf>) = (Vec::new(), vec![folder.to_owned()]);
        while let Some(next) = folders.pop() {
            for entry in std::fs::read_dir(&next)? {
                let path = entry?.path();
                if path.is_dir() {
                    folders.push(path);
                    continue;
                }
                // A socket or a file that went meanwhile.
                let Ok(bytes) = std::fs::read(&path) else { continue };
                for (name, mark) in &self.0 {
                    if memchr::memmem::find(&bytes, mark).is_some() {
                        found.push(format!("{name} in {}", path.strip_prefix(folder)?.display()));
                    }
                }
            }
        }
        Ok(found)
    }
}

fn profile(phone: &Browser) -> Result<PathBuf> {
    Ok(phone.downloads().parent().context("the profile's folder")?.to_owned())
}

/// A phone on the first step of a job, a photo for it in this folder, and what a scan for both looks for.
async fn about_to_record(rig: &Rig, folder: &Path) -> Result<(JobId, Browser, PathBuf, Marks)> {
    let job = plan(rig).await?;
    let photo = photos::make_small(folder, 1)?.remove(0);
    let marks = Marks::of(&std::fs::read(&photo)?);
    Ok((job, phone_on_first_step(rig, job).await?, photo, marks))
}

/// A note and a photo, without a network.
async fn record(phone: &Browser, job: JobId, photo: &Path) -> Result<()> {
    phone.open(&format!("/jobs/{job}")).await?;
    phone.press("Write a note").await?;
    phone.fill("Note", SENTENCE).await?;
    phone.press("Save the note").await?;
    phone.see(SENTENCE).await?;
    phone.open(&step_path(job, "arrive")).await?;
    let method = crate::answers::built_in_method()?;
    let mut hands = Hands::new(&method, vec![photo.to_owned()]);
    give_photo(phone, &mut hands, "photo").await?;
    until(phone, "the photo to be kept", WITHIN, |now| now.need("photo").is_some_and(|need| need.state == "met"))
        .await
        .map(drop)
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_that_a_phone_keeps_lies_in_the_clear_and_its_key_leaves_with_its_person() -> Result<()> {
    let rig = Rig::demo().await?;
    let folder = tempfile::tempdir()?;
    let (job, mut phone, photo, marks) = about_to_record(&rig, folder.path()).await?;
    rig.server.road.cut().await;
    record(&phone, job, &photo).await?;
    phone.kill().await?;
    let found = marks.found_in(&profile(&phone)?)?;
    ensure!(found.is_empty(), "{found:#?}");

    phone.reopen().await?;
    phone.open(&format!("/jobs/{job}")).await?;
    phone.see(SENTENCE).await?;
    phone.open("/day").await?;
    phone.see("Lane 7").await?;
    let keys = phone.js_promise(KEYS).await?;
    ensure!(keys == json!("witnessmark-person: rows, witnessmark-person: sign, witnessmark.doors: rows"), "{keys}");

    rig.server.road.heal().await;
    until_sent(&phone).await?;
    phone.open("/sign-out").await?;
    phone.see("Everything on this device has been sent.").await?;
    phone.see("is deleted with the key that opens it").await?;
    phone.press("Sign out").await?;
    phone.at("/sign-in").await?;
    let keys = phone.js_promise(KEYS).await?;
    ensure!(keys == json!(""), "every key is gone: {keys}");
    phone.kill().await?;
    let found = marks.found_in(&profile(&phone)?)?;
    ensure!(found.is_empty(), "{found:#?}");
    Ok(())
}

#[tokio::test(flavor = "multi_thread")]
async fn the_same_scan_finds_all_of_it_where_a_browser_cannot_seal() -> Result<()> {
    let rig = Rig::demo().await?;
    let folder = tempfile::tempdir()?;
    let (job, mut phone, photo, marks) = about_to_record(&rig, folder.path()).await?;
    phone.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": NO_CIPHER })).await?;
    rig.server.road.cut().await;
    record(&phone, job, &photo).await?;
    phone.kill().await?;
    let found = marks.found_in(&profile(&phone)?)?;
    ensure!(found.iter().any(|one| one.starts_with(SENTENCE)), "the note: {found:#?}");
    ensure!(found.iter().any(|one| one.starts_with("photo")), "the photo: {found:#?}");

    // What was kept plain is read by a browser that seals, and goes out.
    phone.reopen().await?;
    phone.open(&format!("/jobs/{job}")).await?;
    phone.see(SENTENCE).await?;
    rig.server.road.heal().await;
    until_sent(&phone).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_lost_key_is_said_and_the_tray_is_not_empty() -> Result<()> {
    let rig = Rig::demo().await?;
    let job = plan(&rig).await?;
    let phone = phone_on_first_step(&rig, job).await?;
    rig.server.road.cut().await;
    let folder = tempfile::tempdir()?;
    record(&phone, job, &photos::make_small(folder.path(), 1)?.remove(0)).await?;
    phone.js_promise(LOSE).await?;
    phone.open(&format!("/jobs/{job}")).await?;
    phone.see("The key that opens what is on this device is gone").await?;
    phone.see("not sent").await?;
    rig.server.road.heal().await;
    phone.open("/tray").await?;
    phone.see("Nothing was deleted and the tray is not empty").await?;
    sign_out_is_shut(&phone).await
}

/// Signing out over it stays shut.
async fn sign_out_is_shut(phone: &Browser) -> Result<()> {
    phone.open("/sign-out").await?;
    phone.see("things on this device have not reached the server.").await?;
    let shut = phone.js("return document.querySelector('.bottom .act.main').disabled", &[]).await?;
    phone.check(shut == json!(true), "signing out is shut while things wait").await
}
