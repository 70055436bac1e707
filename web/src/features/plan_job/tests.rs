#![allow(clippy::unwrap_used, reason = "tests")]

use super::draft::PlanDraft;
use super::form::Form;
use super::meanwhile::{Meanwhile, Newest, facts, untouched};
use super::view_model::*;
use crate::features::desk::DeskJob;
use crate::features::desk::shared::is_expired;
use crate::features::job::load::{JobView, job_view};
use crate::features::plan_job::draft::UnitText;
use crate::i18n::format::Day;
use crate::i18n::{Decimal, Lang, Words};
use crate::store::Reference;
use domain::electrical::judge::Why;
use domain::electrical::rule_set::{Place, RuleSet};
use domain::electrical::{Unit, Verdict};
use domain::identification::Date;
use domain::ids::{JobId, ModelId, PersonId, SiteId, uuid_v7};
use domain::job_file::Body;
use domain::job_file::body::{CrewRole, MethodRef, ModelSnapshot, Purpose, Schedule, SiteDetails, Ticket, UnitKind};
use domain::job_file::changes::PlanField;
use domain::method::Method;
use domain::method::plan::{
    CheckCall, CheckNeed, DesignField, InputSource, Micro, Requirement, Stage, Step, Text, UnitPlan,
};
use leptos::prelude::{GetUntracked as _, Owner, Set as _, Update as _, WithUntracked as _};
use std::collections::BTreeMap;
use std::sync::Arc;

const POINT: Words = Words { lang: Lang::En, decimal: Decimal::Point };
const COMMA: Words = Words { lang: Lang::De, decimal: Decimal::Comma };

fn text(en: &str) -> Text {
    Text { en: en.into(), ..Text::default() }
}

fn id(number: u8) -> uuid::Uuid {
    uuid_v7(u64::from(number), &[number; 10])
}

fn from(key: &str, from: &str) -> InputSource {
    InputSource { key: key.into(), from: from.into() }
}

/// A module of 16 cells, an inverter with a window, one check that compares them.
fn method() -> Method {
    let call = CheckCall {
        check: "F07".into(),
        inputs: vec![
            from("modules", "count.module"),
            from("cells_per_module", "model.module.cells"),
            from("cell_voltage_min", "model.module.cell_voltage_min"),
            from("cell_voltage_max", "model.module.cell_voltage_max"),
            from("window_min", "design.window_min"),
            from("window_max", "design.window_max"),
        ],
    };
    let field = |key: &str, proposal| DesignField {
        key: key.into(),
        label: text(key),
        unit: Unit::Volt,
        sanity: (Micro(50_000_000), Micro(1_500_000_000)),
        proposal,
    };
    Method {
        id: "stack".into(),
        version: 1,
        purpose: Purpose::Install,
        title: text("Stack"),
        about: text("A stack"),
        reviewed: Vec::new(),
        cautions: Vec::new(),
        stages: vec![Stage { id: "s1".into(), title: text("Arrive"), hazardous: false }],
        steps: vec![Step {
            id: "design".into(),
            stage: "s1".into(),
            title: text("Design"),
            act: text("Look at the design"),
            hold: true,
            stop_work: false,
            repeat: None,
            in_order: false,
            needs: Vec::new(),
            when: None,
            cautions: Vec::new(),
            requirements: vec![Requirement::Check(CheckNeed {
                id: "window".into(),
                label: text("Stack window"),
                call,
            })],
            safety_critical: false,
            needs_consent: true,
            boards: None,
            live: None,
            grid: None,
            loosens: None,
            tightens: None,
        }],
        design: vec![field("window_min", None), field("window_max", Some(Micro(500_000_000)))],
        units: vec![
            UnitPlan { unit: UnitKind::Module, least: 2, most: 8, new: true },
            UnitPlan { unit: UnitKind::Inverter, least: 1, most: 1, new: false },
        ],
        boards: None,
    }
}

fn model(number: u8, kind: UnitKind) -> ModelSnapshot {
    ModelSnapshot {
        model: ModelId::of(id(number)),
        version: 1,
        kind,
        maker: "Brisa".into(),
        name: format!("M{number}"),
        gtin: None,
        serial_prefix: String::new(),
        serial_length: (0, 0),
        values: vec![
            ("cell_voltage_max".into(), 3_600_000),
            ("cell_voltage_min".into(), 2_800_000),
            ("cells".into(), 16_000_000),
        ],
    }
}

