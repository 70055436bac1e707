//! GS1 Digital Link: a web address that names one item.
//!
//! The path is walked from its end, because anything may stand before the key. Nothing is fetched, a link is never
//! opened, and compressed links stay what they look like: plain addresses.

use super::ai;
use super::check_digit::is_digits;
use super::element_string::{Fields, Scheme};
use super::problem::Problem;

/// Keys that a link can be about.
const PRIMARY_KEYS: [&str; 17] = [
    "00", "01", "253", "255", "401", "402", "414", "415", "417", "8003", "8004", "8006", "8010", "8013", "8017",
    "8018", "gtin",
];

/// What a web address says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Link {
    /// An item by the standard.
    Item(Fields),
    /// Any address; with what is wrong when it nearly is an item.
    Plain(Option<Problem>),
}

/// Whether the text is a web address.
pub(super) fn is_url(text: &str) -> bool {
    host(text).is_some()
}

/// The host of a web address with its port, for showing before anybody opens it.
pub(super) fn host(text: &str) -> Option<&str> {
    let behind = behind_scheme(text)?;
    let authority = behind.split(['/', '?', '#', '\\']).next()?;
    // A name and password in front of the host are an old way to fake one.
    let host = authority.rsplit('@').next()?;
    let sane = !host.is_empty() && !host.contains(|c: char| c.is_whitespace() || c.is_control());
    sane.then_some(host)
}

fn behind_scheme(text: &str) -> Option<&str> {
    ["https://", "http://"].iter().find_map(|scheme| {
        let start = text.get(..scheme.len())?;
        start.eq_ignore_ascii_case(scheme).then(|| &text[scheme.len()..])
    })
}

/// Reads a web address.
pub(super) fn read(text: &str) -> Link {
    let Some(behind) = behind_scheme(text) else {
        return Link::Plain(None);
    };
    let behind = behind.split('#').next().unwrap_or(behind);
    let (before_query, query) = behind.split_once('?').unwrap_or((behind, ""));
    let Some((_, path)) = before_query.split_once('/') else {
        return Link::Plain(None);
    };
    let path = path.strip_suffix('/').unwrap_or(path);
    // Split before decoding: a decoded slash is data.
    let segments: Vec<&str> = path.split('/').collect();
    let Some(start) = primary_key_at(&segments) else {
        return Link::Plain(None);
    };
    let mut fields = Fields::default();
    for pair in segments[start..].chunks_exact(2) {
        let code = current_name(pair[0]);
        let Some(value) = percent_decode(pair[1]) else {
            return Link::Plain(Some(Problem::FieldFormat));
        };
        let value = if code == "01" { pad_gtin(value) } else { value };
        if let Err(problem) = ai::check_field(code, &value) {
            // A key of another form is not a key: the address means something else. One with a broken check digit is
            // worth a second scan.
            if fields.elements.is_empty() {
                return Link::Plain((problem == Problem::CheckDigitWrong).then_some(problem));
            }
            fields.note(problem);
        }
        fields.push(Scheme::Ai, code, &value);
    }
    check_qualifiers(&mut fields);
    let path_fields = fields.elements.len();
    read_attributes(query, &mut fields);
    check_attributes(&mut fields, path_fields);
    Link::Item(fields)
}

/// Where the rightmost key stands, walking back in pairs over what can be a qualifier.
fn primary_key_at(segments: &[&str]) -> Option<usize> {
    let mut at = segments.len().checked_sub(2)?;
    loop {
        let name = segments[at];
        if PRIMARY_KEYS.contains(&name) {
            return Some(at);
        }
        let is_code = ai::code_len(current_name(name)) == Some(current_name(name).len());
        if !is_code {
            return None;
        }
        at = at.checked_sub(2)?;
    }
}

/// The number for a name of version 1.1 and before, which old labels still carry.
fn current_name(name: &str) -> &str {
    match name {
        "gtin" => "01",
        "ser" => "21",
        "lot" => "10",
        "cpv" => "22",
        other => other,
    }
}

