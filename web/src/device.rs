//! What is on this device, for screens: [`Device`] folds the jobs of the person at work when they change, and writes.
//!
//! A screen says which job it follows and gets a signal of its [`JobView`]; it writes with [`Device::save`] and says "saved"
//! when the store has said so. A job is folded once for all screens and again only after something of it changed.
//!
//! **Never enters:** the network, a rule, words.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::future::Future;
use std::rc::Rc;
use std::sync::Arc;

use domain::electrical::rule_set::FirmRules;
use domain::ids::{EntryId, JobId, PersonId};
use domain::job_file::body::MethodRef;
use domain::job_file::{Body, JobFile};
use domain::method::Method;
use domain::tray::Counts;
use gloo_timers::future::TimeoutFuture;
use leptos::prelude::*;
use leptos::task::spawn_local;

use crate::adapters::fetch::Api;
use crate::app::SyncStatus;
use crate::features::job::load::{JobView, job_view_at};
use crate::i18n::{Lang, use_words};
use crate::ports::camera::PhotoRefusal;
use crate::ports::local_store::StoreError;
use crate::session::use_session;
use crate::store::{JobStore, LoadedJob, NewEntry, PhotographError, Reference, SaveError};
use crate::sync::{Ground, Opening};

/// How soon a job is looked at again whose gates may change by the clock alone.
const LOOK_AGAIN_MS: u32 = 20_000;

/// A job as a screen follows it.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum JobLoad {
    /// Being read.
    #[default]
    Waiting,
    /// Nothing of it is on this device.
    NotHere,
    /// Here.
    Here(Arc<JobView>),
    /// The store could not be read.
    Failed(StoreError),
}

impl JobLoad {
    /// The job, when it is here.
    pub fn view(&self) -> Option<&JobView> {
        match self {
            Self::Here(view) => Some(view),
            Self::Waiting | Self::NotHere | Self::Failed(_) => None,
        }
    }

    /// The job to keep, when it is here.
    pub fn here(self) -> Option<Arc<JobView>> {
        match self {
            Self::Here(view) => Some(view),
            Self::Waiting | Self::NotHere | Self::Failed(_) => None,
        }
    }
}

/// A job in a list.
#[derive(Clone, Debug, PartialEq)]
pub struct JobHere {
    /// The job.
    pub view: Arc<JobView>,
    /// What of it is not confirmed.
    pub counts: Counts,
}

/// How a write of a screen went.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub enum Saving {
    /// Nothing was written.
    #[default]
    Idle,
    /// Under way.
    Busy,
    /// The store has it on the disk.
    Saved(Saved),
    /// Nothing was written; what was to be written is still on the screen.
    Failed(Fault),
}

/// What is on the disk, and since when: "saved" alone says nothing where one thing after the other is saved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Saved {
    /// In the person's words.
    pub what: String,
    /// Device clock, microseconds since 1970.
    pub at_us: i64,
}

impl Saving {
    /// What was said of a save goes when something else begins; a save under way and a fault stay.
    pub fn let_go(saving: RwSignal<Self>) {
        if saving.try_with_untracked(|saving| matches!(saving, Self::Saved(_))) == Some(true) {
            saving.set(Self::Idle);
        }
    }
}

/// Why nothing was written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The store.
    Save(SaveError),
    /// The file is no photo.
    Photo(PhotoRefusal),
    /// The photo is staged, and a person should look at it first.
    Doubtful,
    /// The store is not open.
    NotOpen,
}

impl From<PhotographError> for Fault {
    fn from(error: PhotographError) -> Self {
        match error {
            PhotographError::Refused(refusal) => Self::Photo(refusal),
            PhotographError::NotSaved(error) => Self::Save(error),
            PhotographError::Doubtful(_) => Self::Doubtful,
        }
    }
}

impl From<SaveError> for Fault {
    fn from(error: SaveError) -> Self {
        Self::Save(error)
    }
}

impl From<StoreError> for Fault {
    fn from(error: StoreError) -> Self {
        Self::Save(SaveError::Store(error))
    }
}

