//! A small stack that is registered bit by bit.
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

use super::*;
use crate::ids::{self, *};
use crate::job_file::body::*;
use crate::job_file::{Draft, Entry, JobFile, Stamp, fold};
use crate::method::Method;
use crate::method::plan::{ChoiceNeed, ChoiceOption, PhotoNeed, Repeat, SerialNeed, Stage, Text, WordsNeed};
use uuid::Uuid;

const DAY_US: u64 = 86_400_000_000;
/// 2026-01-01.
const START_US: u64 = 1_767_225_600_000_000;

fn id(number: u8) -> Uuid {
    ids::uuid_v7(1_767_225_600_000 + u64::from(number), &[number; 10])
}
fn text(en: &str) -> Text {
    Text { en: en.into(), ..Text::default() }
}
fn day_of(us: u64) -> Option<Date> {
    Date::from_unix_days(i64::try_from(us / DAY_US).ok()?).ok()
}
fn date(text: &str) -> Date {
    Date::parse(text).unwrap()
}
fn photo_hash(number: u8) -> Hash32 {
    Hash32::sha256(&[number])
}

fn step(id: &str, repeat: Option<Repeat>, requirements: Vec<Requirement>) -> Step {
    Step {
        id: id.into(),
        stage: "work".into(),
        title: text(id),
        act: text(id),
        hold: false,
        stop_work: false,
        repeat,
        in_order: false,
        needs: Vec::new(),
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

fn of_settings(step: Step) -> Step {
    Step { stage: "settings".into(), ..step }
}

fn method() -> Method {
    let label =
        Requirement::Photo(PhotoNeed { id: "plate".into(), label: text("p"), shows: text("p"), count: 1, held: None });
    let serial = Requirement::Serial(SerialNeed { id: "serial".into(), label: text("s") });
    let existing = Requirement::Serial(SerialNeed { id: "serial".into(), label: text("s") });
    let existing_label =
        Requirement::Photo(PhotoNeed { id: LABEL.into(), label: text("p"), shows: text("p"), count: 1, held: None });
    let words = Requirement::Words(WordsNeed { id: FIRMWARE.into(), label: text("Firmware") });
    let option = ChoiceOption { id: "region-b".into(), label: text("Region B"), fails: false, stops: None };
    let profile =
        Requirement::Choice(ChoiceNeed { id: "profile".into(), label: text("Which?"), options: vec![option] });
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
            step("plates", Some(Repeat::Unit), vec![serial, label]),
            of_settings(step(GRID_PROFILE, None, vec![profile])),
            step("there", Some(Repeat::ExistingInverter), vec![existing, existing_label]),
            step("versions", None, vec![words]),
        ],
        design: Vec::new(),
        units: Vec::new(),
        boards: None,
    }
}

struct Job {
    method: Method,
    file: JobFile,
    now_us: u64,
    made: u8,
}

impl Job {
    fn planned() -> Self {
        let mut job = Self { method: method(), file: JobFile::default(), now_us: START_US, made: 0 };
        let plan = JobPlanned {
            purpose: Purpose::Install,
            site: SiteId::of(id(200)),
            method: job.method.reference(),
            rule_set: "neutral 1".into(),
        };
        job.write(Body::JobPlanned(plan));
        job
    }

    fn write(&mut self, body: Body) {
        self.made += 1;
        self.now_us += 1;
        let device = DeviceId::of(id(201));
        let draft = Draft {
            id: EntryId::of(id(self.made)),
            firm: FirmId::of(id(202)),
            job: JobId::of(id(203)),
            author: PersonId::of(id(204)),
            device,
            salt: [self.made; 16],
            body,
        };
        let (head, seen, at) = (self.file.chain_head(device), self.file.head(), self.file.latest_at());
        let entry = Entry::write(draft, head, seen, self.now_us, at);
        let stamp = Stamp { time_us: entry.header.hlc, position: u64::from(self.made) };
        self.file.absorb(entry, Some(stamp));
    }

