//! The words of another language, fetched when somebody chooses it. The page names a file for each; the stored app holds them all.

use wasm_bindgen::JsCast;
use wasm_bindgen_futures::JsFuture;

/// The file of the language with this code; `None` where it cannot be had now.
pub async fn of(code: &str) -> Option<String> {
    let window = web_sys::window()?;
    let address = window.document()?.document_element()?.get_attribute(&format!("data-words-{code}"))?;
    let response: web_sys::Response = JsFuture::from(window.fetch_with_str(&address)).await.ok()?.dyn_into().ok()?;
    if !response.ok() {
        return None;
    }
    JsFuture::from(response.text().ok()?).await.ok()?.as_string()
}
