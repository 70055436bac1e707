//! ISO/IEC 15434 envelopes: `[)>`, then formats, each closed by a record separator. Format 06 holds fields with data
//! identifiers (ASC MH10.8.2), format 05 an element string.

use super::element_string::{self, Fields, SEPARATOR, Scheme};
use super::problem::Problem;

const HEADER: &str = "[)>";
const RECORD_END: char = '\u{1e}';
const TRANSMISSION_END: char = '\u{4}';

/// Spellings of the two other control characters that keyboards send. They count only behind the header.
const RECORD_SPELLINGS: [&str; 9] = ["␞", "<RS>", "{RS}", "^^", "\\x1e", "\\x1E", "\\u001e", "\\u001E", "~d030"];
const TRANSMISSION_SPELLINGS: [&str; 7] = ["␄", "<EOT>", "{EOT}", "^D", "\\x04", "\\u0004", "~d004"];

/// Longest value of a field: a data identifier's field has at most 50 characters, maker URLs aside.
const VALUE_CHARS_MAX: usize = 200;

/// Whether the text is an envelope.
pub(super) fn opens(text: &str) -> bool {
    text.starts_with(HEADER)
}

/// Reads an envelope; the flag says that a control character came in another spelling.
pub(super) fn read(text: &str) -> (Fields, bool) {
    let (text, spelled) = element_string::respell(text);
    let replace = |text: String, spellings: &[&str], by: char| {
        spellings.iter().fold(text, |text, spelling| text.replace(spelling, &by.to_string()))
    };
    let plain = replace(text.clone(), &RECORD_SPELLINGS, RECORD_END);
    let plain = replace(plain, &TRANSMISSION_SPELLINGS, TRANSMISSION_END);
    let spelled = spelled || plain != text;
    let mut fields = Fields::default();
    if read_formats(&plain, &mut fields).is_none() {
        fields.note(Problem::EnvelopeForm);
    }
    let mut seen: Vec<(&str, &str)> = Vec::new();
    let mut contradicts = false;
    for element in fields.elements.iter().filter(|element| element.scheme == Scheme::Di) {
        contradicts |= ["S", "25S", "1P"].contains(&element.id.as_str())
            && seen.iter().any(|(id, value)| *id == element.id && *value != element.value);
        seen.push((&element.id, &element.value));
    }
    if contradicts {
        fields.note(Problem::Contradiction);
    }
    (fields, spelled)
}

/// `None` when the envelope is not formed as it must be.
fn read_formats(text: &str, fields: &mut Fields) -> Option<()> {
    let behind = text.strip_prefix(HEADER)?.strip_prefix(RECORD_END)?;
    // The end of transmission is often cut off by scanners. The record's own end must be there: without it the last
    // field may be cut as well.
    let body = behind.strip_suffix(TRANSMISSION_END).unwrap_or(behind);
    let body = body.strip_suffix(RECORD_END)?;
    for record in body.split(RECORD_END) {
        let (format, content) = record.split_once(SEPARATOR)?;
        match format {
            "05" => {
                let inner = element_string::parse(content);
                fields.elements.extend(inner.elements);
                if let Some(problem) = inner.problem {
                    fields.note(problem);
                }
            }
            "06" => content.split(SEPARATOR).for_each(|field| read_field(field, fields)),
            _ => fields.note(Problem::UnknownIdentifier),
        }
    }
    Some(())
}

fn read_field(field: &str, fields: &mut Fields) {
    if field.is_empty() {
        // A separator before the record's end is superfluous and common.
        return;
    }
    let digits = field.len() - field.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    let letter = field.as_bytes().get(digits).is_some_and(u8::is_ascii_uppercase);
    if digits > 3 || !letter {
        fields.note(Problem::UnknownIdentifier);
        return;
    }
    let (id, value) = field.split_at(digits + 1);
    let printable = value.bytes().all(|byte| (b' '..=b'~').contains(&byte));
    if value.is_empty() || value.len() > VALUE_CHARS_MAX || !printable {
        fields.note(Problem::FieldFormat);
    }
    fields.push(Scheme::Di, id, value);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn show(text: &str) -> String {
        let (fields, spelled) = read(text);
        let mut line: String = fields.elements.iter().map(|e| format!("({}){}", e.id, e.value)).collect();
        if let Some(problem) = fields.problem {
            line += &format!(" {problem:?}");
        }
        if spelled {
            line += " spelled";
        }
        line
    }

    #[test]
    fn envelopes_hold_fields() {
        let cases = [
            ("[)>␞06␝1PBX-100␝SABC123␝10D2616␞␄", "(1P)BX-100(S)ABC123(10D)2616 spelled"),
            ("[)>\u{1e}06\u{1d}1PBX-100\u{1d}SABC123\u{1e}\u{4}", "(1P)BX-100(S)ABC123"),
            ("[)>\u{1e}06\u{1d}SABC123\u{1d}\u{1e}", "(S)ABC123"),
            ("[)><RS>06<GS>25SXY1ABC<GS>16D20260415<RS><EOT>", "(25S)XY1ABC(16D)20260415 spelled"),
            ("[)>\u{1e}05\u{1d}010952123454321321A1\u{1e}\u{4}", "(01)09521234543213(21)A1"),
            ("[)>\u{1e}05\u{1d}010952123454321421A1\u{1e}\u{4}", "(01)09521234543214(21)A1 CheckDigitWrong"),
            ("[)>\u{1e}05\u{1d}0109521234543213\u{1e}06\u{1d}SA1\u{1e}\u{4}", "(01)09521234543213(S)A1"),
            ("[)>\u{1e}06\u{1d}SABC123", " EnvelopeForm"),
            ("[)>06\u{1d}SABC123\u{1e}\u{4}", " EnvelopeForm"),
            ("[)>\u{1e}06SABC123\u{1e}\u{4}", " EnvelopeForm"),
            ("[)>\u{1e}12\u{1d}SABC123\u{1e}\u{4}", " UnknownIdentifier"),
            ("[)>\u{1e}06\u{1d}s1\u{1e}\u{4}", " UnknownIdentifier"),
            ("[)>\u{1e}06\u{1d}1234S1\u{1e}\u{4}", " UnknownIdentifier"),
            ("[)>\u{1e}06\u{1d}S\u{1e}\u{4}", "(S) FieldFormat"),
            ("[)>\u{1e}06\u{1d}SА1\u{1e}\u{4}", "(S)А1 FieldFormat"),
            ("[)>\u{1e}06\u{1d}SA\u{1d}SB\u{1e}\u{4}", "(S)A(S)B Contradiction"),
            ("[)>\u{1e}06\u{1d}Q1\u{1d}Q2\u{1d}SA\u{1e}\u{4}", "(Q)1(Q)2(S)A"),
        ];
        for (text, expected) in cases {
            assert_eq!(show(text), expected, "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_answered(text in "(\\PC|[\u{4}\u{1d}\u{1e}0-9A-Z]){0,60}") {
            let _ = read(&text);
            let _ = read(&format!("[)>\u{1e}06\u{1d}{text}\u{1e}"));
        }
    }
}
