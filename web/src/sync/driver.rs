//! The loop. Its only await on the network is in [`SyncHandle::turn`]; everything before and after is the tray's word and
//! one local transaction.

use crate::adapters::file_bytes::FileBytes;
use crate::adapters::line;
use crate::adapters::locks;
use crate::adapters::storage::{self, StorageState};
use crate::adapters::wake::{Bell, Sign, WakeListener, is_visible};
use crate::ports::clock::{Clock, Ids};
use crate::ports::local_store::{LocalStore, StoreError};
use crate::ports::transport::{Outgoing, Transport};
use crate::store::{JobStore, KEEP_CONFIRMED_MS};
use domain::ids::{Hash32, JobId};
use domain::tray::{Answer, Counts, Elsewhere, HeldBack, PhotoAnswer, PhotoKey, PhotoStep, Probe, Request, Tray, Word};
use domain::wire::sync::{Pull, Push, SYNC_VERSION};
use leptos::prelude::{ArcRwSignal, GetUntracked, Set};
use leptos::task::spawn_local;
use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::rc::Rc;

/// An idle page that nobody sees looks so seldom; events wake it sooner.
const HIDDEN_SLEEP_MS: u32 = 30_000;
/// After the store itself failed.
const TROUBLE_SLEEP_MS: u32 = 5_000;
/// Until a stream of news is asked for again, and how often that span doubles while none can be had.
const FOLLOW_AGAIN_MS: u32 = 2_000;
const FOLLOW_DOUBLINGS: u32 = 5;
/// Freed when an answer of the server did not fit on the device.
const ROOM_FOR_ANSWERS: u64 = 16 * 1024 * 1024;

/// As much as a good preview and the facts of a day. A device without room for it has none for work.
const PROBE_BYTES: usize = 1024 * 1024;
const PROBE: &str = "witnessmark-probe";

/// What screens see of sync.
#[derive(Clone, Default)]
pub struct SyncView {
    /// The one word; `None` until the device has been looked through and the server, or its silence, been heard.
    pub word: ArcRwSignal<Option<Word>>,
    /// When our server last answered, device clock.
    pub last_contact_ms: ArcRwSignal<Option<u64>>,
    /// How far the device's clock is ahead of the server's.
    pub clock_ahead_ms: ArcRwSignal<Option<i64>>,
    /// The tray.
    pub counts: ArcRwSignal<Counts>,
    /// The tray by job.
    pub by_job: ArcRwSignal<BTreeMap<JobId, Counts>>,
    /// What the browser says of its storage.
    pub storage: ArcRwSignal<Option<StorageState>>,
    /// The store failed in the last turn.
    pub trouble: ArcRwSignal<Option<StoreError>>,
    /// The server says by itself when there is something new.
    pub is_live: ArcRwSignal<bool>,
    /// Photos that wait for Wi-Fi because the person wants it so.
    pub held_back: ArcRwSignal<HeldBack>,
    /// Another window of this browser has the turn to send, and has had it for a while.
    pub is_elsewhere: ArcRwSignal<bool>,
}

/// What a person's wish to send met.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wish {
    /// It is tried now.
    Tried,
    /// Another window had the turn; it is taken from it.
    TakenOver,
}

/// What a turn came to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Turn {
    /// Something was asked and answered: there may be more.
    Moved,
    /// Nothing to do now.
    Idle,
    /// The store failed: waiting comes first.
    Troubled,
}

/// Who is told of the word and the counts.
type Told = Rc<dyn Fn(Option<Word>, Counts)>;

