//! The page, and its parts. This week stands first; what is not of it is folded under it, however much that is.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use domain::ids::{JobId, PersonId};
use domain::people::Role;
use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos_router::components::A;

use super::view_model::{CrewPlan, DesignFails, Elsewhere, JobCard, Need, NeedWhy, TwiceLine, plan};
use crate::adapters::browser::breathe;
use crate::app::SyncStatus;
use crate::device::{Device, JobHere, use_device};
use crate::features::design_sheet::state::DesignState;
use crate::features::desk::{Methods, job_here, moment, store_shut, today};
use crate::features::words::{phase, phase_tone};
use crate::i18n::format::Day;
use crate::i18n::{Words, use_words};
use crate::ports::local_store::StoreError;
use crate::routes::Screen;
use crate::store::Reference;
use crate::ui::{Chip, Empty, Glyph, Icon, LinkButton, Look, Page, Tone, Waiting};
use crate::{t, tn};

/// Days in a row of the grid.
const WEEK: usize = 7;
/// So many lines of what waits, and of who is wanted twice, stand above the week; more are folded up.
const LINES_SHOWN: usize = 3;

/// What can be folded open. It stays as somebody left it when the plan is drawn anew.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Fold {
    Needs,
    Twice,
    Unplanned,
    Overdue,
    NextWeek,
    Later,
}

impl Fold {
    const fn word(self) -> &'static str {
        match self {
            Self::Needs => "needs",
            Self::Twice => "twice",
            Self::Unplanned => "unplanned",
            Self::Overdue => "overdue",
            Self::NextWeek => "next-week",
            Self::Later => "later",
        }
    }
}

/// What is open; `Copy`.
#[derive(Clone, Copy)]
struct Folds(RwSignal<BTreeSet<Fold>>);

impl Folds {
    fn is_open(self, fold: Fold) -> bool {
        self.0.with(|open| open.contains(&fold))
    }

    fn turn(self, fold: Fold) {
        self.0.update(|open| {
            if !open.remove(&fold) {
                open.insert(fold);
            }
        });
    }
}

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
    let fails = failing_designs(w, device, jobs);
    let plan = Memo::new(move |_| {
        let jobs = jobs.get()?.map(|jobs| jobs.into_iter().map(|JobHere { view, .. }| view).collect::<Vec<_>>());
        let people = device.reference().map(|reference| crew_people(&reference)).unwrap_or_default();
        Some(jobs.map(|jobs| fails.with(|fails| plan(&jobs, &people, today(), fails))))
    });
    let sync = expect_context::<SyncStatus>();
    let folds = Folds(RwSignal::new(BTreeSet::new()));
    move || match plan.get() {
        None => view! { <Waiting /> }.into_any(),
        Some(Ok(plan)) if plan.is_empty() && sync.is_looking() => view! { <Waiting /> }.into_any(),
        Some(Ok(plan)) => whole(w, plan, folds),
        Some(Err(why)) => store_shut(w, &why),
    }
}

/// What a count of failing checks was worked out from: a job file only grows, and a version of the firm's rules stays as it is.
type WorkedOutFrom = (usize, usize, bool);

