//! The fields: what was typed as signals, and the sections that show them.

use domain::design::{DECIDING, Design, FIELDS, Field as Figure, Section, is_asked};
use domain::electrical::rule_set::{FirmRules, RuleSet, RulesName};
use leptos::prelude::*;

use super::view_model::{
    Read, SheetDraft, figure, load_of, rule_mark, rules_of_word, rules_offered, rules_word, text_of, value_of,
};
use super::words::{self, SECTIONS, field_name};
use crate::adapters::browser;
use crate::features::words::{mark, rules_name};
use crate::i18n::Words;
use crate::t;
use crate::ui::{Choice, Field, FieldKind, Select};

/// One field; `Copy`.
#[derive(Clone, Copy)]
pub struct Own {
    /// As typed.
    pub text: RwSignal<String>,
    /// As understood.
    pub read: Memo<Read>,
}

/// All fields in the order of [`FIELDS`], and the rules; `Copy`.
#[derive(Clone, Copy)]
pub struct Form {
    /// The choice of rules.
    pub place: RwSignal<String>,
    own: StoredValue<Vec<Own>>,
    /// The few figures that say which fields are asked for at all.
    deciding: Memo<Design>,
    /// Place and texts as the job has them.
    base: StoredValue<(String, Vec<String>)>,
}

impl Form {
    /// What the job says, with a draft on top.
    pub fn of(design: &[(String, i64)], rules: RulesName, draft: &SheetDraft, w: Words) -> Self {
        let base_place = rules_word(rules);
        let shown = if draft.place.is_empty() { base_place.clone() } else { draft.place.clone() };
        let (mut base, mut own) = (Vec::with_capacity(FIELDS.len()), Vec::with_capacity(FIELDS.len()));
        for field in FIELDS {
            let said = value_of(design, field.key).map(|micro| text_of(field, micro, w)).unwrap_or_default();
            let text = RwSignal::new(draft.texts.get(field.key).unwrap_or(&said).clone());
            own.push(Own { text, read: Memo::new(move |_| text.with(|text| figure(field, text, w))) });
            base.push(said);
        }
        let own = StoredValue::new(own);
        let deciding = Memo::new(move |_| {
            let mut design = Design::new();
            own.with_value(|own| {
                for (field, own) in FIELDS.iter().zip(own).filter(|(field, _)| DECIDING.contains(&field.key)) {
                    if let Ok(Some(micro)) = own.read.get() {
                        design.set(field.key, micro);
                    }
                }
            });
            design
        });
        Self { place: RwSignal::new(shown), own, deciding, base: StoredValue::new((base_place, base)) }
    }

    /// A field by its place in [`FIELDS`].
    pub fn field(self, at: usize) -> Option<Own> {
        self.own.with_value(|own| own.get(at).copied())
    }

    /// What differs from the job. Tracked.
    pub fn draft(self) -> SheetDraft {
        let mut draft = SheetDraft::default();
        let place = self.place.get();
        self.base.with_value(|(base_place, base)| {
            if place != *base_place {
                draft.place = place;
            }
            self.own.with_value(|own| {
                for ((field, own), said) in FIELDS.iter().zip(own).zip(base) {
                    let text = own.text.get();
                    if text != *said {
                        draft.texts.insert(field.key.to_owned(), text);
                    }
                }
            });
        });
        draft
    }

    /// Every figure that can be read. Tracked.
    pub fn design(self) -> Design {
        let mut design = Design::new();
        self.own.with_value(|own| {
            for (field, own) in FIELDS.iter().zip(own) {
                if let Ok(Some(micro)) = own.read.get() {
                    design.set(field.key, micro);
                }
            }
        });
        design
    }

    /// Fields that cannot be read. Tracked.
    pub fn faults(self) -> usize {
        self.own.with_value(|own| own.iter().filter(|own| own.read.with(Result::is_err)).count())
    }

    /// Figures of the fields that differ from the job.
    pub fn touched(self) -> Vec<(&'static str, Option<i64>)> {
        let mut touched = Vec::new();
        self.base.with_value(|(_, base)| {
            self.own.with_value(|own| {
                for ((field, own), said) in FIELDS.iter().zip(own).zip(base) {
                    if let (Ok(value), false) = (own.read.get_untracked(), own.text.with_untracked(|text| text == said))
                    {
                        touched.push((field.key, value));
                    }
                }
            });
        });
        touched
    }