fn filled() -> PlanDraft {
    let mut draft = PlanDraft::default();
    draft.site.street = " Quay 3 ".into();
    draft.site.town = "Port Meridian".into();
    draft.site.householder = "Ida Brandt".into();
    draft.method = "stack@1".into();
    draft.units.insert("module".into(), UnitText { model: id(1).to_string(), count: "8".into() });
    draft.units.insert("inverter".into(), UnitText { model: id(2).to_string(), count: "1".into() });
    draft.design.insert("window_min".into(), "350".into());
    draft.design.insert("window_max".into(), "500 V".into());
    draft.consent = "granted".into();
    draft.consent_reference = "NX-7".into();
    draft.crew.insert(id(9).to_string(), CrewRole::Technician);
    draft.day = "2026-12-01".into();
    draft.start = "8:30".into();
    draft
}

fn people() -> Vec<Candidate> {
    vec![Candidate {
        person: PersonId::of(id(9)),
        name: "Tomas".into(),
        can_lead: false,
        can_work: true,
        tickets: vec![Ticket { kind: "electrician".into(), expires: "2026-11-30".into() }],
    }]
}

/// Nothing follows where the rules are not on the device.
const NO_RULES: (Option<&RuleSet>, &[DesignField]) = (None, &[]);

struct Setup {
    method: Method,
    reference: MethodRef,
    models: Vec<ModelSnapshot>,
    people: Vec<Candidate>,
    rules: RuleSet,
}

impl Setup {
    fn new() -> Self {
        let method = method();
        let reference = method.reference();
        Self {
            method,
            reference,
            models: vec![model(1, UnitKind::Module), model(2, UnitKind::Inverter)],
            people: people(),
            rules: RuleSet::of(Place::Neutral),
        }
    }

    fn around<'a>(&'a self, before: Option<&'a JobView>, slots_ever: u16) -> Around<'a> {
        Around {
            method: Some((&self.method, &self.reference)),
            models: &self.models,
            rules: Some(&self.rules),
            people: &self.people,
            before,
            slots_ever,
            site: SiteId::of(id(7)),
            is_zone: |zone| domain::bounds::zone(zone).is_ok(),
            today: Date::new(2026, 11, 25).unwrap(),
        }
    }

    fn view_of(&self, bodies: &[Body]) -> JobView {
        let job = JobId::of(id(3));
        let file = file_of(&self.method, &self.reference, bodies, job);
        job_view(job, &file, Some(&self.method), "en")
    }
}

#[test]
fn a_whole_plan_becomes_one_entry_a_section_with_the_opening_first() {
    let setup = Setup::new();
    let reading = read(&filled(), setup.around(None, 0), POINT);
    assert_eq!(reading.faults, BTreeMap::new());
    assert_eq!(reading.gaps, [Gap::GridPoint]);
    let kinds: Vec<u32> = reading.bodies.iter().map(Body::kind).collect();
    assert_eq!(kinds, [10, 14, 11, 12, 13, 16, 15]);
    let view = setup.view_of(&reading.bodies);
    assert_eq!(view.site.street, "Quay 3");
    assert_eq!(view.schedule.unwrap().start, "08:30");
    assert_eq!(view.crew[0].tickets[0].kind, "electrician");
    assert_eq!(view.equipment.unwrap().slots.len(), 9);
    assert!(view.breaches.is_empty());
}

#[test]
fn an_empty_plan_says_what_it_needs_and_keeps_what_is_only_missing_apart() {
    let setup = Setup::new();
    let mut around = setup.around(None, 0);
    around.method = None;
    let reading = read(&PlanDraft::default(), around, POINT);
    let fields: Vec<&FieldId> = reading.faults.keys().collect();
    assert_eq!(fields, [&FieldId::Street, &FieldId::Town, &FieldId::Method]);
    assert!(reading.gaps.contains(&Gap::Crew) && reading.gaps.contains(&Gap::Day));
}

#[test]
fn counts_stay_inside_the_method() {
    let setup = Setup::new();
    for (count, good) in
        [("2", true), ("8", true), ("1", false), ("9", false), ("", false), ("three", false), ("-3", false)]
    {
        let mut draft = filled();
        draft.units.get_mut("module").unwrap().count = count.into();
        let reading = read(&draft, setup.around(None, 0), POINT);
        assert_eq!(reading.faults.is_empty(), good, "{count}");
        assert_eq!(reading.bodies.iter().any(|body| matches!(body, Body::Equipment(_))), good, "{count}");
    }
}

