//! Where, when, who, how far; files to take away; the units with their serials.

use std::sync::Arc;

use domain::job_file::body::CrewRole;
use leptos::prelude::*;
use serde::Deserialize;

use super::steps::Around;
use super::view_model::{AwaitedPhoto, Decision, notes_of};
use crate::features::design_sheet::state::DesignState;
use crate::features::desk::shared::is_expired;
use crate::features::desk::{DeskJob, DownloadButton, moment, today};
use crate::features::job::load::{JobView, Progress as Far};
use crate::features::words::{
    consent, crew_role, doubt, finding, left_as, person, phase, phase_tone, purpose, step_title, unit_in_slot,
};
use crate::i18n::{Words, use_words};
use crate::routes::Screen;
use crate::t;
use crate::ui::{Banner, Chip, Icon, LinkButton, Progress, Tone};

/// What the server says of a job, as far as this page shows it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct ServerRow {
    /// Photos named and arrived.
    pub photos: Photos,
    /// Entries that wait for somebody to look.
    pub held: i64,
}

/// Photos of a job at the server.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize)]
#[serde(default)]
pub struct Photos {
    /// Originals that entries name.
    pub named: usize,
    /// Of them, those that are there.
    pub arrived: usize,
}

/// The head of the page. What the server says later stands below what can be pressed: else that moves away under the finger.
#[component]
pub fn Head(
    here: Signal<Option<Arc<DeskJob>>>,
    around: Around,
    design: Memo<Option<DesignState>>,
    server: Signal<ServerRow>,
    may_plan: Signal<bool>,
) -> impl IntoView {
    let w = use_words();
    let (job, names) = (around.job, around.names);
    move || {
        let here = here.get()?;
        let view = &here.view;
        let names = names.get();
        let Far { done, total, holds_done, holds_total, failed, .. } = view.progress;
        let label = t!(w, "desk.progress", done = done, total = total, holds = holds_done, all_holds = holds_total);
        let unsent = (view.unstamped > 0).then(|| {
            let words = crate::tn!(w, "desk.unsent", view.unstamped);
            view! { <Banner tone=Tone::Wait><p>{words}</p></Banner> }
        });
        let state = view! {
            <div class="row">
                <Chip label=w.say(phase(view.phase)) tone=phase_tone(view.phase) />
                {paused(w, view)}
                {(failed > 0).then(|| view! { <Chip label=crate::tn!(w, "desk.failed", failed) tone=Tone::Stop /> })}
                {design.get().map(|design| design_chips(w, &design))}
                {(view.late > 0).then(|| view! { <Chip label=crate::tn!(w, "desk.late", view.late) tone=Tone::Caution /> })}
            </div>
        };
        let short = job.short();
        Some(view! {
            <div class="card job-head">
                {state}
                <Progress label done=count(done) total=count(total) />
                <dl class="facts">{facts(w, view, &names)}</dl>
                <div class="row">
                    <DownloadButton label=t!(w, "desk.report") path=format!("/api/jobs/{job}/report.pdf?language={}", w.lang.code()) file=format!("report-{short}.pdf") />
                    <DownloadButton label=t!(w, "desk.registration_csv") path=format!("/api/jobs/{job}/registration.csv") file=format!("registration-{short}.csv") />
                    <DownloadButton label=t!(w, "desk.registration_json") path=format!("/api/jobs/{job}/registration.json") file=format!("registration-{short}.json") />
                    <LinkButton label=t!(w, "design.title") href=Screen::DesignSheet(job).href() icon=Icon::List />
                    {move || may_plan.get().then(|| view! { <LinkButton label=t!(w, "desk.change_plan") href=Screen::PlanJob(job).href() icon=Icon::Edit /> })}
                </div>
                {unsent}
                {move || at_server(w, server.get())}
            </div>
        })
    }
}

/// How the design stands; nothing is said where there is none to speak of.
fn design_chips(w: Words, design: &DesignState) -> AnyView {
    let (fails, open) = (design.fails.len(), design.open.len());
    view! {
        {(fails > 0).then(|| view! { <Chip label=crate::tn!(w, "desk.design_fails", fails) tone=Tone::Stop /> })}
        {(open > 0).then(|| view! { <Chip label=crate::tn!(w, "desk.design_open", open) tone=Tone::Caution /> })}
        {design.absent.then(|| view! { <Chip label=t!(w, "desk.design_absent") tone=Tone::Caution /> })}
    }
    .into_any()
}

