//! States to choose from, rows and pages. Pure.

use domain::ids::{JobId, PersonId};
use serde::Deserialize;

use crate::features::desk::shared::{PAGE_ROWS, STATES, open_states};

/// Jobs that somebody still works on.
pub const OPEN: &str = "open";

/// A job in the list.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
pub struct JobRow {
    /// Which.
    pub job: JobId,
    /// Its number as people say it.
    pub short: String,
    /// Where it stands, by the word of the API.
    pub state: String,
    /// Householder.
    pub householder: String,
    /// Street and house.
    pub street: String,
    /// Town.
    pub town: String,
    /// `YYYY-MM-DD`, empty when there is none.
    pub day: String,
    /// `HH:MM`, empty when open.
    pub start: String,
    /// Who is on it.
    pub crew: Vec<PersonId>,
}

impl JobRow {
    /// Street and town, as far as they are known.
    pub fn address(&self) -> String {
        let parts = [self.street.as_str(), self.town.as_str()];
        parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ")
    }
}

/// What is looked for.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Asked {
    /// Part of a name, a street, a town, or the end of a number.
    pub text: String,
    /// A state, [`OPEN`], or empty for all.
    pub state: String,
}

impl Asked {
    /// From what an address or a form says; a state that nobody knows is all of them.
    pub fn of(text: &str, state: &str) -> Self {
        let known = state == OPEN || STATES.contains(&state);
        Self { text: text.trim().to_owned(), state: if known { state.to_owned() } else { String::new() } }
    }

    /// The states that the server is asked for, with commas; empty for all.
    pub fn states(&self) -> String {
        if self.state == OPEN { open_states() } else { self.state.clone() }
    }

    /// Nothing narrows the list.
    pub fn is_everything(&self) -> bool {
        self.text.is_empty() && self.state.is_empty()
    }
}

/// An answer with the question that it belongs to.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Found {
    /// The question.
    pub asked: Asked,
    /// What was fetched so far.
    pub rows: Vec<JobRow>,
    /// There is more.
    pub more: bool,
}

impl Found {
    /// A page that came; `before` is what stands in front of it.
    pub fn page(asked: Asked, before: Vec<JobRow>, page: Vec<JobRow>) -> Self {
        let more = page.len() == PAGE_ROWS;
        // A job that was moved between two questions comes twice: where it stands now counts.
        let mut rows: Vec<JobRow> =
            before.into_iter().filter(|old| page.iter().all(|row| row.job != old.job)).collect();
        rows.extend(page);
        Self { asked, rows, more }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::features::desk::shared::phase_of_word;
    use domain::ids::uuid_v7;

    fn row(number: u64) -> JobRow {
        let job = JobId::of(uuid_v7(number, &[1; 10]));
        JobRow {
            job,
            short: job.short(),
            state: "planned".into(),
            householder: String::new(),
            street: "Quay 3".into(),
            town: "Port".into(),
            day: String::new(),
            start: String::new(),
            crew: Vec::new(),
        }
    }

    #[test]
    fn every_state_has_words_and_not_finished_is_what_is_not_over() {
        assert!(STATES.into_iter().all(|state| phase_of_word(state).is_some()));
        let open = Asked::of("", OPEN).states();
        assert_eq!(open, "planned,with_crew,on_site,paused,for_review,returned");
        assert_eq!(Asked::of("", "withdrawn").states(), "withdrawn");
    }

    #[test]
    fn what_an_address_says_is_read_with_care() {
        assert_eq!(Asked::of(" Quay ", "nonsense"), Asked { text: "Quay".into(), state: String::new() });
        assert!(Asked::of("  ", "").is_everything());
        assert!(!Asked::of("", OPEN).is_everything());
    }

    #[test]
    fn a_full_page_may_have_more_behind_it_and_nothing_stands_twice() {
        let first = Found::page(Asked::default(), Vec::new(), (0..PAGE_ROWS as u64).map(row).collect());
        assert!(first.more);
        let second = Found::page(Asked::default(), first.rows, vec![row(3), row(1_000)]);
        assert!(!second.more);
        assert_eq!(second.rows.len(), PAGE_ROWS + 1);
        assert_eq!(second.rows.iter().filter(|own| **own == row(3)).count(), 1);
    }

    #[test]
    fn an_address_leaves_out_what_is_not_known() {
        assert_eq!(row(1).address(), "Quay 3, Port");
        assert_eq!(JobRow { street: String::new(), ..row(1) }.address(), "Port");
    }
}
