//! Which job stands under which day. Pure.

use domain::ids::{JobId, PersonId};
use domain::job_file::Phase;

use crate::device::JobHere;
use crate::features::job::load::{JobView, Progress};
use crate::features::job::page::place_line;
use crate::i18n::Words;
use crate::i18n::format::Day;
use crate::t;

/// A job as the day sheet shows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayCard {
    /// Which.
    pub job: JobId,
    /// Street and town.
    pub place: String,
    /// `HH:MM`, or empty.
    pub hour: String,
    /// Title of the method.
    pub method: String,
    /// Where it stands.
    pub phase: Phase,
    /// How far it is.
    pub progress: Progress,
    /// Work is stopped.
    pub stopped: bool,
    /// So many things of it are on this device only.
    pub waiting: u32,
    /// So many need a person: held or refused.
    pub attention: u32,
}

/// Jobs under one heading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayGroup {
    /// The heading.
    pub heading: String,
    /// Its jobs, by hour.
    pub cards: Vec<DayCard>,
}

/// In which part of the sheet a job stands; the order of the variants is the order of the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Part {
    Today,
    Earlier,
    Ahead(Day),
    NoDay,
    Done,
}

/// The sheet of a person.
pub fn day_sheet(w: Words, today: Day, me: Option<PersonId>, jobs: &[JobHere]) -> Vec<DayGroup> {
    let mine = jobs.iter().filter(|job| me.is_some_and(|me| job.view.role_of(me).is_some()));
    let shown = mine.filter(|job| job.view.phase != Phase::Withdrawn);
    let mut sorted: Vec<(Part, String, &JobHere)> =
        shown.map(|job| (part_of(&job.view, today), sort_key(&job.view), job)).collect();
    sorted.sort_by(|a, b| (a.0, &a.1, a.2.view.job).cmp(&(b.0, &b.1, b.2.view.job)));
    let mut groups: Vec<(Part, DayGroup)> = Vec::new();
    for (part, _, job) in sorted {
        let card = card(w, job);
        match groups.last_mut() {
            Some((own, group)) if *own == part => group.cards.push(card),
            _ => groups.push((part, DayGroup { heading: heading(w, part, today), cards: vec![card] })),
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

fn part_of(job: &JobView, today: Day) -> Part {
    let day = job.schedule.as_ref().and_then(|schedule| Day::parse(&schedule.day));
    let done = match job.phase {
        Phase::Passed | Phase::Withdrawn => true,
        // Handed in and not today's: nothing to do for the crew unless it comes back.
        Phase::ForReview => day != Some(today),
        Phase::Planned | Phase::WithCrew | Phase::OnSite | Phase::Paused(_) | Phase::Returned => false,
    };
    match day {
        _ if done => Part::Done,
        None => Part::NoDay,
        Some(day) if day == today => Part::Today,
        Some(day) if day < today => Part::Earlier,
        Some(day) => Part::Ahead(day),
    }
}

fn sort_key(job: &JobView) -> String {
    job.schedule.as_ref().map_or_else(String::new, |schedule| format!("{} {}", schedule.day, schedule.start))
}

fn heading(w: Words, part: Part, today: Day) -> String {
    match part {
        Part::Today => t!(w, "day.today", day = w.weekday_and_day(today)),
        Part::Earlier => t!(w, "day.earlier").to_owned(),
        Part::Ahead(day) => w.weekday_and_day(day),
        Part::NoDay => t!(w, "job.no_day").to_owned(),
        Part::Done => t!(w, "day.done").to_owned(),
    }
}

fn card(w: Words, here: &JobHere) -> DayCard {
    let job = &here.view;
    DayCard {
        job: job.job,
        place: place_line(w, job),
        hour: job.schedule.as_ref().map_or_else(String::new, |schedule| schedule.start.clone()),
        method: job.method_title.clone(),
        phase: job.phase,
        progress: job.progress,
        stopped: job.open_stop().is_some(),
        waiting: here.counts.waiting(),
        attention: here.counts.held + here.counts.aside,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::features::job::load::job_view;
    use domain::job_file::JobFile;
    use domain::job_file::body::{Assigned, CrewRole, Schedule};
    use domain::tray::Counts;
    use std::sync::Arc;

    const TODAY: Day = Day { year: 2026, month: 11, day: 25 };

    fn person(n: u128) -> PersonId {
        PersonId::of(uuid::Uuid::from_u128(n))
    }

    fn job(n: u128, day: &str, start: &str, phase: Phase) -> JobHere {
        let mut view = job_view(JobId::of(uuid::Uuid::from_u128(n)), &JobFile::default(), None, "en");
        view.phase = phase;
        view.crew = vec![Assigned { person: person(1), role: CrewRole::Technician, tickets: Vec::new() }];
        view.schedule = (!day.is_empty()).then(|| Schedule { day: day.into(), start: start.into() });
        JobHere { view: Arc::new(view), counts: Counts::default() }
    }

    fn numbers(groups: &[DayGroup]) -> Vec<Vec<u128>> {
        groups.iter().map(|group| group.cards.iter().map(|card| card.job.uuid().as_u128()).collect()).collect()
    }

    #[test]
    fn today_comes_first_then_what_was_left_then_what_comes() {
        let jobs = [
            job(1, "2026-11-27", "08:00", Phase::WithCrew),
            job(2, "2026-11-20", "08:00", Phase::OnSite),
            job(3, "2026-11-25", "13:00", Phase::WithCrew),
            job(4, "2026-11-25", "08:00", Phase::WithCrew),
            job(5, "", "", Phase::Planned),
            job(6, "2026-11-20", "08:00", Phase::Passed),
            job(7, "2026-11-26", "08:00", Phase::WithCrew),
        ];
        let groups = day_sheet(Words::default(), TODAY, Some(person(1)), &jobs);
        assert_eq!(numbers(&groups), [vec![4, 3], vec![2], vec![7], vec![1], vec![5], vec![6]]);
    }

    #[test]
    fn a_job_that_was_handed_in_today_stays_under_today() {
        let jobs = [job(1, "2026-11-25", "", Phase::ForReview), job(2, "2026-11-24", "", Phase::ForReview)];
        let groups = day_sheet(Words::default(), TODAY, Some(person(1)), &jobs);
        assert_eq!(numbers(&groups), [vec![1], vec![2]]);
        assert_ne!(groups[0].heading, groups[1].heading);
    }

    #[test]
    fn jobs_of_others_and_withdrawn_ones_are_not_shown() {
        let jobs = [job(1, "2026-11-25", "", Phase::WithCrew), job(2, "2026-11-25", "", Phase::Withdrawn)];
        assert!(day_sheet(Words::default(), TODAY, Some(person(2)), &jobs).is_empty());
        assert!(day_sheet(Words::default(), TODAY, None, &jobs).is_empty());
        assert_eq!(numbers(&day_sheet(Words::default(), TODAY, Some(person(1)), &jobs)), [vec![1]]);
    }
}