/// A fold is the same while this is: entries never change, they only become more and get their stamps.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Fingerprint {
    entries: usize,
    unstamped: usize,
    lang: Lang,
    with_method: bool,
}

struct Folded {
    of: Fingerprint,
    at_us: u64,
    view: Arc<JobView>,
}

#[derive(Default)]
struct Inner {
    store: Option<JobStore>,
    methods: BTreeMap<MethodRef, Arc<Method>>,
    folded: BTreeMap<JobId, Folded>,
    /// Jobs that this page has noted as opened.
    opened: Vec<JobId>,
}

/// Drafts on their way to the disk. One is written at a time and the last text of each key counts: sealing takes longer for some
/// texts than for others, and an older one must never arrive last, nor a text after its deletion.
struct Drafts<S> {
    waiting: BTreeMap<String, (S, String)>,
    writing: bool,
}

impl<S> Default for Drafts<S> {
    fn default() -> Self {
        Self { waiting: BTreeMap::new(), writing: false }
    }
}

impl<S: Clone> Drafts<S> {
    /// True where somebody must begin to write.
    fn put(&mut self, key: String, into: S, text: String) -> bool {
        self.waiting.insert(key, (into, text));
        !core::mem::replace(&mut self.writing, true)
    }

    fn next(&mut self) -> Option<(String, S, String)> {
        let first = self.waiting.iter().next().map(|(key, (into, text))| (key.clone(), into.clone(), text.clone()));
        self.writing = first.is_some();
        first
    }

    /// This text has been written; what came meanwhile still waits.
    fn written(&mut self, key: &str, text: &str) {
        if self.text(key) == Some(text) {
            self.waiting.remove(key);
        }
    }

    /// What a key will hold.
    fn text(&self, key: &str) -> Option<&str> {
        self.waiting.get(key).map(|(_, text)| text.as_str())
    }
}

/// What is on this device; a context, `Copy`.
#[derive(Clone, Copy)]
pub struct Device {
    ground: Ground,
    drafts: StoredValue<Drafts<JobStore>, LocalStorage>,
    inner: StoredValue<Inner, LocalStorage>,
    reference: RwSignal<Option<Arc<Reference>>>,
    /// Reference data was looked for, whether or not there was any.
    looked: RwSignal<bool>,
}

/// Opens store and sync for whoever works here, and the [`Device`] over them, as contexts of the owner at hand: once.
pub fn lay_ground() {
    let ground = Ground::start(use_session(), expect_context::<Api>(), expect_context::<SyncStatus>());
    provide_context(ground);
    provide_context(Device::start(ground));
}

/// The [`Device`] of the app.
pub fn use_device() -> Device {
    expect_context::<Device>()
}

impl Device {
    /// Stands on the ground: called once, where contexts are provided.
    pub fn start(ground: Ground) -> Self {
        let inner = StoredValue::new_local(Inner::default());
        let drafts = StoredValue::new_local(Drafts::default());
        let this = Self { ground, drafts, inner, reference: RwSignal::default(), looked: RwSignal::new(false) };
        Effect::new(move |_| {
            let store = this.store();
            // Somebody else's folds and reference data are not for this person.
            if inner.with_value(|inner| inner.store != store) {
                inner.set_value(Inner { store: store.clone(), ..Inner::default() });
                this.reference.set(None);
                this.looked.set(false);
            }
            let Some(store) = store else { return };
            store.revision().track();
            spawn_local(async move { this.read_reference(&store).await });
        });
        this
    }

    /// Reference data changes seldom and everything's revision often: the version decides.
    async fn read_reference(self, store: &JobStore) {
        if let Ok(reference) = store.reference().await {
            let known = self.reference.with_untracked(|own| own.as_ref().map(|own| own.version));
            if reference.as_ref().map(|new| new.version) != known {
                self.reference.set(reference.map(Arc::new));
            }
        }
        // Whatever came of it: a page that waits for names and rules waits no longer.
        if !self.looked.get_untracked() {
            self.looked.set(true);
        }
    }

    /// The store, once it is open. Tracked.
    pub fn store(self) -> Option<JobStore> {
        self.ground.local().map(|local| local.store)
    }

