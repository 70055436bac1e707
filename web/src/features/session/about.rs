//! What this program is, and what it does not do.

use leptos::prelude::*;

use crate::adapters::browser;
use crate::i18n::use_words;
use crate::routes::Screen;
use crate::session::use_session;
use crate::ui::{Caution, Page, Section};
use crate::{key, t};

/// The page.
#[component]
pub fn AboutPage() -> impl IntoView {
    let w = use_words();
    // Also read before a sign-in.
    let back = if use_session().profile_now().is_some() { Screen::Menu } else { Screen::SignIn };
    view! {
        <Page title=t!(w, "about.title") back>
            <Section title=t!(w, "about.cautions")>
                <Caution text=key!("about.caution.record") />
                <Caution text=key!("about.caution.code") />
                <Caution text=key!("about.caution.manual") />
                <Caution text=key!("about.caution.licence") />
                <Caution text=key!("about.caution.stop") />
            </Section>
            <p class="soft">{t!(w, "about.version", build = browser::build())}</p>
            <p class="soft">{t!(w, "about.licence")}</p>
        </Page>
    }
}
