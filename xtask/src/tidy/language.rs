//! The words of the interface: every language has every key, with the same blanks to fill.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde_json::Value;

use super::source::Tree;
use super::{Finding, about};

const FOLDERS: [&str; 2] = ["web/locales", "server/locales"];
/// The language that the others are compared with, and that a translation must match.
const FIRST: &str = "en";
const OTHERS: [&str; 2] = ["de", "es"];

pub(super) fn same_keys_everywhere(tree: &Tree) -> Vec<Finding> {
    let mut findings = Vec::new();
    for folder in FOLDERS {
        let any =
            [FIRST].iter().chain(&OTHERS).any(|language| tree.text(&format!("{folder}/{language}.json")).is_some());
        // The report's words may one day live elsewhere; the app's must be there.
        if any || folder == FOLDERS[0] {
            findings.extend(compare(tree, folder));
        }
    }
    findings
}

fn compare(tree: &Tree, folder: &str) -> Vec<Finding> {
    let mut findings = Vec::new();
    let first = load(tree, folder, FIRST, &mut findings);
    for language in OTHERS {
        let other = load(tree, folder, language, &mut findings);
        let place = format!("{folder}/{language}.json");
        let place = Path::new(&place);
        for (key, text) in &first {
            match other.get(key) {
                None => findings.push(about(place, format!("`{key}` is missing"))),
                Some(translated) if blanks(translated) != blanks(text) => {
                    findings.push(about(
                        place,
                        format!("`{key}` has the blanks {:?}, {FIRST} has {:?}", blanks(translated), blanks(text)),
                    ));
                }
                Some(_) => {}
            }
        }
        let surplus = other.keys().filter(|key| !first.contains_key(*key));
        findings.extend(surplus.map(|key| about(place, format!("`{key}` is not in {FIRST}"))));
    }
    findings
}

fn load(tree: &Tree, folder: &str, language: &str, findings: &mut Vec<Finding>) -> BTreeMap<String, String> {
    let place = format!("{folder}/{language}.json");
    let mut words = BTreeMap::new();
    match tree.text(&place).map(serde_json::from_str::<Value>) {
        None => findings.push(about(Path::new(&place), "the file is missing")),
        Some(Err(error)) => findings.push(about(Path::new(&place), format!("not JSON: {error}"))),
        Some(Ok(value)) => flatten("", &value, &mut words),
    }
    let empty = words.iter().filter(|(_, text)| text.trim().is_empty());
    findings.extend(empty.map(|(key, _)| about(Path::new(&place), format!("`{key}` has no words"))));
    words
}

fn flatten(prefix: &str, value: &Value, words: &mut BTreeMap<String, String>) {
    match value {
        Value::Object(members) => {
            for (name, member) in members {
                let key = if prefix.is_empty() { name.clone() } else { format!("{prefix}.{name}") };
                flatten(&key, member, words);
            }
        }
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(index, item)| flatten(&format!("{prefix}.{index}"), item, words))
        }
        Value::String(text) => {
            words.insert(prefix.to_owned(), text.clone());
        }
        Value::Null | Value::Bool(_) | Value::Number(_) => {
            words.insert(prefix.to_owned(), value.to_string());
        }
    }
}

/// The names in braces. A set: a language may use one twice, or in another order.
fn blanks(text: &str) -> BTreeSet<&str> {
    text.split('{').skip(1).filter_map(|rest| rest.split_once('}')).map(|(name, _)| name.trim()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(de: &str) -> Vec<String> {
        let en = r#"{"tray":{"waiting":"{n} waiting"},"ok":"OK"}"#;
        let texts = [("web/locales/en.json", en), ("web/locales/de.json", de), ("web/locales/es.json", en)];
        same_keys_everywhere(&Tree::of_texts(&texts)).into_iter().map(|found| found.what).collect()
    }

    #[test]
    fn equal_keys_and_blanks_are_silent() {
        assert!(found(r#"{"ok":"OK","tray":{"waiting":"es warten {n}"}}"#).is_empty());
    }

    #[test]
    fn a_missing_key_a_surplus_key_a_lost_blank_and_no_words_are_told() {
        assert_eq!(found(r#"{"tray":{"waiting":"{n}"}}"#), ["`ok` is missing"]);
        assert_eq!(found(r#"{"ok":"OK","no":"nein","tray":{"waiting":"{n}"}}"#), ["`no` is not in en"]);
        assert_eq!(found(r#"{"ok":"OK","tray":{"waiting":"{count}"}}"#).len(), 1);
        assert_eq!(found(r#"{"ok":" ","tray":{"waiting":"{n}"}}"#), ["`ok` has no words"]);
        assert!(found("{").iter().any(|what| what.starts_with("not JSON")));
    }
}
