//! The smallest standard sizes that pass, and which check decides.
//!
//! What a cable may carry is known for the planned size only, and nobody can look up another one's here. So a size is proposed only
//! above a planned one whose rating bears what the device before it lets through; never a smaller one, never where the resistance was
//! stated for the planned cable, and never square millimetres where cables are sold by gauge.

use super::field::is_asked;
use super::inputs::{Design, NEW};
use super::sheet::{Bench, Line};
use crate::electrical::checks::{SIZES, next_conductor_size};
use crate::electrical::rule_set::{RuleSet, Topic};
use crate::electrical::units::{MICRO, Unit};
use crate::electrical::{Inputs, Quantity, Verdict, compute};

/// One proposal.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Suggestion {
    /// The field that it would fill.
    pub field: &'static str,
    pub value: Quantity,
    /// The check that asks for this much: its formula's number.
    pub decided_by: &'static str,
    /// Of a cable: the current that it must bear by whatever source its rating has; no table of ratings ships with us.
    pub rating_least: Option<Quantity>,
    /// Fields that say something about the planned cable only: to be emptied when the proposal is taken.
    pub clears: &'static [&'static str],
}

/// Modules beyond this are not tried; a taller string does not exist in a house.
const MODULES_TRIED: i64 = 40;

pub(super) fn suggestions(design: &Design, rules: &RuleSet, lines: &[Line]) -> Vec<Suggestion> {
    let bench = Bench { design, rules, lines: Vec::new() };
    let taken = |field, key, result, decided_by| {
        let check = lines.iter().find(|line| line.key == key)?.check()?;
        check.result(result).map(|value| Suggestion { field, value, decided_by, rating_least: None, clears: &[] })
    };
    let protective = if bench.is_american() { "F03-NEC" } else { "F03" };
    let found = [
        modules(design, lines),
        taken("dc_fuse_a", "dc_fuse", "next_size", "F08"),
        taken("dc_common_fuse_a", "dc_fuse_common", "next_size", "F08").filter(|one| is_asked(design, one.field)),
        dc_cable(&bench, lines),
        taken("ac_breaker_a", "ac_device", "next_size", "F08-AC"),
        ac_cable(&bench),
        taken("pe_size_mm2", "pe_size", "size_to_use", protective),
        taken("ac_protective_core_mm2", "ac_pe_size", "size_to_use", protective),
        taken("rcd_type", "rcd_type", "rcd_type_least", "F11-TYPE"),
    ];
    found.into_iter().flatten().collect()
}

/// A cable of the sheet, by the keys of its fields.
struct Cable {
    size: &'static str,
    /// The device before it.
    device: &'static str,
    rating: &'static str,
    /// Its own resistance, where somebody stated it.
    ohm_per_km: Option<&'static str>,
    /// What is true of the planned one only.
    clears: &'static [&'static str],
}

const DC: Cable = Cable {
    size: "dc_cable_size_mm2",
    device: "dc_fuse_a",
    rating: "dc_cable_rating_a",
    ohm_per_km: Some("dc_cable_ohm_per_km"),
    clears: &["dc_cable_rating_a"],
};
const AC: Cable = Cable {
    size: "ac_cable_size_mm2",
    device: "ac_breaker_a",
    rating: "ac_cable_rating_a",
    ohm_per_km: None,
    clears: &["ac_cable_rating_a"],
};

/// A cable's size; it must bear what the device before it lets through.
fn size(bench: &Bench<'_>, cable: &Cable, micro: i64, decided_by: &'static str) -> Option<Suggestion> {
    let design = bench.design;
    let stated = cable.ohm_per_km.is_some_and(|key| design.get(key).is_some());
    if bench.is_american() || stated {
        return None;
    }
    let device = design.get(cable.device)?;
    let is_larger = micro > design.get(cable.size)?;
    let bears = design.get(cable.rating)? >= device;
    (is_larger && bears).then(|| Suggestion {
        field: cable.size,
        value: Quantity::of(Unit::SquareMillimetre, micro),
        decided_by,
        rating_least: Some(Quantity::of(Unit::Ampere, device)),
        clears: cable.clears,
    })
}

/// The fewest modules that reach the window without leaving it, when those planned do not fit.
fn modules(design: &Design, lines: &[Line]) -> Option<Suggestion> {
    let check = lines.iter().find(|line| line.key == "stack_window")?.check()?;
    if check.verdict == Verdict::Pass {
        return None;
    }
    let (low, high) = (design.get("inverter_dc_min_v")?, design.get("inverter_dc_max_v")?);
    let strings = design.strings().min(100);
    let cells = i128::from(design.whole("module_cells")?);
    let (least, most) = (i128::from(design.get("module_cell_min_v")?), i128::from(design.get("module_cell_max_v")?));
    let top = i128::from(design.get("dc_device_rating_v").map_or(high, |rating| rating.min(high)));
    let fits = |modules: &i64| {
        let modules = i128::from(*modules) * cells;
        modules * least >= i128::from(low) && modules * most <= top
    };
    let number = (1..=MODULES_TRIED).find(fits)?;
    let value = Quantity::whole(Unit::Count, number * strings);
    Some(Suggestion { field: "modules", value, decided_by: check.id, rating_least: None, clears: &[] })
}

