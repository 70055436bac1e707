//! Models: the list, the form for one, and JSON for several.

use std::collections::{BTreeMap, BTreeSet};

use domain::design::{ModelFigure, model_figures};
use domain::ids::ModelId;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::Serialize;

use super::view_model::{Faults, ModelBody, ModelText, Spot, keys, kind_of_word, open, read_figure, read_json, stated};
use super::words;
use crate::adapters::browser;
use crate::adapters::fetch::use_api;
use crate::device::use_device;
use crate::features::bounds::FaultLinks;
use crate::features::crew::typed::keep_typed;
use crate::features::desk::shared::{KINDS, kind_word};
use crate::features::words::{choice, figure as figure_name, model_figure, unit_kind};
use crate::i18n::{Words, use_words};
use crate::refusal::Refusal;
use crate::store::Model;
use crate::ui::{
    Area, Banner, Button, CheckRow, Chip, Choice, Empty, Field, FieldKind, Icon, Look, Select, Table, Toasts, Tone,
};
use crate::{t, tn};

/// What stands beside the list.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Panel {
    Closed,
    Form(Option<Box<Model>>),
    Paste,
}

/// The list with its panel.
#[component]
pub fn Models(
    /// All, retired ones too.
    all: Vec<Model>,
    /// May this person change them?
    may_change: bool,
    /// Runs after a change.
    #[prop(into)]
    changed: UnsyncCallback<()>,
) -> impl IntoView {
    let w = use_words();
    let panel = RwSignal::new(Panel::Closed);
    let mut sorted = all;
    sorted.sort_by(|a, b| (a.retired, a.kind, &a.maker, &a.name).cmp(&(b.retired, b.kind, &b.maker, &b.name)));
    let done = move || {
        panel.set(Panel::Closed);
        changed.run(());
    };
    let beside = move || match panel.get() {
        Panel::Closed => ().into_any(),
        Panel::Form(model) => {
            view! { <ModelForm model=model.map(|model| *model) done close=move || panel.set(Panel::Closed) /> }
                .into_any()
        }
        Panel::Paste => view! { <Paste done close=move || panel.set(Panel::Closed) /> }.into_any(),
    };
    view! {
        <div class="row">
            <p class="fill soft">{t!(w, "catalogue.models_explain")}</p>
            {may_change.then(|| view! {
                <Button label=t!(w, "catalogue.add_model") icon=Icon::Add on_press=move || panel.set(Panel::Form(None)) />
                <Button label=t!(w, "catalogue.paste") icon=Icon::Document on_press=move || panel.set(Panel::Paste) />
            })}
        </div>
        {beside}
        {list(w, sorted, may_change, panel)}
    }
}

