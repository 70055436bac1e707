//! The words of the app: [`Words`] (a language and a way to write numbers) and the macros [`t!`](crate::t), [`tn!`](crate::tn) and
//! [`key!`](crate::key). Dates, numbers and spans are written in [`format`], nowhere else.
//!
//! The words stand in `locales/{en,de,es}.json`; `build.rs` compares the three. A key that no file has, or a blank that is not
//! filled, does not compile:
//!
//! ```ignore
//! let w = use_words();
//! t!(w, "menu.title")                       // &'static str
//! t!(w, "sync.waiting", n = 3)              // String; every {blank} must be named
//! tn!(w, "sync.waiting_count", n)           // picks `.one` or `.other`, fills {n}
//! w.say(key!("menu.title"))                 // a Key is Copy: put it in view models
//! w.fill(key!("x.y"), &[("n", &3)])         // for a key that came as a value
//! ```
//!
//! [`Words`] is a plain value: a change of language builds the screen anew, so nothing in a view needs a closure for its words.
//! View models take `Words` as an argument and are tested on the host.
//!
//! **Never enters:** trade rules, the browser.

pub mod format;
mod key;

pub use key::Key;
use std::fmt::{Display, Write as _};
use std::sync::OnceLock;

use serde::{Deserialize, Serialize};

#[allow(clippy::large_const_arrays, reason = "read while the app is compiled, to find a key and its blanks")]
mod words {
    include!(concat!(env!("OUT_DIR"), "/words.rs"));
}

/// Between two words in the file of a language.
const WORD_ENDS: char = '\u{0}';

/// A language each, in the order of [`Lang::ALL`]: there when its file has come.
static TABLES: [OnceLock<Vec<&'static str>>; Lang::ALL.len()] = [const { OnceLock::new() }; Lang::ALL.len()];

/// Takes the file of a language: its words in the order of their keys. False when it is not the file that belongs to this code.
pub fn install(lang: Lang, file: String) -> bool {
    words_of(Box::leak(file.into_boxed_str())).is_some_and(|table| TABLES[lang as usize].set(table).is_ok())
}

/// The words of a file in their order; none where they are not as many as this program asks for.
fn words_of(file: &'static str) -> Option<Vec<&'static str>> {
    let table: Vec<&str> = file.split(WORD_ENDS).collect();
    (table.len() == words::NAMES.len()).then_some(table)
}

/// Are its words here?
pub fn has(lang: Lang) -> bool {
    !lang.table().is_empty()
}

/// The first language whose words are here.
pub fn first_here() -> Lang {
    Lang::ALL.into_iter().find(|lang| has(*lang)).unwrap_or_default()
}

/// A language that the app speaks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Lang {
    /// English, the first one: cautions are written in it.
    #[default]
    En,
    /// German.
    De,
    /// Spanish.
    Es,
}

impl Lang {
    /// All of them, in the order in which they are offered.
    pub const ALL: [Self; 3] = [Self::En, Self::De, Self::Es];

    /// The code by which servers and browsers know it.
    pub const fn code(self) -> &'static str {
        match self {
            Self::En => "en",
            Self::De => "de",
            Self::Es => "es",
        }
    }

    /// Reads `de`, `de-AT` or `DE_ch`; `None` for a language that we do not speak.
    pub fn from_code(code: &str) -> Option<Self> {
        let first = code.split(['-', '_']).next()?.to_ascii_lowercase();
        Self::ALL.into_iter().find(|lang| lang.code() == first)
    }

    /// Its own name, in itself.
    pub const fn own_name(self) -> Key {
        match self {
            Self::En => crate::key!("language.en"),
            Self::De => crate::key!("language.de"),
            Self::Es => crate::key!("language.es"),
        }
    }

    /// Its words in the order of their keys; empty before [`install`]. Tests speak without a file.
    fn table(self) -> &'static [&'static str] {
        let table = &TABLES[self as usize];
        #[cfg(not(target_arch = "wasm32"))]
        table.get_or_init(|| words::ALL[self as usize].to_vec());
        table.get().map_or(&[], Vec::as_slice)
    }
}

/// The sign between whole and part.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub enum Decimal {
    /// 1.5
    #[default]
    #[serde(rename = ".")]
    Point,
    /// 1,5
    #[serde(rename = ",")]
    Comma,
}

impl Decimal {
    /// The sign itself.
    pub const fn sign(self) -> char {
        match self {
            Self::Point => '.',
            Self::Comma => ',',
        }
    }

    /// What people who speak it mostly write; each person may choose otherwise.
    pub const fn usual_for(lang: Lang) -> Self {
        match lang {
            Lang::En => Self::Point,
            Lang::De | Lang::Es => Self::Comma,
        }
    }
}

/// A language and a way to write numbers: all that a screen needs to speak.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Words {
    /// The language.
    pub lang: Lang,
    /// The decimal sign.
    pub decimal: Decimal,
}

