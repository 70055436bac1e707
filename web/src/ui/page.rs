//! The frame of a screen: where one came from at the left, the state of sending at the right, one main action at the bottom.

use leptos::prelude::*;
use leptos::text_prop::TextProp;
use leptos_router::components::A;

use super::telling::loading_words;
use super::{Glyph, Icon, SyncCorner};
use crate::app::SyncStatus;
use crate::i18n::use_words;
use crate::routes::Screen;
use crate::t;

/// A screen. `back` is the address it belongs to (without it the menu stands there), `bottom` its main action.
#[component]
pub fn Page(
    /// Heading; also the title of the window.
    #[prop(into)]
    title: TextProp,
    /// Where this belongs to.
    #[prop(into, optional)]
    back: Option<Screen>,
    /// A line under the heading.
    #[prop(into, optional)]
    lead: Option<TextProp>,
    /// A desk view: uses the whole width.
    #[prop(optional)]
    wide: bool,
    /// Outside the work: no menu, no corner (sign-in and links).
    #[prop(optional)]
    alone: bool,
    /// The main action and what belongs to it; drawn anew when something changes that it reads.
    #[prop(into, optional)]
    bottom: Option<ViewFn>,
    /// Content.
    children: Children,
) -> impl IntoView {
    let w = use_words();
    let heading = title.clone();
    let for_window = title;
    Effect::new(move |_| document().set_title(&for_window.get()));
    let corner = (!alone).then(use_context::<SyncStatus>).flatten();
    let left = match (back, alone) {
        (Some(screen), _) => view! {
            <A href=screen.href() attr:class="icon-link">
                <Glyph icon=Icon::Back />
                <span>{t!(w, "ui.back")}</span>
            </A>
        }
        .into_any(),
        (None, false) => view! {
            <A href=Screen::Menu.href() attr:class="icon-link menu-link">
                <Glyph icon=Icon::Menu />
                <span>{t!(w, "menu.title")}</span>
            </A>
        }
        .into_any(),
        (None, true) => ().into_any(),
    };
    view! {
        <div class="page" class:wide=wide>
            <header class="page-top">
                {left}
                <span class="spring"></span>
                {corner.map(|status| view! { <SyncCorner word=status.word href=Screen::Tray.href() /> })}
            </header>
            <main class="page-body" id="main" tabindex="-1">
                <h1 class="page-title" dir="auto">{move || heading.get()}</h1>
                {lead.map(|lead| view! { <p class="page-lead">{move || lead.get()}</p> })}
                {children()}
            </main>
            {bottom.map(|bottom| view! { <div class="bottom"><div class="within">{move || bottom.run()}</div></div> })}
        </div>
    }
    .into_any()
}

/// A part of a screen under a heading of its own.
#[component]
pub fn Section(
    /// Heading.
    #[prop(into)]
    title: TextProp,
    /// Content.
    children: Children,
) -> impl IntoView {
    view! {
        <section class="stack">
            <h2>{move || title.get()}</h2>
            {children()}
        </section>
    }
    .into_any()
}

/// Stands where something will be.
#[component]
pub fn Waiting() -> impl IntoView {
    view! {
        <div class="skeleton" role="status">
            <span class="unseen">{loading_words()}</span>
            <i></i>
            <i></i>
            <i></i>
        </div>
    }
    .into_any()
}

/// Nothing is there: says so, and what to do.
#[component]
pub fn Empty(
    /// What is not there.
    #[prop(into)]
    words: TextProp,
    /// A picture.
    #[prop(into, optional)]
    icon: Option<Icon>,
    /// What to do.
    #[prop(optional)]
    children: Option<Children>,
) -> impl IntoView {
    view! {
        <div class="empty">
            <Glyph icon=icon.unwrap_or(Icon::Info) />
            <p>{move || words.get()}</p>
            {children.map(|children| children())}
        </div>
    }
    .into_any()
}
