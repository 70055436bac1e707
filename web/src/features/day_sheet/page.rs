//! The screen of the day sheet.

use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos_router::NavigateOptions;
use leptos_router::hooks::use_navigate;

use super::cards::sheet_of;
use super::rows::{draw_groups, first_to_do, keep_look, last_look};
use super::view_model::cards_of;
use crate::app::SyncStatus;
use crate::device::{Saving, use_device};
use crate::features::crew::at_risk::{AtRisk, InstallHint};
use crate::features::crew::bottom::{Act, CrewBottom, MainAct};
use crate::features::crew::not_stored::NotStored;
use crate::features::crew::photo::open_camera;
use crate::features::crew::stop_work::{StopButton, to_stop};
use crate::features::crew::today;
use crate::features::desk::store_shut;
use crate::i18n::use_words;
use crate::routes::Screen;
use crate::session::use_session;
use crate::t;
use crate::ui::{Empty, Icon, Page, Waiting};

/// The technician's jobs.
#[component]
pub fn DaySheetPage() -> impl IntoView {
    let w = use_words();
    let (device, session) = (use_device(), use_session());
    let jobs = device.follow_all();
    lead_back_to_the_camera(device);
    let cards = Memo::new(move |_| {
        jobs.with(|jobs| match jobs {
            Some(Ok(jobs)) => cards_of(w, device.person(), jobs),
            Some(Err(_)) | None => Vec::new(),
        })
    });
    let groups = Memo::new(move |_| sheet_of(w, today(), cards.get()));
    let standing =
        Memo::new(move |_| jobs.with(|jobs| jobs.as_ref().map(|jobs| jobs.as_ref().map(drop).map_err(Clone::clone))));
    let sync = expect_context::<SyncStatus>();
    Effect::new(move |_| {
        if let (Some(Ok(())), Some(me), cards) = (standing.get(), device.person(), cards.get()) {
            spawn_local(keep_look(w, me, cards));
        }
    });
    // What the last look had stays in sight while the job files are read.
    let before = session.profile_now().map(|profile| last_look(w, profile.person.id)).unwrap_or_default();
    let body = move || match (standing.get(), groups.get()) {
        (Some(Ok(())), groups) if groups.is_empty() && sync.is_looking() => view! { <Waiting /> }.into_any(),
        (None, _) if !before.is_empty() => draw_groups(w, before.clone()),
        (None, _) => view! { <Waiting /> }.into_any(),
        (Some(Err(why)), _) => store_shut(w, &why),
        (Some(Ok(())), groups) if groups.is_empty() => view! {
            <Empty icon=Icon::Calendar words=t!(w, "day.empty")>
                <p class="soft">{t!(w, "day.empty_what")}</p>
            </Empty>
        }
        .into_any(),
        (Some(Ok(())), groups) => draw_groups(w, groups),
    };
    let stoppable = Signal::derive(move || {
        let cards = groups.get().into_iter().flat_map(|group| group.cards);
        to_stop(cards.map(|card| (card.job, card.place, card.phase)))
    });
    let first = Signal::derive(move || {
        let groups = groups.get();
        let card = first_to_do(&groups)?;
        let label = t!(w, "day.open", place = card.place);
        Some(Act::Go { label, href: Screen::Job(card.job).href() })
    });
    let saving = RwSignal::new(Saving::Idle);
    let stop = StopButton::new(stoppable, None);
    let bottom = move || view! { <CrewBottom act=MainAct::default() saving otherwise=first stop /> };
    view! { <Page title=t!(w, "screen.day_sheet") bottom=bottom><NotStored /><AtRisk />{body}<InstallHint can_wait=true /></Page> }
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
