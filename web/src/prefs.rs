//! What the app remembers about its looks and words on this device: language, number format, theme.

use leptos::prelude::*;
use serde::{Deserialize, Serialize};

use crate::adapters::{browser, locks, words};
use crate::i18n::{self, Decimal, Lang, WordFile, Words};

const WORDS: &str = "words";
const THEME: &str = "theme";
const UNTOLD: &str = "words-untold";

/// Light or dark.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Theme {
    /// As the device has it.
    #[default]
    Auto,
    /// For daylight.
    Light,
    /// For a dark garage.
    Dark,
}

impl Theme {
    /// The word by which it is kept; `watchdog.js` reads it before anything is drawn.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Auto => "auto",
            Self::Light => "light",
            Self::Dark => "dark",
        }
    }

    /// Reads [`Theme::word`].
    pub fn of_word(word: &str) -> Self {
        [Self::Light, Self::Dark].into_iter().find(|theme| theme.word() == word).unwrap_or_default()
    }
}

#[derive(Serialize, Deserialize)]
struct Kept {
    lang: Lang,
    decimal: Decimal,
}

/// Language, number format and theme; a context, `Copy`.
#[derive(Clone, Copy)]
pub struct Prefs {
    words: RwSignal<Words>,
    theme: RwSignal<Theme>,
    /// Counts the languages that have come since the start.
    come: RwSignal<u32>,
}

/// Fetches the files of a language that are not here. False: one cannot be had now.
async fn bring_files(lang: Lang) -> bool {
    let bring = async {
        for which in WordFile::ALL {
            if !i18n::has_file(lang, which)
                && let Some(file) = words::of(&which.name(lang)).await
            {
                i18n::install(lang, which, file);
            }
        }
    };
    // Two parts of the app may want them at once.
    locks::one_language_at_a_time(bring).await;
    i18n::is_whole(lang)
}

/// Fetches what the language lacks with which the page came; another one comes as a whole. False: it cannot be had now.
pub async fn bring_the_rest() -> bool {
    for lang in Lang::ALL.into_iter().filter(|lang| i18n::has(*lang)) {
        if !bring_files(lang).await {
            return false;
        }
    }
    true
}

/// The [`Prefs`] of the app.
pub fn use_prefs() -> Prefs {
    expect_context::<Prefs>()
}

impl Prefs {
    /// What was kept; else what the browser asks for; in any case a language whose words are here.
    pub fn load() -> Self {
        let kept = browser::kept(WORDS).and_then(|text| serde_json::from_slice::<Kept>(text.as_bytes()).ok());
        let words = kept.map_or_else(
            || {
                let lang = browser::language().and_then(|code| Lang::from_code(&code)).unwrap_or_default();
                Words { lang, decimal: Decimal::usual_for(lang) }
            },
            |kept| Words { lang: kept.lang, decimal: kept.decimal },
        );
        let words = if i18n::has(words.lang) { words } else { Words { lang: i18n::first_here(), ..words } };
        let theme = browser::kept(THEME).map(|word| Theme::of_word(&word)).unwrap_or_default();
        let this = Self { words: RwSignal::new(words), theme: RwSignal::new(theme), come: RwSignal::new(0) };
        browser::set_document_language(words.lang.code());
        this
    }

    /// Language and number format. Tracked: the screen is built anew when they change.
    pub fn words(self) -> Words {
        self.words.get()
    }

    /// The same, read once.
    pub fn words_now(self) -> Words {
        self.words.get_untracked()
    }

    /// Fetches the words of a language, if they are not here. False: they cannot be had now, and it cannot be chosen.
    pub async fn bring(self, lang: Lang) -> bool {
        if !i18n::is_whole(lang) && bring_files(lang).await {
            self.come.update(|come| *come += 1);
        }
        i18n::is_whole(lang)
    }

    /// Follows the languages that are here. Tracked.
    pub fn follow_come(self) {
        self.come.track();
    }

    /// Changes language and number format on this device. The words must be here ([`Prefs::bring`]).
    pub fn choose(self, lang: Lang, decimal: Decimal) {
        let words = Words { lang, decimal };
        if self.words_now() == words || !(self.words_now().lang == lang || i18n::is_whole(lang)) {
            return;
        }
        if let Ok(text) = serde_json::to_string(&Kept { lang, decimal }) {
            browser::keep(WORDS, Some(&text));
        }
        browser::set_document_language(lang.code());
        self.words.set(words);
    }

    /// Has the server not learnt of the last choice yet?
    pub fn is_untold(self) -> bool {
        browser::kept(UNTOLD).is_some()
    }

    /// Remembers whether the server has learnt of the last choice.
    pub fn set_untold(self, untold: bool) {
        browser::keep(UNTOLD, untold.then_some("1"));
    }

    /// Light or dark. Tracked.
    pub fn theme(self) -> Theme {
        self.theme.get()
    }

    /// Changes light and dark on this device.
    pub fn set_theme(self, theme: Theme) {
        browser::keep(THEME, (theme != Theme::Auto).then_some(theme.word()));
        browser::set_theme((theme != Theme::Auto).then_some(theme.word()));
        self.theme.set(theme);
    }
}
