//! A rule set of a version never changes: a figure that moves is a new version with a new line in `golden/rule_sets.txt`,
//! beside the old one. And the examples of the trade for locations, by the sheet.
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

use domain::design::{Design, derived, sheet};
use domain::electrical::judge::Why;
use domain::electrical::rule_set::{Place, Rule, RuleSet};
use domain::electrical::{Source, Verdict};
use domain::ids::Hash32;

const GOLDEN: &str = include_str!("golden/rule_sets.txt");

/// All that a rule says, in a form that outlives changes of the type.
fn written(rule: &Rule) -> String {
    let value = rule.value.map_or_else(String::new, |value| format!("{} {}", value.plain(), value.unit.name()));
    let Source { standard, edition, clause, mark } = rule.source;
    let Rule { id, topic, about, at, case, basis, days, .. } = rule;
    let day = |day: Option<domain::identification::Date>| day.map_or_else(String::new, |day| day.to_string());
    let days = days.map_or_else(String::new, |own| format!("{}|{}", day(own.valid_from), day(own.valid_until)));
    format!("{id}|{topic:?}|{about}|{at}|{case}|{value}|{basis:?}|{standard}|{edition}|{clause}|{mark:?}|{days}\n")
}

/// Until the first installation they may move: decision 0022.
#[test]
fn released_rules_do_not_move() {
    let lines = Place::ALL.map(|place| {
        let set = RuleSet::of(place);
        let text: String = set.rules.iter().map(written).collect();
        format!("{place:?} {} {}", set.label(), Hash32::sha256(text.as_bytes()).hex())
    });
    let moved: Vec<&String> = lines.iter().filter(|line| !GOLDEN.lines().any(|known| known == *line)).collect();
    assert!(moved.is_empty(), "not released: {moved:#?}");
}

fn verdict(place: Place, text: &str, key: &str) -> Verdict {
    let design = Design::parse(text).unwrap();
    sheet(&design, &RuleSet::of(place)).line(key).unwrap_or_else(|| panic!("no {key}")).verdict()
}

#[test]
fn examples_of_the_trade() {
    use Place::{Au, De, Uk, Us};
    let fail = Verdict::Fail;
    let open = Verdict::NotDetermined;
    let three = "modules = 3\nstacks = 3\nmodule_wh = 13700\n";
    for (place, text, key, expected) in [
        (Au, "location_kind = attached_garage\nopening_distance_m = 0.55", "AU-600-WIN", fail(Why::TooClose)),
        (Au, "location_kind = attached_garage\nopening_distance_m = 0.62", "AU-600-WIN", Verdict::Pass),
        (Uk, "location_kind = outdoor_wall\nopening_distance_m = 0.9", "UK-1M", fail(Why::TooClose)),
        (Uk, "location_kind = outdoor_wall\nopening_distance_m = 1.0", "UK-1M", Verdict::Pass),
        (Us, "location_kind = outdoor_wall\nopening_distance_m = 0.9144", "US-3FT-O", Verdict::Pass),
        (Uk, "location_kind = indoor\nin_void = yes\nopening_distance_m = 9", "UK-LOFT", fail(Why::LocationProhibited)),
        (
            Us,
            "modules = 2\nstacks = 2\nlocation_kind = outdoor_wall\nunit_distance_m = 0.6096\n\
             distance_exception = report_attached",
            "US-3FT-U",
            open(Why::AuthorityMustAccept),
        ),
        (Us, &format!("{three}location_kind = indoor"), "energy", fail(Why::LocationTooLarge)),
        (Us, &format!("{three}location_kind = attached_garage"), "energy", Verdict::Pass),
        (Us, "modules = 1\nmodule_wh = 21000\nlocation_kind = attached_garage", "energy", fail(Why::UnitTooLarge)),
        (Uk, "modules = 4\nmodule_wh = 10240\nlocation_kind = indoor", "energy", fail(Why::LocationTooLarge)),
        (De, "modules = 2\nmodule_wh = 10240\nlocation_kind = indoor", "energy", open(Why::ExtraRequirement)),
        (De, "modules = 2\nmodule_wh = 9600\nlocation_kind = indoor", "energy", Verdict::Pass),
        (De, "inverter_draw_w = 4600", "controllable", open(Why::ExtraRequirement)),
        (De, "inverter_draw_w = 4200", "controllable", Verdict::Pass),
        (
            Uk,
            "phases = 3\ninverter_phases = three_phases\nac_nominal_v = 230\ninverter_w = 11040\ntype_tested = yes\nnotify_planned = yes",
            "grid_route",
            Verdict::Pass,
        ),
        (
            Uk,
            "phases = 3\ninverter_phases = three_phases\nac_nominal_v = 230\ninverter_w = 12000\ntype_tested = yes\nnotify_planned = yes",
            "grid_route",
            fail(Why::ConsentNeeded),
        ),
    ] {
        assert_eq!(verdict(place, text, key), expected, "{place:?} {text}");
    }
}

