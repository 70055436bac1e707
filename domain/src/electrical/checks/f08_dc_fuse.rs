//! F08: battery fuse or breaker. I_max = P / (η · U_min) or the charge current if larger; 1.25·I_max ≤ I_n ≤ cable
//! rating and maker's maximum; its DC voltage not below U_max; its breaking capacity not below the fault current.
//!
//! P is the inverter's AC output in W, η in %, U in V, I in A. The factor is NEC 2023, 706.30 and 706.31 (clause to be
//! checked) and a house figure elsewhere, beside IB ≤ In ≤ Iz of IEC 60364-4-43:2008. The fault current is the maker's,
//! else U_max / ΣR. Standard sizes by IEC 60269 habit or NEC 240.6. The cable's rating is an input with its own source.
//!
//! Strings in parallel: `sharing_strings` carry I_max between them, taken as even shares; `feeding_strings` times the fault
//! current of one string meets the device (both 1 to 1000, 1 when absent). See [`feeding_one`] for a string's own device.

use super::{CheckInfo, Gather, InputFault, InputInfo, joined, plain, quotient, sum};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F08", title: "check.F08", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 15] = [
    // 1 IEC, 2 NEC.
    InputInfo::needed("size_series", Unit::Count),
    InputInfo::needed("power", Unit::Watt),
    InputInfo::needed("efficiency", Unit::Percent),
    InputInfo::needed("stack_voltage_min", Unit::Volt),
    InputInfo::optional("charge_current", Unit::Ampere),
    InputInfo::optional("fuse_rating", Unit::Ampere),
    InputInfo::optional("cable_rating", Unit::Ampere),
    InputInfo::optional("maker_fuse_max", Unit::Ampere),
    InputInfo::optional("stack_voltage_max", Unit::Volt),
    InputInfo::optional("fuse_voltage_rating", Unit::Volt),
    InputInfo::optional("breaking_capacity", Unit::Ampere),
    // Prospective, of one string by the maker; else computed from the resistances.
    InputInfo::optional("fault_current", Unit::Ampere),
    InputInfo::list("fault_resistance", Unit::Ohm, false),
    InputInfo::optional("sharing_strings", Unit::Count),
    InputInfo::optional("feeding_strings", Unit::Count),
];

/// How many strings' fault current meets the device of one of `strings` in parallel.
///
/// A fault between that string and its device is fed through the device by the other n − 1. A fault beyond the node is fed through
/// it by its own string, and that its own device clears it is the safe case: no other device in that path may be counted on. The two
/// currents have opposite directions and belong to different faults, so the larger counts and not their sum.
pub(crate) fn feeding_one(strings: i64) -> i64 {
    (strings - 1).max(1)
}

/// Standard ratings in amperes.
pub(super) const IEC_SIZES: [i64; 14] = [10, 16, 20, 25, 32, 40, 50, 63, 80, 100, 125, 160, 200, 250];
pub(super) const NEC_SIZES: [i64; 20] =
    [15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250];

