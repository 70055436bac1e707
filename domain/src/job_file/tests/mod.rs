//! The log and its fold, with a small method and people who act by the rules and against them.
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

use super::body::{self, *};
use super::*;
use crate::electrical::Unit;
use crate::ids::{self, *};
use crate::method::gate::{Obstacle, Plan, StepRef, StepState};
use crate::method::plan::{
    ChoiceNeed, ChoiceOption, ConfirmationNeed, Confirmer, ConstantLimit, LimitRule, Method, Micro, PhotoNeed,
    ReadingNeed, Repeat, Requirement, SerialNeed, Stage, Step, Text, When,
};
use uuid::Uuid;

mod sealing;
mod voice;

const LEAD: u8 = 1;
const TECH: u8 = 2;
const OTHER: u8 = 3;
/// The server's own device, behind which no person stands.
const SERVER: u8 = 9;

fn id(kind: u8, number: u8) -> Uuid {
    ids::uuid_v7(1_767_225_600_000 + u64::from(number), &[kind; 10])
}
fn person(who: u8) -> PersonId {
    PersonId::of(id(10, who))
}
fn device(who: u8) -> DeviceId {
    DeviceId::of(id(if who == SERVER { 10 } else { 11 }, who))
}
fn text(en: &str) -> Text {
    Text { en: en.into(), ..Text::default() }
}

fn step(id: &str, needs: &[&str], requirements: Vec<Requirement>) -> Step {
    Step {
        id: id.into(),
        stage: "work".into(),
        title: text(id),
        act: text(id),
        hold: true,
        stop_work: false,
        repeat: None,
        in_order: false,
        needs: needs.iter().map(|need| (*need).to_owned()).collect(),
        when: None,
        cautions: Vec::new(),
        requirements,
        safety_critical: false,
        needs_consent: false,
        boards: None,
        live: None,
        grid: None,
        loosens: None,
        tightens: None,
    }
}

fn tick(id: &str) -> Requirement {
    Requirement::Confirmation(ConfirmationNeed { id: id.into(), label: text(id), by: Confirmer::Recorder })
}

/// arrive → dead (stop-work, ≤ 10 V) → links per module (serial, in order) → floor (choice) → shim (when uneven) → end
fn method() -> Method {
    let volts = Requirement::Reading(ReadingNeed {
        id: "v".into(),
        label: text("v"),
        unit: Unit::Volt,
        prefix: String::new(),
        sanity: (Micro(0), Micro(1_000_000_000)),
        instrument: None,
        limit: Some(LimitRule::Constant(ConstantLimit {
            at_least: None,
            at_most: Some(Micro(10_000_000)),
            source: "house rule".into(),
        })),
        pair: None,
        by_choice: None,
    });
    let option = |id: &str| ChoiceOption { id: id.into(), label: text(id), fails: false, stops: None };
    let floor = Requirement::Choice(ChoiceNeed {
        id: "floor".into(),
        label: text("floor"),
        options: vec![option("even"), option("uneven")],
    });
    let photo =
        Requirement::Photo(PhotoNeed { id: "photo".into(), label: text("p"), shows: text("p"), count: 1, held: None });
    let serial = Requirement::Serial(SerialNeed { id: "serial".into(), label: text("s") });
    let mut dead = step("dead", &["arrive"], vec![volts]);
    dead.stop_work = true;
    let mut links = step("links", &["dead"], vec![serial]);
    links.repeat = Some(Repeat::Module);
    links.in_order = true;
    let mut shim = step("shim", &["floor"], vec![photo.clone()]);
    shim.when = Some(When { step: "floor".into(), requirement: "floor".into(), is: vec!["uneven".into()] });
    Method {
        id: "small".into(),
        version: 1,
        purpose: Purpose::Install,
        title: text("small"),
        about: text("small"),
        reviewed: Vec::new(),
        cautions: Vec::new(),
        stages: vec![Stage { id: "work".into(), title: text("work"), hazardous: false }],
        steps: vec![
            step("arrive", &[], vec![tick("here"), photo]),
            dead,
            links,
            step("floor", &["arrive"], vec![floor]),
            shim,
            step("end", &["links", "shim"], vec![tick("done")]),
        ],
        design: Vec::new(),
        units: Vec::new(),
        boards: None,
    }
}

