//! The files of the repository, and Rust text without its comments and strings.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::Result;

use crate::tools;

/// All text files by their path in the repository.
pub(super) struct Tree {
    files: BTreeMap<PathBuf, String>,
}

impl Tree {
    /// What git tracks, and what it would offer to add: a file is tidy before it is committed.
    pub(super) fn of_repository() -> Result<Self> {
        let root = tools::root();
        let mut git = Command::new("git");
        git.args(["ls-files", "-z", "--cached", "--others", "--exclude-standard"]).current_dir(&root);
        let mut files = BTreeMap::new();
        for name in tools::read(&mut git)?.split('\0').filter(|name| !name.is_empty()) {
            // Pictures and fonts are no text; a file that is deleted and not yet committed is no file.
            if let Ok(text) = std::fs::read_to_string(root.join(name)) {
                files.insert(PathBuf::from(name), text);
            }
        }
        Ok(Self { files })
    }

    #[cfg(test)]
    pub(super) fn of_texts(texts: &[(&str, &str)]) -> Self {
        Self { files: texts.iter().map(|(path, text)| (PathBuf::from(path), (*text).to_owned())).collect() }
    }

    pub(super) fn text(&self, path: &str) -> Option<&str> {
        self.files.get(Path::new(path)).map(String::as_str)
    }

    pub(super) fn all(&self) -> impl Iterator<Item = (&Path, &str)> {
        self.files.iter().map(|(path, text)| (path.as_path(), text.as_str()))
    }

    /// Rust files below a folder.
    pub(super) fn rust(&self, below: &str) -> impl Iterator<Item = (&Path, &str)> {
        self.all().filter(move |(path, _)| path.starts_with(below) && path.extension().is_some_and(|ext| ext == "rs"))
    }
}

/// The lines of a Rust file with their numbers; comments and the insides of strings are blank.
pub(super) fn code_lines(text: &str) -> Vec<(usize, String)> {
    blank(text).lines().enumerate().map(|(index, line)| (index + 1, line.to_owned())).collect()
}

/// The same without the test module, which by our habit ends the file.
pub(super) fn shipped_lines(text: &str) -> Vec<(usize, String)> {
    code_lines(text).into_iter().take_while(|(_, line)| !line.trim_start().starts_with("#[cfg(test)]")).collect()
}

/// Does the word stand there, not as a part of a longer name?
pub(super) fn has_word(line: &str, word: &str) -> bool {
    let is_name = |c: char| c.is_alphanumeric() || c == '_';
    line.match_indices(word).any(|(at, _)| {
        let before = line[..at].chars().next_back();
        let after = line[at + word.len()..].chars().next();
        let joined_before = word.starts_with(is_name) && before.is_some_and(is_name);
        let joined_after = word.ends_with(is_name) && after.is_some_and(is_name);
        !joined_before && !joined_after
    })
}

fn blank(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut out = String::with_capacity(text.len());
    let mut at = 0;
    while at < chars.len() {
        let (end, keep) = token(&chars, at);
        for &c in &chars[at..end] {
            out.push(if keep || c == '\n' { c } else { ' ' });
        }
        at = end;
    }
    out
}

/// The end of the token at `at`, and whether it is code (comments, strings and characters are not).
fn token(chars: &[char], at: usize) -> (usize, bool) {
    let here = |offset: usize| chars.get(at + offset).copied();
    match (chars[at], here(1)) {
        ('/', Some('/')) => (find(chars, at, |rest| rest[0] == '\n'), false),
        ('/', Some('*')) => (comment_end(chars, at), false),
        ('"', _) => (string_end(chars, at + 1), false),
        ('r', Some('"' | '#'))
            if at == 0 || !is_name(chars[at - 1]) || (chars[at - 1] == 'b' && (at == 1 || !is_name(chars[at - 2]))) =>
        {
            let hashes = chars[at + 1..].iter().take_while(|c| **c == '#').count();
            if here(1 + hashes) != Some('"') {
                return (at + 1, true);
            }
            let close: Vec<char> = std::iter::once('"').chain(std::iter::repeat_n('#', hashes)).collect();
            let end = find(chars, at + 2 + hashes, |rest| rest.starts_with(&close));
            ((end + close.len()).min(chars.len()), false)
        }
        ('\'', Some('\\')) => ((find(chars, at + 3, |rest| rest[0] == '\'') + 1).min(chars.len()), false),
        // 'a' is a character, 'a without the second mark is a lifetime.
        ('\'', Some(_)) if here(2) == Some('\'') => (at + 3, false),
        _ => (at + 1, true),
    }
}

fn is_name(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

fn find(chars: &[char], from: usize, is_end: impl Fn(&[char]) -> bool) -> usize {
    (from..chars.len()).find(|&at| is_end(&chars[at..])).unwrap_or(chars.len())
}

fn string_end(chars: &[char], mut at: usize) -> usize {
    while at < chars.len() {
        match chars[at] {
            '\\' => at += 2,
            '"' => return at + 1,
            _ => at += 1,
        }
    }
    chars.len()
}

fn comment_end(chars: &[char], mut at: usize) -> usize {
    let mut depth = 0_usize;
    while at < chars.len() {
        match (chars[at], chars.get(at + 1)) {
            ('/', Some('*')) => (depth, at) = (depth + 1, at + 2),
            ('*', Some('/')) => {
                (depth, at) = (depth - 1, at + 2);
                if depth == 0 {
                    return at;
                }
            }
            _ => at += 1,
        }
    }
    chars.len()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn comments_and_strings_are_blank_and_lines_keep_their_numbers() {
        let text = "let a = \"web_sys\"; // web_sys\n/* web_sys /* inner */ web_sys\n*/ let b = r#\"web_sys \" \"#; web_sys::Url";
        let lines = code_lines(text);
        let hits: Vec<usize> =
            lines.iter().filter(|(_, line)| line.contains("web_sys")).map(|(number, _)| *number).collect();
        assert_eq!((lines.len(), hits), (3, vec![3]));
        assert_eq!(lines[2].1.matches("web_sys").count(), 1);
    }

    #[test]
    fn characters_and_lifetimes_do_not_open_a_string() {
        let lines = code_lines("fn f<'a>(x: &'a str) { g('\"', '\\'', b'x', '{'); web_sys(\"no\"); }");
        assert!(lines[0].1.contains("&'a str") && lines[0].1.contains("web_sys("), "{}", lines[0].1);
        assert!(!lines[0].1.contains("no"));
    }

    #[test]
    fn a_word_is_not_a_part_of_a_longer_one() {
        assert!(has_word("a = rand::rng()", "rand::"));
        assert!(!has_word("a = operand::x()", "rand::"));
        assert!(!has_word("minicbor_derive", "minicbor"));
    }

    #[test]
    fn the_test_module_is_not_shipped() {
        assert_eq!(shipped_lines("a\n#[cfg(test)]\nmod tests {}\n").len(), 1);
    }
}
