//! F13: usable energy E = E_nom·SoH·(SoC_start − SoC_floor)·η, and how long it lasts, t = E/(Σ P·duty + P_standby).
//!
//! Energy in Wh, powers in W, shares in %, time in s. The guaranteed figure takes the backup reserve as the start. All
//! loads together must stay within the inverter's continuous power and the greatest start within its peak, else it
//! trips and the time is 0. A start at or below the floor leaves nothing, which is no pass. Arithmetic; ageing and
//! temperature are stated by whoever gives SoH.

use super::{CheckInfo, Gather, InputFault, InputInfo, joined, plain, quotient, sum};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F13", title: "check.F13", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 12] = [
    InputInfo::needed("energy_nominal", Unit::WattHour),
    InputInfo::needed("health", Unit::Percent),
    InputInfo::needed("charge_start", Unit::Percent),
    InputInfo::needed("charge_floor", Unit::Percent),
    InputInfo::needed("efficiency", Unit::Percent),
    InputInfo::list("load_power", Unit::Watt, true),
    // One for each load; 100 % for all when absent.
    InputInfo::list("load_duty", Unit::Percent, false),
    InputInfo::optional("standby_power", Unit::Watt),
    InputInfo::optional("inverter_power", Unit::Watt),
    InputInfo::optional("inverter_peak", Unit::Watt),
    // All running loads with the greatest start among them.
    InputInfo::optional("surge_power", Unit::Watt),
    InputInfo::optional("runtime_wanted", Unit::Second),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const WATTS_MAX: i64 = 1_000_000 * MICRO;
    let share = |gather: &mut Gather<'_>, key| gather.need(key, 0, 100 * MICRO);
    let nominal = gather.need("energy_nominal", 0, 10_000_000 * MICRO)?;
    let health = share(&mut gather, "health")?;
    let start = share(&mut gather, "charge_start")?;
    let bottom = share(&mut gather, "charge_floor")?;
    let efficiency = share(&mut gather, "efficiency")?;
    let loads = gather.list("load_power", 0, WATTS_MAX)?;
    let duties = gather.list("load_duty", 0, 100 * MICRO)?;
    let standby = gather.maybe("standby_power", 0, WATTS_MAX)?.unwrap_or(0);
    let continuous = gather.maybe("inverter_power", 1, WATTS_MAX)?;
    let peak = gather.maybe("inverter_peak", 1, WATTS_MAX)?;
    let surge = gather.maybe("surge_power", 0, WATTS_MAX)?;
    let wanted = gather.maybe("runtime_wanted", 0, 31_536_000 * MICRO)?;
    if loads.is_empty() {
        return Err(InputFault::Missing { key: "load_power" });
    }
    if !duties.is_empty() && duties.len() != loads.len() {
        return Err(InputFault::OutOfRange { key: "load_duty" });
    }
    let hundred = 100 * i128::from(MICRO);
    let usable = i128::from((start - bottom).max(0));
    // At most 10^13 · 10^8 · 10^8 · 10^8, which i128 holds.
    let aged = i128::from(nominal) * i128::from(health) * usable;
    let energy = quotient("energy_nominal", aged * i128::from(efficiency), hundred * hundred * hundred)?;
    let average = average(&loads, &duties)?;
    let running = sum("load_power", &loads)?;
    let drawn = sum("standby_power", &[average, standby])?;
    let overloaded = continuous.is_some_and(|most| running > most)
        || surge.zip(peak.or(continuous)).is_some_and(|(surge, most)| surge > most);
    let lasting = if drawn == 0 {
        None
    } else if overloaded {
        Some(0)
    } else {
        Some(quotient("load_power", i128::from(energy) * 3_600 * i128::from(MICRO), i128::from(drawn))?)
    };
    let numbers = format!(
        "E = {} · {} % · ({} − {}) % · {} % = {} Wh; ΣP = {} W; t = 3600 · {} / ({} + {}) = {} s",
        plain(nominal),
        plain(health),
        plain(start),
        plain(bottom),
        plain(efficiency),
        plain(energy),
        joined(&loads, " + "),
        plain(energy),
        plain(average),
        plain(standby),
        lasting.map_or_else(|| "∞".to_string(), plain)
    );
    let source = Source { standard: "", edition: "", clause: "", mark: Mark::House };
    let mut check = gather
        .check(
            "E = E_nom · SoH · (SoC_start − SoC_floor) · η; t = E / (ΣP · duty + P_standby); ΣP ≤ P_inv",
            numbers,
            source,
        )
        .with_result("usable_energy", Unit::WattHour, energy)
        .with_result("average_power", Unit::Watt, average);
    if let Some(lasting) = lasting {
        check = check.with_result("runtime", Unit::Second, lasting);
    }
    if let Some(wanted) = wanted {
        check = check.with_limit(Unit::Second, Limit::at_least(wanted));
    }
    check.verdict = verdict(overloaded, usable == 0, continuous, lasting, wanted);
    Ok(check)
}

