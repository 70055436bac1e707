//! Lawful work comes to its end where the usual evidence cannot be given: the method has an answer for it, or a lead allows the
//! deviation. Each case is played from the first to the last step.
#![cfg(feature = "methods")]
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

mod built_in;
mod rehearsal;

use domain::design::{Design, Following};
use domain::electrical::rule_set::{Place as Country, RuleSet};
use domain::ids::EntryId;
use domain::job_file::body::*;
use domain::job_file::{Body, Place, fold};
use domain::method::gate::{Answer, Plan};
use domain::method::load::compose;
use domain::method::plan::Method;
use rehearsal::{DESIGN, id, lead, opening, photo_file, rehearse, tech, ways};
use std::collections::{BTreeMap, BTreeSet};

/// What is there in place of the usual evidence.
#[derive(Clone, Copy)]
enum There {
    /// A value, in millionths.
    Value(i64),
    /// Nobody could measure.
    NotTested,
    /// No picture.
    Nothing,
    /// The usual: what it is compared with is not there.
    Usual,
}
use There::{NotTested, Nothing, Usual, Value};

#[derive(Default)]
struct Case {
    method: &'static str,
    /// Answers to choices, as `STEP REQUIREMENT OPTION`.
    chosen: &'static [&'static str],
    /// Figures of the design that differ; `None` where nobody has one.
    design: &'static [(&'static str, Option<i64>)],
    /// Evidence that differs, as `STEP REQUIREMENT`.
    there: &'static [(&'static str, There)],
    /// Where the lead allows a deviation once the evidence does not do; all of them are needed.
    allowed: &'static [&'static str],
}

fn method(name: &str) -> Method {
    compose(name, built_in::FILES).unwrap_or_else(|fault| panic!("{fault}")).method
}

fn key(place: &Place) -> String {
    format!("{} {}", place.step, place.requirement)
}

/// Plays the case; says where the job stands still.
fn play(case: &Case, figures: Vec<(String, i64)>) -> Result<(), String> {
    let method = method(case.method);
    let plan = Plan::of(&method);
    let way = ways(&method).remove(1);
    let mut options = way.options;
    for words in case.chosen {
        let [step, requirement, option] = words.split(' ').collect::<Vec<_>>()[..] else { panic!("{words}") };
        options.insert((step.to_owned(), requirement.to_owned()), option.to_owned());
    }
    let there: BTreeMap<&str, There> = case.there.iter().copied().collect();
    let mut log = opening(&method, 1);
    let mut values = figures;
    values.sort();
    log.write(lead(), EntryId::of(id(80, 1)), Body::DesignInputs(DesignInputs { values }));

    let (mut made, mut asked) = (0, 0);
    let mut said_at: BTreeMap<Place, usize> = BTreeMap::new();
    let mut allowed: BTreeSet<&str> = BTreeSet::new();
    loop {
        let mut lines = Vec::new();
        {
            let mut state = fold(&log.file, &plan);
            if let Some((id, breach)) = state.open_breaches().next() {
                return Err(format!("a breach: {id:?} {breach:?}"));
            }
            let unfinished = state.gate.unfinished();
            if unfinished.is_empty() {
                let left: Vec<&&str> = case.allowed.iter().filter(|words| !allowed.contains(**words)).collect();
                return if left.is_empty() { Ok(()) } else { Err(format!("needed no deviation: {left:?}")) };
            }
            for at in unfinished {
                if !state.gate.obstacles(at).is_empty() {
                    continue;
                }
                let view = state.gate.view(at);
                for (requirement, answer) in view.step.requirements.iter().zip(&view.answers) {
                    let place = state.gate.place(at, requirement.id());
                    let words = key(&place);
                    let is_there = answer.is_bad() || matches!(there.get(&*words), Some(Nothing));
                    let may = case.allowed.iter().find(|own| **own == words);
                    if let Some(own) = may.filter(|_| is_there && !matches!(answer, Answer::DeviationAllowed { .. })) {
                        asked += 1;
                        let (remark, request) = (EntryId::of(id(81, asked)), EntryId::of(id(82, asked)));
                        let why = Remark { at: Some(place.clone()), text: "why".into() };
                        let photo = photo_file(8_000_000 + asked);
                        lines.push((tech(), remark, Body::Remark(why)));
                        let body = DeviationAsked { at: place, remark, photo, preview: None };
                        lines.push((tech(), request, Body::DeviationAsked(body)));
                        let word = DeviationDecided { asked: request, allowed: true, remark: None };
                        lines.push((lead(), EntryId::of(id(83, asked)), Body::DeviationDecided(word)));
                        allowed.insert(own);
                    }
                }
                for one in rehearse(&mut made, at, &mut state.gate) {
                    let mut body = one.body;
                    if let Some(place) = body.evidence_place().cloned() {
                        let words = key(&place);
                        let already = said_at.entry(place).or_default();
                        *already += 1;
                        let may = case.allowed.contains(&words.as_str());
                        // A step of photos asks for several at one place; nothing is asked for more often than that.
                        if (may && *already > 1) || matches!(there.get(&*words), Some(Nothing)) {
                            continue;
                        }
                        if *already > 9 {
                            return Err(format!("{words}: {:?}", state.gate.view(at).answers));
                        }
                        match (&mut body, there.get(&*words)) {
                            (Body::Reading(reading), Some(Value(micro))) => {
                                reading.raw = micro.to_string();
                                reading.micro = Some(*micro);
                            }
                            (Body::Reading(reading), Some(NotTested)) => {
                                (reading.micro, reading.quality) = (None, ReadingQuality::NotTested);
                            }
                            (Body::Choice(choice), _) => {
                                let at = (choice.at.step.clone(), choice.at.requirement.clone());
                                if let Some(option) = options.get(&at) {
                                    choice.option.clone_from(option);
                                }
                            }
                            _ => {}
                        }
                    }
                    lines.push((tech(), one.id, body));
                }
            }
            if lines.is_empty() {
                let open = state.gate.unfinished().into_iter().find(|at| state.gate.obstacles(*at).is_empty());
                let view = open.map(|at| state.gate.view(at));
                return Err(format!("nothing more can be done: {:?}", view.map(|v| (v.step.id.clone(), v.answers))));
            }
        }
        for (who, entry, body) in lines {
            log.write(who, entry, body);
        }
    }
}

