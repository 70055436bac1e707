//! A sheet as plain lines of keys and figures: for goldens and logs, not for people.

use core::fmt::Write;

use super::differences::Differences;
use super::sheet::{Line, Outcome, Sheet};
use crate::electrical::{CheckLimit, Mark, Quantity, Source, Verdict};

impl Sheet {
    /// Every line with its numbers, source and mark; the same sheet gives the same text for ever.
    pub fn plain_text(&self) -> String {
        let mut out = String::new();
        put(&mut out, format_args!("rules {}", self.rules));
        for loosened in &self.loosened {
            put(
                &mut out,
                format_args!("loosened {} {} to {}: {}", loosened.rule, loosened.from, loosened.to, loosened.reason),
            );
        }
        for (title, lines) in [("checks", &self.lines), ("limits", &self.limits)] {
            put(&mut out, format_args!("\n{title}"));
            for line in lines {
                describe(&mut out, line);
            }
        }
        put(&mut out, format_args!("\nsuggestions"));
        for one in &self.suggestions {
            let bearing = one.rating_least.map_or_else(String::new, |rating| format!(", bearing {rating}"));
            put(&mut out, format_args!("{} = {} by {}{bearing}", one.field, one.value, one.decided_by));
        }
        put(&mut out, format_args!("\nnotices"));
        for notice in &self.notices {
            put(&mut out, format_args!("{} {} {:?} {}", notice.rule, notice.form, notice.basis, notice.count));
        }
        put(&mut out, format_args!("\nmissing\n{}", self.missing.join(", ")));
        out
    }
}

impl Differences {
    /// Changed figures and verdicts, one a line.
    pub fn plain_text(&self) -> String {
        let mut out = String::new();
        put(&mut out, format_args!("rules {}", self.rules));
        let show = |key: &str, micro: Option<i64>| match (micro, super::field(key)) {
            (Some(micro), Some(field)) => Quantity::of(field.unit, micro).to_string(),
            (Some(micro), None) => micro.to_string(),
            (None, _) => "-".to_owned(),
        };
        for changed in &self.figures {
            let (planned, built) = (show(&changed.key, changed.planned), show(&changed.key, changed.built));
            put(&mut out, format_args!("{}: {planned} -> {built}", changed.key));
        }
        let verdict =
            |verdict: Option<Verdict>| verdict.map_or_else(|| "-".to_owned(), |verdict| format!("{verdict:?}"));
        for changed in &self.verdicts {
            put(&mut out, format_args!("{}: {} -> {}", changed.key, verdict(changed.planned), verdict(changed.built)));
        }
        let limit = |limit: Option<CheckLimit>| limit.map_or_else(|| "-".to_owned(), bounds);
        for changed in &self.limits {
            put(&mut out, format_args!("{}: {} -> {}", changed.key, limit(changed.planned), limit(changed.built)));
        }
        out
    }
}

fn put(out: &mut String, line: core::fmt::Arguments<'_>) {
    writeln!(out, "{line}").expect("writing to a string cannot fail");
}

fn cited(source: Source) -> String {
    let parts = [source.standard, source.edition, source.clause].into_iter().filter(|part| !part.is_empty());
    let mark = match source.mark {
        Mark::Sure => "",
        Mark::Check => " (check)",
        Mark::House => " (house)",
    };
    format!("{}{mark}", parts.collect::<Vec<_>>().join(", "))
}

fn describe(out: &mut String, line: &Line) {
    let rule = line.rule.filter(|(id, _)| *id != line.key).map_or_else(String::new, |(id, _)| format!(" by {id}"));
    let house = if line.fails_by_house_figure() { ", house figure" } else { "" };
    put(out, format_args!("{}{rule}: {:?}{house}", line.key, line.verdict()));
    match &line.outcome {
        Outcome::Missing | Outcome::Settled(_) => {}
        Outcome::OutOfRange(key) => put(out, format_args!("  out of range: {key}")),
        Outcome::Computed(check) => {
            put(out, format_args!("  {} {}", check.id, check.with_numbers));
            let results = check.results.iter().map(|(key, value)| format!("{key} = {value}"));
            let limit = check.limit.map(bounds);
            let notes = check.notes.iter().map(|note| format!("{note:?}"));
            let all: Vec<String> = results.chain(limit).chain(notes).collect();
            if !all.is_empty() {
                put(out, format_args!("  {}", all.join("; ")));
            }
            put(out, format_args!("  {}", cited(check.source)));
            if let Some((_, source)) = line.rule.filter(|(_, source)| *source != check.source) {
                put(out, format_args!("  limit: {}", cited(source)));
            }
        }
    }
    if let Some(word) = line.because {
        put(out, format_args!("  because: {word}"));
    }
    if !line.missing.is_empty() {
        put(out, format_args!("  missing: {}", line.missing.join(", ")));
    }
}

fn bounds(limit: CheckLimit) -> String {
    let show = |micro| Quantity::of(limit.unit, micro).to_string();
    match (limit.limit.at_least, limit.limit.at_most) {
        (Some(least), Some(most)) => format!("{} to {}", show(least), show(most)),
        (Some(least), None) => format!("at least {}", show(least)),
        (None, Some(most)) => format!("at most {}", show(most)),
        (None, None) => String::new(),
    }
}
