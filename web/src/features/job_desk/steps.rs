//! Stages and steps with everything that was recorded. A step that changes is drawn anew alone, and stays open.

use std::collections::BTreeSet;
use std::sync::Arc;

use domain::electrical::Verdict;
use domain::ids::{JobId, PersonId};
use domain::job_file::{Body, Place};
use domain::method::gate::StepState;
use domain::method::plan::Requirement;
use leptos::prelude::*;
use leptos_router::hooks::use_query_map;

use super::decide::Asking;
use super::telephone::{Telephone, may_read_out};
use super::view_model::{Decision, StepFilter};
use crate::features::desk::checks::{check_body, check_chip};
use crate::features::desk::{DeskJob, Photo, Store, moment};
use crate::features::job::load::{EvidenceItem, EvidenceStanding, JobView, RequirementCard, StepCard};
use crate::features::words::{
    answer, answer_icon, answer_tone, answer_why, ending, evidence, limit, limit_source, obstacle, person, prefix_of,
    standing, step_knob, step_state, step_state_word, step_title,
};
use crate::i18n::{Key, Words, use_words};
use crate::routes::Screen;
use crate::ui::{Chip, Empty, Glyph, Icon, StepState as Knob, Tone};
use crate::{key, t};

type StepKey = (String, u16);

/// What the parts lean on.
#[derive(Clone, Copy)]
pub struct Around {
    /// The store.
    pub store: Store,
    /// The job.
    pub job: JobId,
    /// Asks for decisions.
    pub asking: Asking,
    /// Allows a departure over the telephone.
    pub telephone: Telephone,
    /// May the person decide? Tracked.
    pub decide: Signal<bool>,
    /// May the person deal with a breach? Tracked.
    pub settle: Signal<bool>,
    /// May the person say that a photo will not come? Tracked.
    pub site: Signal<bool>,
    /// Names.
    pub names: Signal<Vec<(PersonId, String)>>,
}

const fn filter_name(filter: StepFilter) -> Key {
    match filter {
        StepFilter::All => key!("desk.filter.all"),
        StepFilter::Open => key!("desk.filter.open"),
        StepFilter::Noteworthy => key!("desk.filter.noteworthy"),
    }
}

/// The list with its filter; the filter stands in the address.
#[component]
pub fn StepList(here: Signal<Option<Arc<DeskJob>>>, around: Around) -> impl IntoView {
    let w = use_words();
    let query = use_query_map();
    let job = around.job;
    let filter = Memo::new(move |_| StepFilter::of_word(query.read().get("steps").as_deref().unwrap_or_default()));
    let opened = RwSignal::new(BTreeSet::<StepKey>::new());
    let tab = move |own: StepFilter| {
        let href = format!("{}?steps={}", Screen::JobDesk(job).href(), own.word());
        let current = move || (filter.get() == own).then_some("page");
        view! { <a href=href class="tab" aria-current=current>{w.say(filter_name(own))}</a> }
    };
    let stages = Memo::new(move |_| {
        here.get().map_or_else(Vec::new, |here| {
            let view = &here.view;
            let shown = |index: &usize| filter.get().shows(&view.steps[*index]);
            let key = |index: usize| (view.steps[index].id.clone(), view.steps[index].slot);
            let stage = |stage: &crate::features::job::load::StageView| {
                let steps: Vec<StepKey> = stage.steps.iter().copied().filter(shown).map(key).collect();
                (stage.id.clone(), stage.title.clone(), steps)
            };
            view.stages.iter().map(stage).filter(|(_, _, steps)| !steps.is_empty()).collect::<Vec<_>>()
        })
    });
    let one_stage = move |(id, title, _): (String, String, Vec<StepKey>)| {
        let steps = Memo::new(move |_| {
            stages
                .with(|all| all.iter().find(|(own, _, _)| *own == id).map(|(_, _, steps)| steps.clone()))
                .unwrap_or_default()
        });
        let counts = Memo::new(move |_| {
            let done = |key: &StepKey| {
                here.with(|here| {
                    here.as_ref().and_then(|here| here.view.step(&key.0, key.1)).is_some_and(StepCard::is_done)
                })
            };
            steps.with(|steps| {
                t!(w, "desk.stage_count", done = steps.iter().filter(|key| done(key)).count(), total = steps.len())
            })
        });
        view! {
            <section class="stage">
                <h3>{title}" "<span class="count">{move || counts.get()}</span></h3>
                <ol class="desk-steps">
                    <For each=move || steps.get() key=StepKey::clone children=move |key| one_step(w, key, here, around, opened) />
                </ol>
            </section>
        }
    };
    let nothing = move || {
        let missing = here.with(|here| here.as_ref().is_some_and(|here| here.view.method_missing));
        stages.with(Vec::is_empty).then(|| {
            let words = if missing { t!(w, "desk.method_missing") } else { t!(w, "desk.no_steps") };
            view! { <Empty words icon=Icon::List /> }
        })
    };
    view! {
        <section class="stack loose" aria-labelledby="steps-title">
            <h2 id="steps-title">{t!(w, "desk.steps")}</h2>
            <nav class="tabs" aria-label=t!(w, "desk.steps")>
                {[StepFilter::All, StepFilter::Open, StepFilter::Noteworthy].into_iter().map(tab).collect_view()}
            </nav>
            {nothing}
            <For each=move || stages.get() key=|(id, _, _)| id.clone() children=one_stage />
        </section>
    }
}

