//! Bytes of a photo. In the browser they stay in the browser's memory: a WebAssembly memory only grows, and a 50-megabyte
//! file that passed through it would cost 50 megabytes for as long as the page lives.

use domain::ids::Hash32;
use js_sys::{ArrayBuffer, Uint8Array};
use std::rc::Rc;
use wasm_bindgen::JsCast;
use wasm_bindgen_futures::JsFuture;

/// Bytes of a photo.
#[derive(Clone, Debug)]
pub struct FileBytes(Held);

#[derive(Clone, Debug)]
enum Held {
    Browser(ArrayBuffer),
    /// Small ones made by the app, and all of them in tests.
    App(Rc<[u8]>),
}

impl FileBytes {
    /// Bytes of the app.
    pub fn of(bytes: &[u8]) -> Self {
        Self(Held::App(bytes.into()))
    }

    /// Wraps a buffer of the browser.
    pub const fn of_buffer(buffer: ArrayBuffer) -> Self {
        Self(Held::Browser(buffer))
    }

    /// As a buffer of the browser.
    pub fn buffer(&self) -> ArrayBuffer {
        match &self.0 {
            Held::Browser(buffer) => buffer.clone(),
            Held::App(bytes) => Uint8Array::from(&**bytes).buffer(),
        }
    }

    /// How many bytes.
    pub fn len(&self) -> u64 {
        match &self.0 {
            Held::Browser(buffer) => u64::from(buffer.byte_length()),
            Held::App(bytes) => bytes.len() as u64,
        }
    }

    /// There are none.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The first bytes, copied into the app's memory.
    pub fn head(&self, most: usize) -> Vec<u8> {
        match &self.0 {
            Held::Browser(buffer) => {
                let most = u32::try_from(most).unwrap_or(u32::MAX).min(buffer.byte_length());
                Uint8Array::new_with_byte_offset_and_length(buffer, 0, most).to_vec()
            }
            Held::App(bytes) => bytes[..most.min(bytes.len())].to_vec(),
        }
    }

    /// All of them, copied into the app's memory: for small files only.
    pub fn to_vec(&self) -> Vec<u8> {
        self.head(usize::MAX)
    }

    /// All from there on, for a cipher of the browser: nothing is copied where it is the browser's already.
    pub fn view(&self, from: u32) -> Uint8Array {
        Uint8Array::new_with_byte_offset(&self.buffer(), from)
    }

    /// A part.
    pub fn slice(&self, from: u64, to: u64) -> Self {
        match &self.0 {
            Held::Browser(buffer) => {
                let at = |n: u64| u32::try_from(n).unwrap_or(u32::MAX);
                Self(Held::Browser(buffer.slice_with_end(at(from), at(to))))
            }
            Held::App(bytes) => {
                let at = |n: u64| usize::try_from(n).unwrap_or(usize::MAX).min(bytes.len());
                Self(Held::App(bytes[at(from)..at(to)].into()))
            }
        }
    }

    /// SHA-256. The browser computes it outside the main thread; `None` where it cannot (over plain http).
    pub async fn sha256(&self) -> Option<Hash32> {
        let buffer = match &self.0 {
            Held::App(bytes) => return Some(Hash32::sha256(bytes)),
            Held::Browser(buffer) => buffer,
        };
        let crypto = web_sys::window()?.crypto().ok()?.subtle();
        let digest = crypto.digest_with_str_and_buffer_source("SHA-256", buffer).ok()?;
        let digest: ArrayBuffer = JsFuture::from(digest).await.ok()?.dyn_into().ok()?;
        Uint8Array::new(&digest).to_vec().try_into().ok().map(Hash32::of)
    }
}