    /// The store, if it is open now.
    pub fn store_now(self) -> Option<JobStore> {
        untrack(|| self.store())
    }

    fn failure(self) -> Option<StoreError> {
        match self.ground.opening() {
            Opening::Failed(error) => Some(error),
            Opening::NotYet | Opening::Open(_) => None,
        }
    }

    /// The person at work.
    pub fn person(self) -> Option<PersonId> {
        self.store_now().map(|store| store.who().person)
    }

    /// True once reference data was looked for in the store, whether or not there was any. Tracked.
    pub fn has_looked(self) -> bool {
        self.looked.get()
    }

    /// People, instruments, catalogue and methods. Tracked.
    pub fn reference(self) -> Option<Arc<Reference>> {
        self.reference.get()
    }

    /// All versions of the firm's own rule sets. Tracked.
    pub fn rule_sets(self) -> Vec<FirmRules> {
        self.reference().map(|reference| reference.rule_sets.clone()).unwrap_or_default()
    }

    /// Names of the firm's people. Tracked.
    pub fn people(self) -> Vec<(PersonId, String)> {
        let named = |reference: &Arc<Reference>| {
            reference.people.iter().map(|person| (person.id, person.display_name.clone())).collect()
        };
        self.reference.with(|reference| reference.as_ref().map(named).unwrap_or_default())
    }

    /// A new entry's id: made when a screen opens, so that a second tap is the same entry.
    pub fn new_entry_id(self) -> Option<EntryId> {
        self.store_now().map(|store| store.new_entry_id())
    }

    /// Follows one job: reads and folds it now and whenever something of it changes. `ask`: sync should fetch it although it may
    /// not be among the usual ones.
    pub fn follow(self, job: JobId, ask: bool) -> RwSignal<JobLoad> {
        let lang = use_words().lang;
        let into = RwSignal::new(JobLoad::Waiting);
        // A change while the job is being read must not be lost, nor may an older answer come last.
        let turn = Rc::new(Cell::new(0_u64));
        // A proof of dead ends by the clock alone.
        let proof_ended = RwSignal::new(0_u64);
        Effect::new(move |_| {
            proof_ended.track();
            let Some(store) = self.store() else {
                if let Some(error) = self.failure() {
                    into.set(JobLoad::Failed(error));
                }
                return;
            };
            // The whole store: the job's method may arrive after its entries, and the fold is kept while they are the same.
            store.revision().track();
            turn.set(turn.get() + 1);
            let (mine, turn) = (turn.get(), Rc::clone(&turn));
            spawn_local(async move {
                self.note_opened(&store, job, ask).await;
                let load = self.load(&store, job, lang).await;
                drop(store);
                let by_the_clock = load.view().is_some_and(|view| view.by_the_clock);
                if turn.get() == mine && into.try_with_untracked(|own| *own != load).unwrap_or(false) {
                    let _ = into.try_set(load);
                }
                if !by_the_clock {
                    return;
                }
                // Short: a page that slept must not show an old proof for long once it is looked at.
                TimeoutFuture::new(LOOK_AGAIN_MS).await;
                if turn.get() == mine {
                    let _ = proof_ended.try_update(|ended| *ended += 1);
                }
            });
        });
        into
    }

    async fn note_opened(self, store: &JobStore, job: JobId, ask: bool) {
        let known = self.inner.with_value(|inner| inner.opened.contains(&job));
        if !known {
            self.inner.update_value(|inner| inner.opened.push(job));
            // Only the order of a list depends on it.
            let _ = store.open_job(job, ask).await;
        }
    }

    async fn load(self, store: &JobStore, job: JobId, lang: Lang) -> JobLoad {
        let loaded = match store.load_job(job).await {
            Ok(loaded) => loaded,
            Err(error) => return JobLoad::Failed(error),
        };
        if loaded.file.is_empty() {
            return JobLoad::NotHere;
        }
        JobLoad::Here(self.fold(store, job, &loaded, lang).await)
    }

