//! Three complete designs with deliberate faults, against their golden sheets, and what a visit changed on one of them.
//!
//! A golden text is changed only by hand and only with a reason: `cargo run -p domain --example design_sheet` prints one.
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

use domain::design::{Design, Sheet, differences, sheet, single_line, stack_drawing};
use domain::electrical::judge::Why;
use domain::electrical::rule_set::{Place, RuleSet};
use domain::electrical::{ParsedReading, Quantity, Unit, Verdict};

macro_rules! golden {
    ($name:literal) => {
        include_str!(concat!("golden/designs/", $name))
    };
}

const DESIGNS: [(Place, &str, &str); 3] = [
    (Place::Uk, golden!("uk-terrace.design.txt"), golden!("uk-terrace.sheet.txt")),
    (Place::Au, golden!("au-garage.design.txt"), golden!("au-garage.sheet.txt")),
    (Place::Us, golden!("us-garage.design.txt"), golden!("us-garage.sheet.txt")),
];

fn checked(index: usize) -> (Design, Sheet) {
    let (place, text, _) = DESIGNS[index];
    let design = Design::parse(text).unwrap();
    let sheet = sheet(&design, &RuleSet::of(place));
    (design, sheet)
}

#[test]
fn every_sheet_is_its_golden_text() {
    for (index, (place, _, golden)) in DESIGNS.into_iter().enumerate() {
        let text = checked(index).1.plain_text();
        for (number, (ours, theirs)) in text.lines().zip(golden.lines()).enumerate() {
            assert_eq!(ours, theirs, "{place:?}, line {}", number + 1);
        }
        assert_eq!(text.lines().count(), golden.lines().count(), "{place:?}");
    }
}

/// The keys of failed lines.
fn failed(sheet: &Sheet) -> Vec<&'static str> {
    sheet.lines.iter().filter(|line| matches!(line.verdict(), Verdict::Fail(_))).map(|line| line.key).collect()
}

#[test]
fn exactly_the_deliberate_faults_are_found() {
    assert_eq!(failed(&checked(0).1), ["UK-1M", "grid_route"]);
    assert_eq!(failed(&checked(1).1), ["dc_fuse", "AU-600-WIN"]);
    assert_eq!(failed(&checked(2).1), ["busbar"]);
    let units = checked(2).1.line("US-3FT-U").map(|line| line.verdict());
    assert_eq!(units, Some(Verdict::NotDetermined(Why::AuthorityMustAccept)));
    for index in 0..3 {
        assert_eq!(checked(index).1.missing, Vec::<&str>::new(), "the designs are complete");
    }
}

#[test]
fn mended_designs_pass() {
    let mend = |index: usize, changes: &[(&str, i64)]| {
        let (mut design, _) = checked(index);
        for (key, micro) in changes {
            design.set(key, *micro);
        }
        failed(&sheet(&design, &RuleSet::of(DESIGNS[index].0)))
    };
    assert!(mend(0, &[("opening_distance_m", 1_000_000), ("consent_given", 1_000_000)]).is_empty());
    assert!(mend(1, &[("dc_fuse_a", 40_000_000), ("opening_distance_m", 600_000)]).is_empty());
    // 32 A of output on a 200 A panel behind a 200 A main.
    assert!(mend(2, &[("inverter_w", 7_680_000_000)]).is_empty());
}

/// By hand: W = 9.81 · 200 = 1962 N, T = 1962 · 0.12 / 0.6 = 392.4 N; N = 1.35 · T / 4 = 132.435 N, V = 1.35 · W / 8 = 331.0875 N;
/// 132.435 / 500 + 331.0875 / 700 = 0.738. With four: 264.87 / 500 + 662.175 / 700 = 1.476.
#[test]
fn a_unit_on_the_wall_counts_all_its_anchors_and_how_they_stand() {
    let wall = |more: &str| {
        let text = format!(
            "wall_mass_kg = 200\nwall_gravity_m = 0.12\nwall_lever_m = 0.6\nwall_tension_n = 500\nwall_shear_n = 700\n\
             wall_anchor_tested = yes\n{more}"
        );
        let sheet = sheet(&Design::parse(&text).unwrap(), &RuleSet::of(Place::Neutral));
        let line = sheet.line("wall").unwrap();
        (line.verdict(), line.check().map(|check| check.with_numbers.clone()).unwrap_or_default())
    };
    let stands = "wall_embedment_m = 0.06\nwall_edge_m = 0.09\nwall_spacing_m = 0.18";
    let (verdict, numbers) = wall(&format!("wall_fixings = 8\n{stands}"));
    assert_eq!(verdict, Verdict::Pass);
    assert!(numbers.contains("/ 4 = 132.435 N") && numbers.contains("/ 8 = 331.0875 N"), "{numbers}");
    assert_eq!(
        wall(&format!("wall_fixings = 4\n{stands}")).0,
        Verdict::Fail(Why::Overloaded),
        "half of them do not do"
    );
    assert!(matches!(wall("wall_fixings = 8").0, Verdict::NotDetermined(_)), "nobody said how near the edge is");
    let near = stands.replace("0.09", "0.089999");
    assert_eq!(wall(&format!("wall_fixings = 8\n{near}")).0, Verdict::NotDetermined(Why::AnchorSpacing));
}

