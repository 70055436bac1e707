//! Editions behind the sheet that do not hold on the job's day, at its head.

use std::sync::Arc;

use domain::identification::Date;
use leptos::prelude::*;

use super::results::Ground;
use super::words::out_of_force;
use crate::features::crew::today;
use crate::features::desk::DeskJob;
use crate::t;
use crate::ui::{Banner, Tone};

/// A banner with a line for each; the day is the planned one, and today's while none is planned.
pub fn editions_banner(ground: Ground, here: Signal<Option<Arc<DeskJob>>>) -> AnyView {
    let w = ground.around.w;
    let lines = Memo::new(move |_| {
        let planned = here.with(|here| here.as_ref()?.view.schedule.as_ref().map(|own| own.day.clone()));
        let day = planned.filter(|day| !day.is_empty()).unwrap_or_else(|| today().iso());
        let Ok(day) = Date::parse(&day) else { return Vec::new() };
        let all = ground.computed.with(|now| ground.around.rules.with(|rules| now.sheet.out_of_force(rules, day)));
        all.iter().map(|one| out_of_force(w, one)).collect::<Vec<String>>()
    });
    let banner = move || {
        let lines: Vec<AnyView> = lines.get().into_iter().map(|line| view! { <p>{line}</p> }.into_any()).collect();
        (!lines.is_empty())
            .then(|| view! { <Banner title=t!(w, "design.editions") tone=Tone::Caution>{lines}</Banner> })
    };
    view! { <div data-testid="editions">{banner}</div> }.into_any()
}
