//! The browser: each file is one capability of it. Only here stands `web_sys`; what leaves a file is plain Rust.
//!
//! - [`browser`]: small things: preferences, language, theme, clock, clipboard, cross-tab lock, the service worker's news;
//! - [`fetch`]: calls to our server, with sign-in renewed, time limits and typed refusals;
//! - [`indexed_db`]: what the device keeps ([`memory`] is the same for tests), [`file_bytes`]: bytes of photos;
//! - [`camera`], [`photo`] over [`picture_decoder`]: a chosen file to an original and its preview; [`barcode`]: a code seen by the camera or in a photo;
//! - [`server`] over [`http`], [`packing`] and [`tus`]: the way to the server for sync;
//! - [`pin_seal`]: a PIN that only the server opens; [`device_key`]: the key that entries are signed with; [`row_key`]: the key that rows are kept under;
//! - [`kept`]: who works here, before any store is open; [`words`]: the words of another language; [`shell`]: whether the app is stored;
//! - [`performance`]: how long something took, for whoever measures;
//! - [`clock`], [`ids`], [`locks`], [`channel`], [`wake`], [`storage`]: time, chance, other windows, waking, space; [`wake_lock`]: the screen stays on.
//!
//! **Never enters:** rules, words, views.

pub mod barcode;
pub mod browser;
pub mod camera;
pub mod channel;
pub mod clock;
pub mod device_key;
pub mod fetch;
pub mod file_bytes;
mod http;
pub mod ids;
pub mod indexed_db;
pub mod kept;
pub mod line;
pub mod live;
pub mod locks;
#[cfg(test)]
pub mod memory;
mod packing;
pub mod performance;
pub mod photo;
mod picture_decoder;
pub mod pin_seal;
pub mod pointer;
pub mod rescue_file;
pub mod row_key;
pub mod save_file;
pub mod self_test;
pub mod server;
pub mod shell;
pub mod storage;
mod tus;
pub mod wake;
pub mod wake_lock;
pub mod words;
