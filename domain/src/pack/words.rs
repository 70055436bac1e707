//! The words of a report in one language, read from a language file by whoever has files.

use std::collections::BTreeMap;

use crate::method::plan::{HOUSE_RULE, Method};

/// Key to text; `{name}` stands for an argument.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Words(BTreeMap<String, String>);

impl Words {
    /// Who looked at the words of a method in a language, or that nobody who is named has.
    pub fn reviewed(&self, method: &Method, language: &str) -> String {
        match method.reviewer(language) {
            Some(who) => self.with("closing.reviewed", &[("who", who)]),
            None => self.get("closing.not_reviewed"),
        }
    }

    /// Wraps a table.
    pub const fn of(table: BTreeMap<String, String>) -> Self {
        Self(table)
    }

    /// The text of a key; the key itself where there is none, so that a hole is seen and nothing stops.
    pub fn get(&self, key: &str) -> String {
        self.0.get(key).cloned().unwrap_or_else(|| key.to_owned())
    }

    /// What a method cites for its limit: the name of a standard, or a rule of its own in the report's language.
    pub fn cited_by_method(&self, source: &str) -> String {
        match source.strip_prefix(HOUSE_RULE) {
            Some(rest) => format!("{}{rest}", self.get("mark.house")),
            None => source.to_owned(),
        }
    }

    /// A text with its arguments put in.
    pub fn with(&self, key: &str, arguments: &[(&str, &str)]) -> String {
        arguments.iter().fold(self.get(key), |text, (name, value)| text.replace(&format!("{{{name}}}"), value))
    }

    /// All keys, for the test that every language has the same ones.
    pub fn keys(&self) -> impl Iterator<Item = &str> {
        self.0.keys().map(String::as_str)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rule_of_the_method_is_said_in_the_reports_language() {
        let words = Words::of(BTreeMap::from([("mark.house".to_owned(), "regla propia del programa".to_owned())]));
        assert_eq!(words.cited_by_method("house rule, 230 V ± 5 %"), "regla propia del programa, 230 V ± 5 %");
        assert_eq!(words.cited_by_method("IEC 61008-1"), "IEC 61008-1");
    }
}
