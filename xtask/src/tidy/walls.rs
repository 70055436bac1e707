//! What may stand where.

use std::path::Path;

use super::source::{Tree, code_lines, has_word, shipped_lines};
use super::{Finding, about, finding};

/// The rules are compiled into the browser: each crate here is bytes that every phone loads.
/// `toml` and `p256` stand behind features that the browser's build does not have.
const DOMAIN_MAY_USE: [&str; 8] =
    ["libm", "minicbor", "p256", "serde", "sha2", "toml", "unicode-normalization", "uuid"];

const SQL: [&str; 11] = [
    "query!(",
    "query_as!(",
    "query_scalar!(",
    "query_file!(",
    "query_file_as!(",
    "sqlx::query(",
    "sqlx::query_as(",
    "sqlx::query_as::",
    "sqlx::query_scalar(",
    "sqlx::query_scalar::",
    "QueryBuilder",
];

const TIME_AND_CHANCE: [&str; 11] = [
    "SystemTime::now",
    "Utc::now",
    "Local::now",
    "Timestamp::now",
    "Zoned::now",
    "Date::now",
    "Uuid::now_v7",
    "Uuid::new_v4",
    "Math::random",
    "rand::",
    "getrandom::",
];

/// The only places that read a clock or draw a number.
const MAY_READ_TIME_AND_CHANCE: [&str; 3] = ["server/src/clock.rs", "server/src/auth", "web/src/adapters"];

pub(super) fn sql_outside_queries(tree: &Tree) -> Vec<Finding> {
    words_in(tree.rust("server/src").filter(|(path, _)| !is_named(path, "queries.rs")), &SQL, |word| {
        format!("`{word}` outside a `queries.rs`")
    })
}

pub(super) fn browser_outside_adapters(tree: &Tree) -> Vec<Finding> {
    let elsewhere = tree.rust("web/src").filter(|(path, _)| {
        !path.starts_with("web/src/adapters")
            && *path != Path::new("web/src/lib.rs")
            && *path != Path::new("web/src/main.rs")
    });
    words_in(elsewhere, &["web_sys"], |_| "`web_sys` outside `web/src/adapters/`".to_owned())
}

pub(super) fn encoding_outside_domain(tree: &Tree) -> Vec<Finding> {
    let elsewhere = tree.rust("server/src").chain(tree.rust("web/src")).chain(tree.rust("xtask/src"));
    words_in(elsewhere, &["minicbor"], |_| {
        "`minicbor` outside `domain`: bytes are made and read in one room".to_owned()
    })
}

pub(super) fn time_and_chance(tree: &Tree) -> Vec<Finding> {
    let rooms = tree.rust("domain/src").chain(tree.rust("server/src")).chain(tree.rust("web/src"));
    let banned = rooms.filter(|(path, _)| !MAY_READ_TIME_AND_CHANCE.iter().any(|allowed| path.starts_with(allowed)));
    words_in(banned, &TIME_AND_CHANCE, |word| format!("`{word}`: time and chance come in as arguments"))
}

pub(super) fn domain_dependencies(tree: &Tree) -> Vec<Finding> {
    dependencies(tree, "domain", &["dependencies", "build-dependencies"])
        .into_iter()
        .filter(|(name, _)| !DOMAIN_MAY_USE.contains(&name.as_str()))
        .map(|(name, _)| about(Path::new("domain/Cargo.toml"), format!("`{name}` is not among what `domain` may use")))
        .collect()
}

pub(super) fn server_and_web_apart(tree: &Tree) -> Vec<Finding> {
    let arrows = [
        ("domain", "server"),
        ("domain", "web"),
        ("server", "web"),
        ("web", "server"),
        ("xtask", "server"),
        ("tests/sim", "server"),
    ];
    let mut findings = Vec::new();
    for (from, to) in arrows {
        if dependencies(tree, from, &["dependencies", "build-dependencies", "dev-dependencies"])
            .iter()
            .any(|(name, _)| name == to)
        {
            findings
                .push(about(Path::new(&format!("{from}/Cargo.toml")), format!("`{from}` must not depend on `{to}`")));
        }
    }
    findings
}

pub(super) fn versions_in_one_place(tree: &Tree) -> Vec<Finding> {
    let mut findings = Vec::new();
    for room in [
        "domain",
        "server",
        "server/pictures",
        "web",
        "web/reader",
        "web/verifier",
        "tests",
        "tests/camera",
        "tests/sim",
        "xtask",
    ] {
        for (name, value) in dependencies(tree, room, &["dependencies", "build-dependencies", "dev-dependencies"]) {
            if value.get("workspace").and_then(toml::Value::as_bool) != Some(true) {
                let place = format!("{room}/Cargo.toml");
                findings.push(about(
                    Path::new(&place),
                    format!("`{name}` has its own version; versions stand in the root Cargo.toml"),
                ));
            }
        }
    }
    findings
}