/// Older writers put the short product codes into links.
fn pad_gtin(value: String) -> String {
    if is_digits(&value) && matches!(value.len(), 8 | 12 | 13) { format!("{value:0>14}") } else { value }
}

/// The chains of qualifiers that a key may have, each in its order.
fn qualifier_chains(key: &str) -> &'static [&'static [&'static str]] {
    match key {
        "01" => &[&["22", "10", "21"], &["235"]],
        "8006" => &[&["22", "10", "21"]],
        "8010" => &[&["8011"]],
        "8004" | "417" => &[&["7040"]],
        "414" => &[&["254"], &["7040"]],
        "415" => &[&["8020"]],
        "8017" | "8018" => &[&["8019"]],
        _ => &[],
    }
}

fn check_qualifiers(fields: &mut Fields) {
    let Some((key, qualifiers)) = fields.elements.split_first() else {
        return;
    };
    let names: Vec<&str> = qualifiers.iter().map(|element| element.id.as_str()).collect();
    let chains = qualifier_chains(&key.id);
    let in_order = |chain: &[&str]| {
        let mut left = chain.iter();
        names.iter().all(|name| left.any(|allowed| allowed == name))
    };
    let known = |name: &&str| chains.iter().any(|chain| chain.contains(name));
    let needs_reference = key.id == "415" && !names.contains(&"8020");
    if !names.iter().all(known) {
        fields.note(Problem::Association);
    } else if !names.is_empty() && !chains.iter().any(|chain| in_order(chain)) {
        fields.note(Problem::QualifierOrder);
    } else if needs_reference {
        fields.note(Problem::QualifierMissing);
    }
}

/// Query keys that are numbers of known length are fields; all others belong to the address.
fn read_attributes(query: &str, fields: &mut Fields) {
    for part in query.split('&') {
        let Some((code, value)) = part.split_once('=') else {
            continue;
        };
        if ai::code_len(code) != Some(code.len()) {
            continue;
        }
        match percent_decode(value) {
            Some(value) => {
                if let Err(problem) = ai::check_field(code, &value) {
                    fields.note(problem);
                }
                fields.push(Scheme::Ai, code, &value);
            }
            None => fields.note(Problem::FieldFormat),
        }
    }
}

/// What names the item must stand in the path; in the query it would be lost on servers that drop queries.
fn check_attributes(fields: &mut Fields, path_fields: usize) {
    let (path, query) = fields.elements.split_at(path_fields);
    let Some(key) = path.first() else { return };
    let chains = qualifier_chains(&key.id);
    let misplaced = query
        .iter()
        .any(|element| element.id == key.id || chains.iter().any(|chain| chain.contains(&element.id.as_str())));
    let contradicts = ai::associations(fields.elements.iter().map(|e| (e.id.as_str(), e.value.as_str())));
    if misplaced {
        fields.note(Problem::Association);
    } else if let Some(problem) = contradicts {
        fields.note(problem);
    }
}

