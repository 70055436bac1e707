//! How a write went: nothing says "saved" before the store has said so.

use leptos::prelude::*;

use crate::device::{Fault, Saving};
use crate::i18n::{Words, use_words};
use crate::ports::camera::PhotoRefusal;
use crate::ports::local_store::StoreError;
use crate::store::SaveError;
use crate::t;
use crate::ui::{Banner, Glyph, Icon, Tone};

/// Why nothing was written and what to do, in a sentence or two.
pub fn fault(w: Words, fault: &Fault) -> &'static str {
    match fault {
        Fault::NotOpen => t!(w, "step.save.not_open"),
        Fault::Photo(refusal) => photo_refusal(w, *refusal),
        Fault::Doubtful => t!(w, "step.photo.doubt.what_now"),
        Fault::Save(error) => match error {
            SaveError::Store(error) => store_error(w, error),
            SaveError::TooLarge => t!(w, "step.save.too_large"),
            SaveError::OtherContent(_) => t!(w, "step.save.other_content"),
            SaveError::ReadBack => t!(w, "step.save.read_back"),
        },
    }
}

/// Why the device's store did not do it.
pub fn store_error(w: Words, error: &StoreError) -> &'static str {
    match error {
        StoreError::QuotaExceeded => t!(w, "step.save.full"),
        StoreError::ConnectionLost => t!(w, "step.save.connection_lost"),
        StoreError::Blocked => t!(w, "step.save.blocked"),
        StoreError::NewerData => t!(w, "step.save.newer_data"),
        StoreError::NoDatabase => t!(w, "step.save.no_database"),
        StoreError::KeyLost => t!(w, "step.save.key_lost"),
        StoreError::Refused(_) => t!(w, "step.save.refused"),
    }
}

/// Why a file is no photo.
pub fn photo_refusal(w: Words, refusal: PhotoRefusal) -> &'static str {
    match refusal {
        PhotoRefusal::Empty => t!(w, "step.photo.empty"),
        PhotoRefusal::NotAPicture => t!(w, "step.photo.not_a_picture"),
        PhotoRefusal::TooLarge => t!(w, "step.photo.too_large"),
        PhotoRefusal::Unreadable => t!(w, "step.photo.unreadable"),
    }
}

/// The line above the main action: being saved, saved on this device, or why not.
#[component]
pub fn SavingLine(
    /// How the last write of the page went.
    saving: RwSignal<Saving>,
) -> impl IntoView {
    let w = use_words();
    let line = move || match saving.get() {
        Saving::Idle => ().into_any(),
        Saving::Busy => view! { <p class="saving">{t!(w, "step.save.busy")}</p> }.into_any(),
        Saving::Saved => view! {
            <p class="saving good" data-saved="yes">
                <Glyph icon=Icon::Tick />
                <span>{t!(w, "step.save.saved")}</span>
            </p>
        }
        .into_any(),
        // Nothing went wrong: the page waits for a word.
        Saving::Failed(why @ Fault::Doubtful) => view! {
            <Banner tone=Tone::Caution title=t!(w, "step.photo.doubt.not_yet")>
                <p>{fault(w, &why)}</p>
            </Banner>
        }
        .into_any(),
        Saving::Failed(why) => view! {
            <Banner tone=Tone::Stop title=t!(w, "step.save.not_saved")>
                <p>{fault(w, &why)}</p>
            </Banner>
        }
        .into_any(),
    };
    view! { <div class="saving-line" role="status" aria-live="polite">{line}</div> }.into_any()
}
