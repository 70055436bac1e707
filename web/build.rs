//! Turns `locales/*.json` into the names of keys, and for tests into arrays: a missing word, a lost blank or a duplicate key stops
//! the build and not a technician. In the browser the words come in a file of their own (`cargo xtask web` makes it), since they are
//! not code.
//!
//! Rooms that `later-words.txt` names come after all others: their words travel in a second file.
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

/// Rooms whose words travel later, one a line.
const LATER: &str = "later-words.txt";

type Table = BTreeMap<String, String>;

fn main() {
    println!("cargo:rerun-if-changed=locales");
    println!("cargo:rerun-if-changed={LATER}");
    println!("cargo:rerun-if-changed=build.rs");
    let mut faults = Vec::new();
    let tables: Vec<Table> = LANGUAGES.iter().map(|language| load(language, &mut faults)).collect();
    for (language, table) in LANGUAGES.iter().zip(&tables).skip(1) {
        compare(language, &tables[0], table, &mut faults);
    }
    let later = later_rooms(&tables[0], &mut faults);
    if !faults.is_empty() {
        for fault in faults {
            println!("cargo::error={fault}");
        }
        process::exit(1);
    }
    let out = PathBuf::from(env::var_os("OUT_DIR").expect("cargo sets OUT_DIR for a build script"));
    fs::write(out.join("words.rs"), generate(&tables, &later)).expect("OUT_DIR can be written");
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

/// A room without words is a line that somebody forgot.
fn later_rooms(first: &Table, faults: &mut Vec<String>) -> BTreeSet<String> {
    let text = fs::read_to_string(LATER).unwrap_or_default();
    let rooms: BTreeSet<String> =
        text.lines().filter(|line| !line.is_empty() && !line.starts_with('#')).map(str::to_owned).collect();
    for room in rooms.iter().filter(|room| !first.keys().any(|key| room_of(key) == room.as_str())) {
        faults.push(format!("{LATER}: no key stands in `{room}`"));
    }
    if rooms.is_empty() {
        faults.push(format!("{LATER}: it names no room"));
    }
    rooms
}

fn room_of(key: &str) -> &str {
    key.split_once('.').map_or(key, |(room, _)| room)
}

/// The words of the first file, then those of the later one, each by their keys.
fn in_order<'t>(table: &'t Table, later: &BTreeSet<String>) -> Vec<(&'t String, &'t String)> {
    let is_later = |key: &str| later.contains(room_of(key));
    let first = table.iter().filter(|(key, _)| !is_later(key));
    first.chain(table.iter().filter(|(key, _)| is_later(key))).collect()
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

fn generate(tables: &[Table], later: &BTreeSet<String>) -> String {
    let first = in_order(&tables[0], later);
    let count = first.len();
    let at_first = first.iter().filter(|(key, _)| !later.contains(room_of(key))).count();
    let mut code =
        format!("pub(super) const FIRST: usize = {at_first};\npub(super) const NAMES: [&str; {count}] = [\n");
    for (key, _) in &first {
        let _ = writeln!(code, "{key:?},");
    }
    let _ = writeln!(code, "];\npub(super) const BLANKS: [&[&str]; {count}] = [");
    for (_, words) in &first {
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
        for (_, words) in in_order(table, later) {
            let _ = writeln!(code, "{words:?},");
        }
        code.push_str("],\n");
    }
    code.push_str("];\n");
    code.push_str("pub(super) fn problem_index(code: &str) -> Option<u16> {\nSome(match code {\n");
    for (index, (key, _)) in first.iter().enumerate() {
        if let Some(problem) = key.strip_prefix(PROBLEM) {
            let _ = writeln!(code, "{problem:?} => {index},");
        }
    }
    code.push_str("_ => return None,\n})\n}\n");
    code
}