/// A truthful answer outside of a demand's case is neither a pass nor a fail, and names what is there instead.
#[test]
fn a_demand_outside_its_case_is_neither_met_nor_broken() {
    use Place::{Au, Us};
    let outside = Verdict::NotApplicable(Why::DoesNotApply);
    let garage = "location_kind = attached_garage";
    for (place, field, word, key) in [
        (Au, "has_wall_barrier", "wall_non_combustible", "AU-BAR"),
        (Au, "has_wall_barrier", "no_room_behind", "AU-BAR"),
        (Au, "has_gas_zone_clear", "no_gas_on_site", "AU-GAS"),
        (Us, "has_gypsum_lining", "walls_finished", "US-GYP"),
        (Us, "has_vehicle_barrier", "no_vehicle_reaches", "US-VEH"),
    ] {
        let design = Design::parse(&format!("{garage}\n{field} = {word}")).unwrap();
        let sheet = sheet(&design, &RuleSet::of(place));
        let line = sheet.line(key).unwrap();
        assert_eq!((line.verdict(), line.because), (outside, Some(word)), "{key}");
        assert!(!sheet.missing.contains(&field), "{key}");
        assert_eq!(verdict(place, &format!("{garage}\n{field} = no"), key), Verdict::Fail(Why::RequirementNotMet));
        assert_eq!(verdict(place, garage, key), Verdict::NotDetermined(Why::RequirementOpen), "no answer is none");
    }
}

#[test]
fn earthing_while_islanded_is_asked_only_where_something_is_fed() {
    let island = |text: &str| {
        let sheet = sheet(&Design::parse(&format!("location_kind = indoor\n{text}")).unwrap(), &RuleSet::of(Place::Uk));
        let asked = |field| sheet.missing.contains(&field);
        (sheet.line("UK-ISLAND").unwrap().verdict(), asked("has_island_earthing"), asked("backup_output"))
    };
    let open = Verdict::NotDetermined(Why::RequirementOpen);
    assert_eq!(island("backup_output = no"), (Verdict::NotApplicable(Why::NoBackup), false, false));
    assert_eq!(island(""), (open, false, true), "nobody said whether there is one");
    assert_eq!(island("backup_output = yes"), (open, true, false));
    assert_eq!(island("load_1_w = 100"), (open, true, false));
    let broken = (Verdict::Fail(Why::RequirementNotMet), false, false);
    assert_eq!(island("load_1_w = 100\nbackup_output = no\nhas_island_earthing = no"), broken, "a listed load is fed");
    assert_eq!(island("has_island_earthing = yes").0, Verdict::Pass);
}

/// The distance above is one to windows, vents and appliances; a ceiling is none.
#[test]
fn the_height_above_counts_to_what_the_rule_means() {
    let above = |text: &str| verdict(Place::Au, &format!("location_kind = attached_garage\n{text}"), "AU-900-UP");
    let ceiling = Verdict::NotApplicable(Why::DoesNotApply);
    assert_eq!(above("above_distance_m = 0.8\nabove_kind = item_above"), Verdict::Fail(Why::TooClose));
    assert_eq!(above("above_distance_m = 0.8\nabove_kind = surface_above"), ceiling);
    assert_eq!(above("above_distance_m = 0.8"), Verdict::NotDetermined(Why::RequirementOpen));
    assert_eq!(above("above_distance_m = 0.9"), Verdict::Pass, "whatever is there is far enough");
}

