//! Texts that people type: one form for what looks the same, and what a search compares.

use std::borrow::Cow;

use unicode_normalization::char::is_combining_mark;
use unicode_normalization::{UnicodeNormalization as _, is_nfc};

/// Unicode's composed form (NFC). Keyboards write "é" as one character or as "e" and an accent; a name has one form from the
/// door on.
///
/// ```
/// use domain::wire::text::composed;
/// assert_eq!(composed("Cafe\u{301}"), "Caf\u{e9}");
/// ```
#[must_use]
pub fn composed(text: &str) -> Cow<'_, str> {
    if is_nfc(text) { Cow::Borrowed(text) } else { Cow::Owned(text.nfc().collect()) }
}

/// What a search compares: small letters without their accents, one space where there are several. So "becu" finds "Bécu", and
/// a text that was composed finds one that was not.
///
/// ```
/// use domain::wire::text::folded;
/// assert_eq!(folded(" Große  Straße "), "grosse strasse");
/// ```
#[must_use]
pub fn folded(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    // Taken apart first, for the parts may be capitals; and once more, for small letters may have parts.
    let bare = text.nfkd().flat_map(char::to_lowercase).nfkd().filter(|c| !is_combining_mark(*c));
    for one in bare {
        match plain_letters(one) {
            Some(letters) => out.push_str(letters),
            // At the start and after another space there is nothing to part.
            None if one.is_whitespace() => {
                if !out.is_empty() && !out.ends_with(' ') {
                    out.push(' ');
                }
            }
            None if one.is_control() => {}
            None => out.push(one),
        }
    }
    out.truncate(out.trim_end().len());
    out
}

/// Letters that Unicode takes for letters of their own and whoever lacks the key writes so.
const fn plain_letters(letter: char) -> Option<&'static str> {
    Some(match letter {
        'ß' => "ss",
        'æ' => "ae",
        'œ' => "oe",
        'ø' => "o",
        'ł' => "l",
        'đ' | 'ð' => "d",
        'þ' => "th",
        'ı' => "i",
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_looks_the_same_is_the_same() {
        for (typed, kept) in [("Be\u{301}cu", "Bécu"), ("A\u{308}rger", "Ärger"), ("Bécu", "Bécu"), ("", "")] {
            assert_eq!(composed(typed), kept);
        }
    }

    #[test]
    fn searches_see_neither_case_nor_accent_nor_how_it_was_typed() {
        for (one, other) in [
            ("becu", "Bécu"),
            ("BE\u{301}CU", "bécu"),
            ("österreicher", "Österreicher"),
            ("cafe row", "Cafe\u{301}\u{a0} Row"),
            ("angel", "Ángel"),
            ("STRASSE", "Straße"),
            ("strasse", "STRAẞE"),
            ("lodz", "Łódź"),
            ("istanbul", "İSTANBUL"),
            ("n.o", "Ñ.O"),
        ] {
            assert_eq!(folded(one), folded(other), "{one} {other}");
        }
        assert_eq!(folded("  two\t\n words  "), "two words");
        assert_eq!(folded("a\0b"), "ab");
        assert_ne!(folded("Beck"), folded("Bock"));
    }

    proptest::proptest! {
        /// A row is found by whatever form of it somebody types.
        #[test]
        fn every_form_of_a_text_folds_alike(text in ".{0,40}") {
            let once = folded(&text);
            proptest::prop_assert_eq!(&folded(&once), &once);
            proptest::prop_assert_eq!(folded(&text.nfc().collect::<String>()), once.clone());
            proptest::prop_assert_eq!(folded(&text.nfd().collect::<String>()), once);
        }
    }
}
