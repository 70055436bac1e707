//! What the equipment calls something, written down letter by letter.

use domain::bounds::NAME_CHARS_MAX;
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
    let too_long = Memo::new(move |_| text.with(|text| text.trim().chars().count() > NAME_CHARS_MAX));
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
    let is_empty = move || text.with(|text| text.trim().is_empty());
    ctx.act.press(t!(w, "step.words.action"), move || is_empty() || too_long.get(), save);
    let fault =
        Signal::derive(move || too_long.get().then(|| t!(w, "reason.fail.words_unreadable", n = NAME_CHARS_MAX)));
    view! {
        <Field label=t!(w, "step.words.as_shown") hint=t!(w, "step.words.hint") kind=FieldKind::Exact value=text fault />
    }
    .into_any()
}
