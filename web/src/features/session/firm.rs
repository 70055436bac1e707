//! The firm's own settings, for its owner: its name, and what owners see of their people.

use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::Serialize;

use crate::adapters::fetch::use_api;
use crate::features::bounds::name_fault;
use crate::i18n::use_words;
use crate::refusal::Refusal;
use crate::session::{Firm, use_session};
use crate::t;
use crate::ui::{Banner, Button, CheckRow, Field, Section, Toasts, Tone};

#[derive(Serialize)]
struct Change {
    name: String,
    shows_last_seen: bool,
}

/// The settings.
#[component]
pub(super) fn FirmSettings() -> impl IntoView {
    let (w, api, session) = (use_words(), use_api(), use_session());
    let toasts = expect_context::<Toasts>();
    let firm = session.profile_now().map(|profile| profile.firm);
    let name = RwSignal::new(firm.as_ref().map(|firm| firm.name.clone()).unwrap_or_default());
    let shows = RwSignal::new(firm.is_some_and(|firm| firm.shows_last_seen));
    let (tried, busy) = (RwSignal::new(false), RwSignal::new(false));
    let refused = RwSignal::new(None::<Refusal>);
    let save = move || {
        tried.set(true);
        let body = Change { name: name.get_untracked(), shows_last_seen: shows.get_untracked() };
        if name_fault(w, &body.name).is_some() {
            return;
        }
        busy.set(true);
        refused.set(None);
        spawn_local(async move {
            let outcome = api.exchange::<Firm>("PATCH", "/api/firm", &body).await;
            let _ = busy.try_set(false);
            match outcome {
                Ok(firm) => {
                    session.set_firm(firm);
                    toasts.say(t!(w, "people.saved"));
                }
                Err(refusal) => {
                    let _ = refused.try_set(Some(refusal));
                }
            }
        });
    };
    let fault = Signal::derive(move || tried.get().then(|| name.with(|value| name_fault(w, value))).flatten());
    view! {
        <Section title=t!(w, "firm.title")>
            {move || refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
            <Field label=t!(w, "link.firm_name") value=name fault />
            <CheckRow label=t!(w, "firm.shows_last_seen") hint=t!(w, "firm.shows_last_seen.hint") checked=shows />
            <Button label=t!(w, "people.save") busy on_press=save />
        </Section>
    }
}
