//! The page, and its parts.

use domain::ids::PersonId;
use domain::people::Role;
use leptos::prelude::*;
use leptos_router::components::A;

use super::view_model::{CrewPlan, JobCard, Need, NeedWhy, PlanRow, plan};
use crate::app::SyncStatus;
use crate::device::{JobHere, use_device};
use crate::features::desk::{moment, store_shut, today};
use crate::features::words::{phase, phase_tone};
use crate::i18n::format::Day;
use crate::i18n::{Words, use_words};
use crate::routes::Screen;
use crate::store::Reference;
use crate::ui::{Chip, Empty, Icon, LinkButton, Look, Page, Tone, Waiting};
use crate::{t, tn};

/// Days in a row of the grid.
const WEEK: usize = 7;

/// The page.
#[component]
pub fn CrewPlanPage() -> impl IntoView {
    let w = use_words();
    let bottom =
        move || view! { <LinkButton label=t!(w, "crew.new_job") href=Screen::PlanNew.href() look=Look::Main /> };
    view! {
        <Page title=t!(w, "screen.crew_plan") wide=true bottom=bottom>
            <Plan />
        </Page>
    }
}

/// People who can be on a job, leads last.
fn crew_people(reference: &Reference) -> Vec<(PersonId, String)> {
    let on_jobs = |roles: &[Role]| roles.contains(&Role::Technician) || roles.contains(&Role::Lead);
    let mut people: Vec<_> = reference.people.iter().filter(|person| person.active && on_jobs(&person.roles)).collect();
    people.sort_by_key(|person| (!person.roles.contains(&Role::Technician), person.display_name.to_lowercase()));
    people.into_iter().map(|person| (person.id, person.display_name.clone())).collect()
}

#[component]
fn Plan() -> impl IntoView {
    let (w, device) = (use_words(), use_device());
    let jobs = device.follow_all();
    let plan = Memo::new(move |_| {
        let jobs = jobs.get()?.map(|jobs| jobs.into_iter().map(|JobHere { view, .. }| view).collect::<Vec<_>>());
        let people = device.reference().map(|reference| crew_people(&reference)).unwrap_or_default();
        Some(jobs.map(|jobs| plan(&jobs, &people, today())))
    });
    let sync = expect_context::<SyncStatus>();
    move || match plan.get() {
        None => view! { <Waiting /> }.into_any(),
        Some(Ok(plan)) if plan.is_empty() && sync.is_looking() => view! { <Waiting /> }.into_any(),
        Some(Ok(plan)) => whole(w, plan),
        Some(Err(why)) => store_shut(w, &why),
    }
}

fn whole(w: Words, plan: CrewPlan) -> AnyView {
    let empty = plan.is_empty();
    let now = today();
    let CrewPlan { days, rows, nobody, unplanned, overdue, later, queue } = plan;
    let weeks = (0..days.len() / WEEK).map(|week| {
        let span = week * WEEK..(week + 1) * WEEK;
        let title = if week == 0 { t!(w, "crew.this_week") } else { t!(w, "crew.next_week") };
        let rows = rows.iter().map(|row| (row, row.days[span.clone()].to_vec())).collect();
        week_table(w, title, now, &days[span.clone()], rows, nobody[span].to_vec())
    });
    let lists = [(t!(w, "crew.unplanned"), unplanned), (t!(w, "crew.overdue"), overdue), (t!(w, "crew.later"), later)];
    let lists =
        lists.into_iter().filter(|(_, cards)| !cards.is_empty()).map(|(title, cards)| job_list(w, title, cards));
    view! {
        {empty.then(|| view! { <Empty words=t!(w, "crew.nothing") icon=Icon::Calendar /> })}
        <div class="crew-top">
            {needs_you(w, queue)}
            {lists.collect_view()}
        </div>
        {weeks.collect_view()}
    }
    .into_any()
}

fn needs_you(w: Words, queue: Vec<Need>) -> AnyView {
    let line = move |need: Need| {
        let (words, tone, icon) = match need.why {
            NeedWhy::Stop => (t!(w, "crew.need.stop").to_owned(), Tone::Stop, Icon::Stop),
            NeedWhy::Deviations(n) => (tn!(w, "crew.need.deviations", n), Tone::Caution, Icon::Gate),
            NeedWhy::Breaches(n) => (tn!(w, "crew.need.breaches", n), Tone::Caution, Icon::Caution),
            NeedWhy::ForReview => (t!(w, "crew.need.review").to_owned(), Tone::Wait, Icon::Half),
        };
        view! {
            <li>
                <A href=Screen::JobDesk(need.card.job).href() attr:class="row-link dense">
                    <span class="words">
                        <span class="name" dir="auto">{title_of(w, &need.card)}</span>
                        <span class="detail">{t!(w, "crew.need.since", when = moment(w, need.since_us))}</span>
                    </span>
                    <Chip label=words tone icon />
                </A>
            </li>
        }
    };
    let count = queue.len();
    view! {
        <section class="stack" aria-labelledby="needs-you" data-testid="needs-you">
            <h2 id="needs-you">{t!(w, "crew.needs_you")}" "<span class="count">{count}</span></h2>
            {if count == 0 {
                view! { <p class="soft">{t!(w, "crew.needs_nothing")}</p> }.into_any()
            } else {
                view! { <ul class="rows">{queue.into_iter().map(line).collect_view()}</ul> }.into_any()
            }}
        </section>
    }
    .into_any()
}

