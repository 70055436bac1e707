//! The checks of the sheet as rows that open, what is missing, what would pass, and where notice must be given.

use std::sync::Arc;

use domain::design::{Line, NoticeLine, Outcome, Suggestion};
use domain::electrical::{Prefix, Quantity, Verdict};
use leptos::prelude::*;

use super::form::{Around, Form, field_id, folding, part, unfolded};
use super::view_model::{Computed, field_at, tally, text_of, verdict_word};
use super::words::{choice, cited, deadline, field_name, line_name, value};
use crate::adapters::browser;
use crate::features::desk::checks::{check_chip, verdict_chip};
use crate::features::words::{check_limit, check_note, check_verdict_why, figure, figure_value, quantity, verdict_why};
use crate::i18n::Words;
use crate::ui::{Button, Chip, Tone};
use crate::{t, tn};

/// What the rows lean on; `Copy`.
#[derive(Clone, Copy)]
pub struct Ground {
    /// Fields and rules.
    pub around: Around,
    /// The sheet as it stands.
    pub computed: Memo<Arc<Computed>>,
    /// Every row is open that nobody closed.
    pub all_open: RwSignal<bool>,
}

/// A link that puts the cursor into a field.
pub fn field_link(w: Words, key: &str) -> AnyView {
    let id = field_id(key);
    let href = format!("#{id}");
    view! {
        <a class="to-field" href=href on:click=move |event| {
            event.prevent_default();
            browser::focus(&id);
        }>{field_name(w, key)}</a>
    }
    .into_any()
}

/// How many fail, pass and wait.
pub fn standing(ground: Ground) -> AnyView {
    let w = ground.around.w;
    let tally = Memo::new(move |_| ground.computed.with(|now| tally(&now.sheet.lines)));
    let chips = move || {
        let now = tally.get();
        let fails = if now.fail > 0 { Tone::Stop } else { Tone::Plain };
        let waits = if now.open > 0 { Tone::Caution } else { Tone::Plain };
        view! {
            <Chip label=tn!(w, "design.count_fail", now.fail) tone=fails />
            <Chip label=tn!(w, "design.count_open", now.open) tone=waits />
            <Chip label=tn!(w, "design.count_pass", now.pass) />
        }
    };
    view! { <div class="row standing">{chips}</div> }.into_any()
}

