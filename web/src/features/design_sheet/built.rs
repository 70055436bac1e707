//! Planned against built: every figure that differs and every check that ends otherwise.

use std::sync::Arc;

use domain::design::{Design, Differences, Figures, differences};
use domain::electrical::{CheckLimit, Verdict};
use domain::method::Method;
use leptos::prelude::*;

use super::asked::following;
use super::form::{folding, unfolded};
use super::results::Ground;
use super::view_model::{RULES_FIRM, RULES_PLACE, RULES_VERSION, as_built, field_at, with_models};
use super::words::{field_name, line_name, value, verdict};
use crate::features::desk::DeskJob;
use crate::features::words::limit;
use crate::i18n::Words;
use crate::t;

/// The part; nothing before the work on site has begun.
pub fn built_part(ground: Ground, here: Signal<Option<Arc<DeskJob>>>) -> AnyView {
    let (w, rules) = (ground.around.w, ground.around.rules);
    let found = Memo::new(move |_| {
        let here = here.get()?;
        let planned = here.planned.as_ref()?;
        let planned = Design::of_values(planned.iter().map(|(key, micro)| (key.as_str(), *micro)));
        let planned = with_models(&planned, here.view.equipment.as_ref());
        let mut built = ground.computed.with(|now| as_built(&now.design, &here.view.units));
        let found = rules.with(|rules| {
            let following = following(&here, rules);
            for (key, micro) in following.entered(&here.view.design) {
                if field_at(&key).is_none() {
                    built.set(&key, micro);
                }
            }
            let figures: Figures = built.values().map(|(key, micro)| (key.to_owned(), micro)).collect();
            let figures = following.completed(&figures);
            let built = Design::of_values(figures.iter().map(|(key, micro)| (key.as_str(), *micro)));
            differences(&planned, &built, rules)
        });
        Some((here.method.clone(), Arc::new(found)))
    });
    // Beside what is drawn anew, so that it stays as somebody left it.
    let fold = unfolded();
    let content = move || {
        let (method, found) = found.get()?;
        let (figures, verdicts) = (figures(w, method.as_deref(), &found), verdicts(w, ground, &found));
        let limits = limits(w, ground, &found);
        let content = view! {
            <p class="soft">{t!(w, "design.built_explain")}</p>
            {listed(t!(w, "design.built_figures"), t!(w, "design.built_same"), figures)}
            {listed(t!(w, "design.built_verdicts"), t!(w, "design.built_same_verdicts"), verdicts)}
            {listed(t!(w, "design.built_limits"), t!(w, "design.built_same_limits"), limits)}
        };
        Some(folding("built", t!(w, "design.built"), ().into_any(), fold, content.into_any()))
    };
    view! { {content} }.into_any()
}

fn listed(title: &'static str, none: &'static str, lines: Vec<AnyView>) -> AnyView {
    if lines.is_empty() {
        return view! { <p>{none}</p> }.into_any();
    }
    view! { <h3>{title}</h3><ul class="stack bullets">{lines}</ul> }.into_any()
}

fn line(w: Words, name: String, planned: String, built: String) -> AnyView {
    let changed = t!(w, "design.built_change", planned = planned, built = built);
    view! { <li data-testid="difference">{t!(w, "design.pair", name = name, value = changed)}</li> }.into_any()
}

fn figures(w: Words, method: Option<&Method>, found: &Differences) -> Vec<AnyView> {
    let mut lines = Vec::new();
    for changed in &found.figures {
        // By which rules is no figure of the installation; the sheet says it elsewhere.
        if [RULES_PLACE, RULES_VERSION, RULES_FIRM].contains(&changed.key.as_str()) {
            continue;
        }
        let show = |micro: Option<i64>| match (micro, field_at(&changed.key)) {
            (None, _) => t!(w, "design.absent").to_owned(),
            (Some(micro), Some((_, field))) => value(w, field, micro),
            (Some(micro), None) => w.number_short(micro),
        };
        lines.push(line(w, name_of(w, method, &changed.key), show(changed.planned), show(changed.built)));
    }
    lines
}

/// The sheet's word for a figure, or the one of the method that asks for it.
fn name_of(w: Words, method: Option<&Method>, key: &str) -> String {
    let asked = method.and_then(|method| method.design.iter().find(|field| field.key == key));
    match asked.filter(|_| field_at(key).is_none()) {
        Some(field) => field.label.in_language(w.lang.code()).to_owned(),
        None => field_name(w, key),
    }
}

fn verdicts(w: Words, ground: Ground, found: &Differences) -> Vec<AnyView> {
    let show = |own: Option<Verdict>| {
        own.map_or_else(|| t!(w, "design.absent").to_owned(), |own| w.say(verdict(own)).to_owned())
    };
    let mut lines = Vec::new();
    for changed in &found.verdicts {
        let name = ground.around.rules.with(|rules| line_name(w, rules, changed.key));
        lines.push(line(w, name, show(changed.planned), show(changed.built)));
    }
    lines
}

fn limits(w: Words, ground: Ground, found: &Differences) -> Vec<AnyView> {
    let show = |own: Option<CheckLimit>| match own {
        Some(known) => limit(w, known.limit, known.unit, known.prefix()),
        None => t!(w, "design.absent").to_owned(),
    };
    let mut lines = Vec::new();
    for changed in &found.limits {
        let name = ground.around.rules.with(|rules| line_name(w, rules, changed.key));
        lines.push(line(w, name, show(changed.planned), show(changed.built)));
    }
    lines
}
