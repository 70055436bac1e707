//! How a job's design stands by its rules, for whoever reviews the job.

use domain::design::{Design, sheet};
use domain::electrical::Verdict;
use domain::electrical::rule_set::FirmRules;
use domain::job_file::body::Purpose;

use super::view_model::{rules_of_job, with_models};
use super::words::line_name;
use crate::features::desk::DeskJob;
use crate::i18n::Words;

/// What the checks of a design come to, each by the name that the sheet gives it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DesignState {
    /// Nobody entered a figure of the sheet, though something is installed.
    pub absent: bool,
    /// Checks that fail.
    pub fails: Vec<String>,
    /// Checks that nobody can decide with what was entered.
    pub open: Vec<String>,
}

impl DesignState {
    /// Reads a job's figures by its rules; `None` while these rules are not on this device.
    pub fn of(w: Words, here: &DeskJob, own: &[FirmRules]) -> Option<Self> {
        let figures = &here.view.design;
        let rules = rules_of_job(figures, &here.rule_set).find(own)?;
        if !figures.iter().any(|(key, _)| domain::design::field(key).is_some()) {
            return Some(Self { absent: here.view.purpose == Some(Purpose::Install), ..Self::default() });
        }
        let entered = Design::of_values(figures.iter().map(|(key, micro)| (key.as_str(), *micro)));
        let mut state = Self::default();
        for line in sheet(&with_models(&entered, here.view.equipment.as_ref()), &rules).lines {
            match line.verdict() {
                Verdict::Fail(_) => state.fails.push(line_name(w, &rules, line.key)),
                Verdict::NotDetermined(_) => state.open.push(line_name(w, &rules, line.key)),
                Verdict::Pass | Verdict::NotApplicable(_) => {}
            }
        }
        Some(state)
    }

    /// Nothing fails and nothing is left open.
    pub const fn is_clean(&self) -> bool {
        !self.absent && self.fails.is_empty() && self.open.is_empty()
    }
}
