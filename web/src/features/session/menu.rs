//! All rooms of a person, and their own things; and the page for addresses that lead nowhere.

use leptos::prelude::*;

use super::view_model::role_line;
use crate::i18n::{Key, use_words};
use crate::routes::{Screen, rooms_of};
use crate::session::{Standing, use_session};
use crate::t;
use crate::ui::{Banner, Empty, Icon, LinkButton, Look, Page, RowLink, Tone};

/// The page.
#[component]
pub fn MenuPage() -> impl IntoView {
    let (w, session) = (use_words(), use_session());
    let profile = session.profile_now();
    let roles = profile.as_ref().map(|profile| profile.person.roles.clone()).unwrap_or_default();
    let lead =
        profile.map(|profile| t!(w, "menu.signed_in_as", name = profile.person.display_name, firm = profile.firm.name));
    let rooms: Vec<AnyView> = rooms_of(&roles)
        .map(|room| view! { <RowLink href=room.screen.href() name=w.say(room.name) icon=room.icon /> }.into_any())
        .collect();
    let ended = move || {
        (session.standing() == Standing::Ended).then(|| {
            view! {
                <Banner tone=Tone::Caution>
                    <p>{t!(w, "sign_in.again")}</p>
                    <LinkButton label=t!(w, "sign_in.action") href=Screen::SignIn.href() />
                </Banner>
            }
        })
    };
    view! {
        <Page title=t!(w, "menu.title") lead=lead.unwrap_or_default()>
            {ended}
            {rooms.is_empty().then(|| view! { <Empty words=t!(w, "home.nothing") icon=Icon::People /> })}
            <nav class="rooms" aria-label=t!(w, "menu.title")>
                {rooms}
                <RowLink href=Screen::Settings.href() name=t!(w, "settings.title") icon=Icon::Settings detail=role_line(w, &roles) />
                <RowLink href=Screen::About.href() name=t!(w, "about.title") icon=Icon::Info />
                <RowLink href=Screen::SignOut.href() name=t!(w, "sign_out.title") icon=Icon::Leave />
            </nav>
        </Page>
    }
}

/// An address that leads nowhere, or not for this person.
#[component]
pub fn NowherePage(
    /// Why.
    words: Key,
) -> impl IntoView {
    let w = use_words();
    view! {
        <Page title=w.say(words) bottom=move || view! { <LinkButton label=t!(w, "page.home") href=Screen::Home.href() look=Look::Main /> }>
            ""
        </Page>
    }
}
