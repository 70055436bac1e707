//! The test sheet: for the lead beside the design, for the technician beside the job, and on paper where no phone works.

use std::sync::Arc;

use domain::design::{Line, Stage, Standing};
use domain::ids::{JobId, PersonId};
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::form::part;
use super::test_rows::{Came, Record, TestRow, test_rows};
use super::words::{cited, field_name};
use crate::adapters::browser;
use crate::device::use_device;
use crate::features::desk::{DeskJob, Store, follow_job, moment, with_store};
use crate::features::words::limit;
use crate::i18n::{Words, use_words};
use crate::key;
use crate::routes::Screen;
use crate::session::use_session;
use crate::t;
use crate::ui::{Banner, Button, Caution, Chip, Empty, Icon, LinkButton, Page, Tone, Waiting};

/// The page.
#[component]
pub fn TestSheetPage(
    /// Which job.
    job: JobId,
) -> impl IntoView {
    with_store(move |store| view! { <Opening store job /> }.into_any())
}

#[component]
fn Opening(store: Store, job: JobId) -> impl IntoView {
    let w = use_words();
    let session = use_session();
    let here: Signal<Option<Arc<DeskJob>>> = follow_job(&store.get(), job, w).into();
    let opener = store.get();
    spawn_local(async move {
        // Where it cannot be noted the job is still shown as far as it is here.
        let _ = opener.open_job(job, true).await;
    });
    // Whoever may read the design came from there.
    let roles = session.profile().map(|profile| profile.person.roles).unwrap_or_default();
    let design = Screen::DesignSheet(job);
    let back = if design.access().admits(Some(&roles)) { design } else { Screen::Job(job) };
    let content = move || {
        here.with(|here| match here.as_deref() {
            None => view! { <Waiting /> }.into_any(),
            Some(here) if !here.known => view! { <Empty words=t!(w, "desk.not_here") icon=Icon::Wait /> }.into_any(),
            Some(here) => sheet_view(w, job, here),
        })
    };
    view! { <Page title=move || title(w, job, here) back wide=true>{content}</Page> }
}

fn title(w: Words, job: JobId, here: Signal<Option<Arc<DeskJob>>>) -> String {
    let site = here.with(|here| here.as_ref().map(|here| here.view.site.clone()).unwrap_or_default());
    let name = if site.householder.is_empty() { site.town } else { site.householder };
    let of = if name.is_empty() { t!(w, "crew.job_number", number = job.short()) } else { name };
    t!(w, "design.pair", name = t!(w, "design.tests"), value = of)
}

fn sheet_view(w: Words, job: JobId, here: &DeskJob) -> AnyView {
    let device = use_device();
    let found = match test_rows(w, &here.view, &here.rule_set, &device.rule_sets()) {
        Ok(found) => found,
        Err(label) => {
            return view! { <Empty words=t!(w, "design.rules_absent", label = label) icon=Icon::Wait /> }.into_any();
        }
    };
    let people = device.people();
    let stage = |stage: Stage, from: usize| {
        let rows = found.rows.iter().enumerate().filter(|(_, row)| row.stage == stage);
        let rows: Vec<AnyView> = rows.map(|(at, row)| row_view(w, job, at + 1, row, &people)).collect();
        view! { <ol class="sheet-rows" start=from.to_string()>{rows}</ol> }.into_any()
    };
    let first_live = found.rows.iter().take_while(|row| row.stage == Stage::Dead).count() + 1;
    let undesigned = here.view.design.is_empty();
    view! {
        <div class="design-sheet test-sheet stack loose">
            <Caution text=key!("design.tests_caution") />
            {undesigned.then(|| view! { <Banner><p>{t!(w, "design.tests_undesigned")}</p></Banner> })}
            <div class="row">
                <p class="fill">{t!(w, "design.rules_version", label = found.rules)}</p>
                <div class="no-print"><Button label=t!(w, "design.print") icon=Icon::Document on_press=browser::print_soon /></div>
            </div>
            {part("dead-tests", t!(w, "design.tests_dead"), stage(Stage::Dead, 1))}
            {part("live-tests", t!(w, "design.tests_live"), stage(Stage::Live, first_live))}
        </div>
    }
    .into_any()
}

