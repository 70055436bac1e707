//! Short messages that no page owns. They stay until somebody closes them or a newer one needs the place: nobody in a garage reads
//! against a clock.

use leptos::prelude::*;

use super::{Button, Glyph, Icon, Look};
use crate::i18n::use_words;
use crate::t;

/// So many stay in sight.
const MOST: usize = 2;

/// Where messages are put; a context.
#[derive(Clone, Copy)]
pub struct Toasts(RwSignal<Vec<(u32, String)>>);

impl Default for Toasts {
    fn default() -> Self {
        Self(RwSignal::new(Vec::new()))
    }
}

impl Toasts {
    /// Says something; the oldest leaves where there are too many.
    pub fn say(self, words: impl Into<String>) {
        let words = words.into();
        self.0.update(|list| {
            // The same message twice is one message.
            list.retain(|(_, own)| *own != words);
            let number = list.last().map_or(0, |(number, _)| number + 1);
            list.push((number, words));
            let surplus = list.len().saturating_sub(MOST);
            list.drain(..surplus);
        });
    }

    /// Forgets all: a new page begins.
    pub fn clear(self) {
        if !self.0.with_untracked(Vec::is_empty) {
            self.0.update(Vec::clear);
        }
    }
}

/// Draws them; stands once in the app.
#[component]
pub fn ToastList() -> impl IntoView {
    let w = use_words();
    let toasts = expect_context::<Toasts>();
    let one = move |(number, words): (u32, String)| {
        let close = move || toasts.0.update(|list| list.retain(|(own, _)| *own != number));
        view! {
            <div class="toast">
                <Glyph icon=Icon::Info />
                <span class="words">{words}</span>
                <Button label=t!(w, "ui.close") look=Look::Quiet on_press=close />
            </div>
        }
    };
    view! { <div class="toasts" role="status" aria-live="polite">{move || toasts.0.get().into_iter().map(one).collect_view()}</div> }.into_any()
}
