//! What the verification report says, before it is a PDF.
//!
//! [`Report::assemble`] decides every word and number from a folded job file; the server only places them on paper.
//! Words come in as a [`Words`] table, dates and names through [`Context`], so that the same job gives the same report.
//!
//! **Never enters:** layout, files, the time of day. Start with [`Report`].

mod assemble;
mod lines;
mod sheet;
mod words;

pub use words::Words;

use crate::electrical::rule_set::FirmRules;
use crate::ids::{Hash32, PersonId};

/// What a report needs from outside the job file.
pub struct Context<'c> {
    /// The words of the report's language.
    pub words: &'c Words,
    /// Two letters; which text of the method is printed.
    pub language: &'c str,
    /// Decimal sign.
    pub decimal: char,
    /// The firm's name.
    pub firm: &'c str,
    /// All versions of the firm's own rule sets.
    pub own_rules: &'c [FirmRules],
    /// A person's name.
    pub person: &'c dyn Fn(PersonId) -> String,
    /// An instant (microseconds since 1970 UTC) as the site's local date and time.
    pub when: &'c dyn Fn(u64) -> String,
    /// Whether the bytes of a photo are on the server.
    pub arrived: &'c dyn Fn(&Hash32) -> bool,
    /// What the report says of seals.
    pub seal: SealContext,
}

/// What a report says of seals.
#[derive(Clone, Copy, Debug, Default)]
pub struct SealContext {
    /// Fingerprint of the installation's key, where it has one.
    pub key: Option<Hash32>,
    /// The seal that this very report becomes a part of.
    pub number: Option<u32>,
}

/// A verification report as data.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Report {
    /// Heading.
    pub title: String,
    /// Short number of the job.
    pub job: String,
    /// Label and value lines at the top: firm, site, method, crew, dates.
    pub facts: Vec<(String, String)>,
    /// One banner line when the job is not finished or something is open.
    pub standing: Vec<String>,
    /// Heading and rows of the units.
    pub units: Table,
    /// Heading and rows of the design figures and the operator's consent.
    pub design: Table,
    /// Every check on the design; absent while nothing is designed.
    pub sheet: Option<SheetReport>,
    /// The work, stage by stage.
    pub stages: Vec<StageReport>,
    /// Departures, stops, breaches, late entries and missing photos, each in a sentence or two.
    pub exceptions: Table,
    /// Sentences at the end: what named confirmations are worth, what prevails, the state of the file.
    pub closing: Vec<String>,
    /// Headings of the parts: units, design, work, exceptions, closing, and of a step's table.
    pub headings: Headings,
}

/// Headings of a report.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Headings {
    /// Of [`Report::units`].
    pub units: String,
    /// Of [`Report::design`].
    pub design: String,
    /// Of [`SheetReport::lines`].
    pub sheet: String,
    /// Of [`SheetReport::limits`].
    pub limits: String,
    /// Of [`Report::stages`].
    pub work: String,
    /// Of [`Report::exceptions`].
    pub exceptions: String,
    /// Of [`Report::closing`].
    pub closing: String,
    /// Column heads of a step's lines: what, value, limit, verdict, who and when.
    pub line: [String; 5],
}

/// Rows under a head.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Table {
    /// Column heads.
    pub head: Vec<String>,
    /// Rows, each as long as the head.
    pub rows: Vec<Vec<String>>,
}

/// A stage of the report.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct StageReport {
    /// Its name.
    pub title: String,
    /// Its steps.
    pub steps: Vec<StepReport>,
}

/// A step of the report.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct StepReport {
    /// Its name, with the slot where it is repeated.
    pub title: String,
    /// What it is in.
    pub state: String,
    /// One line a requirement.
    pub lines: Vec<Line>,
    /// Computed comparisons, so that they can be redone with a pocket calculator.
    pub checks: Vec<CheckReport>,
    /// Pictures.
    pub photos: Vec<PhotoReport>,
}

/// One requirement in the report.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Line {
    /// What.
    pub label: String,
    /// What was recorded.
    pub value: String,
    /// What was allowed and who says so.
    pub limit: String,
    /// How it stands.
    pub verdict: String,
    /// Who recorded it, when and with what.
    pub who: String,
    /// Was replaced by a later line: printed struck through.
    pub replaced: bool,
}