    fn equip(&mut self, days: Option<i64>) {
        let model = ModelSnapshot {
            model: ModelId::of(id(205)),
            version: 1,
            kind: UnitKind::Module,
            maker: "Grauberg".into(),
            name: "Floor 5".into(),
            gtin: Some("09521234543213".into()),
            serial_prefix: String::new(),
            serial_length: (0, 0),
            values: days.map(|days| (REGISTRATION_DAYS.to_owned(), days * MICRO)).into_iter().collect(),
        };
        let slots = (1..=3).map(|number| Slot { number, model: 0, new: number < 3 }).collect();
        self.write(Body::Equipment(Equipment { models: vec![model], slots }));
    }

    fn serial(&mut self, slot: u16, stored: &str) {
        self.write(Body::Serial(SerialRead {
            at: Place::of("plates", slot, "serial"),
            raw: stored.into(),
            stored: stored.into(),
            source: SerialSource::Camera,
            gtin: None,
            lot: Some("L7".into()),
            corrects: None,
        }));
    }

    fn plate(&mut self, slot: u16, number: u8) {
        let original = PhotoFile { hash: photo_hash(number), bytes: 1, width: 1, height: 1, media: MediaType::Jpeg };
        self.write(Body::Photo(Photo {
            at: Place::of("plates", slot, "plate"),
            capture: CaptureId::of(id(number)),
            original,
            preview: None,
            taken_ms: 0,
            origin: PhotoOrigin::Camera,
            corrects: None,
            kept_anyway: false,
        }));
    }

    fn registered(&self, today: &str, arrived: &[u8]) -> Registration {
        let plan = Plan::of(&self.method);
        let state = fold(&self.file, &plan);
        assert!(state.breaches.is_empty(), "{:?}", state.breaches);
        let arrived: BTreeSet<Hash32> = arrived.iter().map(|number| photo_hash(*number)).collect();
        registration(
            &state,
            Around { today: date(today), installer: "Example Crew", arrived: &arrived, day_of: &day_of },
        )
    }
}

#[test]
fn everything_is_named_until_it_is_there() {
    use Missing as M;
    let mut job = Job::planned();
    let all = job.registered("2026-01-01", &[]).missing;
    assert_eq!(
        all,
        [
            M::Householder,
            M::SiteAddress,
            M::Equipment,
            M::InstalledOn,
            M::CommissionedOn,
            M::GridProfile,
            M::Firmware,
            M::Review
        ]
    );

    job.equip(Some(30));
    let units = job.registered("2026-01-01", &[]);
    assert_eq!(units.units.len(), 2, "what was there before is not registered");
    let of_units = [M::Serial { slot: 1 }, M::LabelPhoto { slot: 1 }, M::Serial { slot: 2 }, M::LabelPhoto { slot: 2 }];
    assert_eq!(units.missing[2..6], of_units);

    let site = SiteDetails {
        householder: "R. Example".into(),
        street: "Lane 1".into(),
        town: "Exampleton".into(),
        ..SiteDetails::default()
    };
    job.write(Body::SiteDetails(site));
    job.serial(1, "BX24-000150");
    job.plate(1, 101);
    job.serial(2, "bx24 000150");
    job.plate(2, 102);
    let twice = job.registered("2026-01-01", &[101]).missing;
    let left = [
        M::SerialTwice { slot: 2, other: 1 },
        M::CommissionedOn,
        M::GridProfile,
        M::Firmware,
        M::Photos { count: 1 },
        M::Review,
    ];
    assert_eq!(twice, left);
}

