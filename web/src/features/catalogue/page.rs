//! The page: three parts, the part stands in the address.

use domain::people::{Action, Ownership, may};
use leptos::prelude::*;
use leptos_router::hooks::use_query_map;

use super::instruments::Instruments;
use super::methods::Methods;
use super::models::Models;
use crate::adapters::browser;
use crate::adapters::fetch::use_api;
use crate::i18n::format::Day;
use crate::i18n::{Key, use_words};
use crate::load::{Load, load, shown};
use crate::session::use_session;
use crate::store::Reference;
use crate::ui::Page;
use crate::{key, t};

/// A part of the catalogue.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
enum Part {
    #[default]
    Instruments,
    Models,
    Methods,
}

impl Part {
    const ALL: [Self; 3] = [Self::Instruments, Self::Models, Self::Methods];

    const fn word(self) -> &'static str {
        match self {
            Self::Instruments => "instruments",
            Self::Models => "models",
            Self::Methods => "methods",
        }
    }

    const fn name(self) -> Key {
        match self {
            Self::Instruments => key!("catalogue.instruments"),
            Self::Models => key!("catalogue.models"),
            Self::Methods => key!("catalogue.methods"),
        }
    }

    fn of_word(word: Option<&str>) -> Self {
        Self::ALL.into_iter().find(|part| Some(part.word()) == word).unwrap_or_default()
    }
}

/// The page.
#[component]
pub fn CataloguePage() -> impl IntoView {
    let (w, api, session) = (use_words(), use_api(), use_session());
    let query = use_query_map();
    let part = Memo::new(move |_| Part::of_word(query.read().get("part").as_deref()));
    let data = RwSignal::new(Load::<Reference>::Waiting);
    let fetch = move || load(data, async move { api.get("/api/reference").await });
    fetch();
    let roles = session.profile_now().map(|profile| profile.person.roles).unwrap_or_default();
    let may_instruments = may(&roles, Action::ChangeInstruments, Ownership::Firm).is_some();
    let may_models = may(&roles, Action::ChangeModels, Ownership::Firm).is_some();
    let now = browser::now_us();
    let today = Day::of_us(now, browser::offset_minutes(now));
    let tab = move |own: Part| {
        let current = move || (part.get() == own).then_some("page");
        view! { <a href=format!("/catalogue?part={}", own.word()) class="tab" aria-current=current>{w.say(own.name())}</a> }
    };
    let draw = move |reference: Reference| match part.get() {
        Part::Instruments => {
            view! { <Instruments all=reference.instruments today may_change=may_instruments changed=fetch /> }
                .into_any()
        }
        Part::Models => view! { <Models all=reference.models may_change=may_models changed=fetch /> }.into_any(),
        Part::Methods => view! { <Methods all=reference.methods /> }.into_any(),
    };
    view! {
        <Page title=t!(w, "screen.catalogue") wide=true>
            <nav class="tabs" aria-label=t!(w, "screen.catalogue")>{Part::ALL.into_iter().map(tab).collect_view()}</nav>
            {shown(data, fetch, draw)}
        </Page>
    }
}
