//! Departures allowed over the telephone: for their place, once, never where only evidence opens.

use super::*;
use crate::pack::{Context, Report, Words};
use crate::people::voice::{NotShown, Sealed, Trial, Tried, issue, to_be_shown, unused, wanting};
use std::collections::BTreeMap;

/// A world in which the server has drawn the answers, and what it keeps of them.
struct Spoken {
    world: World,
    kept: BTreeMap<Place, String>,
    drawn: u64,
}

impl Spoken {
    fn new() -> Self {
        let mut this = Self { world: World::new(), kept: BTreeMap::new(), drawn: 0 };
        this.draw();
        this.world.sync(TECH);
        this
    }

    fn wanted(&self) -> Vec<Place> {
        let plan = Plan::of(&self.world.method);
        wanting(&fold(&self.world.server, &plan))
    }

    /// The server draws what is wanted.
    fn draw(&mut self) -> usize {
        self.world.sync(SERVER);
        let places = self.wanted();
        let drawn = &mut self.drawn;
        let (mut batch, kept) = issue([7; 16], &places, &mut || {
            *drawn += 0x0123_4567_89ab;
            *drawn
        });
        // Fewer rounds: each test tries some.
        batch.rounds = 3;
        for (answer, clear) in batch.answers.iter_mut().zip(&kept) {
            let proof = crate::people::voice::proof_of(clear, &batch.salt, batch.rounds, &answer.at).unwrap();
            answer.hash = crate::people::voice::seal_of(proof);
        }
        if !places.is_empty() {
            self.world.write(SERVER, Body::VoiceAnswers(batch));
            self.world.sync(SERVER);
        }
        self.kept.extend(places.iter().cloned().zip(kept));
        places.len()
    }

    fn ask(&mut self, who: u8, at: &Place) -> EntryId {
        let remark = self.world.remark(who);
        let photo = PhotoFile { hash: Hash32::sha256(b"x"), bytes: 1, width: 1, height: 1, media: MediaType::Jpeg };
        self.world.write(who, Body::DeviationAsked(DeviationAsked { at: at.clone(), remark, photo, preview: None }))
    }

    fn sealed(&self, who: u8, at: &Place) -> Vec<Sealed> {
        let plan = Plan::of(&self.world.method);
        unused(fold(&self.world.phones[&who], &plan).gate.record(), at)
    }

    /// What the phone says to an answer that somebody types.
    fn types(&self, who: u8, at: &Place, typed: &str) -> Option<Tried> {
        let mut trial = Trial::of(typed, self.sealed(who, at).first()?)?;
        Some(trial.go_on(u32::MAX))
    }

    /// Writes the entry past the phone's own look.
    fn says(&mut self, who: u8, asked: EntryId, tried: Tried) -> EntryId {
        let Tried::Right { issue, proof } = tried else { panic!("{tried:?}") };
        self.world.write(who, Body::DeviationByVoice(DeviationByVoice { asked, issue, proof }))
    }

    fn by_voice(&self, asked: EntryId) -> Option<Vec<PersonId>> {
        let plan = Plan::of(&self.world.method);
        let shown = fold(&self.world.server, &plan).gate.record().by_voice(asked)?;
        Some(shown.into_iter().map(|(_, person)| person).collect())
    }
}

fn photo() -> Place {
    Place::of("arrive", 0, "photo")
}

#[test]
fn answers_are_drawn_for_each_place_but_those_of_stop_work_steps_and_only_once() {
    let mut s = Spoken::new();
    let places: Vec<String> = s.kept.keys().map(|at| format!("{}/{}/{}", at.step, at.slot, at.requirement)).collect();
    assert_eq!(
        places,
        [
            "arrive/0/here",
            "arrive/0/photo",
            "end/0/done",
            "floor/0/floor",
            "links/1/serial",
            "links/2/serial",
            "shim/0/photo"
        ],
        "a step that a choice switches on has its answers before, a stop-work step has none"
    );
    assert_eq!(s.draw(), 0);
    // A third module: its places alone.
    let record = s.world.phones[&LEAD].iter().find_map(|held| match held.entry.body() {
        Some(Body::Equipment(equipment)) => Some(equipment.clone()),
        _ => None,
    });
    let mut equipment = record.unwrap();
    equipment.slots.push(body::Slot { number: 3, model: 0, new: true });
    s.world.write(LEAD, Body::Equipment(equipment));
    s.world.sync(LEAD);
    assert_eq!(s.wanted(), [Place::of("links", 3, "serial")]);
    s.world.write(LEAD, Body::Withdrawn(Plain {}));
    s.world.sync(LEAD);
    assert_eq!(s.wanted(), []);
}