    async fn fold(self, store: &JobStore, job: JobId, loaded: &LoadedJob, lang: Lang) -> Arc<JobView> {
        let method = self.method(store, loaded).await;
        let of = Fingerprint {
            entries: loaded.file.len(),
            unstamped: loaded.file.iter().filter(|held| held.stamp.is_none()).count(),
            lang,
            with_method: method.is_some(),
        };
        let now_us = self.moment_of(store, &loaded.file);
        let holds = |folded: &Folded| {
            !folded.view.by_the_clock || now_us.abs_diff(folded.at_us) < u64::from(LOOK_AGAIN_MS) * 1_000 / 2
        };
        let known = self.inner.with_value(|inner| {
            let folded = inner.folded.get(&job).filter(|folded| folded.of == of && holds(folded));
            folded.map(|folded| Arc::clone(&folded.view))
        });
        if let Some(view) = known {
            return view;
        }
        let view =
            Arc::new(job_view_at(job, &loaded.file, method.as_deref(), lang.code(), (now_us, store.who().person)));
        let folded = Folded { of, at_us: now_us, view: Arc::clone(&view) };
        self.inner.update_value(|inner| {
            inner.folded.insert(job, folded);
        });
        view
    }

    /// The present moment as entries are placed in time: a clock that runs ahead of the server's would end every proof of dead at once.
    fn moment_of(self, store: &JobStore, file: &JobFile) -> u64 {
        let now_us = u64::try_from(self.now_us()).unwrap_or(0);
        now_us.saturating_sub(file.ahead_us(store.who().device))
    }

    async fn method(self, store: &JobStore, loaded: &LoadedJob) -> Option<Arc<Method>> {
        let pinned = loaded.file.iter().find_map(|held| match held.entry.body() {
            Some(Body::JobPlanned(plan)) => Some(plan.method.clone()),
            _ => None,
        })?;
        if let Some(known) = self.inner.with_value(|inner| inner.methods.get(&pinned).cloned()) {
            return Some(known);
        }
        let method = Arc::new(store.method(&pinned).await.ok()??);
        self.inner.update_value(|inner| {
            inner.methods.insert(pinned, Arc::clone(&method));
        });
        Some(method)
    }

    /// Follows every job on the device.
    pub fn follow_all(self) -> RwSignal<Option<Result<Vec<JobHere>, StoreError>>> {
        let lang = use_words().lang;
        let into = RwSignal::new(None::<Result<Vec<JobHere>, StoreError>>);
        let turn = Rc::new(Cell::new(0_u64));
        Effect::new(move |_| {
            let Some(store) = self.store() else {
                if let Some(error) = self.failure() {
                    into.set(Some(Err(error)));
                }
                return;
            };
            store.revision().track();
            turn.set(turn.get() + 1);
            let (mine, turn) = (turn.get(), Rc::clone(&turn));
            spawn_local(async move {
                // What is being read is not empty: the first jobs have just come.
                let looks_empty =
                    into.try_with_untracked(|own| matches!(own, Some(Ok(jobs)) if jobs.is_empty())).unwrap_or(false);
                if looks_empty && store.list_jobs().await.is_ok_and(|rows| !rows.is_empty()) && turn.get() == mine {
                    let _ = into.try_set(None);
                }
                let all = Some(self.load_all(&store, lang).await);
                if turn.get() == mine && into.try_with_untracked(|own| *own != all).unwrap_or(false) {
                    let _ = into.try_set(all);
                }
            });
        });
        into
    }

    async fn load_all(self, store: &JobStore, lang: Lang) -> Result<Vec<JobHere>, StoreError> {
        let mut all = Vec::new();
        for row in store.list_jobs().await? {
            if let JobLoad::Here(view) = self.load(store, row.job, lang).await {
                all.push(JobHere { view, counts: row.counts });
            }
        }
        Ok(all)
    }

    /// Writes entries; `saving` follows and says `what` in the end, and `then` runs once they are on the disk.
    pub fn save(
        self,
        job: JobId,
        entries: Vec<NewEntry>,
        saving: RwSignal<Saving>,
        what: impl Into<String>,
        then: impl FnOnce() + 'static,
    ) {
        self.run(saving, what, then, async move {
            let store = self.store_now().ok_or(Fault::NotOpen)?;
            store.write_entries(job, entries, Vec::new()).await.map(|_| ()).map_err(Fault::from)
        });
    }

