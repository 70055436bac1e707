//! `GET /api/live`: a device that is open hears at once that something changed, and pulls it.
//!
//! Server-sent events without content: an event says "ask now" and nothing else, so a stream can lose, repeat or be cut without
//! harm, and whoever has none still asks at intervals. Every process listens to the database's notifications, so it does not matter
//! which one took the entry. An event goes to whoever may see the job: nobody learns of other people's work, not even its rhythm.

use std::collections::BTreeSet;
use std::convert::Infallible;
use std::sync::Arc;
use std::time::Duration;

use axum::extract::State;
use axum::response::Sse;
use axum::response::sse::{Event, KeepAlive};
use domain::ids::{FirmId, JobId, PersonId};
use domain::people::{Action, Ownership};
use futures_util::stream::{Stream, unfold};
use tokio::sync::broadcast::error::{RecvError, TryRecvError};
use tokio::sync::{Semaphore, broadcast, watch};
use tokio::task::JoinHandle;
use tokio::time::{Instant, sleep, sleep_until};

use crate::auth::Caller;
use crate::auth::tokens::ACCESS_S;
use crate::db::news;
use crate::error::ApiError;
use crate::job_files::project::project_dirty;
use crate::job_files::visible::{people_with_a_part, sees_all};
use crate::state::AppState;

/// News that a slow stream may be behind before it is told "ask now" for all of them at once.
const BEHIND_MAX: usize = 256;
/// Streams of one process. One more is told to come again; it asks at intervals meanwhile.
const STREAMS_MAX: usize = 2_000;
/// So long news gathers before an event goes out: a push of many entries is one event.
const GATHER: Duration = Duration::from_millis(100);
/// A comment so often, so that front servers and phones do not take a quiet stream for a dead one.
const SIGN_OF_LIFE: Duration = Duration::from_secs(15);
/// Jobs of which it is asked at the same time who sees them; each takes a connection.
const ASKED_AT_ONCE: usize = 4;
/// Until the database is listened to again after it went away.
const LISTEN_AGAIN: Duration = Duration::from_secs(1);
/// What somebody does whom the house cannot take now.
const COME_AGAIN: Duration = Duration::from_secs(30);

/// Something changed.
#[derive(Clone, Debug)]
enum News {
    /// A job of a firm, for these people and for whoever sees all jobs.
    Of(FirmId, Arc<BTreeSet<PersonId>>),
    /// What all devices of a firm hold.
    Firm(FirmId),
    /// It is not known what: notifications may have been missed.
    Anything,
}

/// Between the one who listens and the streams.
#[derive(Debug)]
pub struct Live {
    news: broadcast::Sender<News>,
    stopping: watch::Sender<bool>,
}

impl Default for Live {
    fn default() -> Self {
        Self { news: broadcast::Sender::new(BEHIND_MAX), stopping: watch::Sender::new(false) }
    }
}

impl Live {
    /// Ends all streams: the server is about to stop, and they would never end by themselves.
    pub fn end(&self) {
        self.stopping.send_replace(true);
    }

    fn tell(&self, news: News) {
        // Nobody may be there to hear it.
        let _ = self.news.send(news);
    }
}

/// Listens for as long as the server runs.
pub fn spawn(state: AppState) -> JoinHandle<()> {
    tokio::spawn(async move {
        loop {
            if let Err(error) = listen(&state).await {
                tracing::warn!("live news stand still: {error:#}");
            }
            sleep(LISTEN_AGAIN).await;
        }
    })
}

