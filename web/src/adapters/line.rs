//! The line that this device has now, and whether its person keeps full photos here until there is Wi-Fi.

use domain::tray::{Line, PhotoRule};
use js_sys::Reflect;
use wasm_bindgen::JsValue;

use super::browser;

const UNTIL_WIFI: &str = "photos-wait";
const RELEASED: &str = "photos-released";

/// What the browser says of the line.
pub fn line() -> Line {
    let Some(connection) = connection() else { return Line::Unknown };
    let word = |name: &str| Reflect::get(&connection, &name.into()).ok();
    let kind = word("type").and_then(|kind| kind.as_string());
    let saves_data = word("saveData").and_then(|saves| saves.as_bool()).unwrap_or(false);
    Line::of(kind.as_deref(), saves_data)
}

/// `navigator.connection`, by hand: few browsers have it, and fewer name the kind of line.
fn connection() -> Option<JsValue> {
    let navigator: JsValue = web_sys::window()?.navigator().into();
    Reflect::get(&navigator, &"connection".into()).ok().filter(JsValue::is_object)
}

/// Does the person keep full photos here until there is Wi-Fi? Of this device, not of the person.
pub fn keeps_photos() -> bool {
    browser::kept(UNTIL_WIFI).is_some()
}

/// Remembers it, for every window of this browser.
pub fn keep_photos(until_wifi: bool) {
    browser::keep(UNTIL_WIFI, until_wifi.then_some("1"));
    if !until_wifi {
        browser::keep(RELEASED, None);
    }
}

/// What is here now goes over any line.
pub fn release_photos(now_ms: u64) {
    if keeps_photos() {
        browser::keep(RELEASED, Some(&now_ms.to_string()));
    }
}

/// All of it, for the tray.
pub fn photo_rule() -> PhotoRule {
    let until_wifi = keeps_photos();
    let released_ms = browser::kept(RELEASED).filter(|_| until_wifi).and_then(|ms| ms.parse().ok());
    PhotoRule { until_wifi, line: line(), released_ms }
}
