//! The sections of the form.

use std::collections::BTreeSet;
use std::sync::Arc;

use domain::bounds;
use domain::electrical::{NumberLocale, Prefix, Quality, Quantity, parse_reading};
use domain::job_file::body::ModelSnapshot;
use domain::method::Method;
use domain::method::plan::{DesignField, UnitPlan};
use leptos::prelude::*;

use super::draft::{CONSENTS, consent_word};
use super::form::Form;
use super::view_model::{Candidate, Fault, FieldId, Reading, choices, figure_shown, spec};
use super::words;
use crate::adapters::save_file::time_zones;
use crate::features::crew::typed::words_room;
use crate::features::design_sheet::view_model::value_of;
use crate::features::desk::shared::{is_expired, kind_word};
use crate::features::words::{consent, crew_role, quantity, unit_kind};
use crate::i18n::format::Day;
use crate::i18n::{Words, use_words};
use crate::ui::{Area, Banner, CheckRow, Chip, Choice, Empty, Field, FieldKind, Icon, Select, Tone};
use crate::{t, tn};

/// What the sections lean on; `Copy`.
#[derive(Clone, Copy)]
pub struct Ground {
    /// The fields.
    pub form: Form,
    /// The form as it reads now.
    pub reading: Memo<Reading>,
    /// Somebody has tried to save.
    pub tried: RwSignal<bool>,
    /// Fields that somebody has left: half a telephone number is no fault while it is being typed.
    pub left: RwSignal<BTreeSet<FieldId>>,
}

impl Ground {
    /// The fault of a field in words. What is merely empty is said only once somebody has tried to save.
    fn fault(self, w: Words, id: FieldId, field: Option<DesignField>) -> Signal<Option<String>> {
        Signal::derive(move || {
            let fault = self.reading.with(|reading| reading.faults.get(&id).cloned())?;
            let told = match fault {
                Fault::Needed => self.tried.get(),
                Fault::Text(bounds::Fault::Email | bounds::Fault::Phone) => {
                    self.tried.get() || self.left.with(|left| left.contains(&id))
                }
                _ => true,
            };
            told.then(|| words::fault(w, &fault, field.as_ref()))
        })
    }

    /// Notes that a field was left.
    fn leaves(self, id: FieldId) -> impl Fn() + 'static {
        move || {
            self.left.update(|left| {
                left.insert(id.clone());
            });
        }
    }
}

/// A part of the form under its heading.
#[component]
pub fn Part(
    /// For links within the page.
    id: &'static str,
    /// Heading.
    title: &'static str,
    /// Content.
    children: Children,
) -> impl IntoView {
    view! {
        <section class="card form-part" id=id aria-labelledby=format!("{id}-title")>
            <h2 id=format!("{id}-title")>{title}</h2>
            {children()}
        </section>
    }
}

/// Where.
#[component]
pub fn SiteSection(ground: Ground) -> impl IntoView {
    let w = use_words();
    let form = ground.form;
    let fault = move |id: FieldId| ground.fault(w, id, None);
    view! {
        <Part id="site" title=t!(w, "plan.site")>
            <div class="form-grid">
                <Field label=t!(w, "plan.householder") value=form.householder fault=fault(FieldId::Householder) />
                <Field label=t!(w, "plan.street") value=form.street fault=ground.fault(w, FieldId::Street, None) />
                <Field label=t!(w, "plan.town") value=form.town fault=ground.fault(w, FieldId::Town, None) />
                <Field label=t!(w, "plan.phone") value=form.phone kind=FieldKind::Phone fault=fault(FieldId::Phone) on_leave=ground.leaves(FieldId::Phone) />
                <Field label=t!(w, "plan.email") value=form.email kind=FieldKind::Exact fault=fault(FieldId::Email) on_leave=ground.leaves(FieldId::Email) />
                <Field label=t!(w, "plan.grid_point") hint=t!(w, "plan.grid_point_hint") value=form.grid_point kind=FieldKind::Exact fault=fault(FieldId::GridPoint) />
                <ZoneField value=form.zone fault=fault(FieldId::Zone) />
            </div>
            <Area label=t!(w, "plan.access") hint=t!(w, "plan.access_hint") value=form.access fault=fault(FieldId::Access) room=words_room(w, form.access) />
        </Part>
    }
}