/// Two stacks of 7.68 kWh side by side on one inverter, each with a fuse and a cable of its own.
const TWO_STACKS: &str = "inverter_w = 10000\ninverter_efficiency = 97\nmodules = 6\nstacks = 2\nstrings = 2\nmodule_cells = 16\n\
    module_cell_min_v = 2.8\nmodule_cell_max_v = 3.6\nmodule_resistance_ohm = 0.01\ndc_path_resistance_ohm = 0.02\n\
    dc_cable_size_mm2 = 10\ndc_cable_class = 5\ndc_cable_length_m = 4\ndc_cable_rating_a = 70\ndc_fuse_a = 50\n\
    maker_fuse_max_a = 63\ndc_device_rating_v = 500\ndc_breaking_a = 6000\nstring_joint = joint_at_inverter\n";

/// By hand: 10000 / (0.97 · 134.4) = 76.706 A, by two 38.353 A, · 1.25 = 47.94 A; 172.8 / 0.05 = 3456 A, twice 6912 A;
/// r = 1.91 · 1.1965 = 2.285315 Ω/km, 2 · 38.353 · 4 · r / 1000 = 0.70119 V of 134.4 V; 0.01 · 172.8 · 3456 · 2 / 45² = 5.898.
#[test]
fn stacks_side_by_side_share_the_load_and_add_up_in_a_fault() {
    let of = |more: &str| sheet(&Design::parse(&format!("{TWO_STACKS}{more}")).unwrap(), &RuleSet::of(Place::De));
    let figure =
        |sheet: &Sheet, line: &str, key: &str| sheet.line(line).unwrap().check().unwrap().result(key).unwrap().micro;
    let own = of("");
    assert_eq!(figure(&own, "dc_fuse", "current_max"), 38_352_970);
    assert_eq!(figure(&own, "dc_fuse", "next_size"), 50_000_000);
    assert_eq!(figure(&own, "dc_fuse", "fault_current"), 3_456_000_000);
    assert_eq!(figure(&own, "dc_drop", "drop_share"), 521_718);
    assert_eq!(figure(&own, "arc", "arc_heat"), 5_898_240);
    for line in ["dc_fuse", "dc_drop"] {
        assert_eq!(own.line(line).unwrap().verdict(), Verdict::Pass, "{line}");
    }
    assert!(own.line("dc_fuse_common").is_none());

    // Until somebody says where they join, nobody knows whether anything is common.
    let mut unknown = Design::parse(TWO_STACKS).unwrap();
    unknown.clear("string_joint");
    let unknown = sheet(&unknown, &RuleSet::of(Place::De));
    let common = unknown.line("dc_fuse_common").unwrap();
    assert_eq!(
        (common.verdict(), &common.missing[..]),
        (Verdict::NotDetermined(Why::RatingMissing), &["string_joint"][..])
    );

    // The fuse behind the node meets both strings: 6000 A do for one of them only.
    let cable = "dc_common_cable_size_mm2 = 25\ndc_common_cable_class = 5\ndc_common_cable_length_m = 3\n\
        dc_common_cable_rating_a = 120\ndc_common_fuse_max_a = 100\n";
    let fused = format!("string_joint = joint_fuse\n{cable}dc_common_fuse_a = 100\ndc_common_breaking_a =");
    let weak = of(&format!("{fused} 6911.999999"));
    assert_eq!(figure(&weak, "dc_fuse_common", "fault_current"), 6_912_000_000);
    assert_eq!(weak.line("dc_fuse_common").unwrap().verdict(), Verdict::Fail(Why::BreakingCapacityTooLow));
    let strong = of(&format!("{fused} 6912"));
    assert_eq!(strong.line("dc_fuse_common").unwrap().verdict(), Verdict::Pass);
    // One limit up to the inverter: 2 · 76.706 · 3 · 0.78 · 1.1965 / 1000 = 0.42951 V, 0.319576 %, on top of the string's own.
    assert_eq!(figure(&strong, "dc_drop_common", "drop_share"), 841_304);

    // Without a common fuse both strings' fuses feed the cable: 2 · 50 A.
    let bare = |rating: &str| {
        of(&format!("string_joint = joint_cable\n{cable}dc_common_cable_rating_a = {rating}"))
            .line("dc_fuse_common")
            .unwrap()
            .verdict()
    };
    assert_eq!(bare("100"), Verdict::Pass);
    assert_eq!(bare("99.999999"), Verdict::Fail(Why::AboveCableRating));
}

