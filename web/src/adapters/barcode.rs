//! Reads codes with the camera where the browser can (`BarcodeDetector`). Nothing depends on it: a serial can always be typed.

use js_sys::{Array, Function, Object, Promise, Reflect};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;

/// Kinds of code that labels of units carry.
const FORMATS: [&str; 5] = ["data_matrix", "qr_code", "code_128", "code_39", "itf"];
/// Between two looks.
const LOOK_MS: u32 = 250;
/// So many looks, half a minute, and the camera is closed.
const LOOKS: u32 = 120;

/// Can this browser read codes?
pub fn is_there() -> bool {
    web_sys::window().is_some_and(|window| Reflect::has(&window, &"BarcodeDetector".into()).unwrap_or(false))
}

/// Why nothing was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NothingRead {
    /// The camera cannot be used: refused, taken, or absent.
    NoCamera,
    /// No code came into sight in time.
    NoCode,
}

/// Opens the camera, shows it in the video element with this id and looks for a code until one is found or `go_on` says no.
///
/// # Errors
/// [`NothingRead`].
pub async fn read(video_id: &str, go_on: impl Fn() -> bool) -> Result<String, NothingRead> {
    let stream = open_camera().await.ok_or(NothingRead::NoCamera)?;
    let read = look(video_id, &stream, go_on).await;
    close(&stream);
    read
}

async fn look(video_id: &str, stream: &JsValue, go_on: impl Fn() -> bool) -> Result<String, NothingRead> {
    let video = show(video_id, stream).await.ok_or(NothingRead::NoCamera)?;
    let (detector, detect) = detector().ok_or(NothingRead::NoCode)?;
    for _ in 0..LOOKS {
        if !go_on() {
            break;
        }
        if let Some(text) = seen(&detector, &detect, &video).await {
            return Ok(text);
        }
        gloo_timers::future::TimeoutFuture::new(LOOK_MS).await;
    }
    Err(NothingRead::NoCode)
}

async fn open_camera() -> Option<JsValue> {
    let navigator: JsValue = web_sys::window()?.navigator().into();
    let devices = Reflect::get(&navigator, &"mediaDevices".into()).ok().filter(JsValue::is_object)?;
    let open: Function = Reflect::get(&devices, &"getUserMedia".into()).ok()?.dyn_into().ok()?;
    let video = Object::new();
    Reflect::set(&video, &"facingMode".into(), &"environment".into()).ok()?;
    let wanted = Object::new();
    Reflect::set(&wanted, &"video".into(), &video).ok()?;
    let promise: Promise = open.call1(&devices, &wanted).ok()?.dyn_into().ok()?;
    JsFuture::from(promise).await.ok()
}

async fn show(video_id: &str, stream: &JsValue) -> Option<JsValue> {
    let video: JsValue = web_sys::window()?.document()?.get_element_by_id(video_id)?.into();
    Reflect::set(&video, &"srcObject".into(), stream).ok()?;
    let play: Function = Reflect::get(&video, &"play".into()).ok()?.dyn_into().ok()?;
    if let Ok(promise) = play.call0(&video).and_then(|promise| promise.dyn_into::<Promise>()) {
        JsFuture::from(promise).await.ok()?;
    }
    Some(video)
}

fn detector() -> Option<(JsValue, Function)> {
    let window: JsValue = web_sys::window()?.into();
    let maker: Function = Reflect::get(&window, &"BarcodeDetector".into()).ok()?.dyn_into().ok()?;
    let options = Object::new();
    let formats: Array = FORMATS.iter().map(|format| JsValue::from_str(format)).collect();
    Reflect::set(&options, &"formats".into(), &formats).ok()?;
    let detector = Reflect::construct(&maker, &Array::of1(&options)).ok()?;
    let detect: Function = Reflect::get(&detector, &"detect".into()).ok()?.dyn_into().ok()?;
    Some((detector, detect))
}

async fn seen(detector: &JsValue, detect: &Function, video: &JsValue) -> Option<String> {
    let promise: Promise = detect.call1(detector, video).ok()?.dyn_into().ok()?;
    let codes: Array = JsFuture::from(promise).await.ok()?.dyn_into().ok()?;
    let text = Reflect::get(&codes.get(0), &"rawValue".into()).ok()?.as_string()?;
    (!text.is_empty()).then_some(text)
}

fn close(stream: &JsValue) {
    let call = |of: &JsValue, name: &str| {
        let function: Function = Reflect::get(of, &name.into()).ok()?.dyn_into().ok()?;
        function.call0(of).ok()
    };
    let tracks = call(stream, "getTracks").and_then(|tracks| tracks.dyn_into::<Array>().ok()).unwrap_or_default();
    for track in tracks.iter() {
        // A track that has ended by itself needs no stopping.
        let _ = call(&track, "stop");
    }
}
