//! The desk of the firm's own rule sets: a copy of a built-in one, a form with a limit a row, and the next version.

use domain::electrical::rule_set::{Change, Compared, FirmRules, Place, Rule, RuleSet, newest};
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::Serialize;

use super::own_rules::{Typed, compared, name, read, shown, unit_of, wrong};
use super::words::cited;
use crate::adapters::fetch::use_api;
use crate::features::words::{rules_place, source};
use crate::i18n::{Words, use_words};
use crate::load::{self, Load, load};
use crate::refusal::Refusal;
use crate::sync::{Ground, use_ground};
use crate::ui::{
    Area, Banner, Button, Caution, Chip, Choice, Field, FieldKind, Icon, Look, Page, Select, Toasts, Tone,
};
use crate::{key, t, tn};

/// What the server is sent.
#[derive(Clone, Debug, Serialize)]
struct Next {
    after: u32,
    changes: Vec<Change>,
}

/// The page.
#[component]
pub fn OwnRulesPage() -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let data = RwSignal::new(Load::<Vec<FirmRules>>::Waiting);
    let fetch = move || load(data, async move { api.get("/api/rule-sets").await });
    fetch();
    let place = RwSignal::new(String::new());
    let draw = move |own: Vec<FirmRules>| view! { <Sets own place changed=fetch /> }.into_any();
    view! {
        <Page title=t!(w, "screen.rule_sets") wide=true>
            <Caution text=key!("rules.caution") />
            <p class="soft">{t!(w, "rules.explain")}</p>
            {load::shown(data, fetch, draw)}
        </Page>
    }
}

/// The choice of a place, and what the firm has there.
#[component]
fn Sets(own: Vec<FirmRules>, place: RwSignal<String>, #[prop(into)] changed: UnsyncCallback<()>) -> impl IntoView {
    let w = use_words();
    let newest: Vec<FirmRules> = newest(&own).into_iter().cloned().collect();
    if place.with_untracked(String::is_empty) {
        place.set(newest.first().map_or_else(|| Place::Neutral.word().to_owned(), |own| own.place.clone()));
    }
    let choices: Vec<Choice> =
        Place::ALL.into_iter().map(|one| Choice::new(one.word(), w.say(rules_place(one)))).collect();
    let (choices, newest) = (StoredValue::new(choices), StoredValue::new(newest));
    let chosen = move || {
        let place = place.with(|word| Place::from_word(word)).unwrap_or(Place::Neutral);
        let own = newest.with_value(|all| all.iter().find(|own| own.place == place.word()).cloned());
        match own {
            Some(own) => view! { <Limits own place changed /> }.into_any(),
            None => view! { <NoCopy place changed /> }.into_any(),
        }
    };
    view! {
        <div class="form-grid">
            <Select label=t!(w, "rules.place") value=place choices=Signal::derive(move || choices.get_value()) />
        </div>
        {chosen}
    }
}

/// Sends a version; tells what came of it.
#[derive(Clone, Copy)]
struct Sender {
    busy: RwSignal<bool>,
    refused: RwSignal<Option<Refusal>>,
    toasts: Toasts,
    ground: Ground,
    changed: UnsyncCallback<()>,
}

impl Sender {
    fn new(changed: UnsyncCallback<()>) -> Self {
        let (busy, refused) = (RwSignal::new(false), RwSignal::new(None));
        Self { busy, refused, toasts: expect_context::<Toasts>(), ground: use_ground(), changed }
    }

    fn send(self, w: Words, place: Place, next: Next) {
        let api = use_api();
        self.busy.set(true);
        self.refused.set(None);
        spawn_local(async move {
            let path = format!("/api/rule-sets/{}", place.word());
            let outcome = api.exchange::<FirmRules>("POST", path, &next).await;
            let _ = self.busy.try_set(false);
            match outcome {
                Ok(saved) => {
                    let label = saved.named().map(|name| name.label()).unwrap_or_default();
                    self.toasts.say(t!(w, "rules.saved", label = label));
                    // A job that is planned next must find it on this device.
                    if let Some(local) = untrack(|| self.ground.local()) {
                        local.sync.ask_now();
                    }
                    self.changed.try_run(());
                }
                Err(refusal) => {
                    let _ = self.refused.try_set(Some(refusal));
                }
            }
        });
    }

    fn told(self, w: Words) -> impl IntoView {
        move || self.refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })
    }
}

#[component]
fn NoCopy(place: Place, changed: UnsyncCallback<()>) -> impl IntoView {
    let w = use_words();
    let sender = Sender::new(changed);
    let label = RuleSet::of(place).label();
    let copy = move || sender.send(w, place, Next { after: 0, changes: Vec::new() });
    view! {
        <p>{t!(w, "rules.no_copy", label = label)}</p>
        {sender.told(w)}
        <div><Button label=t!(w, "rules.copy") icon=Icon::Add look=Look::Main busy=sender.busy on_press=copy /></div>
    }
}

/// One limit on the form; `Copy`.
#[derive(Clone, Copy)]
struct Row {
    rule: Rule,
    figure: RwSignal<String>,
    reason: RwSignal<String>,
}

impl Row {
    fn of(w: Words, rule: Rule, own: &FirmRules) -> Self {
        let change = own.changes.iter().find(|change| change.rule == rule.id);
        let figure = change.map(|change| w.number_short(change.micro)).unwrap_or_default();
        let reason = change.map(|change| change.reason.clone()).unwrap_or_default();
        Self { rule, figure: RwSignal::new(figure), reason: RwSignal::new(reason) }
    }

    fn typed(self) -> Typed {
        Typed { figure: self.figure.get(), reason: self.reason.get() }
    }
}

