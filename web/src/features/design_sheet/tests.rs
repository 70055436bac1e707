#![allow(clippy::unwrap_used, reason = "tests")]

use domain::bounds;
use domain::design::{Design, FIELDS, differences, field};
use domain::electrical::rule_set::{Change, FirmRules, Place, RuleSet, RulesName};
use domain::electrical::{Mark, Verdict};
use domain::ids::{DeviceId, EntryId, FirmId, JobId, ModelId, PersonId, uuid_v7};
use domain::job_file::body::{Body, Confirmation, DesignInputs, ModelSnapshot, UnitKind};
use domain::job_file::{ChainHead, Draft, Entry, JobFile};

use super::view_model::*;
use super::words::{SECTIONS, choice, field_name, hint, line_name, out_of_force, stack_in_words, value};
use crate::features::desk::shared::design_at_start;
use crate::features::job::load::UnitView;
use crate::i18n::{Decimal, Lang, Words};

const POINT: Words = Words { lang: Lang::En, decimal: Decimal::Point };
const COMMA: Words = Words { lang: Lang::De, decimal: Decimal::Comma };

fn read(key: &str, text: &str, w: Words) -> Read {
    figure(field(key).unwrap(), text, w)
}

#[test]
fn figures_are_read_with_signs_prefixes_and_units_of_the_trade() {
    for (key, text, w, micro) in [
        ("ac_cable_length_m", "12.5", POINT, 12_500_000),
        ("ac_cable_length_m", "12,5", COMMA, 12_500_000),
        ("ac_cable_length_m", "900 mm", POINT, 900_000),
        ("inverter_w", "3.68 kW", POINT, 3_680_000_000),
        ("rcd_residual_a", "30 mA", POINT, 30_000),
        ("capacitance_f", "1500 µF", POINT, 1_500),
        ("runtime_wanted_s", "8 h", POINT, 28_800_000_000),
        ("ambient_c", "-5", POINT, -5_000_000),
        ("modules", "8", POINT, 8_000_000),
        ("push_factor", "0.1", POINT, 100_000),
        ("earthing", "tn_c_s", POINT, 2_000_000),
        ("type_tested", "no", POINT, 0),
    ] {
        assert_eq!(read(key, text, w), Ok(Some(micro)), "{key} {text}");
    }
    assert_eq!(read("modules", "  ", POINT), Ok(None));
}

#[test]
fn what_cannot_be_read_is_told_apart() {
    assert_eq!(read("inverter_w", "plenty", POINT), Err(Fault::Unreadable));
    assert_eq!(read("modules", "7.5", POINT), Err(Fault::NotWhole));
    assert!(matches!(read("ac_cable_length_m", "-1", POINT), Err(Fault::Impossible(least, _)) if least.micro == 0));
    assert!(matches!(read("inverter_dc_max_v", "-1", POINT), Err(Fault::Impossible(least, _)) if least.micro == 0));
    assert_eq!(read("ac_cable_length_m", "0", POINT), Ok(Some(0)));
    assert!(matches!(read("ambient_c", "9999", POINT), Err(Fault::Impossible(_, _))), "no tick helps either");
    assert_eq!(read("ambient_c", "-20", POINT), Ok(Some(-20_000_000)));
    assert_eq!(read("ac_cable_length_m", "> 3", POINT), Err(Fault::NotExact));
    assert!(matches!(read("ac_cable_length_m", "3 V", POINT), Err(Fault::OtherUnit(_))));
    assert_eq!(read("earthing", "9", POINT), Err(Fault::NoSuchChoice("9".to_owned())));
}

#[test]
fn every_figure_is_read_again_as_it_is_shown() {
    for w in [POINT, COMMA] {
        for field in FIELDS {
            let some: &[i64] = match field.choices.len() {
                0 if field.key == "ac_power_factor" => &[950_000],
                0 if field.unit == domain::electrical::Unit::Count => &[1_000_000, 12_000_000],
                0 => &[1, 33_000, 1_234_567, 40_000_000_000],
                2 if field.is_yes_or_no() => &[0, 1_000_000],
                _ => &[1_000_000],
            };
            for micro in some.iter().filter(|micro| bounds::is_possible(field.unit, **micro)) {
                let text = text_of(field, *micro, w);
                assert_eq!(figure(field, &text, w), Ok(Some(*micro)), "{} {text}", field.key);
            }
        }
    }
}