/// 35 mm² of direct current ask for 16 mm² by Table 54.2, 6 mm² of alternating current for 6 mm²; neither stands in for the other.
#[test]
fn the_battery_and_the_inverter_have_a_protective_conductor_each() {
    let least = |more: &[(&str, i64)], line: &str| {
        let (mut design, _) = checked(0);
        for (key, micro) in more {
            design.set(key, *micro);
        }
        let sheet = sheet(&design, &RuleSet::of(Place::Uk));
        let line = sheet.line(line).unwrap();
        (line.check().unwrap().result("size_to_use").unwrap().micro, line.verdict())
    };
    let small = Verdict::Fail(Why::ConductorTooSmall);
    assert_eq!(least(&[], "pe_size"), (16_000_000, Verdict::Pass));
    assert_eq!(least(&[("pe_size_mm2", 10_000_000)], "pe_size"), (16_000_000, small));
    assert_eq!(least(&[("pe_maker_mm2", 25_000_000)], "pe_size"), (25_000_000, small));
    // √12000000 / 143 = 24.2 mm²
    assert_eq!(least(&[("dc_let_through_a2s", 12_000_000_000_000)], "pe_size"), (25_000_000, small));
    assert_eq!(least(&[], "ac_pe_size"), (6_000_000, Verdict::Pass));
    assert_eq!(least(&[("ac_protective_core_mm2", 2_500_000)], "ac_pe_size"), (6_000_000, small));
    // In the US by the device before each: 50 A and 50 A here, and 125 A for the battery alone.
    let (mut design, sheet_now) = checked(2);
    let size =
        |sheet: &Sheet, line: &str| sheet.line(line).unwrap().check().unwrap().result("least_size").unwrap().micro;
    assert_eq!((size(&sheet_now, "pe_size"), size(&sheet_now, "ac_pe_size")), (5_260_000, 5_260_000));
    design.set("dc_fuse_a", 125_000_000);
    let larger = sheet(&design, &RuleSet::of(Place::Us));
    assert_eq!((size(&larger, "pe_size"), size(&larger, "ac_pe_size")), (13_300_000, 5_260_000));
}