fn job_list(w: Words, title: &'static str, cards: Vec<JobCard>) -> AnyView {
    let count = cards.len();
    let line = move |card: JobCard| {
        let day = if card.day.is_empty() { t!(w, "crew.no_day").to_owned() } else { w.day_text(&card.day) };
        view! {
            <li>
                <A href=Screen::JobDesk(card.job).href() attr:class="row-link dense">
                    <span class="words">
                        <span class="name" dir="auto">{title_of(w, &card)}</span>
                        <span class="detail">{day}</span>
                    </span>
                    <Chip label=w.say(phase(card.phase)) tone=phase_tone(card.phase) />
                </A>
            </li>
        }
    };
    view! {
        <section class="stack">
            <h2>{title}" "<span class="count">{count}</span></h2>
            <ul class="rows">{cards.into_iter().map(line).collect_view()}</ul>
        </section>
    }
    .into_any()
}

/// Householder and town; the short number where neither is known.
fn title_of(w: Words, card: &JobCard) -> String {
    match (card.name.as_str(), card.town.as_str()) {
        ("", "") => t!(w, "crew.job_number", number = card.job.short()),
        (name, "") => name.to_owned(),
        (name, town) if name == town => name.to_owned(),
        (name, town) => t!(w, "crew.name_in_town", name = name, town = town),
    }
}

fn week_table(
    w: Words,
    title: &'static str,
    now: Day,
    days: &[Day],
    rows: Vec<(&PlanRow, Vec<Vec<JobCard>>)>,
    nobody: Vec<Vec<JobCard>>,
) -> AnyView {
    let names: Vec<String> = days.iter().map(|day| w.weekday_day_month(*day)).collect();
    let head = days.iter().zip(&names).map(|(day, name)| {
        let current = (*day == now).then_some("date");
        view! { <th scope="col" aria-current=current>{name.clone()}</th> }
    });
    let head = head.collect_view();
    let cells = |lists: Vec<Vec<JobCard>>| {
        let cell = |(cards, name): (Vec<JobCard>, String)| {
            let empty = cards.is_empty();
            view! { <td data-label=name class:free=empty>{cards.into_iter().map(|card| job_card(w, card)).collect_view()}</td> }
        };
        lists.into_iter().zip(names.clone()).map(cell).collect_view()
    };
    let row = |(row, lists): (&PlanRow, Vec<Vec<JobCard>>)| {
        let idle = lists.iter().all(Vec::is_empty);
        view! { <tr class:idle=idle><th scope="row" dir="auto">{row.name.clone()}</th>{cells(lists)}</tr> }
    };
    let without = nobody.iter().any(|cards| !cards.is_empty());
    let none =
        without.then(|| view! { <tr class="nobody"><th scope="row">{t!(w, "crew.nobody")}</th>{cells(nobody)}</tr> });
    view! {
        <table class="week">
            <caption>{title}</caption>
            <thead><tr><th scope="col"><span class="unseen">{t!(w, "crew.person")}</span></th>{head}</tr></thead>
            <tbody>{rows.into_iter().map(row).collect_view()}{none}</tbody>
        </table>
    }
    .into_any()
}

fn job_card(w: Words, card: JobCard) -> AnyView {
    let tone = match phase_tone(card.phase) {
        Tone::Plain => "",
        Tone::Good => "good",
        Tone::Wait => "wait",
        Tone::Caution => "caution",
        Tone::Stop => "stop",
    };
    let (done, total) = card.done;
    let name = if card.name.is_empty() { title_of(w, &card) } else { card.name.clone() };
    let town = (!card.town.is_empty() && card.town != card.name).then(|| card.town.clone());
    view! {
        <A href=Screen::JobDesk(card.job).href() attr:class=format!("job-card {tone}")>
            <span class="who" dir="auto">{(!card.start.is_empty()).then(|| format!("{} ", card.start))}{name}</span>
            {town.map(|town| view! { <span class="soft" dir="auto">{town}</span> })}
            <span class="phase">{w.say(phase(card.phase))}</span>
            {(total > 0).then(|| view! { <span class="soft number">{t!(w, "crew.steps_done", done = done, total = total)}</span> })}
            {(card.waits > 0).then(|| view! { <span class="waits">{t!(w, "crew.waits")}</span> })}
        </A>
    }
    .into_any()
}
