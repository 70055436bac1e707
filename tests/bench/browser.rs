//! What a technician waits for, on real Chromium: `start_cold_ms`, `start_offline_ms`, `tap_reading_saved_ms_p95` and
//! `photo_12mp_saved_ms_p95`, on a job of the built-in method with some hundred entries.
//!
//! The page's main thread runs at a quarter of its speed (CDP). A start counts from the navigation of a new process on a used
//! profile to the frame with the first job row; how long Chromium takes to open its own window is not ours. A tap counts from
//! the event's own time to the frame that says "saved". Decoding and hashing happen on threads that the slowdown does not reach,
//! so they count four times.

use std::path::{Path, PathBuf};
use std::time::Duration;

use anyhow::{Context as _, Result, ensure};
use camera::Picture;
use domain::ids::{EntryId, JobId, PersonId};
use domain::job_file::body::{Body, Remark};
use domain::job_file::fold;
use domain::method::Method;
use domain::method::gate::Plan;
use domain::method::load::compose;
use domain::rehearsal::{Cast, answers};
use serde_json::{Value, json};
use tests::browser::{Browser, PHONE, WITHIN};
use tests::phone::{TestPhone, all_stored};
use tests::server_process::{Content, ServerProcess};
use uuid::Uuid;

use crate::built_in::FILES;
use crate::stats::{median, p95};
use crate::work::{self, LEAD, TECHNICIAN};

/// How much slower than this machine.
pub const SLOWDOWN: f64 = 4.0;
const STARTS: usize = 7;
const TAPS: usize = 24;
const PHOTOS: u8 = 20;
/// Entries that the job has before the phone gets it, besides those of its plan and first step.
const ENTRIES_BEFORE: usize = 250;
const STEP: &str = "instruments";
const PHOTO: &str = "photo";
const READING: &str = "lead-null";
/// Upright 12 megapixels, stored lying.
const WIDTH: u32 = 3_024;
const HEIGHT: u32 = 4_032;
const WATCH: &str = include_str!("watch.js");
const SPIN: &str = "const from = performance.now(); let sum = 0; for (let i = 0; i < 2e7; i++) sum += Math.sqrt(i); return sum && performance.now() - from";

/// Says when the first screen stood; what the page asks for later is not a part of it.
const FIRST_SCREEN: &str =
    "addEventListener('witnessmark:alive', () => { window.__alive = performance.now(); }, { once: true });";
/// Every file of the first screen with the bytes that travelled for it, heads included, as the browser counts them.
const TRAVELLED: &str = r#"
  if (!window.__alive || !document.querySelector("main h1")) return null;
  const loaded = [...performance.getEntriesByType("navigation"), ...performance.getEntriesByType("resource")];
  return loaded.filter((one) => one.startTime <= window.__alive).map((one) => [new URL(one.name).pathname, one.transferSize]);"#;

/// `first_screen_wire_bytes`: what a phone that has never been here loads until its first screen stands: page, code, words and style.
pub async fn first_screen_wire_bytes() -> Result<f64> {
    let server = ServerProcess::start(Content::Firm).await?;
    let phone = Browser::start("first-screen", &server.address(), PHONE).await?;
    phone.cdp("Page.addScriptToEvaluateOnNewDocument", json!({"source": FIRST_SCREEN})).await?;
    phone.open("/sign-in").await?;
    let files = phone.until("the first screen", WITHIN, TRAVELLED, &[]).await?;
    let mut sum = 0.0;
    for file in files.as_array().context("a list of files")? {
        let bytes = file[1].as_f64().context("bytes")?;
        eprintln!("{:>8} {}", bytes, file[0].as_str().unwrap_or_default());
        sum += bytes;
    }
    ensure!(sum > 50_000.0, "the browser does not say what travelled");
    Ok(sum)
}

/// A server with one job, and the technician's phone, which has it.
pub struct Bench {
    server: ServerProcess,
    phone: Browser,
    job: JobId,
}

impl Bench {
    /// Plans the job, records its first step, and lets the phone fetch it all.
    pub async fn start() -> Result<Self> {
        let server = ServerProcess::start(Content::Firm).await?;
        let job = plan_and_begin(&server).await?;
        let phone = Browser::start("bench", &server.address(), PHONE).await?;
        phone.open("/sign-in").await?;
        phone.fill("E-mail", TECHNICIAN).await?;
        phone.fill("Password", server::demo::PASSWORD).await?;
        phone.press("Sign in").await?;
        // The method came too: with it a row says how far the job is.
        let row = "return [...document.querySelectorAll('.job-row')].some((row) => row.querySelectorAll('.detail').length > 1)";
        phone.until("the job and its method", WITHIN, row, &[]).await?;
        phone.until_it_opens_offline().await?;
        phone.open(&step_path(job)).await?;
        phone.see_css(&format!("[data-step='{STEP}']")).await?;
        let mut this = Self { server, phone, job };
        // The first start on a profile still writes caches that every later one finds.
        this.one_start().await?;
        Ok(this)
    }