fn percent_decode(text: &str) -> Option<String> {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let Some((first, behind)) = rest.split_first() {
        if *first == b'%' {
            let (pair, after) = behind.split_first_chunk::<2>()?;
            let digit = |byte: u8| char::from(byte).to_digit(16).and_then(|d| u8::try_from(d).ok());
            bytes.push(digit(pair[0])? << 4 | digit(pair[1])?);
            rest = after;
        } else {
            bytes.push(*first);
            rest = behind;
        }
    }
    String::from_utf8(bytes).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn show(text: &str) -> String {
        match read(text) {
            Link::Plain(None) => "plain".to_owned(),
            Link::Plain(Some(problem)) => format!("plain {problem:?}"),
            Link::Item(fields) => {
                let mut line: String =
                    fields.elements.iter().map(|element| format!("({}){}", element.id, element.value)).collect();
                if let Some(problem) = fields.problem {
                    line += &format!(" {problem:?}");
                }
                line
            }
        }
    }

    #[test]
    fn links_are_walked_from_their_end() {
        let cases = [
            ("https://id.gs1.org/01/09521234543213/21/12345", "(01)09521234543213(21)12345"),
            (
                "https://example.com/p/01/09521234543213/10/LOT7/21/A1?11=260415",
                "(01)09521234543213(10)LOT7(21)A1(11)260415",
            ),
            ("https://id.gs1.org/01/09521234543213/21/A1%2FB2", "(01)09521234543213(21)A1/B2"),
            ("https://example.com/x/21/A1", "plain"),
            ("https://example.com/01/09521234543214/21/A1", "plain CheckDigitWrong"),
            ("https://example.com/01/09521234543213/21/9/10/L", "(01)09521234543213(21)9(10)L QualifierOrder"),
            ("https://example.com/01/09521234543213/235/X/21/Y", "(01)09521234543213(235)X(21)Y QualifierOrder"),
            ("https://example.com/01/09521234543213/235/X", "(01)09521234543213(235)X"),
            ("https://example.com/01/09521234543213/22/2A/10/L/21/S/", "(01)09521234543213(22)2A(10)L(21)S"),
            ("https://example.com/01/09521234543213/99/S", "(01)09521234543213(99)S Association"),
            ("https://example.com/01/9521234543213/21/S", "(01)09521234543213(21)S"),
            ("https://example.com/gtin/09521234543213/ser/S", "(01)09521234543213(21)S"),
            ("HTTPS://EXAMPLE.COM/01/09521234543213/21/S", "(01)09521234543213(21)S"),
            ("https://example.com/01/09521234543213/21/01", "(01)09521234543213(21)01"),
            ("https://example.com/21/01/01/09521234543213", "(01)09521234543213"),
            ("https://example.com/01/09521234543213/21/S#frag/10/x", "(01)09521234543213(21)S"),
            ("https://example.com/01/09521234543213/21/S?linkType=all&17=260200", "(01)09521234543213(21)S(17)260200"),
            ("https://example.com/01/09521234543213?21=S", "(01)09521234543213(21)S Association"),
            ("https://example.com/01/09521234543213/21/S?11=260230", "(01)09521234543213(21)S(11)260230 NotADate"),
            ("https://example.com/01/09521234543213/21/%GG", "plain FieldFormat"),
            ("https://example.com/01/09521234543213/21/", "plain"),
            ("https://example.com/415/9521234543213", "(415)9521234543213 QualifierMissing"),
            ("https://example.com/415/9521234543213/8020/R1", "(415)9521234543213(8020)R1"),
            (
                "https://example.com/414/9521234543213/254/X/7040/1ABC",
                "(414)9521234543213(254)X(7040)1ABC QualifierOrder",
            ),
            ("https://example.com/8006/095212345432130203/21/S", "(8006)095212345432130203(21)S"),
            ("https://example.com/8010/952123-A/8011/7", "(8010)952123-A(8011)7"),
            ("https://example.com/00/page", "plain"),
            ("https://example.com", "plain"),
            ("https://example.com/", "plain"),
            ("ftp://example.com/01/09521234543213", "plain"),
        ];
        for (text, expected) in cases {
            assert_eq!(show(text), expected, "{text}");
        }
    }

    #[test]
    fn the_host_is_the_real_one() {
        let cases = [
            ("https://id.gs1.org/01/1", Some("id.gs1.org")),
            ("https://id.gs1.org@evil.example/01/1", Some("evil.example")),
            ("https://evil.example\\@id.gs1.org/", Some("evil.example")),
            ("http://example.com:8080?x", Some("example.com:8080")),
            ("https:///x", None),
            ("https://a b/", None),
            ("example.com/x", None),
        ];
        for (text, expected) in cases {
            assert_eq!(host(text), expected, "{text}");
        }
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_answered(text in "(https://)?(\\PC|[0-9/?&=%#]){0,80}") {
            let _ = read(&text);
            let _ = host(&text);
        }
    }
}