fn row_view(w: Words, job: JobId, number: usize, row: &TestRow, people: &[(PersonId, String)]) -> AnyView {
    let unplug: Vec<&'static str> = row.disconnect.iter().map(|key| w.say(*key)).collect();
    let unplug = (!unplug.is_empty()).then(|| named(t!(w, "design.disconnect"), unplug.join(", ")));
    let records: Vec<AnyView> = row.records.iter().map(|record| record_view(w, record, people)).collect();
    let by_hand = records.is_empty().then(|| {
        view! { <p class="by-hand only-print">{t!(w, "design.by_hand")}</p> }
    });
    let again = (!row.again.is_empty()).then(|| {
        view! {
            <details class="no-print">
                <summary>{t!(w, "design.again")}</summary>
                <p>{row.again.join(", ")}</p>
            </details>
        }
    });
    let go = row.step.clone().map(|(step, slot)| {
        let href = Screen::Step(job, step, slot).href();
        view! { <div class="no-print"><LinkButton label=t!(w, "design.to_step") href icon=Icon::Next /></div> }
    });
    view! {
        <li class="sheet-row test-row stack" data-testid="test" data-test=row.key data-standing=standing_word(row.standing)>
            <div class="row">
                <b class="fill">{format!("{number}. {}", row.name)}</b>
                {standing_chip(w, row.standing)}
            </div>
            {row.opened_by.as_ref().map(|by| view! { <p class="why">{t!(w, "design.opened_by", test = by)}</p> })}
            {named(t!(w, "design.circuit"), w.say(row.circuit).to_owned())}
            {unplug}
            {row.line.as_ref().map(|line| limit_view(w, line))}
            <ul class="stack bullets">{records}</ul>
            {by_hand}
            {again}
            {go}
        </li>
    }
    .into_any()
}

fn named(name: &'static str, text: String) -> AnyView {
    view! { <p class="named"><b>{name}</b>" "<span>{text}</span></p> }.into_any()
}

/// The limit with its source; where there is none yet, what it waits for.
fn limit_view(w: Words, line: &Line) -> AnyView {
    let known = line.check().and_then(|check| check.limit.map(|known| (check, known)));
    match known {
        Some((check, known)) => {
            let text = limit(w, known.limit, known.unit, known.prefix());
            let rule = line.rule.filter(|(_, from)| *from != check.source).map(|(id, from)| {
                let (name, value) = (t!(w, "design.rule", id = id), cited(w, from));
                view! { <p class="soft">{t!(w, "design.pair", name = name, value = value)}</p> }
            });
            view! {
                {named(t!(w, "design.limit_named"), text)}
                <p class="soft">{t!(w, "design.limit_from", id = check.id, source = cited(w, check.source))}</p>
                {rule}
            }
            .into_any()
        }
        None => {
            let missing: Vec<String> = line.missing.iter().map(|key| field_name(w, key)).collect();
            let waits = (!missing.is_empty()).then(|| {
                view! { <p class="soft">{t!(w, "design.missing")}" "{missing.join(", ")}</p> }
            });
            view! { {named(t!(w, "design.limit_named"), t!(w, "plan.verdict.not_determined").to_owned())}{waits} }
                .into_any()
        }
    }
}

fn record_view(w: Words, record: &Record, people: &[(PersonId, String)]) -> AnyView {
    let who =
        people.iter().find(|(id, _)| *id == record.by).map_or_else(|| record.by.short(), |(_, name)| name.clone());
    let (label, tone) = if record.replaced {
        (t!(w, "design.replaced"), Tone::Plain)
    } else {
        match record.came {
            Came::Passed => (t!(w, "plan.verdict.pass"), Tone::Good),
            Came::Failed => (t!(w, "plan.verdict.fail"), Tone::Stop),
            Came::Undetermined => (t!(w, "plan.verdict.not_determined"), Tone::Caution),
        }
    };
    let own_limit =
        record.limit.as_ref().map(|(limit, source)| t!(w, "design.step_limit", limit = limit, source = source));
    let when = t!(w, "design.recorded", who = who, when = moment(w, record.at_us));
    let detail = [Some(when), own_limit].into_iter().flatten().collect::<Vec<_>>().join(" ");
    view! {
        <li data-testid="test-record" class:replaced=record.replaced>
            <div class="row">
                <span class="fill">{t!(w, "design.pair", name = record.label, value = record.value)}</span>
                <Chip label tone />
            </div>
            <p class="soft">{detail}</p>
        </li>
    }
    .into_any()
}

const fn standing_word(standing: Standing) -> &'static str {
    match standing {
        Standing::NotMade => "not-made",
        Standing::Failed => "failed",
        Standing::OpenedBy(_) => "again",
        Standing::Undetermined => "undetermined",
        Standing::Passed => "passed",
    }
}

fn standing_chip(w: Words, standing: Standing) -> AnyView {
    let (label, tone) = match standing {
        Standing::NotMade => (t!(w, "design.standing.not_made"), Tone::Plain),
        Standing::Failed => (t!(w, "plan.verdict.fail"), Tone::Stop),
        Standing::OpenedBy(_) => (t!(w, "design.standing.again"), Tone::Caution),
        Standing::Undetermined => (t!(w, "plan.verdict.not_determined"), Tone::Caution),
        Standing::Passed => (t!(w, "plan.verdict.pass"), Tone::Good),
    };
    view! { <Chip label tone /> }.into_any()
}