/// People with devices and one server that stamps: the smallest world in which order can go wrong.
struct World {
    method: Method,
    server: JobFile,
    phones: std::collections::BTreeMap<u8, JobFile>,
    clock: u64,
    made: u8,
    stamp: u64,
}

impl World {
    fn new() -> Self {
        let mut world = Self {
            method: method(),
            server: JobFile::default(),
            phones: std::collections::BTreeMap::new(),
            clock: 1_767_225_600_000_000,
            made: 0,
            stamp: 0,
        };
        let plan = JobPlanned {
            purpose: Purpose::Install,
            site: SiteId::of(id(20, 1)),
            method: world.method.reference(),
            rule_set: "neutral 1".into(),
        };
        world.write(LEAD, Body::JobPlanned(plan));
        let model = ModelSnapshot {
            model: ModelId::of(id(21, 1)),
            version: 1,
            kind: UnitKind::Module,
            maker: "m".into(),
            name: "n".into(),
            gtin: None,
            serial_prefix: String::new(),
            serial_length: (0, 0),
            values: Vec::new(),
        };
        let slots = (1..=2).map(|number| body::Slot { number, model: 0, new: true }).collect();
        world.write(LEAD, Body::Equipment(Equipment { models: vec![model], slots }));
        let crew = vec![Assigned { person: person(TECH), role: CrewRole::Technician, tickets: Vec::new() }];
        world.write(LEAD, Body::Assignment(Assignment { crew }));
        world.write(LEAD, Body::Schedule(Schedule { day: "2026-01-02".into(), start: String::new() }));
        world.sync(LEAD);
        world.sync(TECH);
        world
    }

    fn write(&mut self, who: u8, body: Body) -> EntryId {
        self.write_on(who, who, body)
    }

    fn write_on(&mut self, who: u8, author: u8, body: Body) -> EntryId {
        self.clock += 1_000_000;
        self.made += 1;
        let entry_id = EntryId::of(id(1, self.made));
        let file = self.phones.entry(who).or_default();
        let draft = Draft {
            id: entry_id,
            firm: FirmId::of(id(12, 1)),
            job: JobId::of(id(13, 1)),
            author: person(author),
            device: device(who),
            salt: [self.made; 16],
            body,
        };
        let entry = Entry::write(draft, file.chain_head(device(who)), file.head(), self.clock, file.latest_at());
        assert_eq!(file.absorb(entry, None), Absorbed::New);
        entry_id
    }

    /// Pushes in chain order, stamps, pulls.
    fn sync(&mut self, who: u8) {
        self.clock += 1_000_000;
        let file = self.phones.entry(who).or_default();
        let mut own: Vec<Entry> = file.iter().filter(|h| h.stamp.is_none()).map(|h| h.entry.clone()).collect();
        own.sort_by_key(|entry| entry.header.seq);
        for entry in own {
            self.stamp = self.clock.max(self.stamp + 1);
            let position = self.server.head() + 1;
            self.server.absorb(entry, Some(Stamp { time_us: self.stamp, position }));
        }
        for held in self.server.iter() {
            file.absorb(held.entry.clone(), held.stamp);
        }
    }

    fn state_on(&self, file: &JobFile, step: &str, slot: u16) -> StepState {
        let plan = Plan::of(&self.method);
        let mut state = fold(file, &plan);
        let step = plan.index_of(step).unwrap();
        state.gate.view(StepRef { step, slot }).state
    }
    fn state(&self, who: u8, step: &str, slot: u16) -> StepState {
        self.state_on(&self.phones[&who], step, slot)
    }
    fn breaches(&self) -> Vec<(EntryId, BreachWhy)> {
        let plan = Plan::of(&self.method);
        fold(&self.server, &plan).breaches.into_iter().map(|(id, breach)| (id, breach.why)).collect()
    }

    fn tick(&mut self, who: u8, step: &str, requirement: &str) -> EntryId {
        self.write(who, confirm(step, requirement))
    }
    fn photo(&mut self, who: u8, step: &str, slot: u16, content: &str) -> EntryId {
        self.write(who, photo_body(step, slot, content, None))
    }
    fn volts(&mut self, who: u8, micro: i64, corrects: Option<EntryId>) -> EntryId {
        self.write(who, volts_body(micro, corrects))
    }
    fn serial(&mut self, who: u8, slot: u16, serial: &str) -> EntryId {
        let at = Place::of("links", slot, "serial");
        self.write(
            who,
            Body::Serial(SerialRead {
                at,
                raw: serial.into(),
                stored: serial.into(),
                source: SerialSource::Typed,
                gtin: None,
                lot: None,
                corrects: None,
            }),
        )
    }
    fn remark(&mut self, who: u8) -> EntryId {
        self.write(who, Body::Remark(Remark { at: None, text: "because".into() }))
    }
    fn arrive(&mut self, who: u8) {
        self.tick(who, "arrive", "here");
        self.photo(who, "arrive", 0, "yard");
    }
}

