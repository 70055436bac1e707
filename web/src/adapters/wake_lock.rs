//! Keeps the screen on while a wait runs down. A browser without it, or one that refuses, changes nothing but comfort.

use std::cell::RefCell;
use std::rc::Rc;

use js_sys::{Function, Promise, Reflect};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::{JsFuture, spawn_local};

/// Held until dropped.
#[derive(Debug)]
pub struct WakeLock(Rc<RefCell<State>>);

#[derive(Debug, Default)]
struct State {
    sentinel: Option<JsValue>,
    dropped: bool,
}

impl WakeLock {
    /// Asks for it; the answer comes later and nobody waits for it.
    pub fn ask() -> Self {
        let state: Rc<RefCell<State>> = Rc::default();
        let into = Rc::clone(&state);
        spawn_local(async move {
            let Some(sentinel) = request().await else { return };
            if into.borrow().dropped {
                release(&sentinel);
            } else {
                into.borrow_mut().sentinel = Some(sentinel);
            }
        });
        Self(state)
    }
}

impl Drop for WakeLock {
    fn drop(&mut self) {
        let mut state = self.0.borrow_mut();
        state.dropped = true;
        if let Some(sentinel) = state.sentinel.take() {
            release(&sentinel);
        }
    }
}

/// By hand: `web_sys` has it only behind a compiler flag.
async fn request() -> Option<JsValue> {
    let navigator: JsValue = web_sys::window()?.navigator().into();
    let lock = Reflect::get(&navigator, &"wakeLock".into()).ok().filter(JsValue::is_object)?;
    let request: Function = Reflect::get(&lock, &"request".into()).ok()?.dyn_into().ok()?;
    let promise: Promise = request.call1(&lock, &"screen".into()).ok()?.dyn_into().ok()?;
    JsFuture::from(promise).await.ok()
}

fn release(sentinel: &JsValue) {
    let release =
        Reflect::get(sentinel, &"release".into()).ok().and_then(|release| release.dyn_into::<Function>().ok());
    if let Some(release) = release {
        // Given back by the browser already: nothing is left to do.
        let _ = release.call0(sentinel);
    }
}
