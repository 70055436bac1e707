//! Reads the rule files: the part of TOML that they use, which is comments, `key = "text"`, `key = 1`, `[[edition]]`
//! and `[[rule]]`.
//! Text has no escapes. Everything stays a slice of the file.

use super::{Basis, Edition, Place, Rule, Topic, mark, quantity};
use crate::electrical::check::Source;
use crate::identification::Date;

/// Why a file is no rule set: the line and what is wrong there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Unreadable {
    pub(super) line: usize,
    pub(super) what: &'static str,
}

/// A line of a file with its number.
type Pair = (usize, &'static str, &'static str);
/// The pairs under one heading.
type Table = Vec<Pair>;

/// A file as it stands.
#[derive(Default)]
struct Tables {
    head: Table,
    editions: Vec<Table>,
    rules: Vec<Table>,
}

/// Id, version and the rules that hold at the place.
pub(super) fn read(text: &'static str, place: Place) -> Result<(&'static str, u32, Vec<Rule>), Unreadable> {
    let Tables { head, editions, rules: tables } = pairs(text)?;
    let editions = editions.iter().map(|table| edition(table)).collect::<Result<Vec<_>, _>>()?;
    let fault = |what| Unreadable { line: 1, what };
    let id = value(&head, "id").ok_or_else(|| fault("no id"))?;
    let version = value(&head, "version").and_then(|number| number.parse().ok()).ok_or_else(|| fault("no version"))?;
    let mut rules = Vec::with_capacity(tables.len());
    for table in &tables {
        if value(table, "only").is_none_or(|only| only == place.word()) {
            rules.push(rule(table, &editions)?);
        }
    }
    Ok((id, version, rules))
}

fn pairs(text: &'static str) -> Result<Tables, Unreadable> {
    let mut tables = Tables::default();
    let mut in_editions = None;
    for (index, raw) in text.lines().enumerate() {
        let (number, line) = (index + 1, raw.trim());
        if line.is_empty() || line.starts_with('#') {
            continue;
        }
        if ["[[edition]]", "[[rule]]"].contains(&line) {
            in_editions = Some(line == "[[edition]]");
            if line == "[[edition]]" { &mut tables.editions } else { &mut tables.rules }.push(Vec::new());
            continue;
        }
        let (key, value) =
            line.split_once('=').ok_or(Unreadable { line: number, what: "neither a pair nor a table" })?;
        let value = value.trim();
        let value = match value.strip_prefix('"') {
            Some(rest) => rest.strip_suffix('"').ok_or(Unreadable { line: number, what: "text without an end" })?,
            None if !value.is_empty() && value.bytes().all(|byte| byte.is_ascii_digit()) => value,
            None => return Err(Unreadable { line: number, what: "neither text nor a whole number" }),
        };
        if value.contains(['"', '\\']) {
            return Err(Unreadable { line: number, what: "text with a sign that needs an escape" });
        }
        let own = match in_editions {
            None => None,
            Some(true) => tables.editions.last_mut(),
            Some(false) => tables.rules.last_mut(),
        };
        own.unwrap_or(&mut tables.head).push((number, key.trim(), value));
    }
    Ok(tables)
}

fn value(table: &[Pair], key: &str) -> Option<&'static str> {
    table.iter().find(|(_, name, _)| *name == key).map(|(.., value)| *value)
}

const KEYS: [&str; 13] =
    ["id", "topic", "about", "at", "case", "value", "unit", "basis", "only", "standard", "edition", "clause", "mark"];

/// The days of an edition of a standard.
fn edition(table: &[Pair]) -> Result<(&'static str, &'static str, Edition), Unreadable> {
    let line = table.first().map_or(0, |(line, ..)| *line);
    let fault = |what| Unreadable { line, what };
    let day = |key| match value(table, key).map(Date::parse) {
        None => Ok(None),
        Some(Ok(day)) => Ok(Some(day)),
        Some(Err(_)) => Err(fault("no day of the calendar")),
    };
    let days = Edition { valid_from: day("valid_from")?, valid_until: day("valid_until")? };
    match (value(table, "standard"), value(table, "edition")) {
        (Some(standard), Some(edition)) => Ok((standard, edition, days)),
        _ => Err(fault("an edition without a name")),
    }
}