/// Every check.
pub fn checks_part(ground: Ground) -> AnyView {
    let w = ground.around.w;
    let keys = Memo::new(move |_| {
        ground.computed.with(|now| now.sheet.lines.iter().map(|line| line.key).collect::<Vec<&'static str>>())
    });
    // Rows stand as long as the same checks are made, so that what a person opened stays open.
    let rows = move || keys.get().into_iter().map(|key| row(ground, key, false)).collect::<Vec<AnyView>>();
    // On a phone what fails comes first, and the rest on wish.
    let few = RwSignal::new(true);
    let label = move || {
        if few.get() {
            t!(w, "design.show_all", n = keys.with(Vec::len))
        } else {
            t!(w, "design.show_failing").to_owned()
        }
    };
    let content = view! {
        {standing(ground)}
        {toggle_all(ground)}
        <div class="narrow-only no-print"><Button label on_press=move || few.update(|few| *few = !*few) /></div>
        <ul class="sheet-rows" class:few=move || few.get()>{rows}</ul>
    };
    part("checks", t!(w, "design.checks"), content.into_any())
}

/// Limits for the readings on site.
pub fn limits_part(ground: Ground) -> AnyView {
    let w = ground.around.w;
    let keys = Memo::new(move |_| {
        ground.computed.with(|now| now.sheet.limits.iter().map(|line| line.key).collect::<Vec<&'static str>>())
    });
    let rows = move || keys.get().into_iter().map(|key| row(ground, key, true)).collect::<Vec<AnyView>>();
    let content = view! {
        <p class="soft">{t!(w, "design.limits_explain")}</p>
        <ul class="sheet-rows">{rows}</ul>
    };
    let state = view! { {move || keys.with(Vec::len)} }.into_any();
    folding("limits", t!(w, "design.limits"), state, unfolded(), content.into_any())
}

fn toggle_all(ground: Ground) -> AnyView {
    let (w, all_open) = (ground.around.w, ground.all_open);
    let label = move || if all_open.get() { t!(w, "design.close_all") } else { t!(w, "design.open_all") };
    view! { <div class="no-print"><Button label on_press=move || all_open.update(|open| *open = !*open) /></div> }
        .into_any()
}

fn row(ground: Ground, key: &'static str, limit_only: bool) -> AnyView {
    let Around { w, rules, .. } = ground.around;
    let line = Memo::new(move |_| ground.computed.with(|now| now.sheet.line(key).cloned()));
    // What the person said of this row; else as all of them.
    let own = RwSignal::new(None::<bool>);
    let all_open = ground.all_open;
    let is_open = move || own.get().unwrap_or_else(|| all_open.get());
    let name = rules.with_untracked(|rules| line_name(w, rules, key));
    let body_id = format!("computation-{key}");
    let verdict = move || line.with(|line| line.as_ref().map(|line| verdict_word(line.verdict())));
    let chip = move || {
        let line = line.get()?;
        Some(if limit_only { limit_chip(w, &line) } else { line_chip(w, &line) })
    };
    let brief = move || line.get().map(|line| brief(w, &line, limit_only));
    let body = move || {
        let shown = is_open().then(|| line.get()).flatten()?;
        Some(line_body(w, &shown))
    };
    view! {
        <li class="sheet-row" data-testid="design-check" data-line=key data-verdict=verdict>
            <button type="button" class="row-open" aria-expanded=move || is_open().to_string() aria-controls=body_id.clone()
                on:click=move |_| own.set(Some(!untrack(is_open)))>
                <span class="fill">{name}</span>
                {chip}
            </button>
            {brief}
            <div class="stack computation" id=body_id>{body}</div>
        </li>
    }
    .into_any()
}

fn line_chip(w: Words, line: &Line) -> AnyView {
    line.check().map_or_else(|| verdict_chip(w, line.verdict()), |check| check_chip(w, check))
}

fn limit_chip(w: Words, line: &Line) -> AnyView {
    match line.check().and_then(|check| check_limit(w, check)) {
        Some(known) => view! { <b class="limit">{known}</b> }.into_any(),
        None => verdict_chip(w, line.verdict()),
    }
}

/// Why it does not pass, and which fields would say more; always in sight.
fn brief(w: Words, line: &Line, limit_only: bool) -> AnyView {
    let why = match &line.outcome {
        Outcome::OutOfRange(key) => Some(t!(w, "design.out_of_range", figure = figure(w, key))),
        Outcome::Computed(check) if !limit_only && check.verdict != Verdict::Pass => Some(check_verdict_why(w, check)),
        Outcome::Settled(verdict) => verdict_why(w, *verdict),
        Outcome::Computed(_) | Outcome::Missing => None,
    };
    let because = line.because.map(|word| view! { <p class="why">{choice(w, word)}</p> });
    let links: Vec<AnyView> = line.missing.iter().map(|key| field_link(w, key)).collect();
    let missing = (!links.is_empty()).then(|| {
        view! { <p class="missing no-print"><span>{t!(w, "design.missing")}</span>{links}</p> }
    });
    view! {
        {why.map(|why| view! { <p class="why">{why}</p> })}
        {because}
        {missing}
    }
    .into_any()
}

fn line_body(w: Words, line: &Line) -> AnyView {
    let Some(check) = line.check() else { return ().into_any() };
    let rule = line.rule.map(|(id, from)| {
        let name = t!(w, "design.rule", id = id);
        let from = (from != check.source).then(|| cited(w, from));
        (name, from.unwrap_or_default())
    });
    let known = check_limit(w, check);
    let notes: Vec<AnyView> =
        check.notes.iter().map(|note| view! { <p class="soft">{w.say(check_note(*note))}</p> }.into_any()).collect();
    view! {
        {named(t!(w, "design.inputs"), quantities(w, &check.inputs))}
        {named(t!(w, "design.formula", id = check.id), check.formula.to_owned())}
        {named(t!(w, "design.numbers"), check.numbers().to_owned())}
        {named(t!(w, "design.results"), quantities(w, &check.results))}
        {named(t!(w, "design.limit"), known.unwrap_or_default())}
        {notes}
        {rule.map(|(name, from)| if from.is_empty() { view! { <p class="soft">{name}</p> }.into_any() } else { named(name, from) })}
        {named(t!(w, "design.source"), cited(w, check.source))}
    }
    .into_any()
}

fn named(name: impl Into<String>, text: String) -> AnyView {
    if text.is_empty() {
        return ().into_any();
    }
    let name: String = name.into();
    view! { <p class="named"><b>{name}</b>" "<span class="formula">{text}</span></p> }.into_any()
}

fn quantities(w: Words, all: &[(&'static str, Quantity)]) -> String {
    let mut out = String::new();
    for (key, value) in all {
        if !out.is_empty() {
            out.push_str("; ");
        }
        out.push_str(&t!(w, "design.pair", name = figure(w, key), value = figure_value(w, key, *value)));
    }
    out
}

/// Fields that some check waits for.
pub fn missing_part(ground: Ground) -> AnyView {
    let w = ground.around.w;
    let missing = Memo::new(move |_| ground.computed.with(|now| now.sheet.missing.clone()));
    let links = move || {
        let links: Vec<AnyView> = missing.get().into_iter().map(|key| field_link(w, key)).collect();
        if links.is_empty() {
            view! { <p>{t!(w, "design.missing_none")}</p> }.into_any()
        } else {
            view! { <p class="missing" data-testid="missing">{links}</p> }.into_any()
        }
    };
    let content = view! { {links} };
    let state = view! { {move || missing.with(Vec::len)} }.into_any();
    folding("missing", t!(w, "design.missing_all"), state, unfolded(), content.into_any())
}

/// Smallest sizes that pass.
pub fn suggestions_part(ground: Ground) -> AnyView {
    let w = ground.around.w;
    let found = Memo::new(move |_| ground.computed.with(|now| now.sheet.suggestions.clone()));
    let lines = move || {
        let found = found.get();
        if found.is_empty() {
            return view! { <p class="soft">{t!(w, "design.suggest_none")}</p> }.into_any();
        }
        let lines: Vec<AnyView> = found.iter().filter_map(|one| suggestion(ground, one)).collect();
        view! { <ul class="sheet-rows">{lines}</ul> }.into_any()
    };
    let content = view! { {lines} };
    let state = view! { {move || found.with(Vec::len)} }.into_any();
    folding("suggestions", t!(w, "design.suggest"), state, unfolded(), content.into_any())
}

fn suggestion(ground: Ground, one: &Suggestion) -> Option<AnyView> {
    let Around { w, form, shut, .. } = ground.around;
    let (at, field) = field_at(one.field)?;
    let (name, shown) = (field_name(w, one.field), value(w, field, one.value.micro));
    let by = t!(w, "design.suggest_by", check = one.decided_by);
    let bearing = one.rating_least.map(|least| {
        let words = t!(w, "design.suggest_bearing", value = quantity(w, least, Prefix::One));
        view! { <p class="soft">{words}</p> }
    });
    let (micro, clears) = (one.value.micro, one.clears);
    let label = t!(w, "design.take_of", field = name, value = shown);
    let act = move || {
        let stands = form.field(at).is_some_and(|own| own.read.get() == Ok(Some(micro)));
        if stands {
            return view! { <span class="soft">{t!(w, "design.taken")}</span> }.into_any();
        }
        if shut.get() {
            return ().into_any();
        }
        let take = move |_| take(w, form, at, micro, clears);
        view! { <button type="button" class="act no-print" aria-label=label.clone() on:click=take>{t!(w, "design.take")}</button> }
            .into_any()
    };
    Some(
        view! {
            <li class="sheet-row suggestion" data-testid="suggestion" data-field=one.field>
                <div class="row">
                    <div class="fill"><b>{t!(w, "design.pair", name = name, value = shown)}</b><p class="soft">{by}</p></div>
                    {act}
                </div>
                {bearing}
            </li>
        }
        .into_any(),
    )
}

fn take(w: Words, form: Form, at: usize, micro: i64, clears: &[&str]) {
    // Whatever was known of the cable before is not known of this one.
    for own in clears.iter().filter_map(|key| form.field(field_at(key)?.0)) {
        own.text.set(String::new());
    }
    if let (Some(own), Some(field)) = (form.field(at), domain::design::FIELDS.get(at)) {
        own.text.set(text_of(field, micro, w));
    }
}

/// Forms, where they go and until when; and what the firm loosened.
pub fn notices_part(ground: Ground) -> AnyView {
    let Around { w, rules, .. } = ground.around;
    let notices = Memo::new(move |_| ground.computed.with(|now| now.sheet.notices.clone()));
    let lines = move || notices.get().iter().map(|one| notice(w, one)).collect::<Vec<AnyView>>();
    let loosened = move || {
        let all = rules.with(|rules| rules.loosened.clone());
        let line = |one: &domain::electrical::rule_set::Loosened| {
            let show = |value: Quantity| quantity(w, value, Prefix::One);
            let (from, to) = (show(one.from), show(one.to));
            let words = t!(w, "design.loosened_line", rule = one.rule, from = from, to = to, reason = one.reason);
            view! { <li>{words}</li> }.into_any()
        };
        let lines: Vec<AnyView> = all.iter().map(line).collect();
        (!lines.is_empty())
            .then(|| view! { <h3>{t!(w, "design.loosened")}</h3><ul class="stack bullets">{lines}</ul> }.into_any())
    };
    let content = view! {
        <ul class="sheet-rows">{lines}</ul>
        {loosened}
    };
    let state = view! { {move || notices.with(Vec::len)} }.into_any();
    folding("notices", t!(w, "design.notices"), state, unfolded(), content.into_any())
}

fn notice(w: Words, one: &NoticeLine) -> AnyView {
    view! {
        <li class="sheet-row" data-testid="notice">
            <b>{one.form}</b>
            <p>{deadline(w, one)}</p>
            <p class="soft">{cited(w, one.source)}</p>
        </li>
    }
    .into_any()
}
