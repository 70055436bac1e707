//! What makes an attempt to send worth while: the network came, the page is seen again, it came back from the cache, somebody touches it.
//! Each is a hint only; none of them is believed.

use gloo_timers::callback::Timeout;
use std::cell::RefCell;
use std::future::poll_fn;
use std::rc::Rc;
use std::task::{Poll, Waker};
use wasm_bindgen::prelude::*;
use web_sys::{Event, EventTarget};

/// Of a network that comes a page hears that nobody looks at, too.
const ONLINE: &str = "online";
const TOUCHES: [&str; 2] = ["pointerdown", "keydown"];

/// What was heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sign {
    /// The network, or the page, has come.
    Woke,
    /// Somebody touches the device.
    Touched,
}

/// Listens until dropped.
pub struct WakeListener {
    places: Vec<(EventTarget, &'static str)>,
    listen: Closure<dyn FnMut(Event)>,
}

impl WakeListener {
    /// Calls `hear` at each such event.
    pub fn new(hear: impl Fn(Sign) + 'static) -> Self {
        let listen = Closure::<dyn FnMut(Event)>::new(move |event: Event| {
            let name = event.type_();
            if is_visible() || name == ONLINE {
                hear(if TOUCHES.contains(&name.as_str()) { Sign::Touched } else { Sign::Woke });
            }
        });
        let mut places: Vec<(EventTarget, &'static str)> = Vec::new();
        if let Some(window) = web_sys::window() {
            places.extend([ONLINE, "pageshow", "focus"].map(|name| (EventTarget::from(window.clone()), name)));
            places.extend(TOUCHES.map(|name| (EventTarget::from(window.clone()), name)));
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
