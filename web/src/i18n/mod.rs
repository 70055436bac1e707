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
//! A language is two files: what a first screen may say, and the rooms of `later-words.txt`, for which the parts of the app that say them
//! wait.
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
/// Stands where a word is said whose file has not come.
const NOT_HERE: &str = "…";

/// One of the two files of a language.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WordFile {
    /// What a first screen may say.
    First,
    /// The rest.
    Later,
}

impl WordFile {
    /// Both.
    pub const ALL: [Self; 2] = [Self::First, Self::Later];

    /// By which name the page names it in this language.
    pub fn name(self, lang: Lang) -> String {
        let kind = match self {
            Self::First => "words",
            Self::Later => "later-words",
        };
        format!("{kind}-{}", lang.code())
    }

    /// Where its words stand among all.
    const fn span(self) -> (usize, usize) {
        match self {
            Self::First => (0, words::FIRST),
            Self::Later => (words::FIRST, words::NAMES.len()),
        }
    }

    /// Its words in their order; none where they are not as many as this program asks for.
    fn words(self, file: &'static str) -> Option<Vec<&'static str>> {
        let (from, to) = self.span();
        let table: Vec<&str> = file.split(WORD_ENDS).collect();
        (table.len() == to - from).then_some(table)
    }
}

/// A language each, in the order of [`Lang::ALL`], of its two files: there when that has come.
static TABLES: [[OnceLock<Vec<&'static str>>; 2]; Lang::ALL.len()] =
    [const { [const { OnceLock::new() }; 2] }; Lang::ALL.len()];

/// Takes a file of a language: its words in the order of their keys. False when it is not the file that belongs to this code, and when it
/// is here already.
pub fn install(lang: Lang, which: WordFile, file: String) -> bool {
    let words = which.words(Box::leak(file.into_boxed_str()));
    words.is_some_and(|table| TABLES[lang as usize][which as usize].set(table).is_ok())
}

/// Is this file of it here?
pub fn has_file(lang: Lang, which: WordFile) -> bool {
    !lang.table(which).is_empty()
}

/// Are the words of its first screen here?
pub fn has(lang: Lang) -> bool {
    has_file(lang, WordFile::First)
}

/// Are all its words here?
pub fn is_whole(lang: Lang) -> bool {
    WordFile::ALL.into_iter().all(|which| has_file(lang, which))
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

    /// The words of one of its files in the order of their keys; empty before [`install`]. Tests speak without a file.
    fn table(self, which: WordFile) -> &'static [&'static str] {
        let table = &TABLES[self as usize][which as usize];
        #[cfg(not(target_arch = "wasm32"))]
        table.get_or_init(|| words::ALL[self as usize][which.span().0..which.span().1].to_vec());
        table.get().map_or(&[], Vec::as_slice)
    }

    fn find(self, key: Key) -> Option<&'static str> {
        let which = if key.index() < words::FIRST { WordFile::First } else { WordFile::Later };
        self.table(which).get(key.index() - which.span().0).copied()
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
        self.lang.find(key).unwrap_or(NOT_HERE)
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
        if self.lang == Lang::En { None } else { Lang::En.find(key) }
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
        for which in WordFile::ALL {
            assert!(!install(Lang::De, which, "eins\u{0}zwei".to_owned()));
            assert!(!install(Lang::De, which, String::new()));
            assert!(has_file(Lang::De, which), "and the words that are here stay");
            // Also where none are here yet.
            assert!(which.words("eins\u{0}zwei").is_none() && which.words("").is_none());
            let count = which.span().1 - which.span().0;
            assert!(count > 100, "{which:?}: {count}");
            let as_many: String = "x".repeat(count).chars().flat_map(|x| [x, WORD_ENDS]).collect();
            let whole: &'static str = Box::leak(as_many.trim_end_matches(WORD_ENDS).to_owned().into_boxed_str());
            assert!(which.words(whole).is_some());
        }
        assert!(is_whole(Lang::De));
    }

    /// What is drawn before the later words are waited for: everything but these.
    const SAID_LATER: [&str; 17] = [
        "features/catalogue/",
        "features/crew/photo.rs",
        "features/crew/saving.rs",
        "features/crew_plan/",
        "features/design_sheet/",
        "features/desk/",
        "features/job/",
        "features/job_desk/",
        "features/job_list/",
        "features/plan_job/",
        "features/registration_desk/",
        "features/serial_ledger/",
        "features/session/person.rs",
        "features/session/still_on.rs",
        "features/session/tickets.rs",
        "features/step/",
        // Says words of both: each function those of whoever calls it.
        "features/words.rs",
    ];

    fn sources(folder: &std::path::Path, into: &mut Vec<std::path::PathBuf>) {
        for entry in std::fs::read_dir(folder).expect("the sources are there") {
            let path = entry.expect("a name").path();
            if path.is_dir() {
                sources(&path, into);
            } else if path.extension().is_some_and(|ext| ext == "rs") {
                into.push(path);
            }
        }
    }

    #[test]
    fn what_is_drawn_first_says_no_later_word() {
        let root = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        let mut files = Vec::new();
        sources(&root, &mut files);
        let rooms: std::collections::BTreeSet<&str> =
            words::NAMES[words::FIRST..].iter().filter_map(|name| name.split('.').next()).collect();
        let (mut looked_at, mut said) = (0, Vec::new());
        for path in files {
            let name = path.strip_prefix(&root).expect("below the sources").display().to_string();
            if name.starts_with("i18n/") || SAID_LATER.iter().any(|later| name.starts_with(later)) {
                continue;
            }
            looked_at += 1;
            let text = std::fs::read_to_string(&path).expect("a text");
            let own = text.split("#[cfg(test)]").next().unwrap_or_default();
            said.extend(
                rooms.iter().filter(|room| own.contains(&format!("\"{room}."))).map(|room| format!("{name}: {room}")),
            );
        }
        assert!(looked_at > 100, "{looked_at}");
        assert_eq!(said, Vec::<String>::new());
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