    /// `start_cold_ms`: the network is there. With it, when "Stop work" could be pressed.
    pub async fn cold(&mut self) -> Result<(f64, f64)> {
        self.starts("cold").await
    }

    /// `start_offline_ms` and `start_offline_at_work_ms`: nobody listens.
    pub async fn offline(&mut self) -> Result<(f64, f64)> {
        self.server.road.cut().await;
        let figure = self.starts("offline").await;
        self.server.road.heal().await;
        figure
    }

    async fn starts(&mut self, what: &str) -> Result<(f64, f64)> {
        let (mut rows, mut at_work) = (Vec::new(), Vec::new());
        for _ in 0..STARTS {
            let (row, work) = self.one_start().await?;
            rows.push(row);
            at_work.push(work);
        }
        eprintln!("start {what}, first row and at work, ms: {} and {}", shown(&rows), shown(&at_work));
        Ok((median(rows), median(at_work)))
    }

    async fn one_start(&mut self) -> Result<(f64, f64)> {
        self.fresh_process().await?;
        self.phone.open("/").await?;
        let row = self.phone.until("the first job row", WITHIN, "return window.__bench.row || null", &[]).await?;
        let work = self.phone.until("the sheet at work", WITHIN, "return window.__bench.work || null", &[]).await?;
        Ok((row.as_f64().context("a time")?, work.as_f64().context("a time")?))
    }

    /// A new process, slowed down, that watches every page from its beginning.
    async fn fresh_process(&mut self) -> Result<()> {
        self.phone.close().await?;
        self.phone.reopen().await?;
        self.phone.cdp("Page.addScriptToEvaluateOnNewDocument", json!({"source": WATCH})).await?;
        self.slow_down(SLOWDOWN).await
    }

    async fn slow_down(&self, rate: f64) -> Result<()> {
        self.phone.cdp("Emulation.setCPUThrottlingRate", json!({"rate": rate})).await.map(drop)
    }

    /// `photo_12mp_saved_ms_p95` and `tap_reading_saved_ms_p95`, without a network: nothing else wants the machine then.
    pub async fn photos_and_taps(&mut self) -> Result<(f64, f64)> {
        let folder = tempfile::tempdir()?;
        let files = photos(folder.path())?;
        self.server.road.cut().await;
        self.fresh_process().await?;
        self.phone.open(&step_path(self.job)).await?;
        self.phone.see_css(&format!("[data-step='{STEP}']")).await?;
        self.say_slowdown().await?;
        let mut photos = Vec::new();
        for (at, file) in files.iter().enumerate() {
            if at > 0 {
                self.phone.press("One more photo").await?;
            }
            photos.push(self.one_photo(file).await?);
        }
        eprintln!("12-megapixel photo, ms: {}", shown(&photos));
        let mut taps = Vec::new();
        for at in 0..TAPS {
            if at > 0 {
                self.phone.press("Correct this").await?;
            }
            taps.push(self.one_reading(&format!("0.{}", 10 + at)).await?);
        }
        eprintln!("tap to saved, ms: {}", shown(&taps));
        self.server.road.heal().await;
        Ok((p95(photos), p95(taps)))
    }

    async fn one_photo(&self, file: &Path) -> Result<f64> {
        let before = self.count().await?;
        let chooser = format!(
            "[data-requirement='{PHOTO}'].at-work input[type=file], .bottom input[type=file][data-photo='{PHOTO}']:not([data-gallery])"
        );
        self.phone.choose_files(&chooser, &[file]).await?;
        let saved = self.saved_after(before).await?;
        let (ms, aside) = (saved["ms"].as_f64().context("ms")?, saved["aside"].as_f64().context("aside")?);
        Ok(ms + aside * (SLOWDOWN - 1.0))
    }