/// By hand: 5000 / 230 = 21.74 A on the one line; 2 · 21.739 · 15 · 2.25 / 1000 = 1.4674 V, 0.638 % of 230 V; 3680 / 230 + 6000 / 690 =
/// 24.70 A on L1, while the new one's own device carries 8.7 A.
#[test]
fn an_inverter_of_a_single_phase_loads_one_line_of_three() {
    let supply = "phases = 3\nac_nominal_v = 230\ntype_tested = yes\nnotify_planned = yes\n";
    let of = |text: &str| sheet(&Design::parse(&format!("{supply}{text}")).unwrap(), &RuleSet::of(Place::Uk));
    let figure =
        |sheet: &Sheet, line: &str, key: &str| sheet.line(line).unwrap().check().unwrap().result(key).unwrap().micro;
    let forms = |sheet: &Sheet| sheet.notices.iter().map(|notice| notice.rule).collect::<Vec<_>>();
    let cable = "ac_cable_size_mm2 = 10\nac_cable_length_m = 15\n";
    let single = of(&format!("inverter_w = 5000\ninverter_phases = one_phase\n{cable}"));
    assert_eq!(figure(&single, "grid_route", "phase_current"), 21_739_130);
    assert_eq!(single.line("grid_route").unwrap().verdict(), Verdict::Fail(Why::ConsentNeeded));
    assert!(forms(&single).contains(&"UK-G99-A") && !forms(&single).contains(&"UK-G98-B"));
    assert_eq!(figure(&single, "ac_device", "next_size"), 25_000_000);
    assert_eq!(figure(&single, "ac_drop", "drop_share"), 637_996);

    let beside = "inverter_w = 6000\ninverter_phases = three_phases\nexisting_inverter_w = 3680\n\
        existing_inverter_phases = one_phase\nexisting_inverter_line = l1";
    let both = of(beside);
    assert_eq!(figure(&both, "grid_route", "phase_current"), 24_695_652);
    assert!(forms(&both).contains(&"UK-G99-A") && !forms(&both).contains(&"UK-G98-B"));
    // Its own device carries its own current alone.
    assert_eq!(figure(&both, "ac_device", "next_size"), 10_000_000);

    // On three phases nobody takes an inverter for one of three.
    let open = of("inverter_w = 5000");
    for line in ["grid_route", "ac_device"] {
        assert_eq!(open.line(line).unwrap().verdict(), Verdict::NotDetermined(Why::RatingMissing), "{line}");
        assert!(open.line(line).unwrap().missing.contains(&"inverter_phases"), "{line}");
    }
    let half = of("inverter_w = 5000\ninverter_phases = three_phases\nexisting_inverter_w = 3680");
    let route = half.line("grid_route").unwrap();
    assert!(route.check().is_none() && route.missing.contains(&"existing_inverter_phases"), "{:?}", route.missing);
}

/// What is fed while the network is away is asked for, by the main fuse where no other stands before the changeover unit.
#[test]
fn a_backup_has_a_changeover_and_a_fault_current_of_its_own() {
    let base = "phases = 1\nac_nominal_v = 230\ninverter_w = 5000\nmain_fuse_a = 80\n";
    let of = |place, more: &str| sheet(&Design::parse(&format!("{base}{more}")).unwrap(), &RuleSet::of(place));
    let unit = |more: &str| of(Place::De, more).line("changeover").unwrap().clone();
    let open = unit("");
    assert_eq!(
        (open.verdict(), &open.missing[..]),
        (Verdict::NotDetermined(Why::RequirementOpen), &["backup_output"][..])
    );
    assert_eq!(unit("backup_output = no").verdict(), Verdict::NotApplicable(Why::NoBackup));
    let asked = unit("backup_output = yes");
    assert_eq!(
        (asked.verdict(), &asked.missing[..]),
        (Verdict::NotDetermined(Why::RatingMissing), &["changeover_a"][..])
    );
    let rated = |amperes: &str| unit(&format!("backup_output = yes\nchangeover_a = {amperes}")).verdict();
    assert_eq!((rated("80"), rated("79.999999")), (Verdict::Pass, Verdict::Fail(Why::Overloaded)));
    assert_eq!(unit("backup_output = yes\nchangeover_a = 63\nchangeover_fuse_a = 63").verdict(), Verdict::Pass);

    let island = |more: &str| {
        let breaker = "backup_output = yes\nbackup_breaker_type = b\nbackup_breaker_a = 25\n";
        let line = of(Place::De, &format!("{breaker}{more}")).line("island_fault").unwrap().clone();
        (line.verdict(), line.missing)
    };
    // 1.5 · 5000 / 230 = 32.6 A against 5 · 25 = 125 A.
    assert_eq!(island(""), (Verdict::NotDetermined(Why::RequirementOpen), vec!["has_backup_rcd"]));
    assert_eq!(island("has_backup_rcd = yes"), (Verdict::Pass, vec![]));
    assert_eq!(island("has_backup_rcd = no").0, Verdict::Fail(Why::RequirementNotMet));
    assert_eq!(island("has_backup_rcd = no\ninverter_fault_a = 125").0, Verdict::Pass);
    assert!(of(Place::Us, "backup_output = yes").line("island_fault").is_none());
}

