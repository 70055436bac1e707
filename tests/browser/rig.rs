//! What each test stands on: one at a time, a server of its own, and failures with their traces.

use anyhow::Result;
use tests::server_process::ServerProcess;
use tokio::sync::{Mutex, MutexGuard};

/// Two cores carry one browser at a time.
static TURN: Mutex<()> = Mutex::const_new(());

/// A server of this test's own; the next test waits until it is dropped.
pub struct Rig {
    pub server: ServerProcess,
    _turn: MutexGuard<'static, ()>,
}

impl Rig {
    /// With the demo firm.
    pub async fn demo() -> Result<Self> {
        Self::start(true).await
    }

    /// With nobody in it.
    pub async fn empty() -> Result<Self> {
        Self::start(false).await
    }

    async fn start(demo: bool) -> Result<Self> {
        let turn = TURN.lock().await;
        Ok(Self { server: ServerProcess::start(demo).await?, _turn: turn })
    }
}