fn confirm(step: &str, requirement: &str) -> Body {
    Body::Confirmation(Confirmation {
        at: Place::of(step, 0, requirement),
        statement: Hash32::sha256(b"statement"),
        person: None,
        named_in: None,
        corrects: None,
    })
}
fn volts_body(micro: i64, corrects: Option<EntryId>) -> Body {
    Body::Reading(Reading {
        at: Place::of("dead", 0, "v"),
        raw: micro.to_string(),
        micro: Some(micro),
        unit: Unit::Volt.code(),
        sign: Sign::Equal,
        quality: ReadingQuality::Ok,
        instrument: None,
        corrects,
        test_voltage: None,
    })
}
fn photo_body(step: &str, slot: u16, content: &str, corrects: Option<EntryId>) -> Body {
    let file = PhotoFile {
        hash: Hash32::sha256(content.as_bytes()),
        bytes: content.len() as u64,
        width: 4000,
        height: 3000,
        media: MediaType::Jpeg,
    };
    Body::Photo(Photo {
        at: Place::of(step, slot, "photo"),
        capture: CaptureId::of(id(30, 1)),
        original: file,
        preview: None,
        taken_ms: 0,
        origin: PhotoOrigin::Camera,
        corrects,
        kept_anyway: false,
    })
}

#[test]
fn a_perfect_run_opens_step_after_step_and_passes() {
    let mut w = World::new();
    assert!(matches!(w.state(TECH, "dead", 0), StepState::Locked { .. }));
    w.arrive(TECH);
    assert_eq!(w.state(TECH, "arrive", 0), StepState::Satisfied);
    assert_eq!(w.state(TECH, "dead", 0), StepState::Open);
    w.volts(TECH, 2_000_000, None);
    assert_eq!(w.state(TECH, "links", 1), StepState::Open);
    assert!(matches!(w.state(TECH, "links", 2), StepState::Locked { .. }), "slots go in order");
    w.serial(TECH, 1, "A-1");
    w.serial(TECH, 2, "A-2");
    let even = Body::Choice(Choice { at: Place::of("floor", 0, "floor"), option: "even".into(), corrects: None });
    w.write(TECH, even);
    assert_eq!(w.state(TECH, "shim", 0), StepState::NotApplicable);
    w.tick(TECH, "end", "done");
    w.write(TECH, Body::Submitted(Plain {}));
    w.sync(TECH);
    w.sync(LEAD);
    w.write(LEAD, Body::Passed(Plain {}));
    w.sync(LEAD);
    assert_eq!(w.breaches(), []);
    let plan = Plan::of(&w.method);
    assert_eq!(fold(&w.server, &plan).phase, Phase::Passed);
}

#[test]
fn a_value_beyond_the_limit_keeps_the_gate_shut_until_a_better_one() {
    let mut w = World::new();
    w.arrive(TECH);
    w.volts(TECH, 10_000_001, None);
    assert_eq!(w.state(TECH, "dead", 0), StepState::Failed);
    assert!(matches!(w.state(TECH, "links", 1), StepState::Locked { .. }));
    w.volts(TECH, 10_000_000, None);
    assert_eq!(w.state(TECH, "dead", 0), StepState::Satisfied, "the limit itself passes");
}

#[test]
fn a_skipped_gate_is_a_breach_and_counts_for_nothing() {
    let mut w = World::new();
    let skipped = w.serial(TECH, 1, "A-1");
    w.arrive(TECH);
    w.volts(TECH, 0, None);
    w.sync(TECH);
    let breaches = w.breaches();
    assert_eq!(breaches.len(), 1);
    assert_eq!(breaches[0].0, skipped);
    assert!(matches!(&breaches[0].1, BreachWhy::StepShut(by) if by.iter().any(|o| matches!(o, Obstacle::Step(_)))));
    assert_eq!(w.state(TECH, "links", 1), StepState::Open, "the skipped serial does not fill the slot");
}

