//! The frame of a step: why it is shut or what is dangerous first, then the act, then the evidence, one at work at a time.

use domain::ids::JobId;
use domain::job_file::Body;
use domain::job_file::body::{CautionsRead, Place};
use domain::method::gate::StepState;
use domain::method::plan::Requirement;
use leptos::prelude::*;
use leptos_router::NavigateOptions;
use leptos_router::hooks::use_navigate;

use super::barrier::barrier;
use super::ctx::Ctx;
use super::reading_list::{ReadingList, list_of};
use super::requirement::RequirementSection;
use super::view_model::{first_to_do, gate_needs, next_after};
use crate::device::{JobLoad, Saving, use_device};
use crate::features::crew::bottom::{Act, CrewBottom, MainAct};
use crate::features::crew::not_stored::NotStored;
use crate::features::crew::stop_work::{StopButton, stop_line};
use crate::features::crew::{follow, instead, moment};
use crate::features::job::load::{CautionCard, JobView, StepCard};
use crate::features::words;
use crate::i18n::{Words, use_words};
use crate::routes::Screen;
use crate::ui::{Banner, Chip, Empty, Icon, Page, Tone};
use crate::{t, tn};

/// What there is to draw; changes seldom, so that nothing that is being typed is drawn anew.
#[derive(Clone, Debug, PartialEq)]
enum Shape {
    Instead(JobLoad),
    NoMethod,
    NoSuchStep,
    Here(Vec<Requirement>),
}

/// One step of a job on the phone.
#[component]
pub fn StepPage(
    /// The job.
    job: JobId,
    /// Step id of its method.
    step: String,
    /// Slot of the unit that the step is repeated for, or 0.
    unit: u16,
) -> impl IntoView {
    let slot = unit;
    let w = use_words();
    let device = use_device();
    let load = follow(device, job);
    let id = StoredValue::new(step);
    let card = Memo::new(move |_| load.with(|load| id.with_value(|id| load.view()?.step(id, slot).cloned())));
    let shape = Memo::new(move |_| match (load.get(), card.get()) {
        (JobLoad::Here(_), Some(card)) => Shape::Here(card.requirements.into_iter().map(|card| card.need).collect()),
        (JobLoad::Here(view), None) if view.method_missing => Shape::NoMethod,
        (JobLoad::Here(_), None) => Shape::NoSuchStep,
        (other, _) => Shape::Instead(other),
    });
    let (act, saving, chosen) = (MainAct::default(), RwSignal::new(Saving::Idle), RwSignal::new(None));
    let title = move || card.get().map_or_else(String::new, |card| words::step_title(w, &card));
    let lead = move || load.with(|load| stage_of(load.view(), card.get().as_ref()).unwrap_or_default());
    let body = move || match shape.get() {
        Shape::Instead(load) => instead(&load),
        Shape::NoMethod => view! { <Empty icon=Icon::List words=t!(w, "job.no_method") /> }.into_any(),
        Shape::NoSuchStep => view! { <Empty icon=Icon::List words=t!(w, "step.no_such") /> }.into_any(),
        Shape::Here(needs) => view! { <StepBody job load card needs act saving chosen /> }.into_any(),
    };
    go_on_proving(load, card);
    let otherwise = Signal::derive(move || load.with(|load| onward(w, load.view()?, &card.get()?)));
    let at = id.with_value(|id| Place::of(id, slot, ""));
    let stop = StopButton::of_job(job, Some(at));
    let bottom = move || view! { <CrewBottom act saving otherwise stop /> };
    view! { <Page title=title lead=lead back=Screen::Job(job) bottom=bottom>{body}</Page> }
}

/// Leads on by itself from a step that was asked for anew, once it is done, to the next such step: whoever proves a board dead again has
/// the probes in hand. To work inside nobody is led without a press.
fn go_on_proving(load: RwSignal<JobLoad>, card: Memo<Option<StepCard>>) {
    let navigate = use_navigate();
    Effect::new(move |was_asked: Option<bool>| {
        let (is_asked, is_done) =
            card.with(|card| card.as_ref().map(|card| (card.ended.is_some(), card.is_done()))).unwrap_or_default();
        if is_done && was_asked == Some(true) {
            let next = load.with_untracked(|load| {
                let (job, card) = (load.view()?, card.get_untracked()?);
                let next = next_after(job, &card).filter(|next| next.ended.is_some())?;
                Some(Screen::Step(job.job, next.id.clone(), next.slot).href())
            });
            if let Some(next) = next {
                navigate(&next, NavigateOptions::default());
            }
        }
        is_asked
    });
}

fn stage_of(job: Option<&JobView>, card: Option<&StepCard>) -> Option<String> {
    job?.stages.get(card?.stage).map(|stage| stage.title.clone())
}

