//! A statement ticked by a named person, and one of a list.

use domain::ids::{Hash32, PersonId};
use domain::job_file::Body;
use domain::job_file::body::{Choice as Chosen, Confirmation, Remark};
use domain::method::plan::{ChoiceNeed, ConfirmationNeed, Confirmer};
use leptos::prelude::*;

use super::ctx::Ctx;
use crate::features::crew::typed::Kept;
use crate::features::words;
use crate::store::NewEntry;
use crate::t;
use crate::ui::{Choice, Field, FieldKind, RadioRows, Select};

/// Records a confirmation.
#[component]
pub fn ConfirmationPart(
    /// Where.
    ctx: Ctx,
    /// What.
    need: ConfirmationNeed,
) -> impl IntoView {
    let w = ctx.w;
    let (person, name) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let remark_id = StoredValue::new(ctx.device.new_entry_id());
    let typed = Memo::new(move |_| name.get());
    let kept = (need.by == Confirmer::Householder)
        .then(|| ctx.keep_typed("householder", typed, move |typed: String| name.set(typed)));
    // The very words on the screen are what is confirmed.
    let statement = Hash32::sha256(need.label.in_language(w.lang.code()).as_bytes());
    let by = need.by;
    let ready = move || match by {
        Confirmer::Recorder => true,
        Confirmer::SecondPerson => person.get().parse::<PersonId>().is_ok(),
        Confirmer::Householder => !name.get().trim().is_empty(),
    };
    let confirm = move || {
        let Some(id) = ctx.id() else { return };
        let at = ctx.place();
        let mut entries: Vec<NewEntry> = Vec::new();
        let (mut named, mut named_in) = (None, None);
        match by {
            Confirmer::Recorder => {}
            Confirmer::SecondPerson => named = person.get_untracked().parse().ok(),
            Confirmer::Householder => {
                named_in = remark_id.get_value();
                let text = name.get_untracked().trim().to_owned();
                entries.extend(
                    named_in.map(|id| NewEntry::from((id, Body::Remark(Remark { at: Some(at.clone()), text })))),
                );
            }
        }
        let corrects = ctx.correcting.get_untracked();
        entries
            .push((id, Body::Confirmation(Confirmation { at, statement, person: named, named_in, corrects })).into());
        let forget = kept.map(Kept::forgetting);
        ctx.write(entries, move || {
            name.try_set(String::new());
            if let Some(forget) = forget {
                forget();
            }
            remark_id.set_value(ctx.device.new_entry_id());
        });
    };
    let above = match by {
        Confirmer::Recorder => view! { <p class="soft">{t!(w, "step.confirm.yourself")}</p> }.into_any(),
        Confirmer::SecondPerson => second_person(ctx, person, t!(w, "step.confirm.second_person_hint")),
        Confirmer::Householder => householder(ctx, name, t!(w, "step.confirm.householder_hint")),
    };
    view! { {above} {ctx.sign_here(t!(w, "step.confirm.action"), move || !ready(), confirm)} }.into_any()
}

/// Who of the household says it.
pub fn householder(ctx: Ctx, name: RwSignal<String>, hint: &'static str) -> AnyView {
    let w = ctx.w;
    view! {
        <Field label=t!(w, "step.confirm.householder") kind=FieldKind::Text value=name hint />
    }
    .into_any()
}

/// Which other person of the crew says it.
pub fn second_person(ctx: Ctx, person: RwSignal<String>, hint: &'static str) -> AnyView {
    let w = ctx.w;
    let choices = Signal::derive(move || {
        let me = ctx.device.person();
        let people = ctx.device.people();
        let mut others = ctx
            .job(|job| {
                let crew = job.crew.iter().map(|assigned| assigned.person).chain(job.planner);
                let mut others: Vec<PersonId> = crew.filter(|person| Some(*person) != me).collect();
                others.sort_unstable();
                others.dedup();
                others
            })
            .unwrap_or_default();
        let mut choices = vec![Choice::new("", t!(w, "step.confirm.choose_person"))];
        choices
            .extend(others.drain(..).map(|person| Choice::new(person.to_string(), words::person(w, &people, person))));
        choices
    });
    view! {
        <Select label=t!(w, "step.confirm.second_person") value=person choices hint />
    }
    .into_any()
}

/// Records a choice.
#[component]
pub fn ChoicePart(
    /// Where.
    ctx: Ctx,
    /// What.
    need: ChoiceNeed,
) -> impl IntoView {
    let w = ctx.w;
    let option = RwSignal::new(String::new());
    let typed = Memo::new(move |_| option.get());
    let kept = ctx.keep_typed("choice", typed, move |typed: String| option.set(typed));
    let save = move || {
        let (Some(id), chosen) = (ctx.id(), option.get_untracked()) else { return };
        if chosen.is_empty() {
            return;
        }
        let corrects = ctx.correcting.get_untracked();
        let body = Body::Choice(Chosen { at: ctx.place(), option: chosen, corrects });
        let forget = kept.forgetting();
        ctx.write(vec![(id, body).into()], move || {
            option.try_set(String::new());
            forget();
        });
    };
    ctx.act.press(t!(w, "step.choice.action"), move || option.with(String::is_empty), save);
    let label = need.label.in_language(w.lang.code()).to_owned();
    let choices = need
        .options
        .iter()
        .map(|option| Choice {
            value: option.id.clone(),
            label: option.label.in_language(w.lang.code()).to_owned(),
            hint: option.fails.then(|| t!(w, "step.choice.fails").to_owned()),
        })
        .collect();
    view! { <RadioRows label value=option choices /> }.into_any()
}