    /// Runs something that writes; while one write of a screen is under way another one is not begun.
    pub fn run(
        self,
        saving: RwSignal<Saving>,
        what: impl Into<String>,
        then: impl FnOnce() + 'static,
        work: impl Future<Output = Result<(), Fault>> + 'static,
    ) {
        if saving.get_untracked() == Saving::Busy {
            return;
        }
        saving.set(Saving::Busy);
        let what = what.into();
        spawn_local(async move {
            let outcome = work.await;
            let done = outcome.is_ok();
            let at_us = self.now_us();
            // The screen may be gone: what was written stays written.
            let _ = saving.try_set(match outcome {
                Ok(()) => Saving::Saved(Saved { what, at_us }),
                Err(fault) => Saving::Failed(fault),
            });
            if done {
                then();
            }
        });
    }

    fn now_us(self) -> i64 {
        let ms = self.store_now().map_or(0, |store| store.clock().now_ms());
        i64::try_from(ms).unwrap_or_default() * 1_000
    }

    /// Is this entry in the job's file on this device?
    pub async fn is_written(self, job: JobId, id: EntryId) -> bool {
        let Some(store) = self.store_now() else { return false };
        store.load_job(job).await.is_ok_and(|loaded| loaded.file.get(id).is_some())
    }

    /// Keeps a draft; with each change, for a phone may end the page at any moment.
    pub fn keep_draft(self, key: String, text: String) {
        let Some(store) = self.store_now() else { return };
        if self.drafts.try_update_value(|drafts| drafts.put(key, store, text)) != Some(true) {
            return;
        }
        spawn_local(async move {
            while let Some((key, store, text)) = self.drafts.try_update_value(Drafts::next).flatten() {
                // A draft that could not be kept is still on the screen; a full disk is told where something is saved.
                let _ = if text.is_empty() {
                    store.delete_draft(&key).await
                } else {
                    store.put_draft(&key, text.clone().into_bytes()).await
                };
                self.drafts.try_update_value(|drafts| drafts.written(&key, &text));
            }
        });
    }

    /// A draft, if there is one.
    pub async fn draft(self, key: &str) -> Option<String> {
        let waiting = self.drafts.try_with_value(|drafts| drafts.text(key).map(str::to_owned)).flatten();
        if let Some(text) = waiting {
            return (!text.is_empty()).then_some(text);
        }
        let bytes = self.store_now()?.draft(key).await.ok()??;
        String::from_utf8(bytes).ok()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_text_of_a_draft_is_written_last() {
        let mut drafts = Drafts::default();
        assert!(drafts.put("note".into(), (), "a".into()), "somebody must begin");
        assert_eq!(drafts.next(), Some(("note".into(), (), "a".into())));
        assert!(!drafts.put("note".into(), (), String::new()), "deleted while the first text is still being sealed");
        assert_eq!(drafts.text("note"), Some(""), "whoever reads now reads the deletion");
        drafts.written("note", "a");
        assert_eq!(drafts.next(), Some(("note".into(), (), String::new())));
        drafts.written("note", "");
        assert_eq!(drafts.next(), None);
        assert!(drafts.put("note".into(), (), "b".into()), "and the next one begins anew");
    }

    #[test]
    fn what_was_said_of_a_save_goes_and_a_fault_stays() {
        let owner = Owner::new();
        owner.set();
        let after = |saving: Saving| {
            let signal = RwSignal::new(saving);
            Saving::let_go(signal);
            signal.get_untracked()
        };
        assert_eq!(after(Saving::Saved(Saved { what: "Way out".into(), at_us: 0 })), Saving::Idle);
        assert_eq!(after(Saving::Busy), Saving::Busy);
        assert_eq!(after(Saving::Failed(Fault::NotOpen)), Saving::Failed(Fault::NotOpen));
    }
}