/// The time zone of a site, out of the browser's own list; typed where it has none.
#[component]
fn ZoneField(value: RwSignal<String>, fault: Signal<Option<String>>) -> impl IntoView {
    let w = use_words();
    let (label, hint) = (t!(w, "plan.zone"), t!(w, "plan.zone_hint"));
    let mut zones = time_zones();
    if zones.is_empty() {
        return view! { <Field label hint value kind=FieldKind::Exact fault /> }.into_any();
    }
    // A zone may stand in the job under an older name, and a name that does not exist must be seen to be changed.
    let own = value.get_untracked();
    if !own.is_empty() && !zones.contains(&own) {
        zones.insert(0, own);
    }
    let mut choices = vec![Choice::new("", t!(w, "plan.choose"))];
    choices.extend(zones.into_iter().map(|zone| Choice::new(zone.clone(), zone.replace('_', " "))));
    let choices = StoredValue::new(choices);
    view! { <Select label hint value choices=Signal::derive(move || choices.get_value()) fault /> }.into_any()
}

/// Which units: a row a kind that the method asks for.
#[component]
pub fn EquipmentSection(
    ground: Ground,
    /// The chosen method.
    method: Arc<Method>,
    /// Pinned models and the catalogue.
    models: Vec<ModelSnapshot>,
) -> impl IntoView {
    let w = use_words();
    let rows = method.units.iter().map(|plan| unit_row(w, ground, plan, &models)).collect_view();
    view! {
        <Part id="equipment" title=t!(w, "plan.equipment")>
            <div class="unit-rows">{rows}</div>
        </Part>
    }
}

fn unit_row(w: Words, ground: Ground, plan: &UnitPlan, models: &[ModelSnapshot]) -> AnyView {
    let (word, field) = (kind_word(plan.unit), ground.form.unit(plan.unit));
    let mut choices = vec![Choice::new("", t!(w, "plan.choose"))];
    let mut seen = Vec::new();
    for model in models.iter().filter(|model| model.kind == plan.unit) {
        // The pinned version stands first; the catalogue's newer version of the same model is not offered beside it.
        if !seen.contains(&model.model) {
            seen.push(model.model);
            choices.push(Choice::new(model.model.to_string(), format!("{} {}", model.maker, model.name)));
        }
    }
    let none = seen.is_empty();
    let choices = StoredValue::new(choices);
    let range = if plan.least == plan.most {
        t!(w, "plan.count_exact", n = plan.least)
    } else {
        t!(w, "plan.count_range", least = plan.least, most = plan.most)
    };
    let title = if plan.new {
        w.say(unit_kind(plan.unit)).to_owned()
    } else {
        t!(w, "plan.unit_there", kind = w.say(unit_kind(plan.unit)))
    };
    view! {
        <fieldset class="choices unit-row">
            <legend>{title}</legend>
            <div class="form-grid">
                <Select label=t!(w, "plan.model") value=field.model choices=Signal::derive(move || choices.get_value())
                    fault=ground.fault(w, FieldId::Model(word), None) />
                <Field label=t!(w, "plan.count") hint=range value=field.count kind=FieldKind::Digits fault=ground.fault(w, FieldId::Count(word), None) />
            </div>
            {none.then(|| view! { <p class="soft">{t!(w, "plan.no_models")}</p> })}
        </fieldset>
    }
    .into_any()
}

/// Design figures of the method.
#[component]
pub fn DesignSection(ground: Ground, method: Arc<Method>) -> impl IntoView {
    let w = use_words();
    if method.design.is_empty() {
        return ().into_any();
    }
    let fields = method.design.iter().map(|field| design_field(w, ground, field.clone())).collect_view();
    view! {
        <Part id="design" title=t!(w, "plan.design")>
            <p class="soft">{t!(w, "plan.design_hint")}</p>
            <div class="form-grid">{fields}</div>
        </Part>
    }
    .into_any()
}