/// Of all loads, each by its share of the time.
fn average(loads: &[i64], duties: &[i64]) -> Result<i64, InputFault> {
    if duties.is_empty() {
        return sum("load_power", loads);
    }
    let hundred = 100 * i128::from(MICRO);
    let mean = |(load, duty): (&i64, &i64)| quotient("load_duty", i128::from(*load) * i128::from(*duty), hundred);
    sum("load_power", &loads.iter().zip(duties).map(mean).collect::<Result<Vec<_>, _>>()?)
}

/// A certain failure comes before anything missing.
fn verdict(
    overloaded: bool,
    nothing: bool,
    continuous: Option<i64>,
    lasting: Option<i64>,
    wanted: Option<i64>,
) -> Verdict {
    match (continuous, lasting, wanted) {
        _ if overloaded => Verdict::Fail(Why::Overloaded),
        _ if nothing => Verdict::Fail(Why::RuntimeTooShort),
        (_, Some(lasting), Some(wanted)) if lasting < wanted => Verdict::Fail(Why::RuntimeTooShort),
        (None, ..) => Verdict::NotDetermined(Why::RatingMissing),
        (Some(_), ..) => Verdict::Pass,
    }
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;

    type House<'a> = (&'a str, &'a str, &'a str, &'a str, &'a str, &'a str, &'a str);

    fn house(house: House<'_>, more: &[(&str, &str)]) -> Check {
        let pairs = [
            ("energy_nominal", house.0),
            ("health", house.1),
            ("charge_start", house.2),
            ("charge_floor", house.3),
            ("efficiency", house.4),
            ("load_power", house.5),
            ("standby_power", house.6),
        ];
        good("F13", &[&pairs[..], more].concat())
    }

    const FULL: House<'static> = ("10240", "100", "100", "5", "95", "630", "0");
    const STRONG: [(&str, &str); 1] = [("inverter_power", "5000")];

    #[test]
    fn worked_examples() {
        for (case, energy, seconds) in [
            // 14.67 h, 8.015 h, 3.860 h, 2.724 h, 35.71 h
            (FULL, "9241.6", "52812"),
            (("13700", "90", "100", "20", "94", "1100", "40"), "9272", "29281"),
            (("10240", "100", "30", "5", "95", "630", "0"), "2432", "13896"),
            (("20480", "80", "95", "25", "95", "4000", "0"), "10895", "9806"),
            (("5120", "100", "100", "10", "93", "120", "0"), "4285", "128556"),
        ] {
            let check = house(case, &STRONG);
            near(check.result("usable_energy"), energy);
            near(check.result("runtime"), seconds);
            assert_eq!(check.verdict, Verdict::Pass);
        }
        let duty = house(
            ("10240", "100", "100", "5", "95", "150 60 80", "0"),
            &[("load_duty", "35 25 20"), ("inverter_power", "5000")],
        );
        near(duty.result("average_power"), "83.5");
    }

    #[test]
    fn a_reserve_at_or_below_the_floor_leaves_nothing() {
        let kept = |start, floor| {
            let check = house(("10240", "100", start, floor, "95", "630", "0"), &STRONG);
            (check.result("usable_energy").map(|energy| energy.micro), check.verdict)
        };
        assert_eq!(kept("20", "20"), (Some(0), Verdict::Fail(Why::RuntimeTooShort)));
        assert_eq!(kept("10", "20"), (Some(0), Verdict::Fail(Why::RuntimeTooShort)));
        assert_eq!(kept("20.000001", "20").1, Verdict::Pass);
    }

    #[test]
    fn the_edges_and_one_past() {
        let rated = |watts| house(FULL, &[("inverter_power", watts)]).verdict;
        assert_eq!(rated("630"), Verdict::Pass);
        assert_eq!(rated("629.999999"), Verdict::Fail(Why::Overloaded));
        let weak = house(FULL, &[("inverter_power", "629")]);
        assert_eq!(weak.result("runtime").map(|time| time.micro), Some(0));
        // 9728 · 0.95 / 630 · 3600 s
        let wanted = |seconds| house(FULL, &[STRONG[0], ("runtime_wanted", seconds)]).verdict;
        assert_eq!(wanted("52809.142857"), Verdict::Pass);
        assert_eq!(wanted("52809.142858"), Verdict::Fail(Why::RuntimeTooShort));
        let surge = |watts| house(FULL, &[STRONG[0], ("inverter_peak", "6000"), ("surge_power", watts)]).verdict;
        assert_eq!(surge("6000"), Verdict::Pass);
        assert_eq!(surge("6000.000001"), Verdict::Fail(Why::Overloaded));
    }

    #[test]
    fn what_is_missing_is_no_pass() {
        assert_eq!(house(FULL, &[]).verdict, Verdict::NotDetermined(Why::RatingMissing));
        let odd = [
            ("energy_nominal", "1"),
            ("health", "1"),
            ("charge_start", "1"),
            ("charge_floor", "1"),
            ("efficiency", "1"),
            ("load_power", "1 2"),
            ("load_duty", "1"),
        ];
        assert_eq!(run("F13", &odd).err(), Some(InputFault::OutOfRange { key: "load_duty" }));
    }
}
