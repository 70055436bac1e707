//! The camera, as a picture that moves.

use js_sys::{Array, JSON, Promise, Reflect};
use wasm_bindgen::prelude::*;
use wasm_bindgen_futures::JsFuture;

use super::frame::Frame;

/// All of it is a wish: a camera that cannot is taken all the same.
const WANTED: &str =
    r#"{"video": {"facingMode": {"ideal": "environment"}, "width": {"ideal": 1920}, "height": {"ideal": 1080}}}"#;
const FOCUS: &str = r#"{"advanced": [{"focusMode": "continuous"}]}"#;
const LIT: &str = r#"{"advanced": [{"torch": true}]}"#;
const UNLIT: &str = r#"{"advanced": [{"torch": false}]}"#;

#[wasm_bindgen]
extern "C" {
    type MediaDevices;
    #[wasm_bindgen(method, catch, js_name = getUserMedia)]
    fn open(this: &MediaDevices, wanted: &JsValue) -> Result<Promise, JsValue>;

    type MediaStream;
    #[wasm_bindgen(method, catch, js_name = getVideoTracks)]
    fn tracks(this: &MediaStream) -> Result<Array, JsValue>;

    #[derive(Clone)]
    type Track;
    #[wasm_bindgen(method, catch)]
    fn stop(this: &Track) -> Result<(), JsValue>;
    #[wasm_bindgen(method, getter, js_name = readyState)]
    fn ready_state(this: &Track) -> Option<String>;
    // Not every browser has these two.
    #[wasm_bindgen(method, catch, js_name = getCapabilities)]
    fn capabilities(this: &Track) -> Result<JsValue, JsValue>;
    #[wasm_bindgen(method, catch, js_name = applyConstraints)]
    fn apply(this: &Track, wanted: &JsValue) -> Result<Promise, JsValue>;

    type Video;
    #[wasm_bindgen(method, setter, js_name = srcObject)]
    fn set_source(this: &Video, stream: &JsValue);
    #[wasm_bindgen(method, catch)]
    fn play(this: &Video) -> Result<JsValue, JsValue>;
    #[wasm_bindgen(method, getter, js_name = videoWidth)]
    fn width(this: &Video) -> u32;
    #[wasm_bindgen(method, getter, js_name = videoHeight)]
    fn height(this: &Video) -> u32;

    type Navigator;
    #[wasm_bindgen(method, catch, js_name = vibrate)]
    fn vibrate(this: &Navigator, ms: u32) -> Result<bool, JsValue>;
}

/// An open camera. It is closed when nobody has it any more.
pub struct Stream {
    video: Video,
    tracks: Vec<Track>,
}

impl Stream {
    /// Opens the camera at the back, if there is one, and shows it.
    pub async fn open(video_id: &str) -> Option<Self> {
        let navigator: JsValue = web_sys::window()?.navigator().into();
        let devices = Reflect::get(&navigator, &"mediaDevices".into()).ok().filter(JsValue::is_object)?;
        let promise = devices.unchecked_ref::<MediaDevices>().open(&JSON::parse(WANTED).ok()?).ok()?;
        let stream = JsFuture::from(promise).await.ok()?;
        let tracks = stream.unchecked_ref::<MediaStream>().tracks().unwrap_or_default();
        let tracks = tracks.iter().map(JsCast::unchecked_into).collect();
        // From here on the camera is closed whatever happens.
        let video: JsValue = web_sys::window()?.document()?.get_element_by_id(video_id).into();
        let this = Self { video: video.unchecked_into(), tracks };
        if this.video.is_null() || this.video.is_undefined() {
            return None;
        }
        this.video.set_source(&stream);
        if let Ok(promise) = this.video.play().and_then(JsCast::dyn_into::<Promise>) {
            JsFuture::from(promise).await.ok()?;
        }
        if let Some(track) = this.tracks.first().filter(|track| can(track, "focusMode", "continuous")) {
            // A camera that refuses focuses as it likes.
            let _ = apply(track, FOCUS).await;
        }
        Some(this)
    }

    /// Its light, where it says that it has one.
    pub fn torch(&self) -> Option<Torch> {
        self.tracks
            .iter()
            .find(|track| capability(track, "torch").is_some_and(|torch| torch.is_truthy()))
            .cloned()
            .map(Torch)
    }

    /// Somebody else took the camera, or it was unplugged.
    pub fn has_ended(&self) -> bool {
        self.tracks.iter().any(|track| track.ready_state().as_deref() == Some("ended"))
    }

    /// What it shows, for a reader that takes pictures.
    pub fn picture(&self) -> &JsValue {
        &self.video
    }

    /// What it shows now: all of it made small, or its middle as it is. `None`: nothing yet.
    pub fn frame(&self, middle: bool) -> Option<Frame> {
        let size = (self.video.width(), self.video.height());
        if size.0 == 0 || size.1 == 0 {
            return None;
        }
        Frame::of_camera(&self.video, size, middle)
    }
}

impl Drop for Stream {
    fn drop(&mut self) {
        for track in &self.tracks {
            // A track that has ended by itself needs no stopping.
            let _ = track.stop();
        }
    }
}

/// The light beside the camera.
#[derive(Clone)]
pub struct Torch(Track);

impl Torch {
    /// Switches it; false if the camera refuses.
    pub async fn light(&self, lit: bool) -> bool {
        apply(&self.0, if lit { LIT } else { UNLIT }).await.is_some()
    }
}

async fn apply(track: &Track, wanted: &str) -> Option<()> {
    JsFuture::from(track.apply(&JSON::parse(wanted).ok()?).ok()?).await.ok().map(drop)
}

fn capability(track: &Track, name: &str) -> Option<JsValue> {
    Reflect::get(&track.capabilities().ok()?, &name.into()).ok()
}

fn can(track: &Track, name: &str, value: &str) -> bool {
    let values = capability(track, name).and_then(|values| values.dyn_into::<Array>().ok());
    values.is_some_and(|values| values.includes(&value.into(), 0))
}

/// A knock in the hand; some browsers have none to give.
pub fn vibrate(ms: u32) {
    if let Some(window) = web_sys::window() {
        let navigator: JsValue = window.navigator().into();
        let _ = navigator.unchecked_ref::<Navigator>().vibrate(ms);
    }
}