#[test]
fn every_field_stands_in_a_section_and_has_a_name_of_its_own() {
    let mut names: Vec<String> = Vec::new();
    for field in FIELDS {
        assert!(SECTIONS.iter().any(|(section, _)| *section == field.section), "{}", field.key);
        let name = field_name(POINT, field.key);
        assert!(!names.contains(&name) && name != field.key.replace('_', " "), "{}: {name}", field.key);
        assert_ne!(name, field_name(COMMA, field.key), "{}", field.key);
        names.push(name);
        for word in field.choices {
            assert!(!choice(POINT, word).contains('_'), "{word}");
        }
    }
    assert_eq!(field_name(POINT, "load_3_duty"), "Load 3: share of the time");
    assert_eq!(field_name(POINT, "shelf_life"), "shelf life");
    assert!(hint("load_8_duty").is_some() && hint("modules").is_none());
}

#[test]
fn every_check_of_every_place_has_a_name() {
    for place in Place::ALL {
        let rules = RuleSet::of(place);
        for location in 0..=5 {
            let mut design = Design::new();
            design.set("location_kind", location * 1_000_000).set("stacks", 2_000_000).set("modules", 8_000_000);
            design.set("load_1_w", 1).set("bleed_ohm", 1);
            design.set("strings", 2_000_000).set("string_joint", 3_000_000);
            for tt in [false, true] {
                design.set("earthing", if tt { 3_000_000 } else { 1_000_000 });
                let now = compute(design.clone(), &rules);
                for line in now.sheet.lines.iter().chain(&now.sheet.limits) {
                    let name = line_name(POINT, &rules, line.key);
                    assert!(name != line.key && !name.contains('_'), "{place:?}: {}", line.key);
                }
            }
        }
    }
}

fn terrace() -> Vec<(String, i64)> {
    let text = include_str!("../../../../domain/tests/golden/designs/uk-terrace.design.txt");
    Design::parse(text).unwrap().values().map(|(key, micro)| (key.to_owned(), micro)).collect()
}

fn design_of(values: &[(String, i64)]) -> Design {
    Design::of_values(values.iter().map(|(key, micro)| (key.as_str(), *micro)))
}

#[test]
fn a_verdict_follows_the_keystrokes() {
    let rules = RuleSet::of(Place::Uk);
    let mut design = design_of(&terrace());
    let verdict = |design: &Design| compute(design.clone(), &rules).sheet.line("ac_drop").unwrap().verdict();
    assert_eq!(verdict(&design), Verdict::Pass);
    design.set("ac_cable_length_m", read("ac_cable_length_m", "300", POINT).unwrap().unwrap());
    assert!(matches!(verdict(&design), Verdict::Fail(_)));
    let counted = tally(&compute(design.clone(), &rules).sheet.lines);
    assert!(counted.fail > 0 && counted.pass > 0, "{counted:?}");
    design.clear("ac_cable_length_m");
    let open = compute(design, &rules);
    assert_eq!(open.sheet.line("ac_drop").map(|line| line.missing.clone()), Some(vec!["ac_cable_length_m"]));
    assert!(open.single_line.starts_with("<svg") && open.stack.starts_with("<svg"));
}

#[test]
fn a_withdrawn_edition_says_since_when_and_what_to_do() {
    let rules = RuleSet::of(Place::Uk);
    let day = domain::identification::Date::parse("2026-11-29").unwrap();
    let told = compute(design_of(&terrace()), &rules).sheet.out_of_force(&rules, day);
    let line = out_of_force(POINT, &told[0]);
    assert!(line.contains("BS 7671, 2018+A2:2022") && line.contains("15 Oct 2026") && line.contains("lead"), "{line}");
    assert_ne!(line, out_of_force(COMMA, &told[0]));
}

#[test]
fn the_stack_is_told_in_words_with_what_fails() {
    let rules = RuleSet::of(Place::Uk);
    let now = compute(design_of(&terrace()), &rules);
    let words = stack_in_words(POINT, &rules, &now.design, &now.sheet.lines);
    let door = words.iter().find(|line| line.starts_with("Distance to doors and windows")).unwrap();
    assert!(door.contains("0.9") && door.contains("at least 1") && door.contains("Fails"), "{door}");
}