pub(super) fn doors_without_words(tree: &Tree) -> Vec<Finding> {
    let doors = tree.all().filter(|(path, _)| is_named(path, "mod.rs"));
    doors
        .filter(|(_, text)| {
            !text.lines().find(|line| !line.trim().is_empty()).is_some_and(|line| line.starts_with("//!"))
        })
        .map(|(path, _)| finding(path, 1, "a `mod.rs` begins with `//!`: what the room is for, what never enters it"))
        .collect()
}

pub(super) fn paths_of_one_machine(tree: &Tree) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (path, text) in tree.all() {
        for (index, line) in text.lines().enumerate() {
            // The closing slash is added here, so that this file does not find itself.
            for folder in ["/work", "/root"] {
                if names_folder(line, &format!("{folder}/")) {
                    findings.push(finding(path, index + 1, format!("`{folder}/` is a folder of one machine")));
                }
            }
        }
    }
    findings
}

/// Numbers of goods that may be somebody's: demo, tests and documents take those that GS1 keeps for demonstrations. Shorter ones than
/// the thirteen digits on goods are only ever tests of the arithmetic.
pub(super) fn goods_of_somebody(tree: &Tree) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (path, text) in tree.all() {
        for (index, line) in text.lines().enumerate() {
            let digits = line.split(|c: char| !c.is_ascii_digit());
            let at = |digits: &str| digits.as_ptr() as usize - line.as_ptr() as usize;
            for number in digits {
                // With its marker in front, as a label has it.
                let number = match number.strip_prefix("01") {
                    Some(rest) if rest.len() >= 14 => &rest[..14],
                    _ => number,
                };
                let (before, after) = (line[..at(number)].chars().next_back(), &line[at(number) + number.len()..]);
                let stands_alone = !before.is_some_and(|c| c.is_alphabetic() || ['_', '.', '-'].contains(&c))
                    && !after.starts_with(['_', '.', '-']);
                if stands_alone && is_of_somebody(number) {
                    findings.push(finding(path, index + 1, format!("`{number}` may be on somebody's goods")));
                }
            }
        }
    }
    findings
}

/// Thirteen or fourteen digits with a true check digit, and not of the range for demonstrations.
fn is_of_somebody(number: &str) -> bool {
    const FOR_DEMONSTRATIONS: &str = "952";
    let goods = number.trim_start_matches('0');
    let weights = [1, 3].into_iter().cycle();
    let sum: u32 = number.bytes().rev().zip(weights).map(|(digit, weight)| u32::from(digit - b'0') * weight).sum();
    // The first of fourteen says how many are in the box.
    let item = if number.len() == 14 { &number[1..] } else { number };
    (13..=14).contains(&number.len())
        && goods.len() >= 13
        && sum.is_multiple_of(10)
        && !item.starts_with(FOR_DEMONSTRATIONS)
}

/// An absolute path begins there: not the middle of a longer path or address.
fn names_folder(line: &str, folder: &str) -> bool {
    line.match_indices(folder).any(|(at, _)| {
        let before = line[..at].chars().next_back();
        !before.is_some_and(|c| c.is_alphanumeric() || ['.', '-', '_', '/', '}', '~', '*'].contains(&c))
    })
}

fn words_in<'a>(
    files: impl Iterator<Item = (&'a Path, &'a str)>,
    words: &[&str],
    what: impl Fn(&str) -> String,
) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (path, text) in files.filter(|(path, _)| !is_named(path, "tests.rs")) {
        for (number, line) in shipped_lines(text) {
            findings.extend(
                words.iter().filter(|word| has_word(&line, word)).map(|word| finding(path, number, what(word))),
            );
        }
    }
    findings
}

fn is_named(path: &Path, name: &str) -> bool {
    path.file_name().is_some_and(|own| own == name)
}

fn dependencies(tree: &Tree, room: &str, tables: &[&str]) -> Vec<(String, toml::Value)> {
    let Some(text) = tree.text(&format!("{room}/Cargo.toml")) else {
        return Vec::new();
    };
    let Ok(manifest) = text.parse::<toml::Table>() else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut places = vec![&manifest];
    if let Some(targets) = manifest.get("target").and_then(toml::Value::as_table) {
        places.extend(targets.values().filter_map(toml::Value::as_table));
    }
    for place in places {
        for table in tables {
            if let Some(entries) = place.get(*table).and_then(toml::Value::as_table) {
                found.extend(entries.iter().map(|(name, value)| (name.clone(), value.clone())));
            }
        }
    }
    found
}