fn list(w: Words, sorted: Vec<Model>, may_change: bool, panel: RwSignal<Panel>) -> AnyView {
    if sorted.is_empty() {
        return view! { <Empty words=t!(w, "catalogue.no_models") icon=Icon::Box /> }.into_any();
    }
    let row = move |model: Model| {
        let own = model.clone();
        let serials = match (model.serial_prefix.as_str(), model.serial_length) {
            ("", (0, 0)) => t!(w, "catalogue.serials_unknown").to_owned(),
            (prefix, (0, 0)) => t!(w, "catalogue.serials_prefix", prefix = prefix),
            (prefix, (least, most)) if least == most => t!(w, "catalogue.serials_exact", prefix = prefix, n = least),
            (prefix, (least, most)) => t!(w, "catalogue.serials_range", prefix = prefix, least = least, most = most),
        };
        let missing: Vec<&str> = open(&model).map(|figure| model_figure(w, figure)).collect();
        let unstated = model_figures(model.kind).filter(|figure| model.not_stated.contains(figure.key));
        let unstated: Vec<&str> = unstated.map(|figure| model_figure(w, figure)).collect();
        let named = |title: &'static str, names: &[&str]| {
            (!names.is_empty()).then(|| view! { <p>{t!(w, "design.pair", name = title, value = names.join(", "))}</p> })
        };
        let figures = stated(&model).map(|(figure, micro)| {
            view! { <div><dt>{model_figure(w, figure)}</dt><dd class="number">{words::value(w, figure, micro)}</dd></div> }
        });
        let figures = view! {
            {named(t!(w, "catalogue.figures_open"), &missing)}
            {named(t!(w, "catalogue.figures_unstated"), &unstated)}
            <dl class="pairs">{figures.collect_view()}</dl>
        };
        let open_count = (!missing.is_empty()).then(|| {
            view! { <Chip label=tn!(w, "catalogue.open_count", missing.len()) tone=Tone::Caution /> }
        });
        view! {
            <tr>
                <th scope="row" dir="auto">{model.maker.clone()}" "{model.name.clone()}</th>
                <td data-label=t!(w, "catalogue.kind")>{w.say(unit_kind(model.kind))}</td>
                <td data-label=t!(w, "catalogue.gtin") class="serial">{model.gtin.clone().unwrap_or_default()}</td>
                <td data-label=t!(w, "catalogue.serials")>{serials}</td>
                <td data-label=t!(w, "catalogue.figures")>
                    <details class="figures">
                        <summary>{tn!(w, "catalogue.figures_count", model.values.len())}" "{open_count}</summary>
                        {figures}
                    </details>
                </td>
                <td data-label=t!(w, "catalogue.version") class="number">{model.version}</td>
                <td>
                    {model.retired.then(|| view! { <Chip label=t!(w, "catalogue.retired") icon=Icon::Dash /> })}
                    {may_change.then(|| {
                        let name = model.name.clone();
                        view! {
                            <button type="button" class="act quiet" aria-label=t!(w, "catalogue.change_named", name = name)
                                on:click=move |_| panel.set(Panel::Form(Some(Box::new(own.clone()))))>
                                {t!(w, "catalogue.change")}
                            </button>
                        }
                    })}
                </td>
            </tr>
        }
    };
    let rows = sorted.into_iter().map(row).collect_view();
    let head = vec![
        t!(w, "catalogue.model").to_owned(),
        t!(w, "catalogue.kind").to_owned(),
        t!(w, "catalogue.gtin").to_owned(),
        t!(w, "catalogue.serials").to_owned(),
        t!(w, "catalogue.figures").to_owned(),
        t!(w, "catalogue.version").to_owned(),
        String::new(),
    ];
    view! { <Table caption=t!(w, "catalogue.models") quiet=true head=head>{rows}</Table> }.into_any()
}

#[derive(Serialize)]
struct Sent {
    #[serde(flatten)]
    body: ModelBody,
    retired: bool,
}

/// What is typed of one figure, whatever the kind of unit; `Copy`.
#[derive(Clone, Copy)]
struct Typed {
    text: RwSignal<String>,
    not_stated: RwSignal<bool>,
}