/// 5 kVA on one line of three are too much for it whatever balances the phases; 4 and 2 kVA together are, unless something does.
#[test]
fn inverters_of_a_single_phase_are_held_to_the_unbalance_of_the_place() {
    let of = |place, more: &str| {
        let text = format!("phases = 3\nac_nominal_v = 230\ninverter_phases = one_phase\n{more}");
        sheet(&Design::parse(&text).unwrap(), &RuleSet::of(place)).line("unbalance").cloned()
    };
    let german = |more: &str| {
        let line = of(Place::De, more).unwrap();
        (line.verdict(), line.missing)
    };
    let too_much = (Verdict::Fail(Why::AboveMaximum), vec![]);
    assert_eq!(german("inverter_w = 4600"), (Verdict::Pass, vec![]));
    assert_eq!(german("inverter_w = 5000\nhas_balancing = yes"), too_much);
    let two = "inverter_w = 4000\nexisting_inverter_w = 2000\nexisting_inverter_phases = one_phase\n";
    assert_eq!(german(two), (Verdict::NotDetermined(Why::RequirementOpen), vec!["has_balancing"]), "on the same line");
    assert_eq!(german(&format!("{two}has_balancing = no")), too_much);
    assert_eq!(german(&format!("{two}has_balancing = yes")).0, Verdict::Pass);
    assert_eq!(german(&format!("{two}inverter_line = l1\nexisting_inverter_line = l2")).0, Verdict::Pass);
    assert!(of(Place::Uk, two).is_none(), "no figure there");
}

/// 1.25 · 40 A on a 200 A busbar behind a 200 A main are too much, and 1.25 · 32 A are not; the breaker must still bear 40 A.
#[test]
fn a_power_control_system_caps_the_sources_on_the_busbar() {
    let (mut design, sheet_now) = checked(2);
    assert_eq!(sheet_now.line("busbar").unwrap().verdict(), Verdict::Fail(Why::BusbarOverloaded));
    design.set("control_cap_a", 32_000_000).set("ac_breaker_a", 45_000_000);
    let capped = sheet(&design, &RuleSet::of(Place::Us));
    assert_eq!(capped.line("busbar").unwrap().verdict(), Verdict::Pass);
    assert_eq!(capped.line("ac_device").unwrap().verdict(), Verdict::Fail(Why::FuseTooSmall));
    // Only the rule of the United States knows such a thing.
    let elsewhere = |design: &Design| sheet(design, &RuleSet::of(Place::Neutral)).line("busbar").cloned();
    let mut without = design.clone();
    without.clear("control_cap_a");
    assert_eq!(elsewhere(&design), elsewhere(&without));
}

/// The rise of one percent and the factor on the DC fuse are figures of ours; the same in a standard is none.
#[test]
fn a_fail_that_no_standard_asks_for_is_told_apart() {
    let by_house = |place, text: &str, key: &str| {
        let sheet = sheet(&Design::parse(text).unwrap(), &RuleSet::of(place));
        let line = sheet.line(key).unwrap();
        assert!(matches!(line.verdict(), Verdict::Fail(_)), "{place:?} {key}: {:?}", line.verdict());
        line.fails_by_house_figure()
    };
    let far = "phases = 1\nac_nominal_v = 230\ninverter_w = 3680\nac_cable_size_mm2 = 2.5\nac_cable_length_m = 200";
    assert!(by_house(Place::Uk, far, "ac_drop"));
    assert!(!by_house(Place::Neutral, far, "ac_drop"));
    assert!(by_house(Place::Au, DESIGNS[1].1, "dc_fuse"));
    let full = "phases = 1\nac_nominal_v = 230\ninverter_w = 3680\nbusbar_a = 63\nmain_fuse_a = 63\nac_breaker_a = 20";
    assert_eq!((by_house(Place::Uk, full, "busbar"), by_house(Place::De, full, "busbar")), (false, true));
    assert!(!by_house(Place::Uk, DESIGNS[0].1, "UK-1M"));
}

