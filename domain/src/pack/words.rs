//! The words of a report in one language, read from a language file by whoever has files.

use std::collections::BTreeMap;

/// Key to text; `{name}` stands for an argument.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Words(BTreeMap<String, String>);

impl Words {
    /// Wraps a table.
    pub const fn of(table: BTreeMap<String, String>) -> Self {
        Self(table)
    }

    /// The text of a key; the key itself where there is none, so that a hole is seen and nothing stops.
    pub fn get(&self, key: &str) -> String {
        self.0.get(key).cloned().unwrap_or_else(|| key.to_owned())
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
