//! How much the browser lets this app keep, and whether it promises to.

use domain::tray::{Footing, Probe};
use js_sys::Reflect;
use wasm_bindgen::JsValue;
use wasm_bindgen_futures::JsFuture;

/// What the browser says. Its figures are rounded hints: only a write that succeeded proves that there was room.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct StorageState {
    /// The browser promises not to clear it by itself; `None` when it does not say.
    pub is_persistent: Option<bool>,
    /// Bytes used.
    pub usage: Option<u64>,
    /// Bytes allowed.
    pub quota: Option<u64>,
    /// How a real write went; `None` before it.
    pub probe: Option<Probe>,
}

impl StorageState {
    /// What this is worth, for the rule that judges it.
    pub fn footing(&self) -> Footing {
        let Self { is_persistent, quota, probe, .. } = *self;
        Footing { is_installed: is_installed(), is_persistent, quota, probe }
    }
}

/// Whether the app runs from the home screen and not in a tab of the browser.
pub fn is_installed() -> bool {
    let Some(window) = web_sys::window() else { return false };
    let shown = |mode: &str| {
        let list = window.match_media(&format!("(display-mode: {mode})")).ok().flatten();
        list.is_some_and(|list| list.matches())
    };
    // Older iPhones have their own word for it.
    let navigator: JsValue = window.navigator().into();
    let stands_alone = Reflect::get(&navigator, &"standalone".into()).ok().and_then(|word| word.as_bool());
    stands_alone == Some(true) || ["standalone", "fullscreen", "minimal-ui"].into_iter().any(shown)
}

/// Asks for the promise, if it was not given already, and for the figures.
pub async fn ask_to_persist() -> StorageState {
    let Some(storage) = web_sys::window().map(|window| window.navigator().storage()) else {
        return StorageState::default();
    };
    let answered =
        async |promise: Result<js_sys::Promise, wasm_bindgen::JsValue>| JsFuture::from(promise.ok()?).await.ok();
    let mut is_persistent = answered(storage.persisted()).await.and_then(|answer| answer.as_bool());
    if is_persistent == Some(false) {
        is_persistent = answered(storage.persist()).await.and_then(|answer| answer.as_bool());
    }
    let estimate = answered(storage.estimate()).await;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "sizes are whole and not negative")]
    let figure = |name: &str| {
        let value = Reflect::get(estimate.as_ref()?, &name.into()).ok()?.as_f64()?;
        Some(value.max(0.0) as u64)
    };
    StorageState { is_persistent, usage: figure("usage"), quota: figure("quota"), probe: None }
}
