//! Meters and torque wrenches: the list, and the dialog that adds or changes one.

use domain::bounds;
use domain::ids::InstrumentId;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::Serialize;

use super::view_model::due;
use super::words;
use crate::adapters::browser;
use crate::adapters::fetch::use_api;
use crate::features::bounds::{date_of, name_fault, sentence};
use crate::features::crew::today;
use crate::features::words::instrument_kind;
use crate::i18n::format::Day;
use crate::i18n::use_words;
use crate::refusal::Refusal;
use crate::store::Instrument;
use crate::t;
use crate::ui::{
    Banner, Button, CheckRow, Chip, Choice, Empty, Field, FieldKind, Icon, Look, Select, Sheet, Table, Tone,
};

/// Kinds that methods ask for; a firm's own kind that is in use stays offered.
const KINDS: [&str; 16] = [
    "multimeter",
    "two-pole-detector",
    "dc-meter",
    "low-ohm",
    "insulation-tester",
    "loop-tester",
    "rcd-tester",
    "earth-tester",
    "torque-wrench",
    "torque-screwdriver",
    "ohmmeter",
    "clamp-meter",
    "level",
    "tape",
    "ir-camera",
    "stopwatch",
];

#[derive(Clone, Debug, Serialize)]
struct Change {
    kind: String,
    label: String,
    serial: String,
    calibration_due: String,
    retired: bool,
}

/// The list.
#[component]
pub fn Instruments(
    /// All, retired ones too.
    all: Vec<Instrument>,
    /// Today here.
    today: Day,
    /// May this person change them?
    may_change: bool,
    /// Runs after a change.
    #[prop(into)]
    changed: UnsyncCallback<()>,
) -> impl IntoView {
    let w = use_words();
    let open = RwSignal::new(false);
    let chosen = RwSignal::new(None::<Instrument>);
    let edit = move |instrument: Option<Instrument>| {
        chosen.set(instrument);
        open.set(true);
    };
    let mut kinds: Vec<String> = KINDS.iter().map(|kind| (*kind).to_owned()).collect();
    kinds.extend(all.iter().map(|instrument| instrument.kind.clone()).filter(|kind| !KINDS.contains(&kind.as_str())));
    kinds.dedup();
    let mut all = all;
    all.sort_by(|a, b| (a.retired, &a.calibration_due, &a.label).cmp(&(b.retired, &b.calibration_due, &b.label)));
    let empty = all.is_empty();
    let row = move |instrument: Instrument| {
        let (state, tone) = words::due(w, due(instrument.calibration_due.as_deref().unwrap_or_default(), today));
        let chip = if instrument.retired {
            view! { <Chip label=t!(w, "catalogue.retired") icon=Icon::Dash /> }.into_any()
        } else {
            view! { <Chip label=state tone /> }.into_any()
        };
        let label = instrument.label.clone();
        let own = instrument.clone();
        view! {
            <tr>
                <th scope="row" dir="auto">{instrument.label.clone()}</th>
                <td data-label=t!(w, "catalogue.kind")>{instrument_kind(w, &instrument.kind)}</td>
                <td data-label=t!(w, "catalogue.serial") class="serial">{instrument.serial.clone()}</td>
                <td data-label=t!(w, "catalogue.due")>{w.day_text(instrument.calibration_due.as_deref().unwrap_or_default())}</td>
                <td data-label=t!(w, "catalogue.state")>{chip}</td>
                <td>
                    {may_change.then(|| {
                        view! {
                            <button type="button" class="act quiet" aria-label=t!(w, "catalogue.change_named", name = label) on:click=move |_| edit(Some(own.clone()))>
                                {t!(w, "catalogue.change")}
                            </button>
                        }
                    })}
                </td>
            </tr>
        }
    };
    let rows = all.into_iter().map(row).collect_view();
    let head = vec![
        t!(w, "catalogue.label").to_owned(),
        t!(w, "catalogue.kind").to_owned(),
        t!(w, "catalogue.serial").to_owned(),
        t!(w, "catalogue.due").to_owned(),
        t!(w, "catalogue.state").to_owned(),
        String::new(),
    ];
    view! {
        <div class="row">
            <p class="fill soft">{t!(w, "catalogue.instruments_explain")}</p>
            {may_change.then(|| view! { <Button label=t!(w, "catalogue.add_instrument") icon=Icon::Add on_press=move || edit(None) /> })}
        </div>
        {if empty {
            view! { <Empty words=t!(w, "catalogue.no_instruments") icon=Icon::Settings /> }.into_any()
        } else {
            view! { <Table caption=t!(w, "catalogue.instruments") quiet=true head=head>{rows}</Table> }.into_any()
        }}
        <InstrumentSheet open chosen kinds changed />
    }
}

