//! The gate before a step, or the one that a hold point itself is: what it still needs, each a way to the place where it is done.

use domain::ids::JobId;
use domain::method::gate::StepState;
use leptos::prelude::*;
use leptos_router::components::A;

use super::view_model::{GateNeed, GateNeeds, gate_needs, missing_of};
use crate::features::job::load::{JobView, StepCard};
use crate::i18n::Words;
use crate::routes::Screen;
use crate::t;
use crate::ui::{Gate, Glyph, Icon};

/// Draws the gate of a step as it stands; nothing for an open step that holds nobody up.
pub fn barrier(w: Words, job: &JobView, step: &StepCard) -> Option<AnyView> {
    let gate = |open: bool, title: &'static str, needs: Vec<String>, more: Option<AnyView>| {
        view! { <Gate open title=title needs=Signal::stored(needs)>{more}</Gate> }.into_any()
    };
    match &step.state {
        StepState::Locked { .. } => {
            let needs = gate_needs(w, job, step);
            Some(gate(false, t!(w, "gate.shut"), Vec::new(), Some(links(w, job.job, needs))))
        }
        StepState::Open | StepState::Failed if step.hold => {
            Some(gate(false, t!(w, "gate.hold_shut"), missing_of(w, step), None))
        }
        StepState::Satisfied | StepState::Deviating if step.hold => {
            Some(gate(true, t!(w, "gate.hold_open"), Vec::new(), None))
        }
        StepState::Open
        | StepState::Failed
        | StepState::Satisfied
        | StepState::Deviating
        | StepState::NotApplicable => None,
    }
}

fn links(w: Words, job: JobId, needs: GateNeeds) -> AnyView {
    let GateNeeds { now, later } = needs;
    let rest = (!later.is_empty()).then(|| {
        view! {
            <details>
                <summary>{crate::tn!(w, "gate.later", later.len())}</summary>
                <ul class="stack gate-links">{later.into_iter().map(|need| link(job, need)).collect_view()}</ul>
            </details>
        }
    });
    view! {
        <p>{t!(w, "gate.still_needs")}</p>
        <ul class="stack gate-links">{now.into_iter().map(|need| link(job, need)).collect_view()}</ul>
        {rest}
    }
    .into_any()
}

fn link(job: JobId, need: GateNeed) -> AnyView {
    let GateNeed { step, name, missing } = need;
    let words = view! {
        <span class="words">
            <span class="name">{name}</span>
            {(!missing.is_empty()).then(|| view! { <span class="detail">{missing}</span> })}
        </span>
    };
    match step {
        Some((step, slot)) => view! {
            <li>
                <A href=Screen::Step(job, step, slot).href() attr:class="row-link">
                    {words}
                    <Glyph icon=Icon::Next />
                </A>
            </li>
        }
        .into_any(),
        None => view! { <li class="plain">{words}</li> }.into_any(),
    }
}