fn rule(table: &[Pair], editions: &[(&'static str, &'static str, Edition)]) -> Result<Rule, Unreadable> {
    let line = table.first().map_or(0, |(line, ..)| *line);
    let fault = |what| Unreadable { line, what };
    if let Some((line, ..)) = table.iter().find(|(_, key, _)| !KEYS.contains(key)) {
        return Err(Unreadable { line: *line, what: "a key that no rule has" });
    }
    let text = |key| value(table, key).unwrap_or("");
    let value = match (value(table, "unit"), value(table, "value")) {
        (Some(unit), Some(value)) => Some(quantity(unit, value).ok_or_else(|| fault("no such unit or number"))?),
        (None, None) => None,
        (Some(_), None) | (None, Some(_)) => return Err(fault("value and unit go together")),
    };
    let basis = match text("basis") {
        "" => None,
        word => Some(Basis::from_word(word).ok_or_else(|| fault("no such basis"))?),
    };
    let (standard, of) = (text("standard"), text("edition"));
    let days = editions.iter().find(|(own, edition, _)| (*own, *edition) == (standard, of)).map(|(.., days)| *days);
    if days.is_none() && !standard.is_empty() {
        return Err(fault("an edition without its days"));
    }
    Ok(Rule {
        id: self::value(table, "id").ok_or_else(|| fault("a rule without an id"))?,
        topic: Topic::from_word(text("topic")).ok_or_else(|| fault("no such topic"))?,
        about: text("about"),
        at: text("at"),
        case: text("case"),
        value,
        basis,
        source: Source {
            standard,
            edition: of,
            clause: text("clause"),
            mark: mark(text("mark")).ok_or_else(|| fault("no such mark"))?,
        },
        days,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const GOOD: &str = "# rules\nid = \"x\"\nversion = 3\n\n[[rule]]\nid = \"A\"\ntopic = \"drop\"\nabout = \"ac\"\n\
                        value = \"5\"\nunit = \"percent\"\nmark = \"house\"\n";

    #[test]
    fn a_small_file() {
        let (id, version, rules) = read(GOOD, Place::Neutral).expect("it is well formed");
        assert_eq!((id, version, rules.len()), ("x", 3, 1));
        assert_eq!(rules[0].value.map(|value| value.micro), Some(5_000_000));
    }

    #[test]
    fn what_is_wrong_is_told_with_its_line() {
        for (text, line, what) in [
            ("id \"x\"", 1, "neither a pair nor a table"),
            ("id = \"x\nversion = 1", 1, "text without an end"),
            ("id = \"x\"\nversion = 1.5", 2, "neither text nor a whole number"),
            ("id = \"x\"\nversion = 1\n[[rule]]\nid = \"A\"\nheight = \"3\"", 5, "a key that no rule has"),
            ("id = \"x\"\nversion = 1\n[[rule]]\nid = \"A\"\nvalue = \"3\"", 4, "value and unit go together"),
            ("id = \"x\"\nversion = 1\n[[rule]]\nid = \"A\"\ntopic = \"taste\"\nmark = \"sure\"", 4, "no such topic"),
            ("version = 1", 1, "no id"),
            ("id = \"x\"\nversion = 1\n[[edition]]\nvalid_from = \"2026-02-30\"", 4, "no day of the calendar"),
            ("id = \"x\"\nversion = 1\n[[edition]]\nvalid_from = \"2026-02-28\"", 4, "an edition without a name"),
            (
                "id = \"x\"\nversion = 1\n[[rule]]\nid = \"A\"\ntopic = \"demand\"\nstandard = \"S\"\nedition = \"1\"\nmark = \"sure\"",
                4,
                "an edition without its days",
            ),
        ] {
            assert_eq!(read(text, Place::Uk).err(), Some(Unreadable { line, what }), "{text}");
        }
    }

    /// The library that the server has reads the same out of the same files.
    #[cfg(feature = "methods")]
    #[test]
    fn the_whole_language_agrees() {
        for place in Place::ALL {
            let text = super::super::data(place);
            let whole: toml::Table = text.parse().expect("the files are TOML");
            let Tables { head, editions, rules } = pairs(text).expect("and of our kind");
            assert_eq!(Some(value(&head, "id").unwrap_or("")), whole["id"].as_str());
            let list = |name: &str| whole[name].as_array().expect("a list").clone();
            let theirs = [list("edition"), list("rule")].concat();
            assert_eq!((editions.len(), rules.len()), (list("edition").len(), list("rule").len()));
            for (ours, theirs) in editions.iter().chain(&rules).zip(&theirs) {
                let theirs = theirs.as_table().expect("an edition or a rule is a table");
                assert_eq!(ours.len(), theirs.len());
                for (_, key, value) in ours {
                    assert_eq!(theirs[*key].as_str(), Some(*value), "{key}");
                }
            }
        }
    }
}
