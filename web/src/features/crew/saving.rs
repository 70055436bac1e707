//! How a write went: nothing says "saved" before the store has said so.

use leptos::prelude::*;

use crate::adapters::browser;
use crate::device::{Fault, Saved, Saving};
use crate::i18n::{Words, use_words};
use crate::ports::camera::PhotoRefusal;
use crate::ports::local_store::StoreError;
use crate::store::SaveError;
use crate::t;
use crate::ui::{Banner, Glyph, Icon, Tone};

/// Why nothing was written and what to do, in a sentence or two.
pub fn fault(w: Words, fault: &Fault) -> &'static str {
    match fault {
        Fault::NotOpen => t!(w, "device.save.not_open"),
        Fault::Photo(refusal) => photo_refusal(w, *refusal),
        Fault::Doubtful => t!(w, "step.photo.doubt.what_now"),
        Fault::Save(error) => match error {
            SaveError::Store(error) => store_error(w, error),
            SaveError::TooLarge => t!(w, "device.save.too_large"),
            SaveError::OtherContent(_) => t!(w, "device.save.other_content"),
            SaveError::ReadBack => t!(w, "device.read_back"),
        },
    }
}

/// Why the device's store did not do it.
pub fn store_error(w: Words, error: &StoreError) -> &'static str {
    match error {
        StoreError::QuotaExceeded => t!(w, "device.save.full"),
        StoreError::ConnectionLost => t!(w, "device.save.connection_lost"),
        StoreError::Blocked => t!(w, "device.save.blocked"),
        StoreError::NewerData => t!(w, "device.save.newer_data"),
        StoreError::NoDatabase => t!(w, "device.save.no_database"),
        StoreError::KeyLost => t!(w, "device.save.key_lost"),
        StoreError::Refused(_) => t!(w, "device.save.refused"),
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

/// What is on the disk and since when: the next save reads otherwise, also to somebody who only hears it.
fn saved_words(w: Words, saved: &Saved, offset_minutes: i32) -> String {
    t!(w, "device.save.saved", what = saved.what, when = w.clock(saved.at_us, offset_minutes))
}

/// The line above the main action: being saved, what was saved and when, or why not. It stands beside nothing that is not saved:
/// the next keystroke takes it away.
#[component]
pub fn SavingLine(
    /// How the last write of the page went.
    saving: RwSignal<Saving>,
) -> impl IntoView {
    let w = use_words();
    browser::on_typing(move || Saving::let_go(saving));
    let line = move || match saving.get() {
        Saving::Idle => ().into_any(),
        Saving::Busy => view! { <p class="saving">{t!(w, "device.save.busy")}</p> }.into_any(),
        Saving::Saved(saved) => {
            let words = saved_words(w, &saved, browser::offset_minutes(saved.at_us));
            view! {
                <p class="saving good" data-saved="yes">
                    <Glyph icon=Icon::Tick />
                    <span>{words}</span>
                </p>
            }
            .into_any()
        }
        // Nothing went wrong: the page waits for a word.
        Saving::Failed(why @ Fault::Doubtful) => view! {
            <Banner tone=Tone::Caution title=t!(w, "step.photo.doubt.not_yet")>
                <p>{fault(w, &why)}</p>
            </Banner>
        }
        .into_any(),
        Saving::Failed(why) => view! {
            <Banner tone=Tone::Stop title=t!(w, "device.save.not_saved")>
                <p>{fault(w, &why)}</p>
            </Banner>
        }
        .into_any(),
    };
    view! { <div class="saving-line" role="status" aria-live="polite">{line}</div> }.into_any()
}

/// A dialog that opens begins something else: what was said of the write before it does not stand in it.
pub fn let_go_when(open: RwSignal<bool>, saving: RwSignal<Saving>) {
    Effect::new(move |_| {
        if open.get() && saving.with_untracked(|saving| *saving != Saving::Busy) {
            saving.set(Saving::Idle);
        }
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_says_what_was_saved_and_when() {
        let said = |what: &str, minutes: i64| {
            saved_words(Words::default(), &Saved { what: what.into(), at_us: minutes * 60_000_000 }, 60)
        };
        assert_eq!(said("Way out: photo", 13 * 60 + 6), "Way out: photo. Saved on this device at 14:06.");
        assert_ne!(said("Way out: photo", 786), said("Meeting point: photo", 786));
    }
}
