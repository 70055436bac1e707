//! The words of the interface: every language has every key, with the same blanks to fill, and none says another thing than meant.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde_json::Value;

use super::source::Tree;
use super::{Finding, about, finding};

const FOLDERS: [&str; 2] = ["web/locales", "server/locales"];
/// Everything that a person reads in a language file.
const READ: [&str; 3] = ["web/locales", "server/locales", "web/verifier/locales"];
const METHODS: &str = "server/methods";
/// The language that the others are compared with, and that a translation must match.
const FIRST: &str = "en";
const OTHERS: [&str; 2] = ["de", "es"];

/// A word that the trade reads as something else than is meant here.
struct FalseWord {
    language: &'static str,
    word: &'static str,
    /// What it means to whoever reads it, and the word to take.
    why: &'static str,
}

const fn false_word(language: &'static str, word: &'static str, why: &'static str) -> FalseWord {
    FalseWord { language, word, why }
}

/// Whole words in any case; a part of a compound (`Fehlerstrom-Schutzeinrichtung`) is another word.
const FALSE_WORDS: [FalseWord; 29] = [
    false_word("de", "Fehlerstrom", "is the residual current; the current of a short circuit is the Kurzschlussstrom"),
    false_word("de", "genullt", "is an old protective measure; test leads have a Nullabgleich"),
    false_word("de", "Nullung", "is an old protective measure; test leads have a Nullabgleich"),
    false_word("de", "Isolationsmesser", "may be a knife; the instrument is an Isolationsmessgerät"),
    false_word("de", "Querwiderstand", "is a shunt resistor; an anchor has a Quertragfähigkeit"),
    false_word("de", "Zugwiderstand", "is no word of the trade; an anchor has a Zugtragfähigkeit"),
    false_word("de", "Gesundheitszustand", "is a person's; a battery has an Alterungszustand"),
    false_word("de", "Prüfung bestanden", "says that the installation was tested; the lead's review is a Durchsicht"),
    false_word(
        "de",
        "Prüfung ist bestanden",
        "says that the installation was tested; the lead's review is a Durchsicht",
    ),
    false_word("de", "Hausregel", "is the firm's own; say eigene Regel dieses Programms"),
    false_word("es", "corriente de fallo", "is no term; say corriente de cortocircuito"),
    false_word("es", "corriente de falta de CC", "is the residual current; say corriente de cortocircuito"),
    false_word("es", "continua lisa", "say alisada, as the standards do"),
    false_word("es", "regla de la empresa", "is the firm's own; say regla propia del programa"),
    false_word("es", "el papel de la persona", "is a sheet of paper; a person has a rol"),
    false_word("es", "vete solo", "is go away alone; say deja la obra solo"),
    false_word("es", "la propiedad puede", "is real estate; say el propietario"),
    false_word("de", "Schranke bleibt zu", "is on no screen; a step is shut, a hold point keeps others waiting"),
    false_word("de", "Schranke ist zu", "is on no screen; a step is shut, a hold point keeps others waiting"),
    false_word("es", "barrera sigue cerrada", "is on no screen; a step is shut, a hold point keeps others waiting"),
    false_word("es", "barrera está cerrada", "is on no screen; a step is shut, a hold point keeps others waiting"),
    false_word("es", "excepción permitida", "what a lead allows is a desviación everywhere"),
    false_word("en", "stop-work step", "reads as a stop; say that there are no exceptions"),
    false_word("en", "gate stays shut", "is on no screen; a step is shut, a hold point keeps others waiting"),
    false_word("en", "gate is shut", "is on no screen; a step is shut, a hold point keeps others waiting"),
    false_word("en", "does not do", "is no English of a work order; say not passed or not accepted"),
    false_word(
        "en",
        "least allowed value",
        "says nothing of where it comes from; the lowest permitted value is a limit",
    ),
    false_word("en", "departure", "reads as leaving the site; what a lead allows is a deviation everywhere"),
    false_word("en", "loss of the network", "may be the internet's; the grid's is the loss of mains"),
];

/// What the English says, and what a translation of it must not: a permission would become a ban or the other way round, a
/// missing connection a missing grid, a stack a single cell.
const TURNED: [(&str, &str, &str); 14] = [
    ("stack", "es", "pila"),
    ("stack's", "es", "pila"),
    ("need not", "es", "no debe"),
    ("need not", "de", "darf nicht"),
    ("must not", "es", "no hace falta"),
    ("must not", "es", "no tiene por qué"),
    ("must not", "de", "muss nicht"),
    ("must not", "de", "müssen nicht"),
    ("offline", "de", "ohne Netz"),
    ("without a connection", "de", "ohne Netz"),
    ("without a network", "de", "ohne Netz"),
    ("offline", "es", "sin red"),
    ("without a connection", "es", "sin red"),
    ("without a network", "es", "sin red"),
];