/// The design sheet in the report.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct SheetReport {
    /// Which checks fail and which nobody can decide, each in a sentence; it stands at the head of the report.
    #[serde(skip)]
    pub standing: Vec<String>,
    /// By which rule set, and from what.
    pub rules: String,
    /// Editions that do not hold on the day of the job, each in a sentence.
    pub editions: Vec<String>,
    /// Limits of a standard that the firm loosened, each in a sentence with its reason.
    pub loosened: Vec<String>,
    /// Checks on the design itself.
    pub lines: Vec<SheetLine>,
    /// Limits for what is measured, each in the place of a verdict.
    pub limits: Vec<SheetLine>,
}

/// One check of the design sheet.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct SheetLine {
    /// What is checked.
    pub name: String,
    /// How it ends.
    pub verdict: String,
    /// What it waits for, in a sentence; else empty.
    pub open: String,
    /// How it was computed.
    pub check: Option<CheckReport>,
}

/// A computed comparison in the report. A line that has nothing to say is empty.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct CheckReport {
    /// What went in, by name.
    pub inputs: String,
    /// Number and formula.
    pub formula: String,
    /// The formula with the numbers put in.
    pub with_numbers: String,
    /// What came out, by name.
    pub results: String,
    /// What it is compared with, and what must be known about that.
    pub limit: String,
    /// Standard, edition, clause and how certain.
    pub source: String,
}

/// A picture in the report.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct PhotoReport {
    /// The original.
    pub hash: Hash32,
    /// What it shows, who took it and when.
    pub caption: String,
    /// Its bytes are on the server.
    pub arrived: bool,
}

impl Report {
    /// The report as plain text: what tests and reviewers read.
    pub fn to_text(&self) -> String {
        use core::fmt::Write as _;
        let mut out = String::new();
        let _ = writeln!(out, "{} {}", self.title, self.job);
        for (label, value) in &self.facts {
            let _ = writeln!(out, "{label}: {value}");
        }
        for line in &self.standing {
            let _ = writeln!(out, "! {line}");
        }
        let tables = [(&self.headings.units, &self.units), (&self.headings.design, &self.design)];
        for (heading, table) in tables.into_iter().chain([(&self.headings.exceptions, &self.exceptions)]) {
            let _ = writeln!(out, "\n## {heading}\n{}", table.head.join(" | "));
            for row in &table.rows {
                let _ = writeln!(out, "{}", row.join(" | "));
            }
        }
        if let Some(sheet) = &self.sheet {
            let _ = writeln!(out, "\n## {}\n{}", self.headings.sheet, sheet.rules);
            for line in &sheet.loosened {
                let _ = writeln!(out, "! {line}");
            }
            for line in sheet.lines.iter().chain(&sheet.limits) {
                let _ = writeln!(out, "- {} | {} | {}", line.name, line.verdict, line.open);
                line.check.iter().for_each(|check| check.write(&mut out));
            }
        }
        for stage in &self.stages {
            let _ = writeln!(out, "\n## {}", stage.title);
            for step in &stage.steps {
                let _ = writeln!(out, "# {} [{}]", step.title, step.state);
                for line in &step.lines {
                    let mark = if line.replaced { "~" } else { "-" };
                    let _ = writeln!(
                        out,
                        "{mark} {} | {} | {} | {} | {}",
                        line.label, line.value, line.limit, line.verdict, line.who
                    );
                }
                step.checks.iter().for_each(|check| check.write(&mut out));
                for photo in &step.photos {
                    let _ = writeln!(out, "  [{}] {}", if photo.arrived { "photo" } else { "no photo" }, photo.caption);
                }
            }
        }
        for line in &self.closing {
            let _ = writeln!(out, "\n{line}");
        }
        out
    }
}

impl CheckReport {
    fn write(&self, out: &mut String) {
        use core::fmt::Write as _;
        let parts = [&self.inputs, &self.formula, &self.with_numbers, &self.results, &self.limit, &self.source];
        for part in parts.into_iter().filter(|part| !part.is_empty()) {
            let _ = writeln!(out, "  = {part}");
        }
    }
}