async fn listen(state: &AppState) -> anyhow::Result<()> {
    let turns = Arc::new(Semaphore::new(ASKED_AT_ONCE));
    let mut listener = state.db.listen(news::CHANNEL).await?;
    state.live.tell(News::Anything);
    loop {
        let Some(notification) = listener.try_recv().await? else {
            // The connection broke and comes back with the next call; what was said meanwhile is lost.
            state.live.tell(News::Anything);
            continue;
        };
        if state.live.news.receiver_count() == 0 {
            continue;
        }
        let Some((firm, job)) = news::parse(notification.payload()) else { continue };
        let Some(job) = job else {
            state.live.tell(News::Firm(firm));
            continue;
        };
        // One firm's long work holds up nobody else's news. The semaphore is never closed.
        let Ok(turn) = Arc::clone(&turns).acquire_owned().await else { continue };
        let state = state.clone();
        tokio::spawn(async move {
            let _turn = turn;
            match people_of(&state, firm, job).await {
                Ok(people) => state.live.tell(News::Of(firm, Arc::new(people))),
                Err(error) => {
                    tracing::warn!(%firm, %job, "who sees this job could not be asked: {error:#}");
                    state.live.tell(News::Anything);
                }
            }
        });
    }
}

/// Who sees a job because of their own part in it, before the entry that the news is about and after it: also whoever it takes the
/// job from is to ask.
async fn people_of(state: &AppState, firm: FirmId, job: JobId) -> Result<BTreeSet<PersonId>, ApiError> {
    let mut people: BTreeSet<PersonId> = BTreeSet::new();
    for is_projected in [false, true] {
        if is_projected {
            project_dirty(state, firm).await?;
        }
        let mut tx = state.db.begin_for_firm(firm).await?;
        people.extend(people_with_a_part(&mut tx, job).await?);
        tx.commit().await?;
    }
    Ok(people)
}

/// Opens a stream; its first event comes at once, for what was missed before it. It ends with the caller's access token.
///
/// # Errors
/// Nobody signed in, a person or device that was shut out, or [`ApiError::TooMany`] streams.
pub async fn follow_news(
    caller: Caller,
    State(state): State<AppState>,
) -> Result<Sse<impl Stream<Item = Result<Event, Infallible>>>, ApiError> {
    let tx = state.db.begin_for(&caller).await?;
    caller.may(Action::Sync, Ownership::Own)?;
    tx.commit().await?;
    if state.live.news.receiver_count() >= STREAMS_MAX {
        return Err(ApiError::TooMany(COME_AGAIN));
    }
    let follower = Follower {
        sees_all: sees_all(&caller),
        caller,
        news: state.live.news.subscribe(),
        stopping: state.live.stopping.subscribe(),
        until: Instant::now() + Duration::from_secs(ACCESS_S.unsigned_abs()),
        greeted: false,
    };
    let events = unfold(follower, async |mut follower| {
        let told = follower.next().await;
        told.then(|| (Ok(Event::default().event("news").data("ask")), follower))
    });
    Ok(Sse::new(events).keep_alive(KeepAlive::new().interval(SIGN_OF_LIFE)))
}

struct Follower {
    caller: Caller,
    sees_all: bool,
    news: broadcast::Receiver<News>,
    stopping: watch::Receiver<bool>,
    until: Instant,
    greeted: bool,
}

impl Follower {
    /// Waits for news that concern the caller; false when the stream is over.
    async fn next(&mut self) -> bool {
        if !core::mem::replace(&mut self.greeted, true) {
            return true;
        }
        loop {
            let heard = tokio::select! {
                heard = self.news.recv() => heard,
                _ = self.stopping.wait_for(|stopping| *stopping) => return false,
                () = sleep_until(self.until) => return false,
            };
            match heard {
                Ok(news) if !self.concerns(&news) => {}
                Ok(_) | Err(RecvError::Lagged(_)) => {
                    sleep(GATHER).await;
                    self.skip();
                    return true;
                }
                Err(RecvError::Closed) => return false,
            }
        }
    }

    fn concerns(&self, news: &News) -> bool {
        match news {
            News::Of(firm, people) => {
                *firm == self.caller.firm && (self.sees_all || people.contains(&self.caller.person))
            }
            News::Firm(firm) => *firm == self.caller.firm,
            News::Anything => true,
        }
    }

    /// Forgets what gathered: one question answers all of it.
    fn skip(&mut self) {
        while let Ok(_) | Err(TryRecvError::Lagged(_)) = self.news.try_recv() {}
    }
}
