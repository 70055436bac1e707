//! GS1 element strings: fields in a row, with or without separators, and their printed form in brackets.
//!
//! A field of variable length whose separator is lost swallows the next one. That is never split on a guess: the scan
//! is refused where the damage would hide a serial, and marked as doubtful where it only could.

use super::ai;
use super::check_digit::{gs1_valid, is_digits};
use super::problem::Problem;

/// The separator as scanners send it (ASCII 29).
pub(super) const SEPARATOR: char = '\u{1d}';

/// What the separator turns into between a scanner and a text field; these cannot stand in a field's value, or only in
/// one that nobody prints.
const SPELLINGS: [&str; 9] = ["␝", "<GS>", "{GS}", "^]", "\\x1d", "\\x1D", "\\u001d", "\\u001D", "~d029"];
/// More spellings, which are ordinary text outside an element string.
const WEAK_SPELLINGS: [char; 2] = ['|', ' '];

/// Identifiers whose field names one item.
pub(super) const SERIAL_CODES: [&str; 5] = ["21", "8003", "8004", "8011", "235"];

/// Where a field's name comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Scheme {
    /// GS1 application identifier.
    Ai,
    /// ASC MH10 data identifier.
    Di,
}

/// One field of a carrier.
#[derive(Clone, Debug, PartialEq, Eq, Hash)]
pub struct Element {
    /// Which kind of identifier.
    pub scheme: Scheme,
    /// The identifier, for example `21` or `1P`.
    pub id: String,
    /// Its value, byte for byte (in the bracket form without the spaces that only the print has).
    pub value: String,
}

/// The fields of one carrier.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Fields {
    /// In the order of the carrier, up to the first that cannot be read.
    pub(super) elements: Vec<Element>,
    /// The first thing that is wrong.
    pub(super) problem: Option<Problem>,
    /// The last field is a serial that could hide another field.
    pub(super) doubtful_end: bool,
}

impl Fields {
    pub(super) fn push(&mut self, scheme: Scheme, id: &str, value: &str) {
        self.elements.push(Element { scheme, id: id.to_owned(), value: value.to_owned() });
    }

    pub(super) fn note(&mut self, problem: Problem) {
        self.problem.get_or_insert(problem);
    }

    fn note_associations(&mut self) {
        let pairs = self.elements.iter().map(|element| (element.id.as_str(), element.value.as_str()));
        if let Some(problem) = ai::associations(pairs) {
            self.note(problem);
        }
    }
}

/// The text with every known spelling of the separator replaced, and whether there was one.
pub(super) fn respell(text: &str) -> (String, bool) {
    let spelled = SPELLINGS.iter().any(|spelling| text.contains(spelling));
    if !spelled {
        return (text.to_owned(), false);
    }
    let one = SEPARATOR.to_string();
    (SPELLINGS.iter().fold(text.to_owned(), |text, spelling| text.replace(spelling, &one)), true)
}

/// The same for the spellings that count only once a text is known to be an element string.
pub(super) fn respell_weak(text: &str) -> (String, bool) {
    let one = SEPARATOR.to_string();
    (text.replace(WEAK_SPELLINGS, &one), text.contains(WEAK_SPELLINGS))
}

/// Whether a text is an element string although no scanner said so. It asks for much, because a serial may be digits
/// as well: a good check digit, or a broken one with a usual identifier right behind it.
pub(super) fn looks_like(text: &str) -> bool {
    let digits = |from: usize, to: usize| text.get(from..to).filter(|part| is_digits(part));
    if text.starts_with("01")
        && let Some(code) = digits(2, 16)
    {
        let usual = ["10", "11", "17", "21", "240", "250"];
        let follows = |rest: &str| usual.iter().any(|code| rest.len() > code.len() && rest.starts_with(code));
        return gs1_valid(code) || follows(text[16..].trim_start_matches(['|', ' ', SEPARATOR]));
    }
    if text.starts_with("00") {
        return text.len() == 20 && digits(2, 20).is_some_and(gs1_valid);
    }
    if text.starts_with("80030") {
        return digits(4, 18).is_some_and(gs1_valid);
    }
    if text.starts_with("8006") {
        return digits(4, 18).is_some_and(gs1_valid) && digits(18, 22).is_some();
    }
    false
}