/// Six modules of 16 cells, 345.6 V; one of them, 57.6 V.
#[test]
fn the_working_space_goes_by_voltage_and_by_what_is_opposite() {
    let depth = |modules: u8, more: &str| {
        let text = format!(
            "modules = {modules}\nmodule_cells = 16\nmodule_cell_min_v = 2.8\nmodule_cell_max_v = 3.6\ninverter_dc_min_v = 40\n\
             inverter_dc_max_v = 800\nlocation_kind = detached_garage\n{more}"
        );
        let sheet = sheet(&Design::parse(&text).unwrap(), &RuleSet::of(Place::Us));
        let line = sheet.line("US-WS-D").unwrap();
        (line.verdict(), line.rule.map_or("", |(id, _)| id), sheet.missing.contains(&"opposite_kind"))
    };
    let (close, open) = (Verdict::Fail(Why::TooClose), Verdict::NotDetermined(Why::RequirementOpen));
    let grounded = |metres: &str| depth(6, &format!("opposite_kind = opposite_grounded\nworking_depth_m = {metres}"));
    assert_eq!(grounded("1"), (close, "US-WS-D2", false));
    assert_eq!((grounded("1.067").0, grounded("1.066999").0), (Verdict::Pass, close));
    for (opposite, metres, verdict, rule) in [
        ("opposite_clear", "0.914", Verdict::Pass, "US-WS-D"),
        ("opposite_clear", "0.913999", close, "US-WS-D"),
        ("opposite_live", "1.219", Verdict::Pass, "US-WS-D3"),
        ("opposite_live", "1.218999", close, "US-WS-D3"),
    ] {
        let found = depth(6, &format!("opposite_kind = {opposite}\nworking_depth_m = {metres}"));
        assert_eq!(found, (verdict, rule, false), "{opposite} {metres}");
    }
    let reported = |state: &str| grounded(&format!("1\ndistance_exception = {state}")).0;
    assert_eq!(
        (reported("report_attached"), reported("authority_accepted")),
        (close, close),
        "no fire test makes room"
    );
    assert_eq!(depth(6, "working_depth_m = 1"), (open, "US-WS-D", true));
    assert_eq!(depth(6, "working_depth_m = 3").0, open, "what is opposite is asked in any case");
    assert_eq!(depth(6, "working_depth_m = 0.9").0, close, "too little in any case");
    assert_eq!(depth(1, "working_depth_m = 1"), (Verdict::Pass, "US-WS-D", false), "up to 150 V");
    assert_eq!(depth(1, "working_depth_m = 1\nphases = 3\nac_nominal_v = 277"), (open, "US-WS-D", true));
    assert_eq!(depth(12, "working_depth_m = 3").0, Verdict::NotDetermined(Why::NoLimit), "above 600 V");
}

/// What a place's own law is; the sheet of another place does not cite it. Formulas of physics and standards of devices hold anywhere.
const LAWS: [(&str, &[Place]); 18] = [
    ("BS ", &[Place::Uk]),
    ("PAS ", &[Place::Uk]),
    ("EREC", &[Place::Uk]),
    ("ESQCR", &[Place::Uk]),
    ("NEC", &[Place::Us]),
    ("NFPA 855", &[Place::Us]),
    ("IRC", &[Place::Us]),
    ("UL ", &[Place::Us]),
    ("ANSI", &[Place::Us]),
    ("ACI", &[Place::Us]),
    ("AS ", &[Place::Au, Place::Nz]),
    ("AS/NZS", &[Place::Au, Place::Nz]),
    ("DIN", &[Place::De]),
    ("VDE", &[Place::De]),
    ("EnWG", &[Place::De]),
    ("ADR", &[Place::Uk, Place::De]),
    ("EN 199", &[Place::Uk, Place::De, Place::Au, Place::Nz, Place::Neutral]),
    ("IEC 60228", &[Place::Uk, Place::De, Place::Au, Place::Nz, Place::Neutral]),
];

#[test]
fn no_sheet_cites_the_law_of_another_place() {
    let wall = "wall_mass_kg = 60\nwall_gravity_m = 0.12\nwall_lever_m = 0.8\nwall_fixings = 4\nwall_tension_n = 2000\n\
                wall_shear_n = 3000\nwall_embedment_m = 0.05\nwall_edge_m = 0.075\nwall_spacing_m = 0.15";
    let mut all = designs();
    all.push(Design::parse(wall).unwrap());
    let mut cited = std::collections::BTreeSet::new();
    for place in Place::ALL {
        let rules = RuleSet::of(place);
        for sheet in all.iter().map(|design| sheet(design, &rules)) {
            for line in sheet.lines.iter().chain(&sheet.limits) {
                let sources =
                    line.check().map(|check| check.source).into_iter().chain(line.rule.map(|(_, source)| source));
                for standard in sources.map(|source| source.standard) {
                    let law = LAWS.iter().find(|(law, _)| standard.starts_with(law));
                    assert!(
                        law.is_none_or(|(_, places)| places.contains(&place)),
                        "{place:?} {}: {standard}",
                        line.key
                    );
                    cited.extend(law.map(|(law, _)| *law));
                }
            }
        }
    }
    for law in ["ACI", "ADR", "AS/NZS", "BS ", "DIN", "EN 199", "IEC 60228", "NEC"] {
        assert!(cited.contains(law), "{law}: nothing was looked at");
    }
    let road = |place| sheet(&all[1], &RuleSet::of(place)).line("transport").unwrap().verdict();
    let elsewhere = Verdict::NotApplicable(Why::NoRuleHere);
    assert_eq!((road(Place::Uk), road(Place::Us), road(Place::Au)), (Verdict::Pass, elsewhere, elsewhere));
}

