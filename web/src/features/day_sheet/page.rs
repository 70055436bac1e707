//! The screen of the day sheet.

use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos_router::NavigateOptions;
use leptos_router::components::A;
use leptos_router::hooks::use_navigate;

use super::view_model::{DayCard, DayGroup, day_sheet};
use crate::app::SyncStatus;
use crate::device::{Saving, use_device};
use crate::features::crew::bottom::{Act, CrewBottom, MainAct};
use crate::features::crew::photo::open_camera;
use crate::features::crew::stop_work::StopButton;
use crate::features::crew::today;
use crate::features::desk::store_shut;
use crate::features::words;
use crate::i18n::{Words, use_words};
use crate::routes::Screen;
use crate::t;
use crate::ui::{Chip, Empty, Icon, Page, Section, Tone, Waiting};

/// The technician's jobs.
#[component]
pub fn DaySheetPage() -> impl IntoView {
    let w = use_words();
    let device = use_device();
    let jobs = device.follow_all();
    lead_back_to_the_camera(device);
    let groups = Memo::new(move |_| {
        jobs.with(|jobs| match jobs {
            Some(Ok(jobs)) => day_sheet(w, today(), device.person(), jobs),
            Some(Err(_)) | None => Vec::new(),
        })
    });
    let standing = Memo::new(move |_| jobs.with(|jobs| jobs.as_ref().map(Result::is_ok)));
    let sync = expect_context::<SyncStatus>();
    let body = move || match (standing.get(), groups.get()) {
        (Some(true), groups) if groups.is_empty() && sync.is_looking() => view! { <Waiting /> }.into_any(),
        (None, _) => view! { <Waiting /> }.into_any(),
        (Some(false), _) => store_shut(w),
        (Some(true), groups) if groups.is_empty() => view! {
            <Empty icon=Icon::Calendar words=t!(w, "day.empty")>
                <p class="soft">{t!(w, "day.empty_what")}</p>
            </Empty>
        }
        .into_any(),
        (Some(true), groups) => groups.into_iter().map(|group| draw(w, group)).collect_view().into_any(),
    };
    let stoppable = Signal::derive(move || {
        let cards = groups.get().into_iter().flat_map(|group| group.cards);
        cards.map(|card| (card.job, card.place)).collect::<Vec<_>>()
    });
    // The first job of the sheet that can go on is what somebody most likely comes for.
    let first = Signal::derive(move || {
        let groups = groups.get();
        let card = groups.iter().flat_map(|group| &group.cards).find(|card| is_to_do(card))?;
        Some(Act::Go { label: t!(w, "day.open", place = card.place), href: Screen::Job(card.job).href() })
    });
    let saving = RwSignal::new(Saving::Idle);
    let stop = StopButton::new(stoppable, None);
    let bottom = move || view! { <CrewBottom act=MainAct::default() saving otherwise=first stop /> };
    view! { <Page title=t!(w, "screen.day_sheet") bottom=bottom>{body}</Page> }
}

fn is_to_do(card: &DayCard) -> bool {
    use domain::job_file::Phase;
    match card.phase {
        Phase::Planned | Phase::WithCrew | Phase::OnSite | Phase::Paused(_) | Phase::Returned => true,
        Phase::ForReview | Phase::Passed | Phase::Withdrawn => false,
    }
}

/// The phone ended the page behind its camera: back to the step that the photo was for.
fn lead_back_to_the_camera(device: crate::device::Device) {
    let navigate = use_navigate();
    let asked = StoredValue::new(false);
    Effect::new(move |_| {
        let Some(store) = device.store() else { return };
        if asked.get_value() {
            return;
        }
        asked.set_value(true);
        let navigate = navigate.clone();
        spawn_local(async move {
            if let Some(camera) = open_camera(device, store.clock().now_ms()).await {
                let options = NavigateOptions { replace: true, ..NavigateOptions::default() };
                navigate(&Screen::Step(camera.job, camera.step, camera.slot).href(), options);
            }
        });
    });
}

fn draw(w: Words, group: DayGroup) -> AnyView {
    let cards = group.cards.into_iter().map(|card| draw_card(w, card)).collect_view();
    view! {
        <Section title=group.heading>
            <ul class="rows">{cards}</ul>
        </Section>
    }
    .into_any()
}

fn draw_card(w: Words, card: DayCard) -> AnyView {
    let of = card.progress;
    let progress = (of.total > 0).then(|| {
        t!(w, "day.progress", done = of.done, total = of.total, holds = of.holds_done, all_holds = of.holds_total)
    });
    let hour = (!card.hour.is_empty()).then(|| view! { <span class="hour number">{card.hour.clone()}</span> });
    let stopped =
        card.stopped.then(|| view! { <Chip label=t!(w, "job.stop.stopped") tone=Tone::Stop icon=Icon::Stop /> });
    let waiting = (card.waiting > 0)
        .then(|| view! { <Chip label=t!(w, "day.waiting", n = card.waiting) tone=Tone::Wait icon=Icon::Tray /> });
    let attention = (card.attention > 0)
        .then(|| view! { <Chip label=t!(w, "day.attention", n = card.attention) tone=Tone::Stop /> });
    view! {
        <li>
            <A href=Screen::Job(card.job).href() attr:class="row-link job-row">
                {hour}
                <span class="words">
                    <span class="name" dir="auto">{card.place.clone()}</span>
                    <span class="detail">{card.method.clone()}</span>
                    {progress.map(|words| view! { <span class="detail">{words}</span> })}
                    <span class="row">
                        <Chip label=w.say(words::phase(card.phase)) tone=words::phase_tone(card.phase) />
                        {stopped}
                        {waiting}
                        {attention}
                    </span>
                </span>
            </A>
        </li>
    }
    .into_any()
}
