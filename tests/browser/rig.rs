//! What each test stands on: one at a time, a server of its own, and failures with their traces.

use anyhow::Result;
use tests::server_process::{Content, ServerProcess};
use tokio::sync::{Mutex, MutexGuard};

/// Two cores carry one browser at a time.
static TURN: Mutex<()> = Mutex::const_new(());

/// A server of this test's own; the next test waits until it is dropped.
pub struct Rig {
    pub server: ServerProcess,
    _turn: MutexGuard<'static, ()>,
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
        let turn = TURN.lock().await;
        Ok(Self { server: ServerProcess::start(content).await?, _turn: turn })
    }
}
