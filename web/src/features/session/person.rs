//! One person, for the owner: name, roles, whether they may sign in, a link for a new password, their devices.

use domain::ids::PersonId;
use domain::people::Role;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::{Deserialize, Serialize};

use super::devices::{DeviceList, DeviceView};
use super::people::{OneTimeLink, RoleRows, RoleTicks};
use super::still_on::{StillOn, StillOnSheet, jobs_of};
use super::tickets::{TicketForm, Tickets};
use crate::adapters::browser;
use crate::adapters::fetch::{Call, use_api};
use crate::device::use_device;
use crate::features::bounds::name_fault;
use crate::features::crew::today;
use crate::features::crew::typed::keep_typed;
use crate::i18n::use_words;
use crate::load::{Load, load, shown};
use crate::refusal::Refusal;
use crate::routes::Screen;
use crate::session::{Person, Ticket};
use crate::t;
use crate::ui::{Banner, Button, CheckRow, Field, Look, Page, Section, Sheet, Toasts, Tone};

#[derive(Serialize)]
struct Change {
    display_name: String,
    roles: Vec<Role>,
    active: bool,
    tickets: Vec<Ticket>,
}

/// What was typed and not saved.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
struct PersonDraft {
    name: Option<String>,
    tickets: Option<Vec<Ticket>>,
    kind: String,
    expires: String,
}

#[derive(Deserialize)]
struct Link {
    link: String,
}

/// The page.
#[component]
pub fn PersonPage(
    /// Who.
    id: PersonId,
) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let person = RwSignal::new(Load::<Person>::Waiting);
    let fetch = move || {
        load(person, async move {
            let all: Vec<Person> = api.get("/api/people").await?;
            all.into_iter()
                .find(|person| person.id == id)
                .ok_or(Refusal::Problem { status: 404, code: "not_found".to_owned() })
        });
    };
    fetch();
    move || match person.get() {
        Load::Here(person) => view! { <PersonForm person /> }.into_any(),
        Load::Waiting | Load::Refused(_) => view! {
            <Page title=t!(w, "people.title") back=Screen::People>
                {shown(person, fetch, |_| ().into_any())}
            </Page>
        }
        .into_any(),
    }
}

#[component]
fn PersonForm(person: Person) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let toasts = expect_context::<Toasts>();
    let id = person.id;
    let name = RwSignal::new(person.display_name.clone());
    let active = RwSignal::new(person.active);
    let roles = RoleTicks::of(&person.roles);
    let tickets = TicketForm::of(person.tickets.clone());
    let as_saved = StoredValue::new((person.display_name.clone(), person.tickets.clone()));
    let typed = Memo::new(move |_| {
        let (name, tickets_now) = (name.get(), tickets.tickets.get());
        as_saved.with_value(|(name_saved, tickets_saved)| PersonDraft {
            name: (name != *name_saved).then_some(name),
            tickets: (tickets_now != *tickets_saved).then_some(tickets_now),
            kind: tickets.kind.get(),
            expires: tickets.expires.get(),
        })
    });
    let kept_before = RwSignal::new(false);
    let kept = keep_typed(use_device(), format!("person/{id}"), typed, move |before: PersonDraft| {
        if let Some(before) = before.name {
            name.set(before);
        }
        if let Some(before) = before.tickets {
            tickets.tickets.set(before);
        }
        tickets.kind.set(before.kind);
        tickets.expires.set(before.expires);
        kept_before.set(true);
    });
    let (tried, busy) = (RwSignal::new(false), RwSignal::new(false));
    let refused = RwSignal::new(None::<Refusal>);
    let still_on = RwSignal::new(Vec::<StillOn>::new());
    let may_sign_in = StoredValue::new(person.active);
    let save = move |asked: bool| {
        tried.set(true);
        let no_ticket_left = tickets.add_typed(w, today());
        let body = Change {
            display_name: name.get_untracked(),
            roles: roles.chosen(),
            active: active.get_untracked(),
            tickets: tickets.tickets.get_untracked(),
        };
        if name_fault(w, &body.display_name).is_some() || body.roles.is_empty() || !no_ticket_left {
            browser::focus_wrong_soon();
            return;
        }
        let forget = kept.forgetting();
        busy.set(true);
        refused.set(None);
        spawn_local(async move {
            if may_sign_in.get_value() && !body.active && !asked {
                let jobs = jobs_of(api, id).await;
                if !matches!(&jobs, Ok(jobs) if jobs.is_empty()) {
                    let _ = busy.try_set(false);
                    match jobs {
                        Ok(jobs) => _ = still_on.try_set(jobs),
                        Err(refusal) => _ = refused.try_set(Some(refusal)),
                    }
                    return;
                }
            }
            let outcome = api.send(Call::new("PATCH", format!("/api/people/{id}")).json(&body)).await;
            let _ = busy.try_set(false);
            match outcome {
                Ok(_) => {
                    let _ = as_saved.try_set_value((body.display_name.clone(), body.tickets.clone()));
                    let _ = may_sign_in.try_set_value(body.active);
                    let _ = kept_before.try_set(false);
                    forget();
                    toasts.say(t!(w, "people.saved"));
                }
                Err(refusal) => {
                    let _ = refused.try_set(Some(refusal));
                }
            }
        });
    };
    let name_wrong = Signal::derive(move || tried.get().then(|| name.with(|value| name_fault(w, value))).flatten());
    let devices = RwSignal::new(Load::<Vec<DeviceView>>::Waiting);
    let fetch = move || load(devices, async move { api.get("/api/devices").await });
    fetch();
    let list = move |all: Vec<DeviceView>| {
        let theirs = all.into_iter().filter(|device| device.person == id).collect();
        view! { <DeviceList devices=theirs changed=fetch /> }.into_any()
    };
    view! {
        <Page
            title=person.display_name.clone()
            lead=person.email.clone().unwrap_or_default()
            back=Screen::People
            bottom=move || view! { <Button label=t!(w, "people.save") look=Look::Main busy on_press=move || save(false) /> }
        >
            {move || refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
            {move || kept_before.get().then(|| view! { <Banner title=t!(w, "plan.kept_title")><p>{t!(w, "plan.kept")}</p></Banner> })}
            <Field label=t!(w, "people.name") value=name fault=name_wrong />
            <RoleRows ticks=roles tried />
            <Tickets form=tickets />
            <CheckRow label=t!(w, "people.active") hint=t!(w, "people.deactivate_warning") checked=active />
            <StillOnSheet jobs=still_on name go=Callback::new(move |()| save(true)) />
            <ResetLink id name=person.display_name />
            <Section title=t!(w, "device.title")>{shown(devices, fetch, list)}</Section>
        </Page>
    }
}

#[component]
fn ResetLink(id: PersonId, name: String) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let toasts = expect_context::<Toasts>();
    let busy = RwSignal::new(false);
    let open = RwSignal::new(false);
    let link = RwSignal::new(String::new());
    let make = move || {
        busy.set(true);
        spawn_local(async move {
            let outcome = api
                .send(Call::new("POST", format!("/api/people/{id}/reset")))
                .await
                .and_then(|answer| answer.json::<Link>());
            let _ = busy.try_set(false);
            match outcome {
                Ok(made) => {
                    let _ = link.try_set(made.link);
                    let _ = open.try_set(true);
                }
                Err(refusal) => toasts.say(refusal.tell(w)),
            }
        });
    };
    view! {
        <Button label=t!(w, "people.reset") busy on_press=make />
        <Sheet open title=t!(w, "people.reset") way_out=t!(w, "ui.close")>
            <OneTimeLink name=name.clone() link=link.get() />
        </Sheet>
    }
}
