//! What waits for a decision: stops, departures, breaches; and below them what was decided.

use std::sync::Arc;

use leptos::prelude::*;

use super::steps::Around;
use super::view_model::{Decision, can_allow};
use crate::features::desk::shared::waiting_deviations;
use crate::features::desk::{DeskJob, Photo, moment};
use crate::features::job::load::{BreachView, DeviationView, JobView, StopView};
use crate::features::words::{breach, by_voice, entry_kind, person, place, stop_cause};
use crate::i18n::{Words, use_words};
use crate::t;
use crate::ui::{Chip, Icon, Tone};

/// The part; nothing where nothing waits and nothing was decided.
#[component]
pub fn WaitingPart(here: Signal<Option<Arc<DeskJob>>>, around: Around) -> impl IntoView {
    let w = use_words();
    let view = Memo::new(move |_| {
        // Only what is shown here, so that evidence that arrives does not draw it anew.
        here.with(|here| {
            here.as_ref()
                .map(|here| (here.view.stops.clone(), here.view.deviations.clone(), here.view.breaches.clone()))
        })
    });
    move || {
        let (stops, deviations, breaches) = view.get()?;
        let here = here.get_untracked()?;
        // The names may come later than the job.
        around.names.track();
        let (decide, settle) = (around.decide.get(), around.settle.get());
        if stops.is_empty() && deviations.is_empty() && breaches.is_empty() {
            return None;
        }
        let stops = stops.iter().map(|stop| stop_card(w, stop, decide, &around)).collect_view();
        let deviations =
            deviations.iter().map(|own| deviation_card(w, &here.view, own, decide, &around)).collect_view();
        let breaches = breaches.iter().map(|own| breach_card(w, &here.view, own, settle, &around)).collect_view();
        Some(view! {
            <section class="stack" aria-labelledby="waiting-title" data-testid="decisions">
                <h2 id="waiting-title">{t!(w, "desk.decisions")}</h2>
                <ul class="stack">{stops}{deviations}{breaches}</ul>
            </section>
        })
    }
}

fn stop_card(w: Words, stop: &StopView, decide: bool, around: &Around) -> AnyView {
    let names = around.names.get_untracked();
    let who = person(w, &names, stop.by);
    let (own, id) = (*around, stop.id);
    let about = w.say(stop_cause(stop.cause)).to_owned();
    let state = match (&stop.resolved, stop.taken_back) {
        (Some(_), _) => view! { <Chip label=t!(w, "desk.stop_resolved") tone=Tone::Good /> }.into_any(),
        (None, true) => view! { <Chip label=t!(w, "desk.stop_taken_back") tone=Tone::Caution /> }.into_any(),
        (None, false) => view! { <Chip label=t!(w, "desk.stop_open") tone=Tone::Stop icon=Icon::Stop /> }.into_any(),
    };
    let resolved = stop.resolved.as_ref().map(|(by, words)| {
        view! { <p>{t!(w, "desk.resolved_by", who = person(w, &names, *by))}" "<q dir="auto">{words.clone()}</q></p> }
    });
    let open = stop.is_open() && decide;
    view! {
        <li class="card decision">
            <div class="row"><h3 class="fill">{t!(w, "desk.stop_title", cause = about)}</h3>{state}</div>
            <p class="soft">{t!(w, "desk.who_when", who = who, when = moment(w, stop.at_us))}</p>
            {stop.remark.clone().map(|words| view! { <p><q dir="auto">{words}</q></p> })}
            {resolved}
            {open.then(|| view! {
                <div class="row">
                    <button type="button" class="act" on:click=move |_| own.asking.ask(own.store, Decision::Stop(id), about.clone())>
                        {t!(w, "desk.act.resolve")}
                    </button>
                </div>
            })}
        </li>
    }
    .into_any()
}

