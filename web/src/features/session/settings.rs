//! A person's own settings: language, numbers, light and dark, devices.

use leptos::prelude::*;
use leptos::task::spawn_local;

use super::devices::{DeviceList, DeviceView};
use super::pin::PinSection;
use crate::adapters::fetch::use_api;
use crate::i18n::{Decimal, Lang, use_words};
use crate::load::{Load, load, shown};
use crate::prefs::{Theme, use_prefs};
use crate::routes::Screen;
use crate::session::use_session;
use crate::t;
use crate::ui::{Choice, Page, RadioRows, Section, Toasts};

/// The page.
#[component]
pub fn SettingsPage() -> impl IntoView {
    let (w, api, prefs, session) = (use_words(), use_api(), use_prefs(), use_session());
    let toasts = expect_context::<Toasts>();
    let lang = RwSignal::new(w.lang.code().to_owned());
    let decimal = RwSignal::new(w.decimal.sign().to_string());
    let theme = RwSignal::new(prefs.theme().word().to_owned());
    let tell = move || {
        let chosen = lang;
        let lang = Lang::from_code(&chosen.get_untracked()).unwrap_or_default();
        let decimal = if decimal.get_untracked() == "," { Decimal::Comma } else { Decimal::Point };
        // The screen is built anew in the other language; what follows must not need this one.
        spawn_local(async move {
            if !prefs.bring(lang).await {
                let _ = chosen.try_set(prefs.words_now().lang.code().to_owned());
                return toasts.say(t!(prefs.words_now(), "settings.language_not_here"));
            }
            if session.prefer(lang, decimal).await.is_err() {
                toasts.say(t!(prefs.words_now(), "settings.kept_here"));
            }
        });
    };
    let languages =
        Lang::ALL.into_iter().map(|lang| Choice::new(lang.code(), w.say(lang.own_name()))).collect::<Vec<_>>();
    let decimals =
        vec![Choice::new(".", t!(w, "settings.decimal.point")), Choice::new(",", t!(w, "settings.decimal.comma"))];
    let themes = vec![
        Choice::new(Theme::Auto.word(), t!(w, "settings.theme.auto")),
        Choice::new(Theme::Light.word(), t!(w, "settings.theme.light")),
        Choice::new(Theme::Dark.word(), t!(w, "settings.theme.dark")),
    ];
    let devices = RwSignal::new(Load::<Vec<DeviceView>>::Waiting);
    let fetch = move || load(devices, async move { api.get("/api/devices").await });
    fetch();
    let profile = session.profile_now();
    let own = profile.as_ref().map(|profile| profile.person.id);
    let watched = if profile.is_some_and(|profile| profile.firm.shows_last_seen) {
        t!(w, "firm.shown_on")
    } else {
        t!(w, "firm.shown_off")
    };
    let list = move |all: Vec<DeviceView>| {
        let mine = all.into_iter().filter(|device| Some(device.person) == own).collect();
        view! { <DeviceList devices=mine changed=fetch /> }.into_any()
    };
    view! {
        <Page title=t!(w, "settings.title") back=Screen::Menu>
            <RadioRows label=t!(w, "settings.theme") value=theme choices=themes on_change=move || prefs.set_theme(Theme::of_word(&theme.get_untracked())) />
            <RadioRows label=t!(w, "settings.language") value=lang choices=languages on_change=tell />
            <p class="soft">{t!(w, "settings.language_unreviewed")}</p>
            <RadioRows label=t!(w, "settings.decimal") value=decimal choices=decimals on_change=tell />
            <PinSection />
            <Section title=t!(w, "firm.seen_of_you")>
                <p>{watched}</p>
            </Section>
            <Section title=t!(w, "device.title")>{shown(devices, fetch, list)}</Section>
        </Page>
    }
}
