//! The screen of the tray.

use std::collections::BTreeMap;

use domain::ids::JobId;
use domain::tray::{OnDevice, PhotoRow};
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::bring_in::BringIn;
use super::self_test::SelfTest;
use super::view_model::{PhotoLine, Refused, TrayJob, tray};
use super::wifi::{PhotosWait, WifiSwitch};
use crate::adapters::browser;
use crate::adapters::storage::StorageState;
use crate::app::SyncStatus;
use crate::device::{Device, Saving, use_device};
use crate::features::crew::at_risk::{AtRisk, InstallHint};
use crate::features::crew::bottom::{Act, CrewBottom, MainAct};
use crate::features::crew::stop_work::{StopButton, to_stop};
use crate::features::desk::store_shut;
use crate::i18n::{Words, use_words};
use crate::routes::Screen;
use crate::sync::{Opening, Wish, use_ground};
use crate::t;
use crate::ui::{Banner, Button, Empty, Icon, LinkButton, Page, Section, Toasts, Tone};

/// What the store says of itself.
type Read = (OnDevice, BTreeMap<JobId, Vec<PhotoRow>>);

/// What is not yet with the server.
#[component]
pub fn TrayPage() -> impl IntoView {
    let w = use_words();
    let (device, ground) = (use_device(), use_ground());
    let toasts = expect_context::<Toasts>();
    let (jobs, read) = (device.follow_all(), read_tray(device));
    let trays = Memo::new(move |_| {
        let (Some(Ok(jobs)), Some((here, photos))) = (jobs.get(), read.get()) else { return None };
        let none = Vec::new();
        let ids: Vec<JobId> = here.jobs.keys().copied().collect();
        let rows: Vec<_> = ids
            .iter()
            .map(|id| {
                let view = jobs.iter().find(|job| job.view.job == *id).map(|job| &*job.view);
                (*id, view, photos.get(id).unwrap_or(&none).as_slice())
            })
            .collect();
        Some(tray(w, &here, &rows))
    });
    let standing = Signal::derive(move || {
        trays.with(|trays| trays.as_ref().is_some_and(|trays| trays.iter().any(|job| !job.only_here.is_empty())))
    });
    let list = move || trays.get().map(|trays| trays.into_iter().map(|job| draw(w, device, job)).collect_view());
    let empty = move || {
        trays
            .with(|trays| trays.as_ref().is_some_and(Vec::is_empty))
            .then(|| view! { <Empty icon=Icon::Tray words=t!(w, "tray.empty") /> })
    };
    let send = UnsyncCallback::new(move |()| {
        if let Some(local) = untrack(|| ground.local()) {
            toasts.say(match local.sync.send_now() {
                Wish::Tried => t!(w, "tray.asked.tried"),
                Wish::TakenOver => t!(w, "tray.asked.taken_over"),
            });
        }
    });
    let act = Signal::derive(move || {
        Some(Act::Press {
            label: t!(w, "tray.send_now").into(),
            press: send,
            disabled: Signal::derive(move || !standing.get()),
        })
    });
    let stoppable = Signal::derive(move || match jobs.get() {
        Some(Ok(jobs)) => {
            let own = jobs.iter().map(|job| &job.view);
            to_stop(own.map(|view| (view.job, crate::features::job::page::place_line(w, view), view.phase)))
        }
        Some(Err(_)) | None => Vec::new(),
    });
    let (saving, stop) = (RwSignal::new(Saving::Idle), StopButton::new(stoppable, None));
    let bottom = move || view! { <CrewBottom act=MainAct::default() saving otherwise=act stop /> };
    view! {
        <Page title=t!(w, "screen.tray") back=Screen::Home bottom=bottom>
            <AtRisk on_tray=true />
            <Standing />
            {list}
            {empty}
            <WifiSwitch />
            <InstallHint />
            <SelfTest />
            <BringIn />
        </Page>
    }
}