/// Every function that a text of the tree defines, for the walks.
pub(super) fn defines(text: &str, name: &str) -> bool {
    let kinds = ["fn", "struct", "enum", "trait", "type", "const", "static", "mod", "macro_rules!"];
    code_lines(text).iter().any(|(_, line)| kinds.iter().any(|kind| has_word(line, &format!("{kind} {name}"))))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(rule: fn(&Tree) -> Vec<Finding>, texts: &[(&str, &str)]) -> Vec<String> {
        rule(&Tree::of_texts(texts)).into_iter().map(|found| found.place).collect()
    }

    #[test]
    fn sql_stands_in_queries_only() {
        let sql = "fn f() { sqlx::query!(\"SELECT 1\"); }";
        assert_eq!(found(sql_outside_queries, &[("server/src/a/push.rs", sql)]), ["server/src/a/push.rs:1"]);
        assert!(found(sql_outside_queries, &[("server/src/a/queries.rs", sql), ("tests/api/main.rs", sql)]).is_empty());
    }

    #[test]
    fn the_browser_is_reached_through_adapters() {
        let code = "use web_sys::Url;";
        assert_eq!(found(browser_outside_adapters, &[("web/src/ui/button.rs", code)]).len(), 1);
        assert!(
            found(browser_outside_adapters, &[("web/src/adapters/fetch.rs", code), ("web/src/lib.rs", code)])
                .is_empty()
        );
    }

    #[test]
    fn bytes_are_made_in_domain() {
        let code = "use minicbor::Encoder;";
        assert_eq!(found(encoding_outside_domain, &[("server/src/a.rs", code), ("web/src/a.rs", code)]).len(), 2);
        assert!(
            found(encoding_outside_domain, &[("domain/src/wire/mod.rs", code), ("tests/api/main.rs", code)]).is_empty()
        );
    }

    #[test]
    fn clocks_and_dice_have_their_places() {
        let code = "let at = SystemTime::now();\nlet id = Uuid::now_v7();";
        assert_eq!(found(time_and_chance, &[("domain/src/a.rs", code)]), ["domain/src/a.rs:1", "domain/src/a.rs:2"]);
        let allowed =
            [("server/src/clock.rs", code), ("server/src/auth/session.rs", code), ("web/src/adapters/clock.rs", code)];
        assert!(found(time_and_chance, &allowed).is_empty());
        assert!(found(time_and_chance, &[("server/src/a.rs", "#[cfg(test)]\nmod tests { rand::rng(); }")]).is_empty());
    }

    #[test]
    fn domain_keeps_its_allow_list() {
        let texts = [(
            "domain/Cargo.toml",
            "[dependencies]\nserde.workspace = true\nregex.workspace = true\n[dev-dependencies]\nproptest.workspace = true",
        )];
        let findings = domain_dependencies(&Tree::of_texts(&texts));
        assert_eq!(findings.len(), 1);
        assert!(findings[0].what.contains("regex"));
    }

    #[test]
    fn no_new_arrow_between_rooms() {
        assert_eq!(
            found(server_and_web_apart, &[("web/Cargo.toml", "[dependencies]\nserver.workspace = true")]),
            ["web/Cargo.toml"]
        );
        assert!(
            found(server_and_web_apart, &[("tests/Cargo.toml", "[dependencies]\nserver.workspace = true")]).is_empty()
        );
    }

    #[test]
    fn a_version_of_ones_own_is_found_also_for_one_target() {
        let text = "[dependencies]\nserde = \"1\"\n[target.'cfg(unix)'.dependencies]\nlibc = { version = \"1\" }";
        assert_eq!(found(versions_in_one_place, &[("server/Cargo.toml", text)]).len(), 2);
        assert!(
            found(versions_in_one_place, &[("server/Cargo.toml", "[dependencies]\nserde = { workspace = true }")])
                .is_empty()
        );
    }

    #[test]
    fn a_door_says_what_is_behind_it() {
        assert_eq!(found(doors_without_words, &[("server/src/a/mod.rs", "mod push;")]), ["server/src/a/mod.rs:1"]);
        assert!(found(doors_without_words, &[("server/src/a/mod.rs", "\n//! A room.\nmod push;")]).is_empty());
    }

    #[test]
    fn a_folder_of_one_machine_is_found_and_an_address_is_not() {
        let bad = format!("cd {}/main\nhome=\"{}/.cargo\"", "/work", "/root");
        assert_eq!(found(paths_of_one_machine, &[("a.md", &bad)]), ["a.md:1", "a.md:2"]);
        let good = format!("GET /api{}/1\n../design{}/x", "/work", "/root");
        assert!(found(paths_of_one_machine, &[("a.md", &good)]).is_empty());
    }

    #[test]
    fn a_number_of_somebodys_goods_is_found_and_one_for_demonstrations_is_not() {
        // Taken apart, so that this file does not find itself.
        let other = format!("{}{}", "40063813", "33931");
        let all = [
            format!("gtin = \"{other}\""),
            format!("(01)0{other}(21)BX24"),
            format!("010{other}2112"),
            format!("a box of them: {}{}", "1400638", "1333938"),
            "09521234543213, 9521234543213, (01)09521234543213(21)AB1, 19521234543210".to_owned(),
            "12345670 and 212345678992 are short, 4006381333932 is none, 9223372036854.775807 is a figure".to_owned(),
        ];
        let found: Vec<String> = found(goods_of_somebody, &[("a.md", &all.join("\n"))]);
        assert_eq!(found, ["a.md:1", "a.md:2", "a.md:3", "a.md:4"]);
    }
}
