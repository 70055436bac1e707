//! Makes one spelling out of the many that keyboards, phones and meters produce, without touching what a sign means.

use unicode_normalization::UnicodeNormalization;

/// The text in compatibility form with single spaces; `None` where that form would change a number
/// (`10⁵` would become `105`).
pub(super) fn clean(text: &str) -> Option<String> {
    let mut mapped = String::with_capacity(text.len() + 4);
    let mut previous = ' ';
    for sign in text.chars() {
        match sign {
            '\u{2212}' | '\u{2013}' | '\u{2014}' | '\u{fe63}' => mapped.push('-'),
            // Before NFKC, which makes an "o" of the ordinal sign and two primes of the double one.
            '\u{ba}' => mapped.push('°'),
            '\u{2033}' | '\u{201d}' | '\u{201c}' => mapped.push('"'),
            '\u{2032}' | '\u{2019}' => mapped.push('\''),
            '\u{22c5}' | '\u{2219}' => mapped.push('\u{b7}'),
            '½' | '¼' | '¾' | '⅛' | '⅜' | '⅝' | '⅞' => {
                mapped.push(' ');
                mapped.push(sign);
            }
            '²' if previous == 'm' => mapped.push('2'),
            '²' | '³' | '¹' | '\u{2070}'..='\u{209c}' => return None,
            _ => mapped.push(sign),
        }
        previous = sign;
    }
    let folded: String = mapped.nfkc().map(|sign| if sign == '\u{2044}' { '/' } else { sign }).collect();
    Some(folded.split_whitespace().collect::<Vec<_>>().join(" "))
}

#[cfg(test)]
mod tests {
    use super::clean;

    #[test]
    fn one_spelling_and_no_changed_numbers() {
        for (typed, cleaned) in [
            ("０．３５Ω", Some("0.35Ω")),
            ("5 \u{2126}", Some("5 Ω")),
            ("−0.4", Some("-0.4")),
            ("1½ in", Some("1 1/2 in")),
            ("10 mm²", Some("10 mm2")),
            ("10⁵", None),
            ("5²", None),
            ("38ms 180º", Some("38ms 180°")),
            ("3′ 0″", Some("3' 0\"")),
            (" 5\u{a0}\u{202f}V\t", Some("5 V")),
        ] {
            assert_eq!(clean(typed).as_deref(), cleaned, "{typed}");
        }
    }
}
