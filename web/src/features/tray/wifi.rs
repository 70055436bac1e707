//! "Keep photos on this phone until Wi-Fi": the switch, and why photos wait.

use domain::tray::{HeldBack, Line};
use leptos::prelude::*;

use crate::adapters::line;
use crate::i18n::{Words, use_words};
use crate::sync::use_ground;
use crate::ui::{Banner, CheckRow, Section, Tone};
use crate::{t, tn};

/// Why photos wait, in words; nothing while none does.
#[component]
pub fn PhotosWait() -> impl IntoView {
    let w = use_words();
    let ground = use_ground();
    let held = Memo::new(move |_| {
        ground.local().map(|local| local.sync.view().held_back.get()).filter(|held| held.photos > 0)
    });
    move || {
        held.get().map(|held| {
            view! {
                <Banner tone=Tone::Wait title=t!(w, "tray.wifi.wait_title")>
                    <p data-held=held.photos.to_string()>{why(w, &held)}</p>
                    <p>{t!(w, "tray.wifi.rest_goes")}</p>
                </Banner>
            }
        })
    }
}

fn why(w: Words, held: &HeldBack) -> String {
    let size = w.bytes(held.bytes);
    match held.line {
        Line::Metered | Line::Free => tn!(w, "tray.wifi.metered", held.photos, size = size),
        Line::Unknown => tn!(w, "tray.wifi.unknown", held.photos, size = size),
    }
}

/// The switch of this device.
#[component]
pub fn WifiSwitch() -> impl IntoView {
    let w = use_words();
    let ground = use_ground();
    let is_on = RwSignal::new(line::keeps_photos());
    let change = move || {
        line::keep_photos(is_on.get_untracked());
        if let Some(local) = untrack(|| ground.local()) {
            local.sync.poke();
        }
    };
    // Looked at anew with the switch: the line changes while the page stands.
    let told = move || {
        is_on.track();
        match line::line() {
            Line::Free => t!(w, "tray.wifi.line_free"),
            Line::Metered => t!(w, "tray.wifi.line_metered"),
            Line::Unknown => t!(w, "tray.wifi.line_unknown"),
        }
    };
    view! {
        <Section title=t!(w, "tray.wifi.title")>
            <CheckRow label=t!(w, "tray.wifi.switch") checked=is_on on_change=change />
            <p class="soft">{t!(w, "tray.wifi.explain")}</p>
            <p class="soft" data-line="">{told}</p>
        </Section>
    }
    .into_any()
}