#[component]
fn InstrumentSheet(
    open: RwSignal<bool>,
    chosen: RwSignal<Option<Instrument>>,
    kinds: Vec<String>,
    changed: UnsyncCallback<()>,
) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let (kind, label) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let (serial, due) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let retired = RwSignal::new(false);
    let (tried, busy) = (RwSignal::new(false), RwSignal::new(false));
    let refused = RwSignal::new(None::<Refusal>);
    Effect::new(move |_| {
        if !open.get() {
            return;
        }
        let from = chosen.get_untracked();
        kind.set(from.as_ref().map_or_else(|| KINDS[0].to_owned(), |own| own.kind.clone()));
        label.set(from.as_ref().map(|own| own.label.clone()).unwrap_or_default());
        serial.set(from.as_ref().map(|own| own.serial.clone()).unwrap_or_default());
        due.set(from.as_ref().map(|own| own.calibration_due.clone().unwrap_or_default()).unwrap_or_default());
        retired.set(from.is_some_and(|own| own.retired));
        tried.set(false);
        refused.set(None);
    });
    let label_wrong = move |text: &str| name_fault(w, text);
    let serial_wrong = move |text: &str| sentence(w, bounds::short(text, bounds::SHORT_CHARS_MAX));
    let due_wrong =
        move |text: &str| if text.is_empty() { None } else { sentence(w, bounds::day(text, date_of(today()))) };
    let save = move || {
        tried.set(true);
        let body = Change {
            kind: kind.get_untracked(),
            label: label.get_untracked().trim().to_owned(),
            serial: serial.get_untracked().trim().to_owned(),
            calibration_due: due.get_untracked(),
            retired: retired.get_untracked(),
        };
        if label_wrong(&body.label).is_some()
            || serial_wrong(&body.serial).is_some()
            || due_wrong(&body.calibration_due).is_some()
        {
            browser::focus_wrong_soon();
            return;
        }
        let id: Option<InstrumentId> = chosen.with_untracked(|own| own.as_ref().map(|own| own.id));
        busy.set(true);
        refused.set(None);
        spawn_local(async move {
            let outcome = match id {
                Some(id) => api.exchange::<Instrument>("PATCH", format!("/api/instruments/{id}"), &body).await,
                None => api.exchange::<Instrument>("POST", "/api/instruments", &body).await,
            };
            let _ = busy.try_set(false);
            match outcome {
                Ok(_) => {
                    let _ = open.try_set(false);
                    changed.try_run(());
                }
                Err(refusal) => {
                    let _ = refused.try_set(Some(refusal));
                }
            }
        });
    };
    let choices: Vec<Choice> =
        kinds.into_iter().map(|kind| Choice::new(kind.clone(), instrument_kind(w, &kind))).collect();
    let choices = StoredValue::new(choices);
    let label_fault = Signal::derive(move || tried.get().then(|| label.with(|text| label_wrong(text))).flatten());
    let serial_fault = Signal::derive(move || serial.with(|text| serial_wrong(text)));
    let due_fault = Signal::derive(move || tried.get().then(|| due.with(|text| due_wrong(text))).flatten());
    let title = move || match chosen.with(Option::is_some) {
        true => t!(w, "catalogue.change_instrument"),
        false => t!(w, "catalogue.add_instrument"),
    };
    view! {
        <Sheet open title acts=move || view! { <Button label=t!(w, "catalogue.save") look=Look::Main busy on_press=save /> }>
            <Field label=t!(w, "catalogue.label") hint=t!(w, "catalogue.label_hint") value=label fault=label_fault />
            <Select label=t!(w, "catalogue.kind") value=kind choices=Signal::derive(move || choices.get_value()) />
            <Field label=t!(w, "catalogue.serial") kind=FieldKind::Exact value=serial fault=serial_fault />
            <Field label=t!(w, "catalogue.due") hint=t!(w, "catalogue.due_hint") kind=FieldKind::Day value=due fault=due_fault />
            {move || chosen.with(Option::is_some).then(|| {
                view! { <CheckRow label=t!(w, "catalogue.retire") hint=t!(w, "catalogue.retire_hint") checked=retired /> }
            })}
            {move || refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
        </Sheet>
    }
}