/// The boxes of all figures by key; `Copy`.
#[derive(Clone, Copy)]
struct Boxes(StoredValue<BTreeMap<&'static str, Typed>>);

impl Boxes {
    fn of(first: &ModelText) -> Self {
        let own = |key| Typed {
            text: RwSignal::new(first.figures.get(key).cloned().unwrap_or_default()),
            not_stated: RwSignal::new(first.not_stated.contains(key)),
        };
        Self(StoredValue::new(keys().into_iter().map(|key| (key, own(key))).collect()))
    }

    fn get(self, key: &str) -> Option<Typed> {
        self.0.with_value(|all| all.get(key).copied())
    }

    /// Everything that is typed. Tracked.
    fn typed(self) -> (BTreeMap<String, String>, BTreeSet<String>) {
        let (mut figures, mut not_stated) = (BTreeMap::new(), BTreeSet::new());
        self.0.with_value(|all| {
            for (key, own) in all {
                let text = own.text.get();
                if !text.trim().is_empty() {
                    figures.insert((*key).to_owned(), text);
                }
                if own.not_stated.get() {
                    not_stated.insert((*key).to_owned());
                }
            }
        });
        (figures, not_stated)
    }

    fn put(self, from: &ModelText) {
        self.0.with_value(|all| {
            for (key, own) in all {
                own.text.set(from.figures.get(*key).cloned().unwrap_or_default());
                own.not_stated.set(from.not_stated.contains(*key));
            }
        });
    }
}

#[component]
fn ModelForm(
    model: Option<Model>,
    #[prop(into)] done: UnsyncCallback<()>,
    #[prop(into)] close: UnsyncCallback<()>,
) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let id: Option<ModelId> = model.as_ref().map(|model| model.id);
    let first = model.as_ref().map_or_else(
        || ModelText { kind: kind_word(KINDS[0]).to_owned(), ..ModelText::default() },
        |model| ModelText::of(model, w),
    );
    let toasts = expect_context::<Toasts>();
    let as_opened = StoredValue::new(first.clone());
    let text = |value: &String| RwSignal::new(value.clone());
    let (kind, maker, name) = (text(&first.kind), text(&first.maker), text(&first.name));
    let (gtin, prefix) = (text(&first.gtin), text(&first.serial_prefix));
    let (least, most) = (text(&first.serial_least), text(&first.serial_most));
    let (boxes, others) = (Boxes::of(&first), StoredValue::new(first.others));
    // Which figures were open when the form was laid out: a box does not jump away while somebody types into it.
    let laid_out = RwSignal::new(0_u32);
    let retired = RwSignal::new(model.as_ref().is_some_and(|model| model.retired));
    let (tried, busy) = (RwSignal::new(false), RwSignal::new(false));
    let refused = RwSignal::new(None::<Refusal>);
    let typed = move || {
        let (figures, not_stated) = boxes.typed();
        ModelText {
            kind: kind.get(),
            maker: maker.get(),
            name: name.get(),
            gtin: gtin.get(),
            serial_prefix: prefix.get(),
            serial_least: least.get(),
            serial_most: most.get(),
            figures,
            not_stated,
            others: others.get_value(),
        }
    };
    let read = Memo::new(move |_| typed().read(w.decimal.sign()));
    let faults = move || if tried.get() { read.get().err().unwrap_or_default() } else { Faults::new() };
    let fault = move |field: &'static str| {
        Signal::derive(move || faults().get(&Spot::Field(field)).map(|own| words::wrong(w, own)))
    };
    let another_kind = move || laid_out.update(|times| *times += 1);
    let draft = Memo::new(move |_| Some(typed()).filter(|typed| *typed != as_opened.get_value()));
    let kept_before = RwSignal::new(false);
    let key = id.map_or_else(|| "model/new".to_owned(), |id| format!("model/{id}"));
    let kept = keep_typed(use_device(), key, draft, move |before: Option<ModelText>| {
        let Some(before) = before else { return };
        boxes.put(&before);
        let into = [
            (kind, before.kind),
            (maker, before.maker),
            (name, before.name),
            (gtin, before.gtin),
            (prefix, before.serial_prefix),
            (least, before.serial_least),
            (most, before.serial_most),
        ];
        for (signal, text) in into {
            signal.set(text);
        }
        laid_out.update(|times| *times += 1);
        kept_before.set(true);
    });
    let leave = move || {
        if draft.get_untracked().is_some() {
            toasts.say(t!(w, "draft.kept_form"));
        }
        close.run(());
    };
    let save = move || {
        tried.set(true);
        let Ok(body) = read.get_untracked() else { return browser::focus_wrong_soon() };
        let forget = kept.forgetting();
        let body = Sent { body, retired: retired.get_untracked() };
        busy.set(true);
        refused.set(None);
        spawn_local(async move {
            let outcome = match id {
                Some(id) => api.exchange::<Model>("PATCH", format!("/api/models/{id}"), &body).await,
                None => api.exchange::<Model>("POST", "/api/models", &body.body).await,
            };
            let _ = busy.try_set(false);
            match outcome {
                Ok(_) => {
                    forget();
                    done.try_run(());
                }
                Err(refusal) => {
                    let _ = refused.try_set(Some(refusal));
                }
            }
        });
    };
    let kinds: Vec<Choice> =
        KINDS.into_iter().map(|kind| Choice::new(kind_word(kind), w.say(unit_kind(kind)))).collect();
    let kinds = StoredValue::new(kinds);
    let is_new = id.is_none();
    view! {
        <section class="card panel" aria-label=t!(w, "catalogue.model")>
            <h2>{if is_new { t!(w, "catalogue.add_model") } else { t!(w, "catalogue.change_model") }}</h2>
            {(!is_new).then(|| view! { <p class="soft">{t!(w, "catalogue.new_version")}</p> })}
            {move || kept_before.get().then(|| view! { <Banner title=t!(w, "plan.kept_title")><p>{t!(w, "plan.kept")}</p></Banner> })}
            <div class="form-grid">
                <Select label=t!(w, "catalogue.kind") value=kind choices=Signal::derive(move || kinds.get_value()) fault=fault("kind") on_change=another_kind />
                <Field label=t!(w, "catalogue.maker") value=maker fault=fault("maker") />
                <Field label=t!(w, "catalogue.name") value=name kind=FieldKind::Exact fault=fault("name") />
                <Field label=t!(w, "catalogue.gtin") value=gtin kind=FieldKind::Digits fault=fault("gtin") />
                <Field label=t!(w, "catalogue.serial_prefix") value=prefix kind=FieldKind::Exact fault=fault("serial_prefix") />
                <Field label=t!(w, "catalogue.serial_least") value=least kind=FieldKind::Digits fault=fault("serial_length") />
                <Field label=t!(w, "catalogue.serial_most") value=most kind=FieldKind::Digits />
            </div>
            {move || {
                laid_out.track();
                figures(w, &kind.get_untracked(), boxes, Signal::derive(faults), others)
            }}
            {(!is_new).then(|| view! { <CheckRow label=t!(w, "catalogue.retire") hint=t!(w, "catalogue.retire_hint") checked=retired /> })}
            {move || refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
            {move || Some(faults().len()).filter(|count| *count > 0).map(|count| view! { <FaultLinks count /> })}
            <div class="row">
                <Button label=t!(w, "catalogue.save") look=Look::Main busy on_press=save />
                <Button label=t!(w, "ui.cancel") look=Look::Quiet on_press=leave />
            </div>
        </section>
    }
}