/// How many checks of each design fail, worked out one job after the other: the plan does not wait for it.
fn failing_designs(
    w: Words,
    device: Device,
    jobs: RwSignal<Option<Result<Vec<JobHere>, StoreError>>>,
) -> RwSignal<DesignFails> {
    let fails = RwSignal::new(DesignFails::new());
    let known = StoredValue::new(BTreeMap::<JobId, WorkedOutFrom>::new());
    let turn = StoredValue::new(0_u64);
    Effect::new(move |_| {
        let own = device.rule_sets();
        let views: Vec<_> = jobs.with(|jobs| match jobs {
            Some(Ok(jobs)) => jobs.iter().map(|JobHere { view, .. }| Arc::clone(view)).collect(),
            Some(Err(_)) | None => Vec::new(),
        });
        let Some(store) = device.store_now() else { return };
        turn.update_value(|turn| *turn += 1);
        let mine = turn.get_value();
        spawn_local(async move {
            let methods = Methods::default();
            for view in views.into_iter().filter(|view| !view.phase.is_over()) {
                let from = (view.entries, own.len(), view.method_missing);
                if known.try_with_value(|known| known.get(&view.job) == Some(&from)) == Some(true) {
                    continue;
                }
                breathe().await;
                let Ok(here) = job_here(&store, view.job, &methods, w).await else { continue };
                let count = DesignState::of(w, &here, &own).fails.len();
                // The page may be gone, or another turn has begun with newer jobs.
                if turn.try_get_value() != Some(mine) {
                    return;
                }
                known.update_value(|known| {
                    known.insert(view.job, from);
                });
                if fails.with_untracked(|fails| fails.get(&view.job).copied().unwrap_or_default()) != count {
                    fails.update(|fails| {
                        fails.insert(view.job, count);
                    });
                }
            }
        });
    });
    fails
}

fn whole(w: Words, plan: CrewPlan, folds: Folds) -> AnyView {
    let empty = plan.is_empty();
    let now = today();
    let CrewPlan { days, rows, nobody, unplanned, overdue, later, queue, twice } = plan;
    let week_of = |week: usize, title: &'static str| {
        let span = week * WEEK..(week + 1) * WEEK;
        let rows: Vec<_> = rows.iter().map(|row| (row.name.clone(), row.days[span.clone()].to_vec())).collect();
        Week { title, days: days[span.clone()].to_vec(), rows, nobody: nobody[span].to_vec() }
    };
    let this_week = week_table(w, now, week_of(0, t!(w, "crew.this_week")));
    let next_week = week_of(1, t!(w, "crew.next_week"));
    let planned_next = next_week.count();
    let list = |fold, title, cards: Vec<JobCard>| {
        let count = cards.len();
        (count > 0).then(|| folded(folds, fold, title, count, move || job_list(w, &cards)))
    };
    view! {
        {empty.then(|| view! { <Empty words=t!(w, "crew.nothing") icon=Icon::Calendar /> })}
        <div class="crew-top">
            {needs_you(w, queue, folds)}
            {wanted_twice(w, twice, folds)}
        </div>
        {this_week}
        <div class="folds">
            {list(Fold::Unplanned, t!(w, "crew.unplanned"), unplanned)}
            {list(Fold::Overdue, t!(w, "crew.overdue"), overdue)}
            {folded(folds, Fold::NextWeek, t!(w, "crew.next_week"), planned_next, move || week_table(w, now, next_week.clone()))}
            {list(Fold::Later, t!(w, "crew.later"), later)}
        </div>
    }
    .into_any()
}

/// A heading with a count that shows what is below it when it is pressed. What is shut is not built: it may be hundreds of jobs.
fn folded(
    folds: Folds,
    fold: Fold,
    title: &'static str,
    count: usize,
    content: impl Fn() -> AnyView + Send + 'static,
) -> AnyView {
    view! {
        <section class="fold" data-testid=format!("fold-{}", fold.word())>
            <h2>
                <button type="button" class="fold-head" aria-expanded=move || folds.is_open(fold).to_string()
                    on:click=move |_| folds.turn(fold)>
                    <Glyph icon=Icon::Next />
                    <span>{title}</span>
                    <span class="count">{count}</span>
                </button>
            </h2>
            {move || folds.is_open(fold).then(&content)}
        </section>
    }
    .into_any()
}

