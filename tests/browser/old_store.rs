//! A device with the store of an older app and much unsent work is opened by this one, and killed again and again while it does so.
//!
//! The step from one version of the database to the next makes object stores and touches no row: rows are read as they are, and rewritten
//! only by what happens to them anyway. So there is little to break off, and this is the proof that it stays so.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use anyhow::{Context as _, Result, ensure};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use camera::Picture;
use domain::ids::{DeviceId, EntryId, FirmId, Hash32, JobId, PersonId};
use domain::job_file::body::{Place, Remark};
use domain::job_file::{Body, Draft, Entry, JobFile};
use domain::tray::{Delivery, EntryRow, PhotoDelivery, PhotoRole, PhotoRow};
use serde_json::{Value, json};
use tests::browser::{Browser, PHONE, WITHIN};
use tests::chance::Chance;
use tests::phone::{photo, photo_file};
use tests::server_process::copy_folder;
use uuid::Uuid;

use crate::ledger::OnDevice;
use crate::people::{TECHNICIAN, sign_in, until_all_sent, until_sent};
use crate::rig::Rig;
use crate::small_job::plan;

const JOBS: usize = 6;
const NOTES: usize = 180;
const PHOTOS: usize = 15;
/// Behind the end of each picture, so that no two are alike; about what a phone's preview weighs.
const PHOTO_TAIL: usize = 40_000;
/// Kills at random, each on the older store anew.
const KILLS: u64 = 4;
const SEED: u64 = 2_207;
/// From the address to the kill: before, in and after the opening of this machine.
const KILL_WITHIN_MS: u64 = 900;
/// As the browser was before there were keys and sealed rows.
const NO_CIPHER: &str = "SubtleCrypto.prototype.encrypt = undefined;";
/// A page of this origin on which no app runs.
pub const QUIET: &str = "/rescue.css";
/// The upgrade does not end: something is asked of it without end, as a large one would.
const ENDLESS_UPGRADE: &str = "const make = IDBDatabase.prototype.createObjectStore;
IDBDatabase.prototype.createObjectStore = function (name, ...more) {
  const made = make.call(this, name, ...more);
  const ask = () => { made.get('nothing').onsuccess = ask; };
  if (name === 'keys') { ask(); window.inUpgrade = true; }
  return made;
};";

