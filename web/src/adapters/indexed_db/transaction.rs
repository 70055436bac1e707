//! One transaction, and futures over its requests.

use crate::ports::local_store::StoreError;
use core::future::Future;
use core::pin::Pin;
use core::task::{Context, Poll, Waker};
use js_sys::{Array, Reflect};
use std::cell::RefCell;
use std::rc::Rc;
use wasm_bindgen::prelude::*;
use web_sys::{DomException, IdbDatabase, IdbIndex, IdbObjectStore, IdbRequest, IdbTransaction};

// `web-sys` knows the options of a transaction only behind its unstable flag; the method itself is old.
#[wasm_bindgen]
extern "C" {
    #[wasm_bindgen(extends = IdbDatabase)]
    type DatabaseWithOptions;
    #[wasm_bindgen(method, catch, js_name = transaction)]
    fn transaction_with(
        this: &DatabaseWithOptions,
        stores: &Array,
        mode: &str,
        options: &JsValue,
    ) -> Result<IdbTransaction, JsValue>;
}

/// What a transaction is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mode {
    /// Looks only.
    Read,
    /// Writes what can be had again: the end is reported once the browser has it.
    Write,
    /// Writes evidence: the end is reported once it is on the disk.
    Evidence,
}

/// A value that an event of the browser will bring.
struct Coming<T>(Rc<RefCell<(Option<T>, Option<Waker>)>>);

impl<T> Clone for Coming<T> {
    fn clone(&self) -> Self {
        Self(Rc::clone(&self.0))
    }
}

impl<T> Coming<T> {
    fn new() -> Self {
        Self(Rc::new(RefCell::new((None, None))))
    }

    fn bring(&self, value: T) {
        let waker = {
            let mut inner = self.0.borrow_mut();
            inner.0.get_or_insert(value);
            inner.1.take()
        };
        if let Some(waker) = waker {
            waker.wake();
        }
    }
}

impl<T> Future for Coming<T> {
    type Output = T;
    fn poll(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<T> {
        let mut inner = self.0.borrow_mut();
        match inner.0.take() {
            Some(value) => Poll::Ready(value),
            None => {
                inner.1 = Some(context.waker().clone());
                Poll::Pending
            }
        }
    }
}

type Handler = Closure<dyn FnMut(web_sys::Event)>;

fn handler(mut act: impl FnMut() + 'static) -> Handler {
    Closure::new(move |_: web_sys::Event| act())
}

/// A request under way. Its answer arrives while the transaction is still open for more.
pub(super) struct Asked {
    coming: Coming<Result<JsValue, StoreError>>,
    request: IdbRequest,
    _handlers: [Handler; 2],
}

impl Asked {
    pub(super) fn of(request: IdbRequest) -> Self {
        let coming = Coming::new();
        let (bring, of) = (coming.clone(), request.clone());
        let success = handler(move || bring.bring(of.result().map_err(|error| why(&error))));
        let (bring, of) = (coming.clone(), request.clone());
        let failure = handler(move || {
            let error = of.error().ok().flatten();
            bring.bring(Err(
                error.map_or_else(|| StoreError::Refused("a request failed".into()), |error| why_exception(&error))
            ));
        });
        request.set_onsuccess(Some(success.as_ref().unchecked_ref()));
        request.set_onerror(Some(failure.as_ref().unchecked_ref()));
        Self { coming, request, _handlers: [success, failure] }
    }
}

impl Future for Asked {
    type Output = Result<JsValue, StoreError>;
    fn poll(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Self::Output> {
        Pin::new(&mut self.coming).poll(context)
    }
}

impl Drop for Asked {
    fn drop(&mut self) {
        self.request.set_onsuccess(None);
        self.request.set_onerror(None);
    }
}

/// A transaction. Dropped before [`Transaction::commit`], nothing of it has happened.
pub(super) struct Transaction {
    raw: IdbTransaction,
    end: Coming<Result<(), StoreError>>,
    is_done: bool,
    _handlers: [Handler; 2],
}

impl Transaction {
    pub(super) fn begin(db: &IdbDatabase, stores: &[&str], mode: Mode) -> Result<Self, StoreError> {
        let names: Array = stores.iter().map(|name| JsValue::from_str(name)).collect();
        let options = js_sys::Object::new();
        let (mode, durability) = match mode {
            Mode::Read => ("readonly", "default"),
            Mode::Write => ("readwrite", "relaxed"),
            Mode::Evidence => ("readwrite", "strict"),
        };
        Reflect::set(&options, &"durability".into(), &durability.into()).map_err(|error| why(&error))?;
        let raw = db
            .unchecked_ref::<DatabaseWithOptions>()
            .transaction_with(&names, mode, &options)
            .map_err(|error| why(&error))?;
        let end = Coming::new();
        let bring = end.clone();
        let complete = handler(move || bring.bring(Ok(())));
        let (bring, of) = (end.clone(), raw.clone());
        // A full device shows here and often nowhere else: the request that hit the limit may carry no error at all.
        let abort = handler(move || {
            bring.bring(Err(of
                .error()
                .map_or_else(|| StoreError::Refused("aborted".into()), |error| why_exception(&error))));
        });
        raw.set_oncomplete(Some(complete.as_ref().unchecked_ref()));
        raw.set_onabort(Some(abort.as_ref().unchecked_ref()));
        Ok(Self { raw, end, is_done: false, _handlers: [complete, abort] })
    }