struct Inner {
    store: JobStore,
    local: Rc<dyn LocalStore>,
    clock: Rc<dyn Clock>,
    ids: Rc<dyn Ids>,
    transport: Rc<dyn Transport>,
    tray: RefCell<Tray>,
    view: SyncView,
    bell: Bell,
    /// Rings when a new stream of news may be worth an attempt.
    to_follow: Bell,
    /// Revision of the store that the tray was filled from.
    filled_from: Cell<Option<u64>>,
    /// What is known of another window that has the turn.
    elsewhere: Cell<Elsewhere>,
    /// The photo whose slices are being sent: it is read from the store once and not for each slice.
    in_hand: RefCell<Option<(Hash32, FileBytes)>>,
    told: RefCell<Option<Told>>,
    is_stopped: Cell<bool>,
    listener: RefCell<Option<WakeListener>>,
}

/// A running sync. Clones are the same.
#[derive(Clone)]
pub struct SyncHandle(Rc<Inner>);

impl SyncHandle {
    /// Over a store and a way to the server; nothing runs yet.
    pub fn new(store: JobStore, transport: Rc<dyn Transport>) -> Self {
        Self(Rc::new(Inner {
            local: store.local(),
            clock: store.clock(),
            ids: store.ids(),
            store,
            transport,
            tray: RefCell::default(),
            view: SyncView::default(),
            bell: Bell::default(),
            to_follow: Bell::default(),
            filled_from: Cell::default(),
            elsewhere: Cell::default(),
            in_hand: RefCell::default(),
            told: RefCell::default(),
            is_stopped: Cell::default(),
            listener: RefCell::default(),
        }))
    }

    /// What screens see.
    pub fn view(&self) -> &SyncView {
        &self.0.view
    }

    /// A person asks for an attempt now; photos that are here by now go over any line.
    pub fn send_now(&self) -> Wish {
        line::release_photos(self.0.clock.now_ms());
        let mut elsewhere = self.0.elsewhere.get();
        let is_taken = elsewhere.ask();
        self.0.elsewhere.set(elsewhere);
        self.poke();
        if is_taken { Wish::TakenOver } else { Wish::Tried }
    }

    /// Somebody touches the device, or our server has answered something else: what rests after failures is tried within seconds.
    pub fn sign_of_life(&self) {
        // Not while the tray is being asked: then it is awake already.
        if let Ok(mut tray) = self.0.tray.try_borrow_mut()
            && tray.sign_of_life(self.0.clock.now_ms())
        {
            self.0.bell.ring();
        }
    }

    /// A person asks for an attempt now.
    pub fn poke(&self) {
        self.0.tray.borrow_mut().poke(self.0.clock.now_ms());
        self.0.bell.ring();
    }

    /// The person has signed in.
    pub fn signed_in(&self) {
        self.0.tray.borrow_mut().signed_in();
        self.show();
        self.0.bell.ring();
    }

    /// Asks what is new at once: a job was opened that may not be here, or somebody here has just changed reference data.
    pub fn ask_now(&self) {
        self.0.tray.borrow_mut().ask_now();
        self.sign_of_life();
        self.0.bell.ring();
    }

    /// Ends the loop after the turn under way.
    pub fn stop(&self) {
        self.0.is_stopped.set(true);
        self.0.transport.hang_up();
        self.0.to_follow.ring();
        self.0.listener.take();
        self.0.bell.ring();
    }

    /// Runs until [`SyncHandle::stop`]. `told` hears every new word.
    pub fn start(&self, told: impl Fn(Option<Word>, Counts) + 'static) {
        self.0.told.replace(Some(Rc::new(told)));
        let weak = Rc::downgrade(&self.0);
        self.0.listener.replace(Some(WakeListener::new(move |sign| {
            if let Some(inner) = weak.upgrade() {
                if sign == Sign::Touched {
                    return Self(inner).sign_of_life();
                }
                inner.transport.woke();
                // Not while the tray is being asked: then it is awake already.
                if let Ok(mut tray) = inner.tray.try_borrow_mut() {
                    tray.wake(inner.clock.now_ms());
                }
                inner.bell.ring();
                inner.to_follow.ring();
            }
        })));
        let bell = self.0.bell.clone();
        self.0.store.on_write(move || bell.ring());
        let weak = Rc::downgrade(&self.0);
        self.0.store.on_contact_elsewhere(move || {
            let Some(inner) = weak.upgrade() else { return };
            let mut elsewhere = inner.elsewhere.get();
            elsewhere.heard(inner.clock.monotonic_ms());
            inner.elsewhere.set(elsewhere);
            if let Ok(mut tray) = inner.tray.try_borrow_mut() {
                tray.heard_elsewhere(inner.clock.now_ms());
            }
        });
        let this = self.clone();
        spawn_local(async move {
            this.tidy_up().await;
            let that = this.clone();
            spawn_local(async move { that.try_store().await });
            this.run().await;
        });
        let this = self.clone();
        spawn_local(async move { this.follow_news().await });
    }