#[test]
fn design_figures_are_read_in_the_persons_own_decimals() {
    let field = &method().design[0];
    assert_eq!(figure(field, "350,5", false, COMMA), Ok(Some(350_500_000)));
    assert_eq!(figure(field, "", false, POINT), Ok(None));
    assert_eq!(figure(field, "wide", false, POINT), Err(Fault::Unreadable));
    assert_eq!(figure(field, "> 350", false, POINT), Err(Fault::NotExact));
    assert!(matches!(figure(field, "350 A", false, POINT), Err(Fault::OtherUnit(_))));
    let outside = Fault::OutsidePlausible { least: 50_000_000, most: 1_500_000_000 };
    assert_eq!(figure(field, "49", false, POINT), Err(outside));
    assert_eq!(figure(field, "49", true, POINT), Ok(Some(49_000_000)));
}

#[test]
fn a_figure_whose_number_is_a_word_is_chosen_and_told_by_the_word() {
    let field = |key: &str, unit| DesignField {
        key: key.into(),
        label: text(key),
        unit,
        sanity: (Micro(1_000_000), Micro(6_000_000)),
        proposal: None,
    };
    let kind = field("rcd_kind", Unit::Count);
    for (w, first, second) in
        [(POINT, "general type", "selective type (S)"), (COMMA, "allgemeine Bauart", "selektive Bauart (S)")]
    {
        let offered = choices(&kind, w);
        assert_eq!(offered.len(), 6);
        assert_eq!([offered[0].label.as_str(), offered[1].label.as_str()], [first, second]);
        for (code, one) in (1..).zip(&offered) {
            assert_eq!(figure(&kind, &one.value, false, w), Ok(Some(code * 1_000_000)), "{}", one.label);
            assert_eq!(figure_shown(&kind, code * 1_000_000, w), one.label);
        }
    }
    let yes_or_no = choices(&field("type_tested", Unit::Count), POINT);
    assert_eq!(yes_or_no.iter().map(|one| one.value.as_str()).collect::<Vec<_>>(), ["0", "1"]);
    let window = field("window_min", Unit::Volt);
    assert!(choices(&window, POINT).is_empty());
    assert_eq!(figure_shown(&window, 350_500_000, POINT), "350.5\u{202f}V");
}

#[test]
fn a_grant_needs_its_reference() {
    let setup = Setup::new();
    let mut draft = filled();
    draft.consent_reference = "  ".into();
    let reading = read(&draft, setup.around(None, 0), POINT);
    assert_eq!(reading.faults.get(&FieldId::ConsentReference), Some(&Fault::Needed));
    draft.consent = "not_needed".into();
    assert!(read(&draft, setup.around(None, 0), POINT).faults.is_empty());
}

#[test]
fn hours_are_read_as_people_write_them() {
    for (typed, read) in [("8", Some("08:00")), ("08:05", Some("08:05")), ("8.30", Some("08:30")), ("", Some(""))] {
        assert_eq!(hour(typed).as_deref(), read, "{typed}");
    }
    for wrong in ["24:00", "8:60", "8:3", "noon", "8:30:00", ":30"] {
        assert_eq!(hour(wrong), None, "{wrong}");
    }
}

#[test]
fn a_job_that_is_there_writes_only_what_changed() {
    let setup = Setup::new();
    let first = read(&filled(), setup.around(None, 0), POINT);
    let view = setup.view_of(&first.bodies);
    let draft = PlanDraft::of(&view, NO_RULES, COMMA);
    assert!(read(&draft, setup.around(Some(&view), 9), COMMA).bodies.is_empty());
    let mut moved = draft;
    moved.day = "2026-12-02".into();
    let reading = read(&moved, setup.around(Some(&view), 9), COMMA);
    assert_eq!(reading.bodies.iter().map(Body::kind).collect::<Vec<_>>(), [15]);
}

