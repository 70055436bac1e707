//! Reads codes: out of what the camera shows ([`read`]) and out of a photo ([`read_photo`]). The browser's own reader is taken where it
//! proves itself on a picture that is known ([`native`]); else our own, which stands in the offline shell and works in a worker
//! ([`worker`]). Nothing depends on either: a serial can always be typed.
//!
//! - [`stream`]: the camera and its torch; [`frame`]: what a reader is shown of it, or of a photo.
//!
//! **Never enters:** what a text means.

mod frame;
mod native;
mod stream;
mod worker;

use frame::Frame;
use js_sys::{Array, Promise};
use wasm_bindgen::JsValue;
use wasm_bindgen_futures::{JsFuture, future_to_promise};

use super::camera::ChosenFile;
use super::clock::DeviceClock;
use crate::ports::clock::Clock;
use stream::Stream;
pub use stream::Torch;

/// Between two looks.
const LOOK_MS: u32 = 250;
/// After so long the camera is closed: it warms a phone and eats its battery.
const CLOSE_AFTER_MS: u64 = 30_000;
/// A text that a person has just put aside does not count for so long, or it would be back before the camera is moved.
const ASIDE_MS: u64 = 3_000;
/// So often a reader that has failed is begun anew.
const READERS: u32 = 3;

/// Why nothing was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NothingRead {
    /// The camera cannot be used: refused, taken, absent, or gone meanwhile.
    NoCamera,
    /// No code came into sight in time, or there is none in the photo.
    NoCode,
    /// Neither the browser nor the app could set up a reader.
    NoReader,
}

/// Whoever reads.
enum Reader {
    Native(native::Detector),
    Own(worker::Worker),
}

impl Reader {
    async fn begin() -> Option<Self> {
        match native::proven().await {
            Some(detector) => Some(Self::Native(detector)),
            None => worker::Worker::begin().map(Self::Own),
        }
    }

    /// The text of a code in the picture that the camera shows now, or in its middle.
    async fn look(&self, stream: &Stream, middle: bool) -> Result<Option<String>, worker::Failed> {
        match self {
            Self::Native(detector) => Ok(detector.read(stream.picture()).await),
            Self::Own(own) => match stream.frame(middle) {
                Some(frame) => own.read(&frame).await,
                None => Ok(None),
            },
        }
    }

    async fn read(&self, frame: &Frame) -> Result<Option<String>, worker::Failed> {
        match self {
            Self::Native(detector) => Ok(detector.read(frame.picture()).await),
            Self::Own(own) => own.read(frame).await,
        }
    }
}

/// Opens the camera, shows it in the video element with this id and looks for a code until one is found or `go_on` says no. `opened`
/// is told as soon as there is a picture, with the torch if there is one. `aside` is a text that a person did not want.
///
/// # Errors
/// [`NothingRead`].
pub async fn read(
    video_id: &str,
    aside: Option<&str>,
    go_on: impl Fn() -> bool,
    opened: impl FnOnce(Option<Torch>),
) -> Result<String, NothingRead> {
    let stream = Stream::open(video_id).await.ok_or(NothingRead::NoCamera)?;
    opened(stream.torch());
    let mut reader = Reader::begin().await.ok_or(NothingRead::NoReader)?;
    let (began, mut failures) = (now_ms(), 0);
    // Of a large picture first all of it, made small, then its middle as it is.
    let mut middle = false;
    while go_on() && now_ms().saturating_sub(began) < CLOSE_AFTER_MS {
        if stream.has_ended() {
            return Err(NothingRead::NoCamera);
        }
        match reader.look(&stream, middle).await {
            Ok(Some(text)) if now_ms().saturating_sub(began) < ASIDE_MS && aside == Some(text.as_str()) => {}
            Ok(Some(text)) => return Ok(text),
            Ok(None) => {}
            Err(worker::Failed) if failures + 1 == READERS => return Err(NothingRead::NoReader),
            Err(worker::Failed) => {
                failures += 1;
                reader = Reader::begin().await.ok_or(NothingRead::NoReader)?;
            }
        }
        middle = !middle;
        gloo_timers::future::TimeoutFuture::new(LOOK_MS).await;
    }
    Err(NothingRead::NoCode)
}

/// The text of a code in a photo of a label. The photo is not kept.
///
/// # Errors
/// [`NothingRead`]: no reader, or no code.
pub async fn read_photo(file: ChosenFile) -> Result<String, NothingRead> {
    let frames = frame::of_photo(file).await.ok_or(NothingRead::NoCode)?;
    let mut reader = Reader::begin().await.ok_or(NothingRead::NoReader)?;
    for frame in &frames {
        match reader.read(frame).await {
            Ok(Some(text)) => return Ok(text),
            Ok(None) => {}
            // One look may be too much for a worker, and the next one is at another picture.
            Err(worker::Failed) => reader = Reader::begin().await.ok_or(NothingRead::NoReader)?,
        }
    }
    Err(NothingRead::NoCode)
}

/// Whether codes are read on this device: tried on a picture that is known.
pub async fn works() -> bool {
    let Some(reader) = Reader::begin().await else { return false };
    let Some(frame) = native::known_picture() else { return false };
    matches!(reader.read(&frame).await, Ok(Some(text)) if text == native::KNOWN_TEXT)
}

/// What becomes of the promise, or nothing once so much time has passed.
async fn within(ms: u32, promise: &Promise) -> Option<JsValue> {
    let late = future_to_promise(async move {
        gloo_timers::future::TimeoutFuture::new(ms).await;
        Err(JsValue::UNDEFINED)
    });
    JsFuture::from(Promise::race(&Array::of2(promise, &late))).await.ok()
}

fn now_ms() -> u64 {
    DeviceClock.monotonic_ms()
}

/// A short knock in the hand, where a phone can: eyes are on the label.
pub fn knock() {
    stream::vibrate(KNOCK_MS);
}

const KNOCK_MS: u32 = 80;
