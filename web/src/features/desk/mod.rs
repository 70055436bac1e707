//! What the desks of lead and office share: job files followed through the store, downloads, pictures with the token.
//!
//! **Never enters:** rules; what a screen shows is decided in its own `view_model`.

pub mod checks;
pub mod shared;

use std::cell::{Cell, RefCell};
use std::collections::BTreeMap;
use std::future::Future;
use std::rc::Rc;
use std::sync::Arc;

use domain::ids::{EntryId, Hash32, JobId};
use domain::job_file::body::{JobPlanned, MediaType, MethodRef, PhotoFile};
use domain::job_file::{Body, JobFile};
use domain::method::Method;
use leptos::prelude::*;
use leptos::task::spawn_local;

use self::shared::{design_at_start, slots_ever};
use crate::adapters::browser;
use crate::adapters::fetch::{Api, Call, use_api};
use crate::adapters::save_file::{self, ObjectUrl};
use crate::device::use_device;
use crate::features::crew::saving::store_error;
use crate::features::job::load::{JobView, job_view};
use crate::i18n::format::Day;
use crate::i18n::{Words, use_words};
use crate::ports::local_store::StoreError;
use crate::refusal::Refusal;
use crate::store::{JobStore, NewEntry, SaveError};
use crate::sync::{Opening, use_ground};
use crate::t;
use crate::ui::{Banner, Button, Icon, Toasts, Tone, Waiting};

/// A job as it is on this device.
#[derive(Clone, Debug, PartialEq)]
pub struct DeskJob {
    /// Folded.
    pub view: JobView,
    /// Its method, once that is here.
    pub method: Option<Arc<Method>>,
    /// What the job pins.
    pub method_ref: Option<MethodRef>,
    /// The greatest slot number that it ever had.
    pub slots_ever: u16,
    /// The rule set that its plan names.
    pub rule_set: String,
    /// The design figures that stood when the work on site began; absent before that.
    pub planned: Option<Vec<(String, i64)>>,
    /// Anything of it is here.
    pub known: bool,
}

/// Methods that were read already, for as long as the page lives.
pub type Methods = Rc<RefCell<BTreeMap<MethodRef, Arc<Method>>>>;

/// What a job file pins; the first plan counts.
fn pinned_plan(file: &JobFile) -> Option<&JobPlanned> {
    let keys = file.order_keys();
    let plans = file.iter().filter_map(|held| match held.entry.body() {
        Some(Body::JobPlanned(plan)) => Some((keys.get(&held.entry.header.id).copied(), plan)),
        _ => None,
    });
    plans.min_by_key(|(key, _)| *key).map(|(_, plan)| plan)
}

/// A method from the store.
///
/// # Errors
/// [`StoreError`].
pub async fn method_of(
    store: &JobStore,
    wanted: &MethodRef,
    methods: &Methods,
) -> Result<Option<Arc<Method>>, StoreError> {
    if let Some(method) = methods.borrow().get(wanted) {
        return Ok(Some(Arc::clone(method)));
    }
    let Some(method) = store.method(wanted).await?.map(Arc::new) else { return Ok(None) };
    methods.borrow_mut().insert(wanted.clone(), Arc::clone(&method));
    Ok(Some(method))
}

/// Loads and folds one job.
///
/// # Errors
/// [`StoreError`].
pub async fn job_here(store: &JobStore, job: JobId, methods: &Methods, w: Words) -> Result<DeskJob, StoreError> {
    let loaded = store.load_job(job).await?;
    let plan = pinned_plan(&loaded.file);
    let method_ref = plan.map(|plan| plan.method.clone());
    let rule_set = plan.map(|plan| plan.rule_set.clone()).unwrap_or_default();
    let method = match &method_ref {
        Some(wanted) => method_of(store, wanted, methods).await?,
        None => None,
    };
    let view = job_view(job, &loaded.file, method.as_deref(), w.lang.code());
    Ok(DeskJob {
        view,
        method,
        method_ref,
        slots_ever: slots_ever(&loaded.file),
        rule_set,
        planned: design_at_start(&loaded.file),
        known: !loaded.file.is_empty(),
    })
}

