//! The browser's decoder for single pictures (WebCodecs), where it has one: it unpacks a JPEG at a fraction of its size, which takes
//! a third of the time and a seventh of the memory. Where it is missing or refuses, the caller has another way.

use js_sys::{ArrayBuffer, Object, Promise, Reflect, global};
use wasm_bindgen::prelude::*;
use wasm_bindgen_futures::JsFuture;
use web_sys::ImageBitmap;

#[wasm_bindgen]
extern "C" {
    type ImageDecoder;
    #[wasm_bindgen(constructor, catch)]
    fn new(init: &Object) -> Result<ImageDecoder, JsValue>;
    #[wasm_bindgen(method, catch)]
    fn decode(this: &ImageDecoder) -> Result<Promise, JsValue>;
    #[wasm_bindgen(method)]
    fn close(this: &ImageDecoder);

    /// A picture that is unpacked. The browser draws it upright.
    pub type Frame;
    #[wasm_bindgen(method, getter, js_name = displayWidth)]
    pub fn width(this: &Frame) -> u32;
    #[wasm_bindgen(method, getter, js_name = displayHeight)]
    pub fn height(this: &Frame) -> u32;
    /// Gives its memory back.
    #[wasm_bindgen(method)]
    pub fn close(this: &Frame);
}

impl Frame {
    /// For the drawing functions, which ask for a bitmap by type and take any picture.
    pub fn source(&self) -> ImageBitmap {
        let value: &JsValue = self.as_ref();
        value.clone().unchecked_into()
    }
}

/// Unpacks a JPEG of this size, as stored, so that its longer edge has `edge` pixels at least if it has so many. `None`: this browser
/// or this picture needs the other way.
pub async fn unpack(bytes: &ArrayBuffer, width: u32, height: u32, edge: u32) -> Option<Frame> {
    if !Reflect::has(&global(), &"ImageDecoder".into()).ok()? || !is_jpeg(bytes) {
        return None;
    }
    let (wide, high) = wish(width, height, edge);
    let init = Object::new();
    for (name, value) in [
        ("type", JsValue::from("image/jpeg")),
        ("data", bytes.into()),
        ("desiredWidth", wide.into()),
        ("desiredHeight", high.into()),
    ] {
        Reflect::set(&init, &name.into(), &value).ok()?;
    }
    let decoder = ImageDecoder::new(&init).ok()?;
    let frame = match decoder.decode() {
        Ok(promise) => JsFuture::from(promise).await.ok(),
        Err(_) => None,
    };
    decoder.close();
    let frame = Reflect::get(&frame?, &"image".into()).ok()?.unchecked_into::<Frame>();
    if frame.width() == 0 || frame.height() == 0 {
        frame.close();
        return None;
    }
    Some(frame)
}

fn is_jpeg(bytes: &ArrayBuffer) -> bool {
    let head = js_sys::Uint8Array::new_with_byte_offset_and_length(bytes, 0, bytes.byte_length().min(2));
    head.to_vec() == [0xFF, 0xD8]
}

/// A JPEG is unpacked in eighths of its size; asked for is the smallest number of them that suffices.
fn wish(width: u32, height: u32, edge: u32) -> (u32, u32) {
    let long = u64::from(width.max(height));
    let eighths = (1..=8_u64).find(|eighths| long * eighths / 8 >= u64::from(edge)).unwrap_or(8);
    let part = |edge: u32| u32::try_from((u64::from(edge) * eighths).div_ceil(8)).unwrap_or(edge);
    (part(width), part(height))
}

#[cfg(test)]
mod tests {
    use super::wish;

    #[test]
    fn the_smallest_part_that_suffices_is_asked_for() {
        assert_eq!(wish(4_032, 3_024, 1_280), (1_512, 1_134));
        assert_eq!(wish(3_024, 4_032, 1_280), (1_134, 1_512));
        assert_eq!(wish(10_240, 100, 1_280), (1_280, 13));
        assert_eq!(wish(10_239, 100, 1_280), (2_560, 25));
        assert_eq!(wish(1_280, 960, 1_280), (1_280, 960));
        assert_eq!(wish(640, 480, 1_280), (640, 480));
    }
}