/// Reads the fields of an element string whose separators are [`SEPARATOR`]s.
pub(super) fn parse(text: &str) -> Fields {
    let mut fields = Fields::default();
    let separators_survived = text.contains(SEPARATOR);
    let mut rest = text.trim_start_matches(SEPARATOR);
    let mut ran_to_the_end = false;
    while !rest.is_empty() {
        let Some(length) = ai::code_len(rest) else {
            fields.note(Problem::UnknownIdentifier);
            break;
        };
        let (code, behind) = rest.split_at(length);
        let end = match ai::fixed_len(code) {
            Some(fixed) if behind.is_char_boundary(fixed) && fixed <= behind.len() => fixed,
            Some(_) => {
                // Too short: what is there is kept in the raw text only.
                fields.note(Problem::FieldFormat);
                break;
            }
            None => behind.find(SEPARATOR).unwrap_or(behind.len()),
        };
        let value = &behind[..end];
        if let Err(problem) = ai::check_field(code, value) {
            // Too many characters and not one separator: the next field is in there.
            let swallowed = problem == Problem::FieldFormat && ai::is_text(code) && !separators_survived;
            fields.note(if swallowed && value.len() > 20 { Problem::SeparatorLost } else { problem });
        }
        fields.push(Scheme::Ai, code, value);
        ran_to_the_end = ai::fixed_len(code).is_none() && end == behind.len();
        // A separator behind a field of fixed length is superfluous and common.
        rest = behind[end..].trim_start_matches(SEPARATOR);
    }
    if ran_to_the_end && !separators_survived {
        look_for_a_swallowed_field(&mut fields);
    }
    fields.note_associations();
    fields
}

fn look_for_a_swallowed_field(fields: &mut Fields) {
    let Some((last, before)) = fields.elements.split_last() else {
        return;
    };
    if !ai::is_text(&last.id) {
        return;
    }
    let tails = || (1..last.value.len()).filter_map(|at| last.value.get(at..));
    let named = SERIAL_CODES.contains(&last.id.as_str())
        || before.iter().any(|element| SERIAL_CODES.contains(&element.id.as_str()));
    if !named {
        // No serial anywhere, and what could be one inside the last field.
        if tails().any(|tail| tail.len() > 2 && tail.starts_with("21")) {
            fields.note(Problem::SeparatorLost);
        }
        return;
    }
    if last.id != "21" {
        return;
    }
    // A whole date at the end of a serial is too unlikely to be chance; a lot number there is not.
    let date_tail = |tail: &str| {
        tail.len() == 8 && ["11", "17"].contains(&&tail[..2]) && ai::check_field(&tail[..2], &tail[2..]).is_ok()
    };
    let lost = tails().any(|tail| tail.is_ascii() && date_tail(tail));
    let doubtful = tails().any(|tail| {
        ["10", "240", "250"].iter().any(|code| {
            tail.strip_prefix(code).is_some_and(|value| {
                !before.iter().any(|element| element.id == *code) && ai::check_field(code, value).is_ok()
            })
        })
    });
    if lost {
        fields.note(Problem::SeparatorLost);
    }
    fields.doubtful_end = doubtful;
}

/// Reads the printed form `(01)…(21)…`; `None` when the text is not wholly in that form, because a bracket may also be
/// data.
pub(super) fn parse_bracketed(text: &str) -> Option<Fields> {
    let mut fields = Fields::default();
    let mut rest = text;
    while !rest.is_empty() {
        let (code, behind) = bracketed_code(rest)?;
        let next = behind.char_indices().find(|(at, c)| *c == '(' && bracketed_code(&behind[*at..]).is_some());
        let end = next.map_or(behind.len(), |(at, _)| at);
        let printed = behind[..end].trim();
        if printed.is_empty() {
            return None;
        }
        // Print groups digits with spaces. In a text field a space is kept: it is not ours to say that it is layout.
        let value = if ai::is_text(code) { printed.to_owned() } else { printed.replace(' ', "") };
        if let Err(problem) = ai::check_field(code, &value.replace(' ', "")) {
            fields.note(problem);
        }
        fields.push(Scheme::Ai, code, &value);
        rest = &behind[end..];
    }
    fields.note_associations();
    (!fields.elements.is_empty()).then_some(fields)
}