#[test]
fn only_a_lead_of_the_job_is_shown_an_answer_and_none_once_the_job_is_over() {
    let mut spoken = Spoken::new();
    let shown = |spoken: &Spoken, who, at: &Place| {
        let plan = Plan::of(&spoken.world.method);
        to_be_shown(&fold(&spoken.world.server, &plan), person(who), at)
    };
    let place = photo();
    let newest = spoken.sealed(TECH, &place)[0].issue;
    assert_eq!(shown(&spoken, LEAD, &place), Ok(newest));
    assert_eq!(shown(&spoken, TECH, &place), Err(NotShown::NotALead));
    assert_eq!(shown(&spoken, OTHER, &place), Err(NotShown::NotALead));
    assert_eq!(shown(&spoken, LEAD, &Place::of("dead", 0, "v")), Err(NotShown::NoAnswer), "a stop-work step has none");
    spoken.world.write(LEAD, Body::Withdrawn(Plain {}));
    spoken.world.sync(LEAD);
    assert_eq!(shown(&spoken, LEAD, &place), Err(NotShown::NoAnswer));
}

#[test]
fn nobody_gets_answers_before_there_is_a_crew() {
    let s = Spoken::new();
    let mut file = JobFile::default();
    for held in s.world.server.iter().filter(|held| !matches!(held.entry.body(), Some(Body::Assignment(_)))) {
        file.absorb(held.entry.clone(), held.stamp);
    }
    let plan = Plan::of(&s.world.method);
    assert_eq!(wanting(&fold(&file, &plan)), []);
}

#[test]
fn an_answer_opens_the_gate_offline_and_names_whom_it_was_shown() {
    let mut s = Spoken::new();
    s.world.tick(TECH, "arrive", "here");
    let asked = s.ask(TECH, &photo());
    assert_eq!(s.world.state(TECH, "arrive", 0), StepState::Open);
    let typed = s.kept[&photo()].to_lowercase().replace('-', " ");
    let right = s.types(TECH, &photo(), &typed).unwrap();
    s.says(TECH, asked, right);
    assert_eq!(s.world.state(TECH, "arrive", 0), StepState::Deviating);
    s.world.sync(SERVER);
    let Tried::Right { issue, .. } = right else { unreachable!() };
    let shown = || Body::VoiceAnswerShown(VoiceAnswerShown { issue, at: photo() });
    s.world.write_on(SERVER, LEAD, shown());
    let not_lead = s.world.write_on(SERVER, TECH, shown());
    s.world.sync(SERVER);
    assert_eq!(s.by_voice(asked), None, "the phone's word has not come");
    s.world.sync(TECH);
    assert_eq!(s.by_voice(asked), Some(vec![person(LEAD)]));
    assert_eq!(s.world.breaches(), [(not_lead, BreachWhy::NotLead)]);
    assert_eq!(in_the_report(&s.world), ["by telephone, typed by technician; shown to lead"]);
}

/// What the report answers to each request for a departure.
fn in_the_report(world: &World) -> Vec<String> {
    let said = |key: &str, text: &str| (key.to_owned(), text.to_owned());
    let words = Words::of(BTreeMap::from([
        said("exception.allowed_by_voice", "by telephone, typed by {who}"),
        said("exception.shown_to", "shown to {who}"),
    ]));
    let name = |who| if who == person(LEAD) { "lead" } else { "technician" }.to_owned();
    let context = Context {
        words: &words,
        language: "en",
        decimal: '.',
        firm: "",
        person: &name,
        when: &|_| String::new(),
        arrived: &|_| true,
        own_rules: &[],
        seal: crate::pack::SealContext::default(),
    };
    let plan = Plan::of(&world.method);
    let report = Report::assemble(&mut fold(&world.server, &plan), "", &context);
    let departures = report.exceptions.rows.into_iter().filter(|row| row[0] == "exception.deviation");
    departures.map(|mut row| row.remove(3)).collect()
}

