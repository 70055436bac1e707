//! What the equipment calls something, written down letter by letter.

use domain::bounds::{Fault, NAME_CHARS_MAX, name};
use domain::job_file::Body;
use domain::job_file::body::Words as Written;
use leptos::prelude::*;

use super::ctx::Ctx;
use crate::t;
use crate::ui::{Field, FieldKind};

/// Records words of the equipment.
#[component]
pub fn WordsPart(
    /// Where.
    ctx: Ctx,
) -> impl IntoView {
    let w = ctx.w;
    let text = RwSignal::new(String::new());
    let typed = Memo::new(move |_| text.get());
    let kept = ctx.keep_typed("words", typed, move |typed: String| text.set(typed));
    // By the rule that the gate judges by.
    let wrong = Memo::new(move |_| text.with(|text| name(text.trim()).err()));
    let save = move || {
        let (Some(id), written) = (ctx.id(), text.get_untracked().trim().to_owned()) else { return };
        let corrects = ctx.correcting.get_untracked();
        let body = Body::Words(Written { at: ctx.place(), text: written, corrects });
        let forget = kept.forgetting();
        ctx.write(vec![(id, body).into()], move || {
            text.try_set(String::new());
            forget();
        });
    };
    ctx.act.press(t!(w, "step.words.action"), move || wrong.get().is_some(), save);
    let fault = Signal::derive(move || {
        // An empty field is no fault before anything is typed.
        let told = wrong.get().filter(|fault| *fault != Fault::Needed);
        told.map(|_| t!(w, "reason.fail.words_unreadable", n = NAME_CHARS_MAX))
    });
    view! {
        <Field label=t!(w, "step.words.as_shown") hint=t!(w, "step.words.hint") kind=FieldKind::Exact value=text fault />
    }
    .into_any()
}
