//! What each test stands on: two at a time, a server of its own, and failures with their traces.

use anyhow::{Context as _, Result};
use tests::server_process::{Content, ServerProcess};
use tokio::sync::{Semaphore, SemaphorePermit};

/// So many tests at once: much of a test is waiting, and two cores carry two of them.
static TURNS: Semaphore = Semaphore::const_new(2);

/// A server of this test's own; others wait until it is dropped.
pub struct Rig {
    pub server: ServerProcess,
    _turn: SemaphorePermit<'static>,
}

impl Rig {
    /// With the demo firm and no job.
    pub async fn demo() -> Result<Self> {
        Self::start(Content::Firm).await
    }

    /// With the demo firm and its jobs.
    pub async fn demo_with_jobs() -> Result<Self> {
        Self::start(Content::FirmAndJobs).await
    }

    /// With nobody in it.
    pub async fn empty() -> Result<Self> {
        Self::start(Content::Nothing).await
    }

    async fn start(content: Content) -> Result<Self> {
        let turn = TURNS.acquire().await.context("the turns are never closed")?;
        Ok(Self { server: ServerProcess::start(content).await?, _turn: turn })
    }
}