/// Reads the tray again whenever anything of it changed.
fn read_tray(device: Device) -> RwSignal<Option<Read>> {
    let into = RwSignal::new(None);
    let turn = StoredValue::new(0_u64);
    Effect::new(move |_| {
        let Some(store) = device.store() else { return };
        store.revision().track();
        turn.update_value(|turn| *turn += 1);
        let mine = turn.get_value();
        spawn_local(async move {
            let Ok(here) = store.local().on_device().await else { return };
            let mut photos = BTreeMap::new();
            for job in here.jobs.keys() {
                if let Ok(loaded) = store.load_job(*job).await {
                    photos.insert(*job, loaded.photos);
                }
            }
            if turn.try_get_value() == Some(mine) {
                let _ = into.try_set(Some((here, photos)));
            }
        });
    });
    into
}

/// What stops everything, when the server last answered, and what the browser says of its storage.
#[component]
fn Standing() -> impl IntoView {
    let w = use_words();
    let ground = use_ground();
    let status = expect_context::<SyncStatus>();
    let contact = move || {
        let last = ground.local()?.sync.view().last_contact_ms.get();
        Some(match last.and_then(|ms| i64::try_from(ms * 1_000).ok()) {
            Some(us) => t!(w, "tray.last_contact", when = w.ago(browser::now_us(), us, browser::offset_minutes(us))),
            None => t!(w, "tray.no_contact").to_owned(),
        })
    };
    let oldest = move || {
        let us = i64::try_from(ground.local()?.sync.view().counts.get().oldest_ms? * 1_000).ok()?;
        let when = w.ago(browser::now_us(), us, browser::offset_minutes(us));
        Some(view! { <li data-oldest="">{t!(w, "tray.oldest", when = when)}</li> })
    };
    let live = move || {
        let is_live = ground.local()?.sync.view().is_live.get();
        let words = if is_live { t!(w, "tray.live") } else { t!(w, "tray.not_live") };
        Some(view! { <li class="soft" data-live=is_live.to_string()>{words}</li> })
    };
    let storage = move || ground.local()?.sync.view().storage.get().map(|state| storage_words(w, &state));
    let shut = move || match ground.opening() {
        Opening::Failed(why) => Some(store_shut(w, &why)),
        Opening::NotYet | Opening::Open(_) => None,
    };
    let trouble = move || {
        let error = ground.local()?.sync.view().trouble.get()?;
        let words = crate::features::crew::saving::store_error(w, &error);
        Some(view! { <Banner tone=Tone::Stop><p>{words}</p></Banner> })
    };
    view! {
        {move || status.word.get().map(|word| word_banner(w, word))}
        {shut}
        {trouble}
        <PhotosWait />
        <ul class="stack">
            <li>{contact}</li>
            {oldest}
            {live}
            <li class="soft">{storage}</li>
        </ul>
    }
    .into_any()
}

fn word_banner(w: Words, word: domain::tray::Word) -> AnyView {
    use domain::tray::Word;
    let (tone, words) = match word {
        Word::Confirmed => (Tone::Good, t!(w, "tray.word.confirmed").to_owned()),
        Word::OnlyHere { n } => (Tone::Wait, crate::tn!(w, "tray.word.only_here", n)),
        Word::Sending { n } => (Tone::Wait, crate::tn!(w, "tray.word.sending", n)),
        Word::Unanswered { n } => (Tone::Wait, crate::tn!(w, "tray.word.unanswered", n)),
        Word::NoConnection { n, .. } => (Tone::Plain, t!(w, "tray.word.no_connection", n = n)),
        Word::NotOurServer { n } => (Tone::Caution, t!(w, "tray.word.not_ours", n = n)),
        Word::SignInNeeded { n } => (Tone::Caution, t!(w, "tray.word.sign_in", n = n)),
        Word::UpdateNeeded { n } => (Tone::Caution, t!(w, "tray.word.update", n = n)),
        Word::Held { n } => (Tone::Caution, crate::tn!(w, "tray.word.held", n)),
        Word::Refused { n } => (Tone::Stop, crate::tn!(w, "tray.word.refused", n)),
    };
    let sign_in = matches!(word, Word::SignInNeeded { .. })
        .then(|| view! { <LinkButton label=t!(w, "sign_in.action") href=Screen::SignIn.href() /> });
    view! {
        <Banner tone>
            <p data-word=word_name(word)>{words}</p>
            {sign_in}
        </Banner>
    }
    .into_any()
}

