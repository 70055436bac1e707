//! Object stores, and one upgrade step a version. Steps are additive, so that the app of yesterday can still read.

use super::transaction::{Asked, why};
use crate::ports::local_store::StoreError;
use core::future::poll_fn;
use core::task::{Poll, Waker};
use gloo_timers::callback::Timeout;
use gloo_timers::future::TimeoutFuture;
use std::cell::{Cell, RefCell};
use std::rc::Rc;
use wasm_bindgen::prelude::*;
use web_sys::{IdbDatabase, IdbObjectStoreParameters, IdbOpenDbRequest, IdbTransaction};

/// Key `id`; `{id, job, open?, row}`. `open` is there while the entry is not confirmed, so that its index is the tray.
pub(super) const ENTRIES: &str = "entries";
/// Key `job`; `{job, position, asked, opened_ms}`.
pub(super) const JOBS: &str = "jobs";
/// Key `key` (job and hash); `{key, job, hash, open?, row}`.
pub(super) const PHOTOS: &str = "photos";
/// Key: hash in hex; bytes as an `ArrayBuffer`, never a `Blob`: some browsers lose what a stored `Blob` points at.
pub(super) const PHOTO_BYTES: &str = "photo_bytes";
/// Key: text; bytes. What screens were in the middle of.
pub(super) const DRAFTS: &str = "drafts";
/// Key: text; bytes. Reference data, methods, epoch, preferences.
pub(super) const KV: &str = "kv";

/// Key: text; a key of the browser. Its bytes cannot be read, and it leaves with this database only.
pub(super) const KEYS: &str = "keys";

/// Index over the job.
pub(super) const BY_JOB: &str = "job";
/// Index over what is not confirmed.
pub(super) const BY_OPEN: &str = "open";

/// From one version of the database to the next.
type Step = fn(&IdbDatabase, &IdbTransaction) -> Result<(), JsValue>;
/// Versions of the database, each with its step.
const STEPS: [Step; 2] = [first, second];

fn first(db: &IdbDatabase, _: &IdbTransaction) -> Result<(), JsValue> {
    let with_key = |name: &str, key: &str| {
        let parameters = IdbObjectStoreParameters::new();
        parameters.set_key_path(&key.into());
        db.create_object_store_with_optional_parameters(name, &parameters)
    };
    let entries = with_key(ENTRIES, "id")?;
    entries.create_index_with_str(BY_JOB, "job")?;
    entries.create_index_with_str(BY_OPEN, "open")?;
    with_key(JOBS, "job")?;
    let photos = with_key(PHOTOS, "key")?;
    photos.create_index_with_str(BY_JOB, "job")?;
    photos.create_index_with_str(BY_OPEN, "open")?;
    for name in [PHOTO_BYTES, DRAFTS, KV] {
        db.create_object_store(name)?;
    }
    Ok(())
}

fn second(db: &IdbDatabase, _: &IdbTransaction) -> Result<(), JsValue> {
    db.create_object_store(KEYS).map(drop)
}

/// An open database, and whether it is still so.
#[derive(Clone)]
pub(super) struct Handle {
    pub(super) db: IdbDatabase,
    pub(super) is_dead: Rc<Cell<bool>>,
}

/// The result until it is fetched, who waits for it, and whether it was there already.
type Opening = Rc<RefCell<(Option<Result<Handle, StoreError>>, Option<Waker>, bool)>>;

/// A page that was put to sleep in the middle of its own opening holds up every later one, and nothing tells of it.
const OPENS_WITHIN_MS: u32 = 8_000;
const DELETES_WITHIN_MS: u32 = 4_000;

/// The first word counts; a database that comes after it is closed again.
fn settle(opening: &Opening, result: Result<Handle, StoreError>) {
    let waker = {
        let mut opening = opening.borrow_mut();
        if opening.2 {
            if let Ok(late) = result {
                late.db.close();
            }
            return;
        }
        opening.2 = true;
        opening.0 = Some(result);
        opening.1.take()
    };
    if let Some(waker) = waker {
        waker.wake();
    }
}

/// A browser may put a page that is left to sleep, with what it had open. A database that is open there is in nobody's way, but one
/// that was just being made holds up every later page without end, and nothing tells of it. So a page that is left lets go of all.
#[derive(Default)]
struct Held {
    is_left: bool,
    open: Vec<Handle>,
    being_made: Option<IdbTransaction>,
}

thread_local! {
    static HELD: RefCell<Held> = RefCell::default();
    static LISTENS: Cell<bool> = const { Cell::new(false) };
}

/// Listens for it, once.
fn let_go_when_left() {
    let Some(window) = web_sys::window().filter(|_| !LISTENS.replace(true)) else { return };
    let leave = Closure::<dyn FnMut()>::new(|| {
        let Held { open, being_made, .. } = HELD.replace(Held { is_left: true, ..Held::default() });
        for handle in open {
            handle.is_dead.set(true);
            handle.db.close();
        }
        if let Some(transaction) = being_made {
            // One that is over already cannot be aborted, which is as good.
            let _ = transaction.abort();
        }
    });
    let come_back = Closure::<dyn FnMut()>::new(|| HELD.with_borrow_mut(|held| held.is_left = false));
    for (event, listener) in [("pagehide", &leave), ("pageshow", &come_back)] {
        // A page that cannot listen is as it was before there was this.
        let _ = window.add_event_listener_with_callback(event, listener.as_ref().unchecked_ref());
    }
    // Both live as long as the page.
    leave.forget();
    come_back.forget();
}