#[test]
fn a_serial_fills_one_slot_only() {
    let mut w = World::new();
    w.arrive(TECH);
    w.volts(TECH, 0, None);
    w.serial(TECH, 1, "A-12 3");
    w.serial(TECH, 2, "a123");
    assert_eq!(w.state(TECH, "links", 1), StepState::Satisfied);
    assert_eq!(w.state(TECH, "links", 2), StepState::Failed, "the same serial however it is written");
    w.serial(TECH, 2, "A-124");
    assert_eq!(w.state(TECH, "links", 2), StepState::Satisfied);
}

#[test]
fn the_same_photo_elsewhere_does_not_count_until_taken_back() {
    let mut w = World::new();
    w.tick(TECH, "arrive", "here");
    let first = w.photo(TECH, "arrive", 0, "yard");
    w.write(TECH, Body::Choice(Choice { at: Place::of("floor", 0, "floor"), option: "uneven".into(), corrects: None }));
    w.photo(TECH, "shim", 0, "yard");
    assert_eq!(w.state(TECH, "shim", 0), StepState::Failed);
    w.photo(TECH, "arrive", 0, "street");
    w.write(TECH, Body::Retraction(Retraction { target: first, remark: None }));
    assert_eq!(w.state(TECH, "arrive", 0), StepState::Satisfied);
    assert_eq!(w.state(TECH, "shim", 0), StepState::Satisfied);
}

#[test]
fn only_the_author_corrects_and_both_stay_in_the_file() {
    let mut w = World::new();
    w.arrive(TECH);
    let wrong = w.volts(TECH, 230_000_000, None);
    let right = w.volts(TECH, 1_000_000, Some(wrong));
    w.sync(TECH);
    w.sync(LEAD);
    let theft = w.volts(LEAD, 500_000_000, Some(right));
    w.sync(LEAD);
    assert_eq!(w.breaches(), [(theft, BreachWhy::NotYours)]);
    assert_eq!(w.state_on(&w.server, "dead", 0), StepState::Satisfied);
    assert!(w.server.get(wrong).is_some());
}

#[test]
fn a_deviation_opens_only_when_a_lead_allows_it_and_never_a_stop_work_step() {
    let mut w = World::new();
    w.tick(TECH, "arrive", "here");
    let remark = w.remark(TECH);
    let ask = |at: Place, remark| {
        Body::DeviationAsked(DeviationAsked {
            at,
            remark,
            photo: PhotoFile { hash: Hash32::sha256(b"x"), bytes: 1, width: 1, height: 1, media: MediaType::Jpeg },
            preview: None,
        })
    };
    let asked = w.write(TECH, ask(Place::of("arrive", 0, "photo"), remark));
    assert_eq!(w.state(TECH, "arrive", 0), StepState::Open);
    let own = w.write(TECH, Body::DeviationDecided(DeviationDecided { asked, allowed: true, remark: None }));
    assert_eq!(w.state(TECH, "arrive", 0), StepState::Open, "nobody allows their own");
    w.sync(TECH);
    w.sync(LEAD);
    w.write(LEAD, Body::DeviationDecided(DeviationDecided { asked, allowed: true, remark: None }));
    w.sync(LEAD);
    w.sync(TECH);
    assert_eq!(w.state(TECH, "arrive", 0), StepState::Deviating);
    let stop = w.write(TECH, ask(Place::of("dead", 0, "v"), remark));
    w.sync(TECH);
    assert_eq!(w.breaches(), [(own, BreachWhy::NotLead), (stop, BreachWhy::StopWorkStep)]);
}

#[test]
fn a_stop_shuts_everything_until_a_lead_resolves_it() {
    let mut w = World::new();
    let stop = w.write(TECH, Body::StopWork(StopWork { cause: StopCause::HeatOrSmell, at: None, remark: None }));
    assert!(matches!(w.state(TECH, "arrive", 0), StepState::Locked { by } if by == [Obstacle::StopWork(stop)]));
    let in_vain = w.tick(TECH, "arrive", "here");
    w.sync(TECH);
    w.sync(LEAD);
    let remark = w.remark(LEAD);
    w.write(LEAD, Body::StopResolved(StopResolved { stop, remark }));
    w.sync(LEAD);
    w.sync(TECH);
    assert_eq!(w.state(TECH, "arrive", 0), StepState::Open);
    assert!(matches!(w.breaches().as_slice(), [(id, BreachWhy::StepShut(_))] if *id == in_vain));
}

