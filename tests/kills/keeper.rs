//! Looks after one server process, as whoever runs servers does: what ends is started again.

use std::time::Duration;

use anyhow::{Context as _, Result};
use tests::program::Program;
use tokio::process::Command;
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// A process that cannot reach its database ends at once; it must not be started in a circle without a breath.
const BREATH: Duration = Duration::from_millis(100);

/// A process that is kept running.
pub struct Keeper {
    id: watch::Receiver<Option<u32>>,
    keeping: JoinHandle<()>,
}

impl Keeper {
    /// Keeps a program that was started.
    pub fn of(mut program: Program) -> Self {
        let (now, id) = watch::channel(program.id());
        let listen = program.listen;
        let keeping = tokio::spawn(async move {
            loop {
                let ended = program.ended().await;
                now.send_replace(None);
                if let Err(error) = ended {
                    eprintln!("{listen}: {error:#}");
                }
                tokio::time::sleep(BREATH).await;
                if let Err(error) = program.spawn() {
                    eprintln!("{listen}: {error:#}");
                }
                now.send_replace(program.id());
            }
        });
        Self { id, keeping }
    }

    /// `kill -9`, in whatever moment of its life it is.
    pub async fn kill(&mut self) -> Result<()> {
        let id = self.id.wait_for(Option::is_some).await.context("the keeper is gone")?.context("an id")?;
        // It may have ended by itself in this moment, which is as good.
        let _ = Command::new("kill").arg("-9").arg(id.to_string()).status().await?;
        self.id.wait_for(|now| *now != Some(id)).await.context("the keeper is gone")?;
        Ok(())
    }
}

impl Drop for Keeper {
    fn drop(&mut self) {
        self.keeping.abort();
    }
}
