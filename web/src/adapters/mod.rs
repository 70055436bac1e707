//! The browser: each file is one capability of it. Only here stands `web_sys`; what leaves a file is plain Rust.
//!
//! - [`browser`]: small things: preferences, language, theme, clock, clipboard, cross-tab lock, the service worker's news;
//! - [`fetch`]: calls to our server, with sign-in renewed, time limits and typed refusals.
//!
//! **Never enters:** rules, words, views.

pub mod browser;
pub mod fetch;
