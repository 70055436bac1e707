//! Transfers under way in this process. Whoever goes on with an upload first has the transfer before it put away what had arrived:
//! a phone comes back sooner than a server hears that its connection is dead, and what lay between would go over the line twice.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use domain::ids::PersonId;
use tokio::sync::watch;
use uuid::Uuid;

/// A store that takes longer is not waited for: the part then does not count, and its bytes come again.
const PUT_AWAY_WITHIN: Duration = Duration::from_secs(2);

/// Another person's key never meets: nobody can end what somebody else sends.
type Key = (Uuid, PersonId);

/// The transfers of this process. Those of another one are told by the row's lock, without being waited for.
#[derive(Clone, Debug, Default)]
pub struct Transfers(Arc<Mutex<HashMap<Key, Line>>>);

/// How to reach one that is under way.
#[derive(Clone, Debug)]
struct Line {
    stop: watch::Sender<bool>,
    /// Closed when it has ended.
    ended: watch::Receiver<()>,
}

/// One transfer, until this is dropped.
#[derive(Debug)]
pub(super) struct Transfer {
    all: Transfers,
    key: Key,
    stop: watch::Receiver<bool>,
    ended: Option<watch::Sender<()>>,
}

impl Transfers {
    /// Says that one begins. One of the same key that is still under way is no longer known here.
    pub(super) fn begin(&self, upload: Uuid, person: PersonId) -> Transfer {
        let (stop, stopped) = watch::channel(false);
        let (ending, ended) = watch::channel(());
        self.lines().insert((upload, person), Line { stop, ended });
        Transfer { all: self.clone(), key: (upload, person), stop: stopped, ended: Some(ending) }
    }

    /// Asks the one under way to put away what it has and to end, and waits for that, not for ever.
    pub(super) async fn end(&self, upload: Uuid, person: PersonId) {
        let line = self.lines().get(&(upload, person)).cloned();
        let Some(mut line) = line else { return };
        line.stop.send_replace(true);
        // Nothing is ever sent here: it ends as an error when the transfer does.
        let _ = tokio::time::timeout(PUT_AWAY_WITHIN, line.ended.changed()).await;
    }

    fn lines(&self) -> std::sync::MutexGuard<'_, HashMap<Key, Line>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Transfer {
    /// Returns once somebody wants to go on with this upload.
    pub(super) async fn stopped(&mut self) {
        if self.stop.wait_for(|stop| *stop).await.is_err() {
            // A newer one took the place without asking; the row's lock will tell.
            std::future::pending::<()>().await;
        }
    }
}

impl Drop for Transfer {
    fn drop(&mut self) {
        // The sender's end is what others wait for: first out of the list, so that nobody finds one that has ended.
        let Some(ended) = self.ended.take() else { return };
        let mut lines = self.all.lines();
        if lines.get(&self.key).is_some_and(|line| line.ended.same_channel(&ended.subscribe())) {
            lines.remove(&self.key);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn person(number: u128) -> PersonId {
        PersonId::of(Uuid::from_u128(number))
    }

    #[tokio::test]
    async fn whoever_goes_on_waits_until_what_came_is_put_away() {
        let (all, upload) = (Transfers::default(), Uuid::from_u128(1));
        let mut first = all.begin(upload, person(1));
        let put_away = Arc::new(Mutex::new(false));
        let working = tokio::spawn({
            let put_away = Arc::clone(&put_away);
            async move {
                first.stopped().await;
                tokio::task::yield_now().await;
                *put_away.lock().expect("nobody panics with it") = true;
                drop(first);
            }
        });
        all.end(upload, person(2)).await;
        assert!(!*put_away.lock().expect("nobody panics with it"), "another person ends nothing");
        all.end(upload, person(1)).await;
        assert!(*put_away.lock().expect("nobody panics with it"));
        working.await.expect("it ended");
        assert!(all.lines().is_empty(), "what has ended is forgotten");
        all.end(upload, person(1)).await;
    }

    #[tokio::test]
    async fn an_older_one_that_ends_late_does_not_hide_the_newer() {
        let (all, upload) = (Transfers::default(), Uuid::from_u128(1));
        let (older, mut newer) = (all.begin(upload, person(1)), all.begin(upload, person(1)));
        drop(older);
        assert_eq!(all.lines().len(), 1);
        let asked = all.clone();
        let asking = tokio::spawn(async move { asked.end(upload, person(1)).await });
        newer.stopped().await;
        drop(newer);
        asking.await.expect("it was not left waiting");
    }
}