/// What the server says of the job.
fn at_server(w: Words, row: ServerRow) -> AnyView {
    let photos = (row.photos.named > 0).then(|| {
        let label = t!(w, "desk.photos_arrived", arrived = row.photos.arrived, named = row.photos.named);
        view! { <Progress label done=count(row.photos.arrived) total=count(row.photos.named) /> }
    });
    let held = (row.held > 0)
        .then(|| view! { <Banner tone=Tone::Caution><p>{crate::tn!(w, "desk.held", row.held)}</p></Banner> });
    view! { {photos} {held} }.into_any()
}

fn count(n: usize) -> Signal<u32> {
    Signal::stored(u32::try_from(n).unwrap_or(u32::MAX))
}

fn paused(w: Words, view: &JobView) -> Option<AnyView> {
    match view.phase {
        domain::job_file::Phase::Paused(left) => Some(view! { <span>{w.say(left_as(left))}</span> }.into_any()),
        _ => None,
    }
}

fn facts(w: Words, view: &JobView, names: &[(domain::ids::PersonId, String)]) -> AnyView {
    let site = &view.site;
    let address = [site.street.as_str(), site.town.as_str()]
        .into_iter()
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join(", ");
    let day = view
        .schedule
        .as_ref()
        .map(|schedule| format!("{} {}", w.day_text(&schedule.day), schedule.start).trim().to_owned());
    let method = view.method.as_ref().map(|(id, version)| {
        let title = if view.method_title.is_empty() { id.clone() } else { view.method_title.clone() };
        t!(w, "plan.method_version", title = title, version = version)
    });
    let told =
        view.consent.as_ref().map(|own| format!("{} {}", w.say(consent(own.state)), own.reference).trim().to_owned());
    let lines = [
        (t!(w, "plan.householder"), Some(site.householder.clone())),
        (t!(w, "desk.address"), Some(address)),
        (t!(w, "plan.phone"), Some(site.phone.clone())),
        (t!(w, "plan.email"), Some(site.email.clone())),
        (t!(w, "plan.grid_point"), Some(site.grid_point.clone())),
        (t!(w, "plan.access"), Some(site.access.clone())),
        (t!(w, "desk.purpose"), view.purpose.map(|own| w.say(purpose(own)).to_owned())),
        (t!(w, "plan.method"), method),
        (t!(w, "plan.day"), day),
        (t!(w, "plan.consent"), told),
    ];
    let line = |(name, value): (&'static str, Option<String>)| {
        let value = value.filter(|value| !value.is_empty())?;
        Some(view! { <div><dt>{name}</dt><dd dir="auto">{value}</dd></div> })
    };
    let on = today();
    let member = |own: &domain::job_file::body::Assigned| {
        let name = person(w, names, own.person);
        let expired = own.role == CrewRole::Technician && own.tickets.iter().any(|ticket| is_expired(ticket, on));
        view! {
            <li>
                {t!(w, "desk.crew_member", name = name, role = w.say(crew_role(own.role)))}
                {expired.then(|| view! { <Chip label=t!(w, "desk.ticket_expired") tone=Tone::Stop /> })}
            </li>
        }
    };
    let crew = (!view.crew.is_empty()).then(|| {
        view! { <div><dt>{t!(w, "plan.crew")}</dt><dd><ul>{view.crew.iter().map(member).collect_view()}</ul></dd></div> }
    });
    view! {
        {lines.into_iter().filter_map(line).collect_view()}
        {crew}
    }
    .into_any()
}