    /// What stands in the form is what the job says now.
    pub fn settle(self) {
        let texts = self.own.with_value(|own| own.iter().map(|own| own.text.get_untracked()).collect());
        self.base.set_value((self.place.get_untracked(), texts));
    }

    /// The rules that are chosen. Tracked.
    pub fn rules(self) -> RulesName {
        self.place.with(|word| rules_of_word(word))
    }
}

/// What the fields lean on; `Copy`.
#[derive(Clone, Copy)]
pub struct Around {
    /// Language and numbers.
    pub w: Words,
    /// The fields.
    pub form: Form,
    /// The chosen rules.
    pub rules: Memo<RuleSet>,
    /// What the chosen models say: holds where a field is empty.
    pub models: Memo<Design>,
    /// Nobody here may change it.
    pub shut: Signal<bool>,
}

/// Id of a field on the page.
pub fn field_id(key: &str) -> String {
    format!("figure-{key}")
}

/// A part of the page under its heading; links lead to it.
pub fn part(id: &str, title: &'static str, content: AnyView) -> AnyView {
    let heading = format!("{id}-title");
    view! {
        <section class="card form-part sheet-part" id=id.to_owned() tabindex="-1" aria-labelledby=heading.clone()>
            <h2 id=heading.clone()>{title}</h2>
            {content}
        </section>
    }
    .into_any()
}

/// Whether a part that folds is unfolded: at once where there is room for all of it.
pub fn unfolded() -> RwSignal<bool> {
    RwSignal::new(browser::is_wide())
}

/// A part that folds; `state` says beside its heading what is in it.
pub fn folding(id: &str, title: &'static str, state: AnyView, open: RwSignal<bool>, content: AnyView) -> AnyView {
    let heading = format!("{id}-title");
    let toggled = move |event: leptos::ev::Event| open.set(browser::is_open(&event));
    view! {
        <details class="card form-part sheet-part" id=id.to_owned() tabindex="-1" aria-labelledby=heading.clone()
            open=move || open.get() on:toggle=toggled>
            <summary><h2 id=heading.clone()>{title}</h2><span class="soft">{state}</span></summary>
            <div class="stack">{content}</div>
        </details>
    }
    .into_any()
}

/// All sections.
pub fn sections(around: Around) -> Vec<AnyView> {
    SECTIONS.iter().map(|(section, id)| section_view(around, *section, id)).collect()
}

fn section_view(around: Around, section: Section, id: &str) -> AnyView {
    let mut fields = Vec::new();
    let mut own = Vec::new();
    for (at, field) in FIELDS.iter().enumerate() {
        if field.section == section
            && let Some(typed) = around.form.field(at)
        {
            fields.push(field_view(around, at, field, typed));
            own.push((at, field.key, typed));
        }
    }
    let Around { w, form, models, .. } = around;
    let filled = Memo::new(move |_| {
        let offered = own.iter().filter(|(at, key, _)| is_offered(form, *at, key));
        offered.fold((0_usize, 0_usize), |(filled, of), (_, key, typed)| {
            let known = !typed.text.with(String::is_empty) || models.with(|models| models.get(key).is_some());
            (filled + usize::from(known), of + 1)
        })
    });
    let state = move || {
        let (n, of) = filled.get();
        t!(w, "design.filled", n = n, of = of)
    };
    let content = view! { <div class="form-grid">{fields}</div> }.into_any();
    folding(id, w.say(words::section(section)), view! { {state} }.into_any(), unfolded(), content)
}