    fn store(&self, name: &str) -> Result<IdbObjectStore, StoreError> {
        self.raw.object_store(name).map_err(|error| why(&error))
    }

    fn index(&self, store: &str, index: &str) -> Result<IdbIndex, StoreError> {
        self.store(store)?.index(index).map_err(|error| why(&error))
    }

    pub(super) fn get(&self, store: &str, key: &str) -> Result<Asked, StoreError> {
        self.store(store)?.get(&key.into()).map(Asked::of).map_err(|error| why(&error))
    }

    pub(super) async fn all(&self, store: &str) -> Result<Vec<JsValue>, StoreError> {
        list(self.store(store)?.get_all().map(Asked::of).map_err(|error| why(&error))?).await
    }

    /// How many rows an index has for a value.
    pub(super) fn count_where(&self, store: &str, index: &str, is: &JsValue) -> Result<Asked, StoreError> {
        self.index(store, index)?.count_with_key(is).map(Asked::of).map_err(|error| why(&error))
    }

    pub(super) async fn keys(&self, store: &str) -> Result<Vec<String>, StoreError> {
        let keys = list(self.store(store)?.get_all_keys().map(Asked::of).map_err(|error| why(&error))?).await?;
        Ok(keys.iter().filter_map(JsValue::as_string).collect())
    }

    pub(super) async fn all_where(&self, store: &str, index: &str, is: &JsValue) -> Result<Vec<JsValue>, StoreError> {
        list(self.index(store, index)?.get_all_with_key(is).map(Asked::of).map_err(|error| why(&error))?).await
    }

    /// Puts a row into a store with keys of its own, or under `key` into one without.
    pub(super) fn put(&self, store: &str, row: &JsValue, key: Option<&str>) -> Result<(), StoreError> {
        let store = self.store(store)?;
        let request = match key {
            None => store.put(row),
            Some(key) => store.put_with_key(row, &key.into()),
        };
        // Whether it worked is told by the end of the transaction.
        request.map(drop).map_err(|error| why(&error))
    }

    pub(super) fn delete(&self, store: &str, key: &str) -> Result<(), StoreError> {
        self.store(store)?.delete(&key.into()).map(drop).map_err(|error| why(&error))
    }

    /// Waits until the browser says that all of it is kept.
    pub(super) async fn commit(mut self) -> Result<(), StoreError> {
        self.is_done = true;
        self.end.clone().await
    }
}

impl Drop for Transaction {
    fn drop(&mut self) {
        if !self.is_done {
            // An error here means that it has ended already, which is what is wanted.
            let _ = self.raw.abort();
        }
        self.raw.set_oncomplete(None);
        self.raw.set_onabort(None);
    }
}

async fn list(asked: Asked) -> Result<Vec<JsValue>, StoreError> {
    Ok(Array::from(&asked.await?).iter().collect())
}

/// What an error of the browser means.
pub(super) fn why(error: &JsValue) -> StoreError {
    match error.dyn_ref::<DomException>() {
        Some(exception) => why_exception(exception),
        None => StoreError::Refused(format!("{error:?}")),
    }
}

pub(super) fn why_exception(exception: &DomException) -> StoreError {
    match exception.name().as_str() {
        "QuotaExceededError" => StoreError::QuotaExceeded,
        // The first is what a closed handle says, the second what is said when the storage process was ended.
        "InvalidStateError" | "UnknownError" | "TransactionInactiveError" => StoreError::ConnectionLost,
        "VersionError" => StoreError::NewerData,
        name => StoreError::Refused(format!("{name}: {}", exception.message())),
    }
}