/// Photos that the server waits for. A lead may say of one that it will not come.
#[component]
pub fn Awaited(here: Signal<Option<Arc<DeskJob>>>, around: Around, photos: Signal<Vec<AwaitedPhoto>>) -> impl IntoView {
    let w = use_words();
    move || {
        let (photos, names, decide) = (photos.get(), around.names.get(), around.site.get());
        let here = here.get_untracked()?;
        if photos.is_empty() {
            return None;
        }
        let line = |photo: AwaitedPhoto| {
            let about = match &photo.at {
                Some((label, step)) => {
                    t!(w, "desk.part_of_step", part = label, step = step_title(w, &here.view.steps[*step]))
                }
                None => t!(w, "desk.photo_of_deviation").to_owned(),
            };
            let who = photo.by.map(|by| person(w, &names, by)).unwrap_or_default();
            let (hash, asked) = (photo.hash, about.clone());
            view! {
                <li>
                    <b dir="auto">{about}</b>
                    <span class="soft">{who}</span>
                    {decide.then(|| view! {
                        <button type="button" class="act quiet small" on:click=move |_| around.asking.ask(around.store, Decision::PhotoAbsent(hash), asked.clone())>
                            {t!(w, "desk.act.photo_absent")}
                        </button>
                    })}
                </li>
            }
        };
        let lines = photos.into_iter().map(line).collect_view();
        Some(view! {
            <section class="card" aria-labelledby="awaited-title">
                <h2 id="awaited-title">{t!(w, "desk.awaited")}</h2>
                <p class="soft">{t!(w, "desk.awaited_explain")}</p>
                <ul class="units">{lines}</ul>
            </section>
        })
    }
}

/// Units with their serials, findings, and what people wrote.
#[component]
pub fn Side(here: Signal<Option<Arc<DeskJob>>>, around: Around) -> impl IntoView {
    let w = use_words();
    let names = around.names;
    move || {
        let here = here.get()?;
        let view = &here.view;
        let names = names.get();
        let unit = |unit: &crate::features::job::load::UnitView| {
            let serial = match (&unit.serial, unit.serial_bad, unit.new) {
                (Some(serial), _, _) => view! { <span class="serial">{serial.clone()}</span> }.into_any(),
                (None, true, _) => view! { <Chip label=t!(w, "desk.serial_bad") tone=Tone::Stop /> }.into_any(),
                (None, false, true) => view! { <span class="soft">{t!(w, "desk.serial_missing")}</span> }.into_any(),
                (None, false, false) => view! { <span class="soft">{t!(w, "desk.was_there")}</span> }.into_any(),
            };
            view! {
                <li>
                    <b>{unit_in_slot(w, unit.kind, unit.slot)}</b>
                    <span class="soft" dir="auto">{unit.model.maker.clone()}" "{unit.model.name.clone()}</span>
                    {serial}
                </li>
            }
        };
        let units = (!view.units.is_empty()).then(|| {
            view! {
                <section class="card" aria-labelledby="units-title">
                    <h2 id="units-title">{t!(w, "desk.units")}</h2>
                    <ul class="units">{view.units.iter().rev().map(unit).collect_view()}</ul>
                </section>
            }
        });
        let findings = (!view.findings.is_empty() || !view.doubts.is_empty()).then(|| {
            let line = |(_, own): &(_, domain::job_file::body::Finding)| view! { <li>{w.say(finding(own.code))}</li> };
            let lines = view.findings.iter().map(line).collect_view();
            let doubts = view.doubts.iter().map(|(code, n)| view! { <li>{doubt(w, *code, *n)}</li> }).collect_view();
            view! {
                <Banner tone=Tone::Caution title=t!(w, "desk.findings")>
                    <ul class="stack bullets">{lines}{doubts}</ul>
                </Banner>
            }
        });
        let notes = notes_of(view);
        let remarks = (!notes.is_empty()).then(|| {
            let line = |own: &crate::features::job::load::RemarkView| {
                view! {
                    <li>
                        <p dir="auto">{own.text.clone()}</p>
                        <p class="soft">{t!(w, "desk.who_when", who = person(w, &names, own.by), when = moment(w, own.at_us))}</p>
                    </li>
                }
            };
            view! {
                <section class="card" aria-labelledby="remarks-title">
                    <h2 id="remarks-title">{t!(w, "desk.remarks")}</h2>
                    <ul class="stack">{notes.into_iter().map(line).collect_view()}</ul>
                </section>
            }
        });
        Some(view! {
            {findings}
            {units}
            {remarks}
        })
    }
}
