//! A job's photos over a link that drops again and again, with what is in the air when it drops. Time is no part of it: what
//! counts is the bytes that go out.

use std::net::SocketAddr;
use std::time::Duration;

use anyhow::{Result, ensure};
use domain::ids::JobId;
use domain::job_file::Place;

use crate::chance::Chance;
use crate::client::Client;
use crate::device::{Device, FastClock, PATIENT, Turn};
use crate::proxy::{Line, Proxy};

/// The device's waits between tries take that much less.
const SPEED: u32 = 60;
const TURNS_MAX: u64 = 20_000;

/// The photos and the link.
#[derive(Clone, Copy, Debug)]
pub struct Plan {
    /// How many.
    pub photos: u64,
    /// Bytes of each original.
    pub original_bytes: usize,
    /// Bytes of each preview.
    pub preview_bytes: usize,
    /// A connection breaks after so many bytes.
    pub cut_after: u64,
    /// The last of them never arrive.
    pub lost_at_cut: u64,
}

/// What it came to.
#[derive(Clone, Copy, Debug)]
pub struct Outcome {
    /// Bytes of all photos and previews.
    pub photo_bytes: u64,
    /// Bytes that went out, HTTP and facts included.
    pub sent: u64,
    /// How often the link dropped.
    pub cuts: u64,
    /// How many requests it took.
    pub requests: u64,
}

impl Outcome {
    /// Bytes out over bytes of the photos.
    pub fn ratio(&self) -> f64 {
        self.sent as f64 / self.photo_bytes as f64
    }
}

/// Takes the photos in this job and sends them.
///
/// # Errors
/// They do not arrive.
pub async fn upload(server: SocketAddr, mut client: Client, job: JobId, plan: Plan) -> Result<Outcome> {
    let road = Proxy::start(server).await;
    client.by(&road.address());
    let mut device = Device::of(client, FastClock::of(SPEED), Chance::of(plan.photos));
    device.patience = PATIENT;
    device.until_idle().await;
    for _ in 0..plan.photos {
        let original = device.chance().noise(plan.original_bytes);
        let preview = device.chance().noise(plan.preview_bytes);
        device.photograph(job, Place::of("arrive", 0, "photo"), &original, &preview);
    }
    road.line(Line { cut_after: Some(plan.cut_after), lost_at_cut: plan.lost_at_cut, ..Line::default() }).await;
    let (before, connections, requests) = (road.sent(), road.taken() as u64, device.requests);
    while device.tray().counts().waiting() > 0 {
        ensure!(device.requests - requests < TURNS_MAX, "no end: {:?} {:?}", device.tray().counts(), device.failures);
        if device.turn().await == Turn::Idle {
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    }
    ensure!(device.ledger.contradictions.is_empty(), "{:?}", device.ledger.contradictions);
    Ok(Outcome {
        photo_bytes: plan.photos * (plan.original_bytes + plan.preview_bytes) as u64,
        sent: road.sent() - before,
        cuts: (road.taken() as u64 - connections).saturating_sub(1),
        requests: device.requests - requests,
    })
}
