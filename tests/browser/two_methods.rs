//! The other two built-in methods on phones without a network: a battery fuse after an inverter's fault, behind a wait that somebody tries to
//! shorten; and an install with backup, on which two people work side by side.
//!

use std::time::{Duration, Instant};

use anyhow::{Context as _, Result, ensure};
use domain::job_file::Body;
use serde_json::json;
use tests::browser::{Browser, PHONE, WITHIN};

use crate::people::{LEAD, SENT_WITHIN, browser_of, until_all_sent, until_sent};
use crate::photos;
use crate::rehearsal::{Rehearsal, STREET};
use crate::rig::Rig;
use crate::small_job::{step_path, used_phone};
use crate::step::{Hands, StepView, look, until, work};

/// The fuse itself, both poles.
const FUSE: [&str; 4] = ["take-out-fuses", "find-cause", "new-fuses", "fit-fuses"];
/// One person at the changeover unit and the neutral, the other at the stack; both are sure that the unit was theirs to fit.
const AT_THE_BOARD: [&str; 3] = ["changeover-fit", "backup-circuits", "neutral-earth-bond"];
const AT_THE_STACK: [&str; 3] = ["changeover-fit", "pe-stack", "dc-cable"];
/// The island tests; the five minutes under load between them pass past the screens.
const ISLAND: [&str; 4] = ["island-ready", "island-transfer", "island-protection", "grid-return"];

/// For so long the page is put to sleep, and the app is dead.
const ASLEEP: Duration = Duration::from_secs(9);
const DEAD: Duration = Duration::from_secs(6);

#[tokio::test(flavor = "multi_thread")]
async fn a_fuse_is_replaced_and_its_wait_cannot_be_shortened() -> Result<()> {
    let rig = Rig::demo().await?;
    let folder = tempfile::tempdir()?;
    let mut job = Rehearsal::plan(&rig, "replace-fuse.toml").await?;
    job.work(|step| step != "discharge-wait").await?;
    let mut phone = used_phone(&rig).await?;
    phone.open("/day").await?;
    phone.press(STREET).await?;
    until_all_sent(&phone, WITHIN).await?;
    rig.server.road.cut().await;

    let method = job.method.clone();
    let mut hands = Hands::new(&method, photos::make_small(folder.path(), 14)?);
    wait_under_attack(&mut phone, &mut hands, &mut job).await?;
    rig.server.road.heal().await;
    until_sent(&phone).await?;
    let waited = longest_wait(&mut job).await?;
    ensure!(waited >= 60_000, "a wait of {waited} ms was let through");

    for step in FUSE {
        job.work(|other| !FUSE.contains(&other)).await?;
        play(&phone, &mut hands, &mut job, step).await?;
        until_all_sent(&phone, WITHIN * 2).await?;
    }
    finished(&mut job).await?;
    phone.open(&format!("/jobs/{}", job.job)).await?;
    phone.see_within("Hand in for review", WITHIN * 2).await
}

#[tokio::test(flavor = "multi_thread")]
async fn two_people_install_a_backup_side_by_side_and_nothing_is_lost() -> Result<()> {
    let rig = Rig::demo().await?;
    let folder = tempfile::tempdir()?;
    let mut job = Rehearsal::plan(&rig, "install-with-backup.toml").await?;
    let by_hand = |step: &str| [AT_THE_BOARD, AT_THE_STACK].concat().contains(&step) || ISLAND.contains(&step);
    job.work(|step| !by_hand(step)).await?;
    let method = job.method.clone();
    let mut files = photos::make_small(folder.path(), 20)?;
    let mut other_hands = Hands::new(&method, files.split_off(12));
    let mut hands = Hands::new(&method, files);

    let board = used_phone(&rig).await?;
    let stack = browser_of(&rig, LEAD, PHONE).await?;
    stack.until_it_opens_offline().await?;
    for phone in [&board, &stack] {
        phone.open(&step_path(job.job, "changeover-fit")).await?;
        until(phone, "the job to be here", WITHIN * 2, |now| now.state == "open").await?;
        until_all_sent(phone, WITHIN * 2).await?;
    }
    rig.server.road.cut().await;
    for step in AT_THE_STACK {
        play(&stack, &mut other_hands, &mut job, step).await?;
    }
    for step in AT_THE_BOARD {
        play(&board, &mut hands, &mut job, step).await?;
    }
    rig.server.road.heal().await;
    for phone in [&stack, &board] {
        until_all_sent(phone, SENT_WITHIN).await?;
    }
    // A step that both closed is closed once: the later evidence stands, the earlier can be seen.
    board.open(&step_path(job.job, "changeover-fit")).await?;
    until(&board, "the step that both have closed", WITHIN, |now| now.state == "satisfied").await?;
    board
        .until(
            "the earlier of two readings",
            WITHIN * 2,
            "return !!document.querySelector(\"section[data-requirement=torque] .history\")",
            &[],
        )
        .await?;
    stack.open(&step_path(job.job, "neutral-earth-bond")).await?;
    until(&stack, "what the other has closed", WITHIN * 2, |now| now.state == "satisfied").await?;
    stack.see_within("The server has confirmed the PIN.", WITHIN * 2).await?;
    drop(stack);

    for step in ISLAND {
        job.work(|other| !ISLAND.contains(&other)).await?;
        play(&board, &mut hands, &mut job, step).await?;
        until_all_sent(&board, WITHIN * 2).await?;
    }
    finished(&mut job).await
}

