//! Work that goes on by itself while the server runs: each is safe to run twice and on several servers at once.

use std::time::Duration;

use tokio::task::JoinHandle;

use crate::auth::refresh;
use crate::error::ApiError;
use crate::features::photos::expire_uploads;
use crate::job_files::worker::project_soon;
use crate::state::AppState;

/// How often what ran out is removed.
const TIDY_EVERY: Duration = Duration::from_secs(60 * 60);

/// Starts the background work; it ends when the handle is aborted.
pub fn spawn(state: AppState) -> JoinHandle<()> {
    tokio::spawn(async move {
        let mut clock = tokio::time::interval(TIDY_EVERY);
        loop {
            clock.tick().await;
            if let Err(error) = tidy(&state).await {
                tracing::warn!("tidying up did not finish: {error:#}");
            }
        }
    })
}

async fn tidy(state: &AppState) -> anyhow::Result<()> {
    for firm in state.db.firm_ids().await? {
        let forgotten = async {
            let mut tx = state.db.begin_for_firm(firm).await?;
            let forgotten = refresh::forget_old(&mut tx, state.clock.now_us()).await?;
            tx.commit().await?;
            Ok::<u64, ApiError>(forgotten)
        };
        let forgotten = forgotten.await?;
        // What a server that ended left undrawn.
        project_soon(state, firm);
        let dropped = expire_uploads(state, firm).await?;
        if dropped > 0 {
            tracing::info!(%firm, dropped, "removed uploads that nobody went on with");
        }
        if forgotten > 0 {
            tracing::info!(%firm, forgotten, "removed sessions that ran out long ago");
        }
    }
    Ok(())
}
