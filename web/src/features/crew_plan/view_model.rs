//! Days × people, what has no crew or no day, and what waits for the lead. Pure.

use std::collections::BTreeMap;

use domain::ids::{JobId, PersonId};
use domain::job_file::Phase;
use domain::schedule::{Booking, booked_twice, is_overdue};

use crate::features::desk::shared::waiting_deviations;
use crate::features::job::load::JobView;
use crate::i18n::format::Day;

/// This week and the next.
pub const DAYS_SHOWN: usize = 14;

/// A job on the plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct JobCard {
    /// Which.
    pub job: JobId,
    /// Householder, or the town where no name is here.
    pub name: String,
    /// Town.
    pub town: String,
    /// `HH:MM`, empty when open.
    pub start: String,
    /// `YYYY-MM-DD`, empty when there is none.
    pub day: String,
    /// Where it stands.
    pub phase: Phase,
    /// Steps done and all.
    pub done: (usize, usize),
    /// So many things wait for a lead.
    pub waits: usize,
    /// The day has gone by and nobody has touched the job.
    pub overdue: bool,
    /// Who of its crew is wanted elsewhere in the same hour, and where.
    pub twice: Vec<Elsewhere>,
    /// So many checks of its design fail, as far as that was worked out.
    pub design_fails: usize,
}

/// So many checks of a job's design fail; what is not in it was not worked out yet.
pub type DesignFails = BTreeMap<JobId, usize>;

/// Somebody is wanted at another job in the same hour.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Elsewhere {
    /// Name.
    pub person: String,
    /// The other job: its householder or town; empty where neither is known.
    pub name: String,
    /// The other job.
    pub job: JobId,
}

/// One line of those who are wanted at two jobs at once.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TwiceLine {
    /// Name.
    pub person: String,
    /// `YYYY-MM-DD`.
    pub day: String,
    /// `HH:MM`, empty where no hour is planned.
    pub start: String,
    /// Both jobs.
    pub jobs: [JobCard; 2],
}

/// A person and their jobs by day.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanRow {
    /// Who.
    pub person: PersonId,
    /// Name.
    pub name: String,
    /// One list a day.
    pub days: Vec<Vec<JobCard>>,
}

/// Why a job needs the lead.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum NeedWhy {
    /// Work is stopped.
    Stop,
    /// So many departures wait for an answer.
    Deviations(usize),
    /// So many breaches are not dealt with.
    Breaches(usize),
    /// Handed in.
    ForReview,
}

/// One line of the queue.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Need {
    /// The job.
    pub card: JobCard,
    /// Why.
    pub why: NeedWhy,
    /// Since when, microseconds since 1970 UTC.
    pub since_us: u64,
}

/// The whole screen.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct CrewPlan {
    /// The days.
    pub days: Vec<Day>,
    /// People with their jobs.
    pub rows: Vec<PlanRow>,
    /// Jobs with a day in sight and nobody on them, by day.
    pub nobody: Vec<Vec<JobCard>>,
    /// Jobs without a day or without a crew.
    pub unplanned: Vec<JobCard>,
    /// Jobs with a day before the first one shown that are not finished.
    pub overdue: Vec<JobCard>,
    /// Jobs with a day after the last one shown.
    pub later: Vec<JobCard>,
    /// What waits for the lead, most urgent first.
    pub queue: Vec<Need>,
    /// Who is wanted at two jobs at once.
    pub twice: Vec<TwiceLine>,
}

impl Default for JobCard {
    fn default() -> Self {
        Self {
            job: JobId::of(domain::ids::uuid_v7(0, &[0; 10])),
            name: String::new(),
            town: String::new(),
            start: String::new(),
            day: String::new(),
            phase: Phase::Planned,
            done: (0, 0),
            waits: 0,
            overdue: false,
            twice: Vec::new(),
            design_fails: 0,
        }
    }
}

/// The card of a job, without what other jobs say of it.
fn card(view: &JobView, today: &str, fails: &DesignFails) -> JobCard {
    let schedule = view.schedule.clone();
    let waits = needs_of(view).len();
    let overdue = schedule.as_ref().is_some_and(|schedule| is_overdue(view.phase, &schedule.day, today));
    JobCard {
        job: view.job,
        name: if view.site.householder.is_empty() { view.site.town.clone() } else { view.site.householder.clone() },
        town: view.site.town.clone(),
        start: schedule.as_ref().map(|schedule| schedule.start.clone()).unwrap_or_default(),
        day: schedule.map(|schedule| schedule.day).unwrap_or_default(),
        phase: view.phase,
        done: (view.progress.done, view.progress.total),
        waits,
        overdue,
        twice: Vec::new(),
        design_fails: if view.phase.is_over() { 0 } else { fails.get(&view.job).copied().unwrap_or_default() },
    }
}