/// The figures that are asked for of a kind: what is open first, what was entered and what is stated nowhere folded below.
fn figures(
    w: Words,
    kind: &str,
    boxes: Boxes,
    faults: Signal<Faults>,
    others: StoredValue<BTreeMap<String, i64>>,
) -> AnyView {
    let (mut open, mut entered, mut unstated) = (Vec::new(), Vec::new(), Vec::new());
    for figure in kind_of_word(kind).into_iter().flat_map(model_figures) {
        let Some(own) = boxes.get(figure.key) else { continue };
        let line = figure_line(w, figure, own, faults);
        if own.not_stated.get_untracked() {
            unstated.push(line);
        } else if own.text.with_untracked(|text| text.trim().is_empty()) {
            open.push(line);
        } else {
            entered.push(line);
        }
    }
    let none = open.is_empty() && entered.is_empty() && unstated.is_empty();
    let folded = move |title: &'static str, lines: Vec<AnyView>| {
        (!lines.is_empty()).then(|| {
            // A fault inside is not hidden from whoever looks for it.
            let wrong = move || faults.with(|faults| faults.keys().any(|spot| matches!(spot, Spot::Figure(_))));
            view! {
                <details open=wrong>
                    <summary>{t!(w, "catalogue.figures_part", title = title, n = lines.len())}</summary>
                    <div class="figure-lines">{lines}</div>
                </details>
            }
        })
    };
    let others = others.with_value(|others| {
        let line = |(key, micro): (&String, &i64)| {
            t!(w, "design.pair", name = figure_name(w, key), value = w.number_short(*micro))
        };
        let all: Vec<String> = others.iter().map(line).collect();
        (!all.is_empty()).then(|| {
            let value = all.join(", ");
            view! { <p class="soft">{t!(w, "design.pair", name = t!(w, "catalogue.figures_other"), value = value)}</p> }
        })
    });
    let explain = if none { t!(w, "catalogue.figures_none") } else { t!(w, "catalogue.figures_hint") };
    let open = (!open.is_empty()).then(|| {
        let title = t!(w, "catalogue.figures_part", title = t!(w, "catalogue.figures_open"), n = open.len());
        view! { <h3>{title}</h3><div class="figure-lines">{open}</div> }
    });
    view! {
        <fieldset class="choices">
            <legend>{t!(w, "catalogue.figures")}</legend>
            <p class="soft">{explain}</p>
            {open}
            {folded(t!(w, "catalogue.figures_entered"), entered)}
            {folded(t!(w, "catalogue.figures_unstated"), unstated)}
            {others}
        </fieldset>
    }
    .into_any()
}

