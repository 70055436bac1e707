//! The job's page: what one needs on the way there, the drawing, the way through the steps.

use domain::ids::JobId;
use domain::job_file::body::Plain;
use domain::job_file::{Body, Phase};
use leptos::prelude::*;

use super::drawing::draw;
use super::leave::{PauseButton, away_banner};
use super::load::{JobView, StageView};
use super::notes::{Notes, phase_banner};
use super::view_model::{Onward, crew, is_away, is_running, onward, stage_now, stage_progress};
use crate::device::{JobLoad, Saving, use_device};
use crate::features::crew::bottom::{Act, CrewBottom, MainAct};
use crate::features::crew::stop_work::{StopButton, stop_line};
use crate::features::crew::{follow, instead};
use crate::features::words;
use crate::i18n::{Words, use_words};
use crate::routes::Screen;
use crate::t;
use crate::ui::{Banner, Chip, Glyph, Icon, LinkButton, Page, Progress, Section, StepRow, Steps};

/// One job on the phone.
#[component]
pub fn JobPage(
    /// Which.
    job: JobId,
) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let load = follow(device, job);
    let saving = RwSignal::new(Saving::Idle);
    let title = move || load.with(|load| load.view().map(|job| place_line(w, job)).unwrap_or_default());
    let lead = move || load.with(|load| load.view().map(|job| when_line(w, job)).unwrap_or_default());
    let here = Memo::new(move |_| load.with(|load| load.view().is_some()));
    let body = move || {
        if here.get() { view! { <JobBody job load saving /> }.into_any() } else { load.with(instead) }
    };
    // Ids from the opening of the page, so that a second tap is the same entry.
    let ids = StoredValue::new(device.new_entry_id().zip(device.new_entry_id()));
    let write = move |body: Body| {
        let is_submitted = matches!(body, Body::Submitted(_));
        let id = ids.get_value().map(|(first, second)| if is_submitted { second } else { first });
        let what = match body {
            Body::CameBack(_) => t!(w, "job.entry.back"),
            Body::Submitted(_) => t!(w, "job.submit.what"),
            _ => t!(w, "job.resume.what"),
        };
        device.save(job, vec![crate::store::NewEntry { id, body }], saving, what, move || {
            ids.set_value(device.new_entry_id().zip(device.new_entry_id()));
        });
    };
    let resume = UnsyncCallback::new(move |()| write(Body::Resumed(Plain {})));
    let back = UnsyncCallback::new(move |()| write(Body::CameBack(Plain {})));
    let submit = UnsyncCallback::new(move |()| write(Body::Submitted(Plain {})));
    let never = Signal::stored(false);
    let next = Memo::new(move |_| load.with(|load| load.view().map(|job| onward(w, job))));
    let otherwise = Signal::derive(move || match next.get()? {
        Onward::Step(step, slot, title) => {
            Some(Act::Go { label: t!(w, "step.go_on", title = title), href: Screen::Step(job, step, slot).href() })
        }
        Onward::Resume => Some(Act::Press { label: t!(w, "job.resume").into(), press: resume, disabled: never }),
        Onward::Back => Some(Act::Press { label: t!(w, "job.away.back").into(), press: back, disabled: never }),
        Onward::Submit => Some(Act::Press { label: t!(w, "job.submit").into(), press: submit, disabled: never }),
        Onward::Nothing => None,
    });
    let stop = StopButton::of_job(job, None);
    let bottom = move || view! { <CrewBottom act=MainAct::default() saving otherwise stop /> };
    view! { <Page title=title lead=lead back=Screen::DaySheet bottom=bottom>{body}</Page> }
}

/// Street and town; the method's title while the site is not known.
pub fn place_line(w: Words, job: &JobView) -> String {
    let parts: Vec<&str> =
        [&job.site.street, &job.site.town].into_iter().map(String::as_str).filter(|part| !part.is_empty()).collect();
    match parts.as_slice() {
        [] => t!(w, "job.no_site").to_owned(),
        parts => parts.join(", "),
    }
}

/// Day and hour.
pub fn when_line(w: Words, job: &JobView) -> String {
    match &job.schedule {
        None => t!(w, "job.no_day").to_owned(),
        Some(schedule) if schedule.start.is_empty() => w.day_text(&schedule.day),
        Some(schedule) => t!(w, "job.day_and_hour", day = w.day_text(&schedule.day), hour = schedule.start),
    }
}

#[component]
fn JobBody(job: JobId, load: RwSignal<JobLoad>, saving: RwSignal<Saving>) -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let with = move |draw: fn(Words, &JobView) -> Option<AnyView>| {
        move || load.with(|load| load.view().and_then(|job| draw(w, job)))
    };
    let people = move || load.with(|load| load.view().map(|job| head(w, job, &device.people())));
    let running = Memo::new(move |_| {
        load.with(|load| {
            load.view().is_some_and(|job| is_running(job) && !is_away(job) && job.phase != Phase::ForReview)
        })
    });
    let pause = move || running.get().then(|| view! { <PauseButton job load saving /> });
    view! {
        {move || load.with(|load| stop_line(w, load.view()?, &device.people()))}
        {with(phase_banner)}
        {with(away_banner)}
        {people}
        {with(|_, job| draw(job))}
        {with(progress)}
        <div class="row"><LinkButton label=t!(w, "design.tests") href=Screen::TestSheet(job).href() icon=Icon::List /></div>
        <Stages load />
        <Notes job load saving />
        {pause}
    }
    .into_any()
}

