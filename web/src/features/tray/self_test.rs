//! What works on this device, tried when a person asks: its store, its camera and code reader, the stored app, the server.

use leptos::prelude::*;
use leptos::task::spawn_local;

use crate::adapters::fetch::{Api, use_api};
use crate::adapters::shell::{self, Shell};
use crate::adapters::{barcode, self_test};
use crate::device::use_device;
use crate::features::crew::not_stored::ground;
use crate::features::crew::saving::store_error;
use crate::i18n::{Words, use_words};
use crate::refusal::Refusal;
use crate::store::{JobStore, trial};
use crate::t;
use crate::ui::{Button, Chip, Section, Tone};

/// As much as a photo of a good phone.
const TRIAL_BYTES: usize = 4 * 1024 * 1024;
const TRIAL: &str = "trial";

/// How one of them went.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Found {
    /// A stable word, for tests.
    what: &'static str,
    /// `None`: it cannot be told.
    works: Option<bool>,
    words: String,
}

/// Writes as much as a photo, reads it back and removes it.
async fn try_store(w: Words, store: Option<JobStore>) -> Found {
    let found = |works: bool, words: &'static str| Found { what: "store", works: Some(works), words: words.to_owned() };
    let Some(store) = store else { return found(false, t!(w, "device.store_shut")) };
    let trial = trial(TRIAL_BYTES);
    let written = async {
        store.put_draft(TRIAL, trial.clone()).await?;
        let read = store.draft(TRIAL).await?;
        store.delete_draft(TRIAL).await?;
        Ok(read.as_ref() == Some(&trial))
    };
    match written.await {
        Ok(true) => found(true, t!(w, "tray.try.store")),
        Ok(false) => found(false, t!(w, "device.read_back")),
        Err(error) => found(false, store_error(w, &error)),
    }
}

async fn try_camera(w: Words) -> Found {
    let works = self_test::has_camera().await;
    let words = match works {
        Some(true) => t!(w, "tray.try.camera"),
        Some(false) => t!(w, "tray.try.no_camera"),
        None => t!(w, "tray.try.camera_unknown"),
    };
    Found { what: "camera", works, words: words.to_owned() }
}

async fn try_reader(w: Words) -> Found {
    let works = barcode::works().await;
    let words = if works { t!(w, "tray.try.reader") } else { t!(w, "tray.try.no_reader") };
    Found { what: "reader", works: Some(works), words: words.to_owned() }
}

fn try_offline(w: Words) -> Found {
    let works = self_test::opens_offline();
    let words = match shell::now() {
        _ if works => t!(w, "tray.try.offline").to_owned(),
        Shell::Refused(why) => ground(w, &why),
        Shell::Asked | Shell::Stored => t!(w, "tray.try.no_offline").to_owned(),
    };
    Found { what: "offline", works: Some(works), words }
}

async fn try_server(w: Words, api: Api) -> Found {
    let answer: Result<serde_json::Value, Refusal> = api.get("/api/people").await;
    let words = match &answer {
        Ok(_) => t!(w, "tray.try.server").to_owned(),
        Err(refusal) => refusal.tell(w),
    };
    Found { what: "server", works: Some(answer.is_ok()), words }
}

/// The part of the tray.
#[component]
pub fn SelfTest() -> impl IntoView {
    let (w, device, api) = (use_words(), use_device(), use_api());
    let (found, busy) = (RwSignal::new(Vec::<Found>::new()), RwSignal::new(false));
    let run = move || {
        busy.set(true);
        found.set(Vec::new());
        let store = device.store_now();
        spawn_local(async move {
            let add = |one: Found| found.try_update(|all| all.push(one));
            add(try_store(w, store).await);
            add(try_camera(w).await);
            add(try_reader(w).await);
            add(try_offline(w));
            add(try_server(w, api).await);
            let _ = busy.try_set(false);
        });
    };
    let row = move |one: Found| {
        let (word, tone) = match one.works {
            Some(true) => (t!(w, "tray.try.works"), Tone::Good),
            Some(false) => (t!(w, "tray.try.fails"), Tone::Caution),
            None => (t!(w, "tray.try.unknown"), Tone::Plain),
        };
        let works = one.works.map_or("unknown", |works| if works { "yes" } else { "no" });
        view! { <li class="row" data-try=one.what data-works=works><Chip label=word tone /><span class="fill">{one.words}</span></li> }
    };
    view! {
        <Section title=t!(w, "tray.try.title")>
            <p class="soft">{t!(w, "tray.try.explain")}</p>
            <Button label=t!(w, "tray.try.action") busy on_press=run />
            <ul class="stack" role="status">{move || found.get().into_iter().map(row).collect_view()}</ul>
        </Section>
    }
    .into_any()
}