/// The identifier in brackets at the start, and the text behind it.
fn bracketed_code(text: &str) -> Option<(&str, &str)> {
    let (code, behind) = text.strip_prefix('(')?.split_once(')')?;
    (ai::code_len(code) == Some(code.len())).then_some((code, behind))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The fields in one line, and the problem.
    fn read(text: &str) -> String {
        show(&parse(text))
    }

    fn show(fields: &Fields) -> String {
        let mut line = String::new();
        for element in &fields.elements {
            line += &format!("({}){}", element.id, element.value);
        }
        if let Some(problem) = fields.problem {
            line += &format!(" {problem:?}");
        }
        if fields.doubtful_end {
            line += " doubtful";
        }
        line
    }

    #[test]
    fn fields_follow_each_other() {
        let cases = [
            ("0109521234543213211234ABC", "(01)09521234543213(21)1234ABC"),
            ("010952123454321310LOT7\u{1d}21A1B2C3", "(01)09521234543213(10)LOT7(21)A1B2C3"),
            ("\u{1d}0109521234543213\u{1d}21A1\u{1d}", "(01)09521234543213(21)A1"),
            ("01095212345432131126041521X1", "(01)09521234543213(11)260415(21)X1"),
            ("0109521234543213310300012521X1", "(01)09521234543213(3103)000125(21)X1"),
            ("0109521234543213402-", "(01)09521234543213(402)- FieldFormat"),
            ("010952123454321310LOT721A1B2C3", "(01)09521234543213(10)LOT721A1B2C3 SeparatorLost"),
            ("010952123454321310LOT7", "(01)09521234543213(10)LOT7"),
            ("010952123454321321A1B2C311260415", "(01)09521234543213(21)A1B2C311260415 SeparatorLost"),
            ("010952123454321321A1B2C310LOT7", "(01)09521234543213(21)A1B2C310LOT7 doubtful"),
            (
                "010952123454321321A1B2C310LOT7ABCDEFGHI",
                "(01)09521234543213(21)A1B2C310LOT7ABCDEFGHI SeparatorLost doubtful",
            ),
            ("010952123454321321A1B2C310LOT7\u{1d}", "(01)09521234543213(21)A1B2C310LOT7"),
            ("010952123454321421X", "(01)09521234543214(21)X CheckDigitWrong"),
            ("010952123454321305X", "(01)09521234543213 UnknownIdentifier"),
            ("0109521234543213111", "(01)09521234543213 FieldFormat"),
            ("0109521234543213112602300", "(01)09521234543213(11)260230 NotADate"),
            ("8003095212345432131001", "(8003)095212345432131001"),
            ("8006095212345432130203", "(8006)095212345432130203"),
            ("8010952-A\u{1d}80117", "(8010)952-A(8011)7"),
            ("21A\u{1d}21B", "(21)A(21)B Contradiction"),
            ("0109521234543213010952123454321321A", "(01)09521234543213(01)09521234543213(21)A"),
            ("", ""),
        ];
        for (text, expected) in cases {
            assert_eq!(read(text), expected, "{text}");
        }
    }

    #[test]
    fn brackets_are_print_only_when_all_of_the_text_is() {
        let cases = [
            ("(01)09521234543213(21)A1B2-C3(10)LOT7", Some("(01)09521234543213(21)A1B2-C3(10)LOT7")),
            ("(01) 0952 1234 5432 13 (21) A1 B2", Some("(01)09521234543213(21)A1 B2")),
            ("(21)A(B)C", Some("(21)A(B)C")),
            ("(21)A(05)C", Some("(21)A(05)C")),
            ("(01)09521234543214(21)A", Some("(01)09521234543214(21)A CheckDigitWrong")),
            ("x(21)A", None),
            ("(21)", None),
            ("(2)A", None),
            ("(A1)B", None),
            ("", None),
        ];
        for (text, expected) in cases {
            assert_eq!(parse_bracketed(text).map(|fields| show(&fields)).as_deref(), expected, "{text}");
        }
    }

    #[test]
    fn separators_are_known_by_their_spellings() {
        for spelling in SPELLINGS {
            let (text, spelled) = respell(&format!("10L{spelling}21S"));
            assert_eq!((text.as_str(), spelled), ("10L\u{1d}21S", true), "{spelling}");
        }
        assert_eq!(respell("10L|21S"), ("10L|21S".to_owned(), false));
        assert_eq!(respell_weak("10L|21S"), ("10L\u{1d}21S".to_owned(), true));
    }

    #[test]
    fn only_good_evidence_makes_an_element_string() {
        for text in [
            "0109521234543213",
            "010952123454321421X",
            "0109521234543214 21X",
            "8003095212345432131001",
            "8006095212345432130203",
            "00195271411234567891",
        ] {
            assert!(looks_like(text), "{text}");
        }
        for text in
            ["0109521234543214", "0123", "211234", "BX24-1", "00195271411234567892", "8003", "", "01é9521234543213"]
        {
            assert!(!looks_like(text), "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_answered(text in "[0-9]{0,6}(\\PC|\u{1d}|[0-9A-Z()]){0,60}") {
            let fields = parse(&text);
            proptest::prop_assert!(fields.elements.len() <= text.len());
            let _ = parse_bracketed(&text);
            let _ = looks_like(&text);
            let _ = respell(&text);
        }

        #[test]
        fn what_is_written_is_read(serial in "[A-Z0-9]{1,20}", lot in "[A-Z0-9]{1,20}") {
            let fields = parse(&format!("010952123454321310{lot}\u{1d}21{serial}"));
            proptest::prop_assert_eq!(fields.problem, None);
            proptest::prop_assert_eq!(show(&fields), format!("(01)09521234543213(10){lot}(21){serial}"));
        }
    }
}
