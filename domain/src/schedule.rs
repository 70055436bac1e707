//! Who is to be where and when: one person at two jobs in one hour, and days that went by with nobody there.
//!
//! **Never enters:** a calendar, a clock. Days are `YYYY-MM-DD`, which compares as text; today comes in as an argument.

use std::collections::BTreeMap;

use crate::ids::{JobId, PersonId};
use crate::job_file::Phase;
use crate::job_file::body::{Assigned, CrewRole, Schedule};

/// What a job takes of people's time.
#[derive(Clone, Copy, Debug)]
pub struct Booking<'a> {
    /// Which job.
    pub job: JobId,
    /// Where it stands.
    pub phase: Phase,
    /// Its day and hour; without a day it takes nobody's time.
    pub schedule: Option<&'a Schedule>,
    /// Who is on it.
    pub crew: &'a [Assigned],
}

/// One person is wanted at two jobs at once.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct BookedTwice {
    /// `YYYY-MM-DD`.
    pub day: String,
    /// Who.
    pub person: PersonId,
    /// Both jobs, the one that begins first in front; one without an hour before one with.
    pub jobs: [JobId; 2],
    /// The hour of the later one, `HH:MM`; empty where neither has one.
    pub start: String,
}

/// Everybody who is wanted twice, by day and person.
///
/// Only those who work there: a lead answers for many jobs at once without standing in any of the garages. How long a job takes is not
/// planned, so two jobs meet when they begin in the same hour of the clock, and when one of them has no hour at all.
pub fn booked_twice<'a>(bookings: impl IntoIterator<Item = Booking<'a>>) -> Vec<BookedTwice> {
    let mut days: BTreeMap<(&str, PersonId), Vec<(&str, JobId)>> = BTreeMap::new();
    for booking in bookings {
        let Some(schedule) = booking.schedule.filter(|own| !own.day.is_empty() && !booking.phase.is_over()) else {
            continue;
        };
        for worker in booking.crew.iter().filter(|assigned| assigned.role == CrewRole::Technician) {
            days.entry((&schedule.day, worker.person)).or_default().push((&schedule.start, booking.job));
        }
    }
    let mut out = Vec::new();
    for ((day, person), mut jobs) in days {
        jobs.sort_unstable();
        for (at, (first_start, first)) in jobs.iter().enumerate() {
            let meets = |(start, job): &&(&str, JobId)| job != first && may_meet(first_start, start);
            out.extend(jobs[at + 1..].iter().filter(meets).map(|(start, second)| BookedTwice {
                day: day.to_owned(),
                person,
                jobs: [*first, *second],
                start: (*start).to_owned(),
            }));
        }
    }
    out
}

/// Two beginnings on one day.
fn may_meet(one: &str, other: &str) -> bool {
    fn hour(start: &str) -> Option<u8> {
        start.split(':').next()?.parse().ok()
    }
    match (hour(one), hour(other)) {
        (Some(one), Some(other)) => one == other,
        (None, _) | (_, None) => true,
    }
}