/// The main action where no part of the page has one: on to the next step, or to what opens this one.
fn onward(w: Words, job: &JobView, step: &StepCard) -> Option<Act> {
    let go = |target: &StepCard| Act::Go {
        label: t!(w, "step.go_on", title = words::step_title(w, target)),
        href: Screen::Step(job.job, target.id.clone(), target.slot).href(),
    };
    let back = || Act::Go { label: t!(w, "step.back_to_job").to_owned(), href: Screen::Job(job.job).href() };
    if let StepState::Locked { .. } = step.state {
        let first = gate_needs(w, job, step).now.into_iter().find_map(|need| need.step);
        let target = first.and_then(|(id, slot)| job.step(&id, slot));
        return Some(target.map_or_else(back, go));
    }
    Some(next_after(job, step).map_or_else(back, go))
}

#[component]
fn StepBody(
    job: JobId,
    load: RwSignal<JobLoad>,
    card: Memo<Option<StepCard>>,
    needs: Vec<Requirement>,
    act: MainAct,
    saving: RwSignal<Saving>,
    chosen: RwSignal<Option<usize>>,
) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let Some(first) = card.get_untracked() else { return ().into_any() };
    let can_record = Memo::new(move |_| {
        let free = load.with(|load| load.view().is_some_and(|job| job.obstacles.is_empty()));
        let open = card.with(|card| card.as_ref().is_some_and(|card| may_take_evidence(&card.state)));
        let read = card.with(|card| card.as_ref().is_some_and(|card| unread(card).is_empty()));
        free && open && read
    });
    let can_add =
        Memo::new(move |_| can_record.get() && card.with(|card| card.as_ref().is_some_and(|card| !card.lapsed)));
    // On one card, unless somebody opened a single one by hand.
    let list = Memo::new(move |_| {
        let is_asked = can_add.get() && chosen.with(Option::is_none);
        card.with(|card| card.as_ref().filter(|_| is_asked).and_then(list_of))
    });
    let active = Memo::new(move |_| {
        let first = || card.with(|card| card.as_ref().and_then(first_to_do));
        if list.with(Option::is_some) { None } else { chosen.get().or_else(first) }
    });
    let parts: Vec<(Ctx, Requirement)> = needs
        .into_iter()
        .enumerate()
        .map(|(index, need)| {
            let place = Place::of(&first.id, first.slot, need.id());
            let own = Memo::new(move |_| card.with(|card| card.as_ref()?.requirements.get(index).cloned()));
            (Ctx::new(w, device, job, load, act, saving, chosen, place, own), need)
        })
        .collect();
    let names: Vec<String> = parts.iter().map(|(ctx, _)| ctx.what()).collect();
    Effect::new(move |_| act.about(active.get().and_then(|index| names.get(index).cloned())));
    on_cleanup(move || act.about(None));
    let readings = StoredValue::new(parts.clone());
    let listed = move || {
        let readings = readings.with_value(|parts| {
            let reading = |(ctx, need): &(Ctx, Requirement)| match need {
                Requirement::Reading(need) => Some((*ctx, need.clone())),
                _ => None,
            };
            list.get().map(|list| parts[list].iter().filter_map(reading).collect::<Vec<_>>())
        });
        readings.map(|readings| view! { <ReadingList readings /> })
    };
    let section = |(index, (ctx, need)): (usize, (Ctx, Requirement))| {
        view! { <RequirementSection ctx index need stop_work=first.stop_work active can_record can_add /> }
    };
    let sections = parts.into_iter().enumerate().map(section).collect_view();
    let state = Memo::new(move |_| {
        card.get().map(|card| {
            let icon = words::step_knob(&card, false).icon();
            (words::step_state_word(&card.state), w.say(words::step_state(&card)), icon)
        })
    });
    let gate = move || load.with(|load| barrier(w, load.view()?, &card.get()?));
    let marks = view! {
        <div class="row" data-step=first.id.clone() data-slot=first.slot data-state=move || state.get().map(|(word, ..)| word)>
            {move || state.get().map(|(word, name, icon)| view! { <Chip label=name tone=state_tone(word) icon /> })}
            {first.hold.then(|| view! { <Chip label=t!(w, "step.hold_point") icon=Icon::Gate /> })}
        </div>
    };
    let leave_out = move || {
        let left_out = card.with(|card| card.as_ref().is_some_and(|card| card.state == StepState::NotApplicable));
        left_out.then(|| view! { <Banner><p>{t!(w, "step.not_applicable")}</p></Banner> })
    };
    let is_first = load.with_untracked(|load| {
        load.view()
            .and_then(|job| job.steps.first())
            .is_some_and(|step| (&step.id, step.slot) == (&first.id, first.slot))
    });
    view! {
        {is_first.then(|| view! { <NotStored /> })}
        {marks}
        {move || load.with(|load| stop_line(w, load.view()?, &device.people()))}
        {move || card.get().and_then(|card| returned(w, &card, &device.people()))}
        {move || card.get().and_then(|card| ended(w, &card))}
        {move || card.get().and_then(|card| lapsed(w, &card))}
        {move || load.with(|load| proof_holds(w, load.view()?, &card.get()?))}
        {leave_out}
        <Cautions job card act saving hazardous=first.hazardous stop_work=first.stop_work />
        {gate}
        <p class="step-act">{first.act.clone()}</p>
        {listed}
        {sections}
    }
    .into_any()
}