#[test]
fn opening_a_plan_attests_no_figure_and_a_changed_one_is_asked_about() {
    let setup = Setup::new();
    let mut draft = filled();
    // Outside what is usual, and ticked by hand.
    draft.design.insert("window_min".into(), "49".into());
    draft.design_checked.insert("window_min".into());
    let first = read(&draft, setup.around(None, 0), POINT);
    assert_eq!(first.faults, BTreeMap::new());
    let view = setup.view_of(&first.bodies);

    let mut draft = PlanDraft::of(&view, NO_RULES, POINT);
    assert!(draft.design_checked.is_empty(), "{:?}", draft.design_checked);
    let reading = read(&draft, setup.around(Some(&view), 9), POINT);
    assert_eq!(reading.faults, BTreeMap::new(), "what stands in the job is not asked about again");
    assert!(reading.bodies.is_empty());
    draft.design.insert("window_min".into(), "48".into());
    let reading = read(&draft, setup.around(Some(&view), 9), POINT);
    assert!(matches!(
        reading.faults[&FieldId::Design("window_min".into())],
        Fault::OutsidePlausible { least: 50_000_000, most: 1_500_000_000 }
    ));
}

#[test]
fn no_tick_lets_the_impossible_in() {
    let mut field = method().design[0].clone();
    let impossible =
        |field: &DesignField, typed: &str| matches!(figure(field, typed, true, POINT), Err(Fault::Impossible { .. }));
    assert!(impossible(&field, "-1"), "no voltage of a plan is below zero");
    (field.unit, field.sanity) = (Unit::Kilogram, (Micro(0), Micro(500_000_000)));
    assert!(impossible(&field, "-120"));
    assert_eq!(figure(&field, "600", true, POINT), Ok(Some(600_000_000)), "unlikely, and looked at");
    field.unit = Unit::Celsius;
    assert!(impossible(&field, "9999"));
}

#[test]
fn site_details_have_bounds() {
    let setup = Setup::new();
    let fault = |field: FieldId, change: fn(&mut PlanDraft)| {
        let mut draft = filled();
        change(&mut draft);
        read(&draft, setup.around(None, 0), POINT).faults.get(&field).cloned()
    };
    let text = |fault: domain::bounds::Fault| Some(Fault::Text(fault));
    use domain::bounds::Fault as Of;
    assert_eq!(fault(FieldId::Householder, |draft| draft.site.householder = "x".repeat(121)), text(Of::TooLong(120)));
    assert_eq!(fault(FieldId::Email, |draft| draft.site.email = "nope".into()), text(Of::Email));
    assert_eq!(fault(FieldId::Phone, |draft| draft.site.phone = "not a phone".into()), text(Of::Phone));
    assert_eq!(fault(FieldId::Zone, |draft| draft.site.zone = "Mars".into()), Some(Fault::NoSuchZone));
    assert_eq!(fault(FieldId::Day, |draft| draft.day = "9999-12-31".into()), text(Of::FarDay(10)));
    assert_eq!(fault(FieldId::Day, |draft| draft.day = "1900-01-01".into()), text(Of::FarDay(10)));
    assert_eq!(fault(FieldId::Day, |draft| draft.day = "2026-02-30".into()), text(Of::Day));
    assert_eq!(
        fault(FieldId::Email, |draft| draft.site.email = String::new()),
        None,
        "an empty one is missing, not wrong"
    );
}

#[test]
fn a_slot_number_is_never_given_twice() {
    let setup = Setup::new();
    let first = read(&filled(), setup.around(None, 0), POINT);
    let view = setup.view_of(&first.bodies);
    let mut draft = PlanDraft::of(&view, NO_RULES, POINT);
    let numbers = |reading: &Reading| -> Vec<u16> {
        reading
            .bodies
            .iter()
            .find_map(|body| match body {
                Body::Equipment(equipment) => Some(equipment.slots.iter().map(|slot| slot.number).collect()),
                _ => None,
            })
            .unwrap()
    };
    draft.units.get_mut("module").unwrap().count = "6".into();
    let fewer = read(&draft, setup.around(Some(&view), 9), POINT);
    assert_eq!(numbers(&fewer), [1, 2, 3, 4, 5, 6, 9]);
    let after = setup.view_of(&[first.bodies, fewer.bodies].concat());
    draft.units.get_mut("module").unwrap().count = "7".into();
    let more = read(&draft, setup.around(Some(&after), 9), POINT);
    assert_eq!(numbers(&more), [1, 2, 3, 4, 5, 6, 10, 9]);
}