    /// Beside the loop: while somebody looks at the page, a stream says when there is something to ask for. Whatever becomes of the
    /// stream, the loop asks at intervals.
    async fn follow_news(&self) {
        // Browsers allow few connections to one server: one window of them follows.
        let lock = format!("witnessmark-live-{}", self.0.store.who().person);
        let mut failures = 0;
        while !self.0.is_stopped.get() {
            if is_visible() && self.0.tray.borrow().link().last_contact_ms().is_some() {
                let this = self.clone();
                let had_news = locks::if_free(&lock, async move { this.follow_once().await }).await;
                failures = if had_news == Some(true) { 0 } else { failures + 1 };
            }
            let wait = FOLLOW_AGAIN_MS << u32::min(failures, FOLLOW_DOUBLINGS);
            self.0.to_follow.wait(wait + self.0.ids.jitter() % FOLLOW_AGAIN_MS).await;
        }
    }

    /// Says whether anything came through the stream before it ended.
    async fn follow_once(&self) -> bool {
        let had_news = Cell::new(false);
        let live = |is_live: bool| {
            set_if_new(&self.0.view.is_live, is_live);
            // Not while the tray is being asked: it asks at its own time then.
            if let Ok(mut tray) = self.0.tray.try_borrow_mut() {
                tray.live(is_live, self.0.clock.now_ms(), self.0.ids.jitter());
            }
        };
        let news = || {
            if !had_news.replace(true) {
                live(true);
            }
            self.ask_now();
        };
        self.0.transport.follow(&news).await;
        live(false);
        self.0.bell.ring();
        had_news.get()
    }

    async fn run(&self) {
        let lock = format!("witnessmark-sync-{}", self.0.store.who().person);
        while !self.0.is_stopped.get() {
            let this = self.clone();
            let work = async move { this.pass().await };
            let pass = if self.0.elsewhere.get().takes_over(self.0.clock.monotonic_ms()) {
                locks::taken_over(&lock, work).await
            } else {
                locks::if_free(&lock, work).await
            };
            self.note_turn(pass.is_some());
            if pass.is_none() {
                // Another window sends; this one still shows what the store says.
                self.follow().await;
            }
            self.0.bell.wait(self.sleep_ms(pass)).await;
        }
    }

    fn note_turn(&self, was_ours: bool) {
        let (mut elsewhere, now_ms) = (self.0.elsewhere.get(), self.0.clock.monotonic_ms());
        if was_ours {
            elsewhere.had_turn();
        } else {
            elsewhere.shut_out(now_ms);
        }
        self.0.elsewhere.set(elsewhere);
        set_if_new(&self.0.view.is_elsewhere, elsewhere.is_told(now_ms));
    }

    fn sleep_ms(&self, pass: Option<Turn>) -> u32 {
        match pass {
            Some(Turn::Troubled) => TROUBLE_SLEEP_MS,
            Some(Turn::Idle | Turn::Moved) | None if is_visible() || self.0.tray.borrow().counts().waiting() > 0 => {
                u32::try_from(self.0.tray.borrow().sleep_ms()).unwrap_or(TROUBLE_SLEEP_MS)
            }
            Some(Turn::Idle | Turn::Moved) | None => HIDDEN_SLEEP_MS,
        }
    }

