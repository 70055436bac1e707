//! `push_p50_ms_N` and its like: how long a phone waits while N of them work at the same time, and what the server then holds in
//! memory.
//!
//! Each phone writes three entries every five seconds, which its tray sends at once, and asks every five seconds what is new: a
//! crew that never stops. A phone alone does it twenty times as fast, so that there is enough to count. Times are from the first
//! byte asked to the answer read, on the machine that also runs the server and the database.

use std::time::{Duration, Instant};

use anyhow::{Context as _, Result, ensure};
use domain::job_file::body::{Body, Remark};
use domain::tray::Request;
use tests::device::Turn;

use crate::firm::{Firm, Phone};
use crate::stats::percentile;

/// Connections, plans and caches are warm after this.
const WARM_UP: Duration = Duration::from_secs(5);
const MEASURED: Duration = Duration::from_secs(40);
const ENTRIES: usize = 3;
/// On the phone's clock.
const WRITE_EVERY_MS: u64 = 5_000;
const ALONE_FASTER: u32 = 20;
const LOOK_AGAIN: Duration = Duration::from_millis(5);

/// What is measured with so many phones.
pub struct Times {
    push_ms: Vec<f64>,
    pull_ms: Vec<f64>,
    /// After all of it.
    pub resident_mb: f64,
}

impl Times {
    /// By the name of a figure without its number of phones: `push_p95_ms`.
    pub fn figure(&self, name: &str) -> Result<f64> {
        let (what, rest) = name.split_once("_p").context("not a time")?;
        let percent: usize = rest.trim_end_matches("_ms").parse()?;
        let times = if what == "push" { &self.push_ms } else { &self.pull_ms };
        Ok(percentile(times.clone(), percent))
    }
}

/// Lets so many phones work.
pub async fn with(phones: usize) -> Result<Times> {
    let speed = if phones == 1 { ALONE_FASTER } else { 1 };
    let began = Instant::now();
    let mut firm = Firm::open(phones, speed).await?;
    eprintln!("a firm of {phones} phones after {:.0} s", began.elapsed().as_secs_f64());
    let working = std::mem::take(&mut firm.phones);
    let tasks: Vec<_> = working.into_iter().map(|phone| tokio::spawn(work(phone))).collect();
    let (mut push_ms, mut pull_ms) = (Vec::new(), Vec::new());
    for task in tasks {
        let (pushes, pulls) = task.await??;
        push_ms.extend(pushes);
        pull_ms.extend(pulls);
    }
    let resident_mb = firm.server.resident_bytes()? as f64 / 1e6;
    eprintln!("{phones} phones: {} pushes, {} pulls, {resident_mb:.0} MB", push_ms.len(), pull_ms.len());
    Ok(Times { push_ms, pull_ms, resident_mb })
}

async fn work(mut phone: Phone) -> Result<(Vec<f64>, Vec<f64>)> {
    let (mut pushes, mut pulls) = (Vec::new(), Vec::new());
    let began = Instant::now();
    let device = &mut phone.device;
    let mut next_write_ms = device.clock.now_ms() + device.chance().between(0, WRITE_EVERY_MS);
    while began.elapsed() < WARM_UP + MEASURED {
        if device.clock.now_ms() >= next_write_ms {
            next_write_ms += WRITE_EVERY_MS;
            for _ in 0..ENTRIES {
                let number = device.chance().bits();
                device.write(phone.job, Body::Remark(Remark { at: None, text: format!("cable tray {number:x}") }));
            }
        }
        let Some((request, took)) = device.timed_turn().await else {
            tokio::time::sleep(LOOK_AGAIN).await;
            continue;
        };
        if began.elapsed() >= WARM_UP {
            match request {
                Request::Push(_) => pushes.push(took.as_secs_f64() * 1_000.0),
                Request::Pull { .. } => pulls.push(took.as_secs_f64() * 1_000.0),
                Request::Reference | Request::Method(_) | Request::Photo(..) => {}
            }
        }
    }
    while device.tray().counts().waiting() > 0 && device.turn().await == Turn::Moved {}
    ensure!(device.server_faults == 0, "the server failed: {:?}", device.failures);
    Ok((pushes, pulls))
}
