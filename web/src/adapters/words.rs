//! Words that did not come with the page: what no first screen says, and another language when somebody chooses it. The page names two files
//! for each language; the stored app holds them all.

use wasm_bindgen::JsCast;
use wasm_bindgen_futures::JsFuture;

/// The file that the page names so, such as `later-words-de`; `None` where it cannot be had now.
pub async fn of(name: &str) -> Option<String> {
    let window = web_sys::window()?;
    let address = window.document()?.document_element()?.get_attribute(&format!("data-{name}"))?;
    let response: web_sys::Response = JsFuture::from(window.fetch_with_str(&address)).await.ok()?.dyn_into().ok()?;
    if !response.ok() {
        return None;
    }
    JsFuture::from(response.text().ok()?).await.ok()?.as_string()
}
