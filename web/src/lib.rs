//! The app in the browser: an offline-first PWA for technician, lead, office and householder.
//!
//! - [`routes`]: every screen, its address, who may see it. [`app`]: what is around all screens.
//! - [`features`]: one folder for each thing that a person does. A slice has `page.rs` (wiring), `view_model.rs` (pure, tested on
//!   the host), `intents.rs` (async verbs) and `components/`.
//! - [`parts`]: which screens are loaded first and which later.
//! - [`ui`]: the parts that screens are made of. [`i18n`]: words, numbers, dates.
//! - [`session`]: who works here; [`prefs`]: language, number format, theme; [`load`]: something that is being fetched.
//! - [`store`]: the job files on this device; [`sync`]: sending and fetching; [`ports`]: what both need from outside.
//! - [`adapters`]: the browser, one capability a file; the only place of `web_sys`.
//!
//! **Never enters:** a rule that decides anything. Those stand in `domain` and run here as they run on the server.

pub mod adapters;
pub mod app;
pub mod device;
pub mod features;
pub mod i18n;
pub mod load;
pub mod parts;
pub mod ports;
pub mod prefs;
pub mod refusal;
pub mod routes;
pub mod session;
pub mod store;
pub mod sync;
pub mod ui;

use wasm_bindgen::prelude::wasm_bindgen;

/// Called by `start.js` once glue, wasm and the words of the language in use are loaded. False: these words belong to another build.
#[wasm_bindgen]
pub fn start(lang: &str, words: String) -> bool {
    std::panic::set_hook(Box::new(|panic| {
        console_error_panic_hook::hook(panic);
        adapters::browser::report_crash(&panic.to_string());
    }));
    let lang = i18n::Lang::from_code(lang).unwrap_or_default();
    if !i18n::install(lang, i18n::WordFile::First, words) {
        return false;
    }
    // Not the framework's own: that one is set up by the mounting.
    wasm_bindgen_futures::spawn_local(async {
        adapters::kept::load(&session::KEPT).await;
        leptos::mount::mount_to_body(app::App);
        adapters::browser::report_alive();
    });
    true
}
