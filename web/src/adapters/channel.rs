//! Messages between the windows of one browser.

use wasm_bindgen::prelude::*;
use web_sys::{BroadcastChannel, MessageEvent};

/// An open channel; closed when dropped.
pub struct Channel {
    raw: BroadcastChannel,
    _listen: Closure<dyn FnMut(MessageEvent)>,
}

impl Channel {
    /// Opens the channel of that name; `None` where the browser has no such thing, and windows then find out by reading.
    pub fn open(name: &str, listen: impl Fn(String) + 'static) -> Option<Self> {
        let raw = BroadcastChannel::new(name).ok()?;
        let listen = Closure::<dyn FnMut(MessageEvent)>::new(move |event: MessageEvent| {
            if let Some(message) = event.data().as_string() {
                listen(message);
            }
        });
        raw.set_onmessage(Some(listen.as_ref().unchecked_ref()));
        Some(Self { raw, _listen: listen })
    }

    /// Tells the other windows.
    pub fn post(&self, message: &str) {
        // A channel that was closed has nobody to tell.
        let _ = self.raw.post_message(&message.into());
    }
}

impl Drop for Channel {
    fn drop(&mut self) {
        self.raw.set_onmessage(None);
        self.raw.close();
    }
}
