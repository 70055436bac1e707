//! Turns before a firm's locks. In the log and in the projections of a firm one goes after another; whoever waits for that on the
//! database's side holds one of its few connections, and on a Monday morning the phones of one large firm would take them from
//! everybody else. Here they wait with empty hands.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use domain::ids::FirmId;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

/// Pushes of a firm that may hold a connection: one in the log, and the next one at the door.
const PUSHES: usize = 2;
/// Projections do not gain by company: the second would find the work of the first.
const PROJECTIONS: usize = 1;

/// The turns of this process. Other processes have their own; between them the database's locks decide.
#[derive(Clone, Debug)]
pub struct Turns {
    pushes: PerFirm,
    projections: PerFirm,
}

/// Held until it is dropped.
#[derive(Debug)]
pub struct Turn(#[allow(dead_code, reason = "its end is what it is for")] Option<OwnedSemaphorePermit>);

/// One line of waiting a firm, first come, first served. A firm stays in the list: there are fewer of them than of anything else.
#[derive(Clone, Debug)]
struct PerFirm {
    at_once: usize,
    lines: Arc<Mutex<HashMap<FirmId, Arc<Semaphore>>>>,
}

impl Default for Turns {
    fn default() -> Self {
        Self { pushes: PerFirm::of(PUSHES), projections: PerFirm::of(PROJECTIONS) }
    }
}

impl Turns {
    /// Waits for the turn to push. Whoever gives up waiting leaves the line.
    pub async fn push(&self, firm: FirmId) -> Turn {
        self.pushes.turn(firm).await
    }

    /// Waits for the turn to project.
    pub async fn project(&self, firm: FirmId) -> Turn {
        self.projections.turn(firm).await
    }
}

impl PerFirm {
    fn of(at_once: usize) -> Self {
        Self { at_once, lines: Arc::default() }
    }

    async fn turn(&self, firm: FirmId) -> Turn {
        let line = {
            let mut lines = self.lines.lock().unwrap_or_else(PoisonError::into_inner);
            Arc::clone(lines.entry(firm).or_insert_with(|| Arc::new(Semaphore::new(self.at_once))))
        };
        // Nobody closes a line, so a turn always comes.
        Turn(line.acquire_owned().await.ok())
    }
}

#[cfg(test)]
mod tests {
    use domain::ids::FirmId;
    use futures_util::FutureExt as _;
    use uuid::Uuid;

    use super::{PUSHES, Turns};

    #[test]
    fn a_firm_waits_for_itself_and_for_nobody_else() {
        let turns = Turns::default();
        let (large, other) = (FirmId::of(Uuid::from_u128(1)), FirmId::of(Uuid::from_u128(2)));
        let mut held: Vec<_> = (0..PUSHES).map(|_| turns.push(large).now_or_never().expect("there is room")).collect();
        let mut waits = Box::pin(turns.push(large));
        assert!(waits.as_mut().now_or_never().is_none(), "one too many");
        assert!(turns.push(other).now_or_never().is_some(), "another firm");
        assert!(turns.project(large).now_or_never().is_some(), "another line");
        held.pop();
        assert!(turns.push(large).now_or_never().is_none(), "somebody stood there before");
        // Whoever gives up does not stand in the line any more.
        drop(waits);
        assert!(turns.push(large).now_or_never().is_some());
    }
}
