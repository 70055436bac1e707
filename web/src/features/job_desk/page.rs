//! The page: follows the job through the store and the photos through the server.

use std::sync::Arc;

use domain::ids::JobId;
use domain::job_file::Phase;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::decide::{Asking, DecisionSheet};
use super::head::{Awaited, Head, ServerRow, Side};
use super::review::standing;
use super::seal::SealPanel;
use super::steps::{Around, StepList};
use super::telephone::{Telephone, TelephoneSheet};
use super::view_model::{Decision, ServerPhoto, awaited_photos, standing_against};
use super::waiting::WaitingPart;
use crate::adapters::fetch::use_api;
use crate::device::use_device;
use crate::features::design_sheet::state::DesignState;
use crate::features::desk::shared::{Rights, rights};
use crate::features::desk::{DeskJob, Store, follow_job, with_store};
use crate::i18n::use_words;
use crate::routes::Screen;
use crate::session::use_session;
use crate::t;
use crate::ui::{Banner, Button, Empty, Icon, Look, Page, Waiting};

/// The page.
#[component]
pub fn JobDeskPage(
    /// Which job.
    job: JobId,
) -> impl IntoView {
    with_store(move |store| view! { <Desk store job /> }.into_any())
}

#[component]
fn Desk(store: Store, job: JobId) -> impl IntoView {
    let (w, session, api) = (use_words(), use_session(), use_api());
    let here = follow_job(&store.get(), job, w);
    let device = use_device();
    let names = Signal::derive(move || device.people());
    let opener = store.get();
    spawn_local(async move {
        // Where it cannot be noted the job is still shown as far as it is here.
        let _ = opener.open_job(job, true).await;
    });
    let me = store.get().who().person;
    let rights = Memo::new(move |_| {
        let roles = session.profile().map(|profile| profile.person.roles).unwrap_or_default();
        here.with(|here| here.as_ref().map_or_else(Rights::default, |here| rights(&here.view, me, &roles)))
    });
    let server = RwSignal::new(ServerRow::default());
    let photos = RwSignal::new(Vec::<ServerPhoto>::new());
    let revision = store.get().revision();
    Effect::new(move |_| {
        // Each answer of the server that changes anything, and photos of this device that were confirmed.
        revision.track();
        spawn_local(async move {
            if let Ok(row) = api.get::<ServerRow>(format!("/api/jobs/{job}")).await
                && server.try_with_untracked(|own| *own != row) == Some(true)
            {
                let _ = server.try_set(row);
            }
            if let Ok(listed) = api.get::<Vec<ServerPhoto>>(format!("/api/jobs/{job}/photos")).await
                && photos.try_with_untracked(|own| *own != listed) == Some(true)
            {
                let _ = photos.try_set(listed);
            }
        });
    });
    let awaited = Memo::new(move |_| {
        here.with(|here| {
            here.as_ref().map(|here| photos.with(|photos| awaited_photos(&here.view, photos))).unwrap_or_default()
        })
    });
    let own_rules = Memo::new(move |_| device.rule_sets());
    let design = Memo::new(move |_| here.with(|here| Some(DesignState::of(w, here.as_ref()?, &own_rules.get()))));
    let against = Memo::new(move |_| {
        let (photos, design) = (awaited.with(Vec::len), design.get());
        here.with(|here| {
            here.as_ref().map(|here| standing_against(&here.view, design.as_ref(), photos)).unwrap_or_default()
        })
    });
    let wants_reason =
        Signal::derive(move || against.with(|all| all.iter().any(super::view_model::Against::wants_reason)));
    let can_pass = Signal::derive(move || {
        rights.get().decide && !against.with(|all| all.iter().any(super::view_model::Against::is_hard))
    });
    let (asking, telephone) = (Asking::new(), Telephone::new());
    let around = Around {
        store,
        job,
        asking,
        telephone,
        decide: Signal::derive(move || rights.get().decide),
        settle: Signal::derive(move || rights.get().settle),
        site: Signal::derive(move || rights.get().site),
        names,
    };
    let here: Signal<Option<Arc<DeskJob>>> = here.into();
    let known = Memo::new(move |_| here.with(|here| here.as_ref().map(|here| here.known)));
    let title = move || {
        here.with(|here| {
            let site = here.as_ref().map(|here| here.view.site.clone()).unwrap_or_default();
            let name = if site.householder.is_empty() { site.town } else { site.householder };
            if name.is_empty() {
                t!(w, "crew.job_number", number = job.short())
            } else {
                t!(w, "desk.title", name = name, number = job.short())
            }
        })
    };
    let phase = Memo::new(move |_| here.with(|here| here.as_ref().map(|here| here.view.phase)));
    let bottom = move || {
        // Before anything was recorded there is nothing to pass.
        let begun = !matches!(phase.get(), None | Some(Phase::Planned | Phase::WithCrew));
        (rights.get().decide && begun).then(|| {
            view! { <Button label=t!(w, "desk.act.pass") look=Look::Main on_press=move || asking.ask(store, Decision::Pass, String::new()) /> }
        })
    };
    let withdraw = move || {
        rights.get().decide.then(|| {
            view! { <Button label=t!(w, "desk.withdraw") look=Look::Danger on_press=move || asking.ask(store, Decision::Withdraw, String::new()) /> }
        })
    };
    let read_only = move || {
        let words = match (phase.get(), rights.get().not_lead_here) {
            (Some(Phase::Passed), _) => t!(w, "desk.passed_explain"),
            (Some(Phase::Sealed), _) => t!(w, "desk.sealed_explain"),
            (Some(Phase::Withdrawn), _) => t!(w, "desk.withdrawn_explain"),
            (Some(_), true) => t!(w, "desk.not_lead_here"),
            (Some(_), false) if !rights.get().decide => t!(w, "desk.read_only"),
            (Some(_), false) | (None, _) => return None,
        };
        Some(view! { <Banner><p>{words}</p></Banner> })
    };
    let back = if session.has(domain::people::Role::Lead) || session.has(domain::people::Role::Owner) {
        Screen::CrewPlan
    } else {
        Screen::RegistrationDesk
    };
    let against_view =
        move || here.with(|here| here.as_ref().map(|here| against.with(|all| standing(w, &here.view, all))));
    let body = move || match known.get() {
        None => view! { <Waiting /> }.into_any(),
        Some(false) => view! { <Empty words=t!(w, "desk.not_here") icon=Icon::Wait /> }.into_any(),
        Some(true) => view! {
            <Head here around design server=server.into() may_plan=Signal::derive(move || rights.get().site) />
            // Below what is pressed: that the review has passed may come while somebody presses.
            {read_only}
            <div class="two-columns desk">
                <div class="stack loose">
                    <WaitingPart here around />
                    <StepList here around />
                </div>
                <aside class="stack loose">
                    <SealPanel around here />
                    <Awaited here around photos=awaited.into() />
                    <Side here around />
                    {withdraw}
                </aside>
            </div>
        }
        .into_any(),
    };
    view! {
        <Page title back wide=true bottom=bottom>
            {body}
            <DecisionSheet asking store job against=ViewFn::from(against_view) can_pass wants_reason />
            <TelephoneSheet telephone job />
        </Page>
    }
}