/// Opens the database of that name, upgraded to the newest version.
pub(super) async fn open(name: &str) -> Result<Handle, StoreError> {
    let_go_when_left();
    if HELD.with_borrow(|held| held.is_left) {
        return Err(StoreError::Blocked);
    }
    let factory =
        web_sys::window().and_then(|window| window.indexed_db().ok().flatten()).ok_or(StoreError::NoDatabase)?;
    let version = u32::try_from(STEPS.len()).expect("a handful of versions");
    let request = factory.open_with_u32(name, version).map_err(|error| why(&error))?;
    let opening: Opening = Rc::default();

    let of = request.clone();
    let upgrade =
        Closure::<dyn FnMut(web_sys::IdbVersionChangeEvent)>::new(move |event: web_sys::IdbVersionChangeEvent| {
            let is_left = HELD.with_borrow_mut(|held| {
                held.being_made = of.transaction();
                held.is_left
            });
            if (is_left || upgrade_from(&of, event.old_version()).is_err())
                && let Some(transaction) = of.transaction()
            {
                // Half an upgrade is worse than none; the open request then fails and says so.
                let _ = transaction.abort();
            }
        });
    let (of, to) = (request.clone(), Rc::clone(&opening));
    let success = Closure::<dyn FnMut(web_sys::Event)>::new(move |_: web_sys::Event| {
        let opened = of.result().map(JsCast::unchecked_into::<IdbDatabase>).map_err(|error| why(&error)).map(watch);
        HELD.with_borrow_mut(|held| {
            held.being_made = None;
            held.open.retain(|handle| !handle.is_dead.get());
            if let Ok(handle) = &opened {
                if held.is_left {
                    handle.is_dead.set(true);
                    handle.db.close();
                } else {
                    held.open.push(handle.clone());
                }
            }
        });
        settle(&to, opened);
    });
    let (of, to) = (request.clone(), Rc::clone(&opening));
    let failure = Closure::<dyn FnMut(web_sys::Event)>::new(move |_: web_sys::Event| {
        HELD.with_borrow_mut(|held| held.being_made = None);
        let error = of.error().ok().flatten();
        settle(&to, Err(error.map_or(StoreError::NoDatabase, |error| super::transaction::why_exception(&error))));
    });
    let to = Rc::clone(&opening);
    let blocked =
        Closure::<dyn FnMut(web_sys::Event)>::new(move |_: web_sys::Event| settle(&to, Err(StoreError::Blocked)));
    let to = Rc::clone(&opening);
    let patience = Timeout::new(OPENS_WITHIN_MS, move || settle(&to, Err(StoreError::Blocked)));
    request.set_onupgradeneeded(Some(upgrade.as_ref().unchecked_ref()));
    request.set_onsuccess(Some(success.as_ref().unchecked_ref()));
    request.set_onerror(Some(failure.as_ref().unchecked_ref()));
    request.set_onblocked(Some(blocked.as_ref().unchecked_ref()));

    let result = poll_fn(|context| {
        let mut opening = opening.borrow_mut();
        match opening.0.take() {
            Some(result) => Poll::Ready(result),
            None => {
                opening.1 = Some(context.waker().clone());
                Poll::Pending
            }
        }
    })
    .await;
    drop(patience);
    if matches!(result, Err(StoreError::Blocked)) {
        // It may still open; somebody must be there to make it and to close it then.
        upgrade.forget();
        success.forget();
        failure.forget();
        blocked.forget();
        return result;
    }
    request.set_onupgradeneeded(None);
    request.set_onsuccess(None);
    request.set_onerror(None);
    request.set_onblocked(None);
    result
}

/// Deletes the database of that name. Windows that have it open let go of it; one that sleeps over it is not waited for long: it
/// is deleted then as soon as that one has ended.
pub(super) async fn delete(name: &str) -> Result<(), StoreError> {
    let factory =
        web_sys::window().and_then(|window| window.indexed_db().ok().flatten()).ok_or(StoreError::NoDatabase)?;
    let mut gone = core::pin::pin!(Asked::of(factory.delete_database(name).map_err(|error| why(&error))?.into()));
    let mut patience = core::pin::pin!(TimeoutFuture::new(DELETES_WITHIN_MS));
    poll_fn(|context| match gone.as_mut().poll(context) {
        Poll::Ready(gone) => Poll::Ready(gone.map(drop)),
        Poll::Pending => patience.as_mut().poll(context).map(|()| Err(StoreError::Blocked)),
    })
    .await
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "versions are small whole numbers")]
fn upgrade_from(request: &IdbOpenDbRequest, old: f64) -> Result<(), JsValue> {
    let db: IdbDatabase = request.result()?.unchecked_into();
    let transaction = request.transaction().ok_or(JsValue::UNDEFINED)?;
    STEPS.iter().skip(old as usize).try_for_each(|step| step(&db, &transaction))
}

/// Gives way to a newer version in another window, and notices when the browser takes the database away.
fn watch(db: IdbDatabase) -> Handle {
    let is_dead = Rc::new(Cell::new(false));
    let (of, dead) = (db.clone(), Rc::clone(&is_dead));
    let give_way = Closure::<dyn FnMut(web_sys::Event)>::new(move |_: web_sys::Event| {
        dead.set(true);
        of.close();
    });
    let dead = Rc::clone(&is_dead);
    let taken = Closure::<dyn FnMut(web_sys::Event)>::new(move |_: web_sys::Event| dead.set(true));
    db.set_onversionchange(Some(give_way.as_ref().unchecked_ref()));
    db.set_onclose(Some(taken.as_ref().unchecked_ref()));
    // Both live as long as the database, of which there are a few in the life of a page.
    give_way.forget();
    taken.forget();
    Handle { db, is_dead }
}
