//! The page; what is looked for stands in the address.

use domain::ids::JobId;
use domain::job_file::body::UnitKind;
use gloo_timers::future::TimeoutFuture;
use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos_router::NavigateOptions;
use leptos_router::components::A;
use leptos_router::hooks::{use_navigate, use_query_map};
use serde::Deserialize;

use crate::adapters::fetch::use_api;
use crate::features::desk::moment;
use crate::features::desk::shared::phase_of_word;
use crate::features::words::unit_kind;
use crate::i18n::{Words, use_words};
use crate::load::{Load, shown};
use crate::refusal::Refusal;
use crate::routes::Screen;
use crate::ui::{Chip, Empty, Field, FieldKind, Icon, Page, Table, Tone};
use crate::{t, tn};

/// A pause in typing after which the server is asked.
const PAUSE_MS: u32 = 350;

/// A serial that was recorded somewhere.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
struct UnitRow {
    serial: String,
    found_by: String,
    standing: String,
    slot: u16,
    kind: Option<UnitKind>,
    maker: String,
    model: String,
    gtin: Option<String>,
    lot: Option<String>,
    job: JobId,
    job_state: String,
    householder: String,
    street: String,
    town: String,
    read_us: u64,
}

/// An answer with the question that it belongs to.
#[derive(Clone, Debug, Default, PartialEq)]
struct Found {
    asked: String,
    rows: Vec<UnitRow>,
}

/// The page.
#[component]
pub fn SerialLedgerPage() -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let query = use_query_map();
    let first = query.with_untracked(|query| query.get("q").unwrap_or_default());
    let typed = RwSignal::new(first);
    let data = RwSignal::new(Load::<Found>::Waiting);
    let ask = move |asked: String| {
        spawn_local(async move {
            let encoded: String = js_sys::encode_uri_component(&asked).into();
            let outcome: Result<Vec<UnitRow>, Refusal> = api.get(format!("/api/units?q={encoded}")).await;
            // A slow answer to an older question must not cover the newer one.
            if typed.try_with_untracked(|typed| typed.trim() == asked) != Some(true) {
                return;
            }
            let _ = data.try_set(match outcome {
                Ok(rows) => Load::Here(Found { asked, rows }),
                Err(refusal) => Load::Refused(refusal),
            });
        });
    };
    let navigate = use_navigate();
    Effect::new(move |before: Option<String>| {
        let now = typed.get().trim().to_owned();
        match &before {
            None => ask(now.clone()),
            Some(before) if *before != now => {
                let (asked, navigate) = (now.clone(), navigate.clone());
                spawn_local(async move {
                    TimeoutFuture::new(PAUSE_MS).await;
                    if typed.try_with_untracked(|typed| typed.trim() == asked) == Some(true) {
                        let encoded: String = js_sys::encode_uri_component(&asked).into();
                        let stay = NavigateOptions { replace: true, scroll: false, ..NavigateOptions::default() };
                        navigate(&format!("/units?q={encoded}"), stay);
                        ask(asked);
                    }
                });
            }
            Some(_) => {}
        }
        now
    });
    let waits = move || match data.get() {
        Load::Here(found) => typed.with(|typed| found.asked != typed.trim()),
        Load::Waiting | Load::Refused(_) => false,
    };
    let draw = move |found: Found| table(w, found);
    view! {
        <Page title=t!(w, "screen.serial_ledger") wide=true>
            <div class="filters">
                <Field label=t!(w, "ledger.search") hint=t!(w, "ledger.search_hint") kind=FieldKind::Search value=typed />
            </div>
            <p class="soft" role="status">{move || waits().then(|| t!(w, "ledger.looking"))}</p>
            {shown(data, move || ask(typed.get_untracked().trim().to_owned()), draw)}
        </Page>
    }
}

fn table(w: Words, found: Found) -> AnyView {
    if found.rows.is_empty() {
        let words = if found.asked.is_empty() {
            t!(w, "ledger.empty").to_owned()
        } else {
            t!(w, "ledger.none", asked = found.asked)
        };
        return view! { <Empty words icon=Icon::Search /> }.into_any();
    }
    let count = found.rows.len();
    let told = if found.asked.is_empty() { t!(w, "ledger.newest").to_owned() } else { tn!(w, "ledger.found", count) };
    let row = |unit: UnitRow| {
        let address = [unit.street.as_str(), unit.town.as_str()]
            .into_iter()
            .filter(|part| !part.is_empty())
            .collect::<Vec<_>>()
            .join(", ");
        let kind = unit.kind.map(|kind| w.say(unit_kind(kind))).unwrap_or_default();
        let state = phase_of_word(&unit.job_state).map_or_else(|| unit.job_state.clone(), |key| w.say(key).to_owned());
        let standing = match unit.standing.as_str() {
            "counts" => view! { <Chip label=t!(w, "ledger.counts") tone=Tone::Good /> }.into_any(),
            "replaced" => view! { <Chip label=t!(w, "ledger.replaced") /> }.into_any(),
            "breach" => view! { <Chip label=t!(w, "ledger.breach") tone=Tone::Caution /> }.into_any(),
            "late" => view! { <Chip label=t!(w, "ledger.late") tone=Tone::Caution /> }.into_any(),
            other => other.to_owned().into_any(),
        };
        let alike = (unit.found_by == "look_alike")
            .then(|| view! { <Chip label=t!(w, "ledger.look_alike") tone=Tone::Caution /> });
        let name = if unit.householder.is_empty() {
            t!(w, "crew.job_number", number = unit.job.short())
        } else {
            unit.householder.clone()
        };
        view! {
            <tr>
                <th scope="row" class="serial">{unit.serial.clone()}{alike}</th>
                <td data-label=t!(w, "catalogue.model") dir="auto">{kind}" "{unit.maker.clone()}" "{unit.model.clone()}</td>
                <td data-label=t!(w, "ledger.lot")>{unit.lot.clone().unwrap_or_default()}</td>
                <td data-label=t!(w, "catalogue.gtin") class="serial">{unit.gtin.clone().unwrap_or_default()}</td>
                <td data-label=t!(w, "ledger.where") dir="auto"><A href=Screen::JobDesk(unit.job).href()>{name}</A>" "<span class="soft">{address}</span></td>
                <td data-label=t!(w, "ledger.slot") class="number">{unit.slot}</td>
                <td data-label=t!(w, "ledger.job_state")>{state}</td>
                <td data-label=t!(w, "ledger.standing")>{standing}</td>
                <td data-label=t!(w, "ledger.read")>{moment(w, unit.read_us)}</td>
            </tr>
        }
    };
    let head = [
        t!(w, "catalogue.serial"),
        t!(w, "catalogue.model"),
        t!(w, "ledger.lot"),
        t!(w, "catalogue.gtin"),
        t!(w, "ledger.where"),
        t!(w, "ledger.slot"),
        t!(w, "ledger.job_state"),
        t!(w, "ledger.standing"),
        t!(w, "ledger.read"),
    ];
    let rows = found.rows.into_iter().map(row).collect_view();
    let head = head.map(str::to_owned).to_vec();
    view! {
        <p>{told}</p>
        <Table caption=t!(w, "screen.serial_ledger") quiet=true head=head>{rows}</Table>
    }
    .into_any()
}
