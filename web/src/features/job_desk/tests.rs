#![allow(clippy::unwrap_used, reason = "tests")]

use super::view_model::*;
use crate::features::design_sheet::state::DesignState;
use crate::features::desk::shared::{rights, waiting_deviations};
use crate::features::job::load::{BreachView, DeviationView, JobView, StopView, job_view};
use domain::ids::{EntryId, Hash32, JobId, PersonId, uuid_v7};
use domain::job_file::body::{
    Assigned, Body, Confirmation, CrewRole, Drawing, MediaType, PhotoFile, Remark, Signature, StopCause,
};
use domain::job_file::{BreachWhy, JobFile, Phase, Place};
use domain::people::Role;

fn person(number: u8) -> PersonId {
    PersonId::of(uuid_v7(1, &[number; 10]))
}

fn entry(number: u8) -> EntryId {
    EntryId::of(uuid_v7(2, &[number; 10]))
}

fn view(phase: Phase) -> JobView {
    let mut view = job_view(JobId::of(uuid_v7(3, &[1; 10])), &JobFile::default(), None, "en");
    view.phase = phase;
    view.planner = Some(person(1));
    view.crew = vec![Assigned { person: person(2), role: CrewRole::Technician, tickets: Vec::new() }];
    view
}

fn deviation(number: u8) -> DeviationView {
    let file = PhotoFile { hash: Hash32::of([number; 32]), bytes: 1, width: 1, height: 1, media: MediaType::Jpeg };
    DeviationView {
        asked: entry(number),
        by: person(2),
        at_us: 1,
        place: Place::of("step", 0, "need"),
        reason: "Wall is not plumb".into(),
        photo: file,
        preview: None,
        decision: None,
        by_voice: None,
        sealed: Vec::new(),
    }
}

#[test]
fn a_role_alone_does_not_decide_in_somebody_elses_job() {
    let job = view(Phase::ForReview);
    assert!(rights(&job, person(1), &[Role::Lead]).decide);
    let other = rights(&job, person(3), &[Role::Lead]);
    assert!(!other.decide && other.not_lead_here);
    let office = rights(&job, person(3), &[Role::Office]);
    assert!(!office.decide && !office.plan && office.site);
    assert!(!rights(&job, person(2), &[Role::Technician]).site);
    assert!(!rights(&job, person(2), &[Role::Technician]).not_lead_here);
    assert!(!rights(&view(Phase::Passed), person(1), &[Role::Lead]).decide);
    assert!(!rights(&view(Phase::Withdrawn), person(1), &[Role::Owner]).plan);
}

#[test]
fn hard_things_shut_the_way_and_soft_ones_are_only_told() {
    let mut job = view(Phase::OnSite);
    job.method_missing = false;
    job.stops.push(StopView {
        id: entry(1),
        by: person(2),
        at_us: 1,
        cause: StopCause::Damage,
        remark: None,
        resolved: None,
        taken_back: false,
        stamped: true,
    });
    job.breaches.push(BreachView {
        entry: entry(2),
        by: person(2),
        at_us: 1,
        why: BreachWhy::NotOnJob,
        body: None,
        settled: None,
    });
    let against = standing_against(&job, None, 3);
    assert_eq!(
        against,
        [Against::Stops(1), Against::Steps(Vec::new()), Against::NotHandedIn, Against::Breaches(1), Against::Photos(3)]
    );
    let hard: Vec<bool> = against.iter().map(Against::is_hard).collect();
    assert_eq!(hard, [true, true, false, false, false]);
}

#[test]
fn a_design_that_fails_or_is_open_is_named_and_wants_a_reason() {
    let job = view(Phase::ForReview);
    let named = |fails: &[&str], open: &[&str], absent| {
        let own = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
        let design = DesignState { absent, fails: own(fails), open: own(open), unjudged: false };
        let all = standing_against(&job, Some(&design), 0);
        let about: Vec<Against> = all.into_iter().filter(Against::wants_reason).collect();
        assert!(about.iter().all(|against| !against.is_hard()), "a lead may pass it, with a reason");
        about
    };
    assert_eq!(named(&[], &[], false), []);
    assert_eq!(
        named(&["Cable"], &["Runtime", "Loop"], false),
        [
            Against::DesignFails(vec!["Cable".to_owned()]),
            Against::DesignOpen(vec!["Runtime".to_owned(), "Loop".to_owned()])
        ]
    );
    assert_eq!(named(&[], &[], true), [Against::DesignAbsent]);
    // Rules that are not here let nothing pass in silence.
    let unjudged = DesignState { unjudged: true, ..DesignState::default() };
    let against = standing_against(&job, Some(&unjudged), 0);
    assert!(against.contains(&Against::DesignUnjudged) && against.iter().any(Against::wants_reason));
    // Words that were written go with the pass, as a note of whoever passed.
    let bodies = Decision::Pass.bodies("The cable was measured.", entry(9));
    assert!(matches!(&bodies[..], [Body::Remark(remark), Body::Passed(_)] if remark.text == "The cable was measured."));
}

#[test]
fn without_the_method_nothing_can_be_passed() {
    assert!(standing_against(&view(Phase::ForReview), None, 0).contains(&Against::MethodMissing));
}

