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
            Self::Good => Icon::MarkWhole,
            Self::Wait => Icon::MarkHalf,
            Self::Caution => Icon::Caution,
            Self::Stop => Icon::MarkBroken,
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
    // The bar turns on the left post; six stripes of paint on it.
    let stripes = "<path class='bar-stripe' d='M52 27l10-13h16L68 27zM100 27l10-13h16l-10 13zM148 27l10-13h16l-10 13zM196 27l10-13h16l-10 13zM244 27l10-13h16l-10 13z'/>";
    let bar = move || {
        let turn = if open.get() { "rotate(-62 34 30)" } else { "rotate(0 34 30)" };
        view! {
            <g transform=turn>
                <rect class="bar" x="20" y="14" width="276" height="13"></rect>
                <g inner_html=stripes></g>
            </g>
        }
    };
    view! {
        <div class="gate" class:open=move || open.get()>
            <svg class="gate-road" viewBox="0 -2 320 62" preserveAspectRatio="xMidYMax slice" aria-hidden="true">
                <path class="lane" d="M0 54H320"></path>
                {bar}
                <rect class="post" x="28" y="8" width="12" height="52"></rect>
                <rect class="post" x="284" y="20" width="8" height="40"></rect>
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
