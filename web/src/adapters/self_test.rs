//! What this browser can do, asked of it by trying: a camera, the stored app.

use js_sys::{Array, Function, Promise, Reflect};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;

/// Whether a camera is connected; `None` where the browser does not say. Nothing is opened, so nobody is asked for leave.
pub async fn has_camera() -> Option<bool> {
    let navigator: JsValue = web_sys::window()?.navigator().into();
    let devices = Reflect::get(&navigator, &"mediaDevices".into()).ok().filter(JsValue::is_object)?;
    let list: Function = Reflect::get(&devices, &"enumerateDevices".into()).ok()?.dyn_into().ok()?;
    let promise: Promise = list.call0(&devices).ok()?.dyn_into().ok()?;
    let found: Array = JsFuture::from(promise).await.ok()?.dyn_into().ok()?;
    let kind = |one: &JsValue| Reflect::get(one, &"kind".into()).ok().and_then(|kind| kind.as_string());
    Some(found.iter().any(|one| kind(&one).as_deref() == Some("videoinput")))
}

/// Whether the stored app is in charge of this page, so that it opens without a connection.
pub fn opens_offline() -> bool {
    let controller = || {
        let navigator: JsValue = web_sys::window()?.navigator().into();
        let workers = Reflect::get(&navigator, &"serviceWorker".into()).ok().filter(JsValue::is_object)?;
        Reflect::get(&workers, &"controller".into()).ok()
    };
    controller().is_some_and(|controller| controller.is_object())
}