/// The first lines of a list, and the others once somebody asks for them.
fn shortened<T: Clone + Send + 'static>(
    w: Words,
    folds: Folds,
    fold: Fold,
    all: Vec<T>,
    line: impl Fn(&T) -> AnyView + Send + 'static,
) -> AnyView {
    let more = all.len().saturating_sub(LINES_SHOWN);
    let lines = move || {
        let shown = if folds.is_open(fold) { all.len() } else { LINES_SHOWN };
        all.iter().take(shown).map(&line).collect_view()
    };
    let label = move || {
        if folds.is_open(fold) { t!(w, "crew.fewer").to_owned() } else { tn!(w, "crew.more", more) }
    };
    let rest = (more > 0).then(|| {
        view! {
            <button type="button" class="act quiet small" aria-expanded=move || folds.is_open(fold).to_string()
                on:click=move |_| folds.turn(fold)>{label}</button>
        }
    });
    view! {
        <ul class="rows">{lines}</ul>
        {rest}
    }
    .into_any()
}

fn needs_you(w: Words, queue: Vec<Need>, folds: Folds) -> AnyView {
    let line = move |need: &Need| {
        let (words, tone, icon) = match need.why {
            NeedWhy::Stop => (t!(w, "crew.need.stop").to_owned(), Tone::Stop, Icon::Stop),
            NeedWhy::Deviations(n) => (tn!(w, "crew.need.deviations", n), Tone::Caution, Icon::Gate),
            NeedWhy::Breaches(n) => (tn!(w, "crew.need.breaches", n), Tone::Caution, Icon::Caution),
            NeedWhy::ForReview => (t!(w, "crew.need.review").to_owned(), Tone::Wait, Icon::Half),
        };
        let title = title_of(w, &need.card);
        let since = t!(w, "crew.need.since", when = moment(w, need.since_us));
        view! {
            <li>
                <A href=Screen::JobDesk(need.card.job).href() attr:class="row-link dense">
                    <span class="words">
                        <span class="name" dir="auto">{title}</span>
                        <span class="detail">{since}</span>
                    </span>
                    <Chip label=words tone icon />
                </A>
            </li>
        }
        .into_any()
    };
    let count = queue.len();
    view! {
        <section class="stack" aria-labelledby="needs-you" data-testid="needs-you">
            <h2 id="needs-you">{t!(w, "crew.needs_you")}" "<span class="count">{count}</span></h2>
            {if count == 0 {
                view! { <p class="soft">{t!(w, "crew.needs_nothing")}</p> }.into_any()
            } else {
                shortened(w, folds, Fold::Needs, queue, line)
            }}
        </section>
    }
    .into_any()
}

/// Who is wanted at two jobs at once, as sentences that lead to both.
fn wanted_twice(w: Words, lines: Vec<TwiceLine>, folds: Folds) -> AnyView {
    let count = lines.len();
    if count == 0 {
        return ().into_any();
    }
    let line = move |line: &TwiceLine| {
        let day = Day::parse(&line.day).map_or_else(|| line.day.clone(), |day| w.weekday_day_month(day));
        let sentence = if line.start.is_empty() {
            t!(w, "crew.twice.no_hour", person = line.person, day = day)
        } else {
            t!(w, "crew.twice.at", person = line.person, day = day, start = line.start)
        };
        let link = |card: &JobCard| {
            let words = if card.start.is_empty() {
                title_of(w, card)
            } else {
                t!(w, "crew.twice.job", start = card.start, job = title_of(w, card))
            };
            view! { <A href=Screen::JobDesk(card.job).href() attr:class="twice-job"><bdi>{words}</bdi></A> }
        };
        let [first, second] = &line.jobs;
        view! {
            <li class="twice-line">
                <Glyph icon=Icon::Caution />
                <p>
                    <bdi>{sentence}</bdi>" "{link(first)}" "{t!(w, "crew.twice.and")}" "{link(second)}
                </p>
            </li>
        }
        .into_any()
    };
    view! {
        <section class="stack" aria-labelledby="twice" data-testid="twice">
            <h2 id="twice">{t!(w, "crew.twice")}" "<span class="count">{count}</span></h2>
            {shortened(w, folds, Fold::Twice, lines, line)}
        </section>
    }
    .into_any()
}