fn deviation_card(w: Words, view: &JobView, deviation: &DeviationView, decide: bool, around: &Around) -> AnyView {
    let names = around.names.get_untracked();
    let waits = waiting_deviations(view).any(|own| own.asked == deviation.asked);
    let part = view
        .step(&deviation.place.step, deviation.place.slot)
        .and_then(|step| step.requirements.iter().find(|card| card.place == deviation.place))
        .map_or_else(|| deviation.place.requirement.clone(), |card| card.label.clone());
    let about = t!(w, "desk.part_of_step", part = part, step = place(w, view, &deviation.place));
    let state = match (&deviation.decision, waits) {
        (Some((true, _, _)), _) => view! { <Chip label=t!(w, "desk.allowed") tone=Tone::Good /> }.into_any(),
        (Some((false, _, _)), _) => view! { <Chip label=t!(w, "desk.refused") tone=Tone::Stop /> }.into_any(),
        (None, true) => view! { <Chip label=t!(w, "desk.asked") tone=Tone::Wait /> }.into_any(),
        (None, false) => view! { <Chip label=t!(w, "desk.moot") /> }.into_any(),
    };
    let decided = deviation.decision.as_ref().map(|(_, by, words)| {
        if let Some(shown) = &deviation.by_voice {
            return view! { <p>{by_voice(w, &names, *by, shown, |us| moment(w, us))}</p> }.into_any();
        }
        let words = words.clone().filter(|words| !words.is_empty());
        view! {
            <p>{t!(w, "desk.decided_by", who = person(w, &names, *by))}" "{words.map(|words| view! { <q dir="auto">{words}</q> })}</p>
        }
        .into_any()
    });
    let allowed_here = can_allow(view, deviation);
    let ask = move |own: Around, asked, allow, about: String| {
        move |_| own.asking.ask(own.store, Decision::Deviation { asked, allow }, about.clone())
    };
    let allow = ask(*around, deviation.asked, true, about.clone());
    let refuse = ask(*around, deviation.asked, false, about.clone());
    view! {
        <li class="card decision">
            <div class="row"><h3 class="fill">{t!(w, "desk.deviation_title", about = about)}</h3>{state}</div>
            <p class="soft">{t!(w, "desk.who_when", who = person(w, &names, deviation.by), when = moment(w, deviation.at_us))}</p>
            <p><q dir="auto">{deviation.reason.clone()}</q></p>
            <div class="photos">
                <figure>
                    <Photo store=around.store job=around.job original=deviation.photo.clone() preview=deviation.preview.clone() label=about />
                </figure>
            </div>
            {decided}
            {(waits && !allowed_here).then(|| view! { <p class="why">{t!(w, "desk.stop_work_explain")}</p> })}
            {(waits && decide).then(|| view! {
                <div class="row">
                    <button type="button" class="act" disabled=!allowed_here on:click=allow>{t!(w, "desk.act.allow")}</button>
                    <button type="button" class="act danger" on:click=refuse>{t!(w, "desk.act.refuse")}</button>
                </div>
            })}
        </li>
    }
    .into_any()
}

fn breach_card(w: Words, view: &JobView, own: &BreachView, settle: bool, around: &Around) -> AnyView {
    let names = around.names.get_untracked();
    let what = own
        .body
        .as_ref()
        .map_or_else(|| t!(w, "desk.unreadable").to_owned(), |body| w.say(entry_kind(body)).to_owned());
    let at = own.body.as_ref().and_then(|body| body.evidence_place()).map(|at| place(w, view, at));
    let about = at.map_or_else(|| what.clone(), |at| t!(w, "desk.breach_at", what = what, step = at));
    let state = match &own.settled {
        None => view! { <Chip label=t!(w, "desk.breach_open") tone=Tone::Caution /> }.into_any(),
        Some(_) => view! { <Chip label=t!(w, "desk.breach_settled") tone=Tone::Good /> }.into_any(),
    };
    let (asker, entry, asked) = (*around, own.entry, about.clone());
    let open = own.settled.is_none() && settle;
    view! {
        <li class="card decision">
            <div class="row"><h3 class="fill">{t!(w, "desk.breach_title", about = about)}</h3>{state}</div>
            <p class="soft">{t!(w, "desk.who_when", who = person(w, &names, own.by), when = moment(w, own.at_us))}</p>
            <p>{w.say(breach(&own.why))}</p>
            {own.settled.clone().map(|words| view! { <p><q dir="auto">{words}</q></p> })}
            {open.then(|| view! {
                <div class="row">
                    <button type="button" class="act" on:click=move |_| asker.asking.ask(asker.store, Decision::Breach(entry), asked.clone())>
                        {t!(w, "desk.act.settle")}
                    </button>
                </div>
            })}
        </li>
    }
    .into_any()
}
