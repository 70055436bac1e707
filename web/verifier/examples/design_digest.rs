//! The verdicts of many made-up designs as one hash, in WebAssembly: `cargo xtask test browser` compiles it as the app is
//! compiled and lets Chromium run it beside this machine's own code. It is no part of the app, so a phone never loads it.

use domain::design::digest;
use wasm_bindgen::prelude::wasm_bindgen;

/// Hexadecimal digits of the SHA-256 over the sheets of `count` designs drawn from `seed`.
#[wasm_bindgen]
pub fn design_digest(seed: u32, count: u32) -> String {
    digest(u64::from(seed), count).to_string()
}
