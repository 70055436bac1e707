//! Who may do what. One table, [`permissions`], asked by the server before it writes and by the app before it offers.
//!
//! **Never enters:** passwords, sessions, names. A person here is a set of [`Role`]s and a relation to the thing at hand.

pub mod permissions;
pub mod pin;
pub mod voice;

pub use permissions::{Action, Ownership, Permit, may, may_write};

/// What somebody is at the firm. One person may hold several.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Answers for the firm: people, devices, and everything a lead decides.
    Owner,
    /// Plans jobs, allows deviations, reviews.
    Lead,
    /// Works on site and records.
    Technician,
    /// Registers, follows up, looks things up.
    Office,
}

impl Role {
    /// All of them, in the order in which they are shown.
    pub const ALL: [Self; 4] = [Self::Owner, Self::Lead, Self::Technician, Self::Office];

    /// The word that the API and the database use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Owner => "owner",
            Self::Lead => "lead",
            Self::Technician => "technician",
            Self::Office => "office",
        }
    }

    /// Reads [`Role::word`].
    ///
    /// ```
    /// use domain::people::Role;
    /// assert_eq!(Role::of_word("lead"), Some(Role::Lead));
    /// assert_eq!(Role::of_word("Lead"), None);
    /// ```
    pub fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.word() == word)
    }
}