fn one_step(
    w: Words,
    key: StepKey,
    here: Signal<Option<Arc<DeskJob>>>,
    around: Around,
    opened: RwSignal<BTreeSet<StepKey>>,
) -> impl IntoView {
    let own = key.clone();
    let step =
        Memo::new(move |_| here.with(|here| here.as_ref().and_then(|here| here.view.step(&own.0, own.1).cloned())));
    let (is_open, toggled) = (key.clone(), key);
    let is_open = Memo::new(move |_| opened.with(|opened| opened.contains(&is_open)));
    move || {
        let step = step.get()?;
        let knob = step_knob(&step, false);
        let toggled = toggled.clone();
        let summary = summary(w, &step, knob);
        let state = step_state_word(&step.state);
        let body_step = step.clone();
        let body = move || is_open.get().then(|| step_body(w, &body_step, here, &around));
        Some(view! {
            <li class="desk-step" data-state=state data-step=step.id.clone()>
                <details open=is_open.get_untracked() on:toggle=move |event| {
                    let now = event_target_open(&event);
                    opened.update(|opened| {
                        if now { opened.insert(toggled.clone()); } else { opened.remove(&toggled); }
                    });
                }>
                    {summary}
                    {body}
                </details>
            </li>
        })
    }
}

fn event_target_open(event: &leptos::ev::Event) -> bool {
    use wasm_bindgen::JsCast;
    event.target().is_some_and(|target| {
        js_sys::Reflect::get(target.unchecked_ref(), &"open".into()).is_ok_and(|open| open.is_truthy())
    })
}

fn summary(w: Words, step: &StepCard, knob: Knob) -> AnyView {
    let evidence = step.requirements.iter().map(|card| card.evidence.len()).sum::<usize>();
    view! {
        <summary>
            <span class=format!("knob {}", knob.class())><Glyph icon=knob.icon() /></span>
            <span class="name" dir="auto">{step_title(w, step)}</span>
            {step.hold.then(|| view! { <span class="mini" title=t!(w, "desk.hold")><Glyph icon=Icon::Gate />{t!(w, "desk.hold")}</span> })}
            {step.stop_work.then(|| view! { <span class="mini">{t!(w, "desk.stop_work")}</span> })}
            {step.returned.is_some().then(|| view! { <span class="mini">{t!(w, "desk.returned")}</span> })}
            {step.ended.is_some().then(|| view! { <span class="mini">{t!(w, "step.ended")}</span> })}
            <span class="state">{w.say(step_state(step))}</span>
            <span class="soft number">{crate::tn!(w, "desk.evidence_count", evidence)}</span>
        </summary>
    }
    .into_any()
}

fn step_body(w: Words, step: &StepCard, here: Signal<Option<Arc<DeskJob>>>, around: &Around) -> AnyView {
    let Some(here) = here.get_untracked() else { return ().into_any() };
    let view = &here.view;
    let locked = match &step.state {
        StepState::Locked { by } => {
            let by = by.iter().map(|own| view! { <li>{obstacle(w, view, own)}</li> }).collect_view();
            Some(view! { <div><p class="soft">{t!(w, "desk.locked_by")}</p><ul class="stack bullets">{by}</ul></div> })
        }
        StepState::NotApplicable
        | StepState::Open
        | StepState::Failed
        | StepState::Deviating
        | StepState::Satisfied => None,
    };
    let names = around.names;
    let returned = step.returned.as_ref().map(|remark| {
        let who = person(w, &names.get_untracked(), remark.by);
        view! { <p><b>{t!(w, "desk.returned_by", who = who, when = moment(w, remark.at_us))}</b>" "{remark.text.clone()}</p> }
    });
    let ended = step.ended.map(|why| view! { <p><b>{t!(w, "step.ended")}</b>" "{w.say(ending(why))}</p> });
    let can_return = step.requirements.iter().any(|card| !card.evidence.is_empty());
    let back = {
        let (own, title, place) = (*around, step_title(w, step), Place::of(&step.id, step.slot, ""));
        let decide = around.decide;
        move || {
            let (title, place) = (title.clone(), place.clone());
            (can_return && decide.get()).then(|| {
                view! {
                    <button type="button" class="act small" on:click=move |_| own.asking.ask(own.store, Decision::Return(place.clone()), title.clone())>
                        {t!(w, "desk.return_step")}
                    </button>
                }
            })
        }
    };
    view! {
        <div class="step-body">
            <p class="soft" dir="auto">{step.act.clone()}</p>
            {locked}
            {returned}
            {ended}
            <ul class="needs">{step.requirements.iter().map(|card| requirement(w, view, step, card, around)).collect_view()}</ul>
            <div class="row">{back}</div>
        </div>
    }
    .into_any()
}

