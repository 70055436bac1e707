//! The table of the eighty field faults in tests/README.md: each number once and in its order, a status that can be true, and no
//! test that is not there.
//!
//! A test is named as `path/file.rs::name`. In `tests/sim/src/planted.rs` the name is that of a planted fault.

use std::path::Path;

use super::source::{Tree, has_word};
use super::{Finding, about, finding};

const TABLE: &str = "tests/README.md";
const FAULTS: usize = 80;
const PLANTED: &str = "tests/sim/src/planted.rs";

pub(super) fn table_of_faults(tree: &Tree) -> Vec<Finding> {
    let Some(text) = tree.text(TABLE) else {
        return vec![about(Path::new(TABLE), "the table of field faults is missing")];
    };
    let mut findings = Vec::new();
    let mut expected = 1;
    for (line, row) in (1..).zip(text.lines()) {
        let cells: Vec<&str> = row.trim_matches('|').split('|').map(str::trim).collect();
        let [number, _, tests, status] = cells.as_slice() else { continue };
        let Ok(number) = number.parse::<usize>() else { continue };
        let mut find = |what: String| findings.push(finding(Path::new(TABLE), line, what));
        if number != expected {
            find(format!("number {number} stands where {expected} is due"));
        }
        expected = number + 1;
        let named: Vec<&str> = tests.split('`').skip(1).step_by(2).collect();
        match (*status, named.is_empty()) {
            ("shown" | "nearest", false) | ("missing" | "not applicable", true) => {}
            ("shown" | "nearest", true) => find(format!("number {number} is said to be {status} and names no test")),
            ("missing" | "not applicable", false) => {
                find(format!("number {number} names a test and is said to be {status}"))
            }
            (other, _) => find(format!("number {number} has no status `{other}`")),
        }
        for name in named.into_iter().filter(|name| !exists(tree, name)) {
            find(format!("`{name}` does not exist"));
        }
    }
    if expected != FAULTS + 1 {
        findings.push(about(Path::new(TABLE), format!("the table ends before number {FAULTS}")));
    }
    findings
}

fn exists(tree: &Tree, name: &str) -> bool {
    let Some((file, test)) = name.split_once("::") else { return false };
    let Some(text) = tree.text(file) else { return false };
    if file == PLANTED { has_word(text, test) } else { text.contains(&format!("fn {test}(")) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(rows: &str) -> Vec<String> {
        let rest: String = (4..=FAULTS).map(|number| format!("| {number} | x | | missing |\n")).collect();
        let table = format!("{rows}{rest}");
        let texts = [
            (TABLE, table.as_str()),
            ("tests/api/a.rs", "fn it_works() {}"),
            (PLANTED, "    NoHalving \"no-halving\";"),
        ];
        table_of_faults(&Tree::of_texts(&texts)).into_iter().map(|found| found.what).collect()
    }

    #[test]
    fn a_good_table_has_no_findings() {
        let good = "| 1 | a | `tests/api/a.rs::it_works`<br>`tests/sim/src/planted.rs::NoHalving` | shown |\n\
                    | 2 | b | | not applicable |\n| 3 | c | | missing |\n";
        assert_eq!(said(good), Vec::<String>::new());
    }

    #[test]
    fn what_is_not_so_is_found() {
        let bad = "| 1 | a | `tests/api/a.rs::it_flies` | shown |\n| 3 | b | | nearest |\n\
                   | 3 | c | `tests/api/b.rs::x` | missing |\n";
        assert_eq!(
            said(bad),
            [
                "`tests/api/a.rs::it_flies` does not exist",
                "number 3 stands where 2 is due",
                "number 3 is said to be nearest and names no test",
                "number 3 stands where 4 is due",
                "number 3 names a test and is said to be missing",
                "`tests/api/b.rs::x` does not exist",
            ]
        );
        assert!(said("| 1 | a | | done |\n").contains(&"number 1 has no status `done`".to_owned()));
    }

    #[test]
    fn a_table_that_ends_early_is_found() {
        let texts = [(TABLE, "| 1 | a | | missing |\n")];
        assert_eq!(table_of_faults(&Tree::of_texts(&texts)).len(), 1);
    }
}
