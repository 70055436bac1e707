//! A departure that the lead allows over the telephone: what they read out is typed here. Needs no network.

use domain::ids::EntryId;
use domain::job_file::Body;
use domain::job_file::body::DeviationByVoice;
use domain::people::voice::{Sealed, Trial, Tried, tidy};
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::ctx::Ctx;
use crate::adapters::browser;
use crate::device::Saving;
use crate::t;
use crate::ui::{Button, Field, FieldKind, Look, Progress};

/// Rounds of the slow hash between two looks at the screen: some milliseconds on a slow phone.
const ROUNDS_AT_ONCE: u32 = 500;

/// Takes the answer to one request; the button first, the field once somebody wants it.
#[component]
pub fn TelephonePart(
    /// Where.
    ctx: Ctx,
    /// The request that waits for the lead.
    asked: EntryId,
) -> impl IntoView {
    let w = ctx.w;
    let typed = RwSignal::new(String::new());
    let open = RwSignal::new(false);
    let kept = Memo::new(move |_| typed.get());
    let draft = ctx.keep_typed("telephone", kept, move |before: String| {
        typed.set(before);
        open.set(true);
    });
    let fault = RwSignal::new(None::<String>);
    let percent = RwSignal::new(None::<u8>);
    let take = move || {
        let answer = typed.get_untracked();
        let sealed = ctx.card.get_untracked().and_then(|card| card.deviation).map(|own| own.sealed).unwrap_or_default();
        if sealed.is_empty() {
            return fault.set(Some(t!(w, "step.voice.none").to_owned()));
        }
        if tidy(&answer).is_none() {
            return fault.set(Some(t!(w, "step.voice.form").to_owned()));
        }
        fault.set(None);
        percent.set(Some(0));
        spawn_local(async move {
            let right = find(&answer, &sealed, percent).await;
            let _ = percent.try_set(None);
            let Some(said) = right.map(|(issue, proof)| DeviationByVoice { asked, issue, proof }) else {
                let _ = fault.try_set(Some(t!(w, "step.voice.wrong").to_owned()));
                return;
            };
            let Some(id) = ctx.id() else { return };
            let forget = draft.forgetting();
            ctx.write(vec![(id, Body::DeviationByVoice(said)).into()], move || {
                typed.try_set(String::new());
                forget();
            });
        });
    };
    let busy = Signal::derive(move || percent.get().is_some() || ctx.saving.get() == Saving::Busy);
    let looking = move || {
        percent.get().is_some().then(|| {
            let done = Signal::derive(move || u32::from(percent.get().unwrap_or_default()));
            view! { <Progress label=t!(w, "step.voice.looking") done total=100_u32 /> }
        })
    };
    move || {
        if !open.get() {
            let offer = t!(w, "step.voice.offer");
            return view! { <Button label=offer look=Look::Quiet on_press=move || open.set(true) /> }.into_any();
        }
        view! {
            <div class="card sunk spoken">
                <h3>{t!(w, "step.voice.title")}</h3>
                <p>{t!(w, "step.voice.explain")}</p>
                <Field label=t!(w, "step.voice.answer") value=typed kind=FieldKind::Exact fault disabled=busy hint=t!(w, "step.voice.hint") />
                {looking}
                <Button label=t!(w, "step.voice.use") busy on_press=take />
                <Button label=t!(w, "ui.cancel") look=Look::Quiet on_press=move || open.set(false) />
            </div>
        }
        .into_any()
    }
}

/// Tries what was typed against each answer that is still good, and lets the page breathe meanwhile.
async fn find(typed: &str, sealed: &[Sealed], percent: RwSignal<Option<u8>>) -> Option<(EntryId, domain::ids::Hash32)> {
    for one in sealed {
        let mut trial = Trial::of(typed, one)?;
        loop {
            browser::breathe().await;
            match trial.go_on(ROUNDS_AT_ONCE) {
                Tried::Percent(done) => {
                    let _ = percent.try_set(Some(done));
                }
                Tried::Wrong => break,
                Tried::Right { issue, proof } => return Some((issue, proof)),
            }
        }
    }
    None
}
