//! Bytes that were fetched with the token, handed to the person: as a picture on the screen or as a file.

use js_sys::{Array, Uint8Array};
use wasm_bindgen::JsCast;
use web_sys::{Blob, BlobPropertyBag, HtmlAnchorElement, Url};

/// An address for bytes in this page; it ends with this value.
#[derive(Debug)]
pub struct ObjectUrl(String);

impl ObjectUrl {
    /// Gives bytes an address; `None` where the browser refuses.
    pub fn of(media_type: &str, bytes: &[u8]) -> Option<Self> {
        let parts = Array::of1(&Uint8Array::from(bytes));
        let options = BlobPropertyBag::new();
        options.set_type(media_type);
        let blob = Blob::new_with_u8_array_sequence_and_options(&parts, &options).ok()?;
        Url::create_object_url_with_blob(&blob).ok().map(Self)
    }

    /// The address.
    pub fn address(&self) -> &str {
        &self.0
    }
}

impl Drop for ObjectUrl {
    fn drop(&mut self) {
        let _ = Url::revoke_object_url(&self.0);
    }
}

/// Offers bytes as a file of this name. False where the browser refuses.
pub fn save(name: &str, media_type: &str, bytes: &[u8]) -> bool {
    /// Browsers read the address after the click returned.
    const READ_WITHIN_MS: u32 = 60_000;
    let Some(url) = ObjectUrl::of(media_type, bytes) else { return false };
    let document = web_sys::window().and_then(|window| window.document());
    let anchor = document.and_then(|document| document.create_element("a").ok());
    let Some(anchor) = anchor.and_then(|element| element.dyn_into::<HtmlAnchorElement>().ok()) else { return false };
    anchor.set_href(url.address());
    anchor.set_download(name);
    anchor.click();
    gloo_timers::callback::Timeout::new(READ_WITHIN_MS, move || drop(url)).forget();
    true
}

/// Does this browser know a time zone of this name?
pub fn is_time_zone(name: &str) -> bool {
    let options = js_sys::Object::new();
    let _ = js_sys::Reflect::set(&options, &"timeZone".into(), &name.into());
    let Ok(make) = js_sys::Reflect::get(&js_sys::global(), &"Intl".into())
        .and_then(|intl| js_sys::Reflect::get(&intl, &"DateTimeFormat".into()))
        .and_then(|make| make.dyn_into::<js_sys::Function>().map_err(|_| wasm_bindgen::JsValue::UNDEFINED))
    else {
        return false;
    };
    // The constructor throws for a name that it does not know.
    domain::bounds::zone(name).is_ok()
        && js_sys::Reflect::construct(&make, &Array::of2(&Array::new(), &options)).is_ok()
}

/// The time zones that this browser can tell by name, sorted; empty where it has no list.
pub fn time_zones() -> Vec<String> {
    let listed = || {
        let intl = js_sys::Reflect::get(&js_sys::global(), &"Intl".into()).ok()?;
        let list =
            js_sys::Reflect::get(&intl, &"supportedValuesOf".into()).ok()?.dyn_into::<js_sys::Function>().ok()?;
        list.call1(&intl, &"timeZone".into()).ok()?.dyn_into::<Array>().ok()
    };
    let mut zones: Vec<String> =
        listed().map(|all| all.iter().filter_map(|zone| zone.as_string()).collect()).unwrap_or_default();
    zones.sort();
    zones
}

/// The time zone of this browser, such as `Europe/Madrid`; empty where it does not say.
pub fn time_zone() -> String {
    let format = js_sys::Intl::DateTimeFormat::new(&Array::new(), &js_sys::Object::new());
    js_sys::Reflect::get(&format.resolved_options(), &"timeZone".into())
        .ok()
        .and_then(|zone| zone.as_string())
        .unwrap_or_default()
}
