//! F14: nameplate energy in a unit and in a location against limits that a rule set gives. Wh, all limits inclusive.
//!
//! The figures are data of the rule set, with their marks.
//! Sources: NFPA 855:2023 chapter 15 and IRC R328/R330 (US), PAS 63100:2024 (UK), M-EltBauVO 2022 by Land (DE),
//! AS/NZS 5139:2019 scope (AU). Valid for nominal, not usable, energy up to 10 MWh.

use super::{CheckInfo, Gather, InputFault, InputInfo, joined, plain, sum};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F14", title: "check.F14", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 9] = [
    InputInfo::list("unit_energy", Unit::WattHour, true),
    InputInfo::optional("unit_limit", Unit::WattHour),
    InputInfo::optional("location_limit", Unit::WattHour),
    // Above it an authority asks for more (a service room, a better fire rating), nothing is forbidden.
    InputInfo::optional("further_demand_above", Unit::WattHour),
    InputInfo::optional("scope_min", Unit::WattHour),
    InputInfo::optional("scope_max", Unit::WattHour),
    // In the other locations of the premises.
    InputInfo::optional("energy_elsewhere", Unit::WattHour),
    // 1: the edition limits each listed location by itself.
    InputInfo::optional("locations_apart", Unit::Count),
    // 1: the place has no rule, which is another thing than a figure that is missing.
    InputInfo::optional("no_location_rule", Unit::Count),
];