#[test]
fn a_departure_waits_until_it_is_answered() {
    let mut job = view(Phase::OnSite);
    job.deviations = vec![deviation(1), DeviationView { decision: Some((true, person(1), None)), ..deviation(2) }];
    assert_eq!(waiting_deviations(&job).map(|own| own.asked).collect::<Vec<_>>(), [entry(1)]);
    // The place is not there: a departure from nothing waits for nobody.
    job.method_missing = false;
    assert_eq!(waiting_deviations(&job).count(), 0);
    assert!(!can_allow(&job, &deviation(1)));
}

#[test]
fn a_decision_names_the_words_that_go_with_it() {
    let refuse = Decision::Deviation { asked: entry(1), allow: false };
    let bodies = refuse.bodies("  not plumb enough ", entry(7));
    let [Body::Remark(words), Body::DeviationDecided(decided)] = bodies.as_slice() else { panic!("{bodies:?}") };
    assert_eq!(words.text, "not plumb enough");
    assert_eq!((decided.allowed, decided.remark), (false, Some(entry(7))));

    let allow = Decision::Deviation { asked: entry(1), allow: true };
    let bodies = allow.bodies(" ", entry(7));
    let [Body::DeviationDecided(decided)] = bodies.as_slice() else { panic!("{bodies:?}") };
    assert_eq!((decided.allowed, decided.remark), (true, None));

    let back = Decision::Return(Place::of("step", 2, ""));
    let bodies = back.bodies("again", entry(8));
    let [Body::Remark(words), Body::Returned(returned)] = bodies.as_slice() else { panic!("{bodies:?}") };
    assert_eq!((words.at.as_ref(), returned.remark), (Some(&returned.at), entry(8)));
    assert_eq!(Decision::Pass.bodies("", entry(9)).len(), 1);
}

#[test]
fn what_must_be_explained_is() {
    assert!(Decision::Deviation { asked: entry(1), allow: false }.needs_words());
    assert!(!Decision::Deviation { asked: entry(1), allow: true }.needs_words());
    assert!(Decision::Stop(entry(1)).needs_words() && Decision::Breach(entry(1)).needs_words());
    assert!(confirms(" ab12cd ", "AB12CD") && !confirms("AB12C", "AB12CD") && !confirms("", "AB12CD"));
}

#[test]
fn the_filter_survives_the_address() {
    for filter in [StepFilter::All, StepFilter::Open, StepFilter::Noteworthy] {
        assert_eq!(StepFilter::of_word(filter.word()), filter);
    }
    assert_eq!(StepFilter::of_word("else"), StepFilter::All);
}

#[test]
fn a_photo_that_will_not_come_is_no_longer_awaited() {
    let listed = |number: u8, role: &str, arrived_us| ServerPhoto {
        hash: Hash32::of([number; 32]),
        role: role.into(),
        arrived_us,
    };
    let photos = [
        listed(1, "original", None),
        listed(1, "original", None),
        listed(2, "original", Some(5)),
        listed(3, "preview", None),
    ];
    let mut job = view(Phase::OnSite);
    job.deviations = vec![deviation(1)];
    let awaited = awaited_photos(&job, &photos);
    assert_eq!(awaited, [AwaitedPhoto { hash: Hash32::of([1; 32]), at: None, by: Some(person(2)) }]);
    job.photos_absent = vec![(Hash32::of([1; 32]), "phone lost".into())];
    assert!(awaited_photos(&job, &photos).is_empty());
}

#[test]
fn the_name_under_a_confirmation_or_a_signature_is_no_note() {
    let said = |at: Option<Place>, text: &str| Body::Remark(Remark { at, text: text.into() });
    // Ids as an imagined file gives them: the number of the entry.
    let id = |number: u64| EntryId::of(uuid_v7(number, &[2; 10]));
    let at = Place::of("hand-over", 0, "shown");
    let statement = Hash32::of([3; 32]);
    let confirmation = Confirmation { at: at.clone(), statement, person: None, named_in: Some(id(1)), corrects: None };
    let signature = Signature {
        at: at.clone(),
        text: statement,
        drawing: id(4),
        person: None,
        named_in: Some(id(3)),
        corrects: None,
    };
    let bodies = [
        said(Some(at.clone()), "Renée Bécu"),
        Body::Confirmation(confirmation),
        said(Some(at), "Renée Bécu"),
        Body::Drawing(Drawing { size: (640, 240), strokes: vec![vec![(1, 1), (200, 90)]] }),
        Body::Signature(signature),
        said(None, "The side gate sticks."),
    ];
    let job = JobId::of(uuid_v7(3, &[1; 10]));
    let view = job_view(job, &JobFile::imagined(job, bodies), None, "en");
    assert_eq!(view.remarks.len(), 3);
    // Neither counts, for no method knows the place: a name is a name all the same.
    assert_eq!(view.breaches.len(), 2);
    let notes: Vec<&str> = notes_of(&view).into_iter().map(|note| note.text.as_str()).collect();
    assert_eq!(notes, ["The side gate sticks."]);
}