impl Words {
    /// The words of a key without blanks (blanks would be shown as they stand).
    pub fn say(self, key: Key) -> &'static str {
        self.lang.table().get(key.index()).copied().unwrap_or_default()
    }

    /// The words of a key with its blanks filled.
    pub fn fill(self, key: Key, values: &[(&str, &dyn Display)]) -> String {
        let mut rest = self.say(key);
        let mut out = String::with_capacity(rest.len() + 16);
        while let Some((before, after)) = rest.split_once('{') {
            out.push_str(before);
            let Some((name, tail)) = after.split_once('}') else { break };
            if let Some((_, value)) = values.iter().find(|(own, _)| *own == name) {
                let _ = write!(out, "{value}");
            }
            rest = tail;
        }
        out.push_str(rest);
        out
    }

    /// English of the same key: stands beside a translated caution until somebody has reviewed the translation. `None` in English, and
    /// until its words are here.
    pub fn english(self, key: Key) -> Option<&'static str> {
        (self.lang != Lang::En && has(Lang::En)).then(|| Self { lang: Lang::En, ..self }.say(key))
    }
}

/// The sentence for a problem code of the server; `None` for one that this version does not know.
pub fn problem(code: &str) -> Option<Key> {
    words::problem_index(code).map(Key::at)
}

/// The words of the screen around; plain English where nobody has provided any (tests).
pub fn use_words() -> Words {
    leptos::prelude::use_context::<Words>().unwrap_or_default()
}

/// A [`Key`] by its name, checked while compiling; it may have blanks, to be filled by [`Words::fill`].
#[macro_export]
macro_rules! key {
    ($name:expr) => {{
        const KEY: $crate::i18n::Key = $crate::i18n::Key::named($name);
        KEY
    }};
}

/// The words of a key, its blanks filled; key and blanks are checked while compiling.
#[macro_export]
macro_rules! t {
    ($words:expr, $name:expr) => {{
        const KEY: $crate::i18n::Key = $crate::i18n::Key::with_blanks($name, &[]);
        $words.say(KEY)
    }};
    ($words:expr, $name:expr, $($blank:ident = $value:expr),+ $(,)?) => {{
        const KEY: $crate::i18n::Key = $crate::i18n::Key::with_blanks($name, &[$(stringify!($blank)),+]);
        $words.fill(KEY, &[$((stringify!($blank), &$value as &dyn ::std::fmt::Display)),+])
    }};
}

/// Words for a number of things: `name.one` or `name.other`, both with the blank `{n}`.
#[macro_export]
macro_rules! tn {
    ($words:expr, $name:literal, $n:expr $(, $blank:ident = $value:expr)* $(,)?) => {{
        let n = $n;
        if n == 1 {
            $crate::t!($words, concat!($name, ".one"), n = n $(, $blank = $value)*)
        } else {
            $crate::t!($words, concat!($name, ".other"), n = n $(, $blank = $value)*)
        }
    }};
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_filled_in_every_language() {
        for lang in Lang::ALL {
            let w = Words { lang, decimal: Decimal::Point };
            let filled = t!(w, "sync.kept_here", n = 7);
            assert!(filled.contains('7') && !filled.contains('{'), "{filled}");
        }
    }

    #[test]
    fn a_file_of_other_words_is_not_taken() {
        assert!(!install(Lang::De, "eins\u{0}zwei".to_owned()));
        assert!(!install(Lang::De, String::new()));
        assert!(has(Lang::De), "and the words that are here stay");
        // Also where none are here yet.
        assert!(words_of("eins\u{0}zwei").is_none() && words_of("").is_none());
        let as_many: String = "x".repeat(words::NAMES.len()).chars().flat_map(|x| [x, WORD_ENDS]).collect();
        let whole: &'static str = Box::leak(as_many.trim_end_matches(WORD_ENDS).to_owned().into_boxed_str());
        assert!(words_of(whole).is_some());
    }

    #[test]
    fn one_is_not_many() {
        let w = Words::default();
        assert_ne!(tn!(w, "format.minutes", 1).replace('1', "2"), tn!(w, "format.minutes", 2));
    }

    #[test]
    fn a_region_does_not_hide_the_language() {
        assert_eq!(Lang::from_code("de-AT"), Some(Lang::De));
        assert_eq!(Lang::from_code("ES_mx"), Some(Lang::Es));
        assert_eq!(Lang::from_code("fr"), None);
    }

    #[test]
    fn a_known_problem_has_a_sentence_and_an_unknown_one_has_none() {
        assert_eq!(problem("sign_in_refused"), Some(key!("problem.sign_in_refused")));
        assert_eq!(problem("not a code"), None);
    }

    #[test]
    fn a_translation_has_its_english_beside_it() {
        let german = Words { lang: Lang::De, decimal: Decimal::Comma };
        assert_eq!(german.english(key!("menu.title")), Some(Words::default().say(key!("menu.title"))));
        assert_eq!(Words::default().english(key!("menu.title")), None);
    }
}