#[test]
fn the_limits_judge_what_is_measured() {
    let (_, sheet) = checked(0);
    let judged = |key: &str, unit, micro| {
        let check = sheet.line(key).unwrap().check().unwrap();
        check.judge_reading(&ParsedReading::exact(Quantity::of(unit, micro)))
    };
    // 16 mm², 9 m, 15 °C, two joints: 0.051162 Ω; B20 cold: 1.748 Ω.
    assert_eq!(judged("pe_continuity", Unit::Ohm, 51_162), Verdict::Pass);
    assert_eq!(judged("pe_continuity", Unit::Ohm, 51_163), Verdict::Fail(Why::AboveMaximum));
    assert_eq!(judged("loop_measured", Unit::Ohm, 1_748_000), Verdict::Pass);
    assert_eq!(judged("loop_measured", Unit::Ohm, 1_748_001), Verdict::Fail(Why::AboveMaximum));
    assert_eq!(judged("UK-RCD-1", Unit::Second, 300_001), Verdict::Fail(Why::AboveMaximum));
    let (_, australian) = checked(1);
    let waited = australian.line("discharge").unwrap().check().unwrap();
    let reading = |seconds| ParsedReading::exact(Quantity::whole(Unit::Second, seconds));
    assert_eq!(waited.judge_reading(&reading(299)), Verdict::Fail(Why::BelowMinimum));
    assert_eq!(waited.judge_reading(&reading(300)), Verdict::Pass);
}

#[test]
fn as_built_differs_from_planned() {
    let (planned, _) = checked(1);
    let mut built = planned.clone();
    built.set("dc_fuse_a", 40_000_000).set("ac_cable_length_m", 26_000_000).set("opening_distance_m", 620_000);
    built.set("pe_length_m", 26_000_000).clear("has_wall_barrier");
    let found = differences(&planned, &built, &RuleSet::of(Place::Au));
    assert_eq!(
        found.plain_text(),
        "rules au-nz 1\n\
         ac_cable_length_m: 16 m -> 26 m\n\
         dc_fuse_a: 32 A -> 40 A\n\
         has_wall_barrier: 1 -> -\n\
         opening_distance_m: 0.55 m -> 0.62 m\n\
         pe_length_m: 16 m -> 26 m\n\
         dc_fuse: Fail(FuseTooSmall) -> Pass\n\
         ac_drop: Pass -> Fail(DropTooHigh)\n\
         AU-600-WIN: Fail(TooClose) -> Pass\n\
         AU-BAR: Pass -> NotDetermined(RequirementOpen)\n\
         pe_continuity: at most 0.083221 Ω -> at most 0.103984 Ω\n"
    );
    assert_eq!(found.built.missing, ["has_wall_barrier"]);
}

#[test]
fn a_firm_that_tightened_its_rules_finds_more() {
    use domain::electrical::rule_set::Change;
    let (design, _) = checked(1);
    let change = Change { rule: "AU-900-UP".to_owned(), micro: 1_200_000, reason: String::new() };
    let rules = RuleSet::of(Place::Au).adapted(2, &[change]).unwrap();
    let sheet = sheet(&design, &rules);
    assert_eq!(sheet.rules, "au 1 firm 2");
    assert_eq!(failed(&sheet), ["dc_fuse", "AU-600-WIN", "AU-900-UP"]);
}

#[test]
fn drawings_are_whole() {
    for index in 0..3 {
        let (design, sheet) = checked(index);
        for svg in [single_line(&design, &sheet), stack_drawing(&design, &sheet)] {
            assert!(svg.starts_with("<svg ") && svg.ends_with("</svg>"));
            assert_eq!(svg.matches("<text").count(), svg.matches("</text>").count());
            assert!(!svg.contains("NaN") && !svg.contains("#"));
        }
    }
}

mod properties {
    use super::*;
    use proptest::prelude::*;

    const CABLES: [i64; 12] =
        [1_500, 2_500, 4_000, 6_000, 10_000, 16_000, 25_000, 35_000, 50_000, 70_000, 95_000, 120_000];

    fn verdict(design: &Design, rules: &RuleSet, key: &str) -> Verdict {
        sheet(design, rules).line(key).unwrap().verdict()
    }

