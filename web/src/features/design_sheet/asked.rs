//! The figures that the job's method asks for: entered by a person, following from the sheet, or missing.

use std::sync::Arc;

use domain::design::{Figures, Following};
use domain::electrical::rule_set::RuleSet;
use domain::electrical::{Prefix, Quantity};
use domain::method::plan::DesignField;
use leptos::prelude::*;

use super::form::{folding, unfolded};
use super::results::Ground;
use super::view_model::{field_at, value_of, values_to_save};
use super::words::value;
use crate::features::desk::DeskJob;
use crate::features::words::quantity;
use crate::i18n::Words;
use crate::t;
use crate::ui::{Chip, Tone};

/// What the figures of a job follow from.
pub fn following<'a>(here: &'a DeskJob, rules: &'a RuleSet) -> Following<'a> {
    let asked: &[DesignField] = here.method.as_deref().map_or(&[], |method| &method.design);
    Following { equipment: here.view.equipment.as_ref(), rules, asked }
}

/// A figure as the phone will have it once the sheet is saved.
#[derive(Clone, PartialEq, Eq)]
struct Asked {
    micro: Option<i64>,
    follows: bool,
    /// What the sheet computes, where somebody entered something else.
    otherwise: Option<i64>,
}

/// The part; nothing while the method is not here or asks for nothing.
pub fn asked_part(ground: Ground, here: Signal<Option<Arc<DeskJob>>>, entered: Memo<Figures>) -> AnyView {
    let (w, rules, form) = (ground.around.w, ground.around.rules, ground.around.form);
    let found = Memo::new(move |_| {
        // Every readable figure of the form, so that a keystroke is followed.
        let design = form.design();
        let here = here.get()?;
        let method = here.method.clone().filter(|method| !method.design.is_empty())?;
        let rows = rules.with(|rules| {
            let touched = form.touched();
            let own = entered.with(|entered| values_to_save(entered, touched.into_iter(), rules));
            let following = following(&here, rules);
            let (all, computed) = (following.completed(&own), following.computed(&own));
            let row = |field: &DesignField| {
                let micro = value_of(&all, &field.key);
                let follows = value_of(&own, &field.key).is_none() && design.get(&field.key).is_none();
                let otherwise = value_of(&computed, &field.key).filter(|other| micro != Some(*other));
                Asked { micro, follows, otherwise }
            };
            method.design.iter().map(row).collect::<Vec<Asked>>()
        });
        Some((method, rows))
    });
    // Beside what is drawn anew, so that it stays as somebody left it.
    let fold = unfolded();
    let content = move || {
        let (method, rows) = found.get()?;
        let lines = method.design.iter().zip(rows).map(|(field, row)| line(w, field, &row)).collect::<Vec<AnyView>>();
        let content = view! {
            <p class="soft">{t!(w, "design.asked_explain")}</p>
            <ul class="sheet-rows">{lines}</ul>
        };
        Some(folding("asked", t!(w, "design.asked"), ().into_any(), fold, content.into_any()))
    };
    view! { {content} }.into_any()
}

fn line(w: Words, field: &DesignField, row: &Asked) -> AnyView {
    let name = field.label.in_language(w.lang.code()).to_owned();
    let show = |micro: i64| match field_at(&field.key) {
        Some((_, own)) => value(w, own, micro),
        None => quantity(w, Quantity::of(field.unit, micro), Prefix::One),
    };
    let shown = row.micro.map(show);
    let caution = |words: String| view! { <Chip label=words tone=Tone::Caution /> }.into_any();
    let soft = |words: &'static str| view! { <span class="soft">{words}</span> }.into_any();
    let (word, state) = match (row.micro, row.follows, row.otherwise) {
        (None, ..) => (caution(t!(w, "design.asked_missing").to_owned()), "missing"),
        (Some(_), true, _) => (soft(t!(w, "design.asked_follows")), "follows"),
        (Some(_), false, None) => (soft(t!(w, "design.asked_entered")), "entered"),
        (Some(_), false, Some(other)) => (caution(t!(w, "design.asked_otherwise", value = show(other))), "otherwise"),
    };
    view! {
        <li class="sheet-row asked" data-testid="asked" data-key=field.key.clone() data-state=state>
            <span class="fill">{name}</span>
            {shown.map(|shown| view! { <b class="limit">{shown}</b> })}
            {word}
        </li>
    }
    .into_any()
}
