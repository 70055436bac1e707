//! Files that a person took or chose.

use leptos::ev::Event;
use wasm_bindgen::JsCast;
use web_sys::{File, HtmlInputElement};

/// A file of the phone. It is read once, at once: the same photo chosen again may have other bytes.
#[derive(Clone, Debug)]
pub struct ChosenFile(pub(super) File);

impl ChosenFile {
    /// The name that the phone gives it; never trusted, only shown.
    pub fn name(&self) -> String {
        self.0.name()
    }

    /// Its size in bytes.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole numbers far below 2^53")]
    pub fn size(&self) -> u64 {
        self.0.size().max(0.0) as u64
    }
}

/// The files of a chooser's `change` event. The chooser is emptied, so that choosing the same file again is an event too.
pub fn files_of(event: &Event) -> Vec<ChosenFile> {
    let Some(input) = event.target().and_then(|target| target.dyn_into::<HtmlInputElement>().ok()) else {
        return Vec::new();
    };
    let Some(list) = input.files() else { return Vec::new() };
    let files = (0..list.length()).filter_map(|index| list.get(index)).map(ChosenFile).collect();
    input.set_value("");
    files
}