/// A slip of the thumb: whoever stopped takes it back within a minute. Nobody else does, and nobody later; both stay in the file.
#[test]
fn a_stop_is_taken_back_at_once_by_whoever_stopped_or_not_at_all() {
    let mut w = World::new();
    let crew =
        [TECH, OTHER].map(|who| Assigned { person: person(who), role: CrewRole::Technician, tickets: Vec::new() });
    let both = w.write(LEAD, Body::Assignment(Assignment { crew: crew.to_vec() }));
    w.sync(LEAD);
    w.sync(TECH);
    w.sync(OTHER);
    assert!(w.server.get(both).is_some());
    let stop = |w: &mut World, who| {
        let words = EntryId::of(Uuid::from_u128(77));
        w.write(who, Body::StopWork(StopWork { cause: StopCause::Other, at: None, remark: Some(words) }))
    };
    let take_back = |w: &mut World, who, target| w.write(who, Body::Retraction(Retraction { target, remark: None }));
    let slip = stop(&mut w, TECH);
    w.clock += super::TAKE_BACK_US - 10_000_000;
    let back = take_back(&mut w, TECH, slip);
    assert_eq!(w.state(TECH, "arrive", 0), StepState::Open);
    w.sync(TECH);
    let late = stop(&mut w, TECH);
    w.sync(TECH);
    w.sync(OTHER);
    let theft = take_back(&mut w, OTHER, late);
    w.clock += super::TAKE_BACK_US;
    let too_late = take_back(&mut w, TECH, late);
    assert!(matches!(w.state(TECH, "arrive", 0), StepState::Locked { by } if by == [Obstacle::StopWork(late)]));
    w.sync(OTHER);
    w.sync(TECH);
    let mut expected = vec![(theft, BreachWhy::NotYours), (too_late, BreachWhy::StopStands)];
    expected.sort_by_key(|(id, _)| *id);
    assert_eq!(w.breaches(), expected);
    let plan = Plan::of(&w.method);
    let state = fold(&w.server, &plan);
    let stops = &state.gate.record().stops;
    assert_eq!((stops[&slip].taken_back, stops[&late].taken_back), (Some(back), None));
    assert_eq!(state.gate.record().open_stops().collect::<Vec<_>>(), [late]);
}

#[test]
fn a_returned_step_wants_new_evidence() {
    let mut w = World::new();
    w.arrive(TECH);
    w.volts(TECH, 0, None);
    w.sync(TECH);
    w.sync(LEAD);
    let remark = w.remark(LEAD);
    w.write(LEAD, Body::Returned(Returned { at: Place::of("arrive", 0, "photo"), remark }));
    w.sync(LEAD);
    w.sync(TECH);
    assert_eq!(w.state(TECH, "arrive", 0), StepState::Open);
    assert!(matches!(w.state(TECH, "links", 1), StepState::Locked { .. }));
    w.photo(TECH, "arrive", 0, "yard again");
    assert_eq!(w.state(TECH, "arrive", 0), StepState::Satisfied);
    assert_eq!(w.state(TECH, "dead", 0), StepState::Satisfied, "what was done behind it still stands");
}

#[test]
fn somebody_who_is_not_on_the_job_makes_breaches() {
    let mut w = World::new();
    w.sync(OTHER);
    let entry = w.tick(OTHER, "arrive", "here");
    w.sync(OTHER);
    assert_eq!(w.breaches(), [(entry, BreachWhy::NotOnJob)]);
}

#[test]
fn work_offline_stays_honest_whatever_the_lead_does_meanwhile() {
    let mut w = World::new();
    w.arrive(TECH);
    w.volts(TECH, 0, None);
    // Meanwhile the job is given to another crew and the arrival is returned.
    let crew = vec![Assigned { person: person(OTHER), role: CrewRole::Technician, tickets: Vec::new() }];
    w.write(LEAD, Body::Assignment(Assignment { crew }));
    let remark = w.remark(LEAD);
    w.write(LEAD, Body::Returned(Returned { at: Place::of("arrive", 0, ""), remark }));
    w.sync(LEAD);
    w.serial(TECH, 1, "A-1");
    w.sync(TECH);
    assert_eq!(w.breaches(), []);
    let after = w.serial(TECH, 2, "A-2");
    w.sync(TECH);
    assert_eq!(w.breaches(), [(after, BreachWhy::NotOnJob)], "once the phone knows, it counts");
}

