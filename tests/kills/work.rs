//! What the devices do while everything around them dies: write, photograph, start the app anew, renew the session.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use domain::ids::JobId;
use domain::job_file::Place;
use domain::job_file::body::{Body, Remark};
use tests::device::{Device, Turn};
use tokio::sync::watch;

/// A device that found nothing to do looks again so soon, on the wall's clock.
const LOOK_AGAIN: Duration = Duration::from_millis(15);

/// What the world wants of its devices.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Phase {
    /// Work and deliver.
    Work,
    /// Deliver what is left.
    Drain,
    /// Put the device down.
    End,
}

/// How far a device is.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// So many things wait on it.
    pub waiting: u32,
    /// So many of its entries were confirmed.
    pub confirmed: usize,
    /// Pulled up to here.
    pub positions: Vec<(JobId, u64)>,
}

/// Works until it is told to end, and gives the device back.
pub async fn live(mut device: Device, phase: watch::Receiver<Phase>, standing: Arc<Mutex<Standing>>) -> Device {
    let mut next_act_ms = 0;
    loop {
        let now = *phase.borrow();
        match now {
            Phase::End => return device,
            Phase::Drain => device.poke(),
            Phase::Work if device.clock.now_ms() >= next_act_ms => {
                act(&mut device);
                // The fast clock makes of these seconds some tens of milliseconds.
                next_act_ms = device.clock.now_ms() + device.chance().between(1_000, 12_000);
            }
            Phase::Work => {}
        }
        let turn = device.turn().await;
        *standing.lock().unwrap() = Standing {
            waiting: device.tray().counts().waiting(),
            confirmed: device.ledger.acknowledged.len(),
            positions: device.shelf.jobs.iter().map(|(job, here)| (*job, here.position)).collect(),
        };
        if turn == Turn::Idle {
            tokio::time::sleep(LOOK_AGAIN).await;
        }
    }
}

fn act(device: &mut Device) {
    let jobs = device.jobs();
    if jobs.is_empty() {
        return;
    }
    let job = *device.chance().pick(&jobs);
    match device.chance().between(0, 39) {
        0 => device.restart(),
        1 | 2 => device.client.token = None,
        3..=5 => {
            let (original, preview) =
                (device.chance().between(60_000, 700_000), device.chance().between(8_000, 40_000));
            let original = device.chance().noise(usize::try_from(original).unwrap());
            let preview = device.chance().noise(usize::try_from(preview).unwrap());
            device.photograph(job, Place::of("arrive", 0, "photo"), &original, &preview);
        }
        _ => {
            for _ in 0..device.chance().between(1, 4) {
                let number = device.chance().bits();
                device.write(job, Body::Remark(Remark { at: None, text: format!("cable {number:x}") }));
            }
        }
    }
}
