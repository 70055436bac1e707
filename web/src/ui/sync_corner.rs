//! The state of sending: in words, always in the same corner.

use domain::tray::Word;
use leptos::prelude::*;
use leptos_router::components::A;

use super::{Glyph, Icon, Tone};
use crate::i18n::{Words, use_words};
use crate::{t, tn};

/// The words, the weight and the picture of what is known; `None` while nothing is.
pub fn sync_words(word: Option<Word>, w: Words) -> (String, Tone, Icon) {
    let Some(word) = word else { return (t!(w, "sync.looking").to_owned(), Tone::Plain, Icon::Turning) };
    match word {
        Word::Confirmed => (t!(w, "sync.confirmed").to_owned(), Tone::Good, Icon::Tick),
        Word::OnlyHere { n } => (tn!(w, "sync.waiting", n), Tone::Wait, Icon::Tray),
        Word::Sending { n } => (t!(w, "sync.sending", n = n), Tone::Wait, Icon::Turning),
        Word::Unanswered { n } => (t!(w, "sync.unanswered", n = n), Tone::Wait, Icon::Turning),
        Word::NoConnection { n: 0, .. } => (t!(w, "sync.offline").to_owned(), Tone::Plain, Icon::Offline),
        Word::NoConnection { n, .. } => (t!(w, "sync.kept_here", n = n), Tone::Plain, Icon::Offline),
        Word::NotOurServer { .. } => (t!(w, "sync.not_ours").to_owned(), Tone::Caution, Icon::Offline),
        Word::SignInNeeded { .. } => (t!(w, "sync.sign_in").to_owned(), Tone::Caution, Icon::Person),
        Word::UpdateNeeded { .. } => (t!(w, "sync.update").to_owned(), Tone::Caution, Icon::Turning),
        Word::Held { n } => (t!(w, "sync.held", n = n), Tone::Caution, Icon::Caution),
        Word::Refused { n } => (t!(w, "sync.refused", n = n), Tone::Stop, Icon::Caution),
    }
}

/// The corner; a link to what waits.
#[component]
pub fn SyncCorner(
    /// What is known.
    #[prop(into)]
    word: Signal<Option<Word>>,
    /// Where it leads.
    #[prop(into)]
    href: String,
) -> impl IntoView {
    let w = use_words();
    view! {
        <A href=href attr:class="corner">
            <span role="status" aria-live="polite">
                <span class="unseen">{t!(w, "ui.sync_label")}": "</span>
                {move || {
                    let (words, tone, icon) = sync_words(word.get(), w);
                    view! { <span class=format!("sync {}", tone.class())><Glyph icon /><span>{words}</span></span> }
                }}
            </span>
        </A>
    }
    .into_any()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::i18n::{Decimal, Lang};

    #[test]
    fn every_state_has_words_of_its_own_in_every_language() {
        let all = [
            None,
            Some(Word::Confirmed),
            Some(Word::OnlyHere { n: 3 }),
            Some(Word::Sending { n: 3 }),
            Some(Word::Unanswered { n: 3 }),
            Some(Word::NoConnection { since_ms: None, n: 0 }),
            Some(Word::NoConnection { since_ms: None, n: 3 }),
            Some(Word::NotOurServer { n: 0 }),
            Some(Word::SignInNeeded { n: 0 }),
            Some(Word::UpdateNeeded { n: 0 }),
            Some(Word::Held { n: 3 }),
            Some(Word::Refused { n: 3 }),
        ];
        for lang in Lang::ALL {
            let w = Words { lang, decimal: Decimal::Point };
            let told: std::collections::BTreeSet<String> = all.iter().map(|word| sync_words(*word, w).0).collect();
            assert_eq!(told.len(), all.len());
        }
    }

    #[test]
    fn what_is_kept_is_counted() {
        for lang in Lang::ALL {
            let w = Words { lang, decimal: Decimal::Point };
            assert!(sync_words(Some(Word::Unanswered { n: 513 }), w).0.contains("513"), "{lang:?}");
        }
        let w = Words::default();
        assert!(sync_words(Some(Word::NoConnection { since_ms: None, n: 12 }), w).0.contains("12"));
        assert!(sync_words(Some(Word::OnlyHere { n: 1 }), w).0.contains('1'));
    }
}