#[component]
fn Limits(own: FirmRules, place: Place, changed: UnsyncCallback<()>) -> impl IntoView {
    let w = use_words();
    let built_in = RuleSet::of(place);
    let rows: Vec<Row> = built_in.adjustable().map(|rule| Row::of(w, *rule, &own)).collect();
    let (built_in, rows) = (StoredValue::new(built_in), StoredValue::new(rows));
    let sender = Sender::new(changed);
    let tried = RwSignal::new(false);
    let results = Memo::new(move |_| {
        let read = |row: &Row| built_in.with_value(|set| read(w, set, &row.rule, &row.typed()));
        rows.with_value(|rows| rows.iter().map(read).collect::<Vec<_>>())
    });
    let faults = move || results.with(|all| all.iter().filter(|one| one.is_err()).count());
    let after = own.version;
    let label = own.named().map(|name| name.label()).unwrap_or_default();
    let before = StoredValue::new(own.changes);
    let save = move || {
        tried.set(true);
        let changes: Result<Vec<_>, _> = results.get_untracked().into_iter().collect();
        let Ok(changes) = changes else { return };
        let changes: Vec<Change> = changes.into_iter().flatten().collect();
        if before.with_value(|before| *before == changes) {
            sender.toasts.say(t!(w, "rules.unchanged"));
            return;
        }
        sender.send(w, place, Next { after, changes });
    };
    let lines = rows.with_value(|rows| {
        let each = rows.iter().enumerate();
        each.map(|(at, row)| row_view(w, *row, Signal::derive(move || told(w, results, at)))).collect_view()
    });
    let problems = move || {
        let count = faults();
        (tried.get() && count > 0)
            .then(|| view! { <Banner tone=Tone::Stop><p>{tn!(w, "rules.faults", count)}</p></Banner> })
    };
    view! {
        <p data-testid="own-rules">{t!(w, "rules.now", label = label)}</p>
        <ul class="sheet-rows own-rules">{lines}</ul>
        {summary(w, rows)}
        {problems}
        {sender.told(w)}
        <div><Button label=t!(w, "rules.save", n = after + 1) look=Look::Main busy=sender.busy on_press=save /></div>
    }
}

type Results = Memo<Vec<Result<Option<Change>, super::own_rules::Wrong>>>;

fn told(w: Words, results: Results, at: usize) -> Option<String> {
    results.with(|all| all.get(at).and_then(|one| one.as_ref().err()).map(|own| wrong(w, own)))
}

/// A limit: what the standard says, what the firm says, and which way that goes.
fn row_view(w: Words, row: Row, fault: Signal<Option<String>>) -> AnyView {
    let rule = row.rule;
    let stands = Memo::new(move |_| compared(w, &rule, &row.typed()));
    let is_standard = !rule.source.standard.is_empty();
    let built_in = rule.value.map(|value| shown(w, &rule, value.micro)).unwrap_or_default();
    let source = if is_standard { cited(w, rule.source) } else { source(w, rule.source) };
    let from = t!(w, "rules.built_in", value = built_in, source = source);
    let chip = move || match stands.get() {
        Compared::Same => view! { <Chip label=t!(w, "rules.same") /> }.into_any(),
        Compared::Stricter => {
            view! { <Chip label=t!(w, "rules.stricter") tone=Tone::Good icon=Icon::Tick /> }.into_any()
        }
        Compared::Looser => {
            view! { <Chip label=t!(w, "rules.looser") tone=Tone::Caution icon=Icon::Caution /> }.into_any()
        }
    };
    let asks = move || is_standard && stands.get() == Compared::Looser;
    let figure_fault = Signal::derive(move || if asks() { None } else { fault.get() });
    let reason = move || {
        asks().then(|| {
            view! { <Area label=t!(w, "rules.reason") hint=t!(w, "rules.reason_hint") value=row.reason fault /> }
        })
    };
    view! {
        <li class="sheet-row stack" data-testid="limit" data-rule=rule.id>
            <div class="row">
                <div class="fill"><b>{name(w, &rule)}</b><p class="soft">{from}</p></div>
                {chip}
            </div>
            <div class="form-grid">
                <Field label=t!(w, "rules.ours", rule = rule.id) kind=FieldKind::Number unit=unit_of(&rule) value=row.figure fault=figure_fault />
            </div>
            {reason}
        </li>
    }
    .into_any()
}

/// What became stricter and what looser.
fn summary(w: Words, rows: StoredValue<Vec<Row>>) -> AnyView {
    let lines = move |wanted: Compared| {
        let line = |row: &Row| {
            let typed = row.typed();
            let micro = super::view_model::number(row.rule.value?.unit, typed.figure.trim(), w).ok()?;
            (row.rule.compared(micro) == wanted).then(|| {
                let (from, to) = (shown(w, &row.rule, row.rule.value?.micro), shown(w, &row.rule, micro));
                let change = t!(w, "design.built_change", planned = from, built = to);
                Some(view! { <li>{t!(w, "design.pair", name = name(w, &row.rule), value = change)}</li> }.into_any())
            })?
        };
        rows.with_value(|rows| rows.iter().filter_map(line).collect::<Vec<AnyView>>())
    };
    let part = move |title: &'static str, wanted: Compared| {
        let all = lines(wanted);
        (!all.is_empty()).then(|| view! { <h3>{title}</h3><ul class="stack bullets">{all}</ul> }.into_any())
    };
    view! {
        {move || part(t!(w, "rules.now_stricter"), Compared::Stricter)}
        {move || part(t!(w, "rules.now_looser"), Compared::Looser)}
    }
    .into_any()
}
