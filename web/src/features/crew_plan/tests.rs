#![allow(clippy::unwrap_used, reason = "tests")]

use super::view_model::*;
use crate::features::job::load::{JobView, StopView, job_view};
use crate::i18n::format::Day;
use domain::ids::{EntryId, JobId, PersonId, uuid_v7};
use domain::job_file::body::{Assigned, CrewRole, LeftAs, Schedule, StopCause};
use domain::job_file::{JobFile, Phase};
use std::sync::Arc;

fn person(number: u8) -> PersonId {
    PersonId::of(uuid_v7(1, &[number; 10]))
}

fn job(number: u8, day: &str, start: &str, crew: &[u8], phase: Phase) -> JobView {
    let mut view = job_view(JobId::of(uuid_v7(2, &[number; 10])), &JobFile::default(), None, "en");
    view.phase = phase;
    view.site.householder = format!("House {number}");
    view.schedule = (!day.is_empty()).then(|| Schedule { day: day.into(), start: start.into() });
    view.crew = crew
        .iter()
        .map(|own| Assigned { person: person(*own), role: CrewRole::Technician, tickets: Vec::new() })
        .collect();
    view
}

fn today() -> Day {
    // A Wednesday.
    Day::parse("2026-11-25").unwrap()
}

fn people() -> Vec<(PersonId, String)> {
    vec![(person(1), "Ada".into()), (person(2), "Bo".into())]
}

fn planned(views: Vec<JobView>) -> CrewPlan {
    let views: Vec<Arc<JobView>> = views.into_iter().map(Arc::new).collect();
    plan(&views, &people(), today(), &DesignFails::new())
}

#[test]
fn the_plan_begins_on_monday_and_has_two_weeks() {
    let plan = planned(Vec::new());
    assert_eq!(plan.days.len(), 14);
    assert_eq!(plan.days[0].iso(), "2026-11-23");
    assert_eq!(plan.days[13].iso(), "2026-12-06");
    assert!(plan.is_empty());
    assert_eq!(monday_of(Day::parse("2026-11-23").unwrap()).iso(), "2026-11-23");
    assert_eq!(monday_of(Day::parse("2026-11-29").unwrap()).iso(), "2026-11-23");
}

#[test]
fn a_job_stands_with_each_of_its_people_sorted_by_hour() {
    let plan = planned(vec![
        job(1, "2026-11-25", "13:00", &[1, 2], Phase::WithCrew),
        job(2, "2026-11-25", "08:00", &[1], Phase::OnSite),
    ]);
    let names = |row: usize| plan.rows[row].days[2].iter().map(|card| card.name.as_str()).collect::<Vec<_>>();
    assert_eq!(names(0), ["House 2", "House 1"]);
    assert_eq!(names(1), ["House 1"]);
    assert!(plan.unplanned.is_empty());
}

#[test]
fn what_has_no_crew_or_no_day_is_listed_and_a_finished_job_is_not() {
    let plan = planned(vec![
        job(1, "", "", &[1], Phase::Planned),
        job(2, "2026-11-26", "", &[], Phase::Planned),
        job(3, "", "", &[], Phase::Withdrawn),
        job(4, "2026-11-20", "", &[1], Phase::Paused(LeftAs::NotConnected)),
        job(5, "2026-11-20", "", &[1], Phase::Passed),
        job(6, "2027-01-07", "", &[1], Phase::WithCrew),
    ]);
    let names = |cards: &[JobCard]| cards.iter().map(|card| card.name.clone()).collect::<Vec<_>>();
    assert_eq!(names(&plan.unplanned), ["House 1", "House 2"]);
    assert_eq!(names(&plan.nobody[3]), ["House 2"]);
    assert_eq!(names(&plan.overdue), ["House 4"]);
    assert_eq!(names(&plan.later), ["House 6"]);
}

#[test]
fn somebody_who_left_the_firm_leaves_the_job_without_anybody() {
    let plan = planned(vec![job(1, "2026-11-25", "", &[9], Phase::WithCrew)]);
    assert_eq!(plan.nobody[2].len(), 1);
}

