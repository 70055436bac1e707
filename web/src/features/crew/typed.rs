//! What is typed is kept on this device at every change, and brought back where the page ended before it was saved.
//!
//! A draft goes when the store has said that the entry is on the disk ([`Kept::forgetting`]), and not before.

use std::future::{Future, ready};

use domain::bounds::words_left;
use domain::ids::{EntryId, JobId};
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use crate::device::Device;
use crate::i18n::Words;
use crate::{t, tn};

/// So many characters before the end it is told how many are left.
const TOLD_FROM: i64 = 500;

/// The draft of one form.
#[derive(Clone, Copy)]
pub struct Kept {
    device: Device,
    key: StoredValue<String>,
    read: RwSignal<bool>,
}

impl Kept {
    /// What was kept before has been looked at: from here on the form may fill in something by itself. Tracked.
    pub fn is_read(self) -> bool {
        self.read.try_get().unwrap_or(false)
    }

    /// Drops the draft when it is called: once the entry is on the disk, though the form may be gone by then.
    pub fn forgetting(self) -> impl FnOnce() + 'static {
        let (device, key) = (self.device, self.key.try_get_value());
        move || {
            if let Some(key) = key {
                device.keep_draft(key, String::new());
            }
        }
    }
}

/// Keeps what is typed, with every change, and brings back what was typed before the page ended. `now` holds what a person typed and
/// nothing that the form filled in by itself, or the draft would look like one that somebody has gone on with.
pub fn keep_typed<T>(device: Device, key: String, now: Memo<T>, bring_back: impl Fn(T) + 'static) -> Kept
where
    T: Clone + Default + PartialEq + Serialize + DeserializeOwned + Send + Sync + 'static,
{
    keep_typed_while(device, key, now, |_| ready(true), bring_back)
}

/// The same, for a draft that may have been saved already: `open` looks whether it is still to be saved.
fn keep_typed_while<T, Looked>(
    device: Device,
    key: String,
    now: Memo<T>,
    open: impl Fn(T) -> Looked + 'static,
    bring_back: impl Fn(T) + 'static,
) -> Kept
where
    T: Clone + Default + PartialEq + Serialize + DeserializeOwned + Send + Sync + 'static,
    Looked: Future<Output = bool> + 'static,
{
    let read = RwSignal::new(false);
    let own = StoredValue::new(key.clone());
    let mut look = Some((key.clone(), open, bring_back));
    Effect::new(move |_| {
        // A page may be drawn before the store is open; until then there is nothing to read and nothing is overwritten.
        if device.store().is_none() {
            return;
        }
        let Some((key, open, bring_back)) = look.take() else { return };
        spawn_local(async move {
            let kept = device.draft(&key).await;
            let kept = kept.and_then(|text| serde_json::from_str::<T>(&text).ok());
            if let Some(kept) = kept
                && open(kept.clone()).await
                && let Some(now) = now.try_get_untracked()
                && let Some(kept) = brought_back(kept, &now)
            {
                bring_back(kept);
            }
            let _ = read.try_set(true);
        });
    });
    Effect::new(move |_| {
        let typed = now.get();
        if read.get() {
            device.keep_draft(key.clone(), text_of(&typed));
        }
    });
    Kept { device, key: own, read }
}

/// Whoever is faster than the disk has typed the better draft.
fn brought_back<T: Default + PartialEq>(kept: T, now: &T) -> Option<T> {
    (*now == T::default()).then_some(kept)
}

/// A draft as it is kept; nothing where nothing was typed.
fn text_of<T: Default + PartialEq + Serialize>(typed: &T) -> String {
    if *typed == T::default() { String::new() } else { serde_json::to_string(typed).unwrap_or_default() }
}

/// What is wrong with words that are being typed.
pub fn words_fault(w: Words, text: RwSignal<String>) -> Signal<Option<String>> {
    Signal::derive(move || over(w, text.with(|text| words_left(text))))
}

/// For how much more there is room, near the end of it.
pub fn words_room(w: Words, text: RwSignal<String>) -> Signal<Option<String>> {
    Signal::derive(move || room(w, text.with(|text| words_left(text))))
}

fn over(w: Words, left: i64) -> Option<String> {
    (left < 0).then(|| tn!(w, "ui.chars_over", left.unsigned_abs()))
}

fn room(w: Words, left: i64) -> Option<String> {
    (0..=TOLD_FROM).contains(&left).then(|| tn!(w, "ui.chars_left", left))
}

/// Words of a dialog with the ids of the entries that they will be in: after a kill it is known whether they were saved.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
struct WordsDraft {
    act: Option<EntryId>,
    remark: Option<EntryId>,
    text: String,
}

/// Words of a dialog: kept through Cancel, reload and kill until they are saved.
#[derive(Clone, Copy)]
pub struct KeptWords {
    /// What is typed.
    pub text: RwSignal<String>,
    /// They are from before this page.
    from_before: RwSignal<bool>,
    ids: RwSignal<Option<(EntryId, EntryId)>>,
    device: Device,
    kept: Kept,
}

/// Words that will be written to `job`, under a key of their own.
pub fn keep_words(device: Device, key: String, job: Option<JobId>) -> KeptWords {
    let (text, from_before) = (RwSignal::new(String::new()), RwSignal::new(false));
    let ids = RwSignal::new(device.new_entry_id().zip(device.new_entry_id()));
    let now = Memo::new(move |_| {
        let text = text.get();
        if text.is_empty() {
            return WordsDraft::default();
        }
        let (act, remark) = ids.get().unzip();
        WordsDraft { act, remark, text }
    });
    let open = move |kept: WordsDraft| async move {
        // The page ended after they were saved and before the draft could go.
        let written = match (job, kept.remark.or(kept.act)) {
            (Some(job), Some(id)) => device.is_written(job, id).await,
            _ => false,
        };
        !written
    };
    let kept = keep_typed_while(device, key, now, open, move |kept: WordsDraft| {
        if let Some(before) = kept.act.zip(kept.remark) {
            ids.set(Some(before));
        }
        from_before.set(!kept.text.trim().is_empty());
        text.set(kept.text);
    });
    KeptWords { text, from_before, ids, device, kept }
}

impl KeptWords {
    /// Ids of the act and of its words: the same until they are saved, so that a second tap is the same entry.
    pub fn ids(self) -> Option<(EntryId, EntryId)> {
        if self.ids.get_untracked().is_none() {
            self.ids.set(self.device.new_entry_id().zip(self.device.new_entry_id()));
        }
        self.ids.get_untracked()
    }

    /// What is to be saved.
    pub fn trimmed(self) -> String {
        self.text.with_untracked(|text| text.trim().to_owned())
    }

    /// Something was typed. Tracked.
    pub fn is_typed(self) -> bool {
        self.text.with(|text| !text.trim().is_empty())
    }

    /// Longer than an entry takes. Tracked.
    pub fn is_too_long(self) -> bool {
        self.text.with(|text| words_left(text) < 0)
    }

    /// Cancel keeps them, and that is said where the dialog was opened.
    pub fn told_when_shut(self, w: Words, open: RwSignal<bool>) -> impl IntoView {
        move || {
            (!open.get() && self.is_typed())
                .then(|| view! { <p class="soft" role="status" data-kept="yes">{t!(w, "draft.kept_words")}</p> })
        }
    }

    /// They were typed before this page. Tracked.
    pub fn from_before(self) -> bool {
        self.from_before.get()
    }

    /// They are from an earlier time and may no longer fit.
    pub fn told_when_brought_back(self, w: Words) -> impl IntoView {
        move || self.from_before.get().then(|| view! { <p class="soft">{t!(w, "draft.from_before")}</p> })
    }

    /// Empties the field and drops the draft when it is called: once they are on the disk.
    pub fn saved(self) -> impl FnOnce() + 'static {
        let forget = self.kept.forgetting();
        move || {
            let _ = self.text.try_set(String::new());
            let _ = self.from_before.try_set(false);
            let _ = self.ids.try_set(self.device.new_entry_id().zip(self.device.new_entry_id()));
            forget();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::features::step::view_model::ReadingDraft;

    fn typed(instrument: &str, raw: &str) -> ReadingDraft {
        ReadingDraft { instrument: instrument.into(), raw: raw.into(), ..ReadingDraft::default() }
    }

    #[test]
    fn an_instrument_that_the_form_proposed_does_not_push_out_a_kept_reading() {
        // The form proposes before the disk has answered, as it does wherever the kind of instrument was used before.
        let now = typed("m7", "").by_hand("m7");
        let kept = typed("", "52.3");
        assert_eq!(brought_back(kept.clone(), &now), Some(kept));
        assert_eq!(text_of(&now), "", "and what only the form filled in is no draft");
    }

    #[test]
    fn what_a_person_typed_meanwhile_stays() {
        assert_eq!(brought_back(typed("", "52.3"), &typed("m7", "5").by_hand("m7")), None);
        assert_eq!(brought_back(typed("", "52.3"), &typed("m8", "").by_hand("m7")), None, "chosen by hand");
    }

    #[test]
    fn the_room_that_is_left_is_told_near_its_end() {
        let w = Words::default();
        assert_eq!(room(w, 501), None);
        assert_eq!(room(w, 500).as_deref(), Some("Room for 500 more characters"));
        assert_eq!(room(w, 1).as_deref(), Some("Room for 1 more character"));
        assert_eq!((room(w, -1), over(w, 0)), (None, None));
        assert_eq!(over(w, -2).as_deref(), Some("2 characters too many. Make it shorter."));
    }

    #[test]
    fn a_draft_is_read_as_it_was_kept() {
        let draft = WordsDraft { act: None, remark: None, text: "the gate sticks".into() };
        assert_eq!(serde_json::from_str::<WordsDraft>(&text_of(&draft)).ok(), Some(draft));
        assert_eq!(text_of(&WordsDraft::default()), "");
    }
}