#[test]
fn the_window_is_computed_while_it_is_typed() {
    let setup = Setup::new();
    let reading = read(&filled(), setup.around(None, 0), POINT);
    let checks = live_checks(&setup.method, &setup.reference, &reading.bodies, POINT);
    assert_eq!(checks.len(), 1);
    assert_eq!(checks[0].label, "Stack window");
    // Inside the window; this small method names no device behind it, so nobody can say more.
    assert_eq!(checks[0].check.as_ref().unwrap().verdict, Verdict::NotDetermined(Why::RatingMissing));

    let mut small = filled();
    small.units.get_mut("module").unwrap().count = "5".into();
    let reading = read(&small, setup.around(None, 0), POINT);
    let checks = live_checks(&setup.method, &setup.reference, &reading.bodies, POINT);
    assert!(matches!(checks[0].check.as_ref().unwrap().verdict, Verdict::Fail(_)));

    let mut without = filled();
    without.units.remove("module");
    let reading = read(&without, setup.around(None, 0), POINT);
    let checks = live_checks(&setup.method, &setup.reference, &reading.bodies, POINT);
    assert_eq!(checks[0].missing.as_deref(), Some("modules"));
}

#[test]
fn a_ticket_holds_through_its_last_day() {
    let ticket = &people()[0].tickets[0];
    assert!(!is_expired(ticket, Day::parse("2026-11-30").unwrap()));
    assert!(is_expired(ticket, Day::parse("2026-12-01").unwrap()));
    assert!(!is_expired(&Ticket { kind: "x".into(), expires: String::new() }, Day::parse("2026-12-01").unwrap()));
}

#[test]
fn figures_of_the_design_sheet_outlive_a_change_of_the_plan() {
    let setup = Setup::new();
    let first = read(&filled(), setup.around(None, 0), POINT);
    let mut view = setup.view_of(&first.bodies);
    view.design.push(("ac_cable_length_m".into(), 12_000_000));
    view.design.sort();
    let mut draft = PlanDraft::of(&view, NO_RULES, POINT);
    let same = read(&draft, setup.around(Some(&view), 9), POINT);
    assert!(same.bodies.is_empty(), "{:?}", same.bodies);
    draft.design.insert("window_min".into(), "101".into());
    let changed = read(&draft, setup.around(Some(&view), 9), POINT);
    let [Body::DesignInputs(design)] = changed.bodies.as_slice() else { panic!("{:?}", changed.bodies) };
    assert!(design.values.contains(&("ac_cable_length_m".to_owned(), 12_000_000)));
    assert!(design.values.contains(&("window_min".to_owned(), 101_000_000)));
}

#[test]
fn what_follows_is_saved_with_the_plan_and_follows_the_units() {
    let mut setup = Setup::new();
    let asked = setup.method.design[0].clone();
    let sanity = (Micro(0), Micro(i64::MAX));
    setup.method.design.push(DesignField { key: "energy_total_wh".into(), unit: Unit::WattHour, sanity, ..asked });
    setup.reference = setup.method.reference();
    setup.models[0].values.push(("energy_wh".into(), 2_560_000_000));
    let rules = RuleSet::of(Place::Uk);
    let planned = |draft: &PlanDraft, before: Option<&JobView>| {
        read(draft, Around { rules: Some(&rules), ..setup.around(before, 9) }, POINT)
    };
    let energy = |reading: &Reading| {
        let bodies = reading.bodies.iter().find_map(|body| match body {
            Body::DesignInputs(design) => Some(design.values.clone()),
            _ => None,
        });
        bodies.unwrap().into_iter().find(|(key, _)| key == "energy_total_wh").map(|(_, micro)| micro)
    };

    let first = planned(&filled(), None);
    assert_eq!(energy(&first), Some(20_480_000_000));
    assert_eq!(first.follows, [("energy_total_wh".to_owned(), 20_480_000_000)]);
    assert_eq!(first.gaps, [Gap::GridPoint], "nobody has to type it");
    let without = read(&filled(), Around { rules: None, ..setup.around(None, 0) }, POINT);
    assert_eq!((energy(&without), without.gaps), (None, vec![Gap::GridPoint, Gap::Design(1)]));

    let view = setup.view_of(&first.bodies);
    let mut draft = PlanDraft::of(&view, (Some(&rules), &setup.method.design), POINT);
    assert!(planned(&draft, Some(&view)).bodies.is_empty());
    draft.units.get_mut("module").unwrap().count = "6".into();
    assert_eq!(energy(&planned(&draft, Some(&view))), Some(15_360_000_000));

    draft.design.insert("energy_total_wh".into(), "18000".into());
    let entered = planned(&draft, Some(&view));
    assert_eq!((energy(&entered), entered.follows), (Some(18_000_000_000), Vec::new()));
}