#[test]
fn a_finished_job_is_complete_and_has_a_deadline() {
    let mut job = Job::planned();
    job.equip(Some(30));
    let site = SiteDetails {
        householder: "R. Example".into(),
        street: "Lane 1".into(),
        town: "Exampleton".into(),
        ..SiteDetails::default()
    };
    job.write(Body::SiteDetails(site));
    for slot in [1, 2] {
        job.serial(slot, &format!("BX24-00015{slot}"));
        job.plate(slot, 100 + u8::try_from(slot).unwrap());
    }
    job.now_us += 30 * DAY_US;
    let option = "region-b".to_owned();
    job.write(Body::Choice(Choice { at: Place::of(GRID_PROFILE, 0, "profile"), option, corrects: None }));
    let at = Some(Place::of(GRID_PROFILE, 0, "profile"));
    job.write(Body::Remark(Remark { at, text: "version 4.2".into() }));
    job.now_us += DAY_US;
    assert_eq!(job.registered("2026-02-15", &[101, 102]).missing, [Missing::Firmware, Missing::Review]);
    job.write(Body::Words(Words { at: Place::of("versions", 0, FIRMWARE), text: " V1.02 ".into(), corrects: None }));
    job.write(Body::Passed(Plain {}));

    let found = job.registered("2026-02-15", &[101, 102]);
    assert_eq!((found.missing.as_slice(), found.complete), (&[][..], true));
    assert_eq!(found.installed_on, Some(date("2026-01-01")));
    assert_eq!(found.commissioned_on, Some(date("2026-01-31")), "the settings, not the review");
    assert_eq!(found.deadline, Some(Deadline { due: date("2026-03-02"), days_left: 15 }));
    assert_eq!(found.grid_profile.as_deref(), Some("Region B; version 4.2"));
    assert_eq!(found.firmware.as_deref(), Some("V1.02"));
    assert_eq!(found.units[1].serial.as_deref(), Some("BX24-000152"));
    assert_eq!(found.units[0].labels, [photo_hash(101)]);
    assert!(found.out_of_order.is_empty());
    assert_eq!(job.registered("2026-03-10", &[101, 102]).deadline.unwrap().days_left, -8);
}

#[test]
fn an_inverter_that_was_there_is_read_as_well() {
    let mut job = Job::planned();
    let model = |kind, name: &str| ModelSnapshot {
        model: ModelId::of(id(206)),
        version: 1,
        kind,
        maker: "Grauberg".into(),
        name: name.into(),
        gtin: None,
        serial_prefix: String::new(),
        serial_length: (0, 0),
        values: Vec::new(),
    };
    let slot = |number, model, new| Slot { number, model, new };
    job.write(Body::Equipment(Equipment {
        models: vec![model(UnitKind::Module, "Floor 5"), model(UnitKind::Inverter, "Hybrid 4")],
        slots: vec![slot(1, 0, true), slot(2, 0, false), slot(3, 1, false)],
    }));
    let found = job.registered("2026-01-01", &[]);
    let named: Vec<(u16, bool)> = found.units.iter().map(|unit| (unit.slot, unit.new)).collect();
    assert_eq!(named, [(1, true), (3, false)], "a module that was there is nobody's to register");
    let of_inverter = [Missing::Serial { slot: 3 }, Missing::LabelPhoto { slot: 3 }];
    assert!(of_inverter.iter().all(|wanted| found.missing.contains(wanted)), "{:?}", found.missing);

    let read = SerialRead {
        at: Place::of("there", 3, "serial"),
        raw: "OW8000000001".into(),
        stored: "OW8000000001".into(),
        source: SerialSource::Typed,
        gtin: None,
        lot: None,
        corrects: None,
    };
    job.write(Body::Serial(read));
    let found = job.registered("2026-01-01", &[]);
    assert_eq!(found.units[1].serial.as_deref(), Some("OW8000000001"));
    assert!(
        found.missing.contains(&Missing::InstalledOn),
        "what was there says nothing of the day of the installation"
    );
}

#[test]
fn no_figure_of_the_maker_no_deadline() {
    let mut job = Job::planned();
    job.equip(None);
    let option = "region-b".to_owned();
    job.write(Body::Choice(Choice { at: Place::of(GRID_PROFILE, 0, "profile"), option, corrects: None }));
    assert_eq!(job.registered("2026-01-05", &[]).deadline, None);
}
