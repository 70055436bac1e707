//! F17-UNBALANCE: how much do the inverters of a single phase load one line conductor more than the others? ΣS on the worst line, in W.
//!
//! DE: VDE-AR-N 4100:2019-04, 5.5 (to be checked): units above 4.6 kVA are connected to three phases, and those of a single phase
//! together stay at or below 4.6 kVA on each line conductor, unless a device keeps the phases balanced. A rated output in W
//! counts as so many VA. Loads are not known here and are left out, as is whatever feeds three phases alike. The limit comes from the
//! rule set.

use super::f17_grid_route::codes;
use super::{CheckInfo, Gather, InputFault, InputInfo, joined, plain, sum};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo =
    CheckInfo { id: "F17-UNBALANCE", title: "check.F17-UNBALANCE", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 5] = [
    // Every inverter of the premises.
    InputInfo::list("inverter_power", Unit::Watt, true),
    // Of each, in the same order; three phases when absent.
    InputInfo::list("inverter_phases", Unit::Count, false),
    // Of each, in the same order: which line one of a single phase is on; the first when absent.
    InputInfo::list("inverter_line", Unit::Count, false),
    InputInfo::optional("unbalance_limit", Unit::Watt),
    // 1: a device keeps the phases balanced.
    InputInfo::optional("balanced", Unit::Count),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const THREE: i64 = 3;
    let powers = gather.list("inverter_power", 0, 10_000_000 * MICRO)?;
    if powers.is_empty() {
        return Err(InputFault::Missing { key: "inverter_power" });
    }
    let phases = codes(&mut gather, "inverter_phases", powers.len(), THREE)?;
    let own = codes(&mut gather, "inverter_line", powers.len(), 1)?;
    let limit = gather.maybe("unbalance_limit", 0, 10_000_000 * MICRO)?;
    let balanced = gather.maybe_whole("balanced", 0, 1)?;
    let mut worst = (1, Vec::new(), 0);
    for line in 1..=THREE {
        let units: Vec<i64> = (powers.iter().zip(&phases).zip(&own))
            .filter(|((_, phases), own)| **phases != THREE && **own == line)
            .map(|((power, _), _)| *power)
            .collect();
        let total = sum("inverter_power", &units)?;
        if total > worst.2 {
            worst = (line, units, total);
        }
    }
    let (line, units, total) = worst;
    let numbers = match units[..] {
        [] => "S = 0 W".to_string(),
        [_] => format!("S_L{line} = {} W", plain(total)),
        _ => format!("S_L{line} = {} = {} W", joined(&units, " + "), plain(total)),
    };
    let source = Source { standard: "", edition: "", clause: "rule set", mark: Mark::Check };
    let mut check = gather
        .check("ΣS on the worst line ≤ limit, inverters of a single phase", numbers, source)
        .with_result("unbalance", Unit::Watt, total);
    if let Some(limit) = limit {
        check = check.with_limit(Unit::Watt, Limit::at_most(limit));
    }
    // One that is too large for a single phase stays so, whatever else is there.
    let too_large = |limit: i64| powers.iter().zip(&phases).any(|(power, phases)| *phases != THREE && *power > limit);
    check.verdict = match (limit, balanced) {
        (None, _) => Verdict::NotApplicable(Why::NothingToCompare),
        (Some(limit), _) if total <= limit => Verdict::Pass,
        (Some(limit), _) if too_large(limit) => Verdict::Fail(Why::AboveMaximum),
        (Some(_), Some(1)) => Verdict::Pass,
        (Some(_), Some(_)) => Verdict::Fail(Why::AboveMaximum),
        (Some(_), None) => Verdict::NotDetermined(Why::RequirementOpen),
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;
    use crate::electrical::units::Quantity;

    fn lines(powers: &str, phases: &str, own: &str, more: &[(&str, &str)]) -> (Verdict, String) {
        let pairs = [("inverter_power", powers), ("inverter_phases", phases), ("inverter_line", own)];
        let check = good("F17-UNBALANCE", &[&pairs[..], &[("unbalance_limit", "4600")], more].concat());
        (check.verdict, check.result("unbalance").map(Quantity::plain).unwrap_or_default())
    }

    #[test]
    fn three_phases_load_all_lines_alike() {
        assert_eq!(lines("10000", "3", "1", &[]), (Verdict::Pass, "0".to_owned()));
        assert_eq!(lines("10000 4600", "3 1", "1 2", &[]), (Verdict::Pass, "4600".to_owned()));
        assert_eq!(lines("4600 4600", "1 1", "1 2", &[]), (Verdict::Pass, "4600".to_owned()));
    }

    #[test]
    fn the_edge_and_one_past() {
        let open = Verdict::NotDetermined(Why::RequirementOpen);
        assert_eq!(lines("2600 2000", "1 1", "2 2", &[]).0, Verdict::Pass);
        assert_eq!(lines("2600 2000.000001", "1 1", "2 2", &[]).0, open);
        let by = |device| lines("2600 2000.000001", "1 1", "2 2", &[("balanced", device)]).0;
        assert_eq!((by("0"), by("1")), (Verdict::Fail(Why::AboveMaximum), Verdict::Pass));
        // A single unit beyond it belongs on three phases.
        assert_eq!(lines("4600.000001", "1", "1", &[("balanced", "1")]).0, Verdict::Fail(Why::AboveMaximum));
        let beside = lines("4600.000001 2500 2500", "1 1 1", "1 2 2", &[("balanced", "1")]);
        assert_eq!(beside, (Verdict::Fail(Why::AboveMaximum), "5000".to_owned()));
        let elsewhere = good("F17-UNBALANCE", &[("inverter_power", "9000"), ("inverter_phases", "1")]);
        assert_eq!(elsewhere.verdict, Verdict::NotApplicable(Why::NothingToCompare));
    }
}
