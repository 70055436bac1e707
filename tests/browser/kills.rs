//! Chromium killed at random moments while it saves photos: what the screen had called saved is there when it is opened again.
//!
//! One job a kill, so that a photo needs no other name than its place. `cargo xtask kills --browser` makes a hundred of them.

use std::path::Path;
use std::time::{Duration, Instant};

use anyhow::{Result, ensure};
use domain::ids::JobId;
use serde_json::json;
use tests::browser::{Browser, WITHIN};
use tests::chance::Chance;

use crate::ledger::OnDevice;
use crate::people::{until_all_sent, until_sent};
use crate::photos::make_small;
use crate::rig::Rig;
use crate::small_job::{plan, step_path, used_phone};
use crate::step::{look, until};

/// The run of the suite.
const KILLS: u64 = 5;
const SEED: u64 = 5003;
/// From the choice of the photo to the kill: before, in and after the save of this machine.
const KILL_WITHIN_MS: u64 = 2_500;
const LOOK_EVERY: Duration = Duration::from_millis(40);
const CHOOSER: &str = "input[type=file][data-photo='photo']:not([data-gallery])";

/// The sign that a person reads as "saved on this device".
const SAID: &str = "return !!document.querySelector('[data-saved=yes]')";

fn number(name: &str, usual: u64) -> u64 {
    std::env::var(name).map_or(usual, |text| text.parse().unwrap())
}

#[tokio::test(flavor = "multi_thread")]
async fn killed_while_it_saves_photos_nothing_called_saved_is_missing() -> Result<()> {
    let (kills, seed) = (number("WITNESSMARK_KILLS", KILLS), number("WITNESSMARK_KILLS_SEED", SEED));
    let began = Instant::now();
    let mut chance = Chance::of(seed);
    let rig = Rig::demo().await?;
    let mut jobs: Vec<JobId> = Vec::new();
    for _ in 1..kills {
        jobs.push(plan(&rig).await?);
    }
    jobs.push(plan(&rig).await?);
    let folder = tempfile::tempdir()?;
    let photos = make_small(folder.path(), 4)?;
    let mut phone = used_phone(&rig).await?;
    phone.open("/day").await?;
    let rows = "return document.querySelectorAll('.job-row').length >= arguments[0]";
    phone.until("all jobs", WITHIN, rows, &[json!(kills)]).await?;
    until_all_sent(&phone, WITHIN).await?;
    rig.server.road.cut().await;
    let (mut called_saved, mut there_unsaid, mut missing) = (Vec::new(), 0, Vec::new());
    for (at, job) in jobs.iter().enumerate() {
        let said = save_and_kill(&mut phone, *job, &photos[at % photos.len()], &mut chance).await?;
        phone.reopen().await?;
        phone.open(&step_path(*job, "arrive")).await?;
        let now = until(&phone, "the step", WITHIN, |now| now.need("photo").is_some()).await?;
        let there = now.need("photo").is_some_and(|need| need.state == "met" && need.photos == 1);
        there_unsaid += u32::from(there && !said);
        match (said, there) {
            (true, true) => called_saved.push(*job),
            (true, false) => missing.push(format!("{job}: {now:?}")),
            (false, _) => {}
        }
    }
    // What was called saved arrives whole: original and preview, each with its hash.
    rig.server.road.heal().await;
    until_sent(&phone).await?;
    for job in &called_saved {
        let here = OnDevice::read(&phone, *job).await?;
        if let Err(error) = here.is_held_by(&rig.server, *job).await {
            missing.push(format!("{job}: {error:#}"));
        }
        ensure!(here.photos.len() == 2, "{job}: {} files of one photo", here.photos.len());
    }
    println!(
        "{}",
        json!({"seed": seed, "kills": kills, "called_saved": called_saved.len() + missing.len(), "there_and_not_yet_said": there_unsaid,
               "missing": missing.len(), "seconds": began.elapsed().as_secs()})
    );
    ensure!(missing.is_empty(), "seed {seed}: {missing:#?}");
    ensure!(!called_saved.is_empty(), "no photo was ever called saved: nothing was at stake");
    Ok(())
}

/// Gives the photo and kills at some moment. Gives whether the screen had called it saved.
async fn save_and_kill(phone: &mut Browser, job: JobId, photo: &Path, chance: &mut Chance) -> Result<bool> {
    phone.open(&step_path(job, "arrive")).await?;
    look(phone).await?;
    phone.choose_files(CHOOSER, &[photo]).await?;
    let kill_at = Instant::now() + Duration::from_millis(chance.between(0, KILL_WITHIN_MS));
    let mut said = false;
    while Instant::now() < kill_at && !said {
        said = phone.js(SAID, &[]).await? == json!(true);
        tokio::time::sleep(LOOK_EVERY).await;
    }
    phone.kill().await?;
    Ok(said)
}