    async fn one_reading(&self, value: &str) -> Result<f64> {
        let before = self.count().await?;
        let instrument = r#"
          const part = document.querySelector(`section.at-work[data-requirement="${arguments[0]}"]`);
          const list = part?.querySelector("select");
          if (!list || list.options.length < 2) return null;
          if (!list.value) {
            const option = [...list.options].find((one) => one.value && words(one).includes("calibrated until"));
            if (!option) return null;
            list.value = option.value;
            list.dispatchEvent(new Event("change", { bubbles: true }));
          }
          return true;"#;
        self.phone.until("the box of the reading", WITHIN, instrument, &[json!(READING)]).await?;
        self.phone.fill("Measured value", value).await?;
        let ready = "const main = document.querySelector('.bottom .act.main'); return !!main && !main.disabled && actWords(main) === 'Save the reading'";
        self.phone.until("the reading to be ready", WITHIN, ready, &[]).await?;
        // What typing has set off is over before the tap.
        tokio::time::sleep(Duration::from_millis(500)).await;
        self.phone.press_css(".bottom .act.main").await?;
        self.saved_after(before).await?["ms"].as_f64().context("ms")
    }

    async fn count(&self) -> Result<Value> {
        self.phone.js("return window.__bench.saved.length", &[]).await
    }

    async fn saved_after(&self, before: Value) -> Result<Value> {
        let script = "return window.__bench.saved[arguments[0]] ?? null";
        let saved = self.phone.until("it to be saved", WITHIN, script, &[before]).await?;
        // The page rests before the next one, as a person does.
        tokio::time::sleep(Duration::from_millis(300)).await;
        Ok(saved)
    }

    /// A slowdown that does not work would make every figure look well.
    async fn say_slowdown(&self) -> Result<()> {
        let slow = self.phone.js(SPIN, &[]).await?.as_f64().context("a time")?;
        self.slow_down(1.0).await?;
        let fast = self.phone.js(SPIN, &[]).await?.as_f64().context("a time")?;
        self.slow_down(SLOWDOWN).await?;
        eprintln!("the page runs {:.1} times slower than without slowdown", slow / fast);
        ensure!(slow / fast > SLOWDOWN / 2.0, "the slowdown does not work: {slow:.0} ms against {fast:.0} ms");
        Ok(())
    }
}

fn step_path(job: JobId) -> String {
    format!("/jobs/{job}/steps/{STEP}/0")
}

pub fn shown(times: &[f64]) -> String {
    times.iter().map(|ms| format!("{ms:.0}")).collect::<Vec<_>>().join(" ")
}

/// The built-in method, the lead's plan and the technician's first step, as they come from other devices.
async fn plan_and_begin(server: &ServerProcess) -> Result<JobId> {
    let method = built_in()?;
    let mut technician = TestPhone::of(server.sign_in(TECHNICIAN, server::demo::PASSWORD).await?);
    let mut lead = TestPhone::of(server.sign_in(LEAD, server::demo::PASSWORD).await?);
    let job = lead.plan_job(&method, &[technician.person()]);
    all_stored(&lead.push().await)?;
    technician.pull().await;
    rehearse_first_step(&mut technician, job, &method, lead.person())?;
    for number in 0..ENTRIES_BEFORE {
        let text = format!("drawer {number}: nothing amiss");
        technician.write(job, Body::Remark(Remark { at: None, text }));
    }
    all_stored(&technician.push().await)?;
    Ok(job)
}

pub fn built_in() -> Result<Method> {
    let composed = compose("series-stack-floor.toml", FILES);
    Ok(composed.map_err(|fault| anyhow::anyhow!("{fault}"))?.method)
}

fn rehearse_first_step(phone: &mut TestPhone, job: JobId, method: &Method, second: PersonId) -> Result<()> {
    let plan = Plan::of(method);
    let said = {
        let file = phone.files.get(&job).context("the technician has the job")?;
        let mut state = fold(file, &plan);
        let first = *state.gate.steps().first().context("a first step")?;
        let mut cast = Cast {
            entry_id: &mut || EntryId::of(Uuid::now_v7()),
            instrument: &|_| None,
            photo: &mut |_| {
                let photo = work::photo();
                (photo.original, photo.preview, photo.capture)
            },
            second_person: second,
            householder: "Rowan Example",
            serial_base: 1,
        };
        answers(&mut state.gate, first, &mut cast)
    };
    for one in said {
        let entry = phone.draft_as(one.id, job, one.body);
        phone.keep(entry);
    }
    Ok(())
}

/// One picture under many names: bytes behind the end of a JPEG make another file of it and change no pixel.
fn photos(folder: &Path) -> Result<Vec<PathBuf>> {
    let bytes = Picture { width: WIDTH, height: HEIGHT, orientation: 6, seed: 12 }.jpeg();
    eprintln!("the 12-megapixel photo has {} bytes", bytes.len());
    (0..PHOTOS)
        .map(|number| {
            let file = folder.join(format!("IMG_{number:04}.jpg"));
            let mut own = bytes.clone();
            own.push(number);
            std::fs::write(&file, own)?;
            Ok(file)
        })
        .collect()
}
