//! Our own reader, `web/reader`, in a worker of its own: a look takes a while, and what the camera shows must not stand still meanwhile.
//! It is loaded when it is first needed, from the shell that the service worker keeps.

use js_sys::{Array, Object, Promise, Reflect};
use wasm_bindgen::{JsCast, JsValue};
use web_sys::MessageEvent;

use super::frame::Frame;
use super::within;

/// The first look waits for the module, on a slow phone as well.
const ANSWER_MS: u32 = 20_000;

/// It gave no answer, or that it cannot: this one is of no more use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Failed;

/// A reader at work. It ends, and gives its memory back, when nobody has it any more.
pub struct Worker(web_sys::Worker);

impl Worker {
    /// Begins one. `None`: the browser has no workers, or this page does not say where the reader is.
    pub fn begin() -> Option<Self> {
        let address = web_sys::window()?.document()?.document_element()?.get_attribute("data-reader")?;
        web_sys::Worker::new(&address).ok().map(Self)
    }

    /// The text of a code in the picture. One question at a time.
    ///
    /// # Errors
    /// [`Failed`].
    pub async fn read(&self, frame: &Frame) -> Result<Option<String>, Failed> {
        let answer = self.ask(frame).await.ok_or(Failed)?;
        let text = Reflect::get(&answer, &"text".into()).ok().and_then(|text| text.as_string()).ok_or(Failed)?;
        Ok(Some(text).filter(|text| !text.is_empty()))
    }

    async fn ask(&self, frame: &Frame) -> Option<JsValue> {
        let (width, height) = frame.size();
        let rgba = frame.pixels()?;
        let question = Object::new();
        for (name, value) in [("width", width.into()), ("height", height.into()), ("rgba", JsValue::from(&rgba))] {
            Reflect::set(&question, &name.into(), &value).ok()?;
        }
        let answer = Promise::new(&mut |answered, failed| {
            self.0.set_onmessage(Some(&answered));
            self.0.set_onerror(Some(&failed));
        });
        self.0.post_message_with_transfer(&question, &Array::of1(&rgba)).ok()?;
        Some(within(ANSWER_MS, &answer).await?.dyn_into::<MessageEvent>().ok()?.data())
    }
}

impl Drop for Worker {
    fn drop(&mut self) {
        self.0.terminate();
    }
}
