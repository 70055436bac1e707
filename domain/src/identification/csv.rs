//! Cells of comma-separated files that people open in spreadsheets.
//!
//! RFC 4180 quoting, and one thing more: a text that a spreadsheet would run as a formula is marked as text. Both
//! matter for serials, which come from outside and may begin with any sign. A telephone number stays as it is: a plus,
//! digits and spaces name nothing, call nothing and reach nowhere, and accounting needs the number.

/// Line end of RFC 4180.
pub const LINE_END: &str = "\r\n";

/// One text cell, quoted where needed.
///
/// A text that a spreadsheet could take for a formula gets an apostrophe in front, so it is for text only: write
/// numbers of our own (which may begin with a minus) without it.
///
/// ```
/// use domain::identification::csv::escape_cell;
/// assert_eq!(escape_cell("=21+3"), "'=21+3");
/// assert_eq!(escape_cell("a,b"), "\"a,b\"");
/// ```
#[must_use]
pub fn escape_cell(text: &str) -> String {
    let marked = if starts_a_formula(text) { format!("'{text}") } else { text.to_owned() };
    // Spaces at the ends are quoted too, because some readers drop them otherwise.
    let needs_quotes = marked.contains([',', '"', '\r', '\n', ';', '\t']) || marked.trim() != marked;
    if needs_quotes { format!("\"{}\"", marked.replace('"', "\"\"")) } else { marked }
}

/// A whole line of text cells with its end.
#[must_use]
pub fn line<'a>(cells: impl IntoIterator<Item = &'a str>) -> String {
    let cells: Vec<String> = cells.into_iter().map(escape_cell).collect();
    cells.join(",") + LINE_END
}

/// Digits of a number with its country, by ITU-T E.164 no more than fifteen; fewer than seven is a sum or a slip.
const TELEPHONE_DIGITS: std::ops::RangeInclusive<usize> = 7..=15;

/// `+`, then digits with single spaces between: nothing else that a spreadsheet could compute with.
fn is_telephone(text: &str) -> bool {
    let Some(number) = text.strip_prefix('+') else { return false };
    let groups = || number.split(' ');
    let only_digits = groups().all(|group| !group.is_empty() && group.bytes().all(|byte| byte.is_ascii_digit()));
    only_digits && TELEPHONE_DIGITS.contains(&groups().map(str::len).sum())
}

fn starts_a_formula(text: &str) -> bool {
    if is_telephone(text) {
        return false;
    }
    if text.starts_with(['\t', '\r', '\n', '\0']) {
        return true;
    }
    // Some programs skip spaces before the sign, and East Asian versions read the full-width signs as well.
    text.trim_start().starts_with(['=', '+', '-', '@', '\0', '＝', '＋', '－', '＠'])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_are_quoted_and_disarmed() {
        let cases = [
            ("ABC123", "ABC123"),
            ("", ""),
            ("000123", "000123"),
            ("A-1", "A-1"),
            ("a,b", "\"a,b\""),
            ("a;b", "\"a;b\""),
            ("say \"x\"", "\"say \"\"x\"\"\""),
            ("two\nlines", "\"two\nlines\""),
            ("=21+3", "'=21+3"),
            ("+49", "'+49"),
            ("+44 1632 960100", "+44 1632 960100"),
            ("+491713920042", "+491713920042"),
            ("+1234567", "+1234567"),
            ("+123456", "'+123456"),
            ("+1234567890123456", "'+1234567890123456"),
            ("+44 1632 960100 ", "\"'+44 1632 960100 \""),
            ("+44  1632 960100", "'+44  1632 960100"),
            ("+44-1632-960100", "'+44-1632-960100"),
            ("+1234567+A1", "'+1234567+A1"),
            ("+1234567*2", "'+1234567*2"),
            ("++1234567", "'++1234567"),
            ("+ 1234567", "'+ 1234567"),
            ("+١٢٣٤٥٦٧", "'+١٢٣٤٥٦٧"),
            ("+1234567\n=1", "\"'+1234567\n=1\""),
            ("-1", "'-1"),
            ("@SUM(A1)", "'@SUM(A1)"),
            ("\tx", "\"'\tx\""),
            ("\rx", "\"'\rx\""),
            ("\0x", "'\0x"),
            (" =1", "' =1"),
            ("＝1", "'＝1"),
            ("=HYPERLINK(\"http://x\",\"y\")", "\"'=HYPERLINK(\"\"http://x\"\",\"\"y\"\")\""),
            (" a", "\" a\""),
        ];
        for (text, cell) in cases {
            assert_eq!(escape_cell(text), cell, "{text:?}");
        }
        assert_eq!(line(["a", "=b", "c,d"]), "a,'=b,\"c,d\"\r\n");
    }

    proptest::proptest! {
        #[test]
        fn a_cell_stays_one_cell(text in ".{0,40}") {
            let cell = escape_cell(&text);
            let inner = match cell.strip_prefix('"').and_then(|rest| rest.strip_suffix('"')) {
                Some(quoted) => quoted.replace("\"\"", "\u{1}"),
                None => {
                    proptest::prop_assert!(!cell.contains([',', '"', '\r', '\n']));
                    cell.clone()
                }
            };
            proptest::prop_assert!(!inner.contains('"'));
            let armed = inner.starts_with(['=', '+', '-', '@', '\t', '\r', '\0']);
            proptest::prop_assert!(!armed || inner.chars().all(|c| "+ 0123456789".contains(c)));
        }
    }
}
