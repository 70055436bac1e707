//! A person's own PIN for countersigning, in their settings.

use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::Serialize;

use crate::adapters::fetch::{Call, use_api};
use crate::i18n::use_words;
use crate::refusal::Refusal;
use crate::session::{Person, use_session};
use crate::t;
use crate::ui::{Banner, Button, Field, FieldKind, Section, Toasts, Tone};

#[derive(Serialize)]
struct NewPin {
    password: String,
    pin: String,
}

/// Says whether there is one and sets another.
#[component]
pub fn PinSection() -> impl IntoView {
    let (w, api, session) = (use_words(), use_api(), use_session());
    let toasts = expect_context::<Toasts>();
    let own = session.profile_now().map(|profile| profile.person);
    let has_one = RwSignal::new(own.as_ref().is_some_and(|person| person.pin.is_some()));
    let id = own.map(|person| person.id);
    let (password, pin) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let (busy, refused) = (RwSignal::new(false), RwSignal::new(None::<Refusal>));
    let save = move || {
        let Some(id) = id else { return };
        let body = NewPin { password: password.get_untracked(), pin: pin.get_untracked() };
        busy.set(true);
        refused.set(None);
        spawn_local(async move {
            let call = Call::new("PUT", format!("/api/people/{id}/pin")).json(&body);
            let outcome = api.send(call).await.and_then(|answer| answer.json::<Person>());
            let _ = busy.try_set(false);
            match outcome {
                Ok(person) => {
                    let _ = (password.try_set(String::new()), pin.try_set(String::new()), has_one.try_set(true));
                    session.know(person);
                    toasts.say(t!(w, "pin.saved"));
                }
                Err(refusal) => {
                    let _ = refused.try_set(Some(refusal));
                }
            }
        });
    };
    let empty = Signal::derive(move || password.with(String::is_empty) || pin.with(String::is_empty));
    view! {
        <Section title=t!(w, "pin.title")>
            <p>{move || if has_one.get() { t!(w, "pin.have") } else { t!(w, "pin.have_none") }}</p>
            <p class="soft">{t!(w, "pin.explain")}</p>
            {move || refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
            <Field label=t!(w, "pin.password") value=password kind=FieldKind::Password />
            <Field label=t!(w, "pin.new") value=pin kind=FieldKind::Pin hint=t!(w, "pin.hint") />
            <Button label=t!(w, "pin.save") busy disabled=empty on_press=save />
        </Section>
    }
}
