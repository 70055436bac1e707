//! How a job's design stands by its rules, for whoever reviews the job.

use domain::design::{Design, Line, sheet};
use domain::electrical::Verdict;
use domain::electrical::rule_set::{FirmRules, RuleSet};
use domain::job_file::body::{Equipment, Purpose};

use super::page::entered_of;
use super::view_model::{rules_of_job, with_models};
use super::words::line_name;
use crate::features::desk::DeskJob;
use crate::i18n::Words;
use crate::tn;

/// What the checks of a design come to, each by the name that the sheet gives it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct DesignState {
    /// The rules of the job are not on this device, so nothing was judged.
    pub unjudged: bool,
    /// Nobody entered a figure of the sheet, though something is installed.
    pub absent: bool,
    /// Checks that fail.
    pub fails: Vec<String>,
    /// Checks that nobody can decide with what was entered.
    pub open: Vec<String>,
}

impl DesignState {
    /// Reads a job's figures by its rules, as the sheet itself does.
    pub fn of(w: Words, here: &DeskJob, own: &[FirmRules]) -> Self {
        let figures = &here.view.design;
        let Some(rules) = rules_of_job(figures, &here.rule_set).find(own) else {
            return Self { unjudged: true, ..Self::default() };
        };
        if !figures.iter().any(|(key, _)| domain::design::field(key).is_some()) {
            return Self { absent: here.view.purpose == Some(Purpose::Install), ..Self::default() };
        }
        Self::judged(w, &rules, &entered_of(here, own), here.view.equipment.as_ref())
    }

    /// Judges figures that somebody entered, with the units of the job.
    pub fn judged(w: Words, rules: &RuleSet, entered: &[(String, i64)], equipment: Option<&Equipment>) -> Self {
        let entered = Design::of_values(entered.iter().map(|(key, micro)| (key.as_str(), *micro)));
        Self::of_lines(w, rules, &sheet(&with_models(&entered, equipment), rules).lines)
    }

    /// What the lines of a sheet come to.
    pub fn of_lines(w: Words, rules: &RuleSet, lines: &[Line]) -> Self {
        let mut state = Self::default();
        for line in lines {
            match line.verdict() {
                Verdict::Fail(_) => state.fails.push(line_name(w, rules, line.key)),
                Verdict::NotDetermined(_) => state.open.push(line_name(w, rules, line.key)),
                Verdict::Pass | Verdict::NotApplicable(_) => {}
            }
        }
        state
    }
}

/// The note in which a crew is told which checks fail, and why it goes ahead.
pub fn note_of_fails(w: Words, fails: &[String], why: &str) -> String {
    format!("{} {}. {}", tn!(w, "desk.against.design_fails", fails.len()), fails.join(", "), why.trim())
}