const fn may_take_evidence(state: &StepState) -> bool {
    match state {
        StepState::Open | StepState::Failed | StepState::Deviating | StepState::Satisfied => true,
        StepState::Locked { .. } | StepState::NotApplicable => false,
    }
}

fn state_tone(word: &str) -> Tone {
    match word {
        "satisfied" => Tone::Good,
        "failed" => Tone::Stop,
        "locked" | "deviating" => Tone::Caution,
        _ => Tone::Plain,
    }
}

fn unread(card: &StepCard) -> Vec<String> {
    let unread = card.cautions.iter().filter(|caution| caution.acknowledge && !caution.read);
    unread.map(|caution| caution.id.clone()).collect()
}

fn returned(w: Words, card: &StepCard, people: &[(domain::ids::PersonId, String)]) -> Option<AnyView> {
    let remark = card.returned.as_ref()?;
    let by = t!(w, "step.returned_by", name = words::person(w, people, remark.by), when = moment(w, remark.at_us));
    let text = remark.text.clone();
    Some(
        view! {
            <Banner tone=Tone::Caution title=t!(w, "step.returned")>
                <p>{text}</p>
                <p class="soft">{by}</p>
            </Banner>
        }
        .into_any(),
    )
}

/// Why something that was done is asked for anew.
fn ended(w: Words, card: &StepCard) -> Option<AnyView> {
    let why = w.say(words::ending(card.ended?));
    Some(view! { <Banner tone=Tone::Stop title=t!(w, "step.ended")><p>{why}</p></Banner> }.into_any())
}

/// Until when somebody may go on inside without a further record.
fn proof_holds(w: Words, job: &JobView, card: &StepCard) -> Option<AnyView> {
    let until = job.proof_until_us.filter(|_| card.inside && !card.is_done())?;
    Some(view! { <p class="soft">{t!(w, "step.proof_holds", when = moment(w, until))}</p> }.into_any())
}

/// Why nothing new is taken where work is done.
fn lapsed(w: Words, card: &StepCard) -> Option<AnyView> {
    let done = matches!(card.state, StepState::Satisfied | StepState::Deviating);
    (card.lapsed && done).then(|| {
        view! { <Banner tone=Tone::Stop title=t!(w, "step.lapsed")><p>{t!(w, "step.lapsed.what_now")}</p></Banner> }
            .into_any()
    })
}

/// What can hurt somebody, before the act; acknowledged before anything is recorded.
#[component]
fn Cautions(
    job: JobId,
    card: Memo<Option<StepCard>>,
    act: MainAct,
    saving: RwSignal<Saving>,
    hazardous: bool,
    stop_work: bool,
) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let cautions = Memo::new(move |_| card.get().map(|card| card.cautions).unwrap_or_default());
    let to_read = Memo::new(move |_| {
        card.with(|card| card.as_ref().filter(|card| may_take_evidence(&card.state)).map(unread).unwrap_or_default())
    });
    let id = StoredValue::new(device.new_entry_id());
    let place = card.with_untracked(|card| card.as_ref().map(|card| Place::of(&card.id, card.slot, "")));
    let place = StoredValue::new(place);
    let acknowledge = move || {
        let (Some(id), Some(at)) = (id.get_value(), place.get_value()) else { return };
        let body = Body::CautionsRead(CautionsRead { at, cautions: to_read.get_untracked() });
        device.save(job, vec![(id, body).into()], saving, t!(w, "step.cautions.what"), || ());
    };
    let asks = move || {
        (!to_read.with(Vec::is_empty)).then(|| {
            act.press(t!(w, "step.cautions.read"), || false, acknowledge);
            view! { <p class="soft">{t!(w, "step.cautions.first")}</p> }
        })
    };
    let open = move || {
        let banners = |read: bool| {
            cautions.with(|all| {
                let own = all.iter().filter(|own| (own.acknowledge && own.read) == read);
                own.map(banner).collect::<Vec<_>>()
            })
        };
        let (read, others) = (banners(true), banners(false));
        let folded = (!read.is_empty()).then(|| {
            view! {
                <details class="history cautions-read">
                    <summary>{tn!(w, "step.cautions.were_read", read.len())}</summary>
                    <div class="stack">{read}</div>
                </details>
            }
        });
        view! { {others} {folded} }
    };
    view! {
        {open}
        {hazardous.then(|| view! { <p class="prevails">{t!(w, "step.prevails")}</p> })}
        {stop_work.then(|| view! { <p class="soft">{t!(w, "step.stop_work_step")}</p> })}
        {asks}
    }
    .into_any()
}

fn banner(caution: &CautionCard) -> AnyView {
    let CautionCard { text, english, .. } = caution.clone();
    view! {
        <Banner tone=Tone::Caution>
            <p>{text}</p>
            {english.map(|english| view! { <p class="english" lang="en">{english}</p> })}
        </Banner>
    }
    .into_any()
}