/// Words that mean another thing to an electrician who reads them as a native.
pub(super) fn words_with_another_meaning(tree: &Tree) -> Vec<Finding> {
    let mut findings = Vec::new();
    for folder in READ {
        let all: BTreeMap<&str, BTreeMap<String, String>> = [FIRST]
            .into_iter()
            .chain(OTHERS)
            // A file that is missing or no JSON is the other rule's finding.
            .map(|language| (language, load(tree, folder, language, &mut Vec::new())))
            .collect();
        for (key, english) in &all[FIRST] {
            for (language, words) in &all {
                let Some(text) = words.get(key) else { continue };
                let place = format!("{folder}/{language}.json");
                let told = false_meanings(language, text, english);
                findings.extend(told.into_iter().map(|what| about(Path::new(&place), format!("`{key}`: {what}"))));
            }
        }
    }
    for (path, text) in tree.all().filter(|(path, _)| path.starts_with(METHODS)) {
        for (number, line) in (1..).zip(text.lines()) {
            let english = in_line(line, FIRST).unwrap_or_default();
            for language in [FIRST].into_iter().chain(OTHERS) {
                let Some(text) = in_line(line, language) else { continue };
                findings.extend(
                    false_meanings(language, text, english).into_iter().map(|what| finding(path, number, what)),
                );
            }
        }
    }
    findings
}

fn false_meanings(language: &str, text: &str, english: &str) -> Vec<String> {
    let own = FALSE_WORDS.iter().filter(|own| own.language == language && stands_in(text, own.word));
    let turned = TURNED
        .iter()
        .filter(|(says, other, turns)| *other == language && stands_in(english, says) && stands_in(text, turns));
    own.map(|own| format!("\u{201c}{}\u{201d} {}", own.word, own.why))
        .chain(turned.map(|(says, _, turns)| format!("\u{201c}{says}\u{201d} is not \u{201c}{turns}\u{201d}")))
        .collect()
}

/// Whole words in any case; a hyphen joins.
fn stands_in(text: &str, words: &str) -> bool {
    let (text, words) = (text.to_lowercase(), words.to_lowercase());
    let joins = |c: char| c.is_alphanumeric() || c == '-';
    text.match_indices(&words).any(|(at, _)| {
        let before = text[..at].chars().next_back();
        let after = text[at + words.len()..].chars().next();
        !before.is_some_and(joins) && !after.is_some_and(joins)
    })
}

/// The words of a language in a line of a method file: `{ en = "…", de = "…" }`.
fn in_line<'a>(line: &'a str, language: &str) -> Option<&'a str> {
    let opening = format!("{language} = \"");
    let (before, rest) = line.split_once(&opening)?;
    let stands_alone = !before.chars().next_back().is_some_and(|c| c.is_alphanumeric() || c == '_');
    stands_alone.then(|| rest.split_once('"').map_or(rest, |(text, _)| text))
}

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

    fn false_in(path: &str, text: &str) -> usize {
        let en = r#"{"a":"need not be so"}"#;
        let texts = [("web/locales/en.json", en), ("web/locales/de.json", "{}"), ("web/locales/es.json", "{}")];
        let others = texts.into_iter().filter(|(other, _)| *other != path);
        let texts: Vec<(&str, &str)> = others.chain([(path, text)]).collect();
        words_with_another_meaning(&Tree::of_texts(&texts)).len()
    }

    #[test]
    fn false_words_are_told_wherever_a_person_reads_them() {
        assert_eq!(false_in("web/locales/de.json", r#"{"a":"Fehlerstrom am Anschluss"}"#), 1);
        assert_eq!(false_in("web/locales/de.json", r#"{"a":"Typ der Fehlerstrom-Schutzeinrichtung"}"#), 0);
        assert_eq!(false_in("web/locales/de.json", r#"{"a":"Bemessungsfehlerstrom"}"#), 0);
        assert_eq!(false_in("web/locales/es.json", r#"{"a":"la regla de la empresa"}"#), 1);
        let stack = r#"label = { en = "Mass of the stack", de = "Masse des Stapels", es = "Masa de la pila" }"#;
        assert_eq!(false_in("server/methods/shared/stack.toml", stack), 1);
        let tester =
            r#"label = { en = "The tester has a good cell", de = "Batterie gut", es = "El comprobador tiene pila" }"#;
        assert_eq!(false_in("server/methods/shared/tests.toml", tester), 0);
        assert_eq!(false_in("web/locales/en.json", r#"{"a":"It is kept, and the gate stays shut."}"#), 1);
        assert_eq!(false_in("web/locales/en.json", r#"{"a":"Serial does not do"}"#), 1);
        assert_eq!(false_in("web/locales/en.json", r#"{"a":"The step stays shut."}"#), 0);
        let method = r#"act = { en = "Null the leads.", de = "Messleitungen sind genullt.", es = "Poner a cero." }"#;
        assert_eq!(false_in("server/methods/shared/tests.toml", method), 1);
    }

    #[test]
    fn a_permission_that_became_a_ban_is_told() {
        assert_eq!(false_in("web/locales/es.json", r#"{"a":"que no debe ser así"}"#), 1);
        assert_eq!(false_in("web/locales/de.json", r#"{"a":"darf nicht so sein"}"#), 1);
        assert_eq!(false_in("web/locales/es.json", r#"{"a":"que no tiene por qué ser así"}"#), 0);
        let method = r#"act = { en = "It must not move.", de = "Es muss nicht feststehen.", es = "No debe moverse." }"#;
        assert_eq!(false_in("server/methods/shared/tests.toml", method), 1);
    }
}