const fn word_name(word: domain::tray::Word) -> &'static str {
    use domain::tray::Word;
    match word {
        Word::Confirmed => "confirmed",
        Word::OnlyHere { .. } => "only-here",
        Word::Sending { .. } => "sending",
        Word::Unanswered { .. } => "unanswered",
        Word::NoConnection { .. } => "no-connection",
        Word::NotOurServer { .. } => "not-ours",
        Word::SignInNeeded { .. } => "sign-in",
        Word::UpdateNeeded { .. } => "update",
        Word::Held { .. } => "held",
        Word::Refused { .. } => "refused",
    }
}

fn storage_words(w: Words, state: &StorageState) -> String {
    let kept = match state.is_persistent {
        Some(true) => t!(w, "tray.storage.kept"),
        Some(false) => t!(w, "tray.storage.not_kept"),
        None => t!(w, "tray.storage.unknown"),
    };
    match (state.usage, state.quota) {
        (Some(usage), Some(quota)) => {
            t!(w, "tray.storage.used", usage = w.bytes(usage), quota = w.bytes(quota), kept = kept)
        }
        (_, _) => kept.to_owned(),
    }
}

fn draw(w: Words, device: Device, job: TrayJob) -> AnyView {
    let id = job.job;
    let again = move || {
        spawn_local(async move {
            if let Some(store) = device.store_now() {
                // What could not be marked is offered again with the next press.
                let _ = store.send_again(id).await;
            }
        });
    };
    let needs_again = !job.refused.is_empty() || job.stuck.is_some();
    let nothing = job.only_here.is_empty().then(|| view! { <p class="soft">{t!(w, "tray.nothing_here")}</p> });
    view! {
        <Section title=job.place.clone()>
            <div class="card" data-tray=id.to_string()>
                {nothing}
                {(!job.only_here.is_empty()).then(|| view! {
                    <h3>{t!(w, "tray.only_here")}</h3>
                    <ul class="stack">{job.only_here.iter().map(|line| view! { <li>{line.clone()}</li> }).collect_view()}</ul>
                })}
                {job.stuck.clone().map(|words| view! { <p class="soft">{words}</p> })}
                {job.refused.iter().map(|refused| refusal(w, refused)).collect_view()}
                {needs_again.then(|| view! { <Button label=t!(w, "tray.send_again") on_press=again /> })}
                {job.photos.iter().map(photo).collect_view()}
                <p class="soft">{job.confirmed.clone()}</p>
                <LinkButton label=t!(w, "tray.open_job") href=Screen::Job(id).href() />
            </div>
        </Section>
    }
    .into_any()
}

fn refusal(w: Words, refused: &Refused) -> AnyView {
    let Refused { what, why } = refused.clone();
    view! {
        <Banner tone=Tone::Stop title=what>
            <p>{why}</p>
            <p class="soft">{t!(w, "tray.kept")}</p>
        </Banner>
    }
    .into_any()
}

fn photo(line: &PhotoLine) -> AnyView {
    view! {
        <label class="progress" data-photo=line.hash.hex()>
            <span>{line.what.clone()}</span>
            <progress max="1000" value=line.thousandths.to_string()></progress>
            <span class="soft">{line.how_far.clone()}</span>
        </label>
    }
    .into_any()
}
