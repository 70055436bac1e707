//! Several readings of one instrument on one card: typed one after the other and saved with one press. A board that is proved dead again is
//! measured this way, since whoever does it has every pair in mind and both hands at the probes.

use std::ops::Range;

use domain::method::gate::Answer;
use domain::method::plan::{ReadingNeed, Requirement};
use leptos::prelude::*;

use super::ctx::Ctx;
use super::reading::Row;
use super::view_model::needs_voltage;
use crate::adapters::browser::{bring_into_sight, focus_next_field};
use crate::features::job::load::StepCard;
use crate::store::NewEntry;
use crate::{t, tn};

/// Which requirements of a step are asked for on one card: readings beside each other by one instrument, of which at least two are missing,
/// where they are asked for anew.
pub fn list_of(card: &StepCard) -> Option<Range<usize>> {
    card.ended?;
    let at = card.requirements.iter().position(|own| matches!(own.answer, Answer::Missing { .. }))?;
    let kind = |index: usize| match &card.requirements.get(index)?.need {
        Requirement::Reading(need) if !needs_voltage(need) => Some(need.instrument.clone()),
        _ => None,
    };
    let own = kind(at)?;
    let from = (0..at).rev().take_while(|index| kind(*index).as_ref() == Some(&own)).last().unwrap_or(at);
    let to = (at..card.requirements.len()).take_while(|index| kind(*index).as_ref() == Some(&own)).last()? + 1;
    let missing = card.requirements[from..to].iter().filter(|own| matches!(own.answer, Answer::Missing { .. })).count();
    (missing >= 2).then_some(from..to)
}

/// The card.
#[component]
pub fn ReadingList(
    /// The readings in their order.
    readings: Vec<(Ctx, ReadingNeed)>,
) -> impl IntoView {
    let mut rows: Vec<(Row, String)> = Vec::new();
    for (ctx, need) in readings {
        let label = need.label.in_language(ctx.w.lang.code()).to_owned();
        let row = match rows.first() {
            Some((first, _)) => first.beside(need, ctx),
            None => Row::first(need, ctx),
        };
        rows.push((row, label));
    }
    let Some((first, _)) = rows.first().cloned() else { return ().into_any() };
    let (w, ctx) = (first.ctx.w, first.ctx);
    let all = StoredValue::new(rows.iter().map(|(row, _)| *row).collect::<Vec<Row>>());
    let save = move || {
        let typed: Vec<Row> = all.get_value().into_iter().filter(|row| !untrack(|| row.is_empty())).collect();
        let entries: Vec<NewEntry> = typed.iter().filter_map(|row| row.entry()).collect();
        if entries.is_empty() || entries.len() < typed.len() {
            return;
        }
        let what = tn!(w, "step.list.saved", entries.len());
        let written: Vec<_> = typed.iter().map(|row| (row.ctx, row.written())).collect();
        ctx.device.save(ctx.job, entries, ctx.saving, what, move || {
            for (ctx, written) in written {
                ctx.written();
                written();
            }
        });
    };
    // All that was typed can be written, and something was.
    let is_shut = move || {
        let typed = all.get_value().into_iter().filter(|row| !row.is_empty());
        let (count, ready) = typed.fold((0, 0), |(count, ready), row| (count + 1, ready + usize::from(row.is_ready())));
        count == 0 || ready < count
    };
    ctx.act.press(t!(w, "step.list.action"), is_shut, save);
    let id = "readings";
    // Whoever proves again has read what stands above it.
    request_animation_frame(move || bring_into_sight(id));
    let next = move |event: leptos::ev::KeyboardEvent| {
        if event.key() == "Enter" {
            event.prevent_default();
            focus_next_field(id);
        }
    };
    let draw = |(row, label): (Row, String)| {
        let is_missing = Memo::new(move |_| {
            row.ctx.card.with(|card| card.as_ref().is_some_and(|card| matches!(card.answer, Answer::Missing { .. })))
        });
        let requirement = row.ctx.place().requirement;
        move || {
            is_missing.get().then(|| {
                view! { <div class="stack" data-reading=requirement.clone()>{row.draw(label.clone())}</div> }
            })
        }
    };
    view! {
        <section class="card need at-work" id=id data-list="" on:keydown=next>
            <div class="need-head"><h2>{t!(w, "step.list.title")}</h2></div>
            {first.instrument_box()}
            {rows.into_iter().map(draw).collect_view()}
        </section>
    }
    .into_any()
}