fn design_field(w: Words, ground: Ground, field: DesignField) -> AnyView {
    let own = ground.form.figure(&field.key);
    let label = field.label.in_language(w.lang.code()).to_owned();
    let unit = field.unit.symbol();
    // The tick is about the figure that stood there when it was set.
    Effect::new(move |before: Option<String>| {
        let text = own.text.get();
        if before.is_some_and(|before| before != text) {
            own.checked.set(false);
        }
        text
    });
    let id = FieldId::Design(field.key.clone());
    let implausible = Memo::new(move |_| {
        ground.reading.with(|reading| matches!(reading.faults.get(&id), Some(Fault::OutsidePlausible { .. })))
            || own.checked.get()
    });
    let fault = ground.fault(w, FieldId::Design(field.key.clone()), Some(field.clone()));
    let (asked, offered) = (field.clone(), choices(&field, w));
    // What was understood, where it is not what stands there: "12 mm²" for a wire gauge, 1200 for "1.2 k".
    let spelled = move || {
        let parsed = parse_reading(&own.text.get(), &spec(&field), NumberLocale::from_decimal(w.decimal.sign()));
        let value: Quantity = parsed.value.filter(|_| parsed.quality == Quality::Ok)?;
        (!parsed.notes.is_empty() && parsed.notes != [domain::electrical::Note::UnitAssumed])
            .then(|| t!(w, "plan.understood", value = quantity(w, value, Prefix::One)))
    };
    let follows = move || {
        let micro = ground.reading.with(|reading| value_of(&reading.follows, &asked.key))?;
        Some(t!(w, "plan.follows", value = figure_shown(&asked, micro, w)))
    };
    let input = if !offered.is_empty() {
        // A stored code without a word stays to be seen.
        let text = own.text.get_untracked();
        let odd =
            (!text.is_empty() && offered.iter().all(|one| one.value != text)).then(|| Choice::new(text.clone(), text));
        let all = [Choice::new("", t!(w, "design.not_known"))].into_iter().chain(offered).chain(odd);
        let all = StoredValue::new(all.collect::<Vec<_>>());
        view! { <Select label value=own.text choices=Signal::derive(move || all.get_value()) fault /> }.into_any()
    } else if unit.is_empty() {
        view! { <Field label value=own.text kind=FieldKind::Number fault /> }.into_any()
    } else {
        view! { <Field label value=own.text kind=FieldKind::Number fault unit /> }.into_any()
    };
    view! {
        <div class="stack">
            {input}
            {move || spelled().map(|words| view! { <p class="soft">{words}</p> })}
            {move || follows().map(|words| view! { <p class="soft" data-testid="follows">{words}</p> })}
            {move || implausible.get().then(|| view! { <CheckRow label=t!(w, "plan.checked") checked=own.checked /> })}
        </div>
    }
    .into_any()
}

/// The network operator's word.
#[component]
pub fn ConsentSection(ground: Ground) -> impl IntoView {
    let w = use_words();
    let form = ground.form;
    let mut choices = vec![Choice::new("", t!(w, "plan.consent_none"))];
    choices.extend(CONSENTS.into_iter().map(|state| Choice::new(consent_word(state), w.say(consent(state)))));
    let choices = StoredValue::new(choices);
    view! {
        <Part id="consent" title=t!(w, "plan.consent")>
            <div class="form-grid">
                <Select label=t!(w, "plan.consent_state") value=form.consent choices=Signal::derive(move || choices.get_value()) />
                <Field label=t!(w, "plan.consent_reference") value=form.consent_reference kind=FieldKind::Exact
                    fault=ground.fault(w, FieldId::ConsentReference, None) />
            </div>
        </Part>
    }
}

/// Who, with their tickets.
#[component]
pub fn CrewSection(
    ground: Ground,
    /// Who can be chosen.
    people: Vec<Candidate>,
    /// Tickets are compared with this day.
    today: Day,
) -> impl IntoView {
    let w = use_words();
    let form = ground.form;
    // A ticket counts on the day of the work, where that is known.
    let on = Memo::new(move |_| Day::parse(&form.day.get()).unwrap_or(today).max(today));
    let row = move |candidate: Candidate| {
        let role = form.role(candidate.person);
        let mut choices = vec![Choice::new("", t!(w, "plan.not_on_job"))];
        if candidate.can_work {
            choices.push(Choice::new("technician", w.say(crew_role(domain::job_file::body::CrewRole::Technician))));
        }
        if candidate.can_lead {
            choices.push(Choice::new("lead", w.say(crew_role(domain::job_file::body::CrewRole::Lead))));
        }
        let choices = StoredValue::new(choices);
        let tickets = candidate.tickets;
        let chips = move || {
            let on = on.get();
            let chip = |ticket: &domain::job_file::body::Ticket| {
                let name = ticket.kind.replace('-', " ");
                if is_expired(ticket, on) {
                    let label = t!(w, "plan.ticket_expired", ticket = name, day = w.day_text(&ticket.expires));
                    view! { <Chip label tone=Tone::Stop /> }.into_any()
                } else if ticket.expires.is_empty() {
                    view! { <Chip label=name /> }.into_any()
                } else {
                    view! { <Chip label=t!(w, "plan.ticket_until", ticket = name, day = w.day_text(&ticket.expires)) /> }.into_any()
                }
            };
            if tickets.is_empty() {
                return view! { <span class="soft">{t!(w, "plan.no_tickets")}</span> }.into_any();
            }
            tickets.iter().map(chip).collect_view().into_any()
        };
        view! {
            <li class="crew-row">
                <Select label=candidate.name value=role choices=Signal::derive(move || choices.get_value()) />
                <div class="row tickets">{chips}</div>
            </li>
        }
    };
    let nobody = people.is_empty();
    view! {
        <Part id="crew" title=t!(w, "plan.crew")>
            {nobody.then(|| view! { <Empty words=t!(w, "plan.no_people") icon=Icon::People /> })}
            <ul class="crew-rows">{people.into_iter().map(row).collect_view()}</ul>
        </Part>
    }
}

