//! A question above the page: the browser's own dialog, so that focus, Escape and the back gesture are its business.

use leptos::prelude::*;
use leptos::text_prop::TextProp;

use super::{Button, Look};
use crate::i18n::use_words;
use crate::t;

/// A dialog. It follows `open` and sets it to false when the person closes it. `acts` are its buttons; a way out is always below them.
#[component]
pub fn Sheet(
    /// Is it there?
    open: RwSignal<bool>,
    /// What it asks.
    #[prop(into)]
    title: TextProp,
    /// The word on the way out; "Cancel" where nothing is said.
    #[prop(into, optional)]
    way_out: Option<TextProp>,
    /// Its buttons.
    #[prop(into, optional)]
    acts: ViewFn,
    /// Its content; built when it opens.
    children: ChildrenFn,
) -> impl IntoView {
    let w = use_words();
    let node = NodeRef::<leptos::html::Dialog>::new();
    Effect::new(move |_| {
        let Some(dialog) = node.get() else { return };
        if open.get() && !dialog.open() {
            // Refused only while the page is going away: then nobody can answer it either.
            let _ = dialog.show_modal();
        } else if !open.get() && dialog.open() {
            dialog.close();
        }
    });
    let way_out = way_out.unwrap_or_else(|| t!(w, "ui.cancel").into());
    let body = move || {
        open.get().then(|| {
            let (title, way_out) = (title.clone(), way_out.clone());
            view! {
                <div class="sheet-body">
                    <h2>{move || title.get()}</h2>
                    {children()}
                </div>
                <div class="sheet-acts">
                    {acts.run()}
                    <Button label=way_out look=Look::Quiet on_press=move || open.set(false) />
                </div>
            }
        })
    };
    view! {
        <dialog class="sheet" node_ref=node on:close=move |_| open.set(false)>
            {body}
        </dialog>
    }
    .into_any()
}