fn field_view(around: Around, at: usize, field: &'static Figure, own: Own) -> AnyView {
    let Around { w, shut, .. } = around;
    let label = field_name(w, field.key);
    let fault = Signal::derive(move || own.read.with(|read| read.as_ref().err().map(|fault| words::fault(w, fault))));
    let hint = move || hint_of(around, field.key);
    let input = if field.choices.is_empty() {
        let unit = field.unit.symbol();
        view! { <Field label value=own.text kind=FieldKind::Number hint fault unit disabled=shut /> }.into_any()
    } else {
        let choices = StoredValue::new(choices_of(w, field, &own.text.get_untracked()));
        let choices = Signal::derive(move || choices.get_value());
        view! { <Select label value=own.text choices hint fault disabled=shut /> }.into_any()
    };
    let models = around.models;
    let by_model = move || {
        let micro = models.with(|models| models.get(field.key)).filter(|_| own.text.with(String::is_empty))?;
        Some(view! { <p class="soft">{t!(w, "design.by_model", value = words::value(w, field, micro))}</p> })
    };
    let spelled = move || {
        let micro = own.read.get().ok().flatten().filter(|_| field.choices.is_empty())?;
        let plain = own.text.with(|text| text.trim() == w.number_short(micro));
        (!plain).then(|| {
            view! { <p class="soft">{t!(w, "plan.understood", value = words::value(w, field, micro))}</p> }
        })
    };
    let form = around.form;
    view! {
        <div class="stack sheet-field" id=field_id(field.key) class:blank=move || own.text.with(String::is_empty)
            hidden=move || !is_offered(form, at, field.key)>
            {input}
            {spelled}
            {by_model}
        </div>
    }
    .into_any()
}

/// Help, and how certain the rule is that asks.
fn hint_of(around: Around, key: &str) -> String {
    let w = around.w;
    let mut parts: Vec<String> = words::hint(key).map(|key| w.say(key).to_owned()).into_iter().collect();
    if let Some(marked) = around.rules.with(|rules| rule_mark(rules, key)).and_then(mark) {
        parts.push(t!(w, "design.rule_figure", mark = w.say(marked)));
    }
    parts.join(" ")
}

/// The choices of a field; a stored code without words stays to be seen.
fn choices_of(w: Words, field: &Figure, text: &str) -> Vec<Choice> {
    let mut choices = vec![Choice::new("", t!(w, "design.not_known"))];
    for word in field.choices {
        choices.push(Choice::new(*word, words::choice(w, word)));
    }
    if !text.is_empty() && !field.choices.contains(&text) {
        choices.push(Choice::new(text, text));
    }
    choices
}

/// What says something about the design. Loads come one after the other: the next one once the one before has a power.
fn is_offered(form: Form, at: usize, key: &str) -> bool {
    /// Fields of one load.
    const PARTS: usize = 3;
    let Some((number, part)) = load_of(key) else { return form.deciding.with(|design| is_asked(design, key)) };
    let nth = match part {
        "w" => 0,
        "duty" => 1,
        _ => 2,
    };
    let power_of = |load: usize| {
        let first = (at - nth + PARTS * load).checked_sub(PARTS * number);
        first.and_then(|at| form.field(at)).is_some_and(|own| !own.text.with(String::is_empty))
    };
    number == 1 || power_of(number) || power_of(number - 1)
}

/// Where the job is, and by which editions it is computed.
pub fn rules_part(around: Around, other: Option<i64>, of_job: RulesName, own: Signal<Vec<FirmRules>>) -> AnyView {
    let Around { w, form, rules, shut, .. } = around;
    let choice = move |name: RulesName| Choice::new(rules_word(name), rules_name(w, name));
    let choices = Memo::new(move |_| own.with(|own| rules_offered(own, of_job)));
    let choices = Signal::derive(move || choices.get().into_iter().map(choice).collect::<Vec<Choice>>());
    let label = Memo::new(move |_| rules.with(RuleSet::label));
    let standards = move || {
        let mut all = Vec::new();
        for (standard, edition) in rules.with(super::view_model::standards) {
            let line = if edition.is_empty() { standard.to_owned() } else { format!("{standard}, {edition}") };
            all.push(view! { <li>{line}</li> }.into_any());
        }
        all
    };
    let saved_under = move || {
        let now = rules.get();
        let other = other?;
        let saved = format!("{} {other}", now.id);
        Some(view! { <p>{t!(w, "design.rules_other", saved = saved, now = now.label())}</p> })
    };
    let content = view! {
        <div class="form-grid">
            <Select label=t!(w, "design.rules_place") value=form.place choices=choices
                hint=t!(w, "design.rules_hint") disabled=shut />
        </div>
        <p data-testid="rules-label">{move || t!(w, "design.rules_version", label = label.get())}</p>
        {saved_under}
        <details>
            <summary>{t!(w, "design.rules_standards")}</summary>
            <ul class="stack bullets">{standards}</ul>
        </details>
    }
    .into_any();
    let state = view! { {move || label.get()} }.into_any();
    folding("rules", t!(w, "design.rules"), state, unfolded(), content)
}