#[test]
fn a_wrong_answer_and_one_for_another_place_open_nothing() {
    let mut s = Spoken::new();
    s.world.tick(TECH, "arrive", "here");
    let asked = s.ask(TECH, &photo());
    let elsewhere = Place::of("floor", 0, "floor");
    assert_eq!(s.types(TECH, &photo(), "2222-2222-2222"), Some(Tried::Wrong));
    assert_eq!(s.types(TECH, &photo(), "2222-2222-222"), None, "no answer's form");
    assert_eq!(s.types(TECH, &photo(), &s.kept[&elsewhere]), Some(Tried::Wrong));
    // A phone that does not look: the fold does.
    let other = s.types(TECH, &elsewhere, &s.kept[&elsewhere]).unwrap();
    let wrong = s.says(TECH, asked, other);
    assert_eq!(s.world.state(TECH, "arrive", 0), StepState::Open);
    s.world.sync(TECH);
    assert_eq!(s.world.breaches(), [(wrong, BreachWhy::WrongAnswer)]);
    assert_eq!(s.by_voice(asked), None);
}

#[test]
fn an_answer_works_once_and_another_is_drawn_for_the_next_time() {
    let mut s = Spoken::new();
    s.world.tick(TECH, "arrive", "here");
    let first = s.ask(TECH, &photo());
    let right = s.types(TECH, &photo(), &s.kept[&photo()]).unwrap();
    s.says(TECH, first, right);
    assert_eq!(s.sealed(TECH, &photo()), []);
    s.world.sync(TECH);
    s.world.sync(LEAD);
    let remark = s.world.remark(LEAD);
    s.world.write(LEAD, Body::Returned(Returned { at: photo(), remark }));
    s.world.sync(LEAD);
    s.world.sync(TECH);
    let second = s.ask(TECH, &photo());
    let again = s.says(TECH, second, right);
    assert_ne!(s.world.state(TECH, "arrive", 0), StepState::Deviating);
    s.world.sync(TECH);
    assert_eq!(s.world.breaches(), [(again, BreachWhy::AnswerUsed)]);
    assert_eq!(s.wanted(), [photo()]);
    assert_eq!(s.draw(), 1);
    s.world.sync(TECH);
    let fresh = s.types(TECH, &photo(), &s.kept[&photo()]).unwrap();
    s.says(TECH, second, fresh);
    assert_eq!(s.world.state(TECH, "arrive", 0), StepState::Deviating);
}

#[test]
fn two_phones_without_data_use_one_answer_and_only_the_first_counts() {
    let mut s = Spoken::new();
    let crew =
        [TECH, OTHER].map(|who| Assigned { person: person(who), role: CrewRole::Technician, tickets: Vec::new() });
    s.world.write(LEAD, Body::Assignment(Assignment { crew: crew.to_vec() }));
    s.world.sync(LEAD);
    s.world.sync(TECH);
    s.world.sync(OTHER);
    let (first, second) = (s.ask(TECH, &photo()), s.ask(OTHER, &photo()));
    for (who, asked) in [(TECH, first), (OTHER, second)] {
        let right = s.types(who, &photo(), &s.kept[&photo()]).unwrap();
        s.says(who, asked, right);
    }
    s.world.sync(OTHER);
    s.world.sync(TECH);
    assert_eq!(s.world.breaches(), [], "neither could know of the other");
    assert_eq!([first, second].map(|asked| s.by_voice(asked).is_some()), [true, false]);
}

#[test]
fn no_answer_opens_a_stop_work_step_and_nobody_but_the_server_draws() {
    let mut s = Spoken::new();
    s.world.arrive(TECH);
    let dead = Place::of("dead", 0, "v");
    let asked = s.ask(TECH, &dead);
    // Somebody makes a batch of their own for it, on their own phone.
    let (batch, kept) = issue([1; 16], core::slice::from_ref(&dead), &mut || 5);
    let forged = s.world.write(TECH, Body::VoiceAnswers(batch.clone()));
    assert_eq!(s.sealed(TECH, &dead), [], "it counts for nothing");
    let proof = crate::people::voice::proof_of(&kept[0], &batch.salt, batch.rounds, &dead).unwrap();
    let said = s.world.write(TECH, Body::DeviationByVoice(DeviationByVoice { asked, issue: forged, proof }));
    assert_eq!(s.world.state(TECH, "dead", 0), StepState::Open);
    s.world.sync(TECH);
    // The request was a breach, so the answer has nothing to answer.
    let expected = [(asked, BreachWhy::StopWorkStep), (forged, BreachWhy::NotServer), (said, BreachWhy::NothingThere)];
    assert_eq!(s.world.breaches(), expected);
    // Even a batch of the server's would open nothing.
    s.world.sync(SERVER);
    let issued = s.world.write(SERVER, Body::VoiceAnswers(batch));
    s.world.sync(SERVER);
    s.world.sync(TECH);
    s.world.write(TECH, Body::DeviationByVoice(DeviationByVoice { asked, issue: issued, proof }));
    assert_eq!(s.world.state(TECH, "dead", 0), StepState::Open);
}
