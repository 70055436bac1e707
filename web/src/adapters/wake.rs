//! What makes an attempt to send worth while: the network came, the page is seen again, it came back from the cache. Each
//! is a hint only; none of them is believed.

use gloo_timers::callback::Timeout;
use std::cell::RefCell;
use std::future::poll_fn;
use std::rc::Rc;
use std::task::{Poll, Waker};
use wasm_bindgen::prelude::*;
use web_sys::{Event, EventTarget};

/// Listens until dropped.
pub struct WakeListener {
    places: Vec<(EventTarget, &'static str)>,
    listen: Closure<dyn FnMut(Event)>,
}

impl WakeListener {
    /// Calls `woke` at each such event.
    pub fn new(woke: impl Fn() + 'static) -> Self {
        let listen = Closure::<dyn FnMut(Event)>::new(move |_: Event| {
            if is_visible() {
                woke();
            }
        });
        let mut places: Vec<(EventTarget, &'static str)> = Vec::new();
        if let Some(window) = web_sys::window() {
            places.extend(["online", "pageshow", "focus"].map(|name| (EventTarget::from(window.clone()), name)));
            places.extend(window.document().map(|document| (EventTarget::from(document), "visibilitychange")));
        }
        for (target, name) in &places {
            // A listener that cannot be set is a hint less.
            let _ = target.add_event_listener_with_callback(name, listen.as_ref().unchecked_ref());
        }
        Self { places, listen }
    }
}

impl Drop for WakeListener {
    fn drop(&mut self) {
        for (target, name) in &self.places {
            let _ = target.remove_event_listener_with_callback(name, self.listen.as_ref().unchecked_ref());
        }
    }
}

/// Somebody looks at the page, as far as the browser says.
pub fn is_visible() -> bool {
    web_sys::window().and_then(|window| window.document()).is_none_or(|document| !document.hidden())
}

/// Something to wait for: a span of time, or a ring before it is over. A ring that comes early is not lost.
#[derive(Clone, Default)]
pub struct Bell(Rc<RefCell<(bool, Option<Waker>)>>);

impl Bell {
    /// Rings.
    pub fn ring(&self) {
        let waker = {
            let mut inner = self.0.borrow_mut();
            inner.0 = true;
            inner.1.take()
        };
        if let Some(waker) = waker {
            waker.wake();
        }
    }

    /// Waits for a ring, or so long.
    pub async fn wait(&self, ms: u32) {
        let of = self.clone();
        let _timer = Timeout::new(ms, move || of.ring());
        poll_fn(|context| {
            let mut inner = self.0.borrow_mut();
            if core::mem::take(&mut inner.0) {
                return Poll::Ready(());
            }
            inner.1 = Some(context.waker().clone());
            Poll::Pending
        })
        .await;
    }
}