fn job_list(w: Words, cards: &[JobCard]) -> AnyView {
    let line = move |card: &JobCard| {
        let day = if card.day.is_empty() { t!(w, "crew.no_day").to_owned() } else { w.day_text(&card.day) };
        let title = title_of(w, card);
        let twice = (!card.twice.is_empty()).then(|| elsewhere(w, card));
        let fails = design_fails(w, card);
        let (state, tone) = (w.say(phase(card.phase)), phase_tone(card.phase));
        view! {
            <li>
                <A href=Screen::JobDesk(card.job).href() attr:class="row-link dense">
                    <span class="words">
                        <span class="name" dir="auto">{title}</span>
                        <span class="detail">{day}</span>
                        {twice.map(|words| view! { <span class="detail">{words}</span> })}
                        {fails.map(|words| view! { <span class="detail">{words}</span> })}
                    </span>
                    <Chip label=state tone />
                </A>
            </li>
        }
    };
    view! { <ul class="rows columns">{cards.iter().map(line).collect_view()}</ul> }.into_any()
}

/// Who of a job's crew is wanted elsewhere in the same hour, in a line.
fn elsewhere(w: Words, card: &JobCard) -> String {
    let one = |own: &Elsewhere| {
        let name =
            if own.name.is_empty() { t!(w, "crew.job_number", number = own.job.short()) } else { own.name.clone() };
        t!(w, "crew.twice.also", person = own.person, job = name)
    };
    card.twice.iter().map(one).collect::<Vec<_>>().join("; ")
}

/// That checks of a job's design fail.
fn design_fails(w: Words, card: &JobCard) -> Option<String> {
    (card.design_fails > 0).then(|| tn!(w, "desk.design_fails", card.design_fails))
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

/// Seven days of everybody.
#[derive(Clone)]
struct Week {
    title: &'static str,
    days: Vec<Day>,
    rows: Vec<(String, Vec<Vec<JobCard>>)>,
    nobody: Vec<Vec<JobCard>>,
}

impl Week {
    /// How many jobs, each once, whoever is on it.
    fn count(&self) -> usize {
        let cards = self.rows.iter().flat_map(|(_, days)| days).chain(&self.nobody).flatten();
        cards.map(|card| card.job).collect::<BTreeSet<_>>().len()
    }
}

fn week_table(w: Words, now: Day, week: Week) -> AnyView {
    let Week { title, days, rows, nobody } = week;
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
    let row = |(name, lists): (String, Vec<Vec<JobCard>>)| {
        let idle = lists.iter().all(Vec::is_empty);
        view! { <tr class:idle=idle><th scope="row" dir="auto">{name}</th>{cells(lists)}</tr> }
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
    let tone = if card.overdue { "caution" } else { tone };
    let also = (!card.twice.is_empty()).then(|| elsewhere(w, &card));
    let fails = design_fails(w, &card);
    let name = if card.name.is_empty() { title_of(w, &card) } else { card.name.clone() };
    let town = (!card.town.is_empty() && card.town != card.name).then(|| card.town.clone());
    view! {
        <A href=Screen::JobDesk(card.job).href() attr:class=format!("job-card {tone}")>
            <span class="who" dir="auto">{(!card.start.is_empty()).then(|| format!("{} ", card.start))}{name}</span>
            {town.map(|town| view! { <span class="soft" dir="auto">{town}</span> })}
            <span class="phase">{w.say(phase(card.phase))}</span>
            {(total > 0).then(|| view! { <span class="soft number">{t!(w, "crew.steps_done", done = done, total = total)}</span> })}
            {card.overdue.then(|| view! { <span class="flag">{t!(w, "crew.untouched")}</span> })}
            {also.map(|also| view! { <span class="flag" dir="auto">{also}</span> })}
            {fails.map(|words| view! { <span class="flag">{words}</span> })}
            {(card.waits > 0).then(|| view! { <span class="waits">{t!(w, "crew.waits")}</span> })}
        </A>
    }
    .into_any()
}