    async fn pass(&self) -> Turn {
        loop {
            // The line may have changed since the last slice.
            self.look_at_line();
            let turn = self.turn().await;
            if turn != Turn::Moved || self.0.is_stopped.get() {
                return turn;
            }
        }
    }

    fn look_at_line(&self) {
        let mut tray = self.0.tray.borrow_mut();
        tray.photos_go_by(line::photo_rule());
        set_if_new(&self.0.view.held_back, tray.held_back());
    }

    async fn follow(&self) {
        self.look_at_line();
        if self.is_stale() && self.fill().await.is_ok() {
            self.show();
        }
    }

    /// One question and its answer.
    pub async fn turn(&self) -> Turn {
        match self.try_turn().await {
            Ok(turn) => {
                self.0.view.trouble.set(None);
                turn
            }
            Err(error) => {
                // What the store holds counts, not what the tray believed.
                self.0.filled_from.set(None);
                self.0.view.trouble.set(Some(error));
                Turn::Troubled
            }
        }
    }

    async fn try_turn(&self) -> Result<Turn, StoreError> {
        if self.is_stale() {
            self.fill().await?;
            self.show();
        }
        let now_ms = self.0.clock.now_ms();
        let next = self.0.tray.borrow().next_request(now_ms);
        let Some(request) = next else {
            self.0.in_hand.replace(None);
            return Ok(Turn::Idle);
        };
        self.0.tray.borrow_mut().begin(&request, now_ms);
        self.show();
        let answer = match self.outgoing(&request).await? {
            Ready::Send(outgoing) => self.0.transport.send(outgoing).await,
            Ready::Answer(answer) => answer,
            Ready::LookAgain => {
                self.0.filled_from.set(None);
                return Ok(Turn::Idle);
            }
        };
        if let Answer::Pull(reply) = &answer
            && let Some(number) = reply.drawn_number
        {
            self.0.store.keep_drawn_number(number).await;
        }
        let now_ms = self.0.clock.now_ms();
        let plan = self.0.tray.borrow_mut().take_reply(&request, answer, now_ms, self.0.ids.jitter());
        if self.0.tray.borrow().link().last_contact_ms() == Some(now_ms) {
            self.0.store.tell_contact();
        }
        if !plan.writes.is_empty() {
            let jobs = match self.0.local.apply(plan.clone()).await {
                Err(StoreError::QuotaExceeded) => {
                    self.free(ROOM_FOR_ANSWERS).await?;
                    self.0.local.apply(plan).await?
                }
                result => result?,
            };
            self.0.store.changed(jobs);
            self.fill().await?;
        }
        self.show();
        Ok(Turn::Moved)
    }

    fn is_stale(&self) -> bool {
        self.0.filled_from.get() != Some(self.0.store.revision().get_untracked())
    }

    async fn fill(&self) -> Result<(), StoreError> {
        // Read before the store is: a write in between then shows as one more revision.
        let revision = self.0.store.revision().get_untracked();
        let here = self.0.local.on_device().await?;
        self.0.tray.borrow_mut().refill(here);
        self.0.filled_from.set(Some(revision));
        Ok(())
    }

