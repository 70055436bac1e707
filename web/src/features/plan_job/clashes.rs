//! What others changed while the form was open, in words, and the choice where two people changed the same.

use std::sync::Arc;

use domain::ids::PersonId;
use domain::job_file::body::ModelSnapshot;
use domain::job_file::changes::{Clash, PlanField, PlanValue};
use domain::method::Method;
use leptos::prelude::*;

use super::form::Form;
use super::meanwhile::Meanwhile;
use super::view_model::figure_shown;
use crate::features::words::{consent, crew_role, unit_kind};
use crate::i18n::{Words, use_words};
use crate::store::Reference;
use crate::t;
use crate::ui::{Banner, Button, Tone};

/// Where the panel stands, for whoever wants to go there.
pub const PANEL: &str = "meanwhile";

/// What words lean on.
#[derive(Clone, Copy)]
struct Around<'a> {
    reference: &'a Reference,
    method: Option<&'a Method>,
    models: &'a [ModelSnapshot],
}

fn person(reference: &Reference, person: PersonId) -> Option<String> {
    reference.person(person).map(|own| own.display_name.clone())
}

/// The name of a fact, as its field has it.
fn name(w: Words, field: &PlanField, around: Around<'_>) -> String {
    match field {
        PlanField::Householder => t!(w, "plan.householder").to_owned(),
        PlanField::Street => t!(w, "plan.street").to_owned(),
        PlanField::Town => t!(w, "plan.town").to_owned(),
        PlanField::Phone => t!(w, "plan.phone").to_owned(),
        PlanField::Email => t!(w, "plan.email").to_owned(),
        PlanField::GridPoint => t!(w, "plan.grid_point").to_owned(),
        PlanField::Access => t!(w, "plan.access").to_owned(),
        PlanField::Zone => t!(w, "plan.zone").to_owned(),
        PlanField::Consent => t!(w, "plan.consent").to_owned(),
        PlanField::Schedule => t!(w, "plan.day").to_owned(),
        PlanField::Crew(own) => person(around.reference, *own).unwrap_or_else(|| t!(w, "plan.crew").to_owned()),
        PlanField::Units(kind) => w.say(unit_kind(*kind)).to_owned(),
        PlanField::Figure(key) => {
            let field = around.method.and_then(|method| method.design.iter().find(|field| field.key == *key));
            field.map_or_else(
                || t!(w, "plan.design").to_owned(),
                |field| field.label.in_language(w.lang.code()).to_owned(),
            )
        }
    }
}

/// What a fact says, in words.
fn value(w: Words, field: &PlanField, value: Option<&PlanValue>, around: Around<'_>) -> String {
    match value {
        None if matches!(field, PlanField::Crew(_)) => t!(w, "plan.not_on_job").to_owned(),
        None => t!(w, "plan.clash.nothing").to_owned(),
        Some(PlanValue::Words(words) | PlanValue::Unread(words)) => words.clone(),
        Some(PlanValue::Consent(own)) => {
            [w.say(consent(own.state)), own.reference.as_str()].join(" ").trim().to_owned()
        }
        Some(PlanValue::Schedule(own)) => [w.day_text(&own.day), own.start.clone()].join(" ").trim().to_owned(),
        Some(PlanValue::Role(role)) => w.say(crew_role(*role)).to_owned(),
        Some(PlanValue::Units { model, count }) => {
            let found = around.models.iter().find(|own| own.model == *model);
            let name = found.map(|own| format!("{} {}", own.maker, own.name)).unwrap_or_default();
            t!(w, "plan.clash.units", n = count, model = name)
        }
        Some(PlanValue::Figure(micro)) => {
            let PlanField::Figure(key) = field else { return w.number_short(*micro) };
            let known = around.method.and_then(|method| method.design.iter().find(|field| field.key == *key));
            known.map_or_else(|| w.number_short(*micro), |field| figure_shown(field, *micro, w))
        }
    }
}

/// What was taken over, and what must be decided.
#[component]
pub fn Clashes(
    /// The fields.
    form: Form,
    /// Where the job has moved on.
    meanwhile: Meanwhile,
    /// Names of people.
    reference: Arc<Reference>,
    /// Pinned models and the catalogue.
    models: Vec<ModelSnapshot>,
) -> impl IntoView {
    let w = use_words();
    let around = StoredValue::new((reference, models));
    let with = move |tell: &dyn Fn(Around<'_>) -> String| {
        around.with_value(|(reference, models)| {
            meanwhile.here.with(|here| {
                let here = here.as_ref();
                let method = here.and_then(|here| here.method.as_deref());
                // Somebody may have pinned a model that the catalogue here does not have yet.
                let pinned = here.and_then(|here| here.view.equipment.as_ref()).map(|own| own.models.clone());
                let models: Vec<ModelSnapshot> = pinned.into_iter().flatten().chain(models.iter().cloned()).collect();
                tell(Around { reference, method, models: &models })
            })
        })
    };
    let row = move |clash: Clash| {
        let field = with(&|around| name(w, &clash.field, around));
        let who = meanwhile.by.with(|by| by.get(&clash.field).copied());
        let who = who.and_then(|who| around.with_value(|(reference, _)| person(reference, who)));
        let sentence = t!(
            w,
            "plan.clash.text",
            who = who.unwrap_or_else(|| t!(w, "plan.clash.somebody").to_owned()),
            theirs = with(&|around| value(w, &clash.field, clash.theirs.as_ref(), around)),
            mine = with(&|around| value(w, &clash.field, clash.mine.as_ref(), around)),
        );
        let clash = StoredValue::new(clash);
        let choose = move |mine: bool| clash.with_value(|clash| meanwhile.choose(form, clash, mine, w));
        view! {
            <fieldset class="choices clash" data-testid="clash">
                <legend>{field}</legend>
                <p dir="auto">{sentence}</p>
                <div class="row">
                    <Button label=t!(w, "plan.clash.take") on_press=move || choose(false) />
                    <Button label=t!(w, "plan.clash.keep") on_press=move || choose(true) />
                </div>
            </fieldset>
        }
    };
    let taken = move || {
        let fields = meanwhile.taken.get();
        (!fields.is_empty()).then(|| {
            let names: Vec<String> = fields.iter().map(|field| with(&|around| name(w, field, around))).collect();
            view! { <Banner><p>{t!(w, "plan.taken", fields = names.join(", "))}</p></Banner> }
        })
    };
    let clashes = move || {
        let all = meanwhile.clashes.get();
        (!all.is_empty()).then(|| {
            view! {
                <Banner tone=Tone::Caution title=t!(w, "plan.clash.title")>
                    {all.into_iter().map(row).collect_view()}
                </Banner>
            }
        })
    };
    view! {
        <div class="stack unless-empty" id=PANEL tabindex="-1">
            {taken}
            {clashes}
        </div>
    }
}