/// Reads again each time that `revision` changes, one reading at a time; the signal changes only when what was read did.
pub fn follow<T, F>(revision: ArcRwSignal<u64>, into: RwSignal<Option<T>>, read: impl Fn() -> F + Clone + 'static)
where
    T: Clone + PartialEq + Send + Sync + 'static,
    F: Future<Output = Option<T>> + 'static,
{
    let (busy, again) = (Rc::new(Cell::new(false)), Rc::new(Cell::new(false)));
    Effect::new(move |_| {
        revision.track();
        if busy.replace(true) {
            again.set(true);
            return;
        }
        let (busy, again, read) = (Rc::clone(&busy), Rc::clone(&again), read.clone());
        spawn_local(async move {
            loop {
                again.set(false);
                let now = read().await;
                let same = into.try_with_untracked(|before| before.is_some() && *before == now);
                match (same, now) {
                    // The page is gone.
                    (None, _) => break,
                    (Some(false), Some(now)) => {
                        let _ = into.try_set(Some(now));
                    }
                    (Some(true), _) | (Some(false), None) => {}
                }
                if !again.get() {
                    break;
                }
            }
            busy.set(false);
        });
    });
}

/// One job, followed.
pub fn follow_job(store: &JobStore, job: JobId, w: Words) -> RwSignal<Option<Arc<DeskJob>>> {
    let into = RwSignal::new(None);
    let methods = Methods::default();
    let reader = store.clone();
    // A method that arrives is no change of the job.
    follow(store.revision(), into, move || {
        let (store, methods) = (reader.clone(), Rc::clone(&methods));
        async move { job_here(&store, job, &methods, w).await.ok().map(Arc::new) }
    });
    into
}

/// Why nothing was saved, in a sentence.
pub fn save_error(w: Words, error: &SaveError) -> String {
    match error {
        SaveError::Store(StoreError::QuotaExceeded) => t!(w, "desk.not_saved.full").to_owned(),
        SaveError::TooLarge => t!(w, "desk.not_saved.too_large").to_owned(),
        SaveError::OtherContent(_) => t!(w, "desk.not_saved.twice").to_owned(),
        SaveError::Store(_) | SaveError::ReadBack => t!(w, "desk.not_saved.store").to_owned(),
    }
}

/// Writes entries; ids that a screen made when it opened make a second tap the same entry.
///
/// # Errors
/// [`SaveError`].
pub async fn write(store: &JobStore, job: JobId, entries: Vec<(Option<EntryId>, Body)>) -> Result<(), SaveError> {
    let entries = entries.into_iter().map(|(id, body)| NewEntry { id, body }).collect();
    store.write_entries(job, entries, Vec::new()).await.map(|_| ())
}

/// Today where this browser is.
pub fn today() -> Day {
    let now = browser::now_us();
    Day::of_us(now, browser::offset_minutes(now))
}

/// A moment of an entry, as local time of this browser.
pub fn moment(w: Words, at_us: u64) -> String {
    let us = i64::try_from(at_us).unwrap_or(i64::MAX);
    w.moment(us, browser::offset_minutes(us))
}

/// Fetches a file with the token and hands it over.
///
/// # Errors
/// [`Refusal`].
pub async fn download(api: Api, path: String, file: &str) -> Result<(), Refusal> {
    let answer = api.send(Call::new("GET", path).patient()).await?;
    let media = answer.header("content-type").unwrap_or_else(|| "application/octet-stream".to_owned());
    if save_file::save(file, &media, &answer.body) { Ok(()) } else { Err(Refusal::Damaged) }
}

/// A button that fetches a file. What the server refuses is told above the page.
#[component]
pub fn DownloadButton(
    /// The word on it.
    #[prop(into)]
    label: String,
    /// Address at the server.
    path: String,
    /// Name of the file.
    file: String,
) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let toasts = expect_context::<Toasts>();
    let busy = RwSignal::new(false);
    let fetch = move || {
        busy.set(true);
        let (path, file) = (path.clone(), file.clone());
        spawn_local(async move {
            if let Err(refusal) = download(api, path, &file).await {
                toasts.say(refusal.tell(w));
            }
            let _ = busy.try_set(false);
        });
    };
    view! { <Button label icon=Icon::Document busy on_press=fetch /> }
}

/// Where a picture is on its way to the screen.
#[derive(Clone)]
enum Picture {
    Waiting,
    Here(Rc<ObjectUrl>),
    NotHere,
    /// Its bytes are somewhere, and nothing here or at the server makes a picture of them.
    NotShown,
}

const fn media_word(media: MediaType) -> &'static str {
    match media {
        MediaType::Jpeg => "image/jpeg",
        MediaType::Png => "image/png",
        MediaType::Webp => "image/webp",
        MediaType::Heif => "image/heif",
    }
}

