//! Sign in; also again, over work that is open on this device.

use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos_router::NavigateOptions;
use leptos_router::hooks::use_navigate;
use serde::Deserialize;

use super::view_model::{email_fault, missing};
use crate::adapters::browser;
use crate::adapters::fetch::{Call, use_api};
use crate::i18n::{Words, use_words};
use crate::refusal::Refusal;
use crate::routes::Screen;
use crate::session::{Standing, use_session};
use crate::t;
use crate::ui::{Banner, CheckRow, Field, FieldKind, LinkButton, Look, Page, Tone};

#[derive(Deserialize)]
struct Setup {
    needed: bool,
}

/// The page.
#[component]
pub fn SignInPage() -> impl IntoView {
    let (w, session, api) = (use_words(), use_session(), use_api());
    let kept = session.profile_now();
    let email = RwSignal::new(kept.as_ref().and_then(|profile| profile.person.email.clone()).unwrap_or_default());
    let password = RwSignal::new(String::new());
    let plain = RwSignal::new(false);
    let (email_wrong, password_wrong) = (RwSignal::new(None), RwSignal::new(None));
    let refused = RwSignal::new(None::<Refusal>);
    let busy = RwSignal::new(false);
    let setup_needed = RwSignal::new(false);
    spawn_local(async move {
        let setup =
            api.send(Call::new("GET", "/api/setup").anonymous()).await.and_then(|answer| answer.json::<Setup>());
        let _ = setup_needed.try_set(setup.is_ok_and(|setup| setup.needed));
    });
    let navigate = use_navigate();
    let sign_in = move || {
        email_wrong.set(email_fault(w, &email.get_untracked()));
        password_wrong.set(missing(w, &password.get_untracked()));
        if email_wrong.with_untracked(Option::is_some)
            || password_wrong.with_untracked(Option::is_some)
            || busy.get_untracked()
        {
            return;
        }
        busy.set(true);
        refused.set(None);
        let navigate = navigate.clone();
        spawn_local(async move {
            let outcome = session.sign_in(email.get_untracked(), password.get_untracked()).await;
            let _ = busy.try_set(false);
            match outcome {
                Ok(()) => {
                    navigate(&Screen::Home.href(), NavigateOptions { replace: true, ..NavigateOptions::default() })
                }
                Err(refusal) => {
                    let _ = refused.try_set(Some(refusal));
                }
            }
        });
    };
    let bottom = move || {
        let label = if busy.get() { t!(w, "sign_in.busy") } else { t!(w, "sign_in.action") };
        view! { <SubmitBelow form="sign-in" label busy /> }
    };
    view! {
        <Page title=t!(w, "sign_in.title") alone=true bottom=bottom>
            <Sign />
            {(!browser::is_secure()).then(|| view! { <Banner tone=Tone::Caution><p>{t!(w, "sign_in.plain_http")}</p></Banner> })}
            {move || setup_needed.get().then(|| view! { <Banner><p>{t!(w, "sign_in.setup")}</p></Banner> })}
            {kept.map(|profile| move || {
                let (told, onward) = already_here(w, session.standing(), &profile.person.display_name);
                view! {
                    <Banner>
                        <p>{told}</p>
                        <LinkButton label=onward href=Screen::Home.href() />
                    </Banner>
                }
            })}
            {move || refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
            <form
                id="sign-in"
                class="stack loose"
                novalidate
                on:submit=move |event| {
                    event.prevent_default();
                    sign_in();
                }
            >
                <Field label=t!(w, "sign_in.email") value=email kind=FieldKind::Email fault=email_wrong />
                <Field label=t!(w, "sign_in.password") value=password kind=FieldKind::Password fault=password_wrong plain />
                <CheckRow label=t!(w, "sign_in.show_password") checked=plain />
            </form>
            <LinkButton label=t!(w, "about.title") href=Screen::About.href() look=Look::Quiet />
        </Page>
    }
}

/// Somebody works on this device already: what is told of them, and the word on the way on. Only the server's word ends a sign-in.
fn already_here(w: Words, standing: Standing, name: &str) -> (String, &'static str) {
    match standing {
        Standing::Ended => (t!(w, "sign_in.again").to_owned(), t!(w, "sign_in.work_on")),
        Standing::Open => (t!(w, "sign_in.is_open", name = name), t!(w, "sign_in.go_on")),
        Standing::Unknown => (t!(w, "sign_in.not_asked", name = name), t!(w, "sign_in.go_on")),
    }
}

/// The mark and the name, on pages that stand alone.
#[component]
pub(super) fn Sign() -> impl IntoView {
    view! {
        <p class="sign-plate">
            <img src="/icons/mark.svg" alt="" width="64" height="64" />
            <span>"Witnessmark"</span>
        </p>
    }
}

/// A password field with the switch that shows it.
#[component]
pub(super) fn NewPassword(value: RwSignal<String>, #[prop(into)] fault: Signal<Option<String>>) -> impl IntoView {
    let w = use_words();
    let plain = RwSignal::new(false);
    let hint = t!(w, "link.password_hint", n = super::view_model::PASSWORD_CHARS_MIN);
    view! {
        <Field label=t!(w, "link.password") value kind=FieldKind::NewPassword hint fault plain />
        <CheckRow label=t!(w, "sign_in.show_password") checked=plain />
    }
}

/// Sends the form `form`, from the bottom bar.
#[component]
pub(super) fn SubmitBelow(form: &'static str, label: &'static str, #[prop(into)] busy: Signal<bool>) -> impl IntoView {
    view! {
        <button type="submit" form=form class="act main" disabled=move || busy.get()>
            {label}
        </button>
    }
}

/// A way back to the sign-in.
#[component]
pub(super) fn ToSignIn() -> impl IntoView {
    let w = use_words();
    view! { <LinkButton label=t!(w, "link.go_sign_in") href=Screen::SignIn.href() look=Look::Main /> }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_sign_in_that_the_server_ended_ran_out() {
        let told = |standing| already_here(Words::default(), standing, "Wren Ashdown").0;
        assert!(told(Standing::Ended).starts_with("Your sign-in ran out."));
        for standing in [Standing::Open, Standing::Unknown] {
            let told = told(standing);
            assert!(told.contains("Wren Ashdown") && !told.contains("ran out"), "{told}");
        }
    }
}
