//! The page: filter, search and the open row stand in the address.

use domain::ids::JobId;
use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos_router::NavigateOptions;
use leptos_router::hooks::{use_navigate, use_query_map};

use super::details::details;
use super::held::HeldList;
use super::view_model::{PAGE_ROWS, RegistrationRow, Show, shows, sorted};
use super::words::{deadline, missing};
use crate::adapters::fetch::use_api;
use crate::features::desk::shared::phase_of_word;
use crate::features::desk::{Store, with_store};
use crate::i18n::{Key, Words, use_words};
use crate::load::{Load, shown};
use crate::refusal::Refusal;
use crate::ui::{Button, Chip, Empty, Field, FieldKind, Icon, Page, Table, Tone};
use crate::{key, t, tn};

/// So many missing things are named in the list; more are counted.
const NAMED: usize = 2;

const fn show_name(show: Show) -> Key {
    match show {
        Show::Missing => key!("registration.show.missing"),
        Show::Complete => key!("registration.show.complete"),
        Show::All => key!("registration.show.all"),
        Show::Held => key!("registration.show.held"),
    }
}

/// The address of the desk.
fn address(show: Show, search: &str, job: Option<JobId>) -> String {
    let mut href = format!("/registration?show={}", show.word());
    if !search.is_empty() {
        let search: String = js_sys::encode_uri_component(search).into();
        href.push_str(&format!("&q={search}"));
    }
    if let Some(job) = job {
        href.push_str(&format!("&job={job}"));
    }
    href
}

/// The page.
#[component]
pub fn RegistrationDeskPage() -> impl IntoView {
    let w = use_words();
    let query = use_query_map();
    let show = Memo::new(move |_| Show::of_word(query.read().get("show").as_deref()));
    let search = Memo::new(move |_| query.read().get("q").unwrap_or_default());
    let chosen = Memo::new(move |_| query.read().get("job").and_then(|job| job.parse::<JobId>().ok()));
    let tab = move |own: Show| {
        let current = move || (show.get() == own).then_some("page");
        view! { <a href=move || address(own, &search.get(), None) class="tab" aria-current=current>{w.say(show_name(own))}</a> }
    };
    view! {
        <Page title=t!(w, "screen.registration_desk") wide=true>
            <nav class="tabs" aria-label=t!(w, "screen.registration_desk")>{Show::ALL.into_iter().map(tab).collect_view()}</nav>
            {with_store(move |store| view! { <Desk store show search chosen /> }.into_any())}
        </Page>
    }
}

#[component]
fn Desk(store: Store, show: Memo<Show>, search: Memo<String>, chosen: Memo<Option<JobId>>) -> impl IntoView {
    let held = Memo::new(move |_| show.get() == Show::Held);
    move || {
        if held.get() {
            view! { <HeldList /> }.into_any()
        } else {
            view! { <Registrations store show search chosen /> }.into_any()
        }
    }
}

/// What was fetched so far.
#[derive(Clone, Debug, Default, PartialEq)]
struct Fetched {
    rows: Vec<RegistrationRow>,
    more: bool,
}

