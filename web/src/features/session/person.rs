//! One person, for the owner: name, roles, whether they may sign in, a link for a new password, their devices.

use domain::ids::PersonId;
use domain::people::Role;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::{Deserialize, Serialize};

use super::devices::{DeviceList, DeviceView};
use super::people::{OneTimeLink, RoleRows, RoleTicks};
use super::tickets::Tickets;
use super::view_model::missing;
use crate::adapters::fetch::{Call, use_api};
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
    let tickets = RwSignal::new(person.tickets.clone());
    let (tried, busy) = (RwSignal::new(false), RwSignal::new(false));
    let refused = RwSignal::new(None::<Refusal>);
    let save = move || {
        tried.set(true);
        let body = Change {
            display_name: name.get_untracked(),
            roles: roles.chosen(),
            active: active.get_untracked(),
            tickets: tickets.get_untracked(),
        };
        if missing(w, &body.display_name).is_some() || body.roles.is_empty() {
            return;
        }
        busy.set(true);
        refused.set(None);
        spawn_local(async move {
            let outcome = api.send(Call::new("PATCH", format!("/api/people/{id}")).json(&body)).await;
            let _ = busy.try_set(false);
            match outcome {
                Ok(_) => toasts.say(t!(w, "people.saved")),
                Err(refusal) => {
                    let _ = refused.try_set(Some(refusal));
                }
            }
        });
    };
    let name_wrong = Signal::derive(move || tried.get().then(|| name.with(|value| missing(w, value))).flatten());
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
            bottom=move || view! { <Button label=t!(w, "people.save") look=Look::Main busy on_press=save /> }
        >
            {move || refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
            <Field label=t!(w, "people.name") value=name fault=name_wrong />
            <RoleRows ticks=roles tried />
            <Tickets tickets />
            <CheckRow label=t!(w, "people.active") hint=t!(w, "people.deactivate_warning") checked=active />
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