fn figure_line(w: Words, figure: &'static ModelFigure, own: Typed, faults: Signal<Faults>) -> AnyView {
    let Typed { text, not_stated } = own;
    let fault = Signal::derive(move || {
        faults.with(|faults| faults.get(&Spot::Figure(figure.key.to_owned())).map(|wrong| words::wrong(w, wrong)))
    });
    let (label, hint) = (model_figure(w, figure), words::readers(w, figure));
    let disabled = Signal::from(not_stated);
    let input = if !figure.is_answer {
        let unit = figure.unit.symbol();
        view! { <Field label kind=FieldKind::Number value=text hint fault unit disabled /> }.into_any()
    } else {
        let mut choices = vec![Choice::new("", t!(w, "design.not_known"))];
        choices.extend(figure.choices().iter().map(|word| Choice::new(*word, choice(w, word))));
        let choices = StoredValue::new(choices);
        let choices = Signal::derive(move || choices.get_value());
        view! { <Select label value=text choices hint fault disabled /> }.into_any()
    };
    let spelled = move || {
        let micro = text.with(|text| read_figure(figure, text, w.decimal.sign())).ok().flatten()?;
        let plain = figure.is_answer || text.with(|text| text.trim() == w.number_short(micro));
        (!plain).then(|| {
            view! { <p class="soft">{t!(w, "plan.understood", value = words::value(w, figure, micro))}</p> }
        })
    };
    view! {
        <div class="figure-line">
            <div class="stack">
                {input}
                {spelled}
            </div>
            <label class="figure-unstated">
                <input type="checkbox" aria-label=t!(w, "design.pair", name = label, value = t!(w, "catalogue.not_stated")) prop:checked=move || not_stated.get()
                    on:change=move |event| not_stated.set(event_target_checked(&event)) />
                <span>{t!(w, "catalogue.not_stated")}</span>
            </label>
        </div>
    }
    .into_any()
}

#[component]
fn Paste(#[prop(into)] done: UnsyncCallback<()>, #[prop(into)] close: UnsyncCallback<()>) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let text = RwSignal::new(String::new());
    let (busy, refused) = (RwSignal::new(false), RwSignal::new(None::<(usize, Refusal)>));
    let read = Memo::new(move |_| text.with(|text| (!text.trim().is_empty()).then(|| read_json(text))));
    let save = move || {
        let Some(Ok(bodies)) = read.get_untracked() else { return };
        busy.set(true);
        refused.set(None);
        spawn_local(async move {
            for (number, body) in (1..).zip(&bodies) {
                if let Err(refusal) = api.exchange::<Model>("POST", "/api/models", body).await {
                    let _ = refused.try_set(Some((number, refusal)));
                    let _ = busy.try_set(false);
                    // What is in already must not be sent again with the next try.
                    let rest = serde_json::to_string_pretty(&bodies[number - 1..]).unwrap_or_default();
                    let _ = text.try_set(rest);
                    return;
                }
            }
            let _ = busy.try_set(false);
            done.try_run(());
        });
    };
    let told = move || match read.get() {
        None => ().into_any(),
        Some(Ok(bodies)) => {
            let line = |body: ModelBody| {
                let count = tn!(w, "catalogue.figures_count", body.values.len());
                view! { <li dir="auto">{body.maker}" "{body.name}" · "{w.say(unit_kind(body.kind))}" · "{count}</li> }
            };
            let lines = bodies.into_iter().map(line).collect_view();
            view! { <Banner tone=Tone::Good title=t!(w, "catalogue.paste_read")><ul class="stack">{lines}</ul></Banner> }.into_any()
        }
        Some(Err(wrong)) => {
            let lines = wrong.into_iter().flat_map(|(number, faults)| {
                faults.into_iter().map(move |(spot, wrong)| {
                    let line = words::wrong_line(w, &spot, &wrong);
                    if number == 0 { line } else { t!(w, "catalogue.paste_model", n = number, line = line) }
                })
            });
            let lines = lines.map(|line| view! { <li dir="auto">{line}</li> }).collect_view();
            view! { <Banner tone=Tone::Stop title=t!(w, "catalogue.paste_wrong")><ul class="stack">{lines}</ul></Banner> }.into_any()
        }
    };
    let cannot = Signal::derive(move || !matches!(read.get(), Some(Ok(_))));
    view! {
        <section class="card panel" aria-label=t!(w, "catalogue.paste")>
            <h2>{t!(w, "catalogue.paste")}</h2>
            <Area label=t!(w, "catalogue.paste_label") hint=t!(w, "catalogue.paste_hint") value=text />
            {told}
            {move || refused.get().map(|(number, refusal)| {
                view! { <Banner tone=Tone::Stop><p>{t!(w, "catalogue.paste_model", n = number, line = refusal.tell(w))}</p></Banner> }
            })}
            <div class="row">
                <Button label=t!(w, "catalogue.save") look=Look::Main busy disabled=cannot on_press=save />
                <Button label=t!(w, "ui.cancel") look=Look::Quiet on_press=move || close.run(()) />
            </div>
        </section>
    }
}