fn figures(case: &Case) -> Vec<(String, i64)> {
    figures_with(case.design)
}

fn figures_with(other: &[(&'static str, Option<i64>)]) -> Vec<(String, i64)> {
    let mut all: BTreeMap<&str, i64> = DESIGN.into_iter().collect();
    for (key, value) in other {
        match value {
            Some(value) => all.insert(key, *value),
            None => all.remove(key),
        };
    }
    all.into_iter().map(|(key, value)| (key.to_owned(), value)).collect()
}

fn comes_to_its_end(case: &Case) {
    play(case, figures(case)).unwrap_or_else(|why| panic!("{}: {why}", case.method));
}

const STACK: &str = "series-stack-floor.toml";
const BACKUP: &str = "install-with-backup.toml";
const FUSE: &str = "replace-fuse.toml";
const HYBRID: &str = "hybrid-inverter.toml";

#[test]
fn a_place_without_a_rule_on_stored_energy_needs_no_invented_one() {
    let mut without = 0;
    let mut played = BTreeSet::new();
    for country in Country::ALL {
        for location in ["indoor", "detached_garage", "outdoor_wall"] {
            let rules = RuleSet::of(country);
            let case = Case { method: STACK, design: &[("energy_limit_wh", None)], ..Case::default() };
            let planned = Design::parse(&format!("location_kind = {location}")).unwrap();
            let own = planned.values().map(|(key, micro)| (key.to_owned(), micro));
            let asked = method(case.method).design;
            let following = Following { equipment: None, rules: &rules, asked: &asked };
            let all = following.completed(&figures(&case).into_iter().chain(own).collect::<Vec<_>>());
            without += usize::from(all.iter().all(|(key, _)| key != "energy_limit_wh"));
            // Places that come to the same figures are one case.
            if !played.insert(all.clone()) {
                continue;
            }
            play(&case, all).unwrap_or_else(|why| panic!("{country:?} {location}: {why}"));
        }
    }
    assert!(without >= 9, "{without}");
}

#[test]
fn where_nobody_said_where_it_stands_no_limit_is_no_permission() {
    let case = Case { method: STACK, design: &[("energy_limit_wh", None)], ..Case::default() };
    let why = play(&case, figures(&case)).unwrap_err();
    assert!(why.contains("design-check"), "{why}");
}

#[test]
fn a_module_that_shows_no_charge_on_the_bench() {
    comes_to_its_end(&Case {
        method: STACK,
        there: &[("module-charge soc", NotTested)],
        allowed: &["module-charge soc", "match-modules spread"],
        ..Case::default()
    });
}

#[test]
fn a_module_without_voltage_until_its_control_unit_wakes_it() {
    comes_to_its_end(&Case {
        method: STACK,
        there: &[("module-voltage ocv", Value(0))],
        allowed: &["module-voltage ocv"],
        ..Case::default()
    });
    comes_to_its_end(&Case {
        method: STACK,
        there: &[("module-voltage ocv", NotTested)],
        allowed: &[
            "module-voltage ocv",
            "match-modules spread",
            "link-module voltage",
            "dc-polarity stack",
            "dc-at-inverter voltage",
        ],
        ..Case::default()
    });
}

#[test]
fn cells_that_can_be_read_only_with_the_inverter_running() {
    comes_to_its_end(&Case {
        method: STACK,
        there: &[("battery-on cell-low", NotTested), ("battery-on cell-high", NotTested)],
        allowed: &["battery-on cell-low", "battery-on cell-high"],
        ..Case::default()
    });
}

#[test]
fn a_backup_on_a_tn_supply_where_no_code_asks_for_an_electrode() {
    for earthing in [
        &["ac-side earthing tn-s", "changeover-fit electrode not-asked"],
        &["ac-side earthing tn-c-s", "changeover-fit electrode not-asked"],
    ] {
        comes_to_its_end(&Case {
            method: BACKUP,
            chosen: earthing,
            design: &[("electrode_max_ohm", None)],
            ..Case::default()
        });
    }
    // Where one is asked for and nobody planned its limit, the lead decides.
    comes_to_its_end(&Case {
        method: BACKUP,
        chosen: &["ac-side earthing tn-c-s", "changeover-fit electrode asked"],
        design: &[("electrode_max_ohm", None)],
        there: &[("backup-electrode resistance", Usual)],
        allowed: &["backup-electrode resistance"],
    });
}

#[test]
fn a_loop_above_the_breakers_limit_where_the_residual_current_device_disconnects() {
    let case = Case {
        method: STACK,
        chosen: &["supply loop-verdict rcd-disconnects"],
        there: &[("supply loop", Value(20_000_000))],
        ..Case::default()
    };
    comes_to_its_end(&case);
    // 50 V / 30 mA = 1666.67 Ω: above it no residual-current device helps, and without one the breaker's limit holds.
    let high = Case { there: &[("supply loop", Value(1_700_000_000))], ..case };
    assert!(play(&high, figures(&high)).unwrap_err().contains("supply loop"));
    let breaker = Case { method: STACK, there: &[("supply loop", Value(20_000_000))], ..Case::default() };
    assert!(play(&breaker, figures(&breaker)).unwrap_err().contains("supply loop"));
}

#[test]
fn a_bus_with_another_termination() {
    comes_to_its_end(&Case {
        method: STACK,
        there: &[("bus-termination resistance", Value(120_000_000))],
        allowed: &["bus-termination resistance"],
        ..Case::default()
    });
}

#[test]
fn modules_that_are_linked_by_being_placed() {
    comes_to_its_end(&Case {
        method: STACK,
        there: &[("place-module photo", Nothing), ("link-module photo", Nothing), ("link-module torque", NotTested)],
        allowed: &["place-module photo", "link-module photo", "link-module torque"],
        ..Case::default()
    });
}

#[test]
fn an_earth_conductor_whose_computed_limit_the_meter_cannot_show() {
    comes_to_its_end(&Case {
        method: STACK,
        design: &[("pe_size_mm2", Some(16_000_000)), ("pe_length_m", Some(3_000_000))],
        there: &[("pe-continuity resistance", Value(50_000)), ("pe-continuity-module resistance", Value(70_000))],
        allowed: &["pe-continuity resistance", "pe-continuity-module resistance"],
        ..Case::default()
    });
}

#[test]
fn an_island_whose_frequency_an_ac_coupled_inverter_follows() {
    let case = Case {
        method: BACKUP,
        chosen: &["island-supply makers ac-coupled"],
        there: &[("island-supply frequency", Value(51_500_000))],
        ..Case::default()
    };
    comes_to_its_end(&case);
    let alone = Case { chosen: &[], ..case };
    assert!(play(&alone, figures(&alone)).unwrap_err().contains("island-supply"));
}

/// A house without anything before, without PV, on two lines, the inverter screwed to studs.
const BARE: &[&str] = &[
    "former-inverter before none",
    "inverter-wired wired none",
    "inverter-anchors anchors studs",
    "pv-plan joined none",
    "find-sources pv no",
    "find-sources phases split",
    "isolate-supply phases split",
    "ac-side rcd by-design-none",
];

#[test]
fn a_first_inverter_without_strings_on_studs_and_two_lines() {
    let case = Case { method: HYBRID, chosen: BARE, ..Case::default() };
    comes_to_its_end(&case);
    // Where no rule bounds the loop and the lead has no figure, a reading alone opens nothing and the lead's word does.
    let unbound = Case { design: &[("loop_max_ohm", None)], ..case };
    assert!(play(&unbound, figures(&unbound)).unwrap_err().contains("supply loop"));
    let there = &[("supply loop", Value(300_000))];
    comes_to_its_end(&Case { there, allowed: &["supply loop"], ..unbound });
}

/// The app has no table for conductors by gauge: without their maker's resistance nothing is judged, with it all is.
#[test]
fn conductors_by_gauge_with_the_resistance_of_their_maker() {
    const SIZES: [(&str, Option<i64>); 3] = [
        ("pe_size_mm2", Some(5_261_000)),
        ("dc_cable_size_mm2", Some(13_300_000)),
        ("ac_protective_core_mm2", Some(5_261_000)),
    ];
    let unknown = Case { method: HYBRID, design: &SIZES, ..Case::default() };
    assert!(play(&unknown, figures(&unknown)).is_err());
    let stated = [
        SIZES[0],
        SIZES[1],
        SIZES[2],
        ("pe_ohm_per_km", Some(3_277_000)),
        ("dc_cable_ohm_per_km", Some(1_296_000)),
        ("ac_pe_ohm_per_km", Some(3_277_000)),
        ("ac_cable_size_mm2", Some(8_367_000)),
    ];
    play(&Case { method: HYBRID, ..Case::default() }, figures_with(&stated)).unwrap_or_else(|why| panic!("{why}"));
}

/// A limit that a standard gives shuts until a lead has said why not; a bad value of a step without exceptions shuts for good.
#[test]
fn what_proves_dead_is_never_allowed_away() {
    let case = Case {
        method: STACK,
        there: &[("prove-dead-dc plus-minus", Value(230_000_000))],
        allowed: &["prove-dead-dc plus-minus"],
        ..Case::default()
    };
    assert!(play(&case, figures(&case)).unwrap_err().contains("StopWorkStep"));
}

/// It moves only with power on, and everything is dead: its bond shows in the island.
#[test]
fn a_relay_is_not_moved_by_force_to_prove_its_bond() {
    let there = &[("neutral-earth-by-hand closed", Nothing), ("neutral-earth-by-hand photo", Nothing)];
    let with = |chosen| Case { method: BACKUP, chosen, there, ..Case::default() };
    comes_to_its_end(&with(&["neutral-earth-bond arrangement relay"]));
    comes_to_its_end(&with(&["neutral-earth-bond arrangement neutral-kept"]));
    let case = with(&["neutral-earth-bond arrangement by-hand"]);
    let why = play(&case, figures(&case)).unwrap_err();
    assert!(why.contains("neutral-earth-by-hand"), "{why}");
    // A bond that is not there is found where it can be measured.
    let no_bond = &[("island-supply n-pe", Value(110_000_000))];
    let case =
        Case { there: no_bond, chosen: &["neutral-earth-bond arrangement relay"], method: BACKUP, ..Case::default() };
    assert!(play(&case, figures(&case)).unwrap_err().contains("island-supply"));
}

#[test]
fn a_fuse_in_the_control_unit_and_one_that_is_not_blown() {
    let battery_side =
        &[("prove-dead-fuse plus-battery-minus-battery", Nothing), ("prove-dead-fuse plus-battery-e", Nothing)];
    let case = |chosen, there| Case { method: FUSE, chosen, there, ..Case::default() };
    comes_to_its_end(&case(&["fault-record fuses control-unit"], battery_side));
    let stuck = |case: &Case| play(case, figures(case)).unwrap_err();
    // With a holder of their own that side is proved dead like the other.
    let why = stuck(&case(&["fault-record fuses holder"], battery_side));
    assert!(why.contains("prove-dead-fuse"), "{why}");
    // What stays live is measured and shrouded before a hand goes near.
    let why = stuck(&case(&["fault-record fuses control-unit"], &[("shroud-battery-side plus-e", Nothing)]));
    assert!(why.contains("shroud-battery-side"), "{why}");
    let why = stuck(&case(&["fault-record fuses control-unit", "shroud-battery-side shroud open"], &[]));
    assert!(why.contains("shroud-battery-side"), "{why}");
    // The link that was parted comes back with its torque before anything is switched on.
    let why = stuck(&case(&["fault-record fuses control-unit"], &[("join-stack torque", Nothing)]));
    assert!(why.contains("join-stack"), "{why}");
    // Whatever somebody found at the inverter's terminals, the battery is locked off.
    let why = stuck(&case(&["find-sources battery no"], &[("isolate-battery photo", Nothing)]));
    assert!(why.contains("isolate-battery"), "{why}");
    // A shorted input blows the next fuse as well.
    let why = stuck(&case(&["inverter-input input shorted"], &[]));
    assert!(why.contains("inverter-input"), "{why}");
    // Neither is blown: the visit goes on, and the print of what goes back is read all the same.
    comes_to_its_end(&case(&["take-out-fuses blown none"], &[]));
    let why = stuck(&case(&["take-out-fuses blown none"], &[("new-fuses photo", Nothing)]));
    assert!(why.contains("new-fuses"), "{why}");
}