#[test]
fn saving_keeps_what_the_sheet_does_not_know() {
    let rules = RuleSet::of(Place::Uk);
    let job = vec![("energy_total_wh".to_owned(), 5), ("modules".to_owned(), 7_000_000), ("stacks".to_owned(), 1)];
    let touched = [("modules", Some(8_000_000)), ("stacks", None)];
    let saved = values_to_save(&job, touched.into_iter(), &rules);
    assert_eq!(
        saved,
        [
            ("energy_total_wh".to_owned(), 5),
            ("modules".to_owned(), 8_000_000),
            (RULES_PLACE.to_owned(), 2_000_000),
            (RULES_VERSION.to_owned(), i64::from(rules.version) * 1_000_000),
        ]
    );
    assert_eq!(values_to_save(&saved, core::iter::empty(), &rules), saved, "a second save changes nothing");
    assert_eq!(rules_of_job(&saved, "neutral 1").label(), "uk 1");
    assert_eq!(rules_of_job(&job, "de 1 firm 4").label(), "de 1 firm 4");
    assert_eq!(rules_of_job(&job, "").label(), "neutral 1");
    // The firm's own version goes with it, and goes again when the built-in rules are taken.
    let change = Change { rule: "UK-1M".into(), micro: 1_500_000, reason: String::new() };
    let own = rules.adapted(3, &[change]).unwrap();
    let by_own = values_to_save(&saved, core::iter::empty(), &own);
    assert_eq!(rules_of_job(&by_own, "neutral 1").label(), "uk 1 firm 3");
    assert_eq!(values_to_save(&by_own, core::iter::empty(), &rules), saved);
    assert_eq!(other_version(&saved, &rules), None);
    let older = [(RULES_PLACE.to_owned(), 2_000_000), (RULES_VERSION.to_owned(), 0)];
    assert_eq!(other_version(&older, &rules), Some(0));
}

#[test]
fn a_draft_that_was_saved_is_none() {
    let job = vec![("inverter_w".to_owned(), 3_680_000_000)];
    let mut draft = SheetDraft { place: "uk".into(), ..SheetDraft::default() };
    draft.texts.insert("inverter_w".into(), "3.68 kW".into());
    assert!(draft.clone().without_saved(&job, RulesName::built_in(Place::Uk), POINT).is_empty());
    draft.texts.insert("modules".into(), "many".into());
    let kept = draft.without_saved(&job, RulesName::built_in(Place::De), POINT);
    assert_eq!((kept.place.as_str(), kept.texts.len()), ("uk", 1), "what cannot be read is kept");
    let bytes = serde_json::to_vec(&kept).unwrap();
    assert_eq!(serde_json::from_slice::<SheetDraft>(&bytes).unwrap(), kept);
}

#[test]
fn a_field_that_rules_ask_for_says_how_certain_they_are() {
    let uk = RuleSet::of(Place::Uk);
    assert_eq!(rule_mark(&uk, "modules"), None);
    assert_eq!(rule_mark(&uk, "opening_distance_m"), Some(Mark::Sure));
    assert_eq!(rule_mark(&uk, "has_fire_separation"), Some(Mark::Check));
    let mut house = uk.clone();
    let extra = domain::electrical::rule_set::Rule { id: "X", ..*uk.rule("UK-1M").unwrap() };
    let source = domain::electrical::Source { mark: Mark::House, ..extra.source };
    house.rules.push(domain::electrical::rule_set::Rule { source, ..extra });
    assert_eq!(rule_mark(&house, "opening_distance_m"), Some(Mark::House), "the least certain one is shown");
    for place in Place::ALL {
        let all = standards(&RuleSet::of(place));
        assert!(all.len() > 2, "{place:?}");
        for (index, own) in all.iter().enumerate() {
            assert!(!all[index + 1..].contains(own), "{own:?} twice");
        }
    }
}

fn unit(slot: u16, kind: UnitKind, serial: Option<&str>) -> UnitView {
    UnitView {
        slot,
        kind,
        model: ModelSnapshot {
            model: ModelId::of(uuid_v7(1, &[1; 10])),
            version: 1,
            kind,
            maker: "Brisa".into(),
            name: "M".into(),
            gtin: None,
            serial_prefix: String::new(),
            serial_length: (0, 0),
            values: Vec::new(),
        },
        new: true,
        serial: serial.map(str::to_owned),
        serial_bad: false,
        serial_step: None,
    }
}

