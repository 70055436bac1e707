//! A job as a line of the day sheet: under which day it stands, and what of it is kept for the next start. Pure.
//!
//! A start folds every job before it can say anything about one. So the lines of the last look are kept beside the profile, and are
//! on the screen until the job files have been read; what only those can say (how much is not sent) is not among them.

use domain::ids::{JobId, PersonId};
use domain::job_file::Phase;
use domain::job_file::body::LeftAs;
use serde::{Deserialize, Serialize};

use crate::features::job::load::Progress;
use crate::i18n::format::Day;
use crate::i18n::{Lang, Words};
use crate::t;

/// So many lines are kept: more than a crew has in a week.
const KEPT_MAX: usize = 40;

/// A job as the day sheet shows it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DayCard {
    /// Which.
    pub job: JobId,
    /// Street and town.
    pub place: String,
    /// `YYYY-MM-DD`, or empty.
    pub day: String,
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

/// The sheet of these jobs.
pub fn sheet_of(w: Words, today: Day, cards: Vec<DayCard>) -> Vec<DayGroup> {
    let shown = cards.into_iter().filter(|card| card.phase != Phase::Withdrawn);
    let mut sorted: Vec<(Part, DayCard)> = shown.map(|card| (part_of(&card, today), card)).collect();
    sorted.sort_by(|(part, one), (other_part, other)| {
        (part, &one.day, &one.hour, one.job).cmp(&(other_part, &other.day, &other.hour, other.job))
    });
    let mut groups: Vec<(Part, DayGroup)> = Vec::new();
    for (part, card) in sorted {
        match groups.last_mut() {
            Some((own, group)) if *own == part => group.cards.push(card),
            _ => groups.push((part, DayGroup { heading: heading(w, part, today), cards: vec![card] })),
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

fn part_of(card: &DayCard, today: Day) -> Part {
    let day = Day::parse(&card.day);
    let done = match card.phase {
        Phase::Passed | Phase::Sealed | Phase::Withdrawn => true,
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

fn heading(w: Words, part: Part, today: Day) -> String {
    match part {
        Part::Today => t!(w, "day.today", day = w.weekday_and_day(today)),
        Part::Earlier => t!(w, "day.earlier").to_owned(),
        Part::Ahead(day) => w.weekday_and_day(day),
        Part::NoDay => t!(w, "job.no_day").to_owned(),
        Part::Done => t!(w, "day.done").to_owned(),
    }
}

/// The lines as they are kept.
#[derive(Serialize, Deserialize)]
struct Kept {
    person: PersonId,
    lang: String,
    cards: Vec<KeptCard>,
}

#[derive(Serialize, Deserialize)]
struct KeptCard {
    job: JobId,
    place: String,
    day: String,
    hour: String,
    method: String,
    phase: u8,
    progress: Progress,
    stopped: bool,
}

/// The lines as text, to be kept until the next start.
pub fn to_text(person: PersonId, lang: Lang, cards: &[DayCard]) -> Option<String> {
    let cards = cards.iter().take(KEPT_MAX).map(|card| KeptCard {
        job: card.job,
        place: card.place.clone(),
        day: card.day.clone(),
        hour: card.hour.clone(),
        method: card.method.clone(),
        phase: code(card.phase),
        progress: card.progress,
        stopped: card.stopped,
    });
    serde_json::to_string(&Kept { person, lang: lang.code().to_owned(), cards: cards.collect() }).ok()
}

/// The lines that were kept for this person in this language; none if they are another's or cannot be read.
pub fn of_text(person: PersonId, lang: Lang, text: &str) -> Vec<DayCard> {
    let kept: Option<Kept> = serde_json::from_slice(text.as_bytes()).ok();
    let Some(kept) = kept.filter(|kept| kept.person == person && kept.lang == lang.code()) else { return Vec::new() };
    let card = |kept: KeptCard| {
        let KeptCard { job, place, day, hour, method, phase, progress, stopped } = kept;
        let phase = of_code(phase)?;
        Some(DayCard { job, place, day, hour, method, phase, progress, stopped, waiting: 0, attention: 0 })
    };
    kept.cards.into_iter().filter_map(card).collect()
}

const fn code(phase: Phase) -> u8 {
    match phase {
        Phase::Planned => 0,
        Phase::WithCrew => 1,
        Phase::OnSite => 2,
        Phase::Paused(LeftAs::IsolatedAndLocked) => 3,
        Phase::Paused(LeftAs::NotConnected) => 4,
        Phase::Paused(LeftAs::RunningAsBefore) => 5,
        Phase::ForReview => 6,
        Phase::Returned => 7,
        Phase::Passed => 8,
        Phase::Withdrawn => 9,
        Phase::Sealed => 10,
    }
}

const fn of_code(code: u8) -> Option<Phase> {
    Some(match code {
        0 => Phase::Planned,
        1 => Phase::WithCrew,
        2 => Phase::OnSite,
        3 => Phase::Paused(LeftAs::IsolatedAndLocked),
        4 => Phase::Paused(LeftAs::NotConnected),
        5 => Phase::Paused(LeftAs::RunningAsBefore),
        6 => Phase::ForReview,
        7 => Phase::Returned,
        8 => Phase::Passed,
        9 => Phase::Withdrawn,
        10 => Phase::Sealed,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn person(n: u128) -> PersonId {
        PersonId::of(uuid::Uuid::from_u128(n))
    }

    fn cards() -> Vec<DayCard> {
        let card = |n: u8| DayCard {
            job: JobId::of(uuid::Uuid::from_u128(u128::from(n))),
            place: format!("Lane \"{n}\""),
            day: "2026-11-25".into(),
            hour: "08:00".into(),
            method: "A stack".into(),
            phase: of_code(n).expect("a phase"),
            progress: Progress { done: 1, total: 71, holds_done: 2, holds_total: 53, failed: 4, asked: 5 },
            stopped: n == 3,
            waiting: 0,
            attention: 0,
        };
        (0..11).map(card).collect()
    }

    #[test]
    fn what_is_kept_comes_back_in_every_phase() {
        let text = to_text(person(1), Lang::De, &cards()).expect("a text");
        assert_eq!(of_text(person(1), Lang::De, &text), cards());
        assert_eq!(of_code(11), None);
    }

    #[test]
    fn lines_of_another_person_or_language_and_broken_ones_are_none() {
        let text = to_text(person(1), Lang::De, &cards()).expect("a text");
        assert!(of_text(person(2), Lang::De, &text).is_empty());
        assert!(of_text(person(1), Lang::En, &text).is_empty());
        assert!(of_text(person(1), Lang::De, &text[..text.len() - 1]).is_empty());
    }

    #[test]
    fn what_was_not_sent_is_not_kept() {
        let all: Vec<DayCard> = cards().into_iter().map(|card| DayCard { waiting: 3, attention: 1, ..card }).collect();
        let text = to_text(person(1), Lang::En, &all).expect("a text");
        assert_eq!(of_text(person(1), Lang::En, &text), cards());
    }
}