#[test]
fn a_crew_gets_what_fails_only_with_a_reason_and_is_told_it() {
    let mut setup = Setup::new();
    let rules = RuleSet::of(Place::Uk);
    let key = "fault_clearing_s";
    let asked = setup.method.design[0].clone();
    let sanity = (Micro(0), Micro(5_000_000));
    setup.method.design.push(DesignField { key: key.into(), unit: Unit::Second, sanity, ..asked });
    setup.reference = setup.method.reference();
    let planned = |draft: &PlanDraft, before: Option<&JobView>| {
        read(draft, Around { rules: Some(&rules), ..setup.around(before, 9) }, POINT)
    };
    let remarks = |reading: &Reading| -> Vec<String> {
        let all = reading.bodies.iter();
        all.filter_map(|body| if let Body::Remark(remark) = body { Some(remark.text.clone()) } else { None }).collect()
    };
    let mut draft = filled();
    draft.design.insert(key.to_owned(), "0.2".into());
    assert_eq!((planned(&draft, None).faults, planned(&draft, None).fails), Default::default());

    // Nobody gets it yet: a plan that fails is kept like any other.
    draft.design.insert(key.to_owned(), "5".into());
    let crew = std::mem::take(&mut draft.crew);
    let alone = planned(&draft, None);
    assert_eq!((alone.faults, alone.fails), Default::default());

    draft.crew = crew;
    let stopped = planned(&draft, None);
    assert_eq!(stopped.faults.into_iter().collect::<Vec<_>>(), [(FieldId::Why, Fault::Needed)]);
    let [name] = stopped.fails.as_slice() else { panic!("{:?}", stopped.fails) };
    draft.why = "x".repeat(domain::bounds::REMARK_CHARS_MAX);
    assert!(matches!(planned(&draft, None).faults[&FieldId::Why], Fault::Text(domain::bounds::Fault::TooLong(_))));
    draft.why = " The landlord wires it next week. ".into();
    let handed = planned(&draft, None);
    assert_eq!(handed.faults, BTreeMap::new());
    assert_eq!(remarks(&handed), [format!("1 check of the design fails: {name}. The landlord wires it next week.")]);

    // It was said once: another day asks for nothing, another crew neither. What did not fail then is asked for.
    let view = setup.view_of(&handed.bodies);
    let mut draft = PlanDraft::of(&view, (Some(&rules), &setup.method.design), POINT);
    draft.day = "2026-12-09".into();
    let moved = planned(&draft, Some(&view));
    assert_eq!((moved.faults.len(), remarks(&moved).len(), moved.bodies.len()), (0, 0, 1));
    let good = setup.view_of(&{
        let mut draft = filled();
        draft.design.insert(key.to_owned(), "0.2".into());
        planned(&draft, None).bodies
    });
    let mut draft = PlanDraft::of(&good, (Some(&rules), &setup.method.design), POINT);
    draft.design.insert(key.to_owned(), "5".into());
    assert_eq!(planned(&draft, Some(&good)).faults.get(&FieldId::Why), Some(&Fault::Needed));
}

