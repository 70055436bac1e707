//! The lines of the day sheet from what is on the device. Pure.

use domain::ids::PersonId;

use super::cards::DayCard;
use crate::device::JobHere;
use crate::features::job::page::place_line;
use crate::i18n::Words;

/// The jobs of a person.
pub fn cards_of(w: Words, me: Option<PersonId>, jobs: &[JobHere]) -> Vec<DayCard> {
    let mine = jobs.iter().filter(|job| me.is_some_and(|me| job.view.role_of(me).is_some()));
    mine.map(|job| card(w, job)).collect()
}

fn card(w: Words, here: &JobHere) -> DayCard {
    let job = &here.view;
    let (day, hour) = job.schedule.as_ref().map(|at| (at.day.clone(), at.start.clone())).unwrap_or_default();
    DayCard {
        job: job.job,
        place: place_line(w, job),
        day,
        hour,
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
    use super::super::cards::DayGroup;
    use super::super::cards::sheet_of;
    use super::*;
    use crate::features::job::load::job_view;
    use crate::i18n::format::Day;
    use domain::ids::JobId;
    use domain::job_file::JobFile;
    use domain::job_file::Phase;
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
        let groups = sheet_of(Words::default(), TODAY, cards_of(Words::default(), Some(person(1)), &jobs));
        assert_eq!(numbers(&groups), [vec![4, 3], vec![2], vec![7], vec![1], vec![5], vec![6]]);
    }

    #[test]
    fn a_job_that_was_handed_in_today_stays_under_today() {
        let jobs = [job(1, "2026-11-25", "", Phase::ForReview), job(2, "2026-11-24", "", Phase::ForReview)];
        let groups = sheet_of(Words::default(), TODAY, cards_of(Words::default(), Some(person(1)), &jobs));
        assert_eq!(numbers(&groups), [vec![1], vec![2]]);
        assert_ne!(groups[0].heading, groups[1].heading);
    }

    #[test]
    fn jobs_of_others_and_withdrawn_ones_are_not_shown() {
        let jobs = [job(1, "2026-11-25", "", Phase::WithCrew), job(2, "2026-11-25", "", Phase::Withdrawn)];
        assert!(sheet_of(Words::default(), TODAY, cards_of(Words::default(), Some(person(2)), &jobs)).is_empty());
        assert!(sheet_of(Words::default(), TODAY, cards_of(Words::default(), None, &jobs)).is_empty());
        assert_eq!(
            numbers(&sheet_of(Words::default(), TODAY, cards_of(Words::default(), Some(person(1)), &jobs))),
            [vec![1]]
        );
    }
}
