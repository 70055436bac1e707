//! Everyone of the firm, for its owner: who they are, an invitation for a new one.

use domain::people::Role;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::{Deserialize, Serialize};

use super::firm::FirmSettings;
use super::view_model::{ROLES, email_fault, role_hint, role_line, role_name};
use crate::adapters::browser;
use crate::adapters::fetch::use_api;
use crate::device::use_device;
use crate::features::bounds::name_fault;
use crate::features::crew::typed::keep_typed;
use crate::i18n::{Lang, use_words};
use crate::load::{Load, load, shown};
use crate::refusal::Refusal;
use crate::routes::Screen;
use crate::session::{Person, use_session};
use crate::t;
use crate::ui::{
    Banner, Button, CheckRow, Chip, Choice, Empty, Field, FieldKind, Icon, Look, Page, RowLink, Select, Sheet, Toasts,
    Tone,
};

#[derive(Serialize)]
struct Invite {
    email: String,
    display_name: String,
    roles: Vec<Role>,
    language: String,
}

/// What was typed and not sent.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
struct InviteDraft {
    email: String,
    name: String,
}

#[derive(Deserialize)]
struct Invited {
    link: String,
}

/// The page.
#[component]
pub fn PeoplePage() -> impl IntoView {
    let (w, api, session) = (use_words(), use_api(), use_session());
    let people = RwSignal::new(Load::<Vec<Person>>::Waiting);
    let fetch = move || load(people, async move { api.get("/api/people").await });
    fetch();
    let inviting = RwSignal::new(false);
    let own = session.profile_now().map(|profile| profile.person.id);
    let list = move |all: Vec<Person>| {
        if all.is_empty() {
            return view! { <Empty words=t!(w, "people.none") icon=Icon::People /> }.into_any();
        }
        let row = |person: Person| {
            let roles = role_line(w, &person.roles);
            view! {
                <RowLink href=Screen::Person(person.id).href() name=person.display_name detail=roles icon=Icon::Person>
                    {(own == Some(person.id)).then(|| view! { <Chip label=t!(w, "people.yourself") icon=Icon::Person /> })}
                    {(!person.active).then(|| view! { <Chip label=t!(w, "people.inactive") tone=Tone::Stop icon=Icon::Lock /> })}
                </RowLink>
            }
        };
        view! { <div class="rows">{all.into_iter().map(row).collect_view()}</div> }.into_any()
    };
    let bottom =
        move || view! { <Button label=t!(w, "people.invite") look=Look::Main on_press=move || inviting.set(true) /> };
    view! {
        <Page title=t!(w, "people.title") back=Screen::Menu bottom=bottom>
            {shown(people, fetch, list)}
            <FirmSettings />
            <InviteSheet open=inviting done=fetch />
        </Page>
    }
}

