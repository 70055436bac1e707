//! Computed comparisons: all of the computation, so that an electrician can redo it with a pocket calculator.

use domain::electrical::{Check, Verdict};
use leptos::prelude::*;

use crate::features::words::{check_limit, check_note, check_verdict_why, figure, figure_value, mark, source};
use crate::i18n::Words;
use crate::t;
use crate::ui::{Chip, Icon, Tone};

/// A verdict as a chip.
pub fn verdict_chip(w: Words, verdict: Verdict) -> AnyView {
    let (label, tone, icon) = match verdict {
        Verdict::Pass => (t!(w, "plan.verdict.pass"), Tone::Good, Icon::Tick),
        Verdict::Fail(_) => (t!(w, "plan.verdict.fail"), Tone::Stop, Icon::Cross),
        Verdict::NotDetermined(_) => (t!(w, "plan.verdict.not_determined"), Tone::Caution, Icon::Question),
        Verdict::NotApplicable(_) => (t!(w, "plan.verdict.not_applicable"), Tone::Plain, Icon::Dash),
    };
    view! { <Chip label tone icon /> }.into_any()
}

/// The verdict of a computation as a chip; a fail by a figure of this house says that it is one.
pub fn check_chip(w: Words, check: &Check) -> AnyView {
    if check.fails_by_house_figure() {
        return view! { <Chip label=t!(w, "plan.verdict.fail_house") tone=Tone::Stop icon=Icon::Cross /> }.into_any();
    }
    verdict_chip(w, check.verdict)
}

/// Formula, numbers, results, limit, notes and source.
pub fn check_body(w: Words, check: &Check) -> AnyView {
    let results: Vec<String> = check
        .results
        .iter()
        .map(|(name, value)| {
            t!(w, "plan.check.result", figure = figure(w, name), value = figure_value(w, name, *value))
        })
        .collect();
    let why = matches!(check.verdict, Verdict::Fail(_) | Verdict::NotDetermined(_) | Verdict::NotApplicable(_))
        .then(|| view! { <p>{check_verdict_why(w, check)}</p> });
    let known = check_limit(w, check).map(|known| view! { <p><b>{t!(w, "plan.check.limit")}</b>" "{known}</p> });
    let notes = check.notes.iter().map(|note| view! { <p class="soft">{w.say(check_note(*note))}</p> }).collect_view();
    let cited = source(w, check.source);
    let cited = match mark(check.source.mark) {
        Some(key) => format!("{cited} ({})", w.say(key)),
        None => cited,
    };
    view! {
        {(!results.is_empty()).then(|| view! { <p>{results.join("; ")}</p> })}
        {known}
        {why}
        {notes}
        <details>
            <summary>{t!(w, "plan.check.computation", id = check.id)}</summary>
            <p class="formula">{check.formula}</p>
            <p class="formula">{check.numbers().to_owned()}</p>
            <p class="soft">{t!(w, "plan.check.source", source = cited)}</p>
        </details>
    }
    .into_any()
}