/// By voltage drop; what the cable must bear is the fuse's, and its rating stays an input.
fn dc_cable(bench: &Bench<'_>, lines: &[Line]) -> Option<Suggestion> {
    let check = lines.iter().find(|line| line.key == "dc_drop")?.check()?;
    check.limit?;
    let found = smallest_by(check.id, &check.inputs, "conductor_size")?;
    size(bench, &DC, found, "F02")
}

/// Tries the standard sizes in the same check with all else equal.
fn smallest_by(id: &str, given: &[(&'static str, Quantity)], key: &str) -> Option<i64> {
    SIZES.iter().map(|thousandths| thousandths * 1_000).find(|size| {
        let pairs = given.iter().filter(|(name, _)| *name != key).map(|(name, value)| (*name, value.micro));
        let mut inputs: Inputs = pairs.collect();
        inputs.set(key, *size);
        compute(id, &inputs).is_ok_and(|check| check.verdict == Verdict::Pass)
    })
}

/// By voltage drop and by loop impedance; the larger of both decides.
fn ac_cable(bench: &Bench<'_>) -> Option<Suggestion> {
    let by_drop = ac_cable_by_drop(bench);
    let by_loop = ac_cable_by_loop(bench);
    match (by_drop, by_loop) {
        (Some(drop), Some(fault)) if fault > drop => size(bench, &AC, fault, "F10"),
        (Some(drop), _) => size(bench, &AC, drop, "F02"),
        (None, Some(fault)) => size(bench, &AC, fault, "F10"),
        (None, None) => None,
    }
}

fn ac_cable_by_drop(bench: &Bench<'_>) -> Option<i64> {
    let rule = bench.ac_drop_rule()?;
    let kind = if bench.design.is_three_phase() { 3 } else { 2 };
    let given = [
        ("supply_kind", kind * MICRO),
        ("drop_method", 2 * MICRO),
        ("current", bench.design.ac_current(NEW)?),
        ("nominal_voltage", bench.design.ac_voltage()?),
        ("length", bench.design.get("ac_cable_length_m")?),
        ("power_factor", bench.design.get("ac_power_factor").unwrap_or(MICRO)),
        ("drop_limit", rule.value?.micro),
    ];
    let given = given.map(|(key, micro)| (key, Quantity::of(Unit::Count, micro)));
    smallest_by("F02", &given, "conductor_size")
}

fn ac_cable_by_loop(bench: &Bench<'_>) -> Option<i64> {
    if bench.is_american() || bench.is_tt() {
        return None;
    }
    let mut inputs = Inputs::new();
    inputs.set("earth_voltage", bench.design.voltage_to_neutral()?);
    inputs.set("breaker_type", bench.design.get("ac_breaker_type")?);
    inputs.set("device_rating", bench.design.get("ac_breaker_a")?);
    for (key, topic) in [("trip_table", Topic::TripTable), ("voltage_factor", Topic::VoltageFactor)] {
        if let Some(figure) = bench.figure(topic) {
            inputs.set(key, figure);
        }
    }
    let most = compute("F10", &inputs).ok()?.result("loop_max")?.micro;
    let sizes = SIZES.iter().map(|thousandths| thousandths * 1_000);
    let fits = |size: &i64| bench.planned_loop(Some(*size)).is_some_and(|planned| planned <= most);
    sizes.into_iter().find(fits).and_then(next_conductor_size)
}

#[cfg(test)]
mod tests {
    use super::super::sheet::sheet;
    use super::*;
    use crate::electrical::rule_set::Place;

    /// What is proposed for the cable of the alternating side, 60 m long, on top of more figures.
    fn proposed(place: Place, more: &str) -> Option<Suggestion> {
        let text = format!(
            "phases = 1\nac_nominal_v = 230\ninverter_w = 3680\nac_cable_length_m = 60\nac_breaker_type = b\nac_breaker_a = 20\n{more}"
        );
        let design = Design::parse(&text).expect("well formed");
        let found = sheet(&design, &RuleSet::of(place)).suggestions;
        found.into_iter().find(|one| one.field == AC.size)
    }

    #[test]
    fn a_cable_is_proposed_only_above_one_that_bears_its_device() {
        let planned = "ac_cable_size_mm2 = 2.5\nac_cable_rating_a = 24";
        let larger = proposed(Place::Uk, planned).expect("2.5 mm² drops too much over 60 m");
        assert!(larger.value.micro > 2_500_000 && larger.clears == ["ac_cable_rating_a"], "{larger:?}");
        assert_eq!(larger.rating_least.map(|least| least.micro), Some(20_000_000));
        for (place, planned, why) in [
            (Place::Uk, "ac_cable_size_mm2 = 2.5", "its rating is not known"),
            (Place::Uk, "ac_cable_size_mm2 = 2.5\nac_cable_rating_a = 19", "it does not bear its own device"),
            (
                Place::Uk,
                "ac_cable_size_mm2 = 50\nac_cable_rating_a = 150",
                "a smaller one would do, and nobody knows its rating",
            ),
            (Place::Uk, "ac_cable_rating_a = 24", "nothing is planned"),
            (Place::Us, planned, "cables are sold by gauge there"),
        ] {
            assert_eq!(proposed(place, planned), None, "{why}");
        }
    }
}