#[test]
fn a_clock_a_year_ahead_drags_nobody() {
    let mut w = World::new();
    w.clock += 31_536_000_000_000;
    w.tick(TECH, "arrive", "here");
    w.clock -= 31_536_000_000_000;
    w.photo(TECH, "arrive", 0, "yard");
    w.sync(TECH);
    w.sync(LEAD);
    let honest = w.write(LEAD, Body::Schedule(Schedule { day: "2026-01-03".into(), start: String::new() }));
    w.sync(LEAD);
    let keys = w.server.order_keys();
    assert!(keys[&honest].at < w.clock + 1_000_000_000, "the lead's clock did not follow");
    assert_eq!(w.breaches(), []);
}

#[test]
fn evidence_after_the_pass_stays_outside() {
    let mut w = World::new();
    w.sync(LEAD);
    w.arrive(TECH);
    w.volts(TECH, 0, None);
    w.serial(TECH, 1, "A");
    w.serial(TECH, 2, "B");
    w.write(TECH, Body::Choice(Choice { at: Place::of("floor", 0, "floor"), option: "even".into(), corrects: None }));
    w.tick(TECH, "end", "done");
    w.sync(TECH);
    w.sync(LEAD);
    w.write(LEAD, Body::Passed(Plain {}));
    let late = w.photo(TECH, "arrive", 0, "another");
    w.sync(LEAD);
    w.sync(TECH);
    let plan = Plan::of(&w.method);
    let state = fold(&w.server, &plan);
    assert_eq!(state.late.into_iter().collect::<Vec<_>>(), [late]);
    assert!(state.breaches.is_empty());
}

#[test]
fn a_doubt_about_an_origin_counts_only_from_the_server_and_shuts_nothing() {
    let mut w = World::new();
    w.arrive(TECH);
    let about = w.volts(TECH, 0, None);
    w.sync(TECH);
    let doubt = |code| Body::OriginDoubt(OriginDoubt { code, about });
    w.write(OTHER, doubt(DoubtCode::BadSignature));
    w.write(SERVER, doubt(DoubtCode::NotSigned));
    w.write(SERVER, doubt(DoubtCode::AfterRevocation));
    w.sync(OTHER);
    w.sync(SERVER);
    let plan = Plan::of(&w.method);
    let state = fold(&w.server, &plan);
    let told = [(about, [DoubtCode::NotSigned, DoubtCode::AfterRevocation].into())].into();
    assert_eq!(state.gate.record().origin_doubts, told);
    assert!(state.breaches.is_empty(), "nobody's work becomes a breach of it");
    assert_eq!(w.state_on(&w.server, "dead", 0), StepState::Satisfied);
}

/// What a device wrote after it had said what it has cannot have seen less; what it wrote before, and its own entries, are no matter.
#[test]
fn an_entry_that_says_to_have_seen_less_than_its_device_had_is_found() {
    use super::received::{Received, seen_less};
    let mut w = World::new();
    w.arrive(TECH);
    w.sync(TECH);
    w.sync(TECH);
    let (first, second) = (w.volts(TECH, 0, None), w.volts(TECH, 0, None));
    w.sync(TECH);
    w.write(LEAD, Body::Remark(Remark { at: None, text: "the locks are off".into() }));
    w.sync(LEAD);
    let header = w.server.get(first).unwrap().entry.header.clone();
    let own = w.server.get(second).unwrap().stamp.unwrap().position;
    assert_eq!((own, w.server.head()), (header.seen + 2, header.seen + 3));
    let found = |from_seq, position| {
        let said = [(device(TECH), vec![Received { from_seq, position }])];
        seen_less(&w.server, &said.into())
    };
    assert_eq!(found(header.seq, own + 1), [first, second], "it had the lead's before it wrote them");
    assert_eq!(found(header.seq + 1, own + 1), [second], "it had it before the second");
    assert_eq!(found(header.seq + 2, own + 1), [], "it had it afterwards");
    assert_eq!(found(header.seq, own), [], "what comes back of its own is no news to it");
    assert_eq!(found(1, header.seen), [], "it had no more than it says");
}