fn head(w: Words, job: &JobView, people: &[(domain::ids::PersonId, String)]) -> AnyView {
    let site = &job.site;
    let line = |icon: Icon, text: String| {
        (!text.is_empty()).then(|| view! { <li class="row"><Glyph icon /><span class="fill">{text}</span></li> })
    };
    let phone = (!site.phone.is_empty()).then(|| {
        let href = format!("tel:{}", site.phone.replace(' ', ""));
        view! { <li class="row"><Glyph icon=Icon::Device /><a class="fill tap" href=href>{site.phone.clone()}</a></li> }
    });
    let crew = crew(w, job, people)
        .into_iter()
        .map(|(name, role)| t!(w, "job.crew_line", name = name, role = role))
        .collect::<Vec<_>>()
        .join(", ");
    let consent = job.consent.as_ref().map(|consent| {
        let state = w.say(words::consent(consent.state));
        if consent.reference.is_empty() {
            state.to_owned()
        } else {
            t!(w, "job.consent_line", state = state, reference = consent.reference)
        }
    });
    view! {
        <ul class="card facts">
            <li class="row">
                <Chip label=w.say(words::phase(job.phase)) tone=words::phase_tone(job.phase) />
                <span class="fill">{job.method_title.clone()}</span>
            </li>
            {line(Icon::Person, site.householder.clone())}
            {phone}
            {line(Icon::Info, site.access.clone())}
            {line(Icon::People, crew)}
            {line(Icon::Document, consent.unwrap_or_default())}
        </ul>
    }
    .into_any()
}

fn progress(w: Words, job: &JobView) -> Option<AnyView> {
    let of = job.progress;
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let label =
        t!(w, "job.progress", done = of.done, total = of.total, holds = of.holds_done, all_holds = of.holds_total);
    let (done, total) = (Signal::stored(count(of.done)), Signal::stored(count(of.total)));
    (of.total > 0).then(|| view! { <Progress label=label done total /> }.into_any())
}

/// The stages; the one at work is open, the others open with a tap.
#[component]
fn Stages(load: RwSignal<JobLoad>) -> impl IntoView {
    let w = use_words();
    let now = Memo::new(move |_| load.with(|load| load.view().and_then(stage_now)));
    // What somebody opened or closed by hand stays so while the page stands.
    let by_hand = RwSignal::new(std::collections::BTreeMap::<usize, bool>::new());
    let is_open =
        move |index: usize| by_hand.with(|by_hand| by_hand.get(&index).copied()).unwrap_or(now.get() == Some(index));
    let stages = Memo::new(move |_| load.with(|load| load.view().map(|job| job.stages.clone()).unwrap_or_default()));
    let one = move |(index, stage): (usize, StageView)| {
        let (title, steps) = (stage.title, StoredValue::new(stage.steps));
        let done = move || {
            let (done, total) = load
                .with(|load| load.view().map(|job| steps.with_value(|steps| stage_progress(job, steps))))
                .unwrap_or_default();
            t!(w, "job.stage_progress", done = done, total = total)
        };
        let list = move || {
            is_open(index).then(|| {
                let rows = load.with(|load| load.view().map(|job| steps.with_value(|steps| step_rows(w, job, steps))));
                view! { <Steps>{rows}</Steps> }
            })
        };
        let toggle = move |_| {
            let open = untrack(|| is_open(index));
            by_hand.update(|by_hand| {
                by_hand.insert(index, !open);
            });
        };
        let empty = steps.with_value(Vec::is_empty);
        (!empty).then(|| view! {
            <div class="stage">
                <button type="button" class="row-link stage-head" aria-expanded=move || is_open(index).to_string() on:click=toggle>
                    <span class="words">
                        <span class="name">{title}</span>
                        <span class="detail">{done}</span>
                    </span>
                    <Glyph icon=Icon::Next />
                </button>
                {list}
            </div>
        })
    };
    let missing = move || {
        let missing = load.with(|load| load.view().is_some_and(|job| job.method_missing));
        missing.then(|| view! { <Banner><p>{t!(w, "job.no_method")}</p></Banner> })
    };
    view! {
        <Section title=t!(w, "job.steps")>
            {missing}
            {move || stages.get().into_iter().enumerate().map(one).collect_view()}
        </Section>
    }
    .into_any()
}

fn step_rows(w: Words, job: &JobView, steps: &[usize]) -> AnyView {
    let next = job.next_step().map(|step| step.at);
    let row = |index: &usize| {
        let step = &job.steps[*index];
        let href = Screen::Step(job.job, step.id.clone(), step.slot).href();
        let word = w.say(words::step_state(step));
        let word = if step.hold { t!(w, "job.step_hold", state = word) } else { word.to_owned() };
        let state = words::step_knob(step, next == Some(step.at));
        view! { <StepRow state state_word=word href name=words::step_title(w, step) /> }
    };
    steps.iter().map(row).collect_view().into_any()
}