    fn next_smaller(size: i64) -> Option<i64> {
        CABLES.iter().map(|thousandths| thousandths * 1_000).rev().find(|smaller| *smaller < size)
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

        /// What is suggested passes, and the next smaller size does not.
        #[test]
        fn a_suggested_cable_is_the_smallest(metres in 1_i64..80, watts in 1_000_i64..10_000, dc_metres in 1_i64..12) {
            for (index, (place, text, _)) in DESIGNS.into_iter().enumerate() {
                let rules = RuleSet::of(place);
                let mut design = Design::parse(text).unwrap();
                design.set("ac_cable_length_m", metres * 1_000_000).set("inverter_w", watts * 1_000_000);
                design.set("dc_cable_length_m", dc_metres * 1_000_000).clear("ac_protective_core_mm2");
                let suggested = sheet(&design, &rules).suggestions;
                for (field, keys) in [("dc_cable_size_mm2", &["dc_drop"][..]), ("ac_cable_size_mm2", &["ac_drop", "loop_planned"][..])] {
                    let Some(one) = suggested.iter().find(|one| one.field == field) else { continue };
                    let passes = |size: i64| {
                        let mut tried = design.clone();
                        tried.set(field, size);
                        let sheet = sheet(&tried, &rules);
                        keys.iter().filter_map(|key| sheet.line(key)).all(|line| line.verdict() == Verdict::Pass)
                    };
                    prop_assert!(passes(one.value.micro), "{index} {field} {}", one.value);
                    if let Some(smaller) = next_smaller(one.value.micro) {
                        prop_assert!(!passes(smaller), "{index} {field}: {smaller} would do");
                    }
                }
            }
        }

        /// Devices of the suggested rating are not too small, and the number of modules fits the window.
        #[test]
        fn suggested_devices_fit(watts in 1_000_i64..9_000, modules in 1_i64..20) {
            let rules = RuleSet::of(Place::Au);
            let mut design = Design::parse(DESIGNS[1].1).unwrap();
            design.set("inverter_w", watts * 1_000_000).set("modules", modules * 1_000_000);
            for one in sheet(&design, &rules).suggestions {
                let mut taken = design.clone();
                taken.set(one.field, one.value.micro);
                let key = match one.field {
                    "dc_fuse_a" => "dc_fuse",
                    "ac_breaker_a" => "ac_device",
                    "modules" => "stack_window",
                    "rcd_type" => "rcd_type",
                    "pe_size_mm2" => "pe_size",
                    "ac_protective_core_mm2" => "ac_pe_size",
                    _ => continue,
                };
                let outcome = verdict(&taken, &rules, key);
                let small = matches!(outcome, Verdict::Fail(Why::FuseTooSmall | Why::BelowWindow | Why::AboveWindow
                    | Why::RcdTypeUnsuitable | Why::ConductorTooSmall));
                prop_assert!(!small, "{} = {}: {outcome:?}", one.field, one.value);
            }
        }

        /// A longer cable never mends a drop, and a greater distance never spoils one.
        #[test]
        fn more_of_a_bad_thing_is_no_better(first in 1_i64..100, more in 0_i64..100, near in 0_i64..3_000, further in 0_i64..3_000) {
            let rules = RuleSet::of(Place::Uk);
            let mut design = Design::parse(DESIGNS[0].1).unwrap();
            let mut at = |key: &str, micro: i64, line: &str| {
                design.set(key, micro);
                verdict(&design, &rules, line) == Verdict::Pass
            };
            let (short, long) = (at("ac_cable_length_m", first * 1_000_000, "ac_drop"), at("ac_cable_length_m", (first + more) * 1_000_000, "ac_drop"));
            prop_assert!(short || !long);
            let (close, far) = (at("opening_distance_m", near * 1_000, "UK-1M"), at("opening_distance_m", (near + further) * 1_000, "UK-1M"));
            prop_assert!(far || !close);
        }

        /// What is not there never passes: leaving any figure out makes no check better.
        #[test]
        fn leaving_out_never_passes_more(index in 0..3_usize, field in 0..domain::design::FIELDS.len()) {
            let (place, text, _) = DESIGNS[index];
            let rules = RuleSet::of(place);
            let design = Design::parse(text).unwrap();
            let key = domain::design::FIELDS[field].key;
            let mut without = design.clone();
            without.clear(key);
            let (before, after) = (sheet(&design, &rules), sheet(&without, &rules));
            for line in after.lines.iter().filter(|line| line.verdict() == Verdict::Pass) {
                // Optional burdens: without them there is less to bear, and nobody claims otherwise.
                const BURDENS: [&str; 12] = ["existing_inverter_w", "existing_breaker_a", "energy_elsewhere_wh", "charge_current_a",
                    "push_factor", "runtime_wanted_s", "inverter_standby_w", "arc_enclosed", "transport_modules", "load_1_w", "load_2_w", "load_3_w"];
                if BURDENS.contains(&key) {
                    continue;
                }
                let was = before.line(line.key).map(|line| line.verdict());
                prop_assert!(was == Some(Verdict::Pass) || was.is_none(), "without {key}, {} passes; it was {was:?}", line.key);
            }
        }
    }
}
