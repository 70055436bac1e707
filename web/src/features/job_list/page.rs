//! The page; search and state stand in the address, so that Back and a link find the same list.

use domain::ids::PersonId;
use gloo_timers::future::TimeoutFuture;
use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos_router::NavigateOptions;
use leptos_router::components::A;
use leptos_router::hooks::{use_navigate, use_query_map};

use super::view_model::{Asked, Found, JobRow, OPEN};
use crate::adapters::fetch::use_api;
use crate::device::use_device;
use crate::features::desk::shared::{PAGE_ROWS, STATES, phase_of_word};
use crate::i18n::format::Day;
use crate::i18n::{Words, use_words};
use crate::load::Load;
use crate::refusal::Refusal;
use crate::routes::Screen;
use crate::ui::{Banner, Button, Chip, Choice, Empty, Field, FieldKind, Icon, Page, Select, Table, Tone, Waiting};
use crate::{t, tn};

/// A pause in typing after which the server is asked.
const PAUSE_MS: u32 = 350;

fn encoded(text: &str) -> String {
    js_sys::encode_uri_component(text).into()
}

/// The address of the list.
fn address(asked: &Asked) -> String {
    let mut parts = Vec::new();
    if !asked.text.is_empty() {
        parts.push(format!("q={}", encoded(&asked.text)));
    }
    if !asked.state.is_empty() {
        parts.push(format!("state={}", asked.state));
    }
    let list = Screen::JobList.href();
    if parts.is_empty() { list } else { format!("{list}?{}", parts.join("&")) }
}

fn states(w: Words) -> Vec<Choice> {
    let word = |state: &str| phase_of_word(state).map_or_else(|| state.to_owned(), |key| w.say(key).to_owned());
    let first = [Choice::new("", t!(w, "jobs.state.all")), Choice::new(OPEN, t!(w, "jobs.state.open"))];
    first.into_iter().chain(STATES.map(|state| Choice::new(state, word(state)))).collect()
}

/// The page.
#[component]
pub fn JobListPage() -> impl IntoView {
    let (w, api, device) = (use_words(), use_api(), use_device());
    let query = use_query_map();
    let in_address = Memo::new(move |_| {
        let said = |name: &str| query.read().get(name).unwrap_or_default();
        Asked::of(&said("q"), &said("state"))
    });
    let first = in_address.get_untracked();
    let (typed, state) = (RwSignal::new(first.text.clone()), RwSignal::new(first.state.clone()));
    let wanted = Memo::new(move |_| Asked::of(&typed.get(), &state.get()));
    let data = RwSignal::new(Load::<Found>::Waiting);
    let turn = StoredValue::new(0_u64);

    // Asks for the first page, or for the one after the last row that is here. What is in sight stays where only news were asked for.
    let ask = move |more: bool, news: bool| {
        let asked = wanted.get_untracked();
        let before = match data.get_untracked() {
            Load::Here(found) if more && found.asked == asked => found.rows,
            Load::Here(_) | Load::Waiting | Load::Refused(_) => Vec::new(),
        };
        let mut path = format!("/api/jobs?q={}&state={}", encoded(&asked.text), asked.states());
        if let Some(last) = before.last() {
            path.push_str(&format!("&after={}", last.job));
        }
        turn.update_value(|turn| *turn += 1);
        let own = turn.get_value();
        spawn_local(async move {
            let outcome: Result<Vec<JobRow>, Refusal> = api.get(path).await;
            // A slow answer to an older question must not cover the newer one.
            if turn.try_get_value() != Some(own) {
                return;
            }
            let now = match outcome {
                Ok(page) => Load::Here(Found::page(asked, before, page)),
                Err(_) if news => return,
                Err(refusal) => Load::Refused(refusal),
            };
            if data.try_with_untracked(|before| *before != now) == Some(true) {
                let _ = data.try_set(now);
            }
        });
    };

    // What this page itself wrote into the address is no wish of somebody else's.
    let written = StoredValue::new(first);
    Effect::new(move |_| {
        let now = in_address.get();
        if written.with_value(|own| *own != now) {
            written.set_value(now.clone());
            typed.set(now.text);
            state.set(now.state);
        }
    });
    let navigate = use_navigate();
    Effect::new(move |before: Option<Asked>| {
        let now = wanted.get();
        match &before {
            None => ask(false, false),
            Some(before) if *before != now => {
                let is_typing = before.text != now.text;
                let (asked, navigate) = (now.clone(), navigate.clone());
                spawn_local(async move {
                    if is_typing {
                        TimeoutFuture::new(PAUSE_MS).await;
                    }
                    if wanted.try_get_untracked().as_ref() == Some(&asked) {
                        let stay = NavigateOptions { replace: true, scroll: false, ..NavigateOptions::default() };
                        if written.with_value(|own| *own != asked) {
                            written.set_value(asked.clone());
                            navigate(&address(&asked), stay);
                        }
                        ask(false, false);
                    }
                });
            }
            Some(_) => {}
        }
        now
    });
    Effect::new(move |before: Option<()>| {
        // Whatever arrives on this device may be news of a job in the list. Pages that somebody fetched one by one stay.
        if let Some(store) = device.store() {
            store.revision().track();
        }
        let is_one_page =
            data.with_untracked(|data| matches!(data, Load::Here(found) if found.rows.len() <= PAGE_ROWS));
        if before.is_some() && is_one_page {
            ask(false, true);
        }
    });

    let names = Memo::new(move |_| device.people());
    let waits = move || match data.get() {
        Load::Here(found) => found.asked != wanted.get(),
        Load::Waiting | Load::Refused(_) => false,
    };
    let content = move || match data.get() {
        Load::Waiting => view! { <Waiting /> }.into_any(),
        Load::Here(found) => list(w, found, &names.get(), move || ask(true, false)),
        Load::Refused(refusal) => {
            let words = match refusal {
                Refusal::Offline | Refusal::Silence => t!(w, "jobs.offline").to_owned(),
                other => other.tell(w),
            };
            let again = move || {
                data.set(Load::Waiting);
                ask(false, false);
            };
            view! {
                <Banner tone=Tone::Caution>
                    <p>{words}</p>
                    <Button label=t!(w, "ui.retry") on_press=again />
                </Banner>
            }
            .into_any()
        }
    };
    let choices = StoredValue::new(states(w));
    view! {
        <Page title=t!(w, "screen.jobs") wide=true>
            <div class="filters">
                <Field label=t!(w, "jobs.search") hint=t!(w, "jobs.search_hint") kind=FieldKind::Search value=typed />
                <Select label=t!(w, "jobs.state") value=state choices=Signal::derive(move || choices.get_value()) />
            </div>
            <p class="soft unless-empty" role="status">{move || waits().then(|| t!(w, "ledger.looking"))}</p>
            {content}
        </Page>
    }
}