#[test]
fn a_stop_waits_before_a_review() {
    let mut stopped = job(1, "2026-11-25", "", &[1], Phase::OnSite);
    stopped.stops.push(StopView {
        id: EntryId::of(uuid_v7(3, &[1; 10])),
        by: person(1),
        at_us: 50,
        cause: StopCause::Alarm,
        remark: None,
        resolved: None,
        taken_back: false,
        stamped: true,
    });
    let mut resolved = job(3, "2026-11-25", "", &[1], Phase::OnSite);
    resolved.stops.push(StopView { resolved: Some((person(2), "fixed".into())), ..stopped.stops[0].clone() });
    let plan = planned(vec![job(2, "2026-11-24", "", &[1], Phase::ForReview), stopped, resolved]);
    let queue: Vec<_> = plan.queue.iter().map(|need| (need.card.name.as_str(), &need.why)).collect();
    assert_eq!(queue, [("House 1", &NeedWhy::Stop), ("House 2", &NeedWhy::ForReview)]);
    assert_eq!(plan.queue[0].card.waits, 1);
}

#[test]
fn a_day_of_this_week_that_went_by_untouched_is_marked_and_todays_is_not() {
    let plan = planned(vec![
        job(1, "2026-11-23", "", &[1], Phase::WithCrew),
        job(2, "2026-11-24", "", &[], Phase::Planned),
        job(3, "2026-11-24", "", &[1], Phase::OnSite),
        job(4, "2026-11-25", "", &[1], Phase::WithCrew),
    ]);
    let marked = |cards: &[JobCard]| cards.iter().map(|card| (card.name.clone(), card.overdue)).collect::<Vec<_>>();
    assert_eq!(marked(&plan.rows[0].days[0]), [("House 1".to_owned(), true)]);
    assert_eq!(marked(&plan.nobody[1]), [("House 2".to_owned(), true)]);
    assert_eq!(marked(&plan.rows[0].days[1]), [("House 3".to_owned(), false)]);
    assert_eq!(marked(&plan.rows[0].days[2]), [("House 4".to_owned(), false)]);
}

#[test]
fn two_jobs_of_one_person_at_one_hour_are_marked_on_both_cards_and_told_in_a_line() {
    let plan = planned(vec![
        job(1, "2026-11-26", "08:30", &[1, 2], Phase::WithCrew),
        job(2, "2026-11-26", "08:00", &[1], Phase::WithCrew),
        job(3, "2026-11-26", "13:00", &[1, 2], Phase::WithCrew),
        // Whoever left the firm is wanted nowhere.
        job(4, "2026-11-27", "08:00", &[9], Phase::WithCrew),
        job(5, "2026-11-27", "08:00", &[9], Phase::WithCrew),
    ]);
    let lines: Vec<_> = plan
        .twice
        .iter()
        .map(|line| {
            let jobs = line.jobs.each_ref().map(|card| card.name.as_str());
            (line.person.as_str(), line.day.as_str(), line.start.as_str(), jobs)
        })
        .collect();
    assert_eq!(lines, [("Ada", "2026-11-26", "08:30", ["House 2", "House 1"])]);
    let also = |cards: &[JobCard]| -> Vec<(String, Vec<(String, String)>)> {
        let names = |card: &JobCard| card.twice.iter().map(|own| (own.person.clone(), own.name.clone())).collect();
        cards.iter().map(|card| (card.name.clone(), names(card))).collect()
    };
    let mark = |name: &str| vec![("Ada".to_owned(), name.to_owned())];
    assert_eq!(
        also(&plan.rows[0].days[3]),
        [
            ("House 2".to_owned(), mark("House 1")),
            ("House 1".to_owned(), mark("House 2")),
            ("House 3".to_owned(), Vec::new()),
        ]
    );
    // The card says the same wherever it stands.
    assert_eq!(also(&plan.rows[1].days[3])[0], ("House 1".to_owned(), mark("House 2")));
}

#[test]
fn a_card_says_how_many_checks_of_its_design_fail_until_the_job_is_over() {
    let views = [
        job(1, "2026-11-25", "08:00", &[1], Phase::WithCrew),
        job(2, "2026-11-26", "08:00", &[1], Phase::Passed),
        job(3, "", "", &[], Phase::Planned),
    ];
    let fails: DesignFails = views.iter().map(|view| (view.job, 2)).collect();
    let views: Vec<Arc<JobView>> = views.into_iter().map(Arc::new).collect();
    let plan = plan(&views, &people(), today(), &fails);
    let cards: Vec<&JobCard> = plan.rows[0].days.iter().flatten().chain(&plan.unplanned).collect();
    let said: Vec<(&str, usize)> = cards.iter().map(|card| (card.name.as_str(), card.design_fails)).collect();
    assert_eq!(said, [("House 1", 2), ("House 2", 0), ("House 3", 2)]);
}