#[component]
fn InviteSheet(open: RwSignal<bool>, #[prop(into)] done: UnsyncCallback<()>) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let (email, name) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let language = RwSignal::new(w.lang.code().to_owned());
    let roles = RoleTicks::of(&[Role::Technician]);
    let (tried, busy) = (RwSignal::new(false), RwSignal::new(false));
    let refused = RwSignal::new(None::<Refusal>);
    let link = RwSignal::new(None::<(String, String)>);
    let typed = Memo::new(move |_| InviteDraft { email: email.get(), name: name.get() });
    let kept = keep_typed(use_device(), "invite".to_owned(), typed, move |before: InviteDraft| {
        email.set(before.email);
        name.set(before.name);
    });
    let toasts = expect_context::<Toasts>();
    let send = move || {
        tried.set(true);
        let wanted = roles.chosen();
        let body = Invite {
            email: email.get_untracked(),
            display_name: name.get_untracked(),
            roles: wanted,
            language: language.get_untracked(),
        };
        if email_fault(w, &body.email).is_some() || name_fault(w, &body.display_name).is_some() || body.roles.is_empty()
        {
            browser::focus_wrong_soon();
            return;
        }
        let forget = kept.forgetting();
        busy.set(true);
        refused.set(None);
        spawn_local(async move {
            let outcome = api.exchange::<Invited>("POST", "/api/people", &body).await;
            let _ = busy.try_set(false);
            match outcome {
                Ok(invited) => {
                    forget();
                    let _ = link.try_set(Some((body.display_name, invited.link)));
                    let _ = email.try_set(String::new());
                    let _ = name.try_set(String::new());
                    let _ = tried.try_set(false);
                    done.try_run(());
                }
                Err(refusal) => {
                    let _ = refused.try_set(Some(refusal));
                }
            }
        });
    };
    Effect::new(move |was_open: Option<bool>| {
        let open = open.get();
        if !open {
            link.set(None);
            if was_open == Some(true) && typed.get_untracked() != InviteDraft::default() {
                toasts.say(t!(w, "draft.kept_form"));
            }
        }
        open
    });
    let fault = move |of: RwSignal<String>, judge: fn(crate::i18n::Words, &str) -> Option<String>| {
        Signal::derive(move || tried.get().then(|| of.with(|value| judge(w, value))).flatten())
    };
    let languages =
        Lang::ALL.into_iter().map(|lang| Choice::new(lang.code(), w.say(lang.own_name()))).collect::<Vec<_>>();
    let languages = StoredValue::new(languages);
    let acts = move || {
        (link.with(Option::is_none))
            .then(|| view! { <Button label=t!(w, "people.invite_send") look=Look::Main busy on_press=send /> })
    };
    let body = move || {
        match link.get() {
        Some((name, link)) => view! { <OneTimeLink name link /> }.into_any(),
        None => view! {
            {move || refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
            <Field label=t!(w, "people.name") value=name fault=fault(name, name_fault) />
            <Field label=t!(w, "people.email") value=email kind=FieldKind::Email fault=fault(email, email_fault) />
            <Select label=t!(w, "people.language") value=language choices=Signal::derive(move || languages.get_value()) />
            <RoleRows ticks=roles tried />
        }
        .into_any(),
    }
    };
    view! {
        <Sheet open title=t!(w, "people.invite") way_out=t!(w, "ui.close") acts=acts>
            {body}
        </Sheet>
    }
}

/// A link that is shown once, to be handed over by a person.
#[component]
pub(super) fn OneTimeLink(name: String, link: String) -> impl IntoView {
    let w = use_words();
    let toasts = expect_context::<Toasts>();
    let words = link.clone();
    let copy = move || {
        let words = words.clone();
        spawn_local(async move {
            if browser::copy(&words).await {
                toasts.say(t!(w, "people.copied"));
            }
        });
    };
    view! {
        <p>{t!(w, "people.link_explain", name = name)}</p>
        <p class="one-time">{link}</p>
        {browser::is_secure().then(|| view! { <Button label=t!(w, "people.copy_link") on_press=copy /> })}
    }
}

/// Which roles are ticked.
#[derive(Clone, Copy)]
pub struct RoleTicks([RwSignal<bool>; ROLES.len()]);

impl RoleTicks {
    pub(super) fn of(roles: &[Role]) -> Self {
        Self(ROLES.map(|role| RwSignal::new(roles.contains(&role))))
    }

    /// Tracked.
    pub(super) fn is_empty(self) -> bool {
        !self.0.iter().any(|tick| tick.get())
    }

    pub(super) fn chosen(self) -> Vec<Role> {
        ROLES.iter().zip(self.0).filter(|(_, tick)| tick.get_untracked()).map(|(role, _)| *role).collect()
    }
}

/// The roles to tick.
#[component]
pub(super) fn RoleRows(ticks: RoleTicks, #[prop(into)] tried: Signal<bool>) -> impl IntoView {
    let w = use_words();
    let row = |(role, checked): (Role, RwSignal<bool>)| {
        view! { <CheckRow label=w.say(role_name(role)) hint=w.say(role_hint(role)) checked /> }
    };
    view! {
        <fieldset class="choices">
            <legend>{t!(w, "people.roles")}</legend>
            {ROLES.into_iter().zip(ticks.0).map(row).collect_view()}
            {move || (tried.get() && ticks.is_empty()).then(|| view! { <Banner tone=Tone::Stop><p>{t!(w, "people.need_role")}</p></Banner> })}
        </fieldset>
    }
}