/// A photo of a job: from this device where it is here, else the server's upright derivative, else the preview.
#[component]
pub fn Photo(
    /// The store.
    store: Store,
    /// The job that names it.
    job: JobId,
    /// The untouched file.
    original: PhotoFile,
    /// Its preview.
    preview: Option<PhotoFile>,
    /// What it shows.
    #[prop(into)]
    label: String,
) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let picture = RwSignal::new_local(Picture::Waiting);
    let large = RwSignal::new(false);
    let store = store.get();
    spawn_local(async move {
        let found = find_picture(&store, api, job, &original, preview.as_ref()).await;
        let _ = picture.try_set(found);
    });
    move || match picture.get() {
        Picture::Waiting => view! { <div class="photo waiting" role="status">{t!(w, "ui.loading")}</div> }.into_any(),
        Picture::NotHere => view! { <div class="photo none">{t!(w, "desk.photo_not_here")}</div> }.into_any(),
        Picture::NotShown => view! { <div class="photo none">{t!(w, "desk.photo_not_shown")}</div> }.into_any(),
        Picture::Here(url) => {
            let (address, alt) = (url.address().to_owned(), label.clone());
            view! {
                <button type="button" class="photo" class:large=move || large.get() aria-pressed=move || large.get().to_string()
                    title=t!(w, "desk.photo_size") on:click=move |_| large.update(|large| *large = !*large)>
                    <img src=address alt=alt loading="lazy" on:error=move |_| picture.set(Picture::NotShown) />
                </button>
            }
            .into_any()
        }
    }
}

async fn find_picture(
    store: &JobStore,
    api: Api,
    job: JobId,
    original: &PhotoFile,
    preview: Option<&PhotoFile>,
) -> Picture {
    let here = |url: ObjectUrl| Picture::Here(Rc::new(url));
    for file in preview.into_iter().chain([original]) {
        if let Ok(Some(bytes)) = store.photo_bytes(file.hash).await {
            return ObjectUrl::of(media_word(file.media), &bytes.to_vec()).map_or(Picture::NotHere, here);
        }
    }
    let derivative = |hash: Hash32| format!("/api/jobs/{job}/photos/{hash}/upright");
    let mut paths = vec![derivative(original.hash)];
    paths.extend(preview.map(|file| format!("/api/jobs/{job}/photos/{}", file.hash)));
    let mut found = Picture::NotHere;
    for path in paths {
        match api.send(Call::new("GET", path)).await {
            Ok(answer) => {
                let media = answer.header("content-type").unwrap_or_else(|| "image/jpeg".to_owned());
                return ObjectUrl::of(&media, &answer.body).map_or(Picture::NotHere, here);
            }
            Err(Refusal::Problem { code, .. }) if code == "no_view" => found = Picture::NotShown,
            Err(_) => {}
        }
    }
    found
}

/// The store of the page, as a value that closures of a view can hold; `Copy`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Store(StoredValue<JobStore, LocalStorage>);

impl Store {
    /// Holds a store for as long as the part of the page that asks stands.
    pub fn of(store: JobStore) -> Self {
        Self(StoredValue::new_local(store))
    }

    /// The store itself.
    pub fn get(self) -> JobStore {
        self.0.get_value()
    }
}

/// Draws with the store once it is open and names and rules were looked for in it: else the page would move under whoever is about
/// to press when they come. Says why where it cannot be opened.
pub fn with_store(draw: impl Fn(Store) -> AnyView + Send + 'static) -> impl IntoView {
    let w = use_words();
    let (ground, device) = (use_ground(), use_device());
    move || match ground.opening() {
        Opening::NotYet => view! { <Waiting /> }.into_any(),
        Opening::Open(_) if !device.has_looked() => view! { <Waiting /> }.into_any(),
        Opening::Open(local) => draw(Store(StoredValue::new_local(local.store))),
        Opening::Failed(why) => store_shut(w, &why),
    }
}

/// The store of this device cannot be opened; a way to try once more, or what is lost.
pub fn store_shut(w: Words, why: &StoreError) -> AnyView {
    if *why == StoreError::KeyLost {
        let lost = store_error(w, why);
        return view! { <Banner tone=Tone::Stop><p>{lost}</p></Banner> }.into_any();
    }
    let ground = use_ground();
    let words = match why {
        StoreError::NewerData | StoreError::QuotaExceeded => store_error(w, why),
        _ => t!(w, "device.store_shut"),
    };
    view! {
        <Banner tone=Tone::Stop>
            <p>{words}</p>
            <Button label=t!(w, "ui.retry") on_press=move || ground.try_again() />
        </Banner>
    }
    .into_any()
}