/// The chosen device and what it must bear, in millionths.
struct Choice {
    /// The current itself, or 1.25 times it where a standard asks for that.
    surely: i64,
    least: i64,
    fuse: Option<i64>,
    cable: Option<i64>,
    maker: Option<i64>,
    voltage: Option<i64>,
    voltage_rating: Option<i64>,
    fault: Option<i64>,
    breaking: Option<i64>,
}

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const AMPERES_MAX: i64 = 1_000_000 * MICRO;
    const VOLTS_MAX: i64 = 10_000 * MICRO;
    const STRINGS_MAX: i64 = 1_000;
    let nec = gather.whole("size_series", 1, 2)? == 2;
    let power = gather.need("power", 1, 1_000_000 * MICRO)?;
    let efficiency = gather.need("efficiency", MICRO, 100 * MICRO)?;
    let voltage_min = gather.need("stack_voltage_min", MICRO, VOLTS_MAX)?;
    let charge = gather.maybe("charge_current", 0, AMPERES_MAX)?;
    let fuse = gather.maybe("fuse_rating", 1, AMPERES_MAX)?;
    let cable = gather.maybe("cable_rating", 1, AMPERES_MAX)?;
    let maker = gather.maybe("maker_fuse_max", 1, AMPERES_MAX)?;
    let voltage = gather.maybe("stack_voltage_max", MICRO, VOLTS_MAX)?;
    let voltage_rating = gather.maybe("fuse_voltage_rating", 1, VOLTS_MAX)?;
    let breaking = gather.maybe("breaking_capacity", 1, AMPERES_MAX)?;
    let maker_fault = gather.maybe("fault_current", 1, AMPERES_MAX)?;
    let resistances = gather.list("fault_resistance", 1, 1_000 * MICRO)?;
    let sharing = gather.maybe_whole("sharing_strings", 1, STRINGS_MAX)?;
    let feeding = gather.maybe_whole("feeding_strings", 1, STRINGS_MAX)?;

    let squared = i128::from(MICRO) * i128::from(MICRO);
    let loss = i128::from(efficiency) * i128::from(voltage_min);
    let discharge = quotient("power", i128::from(power) * 100 * squared, loss)?;
    let all = discharge.max(charge.unwrap_or(0));
    let current = sharing.map_or(Ok(all), |strings| quotient("power", i128::from(all), i128::from(strings)))?;
    let least = quotient("power", i128::from(current) * 125, 100)?;
    let resistance = sum("fault_resistance", &resistances)?;
    let strings = i128::from(feeding.unwrap_or(1));
    let fault = match (maker_fault, voltage) {
        (None, Some(volts)) if resistance > 0 => {
            let top = strings * i128::from(volts) * i128::from(MICRO);
            Some(quotient("fault_resistance", top, i128::from(resistance))?)
        }
        (given, _) => given.map(|one| quotient("fault_current", strings * i128::from(one), 1)).transpose()?,
    };
    let mut numbers =
        format!("I = {} / ({} % · {}) = {} A", plain(power), plain(efficiency), plain(voltage_min), plain(discharge));
    if let Some(strings) = sharing {
        numbers += &format!("; {} / {strings} = {} A", plain(all), plain(current));
    }
    numbers += &format!("; 1.25 · {} = {} A", plain(current), plain(least));
    let several = feeding.filter(|strings| *strings > 1);
    let times = several.map(|strings| format!("{strings} · ")).unwrap_or_default();
    match (maker_fault, voltage, fault) {
        (None, Some(volts), Some(fault)) => {
            let path = joined(&resistances, " + ");
            numbers += &format!("; I_sc = {times}{} / ({path}) = {} A", plain(volts), plain(fault));
        }
        (Some(one), _, Some(fault)) if several.is_some() => {
            numbers += &format!("; I_sc = {times}{} = {} A", plain(one), plain(fault));
        }
        _ => {}
    }
    let formula = if sharing.is_some() || feeding.is_some() {
        "I_max = max(P / (η · U_min), I_charge) / sharing; 1.25 · I_max ≤ I_n ≤ I_z, I_maker; U_n ≥ U_max; I_cn ≥ feeding · I_sc"
    } else {
        "I_max = max(P / (η · U_min), I_charge); 1.25 · I_max ≤ I_n ≤ I_z, I_maker; U_n ≥ U_max; I_cn ≥ I_sc"
    };
    let surely = if nec { least } else { current };
    let choice = Choice { surely, least, fuse, cable, maker, voltage, voltage_rating, fault, breaking };
    let mut check = gather
        .check(formula, numbers, source(nec))
        .with_result("current_max", Unit::Ampere, current)
        .with_result("rating_min", Unit::Ampere, least)
        .with_limit(Unit::Ampere, Limit { at_least: Some(least), at_most: [cable, maker].into_iter().flatten().min() });
    if let Some(size) = next_size(if nec { &NEC_SIZES } else { &IEC_SIZES }, least) {
        check = check.with_result("next_size", Unit::Ampere, size);
    }
    if let Some(fault) = fault {
        check = check.with_result("fault_current", Unit::Ampere, fault);
    }
    check.verdict = verdict(&choice);
    if choice.fuse.is_some_and(|fuse| fuse >= choice.surely) {
        check.house = &[Why::FuseTooSmall];
    }
    Ok(check)
}

fn source(nec: bool) -> Source {
    if nec {
        Source { standard: "NEC", edition: "2023", clause: "706.30, 706.31", mark: Mark::Check }
    } else {
        Source { standard: "IEC 60364-4-43", edition: "2008", clause: "IB ≤ In ≤ Iz; × 1.25", mark: Mark::House }
    }
}

/// The first standard size that suffices, in microamperes.
pub(super) fn next_size(sizes: &[i64], least: i64) -> Option<i64> {
    sizes.iter().map(|size| size * MICRO).find(|size| *size >= least)
}