#[component]
fn Registrations(store: Store, show: Memo<Show>, search: Memo<String>, chosen: Memo<Option<JobId>>) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let data = RwSignal::new(Load::<Fetched>::Waiting);
    let fetch_from = move |after: Option<JobId>| {
        spawn_local(async move {
            let path =
                after.map_or_else(|| "/api/registration".to_owned(), |job| format!("/api/registration?after={job}"));
            let outcome: Result<Vec<RegistrationRow>, Refusal> = api.get(path).await;
            let now = match outcome {
                Ok(rows) => {
                    let more = rows.len() == PAGE_ROWS;
                    let before = match (after, data.try_get_untracked()) {
                        (Some(_), Some(Load::Here(before))) => before.rows,
                        _ => Vec::new(),
                    };
                    let known: Vec<RegistrationRow> =
                        before.into_iter().filter(|old| rows.iter().all(|row| row.job != old.job)).collect();
                    Load::Here(Fetched { rows: known.into_iter().chain(rows).collect(), more })
                }
                // What is on the screen stays while the server is away.
                Err(_) if data.try_with_untracked(|data| matches!(data, Load::Here(_))) == Some(true) => return,
                Err(refusal) => Load::Refused(refusal),
            };
            if data.try_with_untracked(|before| *before != now) == Some(true) {
                let _ = data.try_set(now);
            }
        });
    };
    let revision = store.get().revision();
    Effect::new(move |_| {
        // Whatever arrives on this device may change a registration.
        revision.track();
        fetch_from(None);
    });
    let navigate = use_navigate();
    let typed = RwSignal::new(search.get_untracked());
    Effect::new(move |before: Option<String>| {
        let typed = typed.get();
        if before.is_some_and(|before| before != typed) {
            let stay = NavigateOptions { replace: true, scroll: false, ..NavigateOptions::default() };
            navigate(&address(show.get_untracked(), typed.trim(), chosen.get_untracked()), stay);
        }
        typed
    });
    let navigate = use_navigate();
    let close = UnsyncCallback::new(move |()| {
        let stay = NavigateOptions { scroll: false, ..NavigateOptions::default() };
        navigate(&address(show.get_untracked(), &search.get_untracked(), None), stay);
    });
    let draw = move |fetched: Fetched| {
        let Fetched { rows, more } = fetched;
        let open = chosen.get().and_then(|job| rows.iter().find(|row| row.job == job).cloned());
        let last = rows.last().map(|row| row.job);
        let (show, search) = (show.get(), search.get());
        let all = rows.len();
        let rows: Vec<RegistrationRow> = sorted(rows).into_iter().filter(|row| shows(show, &search, row)).collect();
        let list = list(w, rows, all, show, &search, open.as_ref().map(|row| row.job));
        view! {
            {open.map(|row| details(w, &row, close))}
            {list}
            {more.then(|| view! { <div><Button label=t!(w, "registration.more") on_press=move || fetch_from(last) /></div> })}
        }
        .into_any()
    };
    view! {
        <div class="filters">
            <Field label=t!(w, "registration.search") hint=t!(w, "registration.search_hint") kind=FieldKind::Search value=typed />
        </div>
        {shown(data, move || fetch_from(None), draw)}
    }
}

fn list(w: Words, rows: Vec<RegistrationRow>, all: usize, show: Show, search: &str, open: Option<JobId>) -> AnyView {
    if rows.is_empty() {
        let words = match (all, show, search) {
            (0, _, _) => t!(w, "registration.nothing_yet"),
            (_, _, search) if !search.is_empty() => t!(w, "registration.nothing_found"),
            (_, Show::Missing, _) => t!(w, "registration.nothing_missing"),
            (_, Show::Complete | Show::All | Show::Held, _) => t!(w, "registration.nothing_complete"),
        };
        return view! { <Empty words icon=Icon::Register /> }.into_any();
    }
    let row = |row: RegistrationRow| {
        let href = address(show, search, Some(row.job));
        let name = if row.householder.is_empty() {
            t!(w, "crew.job_number", number = row.short)
        } else {
            row.householder.clone()
        };
        let known = row.units.iter().filter(|unit| unit.serial.is_some()).count();
        let lacks = if row.complete {
            view! { <Chip label=t!(w, "registration.complete") tone=Tone::Good /> }.into_any()
        } else {
            let named =
                row.missing.iter().take(NAMED).map(|own| view! { <li>{missing(w, &row, *own)}</li> }).collect_view();
            let more = row.missing.len().saturating_sub(NAMED);
            view! { <ul class="stack">{named}{(more > 0).then(|| view! { <li class="soft">{tn!(w, "registration.and_more", more)}</li> })}</ul> }.into_any()
        };
        let due = row.deadline.as_ref().map(|own| {
            let (label, tone) = deadline(w, own);
            view! { <Chip label tone icon=Icon::Calendar /> }
        });
        let state = phase_of_word(&row.state).map_or_else(|| row.state.clone(), |key| w.say(key).to_owned());
        let selected = (open == Some(row.job)).then_some("true");
        view! {
            <tr aria-selected=selected data-job=row.job.to_string()>
                <th scope="row" dir="auto"><a href=href>{name}</a></th>
                <td data-label=t!(w, "desk.address") dir="auto">{row.street.clone()}", "{row.town.clone()}</td>
                <td data-label=t!(w, "registration.state")>{state}</td>
                <td data-label=t!(w, "registration.serials") class="number">{t!(w, "registration.of", known = known, all = row.units.len())}</td>
                <td data-label=t!(w, "registration.missing_head")>{lacks}</td>
                <td data-label=t!(w, "registration.deadline")>{due}</td>
            </tr>
        }
    };
    let head = [
        t!(w, "plan.householder"),
        t!(w, "desk.address"),
        t!(w, "registration.state"),
        t!(w, "registration.serials"),
        t!(w, "registration.missing_head"),
        t!(w, "registration.deadline"),
    ];
    let rows = rows.into_iter().map(row).collect_view();
    let head = head.map(str::to_owned).to_vec();
    view! { <Table caption=t!(w, "screen.registration_desk") quiet=true head=head>{rows}</Table> }.into_any()
}
