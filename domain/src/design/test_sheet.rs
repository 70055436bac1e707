//! The order of the dead and live tests of a job, with what is disconnected for each, and what a failure opens again.
//!
//! IEC 60364-6:2016, 6.4.3: inspection first, then continuity, insulation, separation and polarity with everything dead;
//! then, live, disconnection, residual-current devices, phase sequence and function. A failed test is repeated with every
//! test that it may have influenced.

use super::inputs::{Design, NEW};
use super::sheet::Sheet;

/// Before or after the first power-up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stage {
    Dead,
    Live,
}

/// What a test belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Circuit {
    /// Protective conductors and bonding: every other circuit relies on them.
    Protective,
    Direct,
    Alternating,
    Communication,
    /// Fed by the inverter while the network is away.
    Island,
}

/// One test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Test {
    pub key: &'static str,
    pub stage: Stage,
    pub circuit: Circuit,
    /// What must be unplugged or taken out first.
    pub disconnect: &'static [&'static str],
    /// The limit among [`Sheet::limits`], where the test has one.
    pub limit: Option<&'static str>,
}

impl Test {
    /// Steps and requirements at which the built-in methods record it; a method of the firm's own that keeps these names is
    /// read too. Empty: it is written down by hand.
    pub fn read_at(&self) -> &'static [(&'static str, &'static str)] {
        match self.key {
            "continuity" => &[("pe-continuity", "resistance"), ("pe-continuity-module", "resistance")],
            "insulation_dc" => {
                &[("dc-cable-test", "plus-minus"), ("dc-cable-test", "plus-e"), ("dc-cable-test", "minus-e")]
            }
            "insulation_ac" => &[("ac-insulation", "live-e"), ("backup-insulation", "live-e")],
            "polarity_dc" => &[("dc-polarity", "stack"), ("dc-polarity", "inverter"), ("dc-polarity", "polarity")],
            "separation" => &[("separation", "data-e")],
            "polarity_ac" => &[("ac-polarity", "polarity")],
            "bus_termination" => &[("bus-termination", "resistance")],
            "electrode" => &[("electrode", "resistance")],
            "loop_measured" => &[("supply", "loop"), ("supply", "loop-verdict")],
            "phase_sequence" => &[("phase-sequence", "sequence")],
            "network_loss" => &[("loss-of-grid", "stop-time")],
            // A bond that a relay makes is not there while everything is dead: it shows in the island.
            "island_neutral_link" => {
                &[("neutral-earth-bond", "open"), ("neutral-earth-by-hand", "closed"), ("island-supply", "n-pe")]
            }
            "island_protection" => &[("island-protection", "trip-time"), ("island-protection", "fault")],
            trip if trip.ends_with(RATED_TRIP) => &[("rcd-test", "trip-time")],
            trip if trip.ends_with(DOUBLE_TRIP) => &[("rcd-twice", "trip-time")],
            trip if trip.ends_with(FIVEFOLD_TRIP) => &[("rcd-five-times", "trip-time")],
            _ => &[],
        }
    }
}

/// How the rules for the trip times are named in every rule set: at the rated residual current, at twice and at five times.
const RATED_TRIP: &str = "-RCD-1";
const DOUBLE_TRIP: &str = "-RCD-2";
const FIVEFOLD_TRIP: &str = "-RCD-5";

const fn dead(
    key: &'static str,
    circuit: Circuit,
    disconnect: &'static [&'static str],
    limit: Option<&'static str>,
) -> Test {
    Test { key, stage: Stage::Dead, circuit, disconnect, limit }
}

const fn live(key: &'static str, circuit: Circuit, limit: Option<&'static str>) -> Test {
    Test { key, stage: Stage::Live, circuit, disconnect: &[], limit }
}

const DEAD: [Test; 7] = [
    dead("continuity", Circuit::Protective, &[], Some("pe_continuity")),
    dead("insulation_dc", Circuit::Direct, &["battery", "inverter", "surge_protection"], Some("insulation_dc")),
    dead("insulation_ac", Circuit::Alternating, &["inverter", "meter", "surge_protection"], Some("insulation_ac")),
    dead("separation", Circuit::Communication, &["both_ends"], Some("insulation_comms")),
    dead("polarity_dc", Circuit::Direct, &[], None),
    dead("polarity_ac", Circuit::Alternating, &[], None),
    dead("bus_termination", Circuit::Communication, &["power"], Some("bus_termination")),
];