fn list(w: Words, found: Found, names: &[(PersonId, String)], more: impl Fn() + 'static) -> AnyView {
    if found.rows.is_empty() {
        let words = match (found.asked.is_everything(), found.asked.text.as_str()) {
            (true, _) => t!(w, "jobs.nothing").to_owned(),
            (false, "") => t!(w, "jobs.none_in_state").to_owned(),
            (false, text) => t!(w, "jobs.none", asked = text),
        };
        return view! { <Empty words icon=Icon::Search /> }.into_any();
    }
    let count = found.rows.len();
    let told = if found.more { t!(w, "jobs.first", n = count) } else { tn!(w, "jobs.found", count) };
    let head = [
        t!(w, "jobs.number"),
        t!(w, "plan.householder"),
        t!(w, "desk.address"),
        t!(w, "plan.day_field"),
        t!(w, "plan.crew"),
        t!(w, "jobs.state"),
    ];
    let head = head.map(str::to_owned).to_vec();
    let rows = found.rows.into_iter().map(|row| line(w, row, names)).collect_view();
    view! {
        <p class="soft">{told}</p>
        <div class="job-list" data-testid="job-list">
            <Table caption=t!(w, "screen.jobs") quiet=true head=head>{rows}</Table>
        </div>
        {found.more.then(|| view! { <div><Button label=t!(w, "registration.more") on_press=more /></div> })}
    }
    .into_any()
}

fn line(w: Words, row: JobRow, names: &[(PersonId, String)]) -> AnyView {
    let name = |person: &PersonId| names.iter().find(|(own, _)| own == person).map(|(_, name)| name.as_str());
    let crew = row.crew.iter().filter_map(name).collect::<Vec<_>>().join(", ");
    let day = Day::parse(&row.day).map(|day| w.weekday_and_day(day)).unwrap_or_default();
    let when = if row.start.is_empty() { day } else { format!("{day}, {}", row.start) };
    let state = phase_of_word(&row.state).map_or_else(|| row.state.clone(), |key| w.say(key).to_owned());
    let who =
        if row.householder.is_empty() { t!(w, "crew.job_number", number = row.short) } else { row.householder.clone() };
    let href = Screen::JobDesk(row.job).href();
    view! {
        <tr data-job=row.job.to_string()>
            <td class="serial" data-label=t!(w, "jobs.number")>{row.short.clone()}</td>
            <th scope="row" dir="auto"><A href=href>{who}</A></th>
            <td data-label=t!(w, "desk.address") dir="auto">{row.address()}</td>
            <td data-label=t!(w, "plan.day_field")>{when}</td>
            <td data-label=t!(w, "plan.crew") dir="auto">{crew}</td>
            <td data-label=t!(w, "jobs.state")><Chip label=state tone=tone(&row.state) /></td>
        </tr>
    }
    .into_any()
}

/// The weight of a state by its word.
fn tone(state: &str) -> Tone {
    match state {
        "passed" | "sealed" => Tone::Good,
        "on_site" | "for_review" => Tone::Wait,
        "paused" | "returned" => Tone::Caution,
        _ => Tone::Plain,
    }
}