const KWH: i64 = 1_000 * MICRO;

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const ENERGY_MAX: i64 = 10_000 * KWH;
    // A nameplate of nothing is a figure that nobody read.
    let units = gather.list("unit_energy", 1, ENERGY_MAX)?;
    let largest = units.iter().copied().max().ok_or(InputFault::Missing { key: "unit_energy" })?;
    let unit_limit = gather.maybe("unit_limit", 0, ENERGY_MAX)?;
    let location_limit = gather.maybe("location_limit", 0, ENERGY_MAX)?;
    let demand = gather.maybe("further_demand_above", 0, ENERGY_MAX)?;
    let scope_min = gather.maybe("scope_min", 0, ENERGY_MAX)?;
    let scope_max = gather.maybe("scope_max", 0, ENERGY_MAX)?;
    let elsewhere = gather.maybe("energy_elsewhere", 0, ENERGY_MAX)?.unwrap_or(0);
    let apart = gather.maybe_whole("locations_apart", 0, 1)? == Some(1);
    let no_rule = gather.maybe_whole("no_location_rule", 0, 1)? == Some(1);

    let here = sum("unit_energy", &units)?;
    let premises = sum("unit_energy", &[here, elsewhere])?;
    let above = |value: i64, most: Option<i64>| most.is_some_and(|most| value > most);
    let numbers = format!("E = {} = {} Wh; E_unit = {} Wh", joined(&units, " + "), plain(here), plain(largest));
    // Which regime applies is the caller's choice, so the source is that of the figures given.
    let source = Source { standard: "", edition: "", clause: "rule set", mark: Mark::Check };
    let mut check = gather
        .check("E = ΣE_unit ≤ location limit; each E_unit ≤ unit limit", numbers, source)
        .with_result("location_energy", Unit::WattHour, here)
        .with_result("largest_unit", Unit::WattHour, largest);
    // Where nothing is forbidden, what more is asked above is the limit that people look for.
    if let Some(most) = location_limit.or(demand) {
        check = check.with_limit(Unit::WattHour, Limit::at_most(most));
    }
    if apart && elsewhere > 0 {
        check.notes.push(CheckNote::OtherLocationsApart);
    }
    let nothing = [unit_limit, location_limit, demand, scope_min, scope_max].iter().all(Option::is_none);
    check.verdict = if above(largest, unit_limit) {
        Verdict::Fail(Why::UnitTooLarge)
    } else if above(here, location_limit) {
        Verdict::Fail(Why::LocationTooLarge)
    } else if nothing && no_rule {
        Verdict::NotApplicable(Why::NoSuchRule)
    } else if nothing {
        Verdict::NotDetermined(Why::NoLimit)
    } else if scope_min.is_some_and(|least| here < least) || above(here, scope_max) {
        Verdict::NotDetermined(Why::OutsideScope)
    } else if !apart && above(premises, location_limit) {
        Verdict::NotDetermined(Why::EditionUnclear)
    } else if above(here, demand) {
        Verdict::NotDetermined(Why::ExtraRequirement)
    } else {
        Verdict::Pass
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, run};
    use super::*;
    use crate::electrical::check::Inputs;
    use crate::electrical::rule_set::{Place, RuleSet, Topic};

    /// The input key and figure of a rule.
    fn of_rule(id: &str) -> (&'static str, i64) {
        let sets = Place::ALL.map(RuleSet::of);
        let rule = sets.iter().find_map(|set| set.rule(id)).expect("the tests name known rules");
        let key = match rule.topic {
            Topic::EnergyUnit => "unit_limit",
            Topic::EnergyLocation => "location_limit",
            Topic::EnergyDemand => "further_demand_above",
            Topic::ScopeFrom => "scope_min",
            _ => "scope_max",
        };
        (key, rule.value.expect("an energy rule has a figure").micro)
    }

    /// Units in kWh under the named rules.
    fn under(rules: &[&str], kwh: &[&str], more: &[(&str, &str)]) -> Verdict {
        let watt_hours = |text: &str| {
            let micro = crate::electrical::units::Quantity::parse(Unit::WattHour, text, '.').map(|q| q.micro);
            micro.expect("tests write decimals") * 1_000
        };
        let mut inputs: Inputs = kwh.iter().map(|energy| ("unit_energy", watt_hours(energy))).collect();
        for id in rules {
            let (key, limit) = of_rule(id);
            inputs.set(key, limit);
        }
        for (key, value) in more {
            let micro = if matches!(*key, "locations_apart" | "no_location_rule") {
                watt_hours(value) / 1_000
            } else {
                watt_hours(value)
            };
            inputs.set(key, micro);
        }
        super::super::compute("F14", &inputs).expect("the test's inputs are complete").verdict
    }

    #[test]
    fn worked_examples() {
        let three = ["13.7", "13.7", "13.7"];
        assert_eq!(under(&["US-UNIT", "US-CLOSET"], &three, &[]), Verdict::Fail(Why::LocationTooLarge));
        assert_eq!(under(&["US-UNIT", "US-ATT"], &three, &[]), Verdict::Pass);
        assert_eq!(under(&["US-UNIT", "US-ATT"], &["21"], &[]), Verdict::Fail(Why::UnitTooLarge));
        let garage = ["20", "20", "20"];
        let other = ("energy_elsewhere", "60");
        assert_eq!(under(&["US-UNIT", "US-ATT"], &garage, &[other, ("locations_apart", "1")]), Verdict::Pass);
        assert_eq!(under(&["US-UNIT", "US-ATT"], &garage, &[other]), Verdict::NotDetermined(Why::EditionUnclear));
        assert_eq!(under(&["UK-OTHER"], &["10.24"; 4], &[]), Verdict::Fail(Why::LocationTooLarge));
        assert_eq!(under(&["DE-ELT"], &["10.24", "10.24"], &[]), Verdict::NotDetermined(Why::ExtraRequirement));
        assert_eq!(under(&["DE-ELT"], &["9.6", "9.6"], &[]), Verdict::Pass);
    }

    #[test]
    fn the_edges_and_one_past() {
        assert_eq!(under(&["UK-OTHER"], &["20", "20"], &[]), Verdict::Pass);
        assert_eq!(under(&["UK-OTHER"], &["20", "20.000001"], &[]), Verdict::Fail(Why::LocationTooLarge));
        assert_eq!(under(&["US-UNIT"], &["20"], &[]), Verdict::Pass);
        assert_eq!(under(&["US-UNIT"], &["20.000001"], &[]), Verdict::Fail(Why::UnitTooLarge));
        assert_eq!(under(&["DE-ELT"], &["20"], &[]), Verdict::Pass);
        let australia = ["AU-FROM", "AU-TO"];
        assert_eq!(under(&australia, &["1"], &[]), Verdict::Pass);
        assert_eq!(under(&australia, &["0.999999"], &[]), Verdict::NotDetermined(Why::OutsideScope));
        assert_eq!(under(&australia, &["200"], &[]), Verdict::Pass);
        assert_eq!(under(&australia, &["200.000001"], &[]), Verdict::NotDetermined(Why::OutsideScope));
        assert_eq!(under(&[], &["5"], &[]), Verdict::NotDetermined(Why::NoLimit));
        let without = [("no_location_rule", "1")];
        assert_eq!(under(&[], &["5"], &without), Verdict::NotApplicable(Why::NoSuchRule));
        assert_eq!(under(&["US-UNIT"], &["20.000001"], &without), Verdict::Fail(Why::UnitTooLarge));
    }

    #[test]
    fn units_are_added_and_shown() {
        let check = good("F14", &[("unit_energy", "13700 13700 13700"), ("location_limit", "80000")]);
        assert_eq!(check.with_numbers, "E = 13700 + 13700 + 13700 = 41100 Wh; E_unit = 13700 Wh");
    }

    #[test]
    fn an_energy_of_nothing_is_a_figure_that_nobody_read() {
        let of = |energy| run("F14", &[("unit_energy", energy), ("location_limit", "20000")]).map(|_| ());
        assert_eq!(of("0"), Err(InputFault::OutOfRange { key: "unit_energy" }));
        assert_eq!(of("5120 0"), Err(InputFault::OutOfRange { key: "unit_energy" }));
        assert_eq!(of("5120"), Ok(()));
    }
}
