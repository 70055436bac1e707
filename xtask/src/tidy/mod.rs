//! The walls of the house, checked on the text of the tree.
//!
//! A rule reads the files of the repository and gives findings. It never changes anything and knows nothing of cargo. Each finding
//! names the section of DEVELOPERS.md that gives the reason.
//!
//! Start here: [`RULES`]. `source.rs` reads files and blanks comments and strings; `walls.rs` has what may stand where;
//! `language.rs` the words; `walks.rs` the map; `deploy.rs` the compose file;
//! `faults.rs` the table of field faults.

mod deploy;
mod faults;
mod language;
mod source;
mod walks;
mod walls;

use std::path::Path;

use anyhow::{Result, bail};

use source::Tree;

/// What a rule found.
#[derive(Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Finding {
    place: String,
    what: String,
}

struct Rule {
    /// A heading of DEVELOPERS.md.
    section: &'static str,
    look: fn(&Tree) -> Vec<Finding>,
}

const RULES: [Rule; 16] = [
    Rule { section: "SQL", look: walls::sql_outside_queries },
    Rule { section: "Walls", look: walls::browser_outside_adapters },
    Rule { section: "Walls", look: walls::domain_dependencies },
    Rule { section: "Walls", look: walls::encoding_outside_domain },
    Rule { section: "Walls", look: walls::server_and_web_apart },
    Rule { section: "Dependencies", look: walls::versions_in_one_place },
    Rule { section: "Rooms", look: walls::doors_without_words },
    Rule { section: "Time and chance", look: walls::time_and_chance },
    Rule { section: "Language", look: language::same_keys_everywhere },
    Rule { section: "Language", look: language::words_with_another_meaning },
    Rule { section: "No machine in the tree", look: walls::paths_of_one_machine },
    Rule { section: "The map", look: walks::names_that_are_gone },
    Rule { section: "Deploying", look: deploy::compose_file },
    Rule { section: "Deploying", look: deploy::ignored },
    Rule { section: "Tests", look: faults::table_of_faults },
    Rule { section: "Tests", look: walls::goods_of_somebody },
];

/// Every rule over every file that is in git or would be added to it.
pub(crate) fn check() -> Result<()> {
    check_tree(&Tree::of_repository()?)
}

fn check_tree(tree: &Tree) -> Result<()> {
    let mut lines = Vec::new();
    for rule in RULES {
        let mut findings = (rule.look)(tree);
        findings.sort();
        findings.dedup();
        lines.extend(
            findings
                .into_iter()
                .map(|found| format!("{}: {} (DEVELOPERS.md, \"{}\")", found.place, found.what, rule.section)),
        );
    }
    if lines.is_empty() {
        return Ok(());
    }
    bail!("{} findings:\n  {}", lines.len(), lines.join("\n  "));
}

fn finding(path: &Path, line: usize, what: impl Into<String>) -> Finding {
    Finding { place: format!("{}:{line}", path.display()), what: what.into() }
}

fn about(path: &Path, what: impl Into<String>) -> Finding {
    Finding { place: path.display().to_string(), what: what.into() }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;

    #[test]
    fn this_tree_is_tidy() {
        check().unwrap();
    }

    #[test]
    fn every_rule_names_a_section_that_exists() {
        let tree = Tree::of_repository().unwrap();
        let text = tree.text("DEVELOPERS.md").unwrap();
        for rule in RULES {
            let heading =
                text.lines().any(|line| line.starts_with('#') && line.trim_start_matches('#').trim() == rule.section);
            assert!(heading, "DEVELOPERS.md has no section \"{}\"", rule.section);
        }
    }

    #[test]
    fn a_finding_tells_place_matter_and_section() {
        let tree = Tree::of_texts(&[("server/src/x/push.rs", "fn f() {\n    sqlx::query(\"\");\n}\n")]);
        let text = check_tree(&tree).unwrap_err().to_string();
        assert!(text.contains("server/src/x/push.rs:2: ") && text.contains("DEVELOPERS.md, \"SQL\""), "{text}");
    }
}