/// A certain failure comes before anything missing.
fn verdict(choice: &Choice) -> Verdict {
    let below = |value: Option<i64>, least: Option<i64>| value.zip(least).is_some_and(|(value, least)| value < least);
    let checks = [
        (below(choice.fuse, Some(choice.surely)), Why::FuseTooSmall),
        (below(choice.cable, choice.fuse), Why::AboveCableRating),
        (below(choice.maker, choice.fuse), Why::AboveMakerFuse),
        (below(choice.voltage_rating, choice.voltage), Why::VoltageRatingTooLow),
        (below(choice.breaking, choice.fault), Why::BreakingCapacityTooLow),
        // Last: a house figure must not hide what a standard or the maker says.
        (below(choice.fuse, Some(choice.least)), Why::FuseTooSmall),
    ];
    if let Some((_, why)) = checks.into_iter().find(|(failed, _)| *failed) {
        return Verdict::Fail(why);
    }
    if choice.fuse.is_none() {
        return Verdict::NotDetermined(Why::NoReading);
    }
    if choice.maker.is_none() {
        return Verdict::NotDetermined(Why::NoMakerLimit);
    }
    let ratings = [choice.cable, choice.voltage, choice.voltage_rating, choice.fault, choice.breaking];
    if ratings.iter().any(Option::is_none) { Verdict::NotDetermined(Why::RatingMissing) } else { Verdict::Pass }
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;
    use crate::electrical::units::Quantity;

    fn fuse<'a>(series: &'a str, design: (&'a str, &'a str, &'a str), more: &[(&'a str, &'a str)]) -> Check {
        let mut pairs = vec![
            ("size_series", series),
            ("power", design.0),
            ("efficiency", design.1),
            ("stack_voltage_min", design.2),
        ];
        pairs.extend(more);
        good("F08", &pairs)
    }

    const SMALL: (&str, &str, &str) = ("5000", "95", "44.8");

    #[test]
    fn worked_examples() {
        for (design, current, rating, iec, nec) in [
            (SMALL, "117.5", "146.9", "160", "150"),
            (("10000", "97", "358.4"), "28.76", "35.96", "40", "40"),
            (("3680", "95", "44.8"), "86.47", "108.1", "125", "110"),
            (("6000", "96", "180"), "34.72", "43.40", "50", "45"),
        ] {
            let check = fuse("1", design, &[]);
            near(check.result("current_max"), current);
            near(check.result("rating_min"), rating);
            let size = |series| fuse(series, design, &[]).result("next_size").map(Quantity::plain);
            assert_eq!(size("1").as_deref(), Some(iec));
            assert_eq!(size("2").as_deref(), Some(nec));
            assert_eq!(check.verdict, Verdict::NotDetermined(Why::NoReading));
        }
    }

    #[test]
    fn fault_current_examples() {
        let one = fuse("1", SMALL, &[("stack_voltage_max", "51.2"), ("fault_resistance", "0.0165")]);
        near(one.result("fault_current"), "3103");
        let eight = format!("{}0.020", "0.012 ".repeat(8));
        let stack = fuse("1", SMALL, &[("stack_voltage_max", "409.6"), ("fault_resistance", &eight)]);
        near(stack.result("fault_current"), "3531");
        let maker = fuse(
            "1",
            SMALL,
            &[("stack_voltage_max", "51.2"), ("fault_resistance", "0.0165"), ("fault_current", "4000")],
        );
        assert_eq!(maker.result("fault_current").map(Quantity::plain).as_deref(), Some("4000"));
    }

    /// A complete choice with one figure replaced or left out.
    fn chosen(key: &'static str, value: Option<&'static str>) -> Verdict {
        let mut figures = vec![
            ("fuse_rating", "160"),
            ("cable_rating", "160"),
            ("maker_fuse_max", "160"),
            ("stack_voltage_max", "57.6"),
            ("fuse_voltage_rating", "57.6"),
            ("fault_current", "3100"),
            ("breaking_capacity", "3100"),
        ];
        figures.retain(|(name, _)| *name != key);
        figures.extend(value.map(|value| (key, value)));
        fuse("1", SMALL, &figures).verdict
    }

    #[test]
    fn the_edges_and_one_past() {
        assert_eq!(chosen("cable_rating", Some("160")), Verdict::Pass);
        assert_eq!(chosen("cable_rating", Some("159.999999")), Verdict::Fail(Why::AboveCableRating));
        assert_eq!(chosen("maker_fuse_max", Some("159.999999")), Verdict::Fail(Why::AboveMakerFuse));
        assert_eq!(chosen("fuse_voltage_rating", Some("57.599999")), Verdict::Fail(Why::VoltageRatingTooLow));
        assert_eq!(chosen("breaking_capacity", Some("3099.999999")), Verdict::Fail(Why::BreakingCapacityTooLow));
        // 1.25 · 117.481203 A
        assert_eq!(chosen("fuse_rating", Some("146.851504")), Verdict::Pass);
        assert_eq!(chosen("fuse_rating", Some("146.851503")), Verdict::Fail(Why::FuseTooSmall));
    }

    #[test]
    fn the_factor_is_of_this_house_where_no_standard_has_it() {
        let chosen = |series, rating, more: &[(&str, &str)]| {
            let check = fuse(series, SMALL, &[&[("fuse_rating", rating)][..], more].concat());
            (check.verdict, check.fails_by_house_figure())
        };
        let small = Verdict::Fail(Why::FuseTooSmall);
        // 117.481203 A, and 1.25 times that.
        assert_eq!(chosen("1", "146", &[]), (small, true));
        assert_eq!(chosen("1", "117.481203", &[]), (small, true));
        assert_eq!(chosen("1", "117.481202", &[]), (small, false), "below the current itself");
        assert_eq!(chosen("2", "146", &[]), (small, false), "a standard asks for it");
        let cable = chosen("1", "125", &[("cable_rating", "120")]);
        assert_eq!(cable, (Verdict::Fail(Why::AboveCableRating), false), "it hides nothing");
    }

    #[test]
    fn what_is_missing_is_no_pass() {
        assert_eq!(chosen("maker_fuse_max", None), Verdict::NotDetermined(Why::NoMakerLimit));
        for key in ["cable_rating", "stack_voltage_max", "fuse_voltage_rating", "fault_current", "breaking_capacity"] {
            assert_eq!(chosen(key, None), Verdict::NotDetermined(Why::RatingMissing), "{key}");
        }
    }

    /// 10 kW from 134.4 V: 76.70594 A; 172.8 V over 0.05 Ω: 3456 A.
    #[test]
    fn strings_share_the_load_and_add_up_in_a_fault() {
        let design = ("10000", "97", "134.4");
        let path = [("stack_voltage_max", "172.8"), ("fault_resistance", "0.01 0.01 0.01 0.02")];
        let at = |sharing, feeding| {
            let strings = [("sharing_strings", sharing), ("feeding_strings", feeding)];
            fuse("1", design, &[&path[..], &strings].concat())
        };
        let one = at("2", "1");
        near(one.result("current_max"), "38.35");
        assert_eq!(one.result("next_size").map(Quantity::plain).as_deref(), Some("50"));
        assert_eq!(one.result("fault_current").map(Quantity::plain).as_deref(), Some("3456"));
        assert!(one.with_numbers.contains("/ 2 = 38.35297 A; 1.25 · 38.35297 ="), "{}", one.with_numbers);
        let common = at("1", "2");
        near(common.result("current_max"), "76.70");
        assert_eq!(common.result("fault_current").map(Quantity::plain).as_deref(), Some("6912"));
        assert!(common.with_numbers.ends_with("I_sc = 2 · 172.8 / (0.01 + 0.01 + 0.01 + 0.02) = 6912 A"));
        let maker = fuse("1", design, &[("fault_current", "4000"), ("feeding_strings", "3")]);
        assert_eq!(maker.result("fault_current").map(Quantity::plain).as_deref(), Some("12000"));
        // A larger charge current is shared as well.
        let charging = fuse("1", design, &[("charge_current", "100"), ("sharing_strings", "2")]);
        assert_eq!(charging.result("current_max").map(Quantity::plain).as_deref(), Some("50"));
    }

    #[test]
    fn the_device_of_a_string_meets_the_others_or_its_own() {
        assert_eq!([1, 2, 3, 4].map(feeding_one), [1, 1, 2, 3]);
    }

    #[test]
    fn the_larger_current_counts_and_sizes_end() {
        let charging = fuse("1", SMALL, &[("charge_current", "150")]);
        assert_eq!(charging.result("rating_min").map(Quantity::plain).as_deref(), Some("187.5"));
        assert_eq!(fuse("1", ("50000", "95", "44.8"), &[]).result("next_size"), None);
    }
}