    async fn outgoing(&self, request: &Request) -> Result<Ready, StoreError> {
        let device = self.0.store.who().device;
        Ok(Ready::Send(match request {
            Request::Push(ids) => {
                let envelopes: Option<Vec<_>> = self.0.local.envelopes(ids.clone()).await?.into_iter().collect();
                // An entry that went away meanwhile (its job was dropped in another window): describe the device anew.
                let Some(envelopes) = envelopes else { return Ok(Ready::LookAgain) };
                let entries = envelopes.into_iter().map(Into::into).collect();
                Outgoing::Push(Push { version: SYNC_VERSION, device, entries })
            }
            Request::Pull { epoch, have, also, waiting, written } => Outgoing::Pull(Pull {
                version: SYNC_VERSION,
                device,
                epoch: epoch.clone().into(),
                have: have.clone(),
                also: also.clone(),
                waiting: *waiting,
                written: written.clone(),
            }),
            Request::Reference => Outgoing::Reference,
            Request::Method(method) => Outgoing::Method(method.clone()),
            Request::Photo(key, PhotoStep::Create { bytes }) => Outgoing::CreateUpload(*key, *bytes),
            Request::Photo(key, PhotoStep::Ask { upload }) => Outgoing::AskUpload(*key, upload.clone()),
            Request::Photo(key, PhotoStep::Send { upload, from, to }) => match self.photo(key).await? {
                Some(bytes) if bytes.len() >= *to => Outgoing::SendSlice {
                    key: *key,
                    upload: upload.clone(),
                    from: *from,
                    slice: bytes.slice(*from, *to),
                },
                Some(_) | None => return Ok(Ready::Answer(Answer::Photo(PhotoAnswer::BytesLost))),
            },
        }))
    }

    async fn photo(&self, key: &PhotoKey) -> Result<Option<FileBytes>, StoreError> {
        if let Some((hash, bytes)) = &*self.0.in_hand.borrow()
            && *hash == key.hash
        {
            return Ok(Some(bytes.clone()));
        }
        let bytes = self.0.local.photo_bytes(key.hash).await?;
        self.0.in_hand.replace(bytes.clone().map(|bytes| (key.hash, bytes)));
        Ok(bytes)
    }

    /// At start: the browser is asked to keep what it holds, and confirmed originals past their time go.
    async fn tidy_up(&self) {
        self.0.store.read_drawn_number().await;
        self.0.view.storage.set(Some(storage::ask_to_persist().await));
        // Nothing depends on it: the next start tries again.
        let _ = self.free(0).await;
    }

    /// A real write, read back and removed: the browser's figures prove nothing. One window at a time, for all use one row; one that
    /// a kill left behind is written over by the next start.
    async fn try_store(&self) {
        let this = self.clone();
        let tried = async move {
            match this.0.store.probe(PROBE_BYTES).await {
                // As a save does: what the server has confirmed goes first.
                Some(Probe::Full) if this.free(ROOM_FOR_ANSWERS).await.is_ok_and(|freed| freed > 0) => {
                    this.0.store.probe(PROBE_BYTES).await
                }
                probe => probe,
            }
        };
        let probe = locks::if_free(PROBE, tried).await.flatten();
        let state = self.0.view.storage.get_untracked().unwrap_or_default();
        self.0.view.storage.set(Some(StorageState { probe, ..state }));
    }

    async fn free(&self, at_least: u64) -> Result<u64, StoreError> {
        let limit = self.0.clock.now_ms().saturating_sub(KEEP_CONFIRMED_MS);
        self.0.local.free_space(limit, at_least).await
    }

    fn show(&self) {
        let (word, counts) = {
            let tray = self.0.tray.borrow();
            let view = &self.0.view;
            // "All sent" lets a person walk into a cellar without a network, so it also wants a server that has given all it has.
            let has_all = tray.has_all();
            let word = Some(tray.word()).filter(|word| has_all || *word != Word::Confirmed);
            set_if_new(&view.word, word);
            set_if_new(&view.counts, tray.counts());
            set_if_new(&view.by_job, tray.here().counts_by_job());
            set_if_new(&view.last_contact_ms, tray.link().last_contact_ms());
            set_if_new(&view.clock_ahead_ms, tray.link().clock_ahead_ms());
            set_if_new(&view.held_back, tray.held_back());
            (word, tray.counts())
        };
        let told = self.0.told.borrow().clone();
        if let Some(told) = told {
            told(word, counts);
        }
    }
}

enum Ready {
    Send(Outgoing),
    Answer(Answer),
    LookAgain,
}

fn set_if_new<T: PartialEq + Clone + Send + Sync + 'static>(signal: &ArcRwSignal<T>, value: T) {
    if signal.get_untracked() != value {
        signal.set(value);
    }
}
