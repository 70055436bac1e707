//! What tells a state: always an icon and a word, never a colour alone.

use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos::text_prop::TextProp;

use super::{Glyph, Icon};
use crate::i18n::{Key, Lang, use_words};
use crate::prefs::Prefs;
use crate::t;

/// The weight of what is told.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tone {
    /// Neither good nor bad.
    #[default]
    Plain,
    /// As it should be.
    Good,
    /// Something is under way or waits.
    Wait,
    /// Look out.
    Caution,
    /// Something is wrong or shut.
    Stop,
}

impl Tone {
    pub(super) const fn class(self) -> &'static str {
        match self {
            Self::Plain => "",
            Self::Good => "good",
            Self::Wait => "wait",
            Self::Caution => "caution",
            Self::Stop => "stop",
        }
    }

    const fn icon(self) -> Icon {
        match self {
            Self::Plain => Icon::Info,
            Self::Good => Icon::Tick,
            Self::Wait => Icon::Half,
            Self::Caution => Icon::Caution,
            Self::Stop => Icon::Cross,
        }
    }
}

/// A message on the page. `Stop` is read out at once by screen readers.
#[component]
pub fn Banner(
    /// Weight.
    #[prop(optional)]
    tone: Tone,
    /// First line.
    #[prop(into, optional)]
    title: Option<TextProp>,
    /// The rest.
    #[prop(optional)]
    children: Option<Children>,
) -> impl IntoView {
    let class = match tone {
        Tone::Plain | Tone::Wait => "banner notice",
        Tone::Good => "banner good",
        Tone::Caution => "banner caution",
        Tone::Stop => "banner error",
    };
    let icon = if tone == Tone::Plain { Icon::Info } else { tone.icon() };
    view! {
        <div class=class role=if tone == Tone::Stop { "alert" } else { "note" }>
            <Glyph icon />
            <div class="words">
                {title.map(|title| view! { <h3>{move || title.get()}</h3> })}
                {children.map(|children| children())}
            </div>
        </div>
    }
    .into_any()
}

/// A caution of ours in the person's language; a translation has the English beside it.
#[component]
pub fn Caution(
    /// The words; without blanks.
    text: Key,
) -> impl IntoView {
    let w = use_words();
    // At the start only the words of the language in use are loaded.
    let prefs = use_context::<Prefs>();
    if let (Some(prefs), true) = (prefs, w.lang != Lang::En) {
        spawn_local(async move {
            prefs.bring(Lang::En).await;
        });
    }
    let english = move || {
        if let Some(prefs) = prefs {
            prefs.follow_come();
        }
        w.english(text).map(|english| view! { <p class="english" lang="en">{english}</p> })
    };
    view! {
        <Banner tone=Tone::Caution>
            <p>{w.say(text)}</p>
            {english}
        </Banner>
    }
    .into_any()
}

/// A word in a frame: a state in a list or a table.
#[component]
pub fn Chip(
    /// The word.
    #[prop(into)]
    label: TextProp,
    /// Weight.
    #[prop(optional)]
    tone: Tone,
    /// Another picture than that of the tone.
    #[prop(into, optional)]
    icon: Option<Icon>,
) -> impl IntoView {
    view! {
        <span class=format!("chip {}", tone.class())>
            <Glyph icon=icon.unwrap_or(tone.icon()) />
            {move || label.get()}
        </span>
    }
    .into_any()
}

/// How far something is.
#[component]
pub fn Progress(
    /// What goes on, with the numbers in words.
    #[prop(into)]
    label: TextProp,
    /// Done so far.
    #[prop(into)]
    done: Signal<u32>,
    /// All of it; 0 where that is not known.
    #[prop(into)]
    total: Signal<u32>,
) -> impl IntoView {
    view! {
        <label class="progress">
            <span>{move || label.get()}</span>
            <progress
                max=move || total.get().max(1).to_string()
                value=move || (total.get() > 0).then(|| done.get().to_string())
            ></progress>
        </label>
    }
    .into_any()
}

/// A gate across the road: shut, with what it still needs; or open.
#[component]
pub fn Gate(
    /// Is the road free?
    #[prop(into)]
    open: Signal<bool>,
    /// The word for its state.
    #[prop(into)]
    title: TextProp,
    /// What it still needs, one line each; for an open gate, what opened it.
    #[prop(into)]
    needs: Signal<Vec<String>>,
    /// More below the list.
    #[prop(optional)]
    children: Option<Children>,
) -> impl IntoView {
    // A leaf between two posts, five stripes of paint on its rail. Open, it is swung towards the one who comes: short, and on its own side.
    const SHUT: &str = "<path class='bar' d='M40 12H280V25H40zM40 38H280V46H40z'/><path class='bar-stripe' d='M56 25l10-13h16L72 25zM104 25l10-13h16l-10 13zM152 25l10-13h16l-10 13zM200 25l10-13h16l-10 13zM248 25l10-13h16l-10 13z'/>";
    const OPEN: &str = "<path class='bar' d='M40 12 92 22V36L40 25zM40 38 92 52V60L40 46z'/><path class='bar-stripe' d='M54 28l5-12 10 2-5 12zM76 32l5-12 8 1.500-5 12z'/><path class='way' d='M132 35h92M206 24l20 11-20 11'/>";
    let leaf = move || if open.get() { OPEN } else { SHUT };
    view! {
        <div class="gate" class:open=move || open.get()>
            <svg class="gate-road" viewBox="0 0 320 66" preserveAspectRatio="xMidYMid meet" aria-hidden="true">
                // Longer than the picture: beside it the road goes on.
                <path class="lane" d="M-900 63H1220"></path>
                <g class="leaf" inner_html=leaf></g>
                <rect class="post" x="28" y="4" width="12" height="60"></rect>
                <rect class="post" x="280" y="4" width="12" height="60"></rect>
            </svg>
            <div class="gate-words">
                <h2>{move || title.get()}</h2>
                <ul class="stack">{move || needs.get().into_iter().map(|need| view! { <li>{need}</li> }).collect_view()}</ul>
                {children.map(|children| children())}
            </div>
        </div>
    }
    .into_any()
}

/// Words for a list that is still being fetched.
pub(super) fn loading_words() -> &'static str {
    t!(use_words(), "ui.loading")
}