/// A lead who goes alone has the job once there is a day; and where nobody can judge the design, a reason is asked for all the same.
#[test]
fn a_lead_alone_and_a_design_that_nobody_can_judge_need_a_reason_too() {
    let mut setup = Setup::new();
    let rules = RuleSet::of(Place::Uk);
    let asked = setup.method.design[0].clone();
    let sanity = (Micro(0), Micro(5_000_000));
    let field = DesignField { key: "fault_clearing_s".into(), unit: Unit::Second, sanity, ..asked };
    setup.method.design.push(field);
    setup.reference = setup.method.reference();
    let mut draft = filled();
    draft.design.insert("fault_clearing_s".to_owned(), "5".into());
    draft.crew.values_mut().for_each(|role| *role = CrewRole::Lead);
    let judged = |draft: &PlanDraft| read(draft, Around { rules: Some(&rules), ..setup.around(None, 9) }, POINT);
    let alone = judged(&draft);
    assert!(alone.gaps.contains(&Gap::Crew) && alone.fails.len() == 1, "{:?} {:?}", alone.gaps, alone.fails);
    assert_eq!(alone.faults.get(&FieldId::Why), Some(&Fault::Needed));
    let no_day = PlanDraft { day: String::new(), start: String::new(), ..draft.clone() };
    assert_eq!((judged(&no_day).faults.len(), judged(&no_day).fails.len()), (0, 0), "nobody goes yet");

    let unjudged = |draft: &PlanDraft, before: Option<&JobView>| {
        read(draft, Around { rules: None, ..setup.around(before, 9) }, POINT)
    };
    let mut draft = filled();
    let stopped = unjudged(&draft, None);
    assert!(stopped.unjudged && stopped.faults.get(&FieldId::Why) == Some(&Fault::Needed), "{:?}", stopped.faults);
    draft.why = "Computed by hand.".into();
    let handed = unjudged(&draft, None);
    assert!(handed.faults.is_empty(), "{:?}", handed.faults);
    let told = handed.bodies.iter().any(
        |body| matches!(body, Body::Remark(remark) if remark.text.ends_with("no check was made. Computed by hand.")),
    );
    assert!(told, "{:?}", handed.bodies);
    // Another day changes nothing about the design.
    let view = setup.view_of(&handed.bodies);
    let mut draft = PlanDraft::of(&view, (None, &setup.method.design), POINT);
    draft.day = "2026-12-09".into();
    let moved = unjudged(&draft, Some(&view));
    assert_eq!((moved.unjudged, moved.faults.len(), moved.bodies.len()), (false, 0, 1));
    draft.design.values_mut().for_each(|figure| *figure = "0.3".into());
    assert!(unjudged(&draft, Some(&view)).unjudged, "other figures are another design");
}

#[test]
fn a_draft_survives_being_kept() {
    let draft = filled();
    let kept = serde_json::to_vec(&draft).unwrap();
    assert_eq!(serde_json::from_slice::<PlanDraft>(&kept).unwrap(), draft);
    assert_eq!(serde_json::from_str::<PlanDraft>("{}").unwrap(), PlanDraft::default());
}

#[test]
fn the_office_corrects_the_site_and_nothing_else() {
    let setup = Setup::new();
    let first = read(&filled(), setup.around(None, 0), POINT);
    let view = setup.view_of(&first.bodies);
    let mut draft = PlanDraft::of(&view, NO_RULES, POINT);
    draft.site.grid_point = "GP-12".into();
    draft.day = "2026-12-09".into();
    draft.start = "noon".into();
    let mut reading = read(&draft, setup.around(Some(&view), 9), POINT);
    reading.keep_site();
    assert_eq!(reading.bodies.iter().map(Body::kind).collect::<Vec<_>>(), [14]);
    assert!(reading.faults.is_empty());
}

fn desk_of(setup: &Setup, bodies: &[Body]) -> Arc<DeskJob> {
    Arc::new(DeskJob {
        view: setup.view_of(bodies),
        method: Some(Arc::new(setup.method.clone())),
        method_ref: Some(setup.reference.clone()),
        slots_ever: 9,
        rule_set: RULE_SET.into(),
        planned: None,
        known: true,
    })
}