fn requirement(w: Words, view: &JobView, step: &StepCard, card: &RequirementCard, around: &Around) -> AnyView {
    let known_limit = match (&card.need, &card.limit) {
        (Requirement::Reading(need), domain::method::gate::LimitInfo::Known { limit: known, .. }) => {
            let text = limit(w, *known, need.unit, prefix_of(need));
            let source = limit_source(w, &card.limit).unwrap_or_default();
            Some(view! { <p class="soft">{t!(w, "desk.limit", limit = text, source = source)}</p> })
        }
        _ => None,
    };
    let why = answer_why(w, view, card).map(|why| view! { <p class="why">{why}</p> });
    let check = card.check.as_ref().map(|check| {
        let verdict = (!matches!(check.verdict, Verdict::Pass)).then(|| check_chip(w, check));
        view! { <div class="check">{verdict}{check_body(w, check)}</div> }
    });
    let names = around.names.get_untracked();
    let (photos, lines): (Vec<&EvidenceItem>, Vec<&EvidenceItem>) =
        card.evidence.iter().partition(|item| matches!(item.body, Body::Photo(_)));
    let line = |item: &&EvidenceItem| evidence_line(w, &names, card, item);
    let pictures = photos.iter().map(|item| picture(w, &names, card, item, around)).collect_view();
    let returned_alone = {
        let (own, place) = (*around, card.place.clone());
        let about = t!(w, "desk.part_of_step", part = card.label, step = step_title(w, step));
        let (several, any, decide) = (step.requirements.len() > 1, !card.evidence.is_empty(), around.decide);
        move || {
            let (place, about) = (place.clone(), about.clone());
            (several && any && decide.get()).then(|| {
                view! {
                    <button type="button" class="act quiet small" on:click=move |_| own.asking.ask(own.store, Decision::Return(place.clone()), about.clone())>
                        {t!(w, "desk.return_part")}
                    </button>
                }
            })
        }
    };
    let by_telephone = {
        let (own, place) = (*around, card.place.clone());
        let about = t!(w, "desk.part_of_step", part = card.label, step = step_title(w, step));
        let may = may_read_out(step, card);
        move || {
            let (place, about) = (place.clone(), about.clone());
            (may && own.decide.get()).then(|| {
                view! {
                    <button type="button" class="act quiet small" on:click=move |_| own.telephone.ask(place.clone(), about.clone())>
                        {t!(w, "desk.voice.offer")}
                    </button>
                }
            })
        }
    };
    view! {
        <li class="need" data-requirement=card.place.requirement.clone()>
            <div class="row">
                <h4 class="fill" dir="auto">{card.label.clone()}</h4>
                <Chip label=answer(w, card) tone=answer_tone(&card.answer) icon=answer_icon(&card.answer) />
                {returned_alone}
                {by_telephone}
            </div>
            {known_limit}
            {why}
            {check}
            <ul class="evidence">{lines.iter().map(line).collect_view()}</ul>
            {(!photos.is_empty()).then(|| view! { <div class="photos">{pictures}</div> })}
        </li>
    }
    .into_any()
}

fn who_when(w: Words, names: &[(PersonId, String)], item: &EvidenceItem) -> String {
    t!(w, "desk.who_when", who = person(w, names, item.by), when = moment(w, item.at_us))
}

fn evidence_line(w: Words, names: &[(PersonId, String)], card: &RequirementCard, item: &EvidenceItem) -> AnyView {
    let counts = item.standing == EvidenceStanding::Counts;
    let text = evidence(w, card, item);
    let text = if counts {
        view! { <span class="value">{text}</span> }.into_any()
    } else {
        view! { <del class="value">{text}</del> }.into_any()
    };
    let raw = match &item.body {
        Body::Reading(reading) => Some(t!(w, "desk.as_typed", raw = reading.raw)),
        _ => None,
    };
    view! {
        <li>
            {text}
            {(!counts).then(|| view! { <span class="mini">{w.say(standing(item.standing))}</span> })}
            <span class="soft">{who_when(w, names, item)}</span>
            {raw.map(|raw| view! { <span class="soft" dir="auto">{raw}</span> })}
            {(!item.stamped).then(|| view! { <span class="mini">{t!(w, "desk.not_sent")}</span> })}
        </li>
    }
    .into_any()
}

fn picture(
    w: Words,
    names: &[(PersonId, String)],
    card: &RequirementCard,
    item: &EvidenceItem,
    around: &Around,
) -> AnyView {
    let Body::Photo(photo) = &item.body else { return ().into_any() };
    let counts = item.standing == EvidenceStanding::Counts;
    let tone = if photo.kept_anyway { Some(t!(w, "desk.kept_anyway")) } else { None };
    view! {
        <figure class:gone=!counts>
            <Photo store=around.store job=around.job original=photo.original.clone() preview=photo.preview.clone() label=card.label.clone() />
            <figcaption>
                <span class="soft">{who_when(w, names, item)}</span>
                {(!counts).then(|| view! { <span class="mini">{w.say(standing(item.standing))}</span> })}
                {tone.map(|words| view! { <Chip label=words tone=Tone::Caution /> })}
            </figcaption>
        </figure>
    }
    .into_any()
}
