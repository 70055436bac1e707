//! F10-ISLAND: while the network is away, does the inverter's fault current trip the breakers of what it feeds? I_F ≥ I_a, in A.
//!
//! I_a is 5, 10, 20 times the rating of type B, C, D (IEC 60364-4-41:2005+A1:2017, 411.4.4) or 4, 7.5, 12.5 times (AS/NZS 3000:2018,
//! Table 8.1). An inverter gives about 1 to 2 times its rated current for a short time; 1.5 times is a house figure that only shows how
//! far off the trip is. That a breaker trips is believed by its maker's figure alone. Where it does not, a residual-current device must
//! disconnect an earth fault; a fault between live conductors is then left to the inverter's own shutdown.

use super::f10_loop_impedance::MULTIPLES;
use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F10-ISLAND", title: "check.F10-ISLAND", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 6] = [
    // Rated output of the inverter in one line conductor.
    InputInfo::needed("current", Unit::Ampere),
    // By its maker; else 1.5 times the rated current.
    InputInfo::optional("island_fault", Unit::Ampere),
    // The largest breaker that the island feeds: 1 type B, 2 type C, 3 type D.
    InputInfo::needed("breaker_type", Unit::Count),
    InputInfo::needed("device_rating", Unit::Ampere),
    // 1 IEC and BS 7671 (taken when absent), 2 AS/NZS 3000.
    InputInfo::optional("trip_table", Unit::Count),
    // 1: every circuit that the island feeds has a residual-current device that works there too.
    InputInfo::optional("residual_device", Unit::Count),
];

/// Times the rated current, in percent.
const USUAL_FAULT: i128 = 150;

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const AMPERES_MAX: i64 = 100_000 * MICRO;
    let current = gather.need("current", 0, AMPERES_MAX)?;
    let given = gather.maybe("island_fault", 0, AMPERES_MAX)?;
    let kind = gather.whole("breaker_type", 1, 3)?;
    let rating = gather.need("device_rating", 1, 10_000 * MICRO)?;
    let australian = gather.maybe_whole("trip_table", 1, 2)? == Some(2);
    let residual = gather.maybe_whole("residual_device", 0, 1)?;

    let usual = quotient("current", i128::from(current) * USUAL_FAULT, 100)?;
    let fault = given.unwrap_or(usual);
    let multiple = MULTIPLES[usize::from(australian)][usize::try_from(kind - 1).unwrap_or(0)];
    let trip = quotient("device_rating", i128::from(rating) * i128::from(multiple), 10)?;
    let how = given.map_or_else(|| format!("1.5 · {} = {}", plain(current), plain(usual)), plain);
    let numbers =
        format!("I_F = {how} A; I_a = {} · {} = {} A", plain(multiple * MICRO / 10), plain(rating), plain(trip));
    let mark = if given.is_some() { Mark::Sure } else { Mark::House };
    let source = if australian {
        Source { standard: "AS/NZS 3000", edition: "2018", clause: "Table 8.1", mark }
    } else {
        Source { standard: "IEC 60364-4-41", edition: "2005+A1:2017", clause: "411.4.4", mark }
    };
    let mut check = gather
        .check("I_F ≥ I_a, else a residual-current device; I_F by the maker, else 1.5 · I_n", numbers, source)
        .with_result("island_current", Unit::Ampere, fault)
        .with_result("trip_current", Unit::Ampere, trip);
    let trips = fault >= trip;
    if !trips {
        check.notes.push(CheckNote::BreakerDoesNotTrip);
    }
    check.verdict = match residual {
        Some(1) => Verdict::Pass,
        _ if trips && given.is_some() => Verdict::Pass,
        None => Verdict::NotDetermined(Why::RequirementOpen),
        Some(_) if trips => Verdict::NotDetermined(Why::NoMakerLimit),
        Some(_) => Verdict::Fail(Why::RequirementNotMet),
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;

    fn island(kind: &str, rating: &str, more: &[(&str, &str)]) -> Check {
        let pairs = [("current", "21.73913"), ("breaker_type", kind), ("device_rating", rating)];
        good("F10-ISLAND", &[&pairs[..], more].concat())
    }

    #[test]
    fn an_inverter_trips_no_usual_breaker() {
        let check = island("1", "25", &[("residual_device", "1")]);
        near(check.result("island_current"), "32.608695");
        near(check.result("trip_current"), "125");
        assert_eq!((check.verdict, &check.notes[..]), (Verdict::Pass, &[CheckNote::BreakerDoesNotTrip][..]));
        let without = island("2", "16", &[("residual_device", "0")]);
        near(without.result("trip_current"), "160");
        assert_eq!(without.verdict, Verdict::Fail(Why::RequirementNotMet));
        assert_eq!(island("1", "25", &[]).verdict, Verdict::NotDetermined(Why::RequirementOpen));
        near(island("1", "16", &[("trip_table", "2")]).result("trip_current"), "64");
    }

    #[test]
    fn only_the_maker_says_that_a_breaker_trips() {
        let without = [("residual_device", "0")];
        assert_eq!(island("1", "6", &without).verdict, Verdict::NotDetermined(Why::NoMakerLimit));
        let stated = |amperes| island("1", "6", &[("residual_device", "0"), ("island_fault", amperes)]);
        assert_eq!((stated("30").verdict, stated("30").notes), (Verdict::Pass, vec![]));
        assert_eq!(stated("29.999999").verdict, Verdict::Fail(Why::RequirementNotMet));
    }
}
