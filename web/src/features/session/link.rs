//! A one-time link: the first owner sets up the firm, an invited person begins, somebody chooses a new password.

use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::{Deserialize, Serialize};

use super::sign_in::{NewPassword, Sign, SubmitBelow, ToSignIn};
use super::view_model::{email_fault, password_fault};
use crate::adapters::browser;
use crate::adapters::fetch::{Call, use_api};
use crate::features::bounds::name_fault;
use crate::i18n::{Words, use_words};
use crate::load::{Load, load, shown};
use crate::refusal::Refusal;
use crate::t;
use crate::ui::{Banner, Field, FieldKind, Page, Tone};

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Purpose {
    FirstOwner,
    Invitation,
    Reset,
}

#[derive(Clone, Debug, Deserialize)]
struct LinkView {
    purpose: Purpose,
    email: Option<String>,
    display_name: Option<String>,
    firm_name: Option<String>,
}

#[derive(Serialize)]
struct Follow {
    password: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    display_name: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    firm_name: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    email: Option<String>,
}

/// What is typed.
#[derive(Clone, Copy)]
struct Form {
    password: RwSignal<String>,
    display_name: RwSignal<String>,
    firm_name: RwSignal<String>,
    email: RwSignal<String>,
    /// Faults are told from the first attempt on.
    tried: RwSignal<bool>,
}

impl Form {
    fn of(link: &LinkView) -> Self {
        Self {
            password: RwSignal::new(String::new()),
            display_name: RwSignal::new(link.display_name.clone().unwrap_or_default()),
            firm_name: RwSignal::new(link.firm_name.clone().unwrap_or_default()),
            email: RwSignal::new(link.email.clone().unwrap_or_default()),
            tried: RwSignal::new(false),
        }
    }

    fn fault(self, of: RwSignal<String>, w: Words, judge: fn(Words, &str) -> Option<String>) -> Signal<Option<String>> {
        Signal::derive(move || self.tried.get().then(|| of.with(|value| judge(w, value))).flatten())
    }

    fn is_good(self, w: Words, purpose: Purpose) -> bool {
        let password = self.password.with_untracked(|value| password_fault(w, value).is_none());
        let name = self.display_name.with_untracked(|value| name_fault(w, value).is_none());
        let firm = self.firm_name.with_untracked(|value| name_fault(w, value).is_none());
        let email = self.email.with_untracked(|value| email_fault(w, value).is_none());
        match purpose {
            Purpose::FirstOwner => password && name && firm && email,
            Purpose::Invitation => password && name,
            Purpose::Reset => password,
        }
    }

    fn body(self, purpose: Purpose) -> Follow {
        let value = |of: RwSignal<String>| Some(of.get_untracked().trim().to_owned());
        let password = self.password.get_untracked();
        match purpose {
            Purpose::FirstOwner => Follow {
                password,
                display_name: value(self.display_name),
                firm_name: value(self.firm_name),
                email: value(self.email),
            },
            Purpose::Invitation => {
                Follow { password, display_name: value(self.display_name), firm_name: None, email: None }
            }
            Purpose::Reset => Follow { password, display_name: None, firm_name: None, email: None },
        }
    }
}

/// The page.
#[component]
pub fn LinkPage(
    /// The secret of the link.
    token: String,
) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let path = StoredValue::new(format!("/api/links/{token}"));
    let link = RwSignal::new(Load::<LinkView>::Waiting);
    let fetch = move || {
        load(link, async move { api.send(Call::new("GET", path.get_value()).anonymous()).await?.json() });
    };
    fetch();
    let done = RwSignal::new(false);
    move || {
        if done.get() {
            return view! {
                <Page title=t!(w, "sign_in.title") alone=true bottom=|| view! { <ToSignIn /> }>
                    <Sign />
                    <Banner tone=Tone::Good><p>{t!(w, "link.done")}</p></Banner>
                </Page>
            }
            .into_any();
        }
        match link.get() {
            Load::Here(view) => form(w, &view, path, done),
            Load::Refused(refusal @ Refusal::Problem { .. }) => view! {
                <Page title=t!(w, "sign_in.title") alone=true bottom=|| view! { <ToSignIn /> }>
                    <Sign />
                    <Banner tone=Tone::Stop>
                        <p>{if refusal.is("not_found") { t!(w, "link.closed").to_owned() } else { refusal.tell(w) }}</p>
                    </Banner>
                </Page>
            }
            .into_any(),
            Load::Waiting | Load::Refused(_) => view! {
                <Page title=t!(w, "link.loading") alone=true>
                    <Sign />
                    {shown(link, fetch, |_| ().into_any())}
                </Page>
            }
            .into_any(),
        }
    }
}

fn form(w: Words, link: &LinkView, path: StoredValue<String>, done: RwSignal<bool>) -> AnyView {
    let api = use_api();
    let purpose = link.purpose;
    let form = Form::of(link);
    let (busy, refused) = (RwSignal::new(false), RwSignal::new(None::<Refusal>));
    let send = move || {
        form.tried.set(true);
        if busy.get_untracked() {
            return;
        }
        if !form.is_good(w, purpose) {
            browser::focus_wrong_soon();
            return;
        }
        busy.set(true);
        refused.set(None);
        spawn_local(async move {
            let call = Call::new("POST", path.get_value()).json(&form.body(purpose)).anonymous();
            let outcome = api.send(call).await;
            let _ = busy.try_set(false);
            match outcome {
                Ok(_) => {
                    let _ = done.try_set(true);
                }
                Err(refusal) => {
                    let _ = refused.try_set(Some(refusal));
                }
            }
        });
    };
    let (title, explain) = match purpose {
        Purpose::FirstOwner => (t!(w, "link.first_owner.title"), t!(w, "link.first_owner.explain").to_owned()),
        Purpose::Invitation => (
            t!(w, "link.invitation.title"),
            t!(w, "link.invitation.explain", firm = link.firm_name.as_deref().unwrap_or_default()),
        ),
        Purpose::Reset => {
            (t!(w, "link.reset.title"), t!(w, "link.reset.explain", email = link.email.as_deref().unwrap_or_default()))
        }
    };
    let first = purpose == Purpose::FirstOwner;
    view! {
        <Page title lead=explain alone=true bottom=move || view! { <SubmitBelow form="link" label=t!(w, "link.save") busy /> }>
            {move || refused.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
            <form
                id="link"
                class="stack loose"
                novalidate
                on:submit=move |event| {
                    event.prevent_default();
                    send();
                }
            >
                {first.then(|| view! {
                    <Field label=t!(w, "link.firm_name") value=form.firm_name fault=form.fault(form.firm_name, w, name_fault) />
                    <Field label=t!(w, "link.email") value=form.email kind=FieldKind::Email fault=form.fault(form.email, w, email_fault) />
                })}
                {(purpose != Purpose::Reset).then(|| view! {
                    <Field label=t!(w, "link.your_name") value=form.display_name fault=form.fault(form.display_name, w, name_fault) />
                })}
                <NewPassword value=form.password fault=form.fault(form.password, w, password_fault) />
            </form>
        </Page>
    }
    .into_any()
}
