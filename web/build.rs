//! Turns `locales/*.json` into the names of keys, and for tests into arrays: a missing word, a lost blank or a duplicate key stops
//! the build and not a technician. In the browser the words come in a file of their own (`cargo xtask web` makes it), since they are
//! not code.
//!
//! The files are flat: `"room.key": "words with a {blank}"`, sorted, one key a line, so that two people's changes merge.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::{env, fs, process};

/// English first: the others are measured by it.
const LANGUAGES: [&str; 3] = ["en", "de", "es"];
/// Problem codes of the server become words through keys with this beginning.
const PROBLEM: &str = "problem.";

type Table = BTreeMap<String, String>;

fn main() {
    println!("cargo:rerun-if-changed=locales");
    println!("cargo:rerun-if-changed=build.rs");
    let mut faults = Vec::new();
    let tables: Vec<Table> = LANGUAGES.iter().map(|language| load(language, &mut faults)).collect();
    for (language, table) in LANGUAGES.iter().zip(&tables).skip(1) {
        compare(language, &tables[0], table, &mut faults);
    }
    if !faults.is_empty() {
        for fault in faults {
            println!("cargo::error={fault}");
        }
        process::exit(1);
    }
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR for a build script"));
    fs::write(out.join("words.rs"), generate(&tables)).expect("OUT_DIR can be written");
}

fn load(language: &str, faults: &mut Vec<String>) -> Table {
    let path = Path::new("locales").join(format!("{language}.json"));
    let place = path.display();
    let text = match fs::read_to_string(&path) {
        Ok(text) => text,
        Err(error) => {
            faults.push(format!("{place}: {error}"));
            return Table::new();
        }
    };
    let table: Table = match serde_json::from_str(&text) {
        Ok(table) => table,
        Err(error) => {
            faults.push(format!("{place}: {error} (flat, words only)"));
            return Table::new();
        }
    };
    // JSON keeps the last of two equal keys in silence; a merge can make such a pair.
    let mut seen = BTreeSet::new();
    let mut last = "";
    for key in text.lines().filter_map(|line| line.trim_start().strip_prefix('"')?.split('"').next()) {
        if !seen.insert(key) {
            faults.push(format!("{place}: `{key}` stands there twice"));
        } else if key < last {
            println!("cargo::warning={place}: `{key}` stands after `{last}`; sort the file");
        }
        last = key;
    }
    for (key, words) in &table {
        if words.trim().is_empty() {
            faults.push(format!("{place}: `{key}` has no words"));
        }
    }
    table
}

fn compare(language: &str, first: &Table, other: &Table, faults: &mut Vec<String>) {
    let place = format!("locales/{language}.json");
    for (key, words) in first {
        match other.get(key) {
            None => faults.push(format!("{place}: `{key}` is missing")),
            Some(own) if blanks(own) != blanks(words) => {
                faults.push(format!(
                    "{place}: `{key}` has the blanks {:?}, English has {:?}",
                    blanks(own),
                    blanks(words)
                ));
            }
            Some(_) => {}
        }
    }
    for key in other.keys().filter(|key| !first.contains_key(*key)) {
        faults.push(format!("{place}: `{key}` is not in English"));
    }
}

fn blanks(words: &str) -> BTreeSet<&str> {
    words.split('{').skip(1).filter_map(|rest| rest.split_once('}')).map(|(name, _)| name).collect()
}

fn generate(tables: &[Table]) -> String {
    let first = &tables[0];
    let count = first.len();
    let mut code = format!("pub(super) const NAMES: [&str; {count}] = [\n");
    for key in first.keys() {
        let _ = writeln!(code, "{key:?},");
    }
    let _ = writeln!(code, "];\npub(super) const BLANKS: [&[&str]; {count}] = [");
    for words in first.values() {
        let _ = writeln!(code, "&{:?},", blanks(words).into_iter().collect::<Vec<_>>());
    }
    code.push_str("];\n");
    let _ = writeln!(
        code,
        "#[cfg(not(target_arch = \"wasm32\"))]\npub(super) static ALL: [[&str; {count}]; {}] = [",
        LANGUAGES.len()
    );
    for table in tables {
        code.push_str("[\n");
        for words in table.values() {
            let _ = writeln!(code, "{words:?},");
        }
        code.push_str("],\n");
    }
    code.push_str("];\n");
    code.push_str("pub(super) fn problem_index(code: &str) -> Option<u16> {\nSome(match code {\n");
    for (index, key) in first.keys().enumerate() {
        if let Some(problem) = key.strip_prefix(PROBLEM) {
            let _ = writeln!(code, "{problem:?} => {index},");
        }
    }
    code.push_str("_ => return None,\n})\n}\n");
    code
}