/// The clock is put forward, the page is put to sleep, the app is killed: none of it makes the wait shorter.
async fn wait_under_attack(phone: &mut Browser, hands: &mut Hands<'_>, job: &mut Rehearsal) -> Result<()> {
    let path = step_path(job.job, "discharge-wait");
    phone.open(&step_path(job.job, "prove-tester-before")).await?;
    let shut = look(phone).await?;
    phone.check(shut.state == "locked", &format!("what follows the wait is shut: {shut:?}")).await?;
    phone.open(&path).await?;
    hands.good = job.good("discharge-wait", 0).await?;
    let began = Instant::now();
    let mut seen = crate::step::read_cautions(phone).await?;
    while seen.at.as_deref() != Some("wait") {
        seen = crate::step::answer_next(phone, hands).await?;
    }
    crate::step::press_main(phone, "Start waiting").await?;
    let at_first = left_s(phone).await?;

    phone.js("const real = Date.now.bind(Date); Date.now = () => real() + 7_200_000; return true", &[]).await?;
    tokio::time::sleep(Duration::from_secs(3)).await;
    let after_clock = left_s(phone).await?;
    let awake = began.elapsed().as_secs();
    ensure!(at_first - after_clock <= awake, "the clock went two hours forward: {at_first} s became {after_clock} s");

    // However slow the machine is, of the time between two looks the part does not count in which the page could not be awake.
    let counts_at_most = |since: Instant, away: Duration| (since.elapsed() - away).as_secs() + 1;
    let since = Instant::now();
    phone.cdp("Page.setWebLifecycleState", json!({"state": "frozen"})).await?;
    tokio::time::sleep(ASLEEP).await;
    phone.cdp("Page.setWebLifecycleState", json!({"state": "active"})).await?;
    let after_sleep = left_s(phone).await?;
    let most = counts_at_most(since, ASLEEP);
    ensure!(after_clock - after_sleep <= most, "the time asleep counted: {after_clock} s became {after_sleep} s");

    let since = Instant::now();
    phone.kill().await?;
    tokio::time::sleep(DEAD).await;
    phone.reopen().await?;
    phone.open(&path).await?;
    look(phone).await?;
    let after_kill = left_s(phone).await?;
    let most = counts_at_most(since, DEAD);
    ensure!(after_sleep <= after_kill + most, "the time dead counted: {after_sleep} s became {after_kill} s");
    ensure!(after_kill > 20, "{after_kill} s are too few to see anything");

    let done = work(phone, hands).await?;
    phone.check(done.state == "satisfied", &format!("the wait is over: {done:?}")).await?;
    ensure!(began.elapsed() >= Duration::from_secs(60) + ASLEEP + DEAD, "over after {:?}", began.elapsed());
    Ok(())
}

async fn left_s(phone: &Browser) -> Result<u64> {
    let script = "const left = document.querySelector('[data-left]'); return left && Number(left.dataset.left) > 0 ? Number(left.dataset.left) : null";
    phone.until("a wait that runs", WITHIN, script, &[]).await?.as_u64().context("seconds")
}

async fn longest_wait(job: &mut Rehearsal) -> Result<u64> {
    let waits = job.file().await.iter().filter_map(|held| match held.entry.body() {
        Some(Body::Waited(waited)) if waited.at.step == "discharge-wait" => Some(waited.elapsed_ms),
        _ => None,
    });
    waits.max().context("no wait is there")
}

/// Opens a step, works it and sees it done.
async fn play(phone: &Browser, hands: &mut Hands<'_>, job: &mut Rehearsal, step: &str) -> Result<StepView> {
    let slot = job.slot_of(step)?;
    hands.good = job.good(step, slot).await?;
    phone.open(&format!("/jobs/{}/steps/{step}/{slot}", job.job)).await?;
    until(phone, &format!("{step} to open"), WITHIN * 2, |now| now.step == step && now.state != "locked").await?;
    let done = work(phone, hands).await?;
    phone.check(done.state == "satisfied", &format!("{step} is done: {done:?}")).await?;
    Ok(done)
}

/// The rest is worked as well; nothing stands against the job.
async fn finished(job: &mut Rehearsal) -> Result<()> {
    job.work(|_| true).await?;
    let left = job.unfinished().await;
    ensure!(left.is_empty(), "not finished: {left:?}");
    let breaches = job.breaches().await;
    ensure!(breaches.is_empty(), "honest work made a breach: {breaches:?}");
    Ok(())
}
