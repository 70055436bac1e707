//! The store and the sync of whoever is signed in: opened when they come, closed when somebody else does.

use super::device_key;
use super::driver::SyncHandle;

use crate::adapters::fetch::Api;
use crate::adapters::server::Server;
use crate::app::SyncStatus;
use crate::ports::local_store::StoreError;
use crate::ports::transport::{Access, Renewal};
use crate::refusal::Refusal;
use crate::session::{Session, Standing};
use crate::store::{JobStore, Who};
use gloo_timers::future::TimeoutFuture;
use leptos::prelude::*;
use leptos::task::spawn_local;
use std::rc::Rc;

/// A page that is just being left may hold the database for some seconds: so often it is tried again unasked.
const TRIES_UNASKED: u32 = 3;
const PAUSE_MS: u32 = 4_000;

/// What screens work with.
#[derive(Clone)]
pub struct Local {
    /// The job files.
    pub store: JobStore,
    /// Sending and fetching.
    pub sync: SyncHandle,
}

/// How far the opening is.
#[derive(Clone, Default)]
pub enum Opening {
    /// Nobody is signed in, or the database is being opened.
    #[default]
    NotYet,
    /// Open.
    Open(Local),
    /// It cannot be opened here and now.
    Failed(StoreError),
}

/// The context; `Copy`.
#[derive(Clone, Copy)]
pub struct Ground {
    opening: RwSignal<Opening, LocalStorage>,
    attempt: RwSignal<u32>,
    unasked: StoredValue<u32>,
}

/// The [`Ground`] of the app.
pub fn use_ground() -> Ground {
    expect_context::<Ground>()
}

/// Store and sync, once they are open. Tracked.
pub fn use_local() -> Option<Local> {
    use_ground().local()
}

impl Ground {
    /// Follows the session: called once, where contexts are provided.
    pub fn start(session: Session, api: Api, status: SyncStatus) -> Self {
        let (attempt, unasked) = (RwSignal::new(0), StoredValue::new(0));
        let this = Self { opening: RwSignal::new_local(Opening::NotYet), attempt, unasked };
        let who = Memo::new(move |_| {
            let profile = session.profile()?;
            Some(Who { firm: profile.firm.id, person: profile.person.id, device: profile.device })
        });
        let current = StoredValue::new(None);
        Effect::new(move |_| {
            this.attempt.track();
            this.close(status);
            current.set_value(who.get());
            if let Some(who) = who.get() {
                spawn_local(async move {
                    let opened = JobStore::open(who).await;
                    // Somebody else may have signed in while the browser opened it.
                    if current.get_value() != Some(who) || !matches!(this.opening.get_untracked(), Opening::NotYet) {
                        return;
                    }
                    let failed = opened.is_err();
                    this.opened(opened, api, status);
                    if failed && this.unasked.get_value() < TRIES_UNASKED {
                        this.unasked.update_value(|tries| *tries += 1);
                        TimeoutFuture::new(PAUSE_MS).await;
                        let still = matches!(this.opening.get_untracked(), Opening::Failed(_));
                        if still && current.get_value() == Some(who) {
                            this.try_again();
                        }
                    }
                });
            }
        });
        Effect::new(move |_| {
            if session.standing() == Standing::Open
                && let Some(local) = this.local()
            {
                local.sync.signed_in();
            }
        });
        Effect::new(move |_| {
            // What was recorded before there was a key goes first: from then on the server asks for signatures.
            let nothing_waits = status.word.with(Option::is_some) && status.waiting.get() == 0;
            if nothing_waits
                && session.standing() == Standing::Open
                && let Some(local) = this.local()
            {
                spawn_local(async move { device_key::tell(session, api, &local.store).await });
            }
        });
        this
    }

    /// How far the opening is. Tracked.
    pub fn opening(self) -> Opening {
        self.opening.get()
    }

    /// Store and sync, once they are open. Tracked.
    pub fn local(self) -> Option<Local> {
        match self.opening.get() {
            Opening::Open(local) => Some(local),
            Opening::NotYet | Opening::Failed(_) => None,
        }
    }

    /// A person asks to open it once more: the other window was closed, the disk has room again.
    pub fn try_again(self) {
        self.attempt.update(|attempt| *attempt += 1);
    }

    fn opened(self, store: Result<JobStore, StoreError>, api: Api, status: SyncStatus) {
        let store = match store {
            Ok(store) => store,
            Err(error) => return self.opening.set(Opening::Failed(error)),
        };
        let sync = SyncHandle::new(store.clone(), Rc::new(Server::new(access(api))));
        sync.start(move |word, counts| {
            if status.word.get_untracked() != word {
                status.word.set(word);
            }
            if status.waiting.get_untracked() != counts.waiting() {
                status.waiting.set(counts.waiting());
            }
        });
        let of = sync.clone();
        api.on_answer(move || of.sign_of_life());
        self.opening.set(Opening::Open(Local { store, sync }));
    }

    fn close(self, status: SyncStatus) {
        if let Opening::Open(local) = self.opening.get_untracked() {
            local.sync.stop();
        }
        self.opening.set(Opening::NotYet);
        status.word.set(None);
        status.waiting.set(0);
    }
}

fn access(api: Api) -> Access {
    Access {
        token: Rc::new(move || api.token()),
        renew: Rc::new(move |stale| {
            Box::pin(async move {
                match api.renew(stale).await {
                    Ok(()) => Renewal::Renewed,
                    Err(Refusal::SignIn) => Renewal::SignInNeeded,
                    Err(Refusal::NotOurs) => Renewal::NotOurServer,
                    Err(_) => Renewal::NoConnection,
                }
            })
        }),
    }
}