fn reference() -> Reference {
    serde_json::from_str(r#"{"version":1}"#).unwrap()
}

#[test]
fn a_plan_that_nobody_touched_says_what_the_job_says_in_any_decimals() {
    let setup = Setup::new();
    let first = read(&filled(), setup.around(None, 0), POINT);
    let here = desk_of(&setup, &first.bodies);
    let (point, comma) = (untouched(&here, &reference(), POINT), untouched(&here, &reference(), COMMA));
    assert_eq!(point.opened, comma.opened);
    assert_eq!(facts(&comma, Some(&setup.method), COMMA), comma.opened);
    let mut typed = point.clone();
    // What is typed otherwise and means the same is no change.
    typed.design.insert("window_min".into(), "0.35 kV".into());
    typed.start = "8.30".into();
    typed.site.town.push(' ');
    assert_eq!(facts(&typed, Some(&setup.method), POINT), point.opened);
    typed.design.insert("window_min".into(), "wide".into());
    assert_ne!(facts(&typed, Some(&setup.method), POINT), point.opened);
}

#[test]
fn what_another_lead_corrected_stays_and_the_same_field_is_asked_about() {
    let setup = Setup::new();
    let first = read(&filled(), setup.around(None, 0), POINT).bodies;
    let here = desk_of(&setup, &first);
    // Meanwhile somebody else corrects the e-mail, takes two modules less, and moves the day.
    let site = SiteDetails { email: "new@home.example".into(), ..here.view.site.clone() };
    let moved = |day: &str| Body::Schedule(Schedule { day: day.into(), start: "08:30".into() });
    let mut fewer = PlanDraft::of(&here.view, NO_RULES, POINT);
    fewer.units.get_mut("module").unwrap().count = "6".into();
    let fewer = read(&fewer, setup.around(Some(&here.view), 9), POINT).bodies;
    let then = [first, fewer, vec![Body::SiteDetails(site.clone()), moved("2026-12-02")]].concat();
    let newest = desk_of(&setup, &then);

    Owner::new().with(|| {
        let form = Form::of(untouched(&here, &reference(), POINT));
        let meanwhile = Meanwhile::of(form, Some(Arc::clone(&here)), POINT);
        form.access.set("Back door".into());
        form.day.set("2026-12-03".into());
        meanwhile.move_on(form, Newest { here: Arc::clone(&newest), by: BTreeMap::new() }, &reference(), POINT);

        let taken: Vec<PlanField> = meanwhile.taken.get_untracked().into_iter().collect();
        assert_eq!(taken, [PlanField::Email, PlanField::Units(UnitKind::Module)]);
        let clashes = meanwhile.clashes.get_untracked();
        assert_eq!(clashes.iter().map(|clash| clash.field.clone()).collect::<Vec<_>>(), [PlanField::Schedule]);
        // Nothing that was typed is lost while it is open.
        assert_eq!(form.day.get_untracked(), "2026-12-03");
        let kept = form.draft();
        assert_ne!(kept.opened, untouched(&newest, &reference(), POINT).opened);

        meanwhile.choose(form, &clashes[0], true, POINT);
        assert!(meanwhile.clashes.with_untracked(Vec::is_empty));
        let reading = read(&form.draft(), setup.around(Some(&newest.view), 9), POINT);
        let wanted = SiteDetails { access: "Back door".into(), ..site };
        assert_eq!(reading.bodies, [Body::SiteDetails(wanted), moved("2026-12-03")]);

        // The other way round: what stands there counts, and only the site is written.
        form.opened.update(|opened| *opened = kept.opened);
        meanwhile.choose(form, &clashes[0], false, POINT);
        assert_eq!(form.day.get_untracked(), "2026-12-02");
        let reading = read(&form.draft(), setup.around(Some(&newest.view), 9), POINT);
        assert_eq!(reading.bodies.iter().map(Body::kind).collect::<Vec<_>>(), [14]);
    });
}

#[test]
fn a_draft_from_before_meets_what_changed_since() {
    let setup = Setup::new();
    let first = read(&filled(), setup.around(None, 0), POINT).bodies;
    let here = desk_of(&setup, &first);
    let mut draft = untouched(&here, &reference(), POINT);
    draft.site.phone = "+1 202-555-0199".into();
    let draft: PlanDraft = serde_json::from_slice(&serde_json::to_vec(&draft).unwrap()).unwrap();
    let site = SiteDetails { phone: "+1 202-555-0123".into(), ..here.view.site.clone() };
    let newest = desk_of(&setup, &[first, vec![Body::SiteDetails(site)]].concat());
    Owner::new().with(|| {
        let form = Form::of(draft);
        let meanwhile = Meanwhile::of(form, Some(Arc::clone(&newest)), POINT);
        meanwhile.move_on(form, Newest { here: newest, by: BTreeMap::new() }, &reference(), POINT);
        assert_eq!(meanwhile.clashes.get_untracked()[0].field, PlanField::Phone);
        assert_eq!(form.phone.get_untracked(), "+1 202-555-0199");
        // Whoever types what the other one wrote agrees with them.
        form.phone.set("+1 202-555-0123 ".into());
        assert!(meanwhile.clashes.get_untracked().is_empty());
    });
}