/// Cables are sold by gauge there, and the table of resistances knows metric sizes only.
#[test]
fn a_drop_in_the_united_states_goes_by_what_the_cables_maker_states() {
    let text =
        std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/golden/designs/us-garage.design.txt"));
    let mut design = Design::parse(&text.unwrap()).unwrap();
    let drop = |design: &Design| {
        let sheet = sheet(design, &RuleSet::of(Place::Us));
        let line = sheet.line("dc_drop").unwrap();
        (line.verdict(), line.missing.clone())
    };
    assert_eq!(drop(&design), (Verdict::Pass, vec![]));
    design.clear("dc_cable_ohm_per_km");
    assert_eq!(drop(&design), (Verdict::NotDetermined(Why::RatingMissing), vec!["dc_cable_ohm_per_km"]));
}

#[test]
fn the_route_decides_the_forms() {
    let forms = |text: &str| {
        let design = Design::parse(&format!("phases = 1\nac_nominal_v = 230\ntype_tested = yes\n{text}")).unwrap();
        sheet(&design, &RuleSet::of(Place::Uk)).notices.iter().map(|notice| notice.rule).collect::<Vec<_>>()
    };
    assert_eq!(forms("inverter_w = 3680"), ["UK-G98-B", "UK-PART-P"]);
    assert_eq!(forms("inverter_w = 3681"), ["UK-G99-A", "UK-G99-C", "UK-PART-P"]);
    assert_eq!(forms(""), ["UK-G98-B", "UK-G99-A", "UK-G99-C", "UK-PART-P"], "both until it is known");
}

/// Designs that between them reach every check that a rule's figure goes into.
fn designs() -> Vec<Design> {
    let read = |name: &str| {
        let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/golden/designs");
        std::fs::read_to_string(format!("{folder}/{name}.design.txt")).unwrap()
    };
    let whole = ["uk-terrace", "us-garage", "au-garage"].map(read);
    let places = ["indoor", "attached_garage", "detached_garage", "outdoor_wall", "outdoor_ground"];
    // Before the route is known the forms of all routes are told.
    // Only a supply of three phases has lines that can be unequal.
    let mut designs = vec![Design::new(), Design::parse(&read("hand-de")).unwrap()];
    for text in &whole {
        for place in places {
            for earthing in [1, 3] {
                let mut design = Design::parse(text).unwrap();
                let code = domain::design::field("location_kind").unwrap().choices.iter().position(|own| *own == place);
                design.set("location_kind", (i64::try_from(code.unwrap()).unwrap() + 1) * 1_000_000);
                design.set("earthing", earthing * 1_000_000);
                design.set("has_fire_separation", if earthing == 3 { 1_000_000 } else { 0 });
                design.set("fault_clearing_s", 100_000);
                design.set("rcd_residual_a", 100_000);
                design.set("stacks", 2_000_000);
                // All three sides that a working space can have opposite.
                design.set("opposite_kind", i64::try_from(designs.len() % 3).unwrap() * 1_000_000 + 1_000_000);
                design.clear("pe_cap_ohm");
                designs.push(design);
            }
        }
    }
    designs
}

/// A figure that a firm may change is one that a check or a method uses, and the other way round: a tightened limit that nothing looks at
/// would be a promise that nobody keeps.
#[test]
fn what_a_firm_may_change_is_what_is_judged() {
    use domain::electrical::rule_set::Stricter;
    let designs = designs();
    for place in Place::ALL {
        let set = RuleSet::of(place);
        let judged = |design: &Design, rules: &RuleSet| {
            let sheet = sheet(design, rules);
            let follows = derived(design, rules, &sheet);
            (sheet, follows)
        };
        let before: Vec<_> = designs.iter().map(|design| judged(design, &set)).collect();
        let allowed: Vec<&str> = set.adjustable().map(|rule| rule.id).collect();
        for (at, rule) in set.rules.iter().enumerate() {
            let Some(value) = rule.value.filter(|_| rule.topic.stricter() != Stricter::Neither) else { continue };
            let mut other = set.clone();
            let micro = if value.micro > 1_000_000 { value.micro - 1_000_000 } else { value.micro / 2 };
            other.rules[at].value = Some(domain::electrical::Quantity::of(value.unit, micro));
            let moves = designs.iter().zip(&before).any(|(design, before)| judged(design, &other) != *before);
            // Zero days cannot become fewer.
            let expected = moves && value.micro > 0;
            assert_eq!(allowed.contains(&rule.id), expected, "{place:?} {}", rule.id);
        }
        assert!(allowed.len() >= 3, "{place:?}: {allowed:?}");
    }
}