/// The tests of a design, in the order in which they are made.
pub fn test_sheet(design: &Design, sheet: &Sheet) -> Vec<Test> {
    let mut tests = DEAD.to_vec();
    let known = |key: &str| sheet.limits.iter().any(|line| line.key == key);
    for limit in ["electrode", "loop_measured"] {
        if known(limit) {
            tests.push(live(limit, Circuit::Alternating, Some(limit)));
        }
    }
    let trips = sheet.limits.iter().filter(|line| line.check().is_some_and(|check| check.id == "F11"));
    tests.extend(trips.map(|line| live(line.key, Circuit::Alternating, Some(line.key))));
    // An inverter of a single phase has no sequence.
    if design.whole("phases") == Some(3) && design.inverter_phases(NEW) != Some(1) {
        tests.push(live("phase_sequence", Circuit::Alternating, None));
    }
    tests.push(live("network_loss", Circuit::Alternating, None));
    if design.has_backup() == Some(true) {
        tests.push(live("island_neutral_link", Circuit::Island, None));
        tests.push(live("island_protection", Circuit::Island, None));
    }
    tests
}

/// The tests to make (again) after one failed: itself, those on its circuit that it may have influenced, before and after,
/// and, when it was a dead test, everything live. A failed protective conductor opens all.
pub fn opened_again(tests: &[Test], failed: &str) -> Vec<&'static str> {
    let Some(failed) = tests.iter().find(|test| test.key == failed) else { return Vec::new() };
    let influenced = |test: &&Test| {
        failed.circuit == Circuit::Protective
            || test.circuit == failed.circuit
            || (failed.stage == Stage::Dead && test.stage == Stage::Live)
            // What is repaired on the network's side feeds the island too.
            || (failed.circuit == Circuit::Alternating && test.circuit == Circuit::Island)
    };
    tests.iter().filter(influenced).map(|test| test.key).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::design::sheet;
    use crate::electrical::rule_set::{Place, RuleSet};

    fn tests_of(place: Place, text: &str) -> Vec<Test> {
        let design = Design::parse(text).expect("well formed");
        test_sheet(&design, &sheet(&design, &RuleSet::of(place)))
    }

    fn keys(tests: &[Test]) -> Vec<&'static str> {
        tests.iter().map(|test| test.key).collect()
    }

    #[test]
    fn dead_comes_before_live_in_the_order_of_the_standard() {
        let tests = tests_of(
            Place::Neutral,
            "phases = 3\nload_1_w = 100\nac_breaker_type = b\nac_breaker_a = 16\nac_nominal_v = 230",
        );
        assert!(tests.windows(2).all(|pair| pair[0].stage <= pair[1].stage));
        assert_eq!(
            keys(&tests),
            [
                "continuity",
                "insulation_dc",
                "insulation_ac",
                "separation",
                "polarity_dc",
                "polarity_ac",
                "bus_termination",
                "loop_measured",
                "IEC-RCD-1",
                "IEC-RCD-2",
                "IEC-RCD-5",
                "phase_sequence",
                "network_loss",
                "island_neutral_link",
                "island_protection",
            ]
        );
    }

    #[test]
    fn the_place_and_the_earthing_decide_the_live_tests() {
        let sequence =
            |more: &str| keys(&tests_of(Place::De, &format!("phases = 3\n{more}"))).contains(&"phase_sequence");
        assert!(sequence("inverter_phases = three_phases") && sequence(""), "until it is known");
        assert!(!sequence("inverter_phases = one_phase"));
        let american = tests_of(Place::Us, "phases = 1");
        assert!(!keys(&american).contains(&"loop_measured"));
        let tt = tests_of(Place::De, "earthing = tt\nphases = 1");
        assert!(keys(&tt).contains(&"electrode") && !keys(&tt).contains(&"loop_measured"));
    }

    #[test]
    fn a_trip_time_is_told_by_the_name_of_its_rule() {
        for place in Place::ALL {
            for rule in RuleSet::of(place).about(crate::electrical::rule_set::Topic::RcdTime) {
                for (end, multiple) in [(RATED_TRIP, "1"), (DOUBLE_TRIP, "2"), (FIVEFOLD_TRIP, "5")] {
                    assert_eq!(rule.id.ends_with(end), rule.about == multiple, "{}", rule.id);
                }
            }
        }
    }

    #[test]
    fn every_limit_of_a_test_is_on_the_sheet() {
        for place in Place::ALL {
            let design = Design::new();
            let sheet = sheet(&design, &RuleSet::of(place));
            for test in test_sheet(&design, &sheet) {
                if let Some(limit) = test.limit {
                    assert!(sheet.line(limit).is_some(), "{place:?}: {limit}");
                }
            }
        }
    }

    #[test]
    fn a_failure_opens_what_it_may_have_influenced() {
        let tests = tests_of(Place::Neutral, "phases = 1\nload_1_w = 100");
        assert_eq!(opened_again(&tests, "continuity"), keys(&tests));
        let dc = opened_again(&tests, "insulation_dc");
        assert!(dc.contains(&"polarity_dc") && dc.contains(&"loop_measured") && !dc.contains(&"insulation_ac"));
        let trip = opened_again(&tests, "IEC-RCD-1");
        assert!(
            trip.contains(&"insulation_ac") && trip.contains(&"island_protection") && !trip.contains(&"polarity_dc")
        );
        assert_eq!(opened_again(&tests, "nothing"), Vec::<&str>::new());
    }
}
