//! `drain_500x200_ratio`: five hundred phones come back in the same second with two hundred entries each. The time until all trays
//! are empty over the time of the same rows in bare batches, written one after the other into the same tables.

use std::time::Instant;

use anyhow::{Result, ensure};
use domain::job_file::Entry;
use tests::device::{Device, Turn};

use crate::firm::Firm;
use crate::queries::{BareFirm, Rows};
use crate::work;

const PHONES: usize = 500;
const ENTRIES: usize = 200;
/// A phone's backoff is part of what is measured: its clock is the wall's.
const SPEED: u32 = 1;

/// Drains and gives the ratio.
pub async fn ratio() -> Result<f64> {
    let mut firm = Firm::open(PHONES, SPEED).await?;
    let bare = BareFirm::open(&firm.owner).await;
    let mut rows = Vec::new();
    for phone in &mut firm.phones {
        for number in 0..ENTRIES {
            phone.device.write(phone.job, work::body(number));
        }
        rows.push(Rows::of(&written(&phone.device), domain::ids::JobId::of(uuid::Uuid::now_v7()), bare.device));
    }
    let before: i64 = sqlx::query_scalar("select count(*) from entries").fetch_one(&firm.owner).await?;
    let mut bare_s = 0.0;
    for batch in &rows {
        bare_s += bare.insert(batch).await;
    }
    let began = Instant::now();
    let phones = std::mem::take(&mut firm.phones);
    let tasks: Vec<_> = phones.into_iter().map(|phone| tokio::spawn(drain(phone.device))).collect();
    let (mut faults, mut failures) = (0, Vec::new());
    for task in tasks {
        let device = task.await?;
        faults += device.server_faults;
        failures.extend(device.failures);
        let lacks = device.ledger.entries_saved.len() - device.ledger.acknowledged.len();
        ensure!(lacks == 0, "{lacks} entries of a phone were not confirmed");
    }
    let drain_s = began.elapsed().as_secs_f64();
    let after: i64 = sqlx::query_scalar("select count(*) from entries").fetch_one(&firm.owner).await?;
    let all = i64::try_from(PHONES * ENTRIES)?;
    ensure!(after - before == 2 * all, "{} rows of {all} and {all} bare ones", after - before);
    eprintln!("drain of {PHONES} x {ENTRIES}: {drain_s:.1} s, bare {bare_s:.1} s, {faults} faults of the server");
    ensure!(faults == 0, "the server failed {faults} times: {:?}", failures.first());
    Ok(drain_s / bare_s)
}

fn written(device: &Device) -> Vec<Entry> {
    let own = device.ledger.entries_saved.keys().map(|id| &device.shelf.entries[id].1.envelope);
    let mut entries: Vec<Entry> = own.map(|bytes| Entry::read(bytes).unwrap()).collect();
    entries.sort_by_key(|entry| entry.header.seq);
    entries
}

async fn drain(mut device: Device) -> Device {
    while device.tray().counts().waiting() > 0 {
        if device.turn().await == Turn::Idle {
            tokio::time::sleep(std::time::Duration::from_millis(20)).await;
        }
    }
    device
}