proptest::proptest! {
    #![proptest_config(proptest::test_runner::Config { cases: 48, failure_persistence: None, ..proptest::test_runner::Config::default() })]
    /// Two technicians and a lead do anything in any order, and the files meet in any order: equal sets fold equally,
    /// and nothing opens the stop-work step but its reading.
    #[test]
    fn folding_is_a_function_of_the_set(acts in proptest::collection::vec((0u8..17, 0u8..3, 0u8..3), 1..50), shuffle in proptest::num::u64::ANY) {
        let mut w = World::new();
        let crew = [TECH, OTHER].map(|who| Assigned { person: person(who), role: CrewRole::Technician, tickets: Vec::new() });
        w.write(LEAD, Body::Assignment(Assignment { crew: crew.to_vec() }));
        let people = [LEAD, TECH, OTHER];
        let mut good_reading = false;
        for (act, who, arg) in acts {
            let who = people[usize::from(who)];
            let slot = u16::from(arg % 2) + 1;
            match act {
                0 => { w.tick(who, "arrive", "here"); }
                1 => { w.photo(who, "arrive", 0, ["a", "b", "c"][usize::from(arg)]); }
                2 => { let micro = i64::from(arg) * 9_000_000; good_reading |= micro <= 10_000_000; w.volts(who, micro, None); }
                3 => { w.serial(who, slot, ["S1", "S2", "s-1"][usize::from(arg)]); }
                4 => { w.write(who, Body::Choice(Choice { at: Place::of("floor", 0, "floor"), option: ["even", "uneven", "?"][usize::from(arg)].into(), corrects: None })); }
                5 => { w.photo(who, "shim", 0, ["a", "b", "c"][usize::from(arg)]); }
                6 => { w.tick(who, "end", "done"); }
                7 => { w.write(who, Body::StopWork(StopWork { cause: StopCause::Other, at: None, remark: None })); }
                8 => { let remark = w.remark(who); let stops: Vec<EntryId> = w.phones.get(&who).map(|f| f.iter().filter(|h| matches!(h.entry.body(), Some(Body::StopWork(_)))).map(|h| h.entry.header.id).collect()).unwrap_or_default(); for stop in stops { w.write(who, if arg == 2 { Body::Retraction(Retraction { target: stop, remark: None }) } else { Body::StopResolved(StopResolved { stop, remark }) }); } }
                9 => { let remark = w.remark(who); w.write(who, Body::Returned(Returned { at: Place::of(["arrive", "dead", "links"][usize::from(arg)], if arg == 2 { slot } else { 0 }, ""), remark })); }
                10 => { w.write(who, Body::Paused(Paused { left_as: LeftAs::NotConnected, remark: None })); }
                11 => { w.write(who, Body::Resumed(Plain {})); }
                12 => { w.write(who, Body::Submitted(Plain {})); }
                13 => { w.write(who, Body::WentAway(Plain {})); }
                14 => { w.write(who, Body::CameBack(Plain {})); }
                15 => { w.write(who, Body::LockHandedOver(LockHandedOver { to: person(people[usize::from(arg)]) })); }
                _ => w.sync(who),
            }
        }
        for who in people { w.sync(who); }
        let plan = Plan::of(&w.method);
        let summary = |file: &JobFile| {
            let mut state = fold(file, &plan);
            let steps: Vec<_> = state.gate.steps().into_iter().map(|at| (at, state.gate.view(at).state)).collect();
            (steps, state.phase, state.breaches.clone(), state.late.clone())
        };
        let here = summary(&w.server);
        // The same set, taken in another order.
        let mut all: Vec<_> = w.server.iter().cloned().collect();
        let mut seed = shuffle | 1;
        for index in (1..all.len()).rev() {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            all.swap(index, usize::try_from(seed >> 33).unwrap() % (index + 1));
        }
        let mut other = JobFile::default();
        for held in all { other.absorb(held.entry, held.stamp); }
        proptest::prop_assert_eq!(&here, &summary(&other));
        if !good_reading {
            let dead = plan.index_of("dead").unwrap();
            let open = here.0.iter().any(|(at, state)| at.step == dead && matches!(state, StepState::Satisfied | StepState::Deviating));
            proptest::prop_assert!(!open);
        }
    }

    #[test]
    fn entries_survive_any_bytes(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..300)) {
        let _ = Entry::read(&bytes);
    }
}
