//! The walks in ARCHITECTURE.md: a function that is named there must exist where the walk says.
//!
//! A walk is a table with a column headed `function`. A cell holds names in backticks, `fold`, `photo::measure` or
//! `LocalStore::keep`; the other cells of its row hold folders or files in backticks, `web/features/step/`, and `src` may be left out.

use std::path::{Path, PathBuf};

use super::source::{Tree, has_word};
use super::walls::defines;
use super::{Finding, about, finding};

const MAP: &str = "ARCHITECTURE.md";

pub(super) fn names_that_are_gone(tree: &Tree) -> Vec<Finding> {
    let Some(text) = tree.text(MAP) else {
        return vec![about(Path::new(MAP), "the map is missing")];
    };
    let rows = walk_rows(text);
    if rows.is_empty() {
        return vec![about(Path::new(MAP), "the map has no walk: a table with a column `function`")];
    }
    rows.iter().flat_map(|row| row.complaints(tree)).collect()
}

struct Row {
    line: usize,
    places: Vec<String>,
    functions: Vec<String>,
}

impl Row {
    fn complaints(&self, tree: &Tree) -> Vec<Finding> {
        let mut findings = Vec::new();
        let mut files: Vec<(&Path, &str)> = Vec::new();
        for place in &self.places {
            let before = files.len();
            files.extend(tree.rust("").filter(|(path, _)| lies_in(path, place)));
            if files.len() == before {
                findings.push(finding(Path::new(MAP), self.line, format!("nothing lies in `{place}`")));
            }
        }
        if self.places.is_empty() {
            files = tree.rust("").collect();
        }
        let gone =
            self.functions.iter().filter(|name| !files.iter().any(|(path, text)| has_function(path, text, name)));
        findings.extend(gone.map(|name| finding(Path::new(MAP), self.line, format!("`{name}` does not exist there"))));
        findings
    }
}

fn walk_rows(text: &str) -> Vec<Row> {
    let mut rows = Vec::new();
    let mut column = None;
    for (index, line) in text.lines().enumerate() {
        let Some(cells) = cells(line) else {
            column = None;
            continue;
        };
        let Some(function_column) = column else {
            column = Some(cells.iter().position(|cell| cell.to_lowercase().starts_with("function")));
            continue;
        };
        let (Some(at), false) =
            (function_column, cells.iter().all(|cell| cell.trim_matches(['-', ':', ' ']).is_empty()))
        else {
            continue;
        };
        let others = cells.iter().enumerate().filter(|(other, _)| *other != at);
        let places = others
            .flat_map(|(_, cell)| in_backticks(cell))
            .filter(|word| word.contains('/') && !word.contains(' '))
            .collect();
        let functions = cells.get(at).map(|cell| in_backticks(cell)).unwrap_or_default();
        rows.push(Row { line: index + 1, places, functions });
    }
    rows
}

fn cells(line: &str) -> Option<Vec<String>> {
    let inner = line.trim().strip_prefix('|')?;
    Some(inner.trim_end_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect())
}

fn in_backticks(cell: &str) -> Vec<String> {
    cell.split('`').skip(1).step_by(2).map(str::to_owned).collect()
}

/// `web/features/step/` means `web/src/features/step/`.
fn lies_in(path: &Path, place: &str) -> bool {
    let place = place.trim_end_matches('/');
    if path.starts_with(place) {
        return true;
    }
    let mut parts = place.splitn(2, '/');
    let (Some(room), rest) = (parts.next(), parts.next().unwrap_or("")) else {
        return false;
    };
    let with_source: PathBuf = Path::new(room).join("src").join(rest);
    path.starts_with(&with_source) || path.starts_with(with_source.with_extension("rs"))
}

/// `module::name` wants a file or folder of that name, `Type::name` a file that speaks of the type.
fn has_function(path: &Path, text: &str, name: &str) -> bool {
    let plain = name.split(['(', '<']).next().unwrap_or(name);
    let parts: Vec<&str> = plain.split("::").collect();
    let Some((last, owners)) = parts.split_last() else {
        return false;
    };
    if !defines(text, last) {
        return false;
    }
    owners.iter().all(|owner| {
        let is_module =
            path.components().any(|part| Path::new(part.as_os_str()).with_extension("").as_os_str() == *owner);
        is_module || has_word(text, owner)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "| # | room | function | what |\n| --- | --- | --- | --- |\n";

    fn found(row: &str) -> Vec<String> {
        let map = format!("{HEAD}{row}\n");
        let texts = [
            (MAP, map.as_str()),
            ("web/src/features/step/intents.rs", "pub fn photograph() {}"),
            ("web/src/ports/store.rs", "pub trait LocalStore { fn keep(&self); }"),
            ("domain/src/job_file/fold.rs", "pub fn fold() {} // absorb"),
        ];
        names_that_are_gone(&Tree::of_texts(&texts)).into_iter().map(|found| found.what).collect()
    }

    #[test]
    fn names_that_exist_where_the_walk_says_are_silent() {
        assert!(found("| 1 | `web/features/step/` | `intents::photograph` | taps |").is_empty());
        assert!(found("| 2 | `web/ports/` | `LocalStore::keep` → `fold` | x |").len() == 1, "fold is in another room");
        assert!(found("| 3 | `web/ports/`, `domain/job_file/` | `LocalStore::keep` → `fold` | x |").is_empty());
    }

    #[test]
    fn a_gone_name_and_a_gone_room_are_told() {
        assert_eq!(found("| 1 | `domain/job_file/` | `absorb` | x |"), ["`absorb` does not exist there"]);
        assert_eq!(found("| 1 | `web/features/step/` | `page::photograph` | x |").len(), 1);
        assert!(
            found("| 1 | `web/features/gone/` | `photograph` | x |")
                .contains(&"nothing lies in `web/features/gone/`".to_owned())
        );
    }

    #[test]
    fn a_map_without_a_walk_is_told() {
        assert_eq!(names_that_are_gone(&Tree::of_texts(&[(MAP, "# Map\n")])).len(), 1);
        assert_eq!(names_that_are_gone(&Tree::of_texts(&[])).len(), 1);
    }
}
