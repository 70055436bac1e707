//! Packs a body with gzip where the browser can. Facts of a day shrink to less than half, and a cellar's line is slow.

use js_sys::{ArrayBuffer, Function, Object, Reflect, Uint8Array};
use wasm_bindgen::JsCast;
use wasm_bindgen_futures::JsFuture;
use web_sys::{ReadableStream, Response};

/// The bytes packed; `None` where this browser cannot.
pub async fn gzip(bytes: &[u8]) -> Option<ArrayBuffer> {
    let global = js_sys::global();
    let maker: Function = Reflect::get(&global, &"CompressionStream".into()).ok()?.dyn_into().ok()?;
    let packer = Reflect::construct(&maker, &js_sys::Array::of1(&"gzip".into())).ok()?;
    let plain = Response::new_with_opt_buffer_source(Some(&Object::from(Uint8Array::from(bytes)))).ok()?.body()?;
    let pipe: Function = Reflect::get(&plain, &"pipeThrough".into()).ok()?.dyn_into().ok()?;
    let packed: ReadableStream = pipe.call1(&plain, &packer).ok()?.dyn_into().ok()?;
    let whole = Response::new_with_opt_readable_stream(Some(&packed)).ok()?.array_buffer().ok()?;
    JsFuture::from(whole).await.ok()?.dyn_into().ok()
}

/// The header of an answer that says which packings our server takes in requests (RFC 7694) names gzip.
pub fn is_taken(accept_encoding: Option<&str>) -> bool {
    accept_encoding.is_some_and(|list| list.split(',').any(|one| one.trim().eq_ignore_ascii_case("gzip")))
}

#[cfg(test)]
mod tests {
    use super::is_taken;

    #[test]
    fn a_body_is_packed_only_for_a_server_that_says_so() {
        assert!(is_taken(Some("gzip")));
        assert!(is_taken(Some("br, GZIP")));
        for other in [None, Some(""), Some("identity"), Some("xgzip"), Some("gzip;q=0")] {
            assert!(!is_taken(other), "{other:?}");
        }
    }
}
