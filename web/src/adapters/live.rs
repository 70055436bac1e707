//! The stream of the server's news: server-sent events, read with `fetch` because `EventSource` cannot carry our token.
#![allow(clippy::disallowed_methods, reason = "adapters read the browser's clock")]

use super::http::{Silence, begin, chunk_of};
use crate::ports::transport::Access;
use std::cell::RefCell;
use std::rc::Rc;
use wasm_bindgen::JsCast;
use web_sys::{AbortController, ReadableStreamDefaultReader};

/// The server gives a sign of life three times in this span.
const SILENCE_MS: u32 = 50_000;
const PATH: &str = "/api/live";
const MEDIA_TYPE: &str = "text/event-stream";

/// Counts events in a stream that comes in pieces (WHATWG HTML, 9.2: an empty line ends an event, a line that begins with a colon
/// is a sign of life).
#[derive(Default)]
pub struct Events {
    line: Vec<u8>,
    has_data: bool,
}

impl Events {
    /// How many events end in this piece.
    pub fn take(&mut self, piece: &[u8]) -> usize {
        let mut ended = 0;
        for byte in piece {
            match byte {
                b'\n' => {
                    if self.line.is_empty() {
                        ended += usize::from(core::mem::take(&mut self.has_data));
                    }
                    self.has_data |= self.line.starts_with(b"data:");
                    self.line.clear();
                }
                b'\r' => {}
                // Ours are short; whoever sends longer lines is not heard.
                other if self.line.len() < 64 => self.line.push(*other),
                _ => {}
            }
        }
        ended
    }
}

/// The stream under way, so that it can be hung up.
#[derive(Clone, Default)]
pub struct Stream(Rc<RefCell<Option<AbortController>>>);

impl Stream {
    /// Reads until the stream ends, and calls `news` at each event.
    pub async fn follow(&self, access: &Access, news: &dyn Fn()) {
        let mut token = (access.token)();
        if token.is_none() {
            (access.renew)(None).await;
            token = (access.token)();
        }
        let Some(token) = token else { return };
        let Ok(controller) = AbortController::new() else { return };
        self.0.replace(Some(controller.clone()));
        let silence = Silence::new(controller.clone(), SILENCE_MS);
        if let Ok(response) = begin(PATH, MEDIA_TYPE, &token, &controller).await {
            if response.status() == 401 {
                // Nothing is said here of how it went: the stream is asked for again in any case.
                (access.renew)(Some(token)).await;
            } else if response.ok()
                && let Some(body) = response.body()
                && let Ok(reader) = body.get_reader().dyn_into::<ReadableStreamDefaultReader>()
            {
                let mut events = Events::default();
                while let Some(piece) = chunk_of(&reader).await {
                    silence.moved();
                    for _ in 0..events.take(&piece) {
                        news();
                    }
                }
            }
        }
        self.0.take();
    }

    /// Ends it.
    pub fn hang_up(&self) {
        if let Some(controller) = self.0.take() {
            controller.abort();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn events_are_counted_however_they_are_cut() {
        let stream = b"event: news\ndata: ask\n\n:\n\n: still here\n\nevent: news\r\ndata: ask\r\n\r\nevent: news\n\n";
        for size in 1..stream.len() {
            let mut events = Events::default();
            let counted: usize = stream.chunks(size).map(|piece| events.take(piece)).sum();
            assert_eq!(counted, 2, "in pieces of {size}");
        }
        let mut events = Events::default();
        assert_eq!(events.take(&[b'x'; 100_000]), 0);
        assert!(events.line.len() <= 64, "a line without an end fills no memory");
    }
}