/// The cards of all jobs in their order, each with who of its crew is wanted elsewhere; and the same as lines.
fn cards(
    views: &[&JobView],
    people: &[(PersonId, String)],
    today: &str,
    fails: &DesignFails,
) -> (Vec<JobCard>, Vec<TwiceLine>) {
    let mut cards: Vec<JobCard> = views.iter().map(|view| card(view, today, fails)).collect();
    let at: BTreeMap<JobId, usize> = cards.iter().enumerate().map(|(at, card)| (card.job, at)).collect();
    let bookings = views.iter().copied().map(|view| Booking {
        job: view.job,
        phase: view.phase,
        schedule: view.schedule.as_ref(),
        crew: &view.crew,
    });
    let mut lines = Vec::new();
    for twice in booked_twice(bookings) {
        // Whoever has left the firm is at neither job, and both stand with those that have nobody.
        let Some((_, person)) = people.iter().find(|(own, _)| *own == twice.person) else { continue };
        let [first, second] = twice.jobs.map(|job| at[&job]);
        for (own, other) in [(first, second), (second, first)] {
            let elsewhere =
                Elsewhere { person: person.clone(), name: cards[other].name.clone(), job: cards[other].job };
            cards[own].twice.push(elsewhere);
        }
        lines.push((person.clone(), twice.day, twice.start, [first, second]));
    }
    let line = |(person, day, start, jobs): (String, String, String, [usize; 2])| TwiceLine {
        person,
        day,
        start,
        jobs: jobs.map(|at| cards[at].clone()),
    };
    let lines = lines.into_iter().map(line).collect();
    (cards, lines)
}

fn needs_of(view: &JobView) -> Vec<(NeedWhy, u64)> {
    if matches!(view.phase, Phase::Withdrawn) {
        return Vec::new();
    }
    let mut needs = Vec::new();
    if let Some(stop) = view.stops.iter().filter(|stop| stop.is_open()).min_by_key(|stop| stop.at_us) {
        needs.push((NeedWhy::Stop, stop.at_us));
    }
    let asked: Vec<u64> = waiting_deviations(view).map(|deviation| deviation.at_us).collect();
    if let Some(first) = asked.iter().min() {
        needs.push((NeedWhy::Deviations(asked.len()), *first));
    }
    let breaches: Vec<u64> = view.open_breaches().map(|breach| breach.at_us).collect();
    if let Some(first) = breaches.iter().min() {
        needs.push((NeedWhy::Breaches(breaches.len()), *first));
    }
    if view.phase == Phase::ForReview {
        needs.push((NeedWhy::ForReview, view.moved_us));
    }
    needs
}

const fn urgency(why: &NeedWhy) -> u8 {
    match why {
        NeedWhy::Stop => 0,
        NeedWhy::Deviations(_) => 1,
        NeedWhy::ForReview => 2,
        NeedWhy::Breaches(_) => 3,
    }
}

/// The Monday of a day's week.
pub fn monday_of(day: Day) -> Day {
    Day::of_number(day.number() + 1 - i64::from(day.weekday()))
}

/// Puts jobs on days and people. `people` are those who can be on a job, in the order in which they are shown.
pub fn plan<V: AsRef<JobView>>(
    views: &[V],
    people: &[(PersonId, String)],
    today: Day,
    fails: &DesignFails,
) -> CrewPlan {
    let first = monday_of(today).number();
    let days: Vec<Day> = (0..DAYS_SHOWN as i64).map(|ahead| Day::of_number(first + ahead)).collect();
    let mut rows: Vec<PlanRow> = people
        .iter()
        .map(|(person, name)| PlanRow { person: *person, name: name.clone(), days: vec![Vec::new(); DAYS_SHOWN] })
        .collect();
    let mut out = CrewPlan { days, nobody: vec![Vec::new(); DAYS_SHOWN], ..CrewPlan::default() };
    let views: Vec<&JobView> = views.iter().map(AsRef::as_ref).collect();
    let (cards, twice) = cards(&views, people, &today.iso(), fails);
    out.twice = twice;
    for (view, card) in views.into_iter().zip(cards) {
        out.queue.extend(needs_of(view).into_iter().map(|(why, since_us)| Need { card: card.clone(), why, since_us }));
        let finished = view.phase.is_over();
        let day = Day::parse(&card.day);
        if !finished && (day.is_none() || view.crew.is_empty()) {
            out.unplanned.push(card.clone());
        }
        if view.phase == Phase::Withdrawn {
            continue;
        }
        let Some(day) = day else { continue };
        match usize::try_from(day.number() - first) {
            Err(_) if !finished => out.overdue.push(card),
            Err(_) => {}
            Ok(at) if at >= DAYS_SHOWN => out.later.push(card),
            Ok(at) => {
                let mut placed = false;
                for row in rows.iter_mut().filter(|row| view.crew.iter().any(|assigned| assigned.person == row.person))
                {
                    row.days[at].push(card.clone());
                    placed = true;
                }
                if !placed {
                    out.nobody[at].push(card);
                }
            }
        }
    }
    let by_start = |a: &JobCard, b: &JobCard| (&a.day, &a.start, a.job).cmp(&(&b.day, &b.start, b.job));
    for list in rows.iter_mut().flat_map(|row| &mut row.days).chain(&mut out.nobody) {
        list.sort_by(by_start);
    }
    for list in [&mut out.unplanned, &mut out.overdue, &mut out.later] {
        list.sort_by(by_start);
    }
    out.queue.sort_by_key(|need| (urgency(&need.why), need.since_us, need.card.job));
    out.rows = rows;
    out
}

impl CrewPlan {
    /// Nobody has planned anything yet.
    pub fn is_empty(&self) -> bool {
        self.unplanned.is_empty()
            && self.overdue.is_empty()
            && self.later.is_empty()
            && self.queue.is_empty()
            && self.nobody.iter().all(Vec::is_empty)
            && self.rows.iter().all(|row| row.days.iter().all(Vec::is_empty))
    }
}