#[test]
fn serials_on_record_say_how_many_modules_were_built() {
    let planned = design_of(&[("modules".to_owned(), 3_000_000)]);
    let mut units = vec![unit(1, UnitKind::Module, Some("A")), unit(2, UnitKind::Module, None)];
    assert_eq!(as_built(&planned, &units), planned, "one is still unread");
    units[1].serial = Some("B".into());
    units.push(unit(3, UnitKind::Inverter, None));
    let mut extended = units.clone();
    extended[0].new = false;
    assert_eq!(modules_on_record(&extended), None, "nobody says how many of the old ones stayed");
    let built = as_built(&planned, &units);
    let found = differences(&planned, &built, &RuleSet::of(Place::Neutral));
    let figures: Vec<_> = found.figures.iter().map(|own| (own.key.as_str(), own.built)).collect();
    assert_eq!(figures, [("modules", Some(2_000_000))]);
    assert_eq!(value(POINT, field("modules").unwrap(), 2_000_000), "2");
}

/// A file with these bodies, one after the other.
fn file(bodies: &[Body]) -> JobFile {
    let mut file = JobFile::default();
    let mut head = ChainHead::START;
    for (number, body) in (1_u64..).zip(bodies) {
        let draft = Draft {
            id: EntryId::of(uuid_v7(number, &[2; 10])),
            firm: FirmId::of(uuid_v7(0, &[1; 10])),
            job: JobId::of(uuid_v7(0, &[3; 10])),
            author: PersonId::of(uuid_v7(0, &[4; 10])),
            device: DeviceId::of(uuid_v7(0, &[5; 10])),
            salt: [0; 16],
            body: body.clone(),
        };
        let entry = Entry::write(draft, head, 0, number, head.hlc);
        head = entry.as_head();
        file.absorb(entry, None);
    }
    file
}

#[test]
fn the_planned_design_is_the_one_that_stood_when_work_began() {
    let design = |micro| Body::DesignInputs(DesignInputs { values: vec![("modules".to_owned(), micro)] });
    let place = domain::job_file::body::Place { step: "arrive".into(), slot: 0, requirement: "here".into() };
    let worked = Body::Confirmation(Confirmation {
        at: place,
        statement: domain::ids::Hash32::of([0; 32]),
        person: None,
        named_in: None,
        corrects: None,
    });
    assert_eq!(design_at_start(&file(&[design(1), design(2)])), None);
    let begun = design_at_start(&file(&[design(1), design(2), worked.clone(), design(3)]));
    assert_eq!(begun, Some(vec![("modules".to_owned(), 2)]));
    assert_eq!(design_at_start(&file(&[worked, design(3)])), Some(Vec::new()));
}

#[test]
fn chosen_models_fill_what_nobody_typed() {
    let mut model = unit(1, UnitKind::Module, None).model;
    model.values = vec![("cells".into(), 16_000_000), ("energy_wh".into(), 2_560_000_000)];
    let slots = vec![domain::job_file::body::Slot { number: 1, model: 0, new: true }];
    let equipment = domain::job_file::body::Equipment { models: vec![model], slots };
    let mut typed = Design::new();
    typed.set("module_wh", 5_000_000_000);
    let filled = with_models(&typed, Some(&equipment));
    assert_eq!(filled.get("module_wh"), Some(5_000_000_000), "what was typed stands");
    assert_eq!(filled.get("module_cells"), Some(16_000_000));
    assert_eq!(with_models(&typed, None), typed);
}

#[test]
fn a_job_keeps_its_version_and_is_offered_the_newest() {
    let change = |micro| vec![Change { rule: "UK-1M".into(), micro, reason: String::new() }];
    let set = |version, micro| FirmRules { place: "uk".into(), version, base: 1, changes: change(micro) };
    let own = [set(1, 1_200_000), set(2, 1_500_000)];
    let offered = |label: &str| {
        let all = rules_offered(&own, RulesName::parse(label).unwrap());
        all.into_iter().map(rules_word).collect::<Vec<_>>()
    };
    let built_in = ["us", "uk", "au", "nz", "de", "neutral"];
    assert_eq!(offered("uk 1")[..1], ["uk 1 firm 2"]);
    assert_eq!(offered("uk 1")[1..], built_in);
    assert_eq!(offered("uk 1 firm 1")[..2], ["uk 1 firm 2", "uk 1 firm 1"]);
    for word in offered("uk 1 firm 1") {
        assert_eq!(rules_word(rules_of_word(&word)), word);
    }
    // A draft of an older app has the place alone, or nonsense.
    assert_eq!(rules_of_word("de").label(), "de 1");
    assert_eq!(rules_of_word("atlantis").label(), "neutral 1");
}