const TOOLS: &str = r#"
  const asked = (request) => new Promise((good, bad) => { request.onsuccess = () => good(request.result); request.onerror = () => bad(request.error); });
  const ended = (over) => new Promise((good, bad) => { over.oncomplete = good; over.onabort = () => bad(over.error); });
  const ours = async () => (await indexedDB.databases()).filter(({ name }) => name.startsWith("witnessmark"));
  const person = async () => (await ours()).find(({ name }) => name.startsWith("witnessmark-")).name;
  const bytes = (text) => Uint8Array.from(atob(text), (sign) => sign.charCodeAt(0));
  const hex = async (value) => [...new Uint8Array(await crypto.subtle.digest("SHA-256", value))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
"#;

/// Every database of ours as version 1 had it, with the rows that are there.
const MAKE_OLD: &str = r#"
  for (const { name } of await ours()) {
    let db = await asked(indexedDB.open(name));
    const kept = {};
    for (const store of ["entries", "jobs", "photos", "photo_bytes", "drafts", "kv"]) {
      const from = db.transaction(store).objectStore(store);
      kept[store] = [await asked(from.getAllKeys()), await asked(from.getAll())];
    }
    db.close();
    await asked(indexedDB.deleteDatabase(name));
    const request = indexedDB.open(name, 1);
    request.onupgradeneeded = () => {
      const made = request.result;
      for (const [store, keyPath] of [["entries", "id"], ["photos", "key"]]) {
        const one = made.createObjectStore(store, { keyPath });
        one.createIndex("job", "job");
        one.createIndex("open", "open");
      }
      made.createObjectStore("jobs", { keyPath: "job" });
      for (const store of ["photo_bytes", "drafts", "kv"]) made.createObjectStore(store);
    };
    db = await asked(request);
    const over = db.transaction(Object.keys(kept), "readwrite", { durability: "strict" });
    for (const [store, [keys, rows]] of Object.entries(kept)) {
      rows.forEach((row, at) => over.objectStore(store).put(row, ["entries", "jobs", "photos"].includes(store) ? undefined : keys[at]));
    }
    await ended(over);
    db.close();
  }
  return true;"#;

/// Puts a job's work there. `given`: `{job, entries: [[id, row]], photos: [[hash, row, bytes]]}`.
const ADD: &str = r#"
  const db = await asked(indexedDB.open(await person(), 1));
  const over = db.transaction(["entries", "photos", "photo_bytes"], "readwrite", { durability: "strict" });
  for (const [id, row] of given.entries) over.objectStore("entries").put({ id, job: given.job, open: 1, row: bytes(row) });
  for (const [hash, row, content] of given.photos) {
    over.objectStore("photos").put({ key: `${given.job}.${hash}`, job: given.job, hash, open: 1, row: bytes(row) });
    over.objectStore("photo_bytes").put(bytes(content).buffer, hash);
  }
  await ended(over);
  db.close();
  return true;"#;

/// Version of the person's database, and of every row that waits and every photo the hash of what lies there.
const HASHES: &str = r#"
  const db = await asked(indexedDB.open(await person()));
  const found = { version: db.version, entries: {}, photos: {}, bytes: {} };
  for (const row of await asked(db.transaction("entries").objectStore("entries").index("open").getAll())) found.entries[row.id] = await hex(row.row);
  for (const row of await asked(db.transaction("photos").objectStore("photos").index("open").getAll())) found.photos[row.hash] = await hex(row.row);
  const kept = db.transaction("photo_bytes").objectStore("photo_bytes");
  const [names, contents] = [await asked(kept.getAllKeys()), await asked(kept.getAll())];
  for (const [at, name] of names.entries()) found.bytes[name] = await hex(contents[at]);
  db.close();
  return found;"#;

async fn run(phone: &Browser, given: &Value, script: &str) -> Result<Value> {
    phone.js_promise(&format!("await (async () => {{ const given = {given}; {TOOLS} {script} }})()")).await
}

/// What the older app wrote and never sent.
struct Work {
    job: JobId,
    entries: BTreeMap<EntryId, Vec<u8>>,
    photos: Vec<(PhotoRow, Vec<u8>)>,
}

impl Work {
    fn of(
        job: JobId,
        (firm, author, device): (FirmId, PersonId, DeviceId),
        picture: &[u8],
        chance: &mut Chance,
    ) -> Self {
        let mut file = JobFile::default();
        let mut work = Self { job, entries: BTreeMap::new(), photos: Vec::new() };
        for number in 0..NOTES + PHOTOS {
            let body = if number < NOTES {
                Body::Remark(Remark { at: None, text: format!("Note {number} of a long day in the cellar") })
            } else {
                let bytes = [picture, &chance.noise(PHOTO_TAIL)].concat();
                let body = photo(Place::of("arrive", 0, "photo"), &bytes);
                let row = PhotoRow {
                    job,
                    file: photo_file(&bytes),
                    role: PhotoRole::Original,
                    capture: body.capture,
                    added_ms: 1_780_000_000_000,
                    bytes_here: true,
                    delivery: PhotoDelivery::fresh(),
                };
                work.photos.push((row, bytes));
                Body::Photo(body)
            };
            let id = EntryId::of(Uuid::now_v7());
            let draft = Draft { id, firm, job, author, device, salt: *Uuid::new_v4().as_bytes(), body };
            let now_us = 1_780_000_000_000_000 + u64::try_from(number).unwrap_or(0);
            let entry = Entry::write(draft, file.chain_head(device), 0, now_us, file.latest_at());
            work.entries.insert(id, entry.bytes().to_vec());
            file.absorb(entry, None);
        }
        work
    }

    fn row(envelope: &[u8]) -> Vec<u8> {
        EntryRow { envelope: envelope.to_vec().into(), stamp: None, delivery: Delivery::FRESH }.to_bytes()
    }

    fn given(&self) -> Value {
        let entries = self.entries.iter().map(|(id, envelope)| json!([id, STANDARD.encode(Self::row(envelope))]));
        let photos = self.photos.iter();
        let photos = photos
            .map(|(row, bytes)| json!([row.file.hash.hex(), STANDARD.encode(row.to_bytes()), STANDARD.encode(bytes)]));
        json!({"job": self.job, "entries": entries.collect::<Vec<_>>(), "photos": photos.collect::<Vec<_>>()})
    }
}

/// What [`HASHES`] must find while nothing was sent.
fn expected(all: &[Work]) -> Value {
    let (mut entries, mut rows, mut bytes) = (BTreeMap::new(), BTreeMap::new(), BTreeMap::new());
    for work in all {
        let own = work.entries.iter();
        entries.extend(own.map(|(id, envelope)| (id.to_string(), Hash32::sha256(&Work::row(envelope)).hex())));
        for (row, content) in &work.photos {
            rows.insert(row.file.hash.hex(), Hash32::sha256(&row.to_bytes()).hex());
            bytes.insert(row.file.hash.hex(), Hash32::sha256(content).hex());
        }
    }
    json!({"entries": entries, "photos": rows, "bytes": bytes})
}

/// A phone as an older app left it, closed; all that it holds, and where its profile lies.
async fn old_phone(rig: &Rig) -> Result<(Browser, Vec<Work>, PathBuf)> {
    let mut jobs = Vec::new();
    for _ in 0..JOBS {
        jobs.push(plan(rig).await?);
    }
    let mut phone = Browser::start("old-store", &rig.server.address(), PHONE).await?;
    phone.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": NO_CIPHER })).await?;
    phone.open("/sign-in").await?;
    sign_in(&phone, TECHNICIAN, server::demo::PASSWORD).await?;
    phone.at("/day").await?;
    let rows = "return document.querySelectorAll('.job-row').length >= arguments[0]";
    phone.until("all jobs", WITHIN, rows, &[json!(JOBS)]).await?;
    until_all_sent(&phone, WITHIN).await?;
    phone.until_it_opens_offline().await?;
    let device = phone.js("return localStorage.getItem('witnessmark.enrolled')", &[]).await?;
    let device: DeviceId = device.as_str().context("the enrolment")?.parse().ok().context("an id")?;
    let own = rig.server.sign_in(TECHNICIAN, server::demo::PASSWORD).await?;
    let who = (FirmId::of(own.firm()), PersonId::of(own.person()), device);
    let mut chance = Chance::of(SEED);
    let picture = Picture { width: 320, height: 240, orientation: 1, seed: 5 }.jpeg();
    let all: Vec<Work> = jobs.into_iter().map(|job| Work::of(job, who, &picture, &mut chance)).collect();
    phone.open(QUIET).await?;
    run(&phone, &Value::Null, MAKE_OLD).await?;
    for work in &all {
        run(&phone, &work.given(), ADD).await?;
    }
    let profile = phone.downloads().parent().context("the profile's folder")?.to_owned();
    phone.close().await?;
    Ok((phone, all, profile))
}

/// The folder's content is that of the other one.
fn restore(from: &Path, to: &Path) -> Result<()> {
    for found in std::fs::read_dir(to)? {
        let found = found?;
        if found.file_type()?.is_dir() {
            std::fs::remove_dir_all(found.path())?;
        } else {
            std::fs::remove_file(found.path())?;
        }
    }
    Ok(copy_folder(from, to)?)
}

/// Opens the app in a new browser, and does not wait for it.
async fn start(phone: &mut Browser, script: &str) -> Result<()> {
    phone.reopen().await?;
    phone.cdp("Page.enable", json!({})).await?;
    phone.cdp("Page.addScriptToEvaluateOnNewDocument", json!({ "source": script })).await?;
    let day = phone.address("/day");
    phone.cdp("Page.navigate", json!({ "url": day })).await.map(drop)
}

/// What lies there, without the app; the version stands apart.
async fn look_inside(phone: &mut Browser) -> Result<(u64, Value)> {
    phone.reopen().await?;
    phone.open(QUIET).await?;
    let mut found = run(phone, &Value::Null, HASHES).await?;
    let version = found.as_object_mut().and_then(|found| found.remove("version")).and_then(|version| version.as_u64());
    phone.close().await?;
    Ok((version.context("a version")?, found))
}

/// Fault 22.
#[tokio::test(flavor = "multi_thread")]
async fn an_older_store_full_of_work_outlives_every_kill_while_it_is_opened() -> Result<()> {
    let began = Instant::now();
    let rig = Rig::demo().await?;
    let (mut phone, all, profile) = old_phone(&rig).await?;
    rig.server.road.cut().await;
    let wanted = expected(&all);
    let (version, found) = look_inside(&mut phone).await?;
    ensure!(version == 1 && found == wanted, "the older store is not as it was made");
    let copies = tempfile::tempdir()?;
    let old = copies.path().join("old");
    copy_folder(&profile, &old)?;

    // In the middle of the upgrade's own transaction: it has not happened.
    start(&mut phone, ENDLESS_UPGRADE).await?;
    phone.until("the upgrade to be under way", WITHIN, "return window.inUpgrade === true", &[]).await?;
    phone.kill().await?;
    let (version, found) = look_inside(&mut phone).await?;
    ensure!(version == 1, "half an upgrade became version {version}");
    ensure!(found == wanted, "a kill in the upgrade has changed something");

    let (mut chance, mut versions) = (Chance::of(SEED), BTreeMap::<u64, u32>::new());
    for kill in 0..KILLS {
        restore(&old, &profile)?;
        start(&mut phone, "").await?;
        tokio::time::sleep(Duration::from_millis(chance.between(0, KILL_WITHIN_MS))).await;
        phone.kill().await?;
        let (version, found) = look_inside(&mut phone).await?;
        *versions.entry(version).or_default() += 1;
        ensure!(found == wanted, "seed {SEED}, kill {kill}: a row or a photo is not as it was");
    }

    phone.reopen().await?;
    phone.open("/day").await?;
    phone.see("Lane 7").await?;
    phone.open(QUIET).await?;
    let mut found = run(&phone, &Value::Null, HASHES).await?;
    let version = found.as_object_mut().and_then(|found| found.remove("version"));
    ensure!(version == Some(json!(2)) && found == wanted, "opened, upgraded, and not one row rewritten: {version:?}");
    let opened = began.elapsed();

    rig.server.road.heal().await;
    phone.open("/day").await?;
    until_sent(&phone).await?;
    for work in &all {
        let here = OnDevice::read(&phone, work.job).await?;
        for (id, envelope) in &work.entries {
            let held = here.entries.get(&id.to_string()).with_context(|| format!("{id} is gone"))?;
            ensure!(held.0 == Hash32::sha256(envelope), "{id} has other bytes");
        }
        ensure!(here.photos.len() == PHOTOS, "{} photos", here.photos.len());
        here.is_held_by(&rig.server, work.job).await?;
    }
    println!(
        "{}",
        json!({"seed": SEED, "entries": JOBS * (NOTES + PHOTOS), "photos": JOBS * PHOTOS, "kills": KILLS + 1,
               "version_after_the_kills": versions, "seconds_to_opened": opened.as_secs(), "seconds": began.elapsed().as_secs()})
    );
    Ok(())
}