/// Why a crew gets a design of which checks fail; there only while that is asked.
#[component]
pub fn WhySection(ground: Ground) -> impl IntoView {
    let w = use_words();
    let why = ground.form.why;
    let fails = Memo::new(move |_| ground.reading.with(|reading| reading.fails.clone()));
    let unjudged = Memo::new(move |_| ground.reading.with(|reading| reading.unjudged));
    let asked = Memo::new(move |_| unjudged.get() || fails.with(|fails| !fails.is_empty()));
    let title = move || match unjudged.get() {
        true => t!(w, "desk.against.design_unjudged").to_owned(),
        false => fails.with(|fails| tn!(w, "desk.against.design_fails", fails.len())),
    };
    let names = move || fails.get().into_iter().map(|name| view! { <li>{name}</li> }).collect_view();
    move || {
        asked.get().then(|| {
            let fault = ground.fault(w, FieldId::Why, None);
            view! {
                <section class="card form-part" aria-labelledby="why-title">
                    <h2 id="why-title">{title}</h2>
                    <ul class="stack bullets">{names}</ul>
                    <Area label=t!(w, "desk.words.design") value=why fault room=words_room(w, why) />
                </section>
            }
        })
    }
}

/// When.
#[component]
pub fn DaySection(ground: Ground) -> impl IntoView {
    let w = use_words();
    let form = ground.form;
    view! {
        <Part id="day" title=t!(w, "plan.day")>
            <div class="form-grid">
                <Field label=t!(w, "plan.day_field") value=form.day kind=FieldKind::Day fault=ground.fault(w, FieldId::Day, None) />
                <Field label=t!(w, "plan.start") hint=t!(w, "plan.start_hint") value=form.start kind=FieldKind::Exact
                    fault=ground.fault(w, FieldId::Start, None) />
            </div>
        </Part>
    }
}

/// What is still missing, and what can be computed.
#[component]
pub fn Summary(
    ground: Ground,
    /// Everything that can be computed.
    checks: Memo<Vec<super::view_model::LiveCheck>>,
) -> impl IntoView {
    let w = use_words();
    let gaps = move || {
        let (faults, gaps) = ground.reading.with(|reading| (reading.faults.len(), reading.gaps.clone()));
        // Nothing beside a form may say that it can be saved while it cannot.
        let not_yet =
            (faults > 0).then(|| view! { <Banner tone=Tone::Wait><p>{tn!(w, "plan.not_yet", faults)}</p></Banner> });
        if gaps.is_empty() && faults > 0 {
            return not_yet.into_any();
        }
        if gaps.is_empty() {
            return view! { <Banner tone=Tone::Good><p>{t!(w, "plan.ready")}</p></Banner> }.into_any();
        }
        let line = |gap: &super::view_model::Gap| view! { <li>{words::gap(w, gap)}</li> };
        let lines = gaps.iter().map(line).collect_view();
        let title = if faults > 0 { t!(w, "plan.gaps_also") } else { t!(w, "plan.gaps") };
        view! {
            {not_yet}
            <Banner title=title>
                <ul class="stack bullets">{lines}</ul>
            </Banner>
        }
        .into_any()
    };
    let computed = move || {
        let all = checks.get();
        (!all.is_empty()).then(|| {
            view! {
                <section class="card" aria-labelledby="checks-title">
                    <h2 id="checks-title">{t!(w, "plan.checks")}</h2>
                    <ul class="stack loose">{all.iter().map(|live| super::checks::live_check(w, live)).collect_view()}</ul>
                </section>
            }
        })
    };
    view! {
        <aside class="stack loose beside-form">
            {gaps}
            {computed}
        </aside>
    }
}
