//! What can be pressed.

use leptos::prelude::*;
use leptos::text_prop::TextProp;
use leptos_router::components::A;

use super::{Glyph, Icon};

/// How much a button asks for attention.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Look {
    /// The one main action of a screen: in the bottom bar, with the mark on it.
    Main,
    /// Any other.
    #[default]
    Plain,
    /// Takes something away or stops something.
    Danger,
    /// Of little weight, inside a text.
    Quiet,
}

impl Look {
    pub(super) const fn class(self) -> &'static str {
        match self {
            Self::Main => "act main",
            Self::Plain => "act",
            Self::Danger => "act danger",
            Self::Quiet => "act quiet",
        }
    }
}

/// A button. While `busy` it cannot be pressed again and shows that it works.
#[component]
pub fn Button(
    /// The word on it.
    #[prop(into)]
    label: TextProp,
    /// What happens.
    #[prop(into, optional)]
    on_press: Option<UnsyncCallback<()>>,
    /// Weight.
    #[prop(optional)]
    look: Look,
    /// Picture before the word.
    #[prop(into, optional)]
    icon: Option<Icon>,
    /// Cannot be pressed now; say near it why.
    #[prop(into, optional)]
    disabled: Signal<bool>,
    /// Its work is under way.
    #[prop(into, optional)]
    busy: Signal<bool>,
    /// What it is about: a second line on it.
    #[prop(into, optional)]
    about: Signal<Option<String>>,
    /// Sends the form around it.
    #[prop(optional)]
    submit: bool,
) -> impl IntoView {
    view! {
        <button
            type=if submit { "submit" } else { "button" }
            class=look.class()
            class:busy=move || busy.get()
            disabled=move || disabled.get() || busy.get()
            on:click=move |_| {
                if let Some(on_press) = on_press {
                    on_press.run(());
                }
            }
        >
            {move || busy.get().then(|| view! { <Glyph icon=Icon::Turning /> })}
            {icon.map(|icon| view! { <Glyph icon /> })}
            <span>{move || label.get()}{about_line(about)}</span>
        </button>
    }
    .into_any()
}

/// The second line of an action. A sentence may be long; the whole of it stands where it belongs.
pub fn about_line(about: Signal<Option<String>>) -> impl IntoView {
    move || about.get().map(|about| view! { " "<small class="act-about">{about}</small> })
}

/// A link that looks like a button: for going somewhere, so that it can be opened and shared like a link.
#[component]
pub fn LinkButton(
    /// The word on it.
    #[prop(into)]
    label: TextProp,
    /// Where it leads.
    #[prop(into)]
    href: String,
    /// Weight.
    #[prop(optional)]
    look: Look,
    /// Picture before the word.
    #[prop(into, optional)]
    icon: Option<Icon>,
) -> impl IntoView {
    view! {
        <A href=href attr:class=look.class()>
            {icon.map(|icon| view! { <Glyph icon /> })}
            <span>{move || label.get()}</span>
        </A>
    }
    .into_any()
}