/// The day has gone by and nobody has recorded anything.
pub fn is_overdue(phase: Phase, day: &str, today: &str) -> bool {
    !day.is_empty() && day < today && matches!(phase, Phase::Planned | Phase::WithCrew)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::uuid_v7;
    use crate::job_file::body::LeftAs;

    fn person(number: u8) -> PersonId {
        PersonId::of(uuid_v7(1, &[number; 10]))
    }

    fn job(number: u8) -> JobId {
        JobId::of(uuid_v7(2, &[number; 10]))
    }

    fn at(day: &str, start: &str) -> Schedule {
        Schedule { day: day.into(), start: start.into() }
    }

    fn crew(people: &[u8]) -> Vec<Assigned> {
        let worker = |own: &u8| Assigned { person: person(*own), role: CrewRole::Technician, tickets: Vec::new() };
        people.iter().map(worker).collect()
    }

    /// Two jobs of the first person, so planned and so far.
    fn two(first: (&Schedule, Phase), second: (&Schedule, Phase)) -> Vec<BookedTwice> {
        let crew = crew(&[1]);
        let booking =
            |number, (schedule, phase)| Booking { job: job(number), phase, schedule: Some(schedule), crew: &crew };
        booked_twice([booking(1, first), booking(2, second)])
    }

    const MONDAY: &str = "2026-11-30";

    #[test]
    fn one_person_at_two_jobs_in_one_hour_is_found() {
        let (early, late) = (at(MONDAY, "08:00"), at(MONDAY, "08:59"));
        let expected =
            BookedTwice { day: MONDAY.into(), person: person(1), jobs: [job(1), job(2)], start: "08:59".into() };
        let found = two((&early, Phase::WithCrew), (&late, Phase::Planned));
        assert_eq!(found, std::slice::from_ref(&expected));
        // Whichever is asked for first.
        assert_eq!(two((&late, Phase::Planned), (&early, Phase::WithCrew))[0].jobs, [job(2), job(1)]);
        assert_eq!(two((&early, Phase::Paused(LeftAs::NotConnected)), (&late, Phase::Returned)), [expected]);
    }

    #[test]
    fn the_next_hour_is_another_one_and_no_hour_may_be_any() {
        let (eight, nine, open) = (at(MONDAY, "08:59"), at(MONDAY, "09:00"), at(MONDAY, ""));
        assert_eq!(two((&eight, Phase::WithCrew), (&nine, Phase::WithCrew)), []);
        let found = two((&nine, Phase::WithCrew), (&open, Phase::WithCrew));
        assert_eq!(
            found.iter().map(|own| (own.jobs, own.start.as_str())).collect::<Vec<_>>(),
            [([job(2), job(1)], "09:00")]
        );
        assert_eq!(two((&open, Phase::WithCrew), (&open, Phase::WithCrew))[0].start, "");
    }

    #[test]
    fn other_days_and_jobs_that_are_over_take_nobodys_time() {
        let (monday, tuesday) = (at(MONDAY, "08:30"), at("2026-12-01", "08:30"));
        assert_eq!(two((&monday, Phase::WithCrew), (&tuesday, Phase::WithCrew)), []);
        for over in [Phase::Passed, Phase::Sealed, Phase::Withdrawn] {
            assert_eq!(two((&monday, over), (&monday, Phase::WithCrew)), [], "{over:?}");
            assert_eq!(two((&monday, Phase::WithCrew), (&monday, over)), [], "{over:?}");
        }
        let no_day = at("", "");
        assert_eq!(two((&no_day, Phase::Planned), (&no_day, Phase::Planned)), []);
    }

    #[test]
    fn other_people_do_not_meet_a_lead_stands_nowhere_and_three_jobs_are_three_pairs() {
        let schedule = at(MONDAY, "08:30");
        let (ada, bo, mut lead) = (crew(&[1]), crew(&[2]), crew(&[1]));
        lead[0].role = CrewRole::Lead;
        let booking =
            |number, crew| Booking { job: job(number), phase: Phase::WithCrew, schedule: Some(&schedule), crew };
        assert_eq!(booked_twice([booking(1, &ada), booking(2, &bo)]), []);
        assert_eq!(booked_twice([booking(1, &ada), booking(2, &lead)]), []);
        let all = booked_twice([booking(3, &ada), booking(1, &ada), booking(2, &ada)]);
        let pairs: Vec<_> = all.iter().map(|own| own.jobs).collect();
        assert_eq!(pairs, [[job(1), job(2)], [job(1), job(3)], [job(2), job(3)]]);
    }

    #[test]
    fn a_day_that_went_by_untouched_is_overdue_from_the_next_day_on() {
        for phase in [Phase::Planned, Phase::WithCrew] {
            assert!(is_overdue(phase, "2026-11-30", "2026-12-01"));
            assert!(!is_overdue(phase, "2026-12-01", "2026-12-01"));
            assert!(!is_overdue(phase, "2026-12-02", "2026-12-01"));
            assert!(!is_overdue(phase, "", "2026-12-01"));
        }
        for phase in
            [Phase::OnSite, Phase::Paused(LeftAs::NotConnected), Phase::ForReview, Phase::Passed, Phase::Withdrawn]
        {
            assert!(!is_overdue(phase, "2026-11-30", "2026-12-01"), "{phase:?}");
        }
    }
}
