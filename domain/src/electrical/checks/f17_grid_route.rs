//! F17: may the system be connected first and notified afterwards, or must the network operator agree before?
//! Rated current per phase of all units of the premises, I = ΣP/(phases·U0), against the rule set's threshold.
//!
//! UK: EREC G98 up to and including 16 A per phase (3.68 kW at 230 V, 11.04 kW on three phases), G99 above or without a
//! type test. U0 is line to neutral, never 400. P in W, I in A, unrounded figures are compared. Where the rule set has no
//! threshold (elsewhere than UK and IE) consent always comes first.

use super::{CheckInfo, Gather, InputFault, InputInfo, joined, plain, quotient, sum};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F17", title: "check.F17", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 7] = [
    InputInfo::needed("phases", Unit::Count),
    // Line to neutral.
    InputInfo::needed("nominal_voltage", Unit::Volt),
    // Every inverter of the premises.
    InputInfo::list("inverter_power", Unit::Watt, true),
    InputInfo::optional("notify_threshold", Unit::Ampere),
    // 1: every unit has a type test that the operator knows.
    InputInfo::optional("type_tested", Unit::Count),
    // 1: connecting first and notifying afterwards is planned.
    InputInfo::optional("notify_planned", Unit::Count),
    // 1: the operator's agreement is on file.
    InputInfo::optional("consent", Unit::Count),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let powers = gather.list("inverter_power", 0, 10_000_000 * MICRO)?;
    let phases = gather.whole("phases", 1, 3)?;
    let voltage = gather.need("nominal_voltage", MICRO, 1_000 * MICRO)?;
    let threshold = gather.maybe("notify_threshold", 0, 1_000 * MICRO)?;
    let tested = gather.maybe_whole("type_tested", 0, 1)?;
    let notify = gather.maybe_whole("notify_planned", 0, 1)? == Some(1);
    let consent = gather.maybe_whole("consent", 0, 1)? == Some(1);
    if powers.is_empty() {
        return Err(InputFault::Missing { key: "inverter_power" });
    }
    let total = sum("inverter_power", &powers)?;
    let current =
        quotient("nominal_voltage", i128::from(total) * i128::from(MICRO), i128::from(voltage) * i128::from(phases))?;
    let numbers = format!("I = ({}) / ({phases} · {}) = {} A", joined(&powers, " + "), plain(voltage), plain(current));
    let source = Source { standard: "", edition: "", clause: "rule set", mark: Mark::Check };
    let mut check = gather
        .check("I = ΣP / (phases · U0) ≤ threshold: notify afterwards; above: consent first", numbers, source)
        .with_result("phase_current", Unit::Ampere, current);
    if let Some(threshold) = threshold {
        check = check.with_limit(Unit::Ampere, Limit::at_most(threshold));
    }
    // Unrounded: P · 10^6 against threshold · phases · U0, both in 10^-12.
    let above = threshold.map(|most| {
        i128::from(total) * i128::from(MICRO) > i128::from(most) * i128::from(voltage) * i128::from(phases)
    });
    let notify_allowed = above == Some(false) && tested == Some(1);
    let certainly_not = above != Some(false) || tested == Some(0);
    check.verdict = if consent || notify_allowed {
        Verdict::Pass
    } else if notify && certainly_not {
        Verdict::Fail(Why::ConsentNeeded)
    } else if certainly_not {
        Verdict::NotDetermined(Why::ConsentNeeded)
    } else {
        Verdict::NotDetermined(Why::RatingMissing)
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;

    fn route(powers: &str, phases: &str, more: &[(&str, &str)]) -> Check {
        let pairs =
            [("inverter_power", powers), ("phases", phases), ("nominal_voltage", "230"), ("notify_threshold", "16")];
        good("F17", &[&pairs[..], more].concat())
    }

    const NOTIFY: [(&str, &str); 2] = [("type_tested", "1"), ("notify_planned", "1")];

    #[test]
    fn worked_examples() {
        for (powers, phases, current, verdict) in [
            ("5000", "1", "21.7", Verdict::Fail(Why::ConsentNeeded)),
            ("3680", "1", "16.0", Verdict::Pass),
            ("12000", "3", "17.4", Verdict::Fail(Why::ConsentNeeded)),
            ("11040", "3", "16.0", Verdict::Pass),
        ] {
            let check = route(powers, phases, &NOTIFY);
            near(check.result("phase_current"), current);
            assert_eq!(check.verdict, verdict, "{powers}");
        }
    }

    #[test]
    fn the_edges_and_one_past() {
        // The current shown is 16 A, the one compared is not.
        let past = route("3680.000001", "1", &NOTIFY);
        assert_eq!(past.result("phase_current").map(|current| current.micro), Some(16_000_000));
        assert_eq!(past.verdict, Verdict::Fail(Why::ConsentNeeded));
        // Units already there are added.
        assert_eq!(route("1840 1840", "1", &NOTIFY).verdict, Verdict::Pass);
        assert_eq!(route("3000 1840", "1", &NOTIFY).verdict, Verdict::Fail(Why::ConsentNeeded));
    }

    #[test]
    fn consent_and_what_is_not_known() {
        assert_eq!(route("5000", "1", &[("consent", "1")]).verdict, Verdict::Pass);
        assert_eq!(route("5000", "1", &[]).verdict, Verdict::NotDetermined(Why::ConsentNeeded));
        assert_eq!(route("3680", "1", &[]).verdict, Verdict::NotDetermined(Why::RatingMissing));
        let untested = [("type_tested", "0"), ("notify_planned", "1")];
        assert_eq!(route("3680", "1", &untested).verdict, Verdict::Fail(Why::ConsentNeeded));
        let elsewhere = good("F17", &[("inverter_power", "100"), ("phases", "1"), ("nominal_voltage", "120")]);
        assert_eq!(elsewhere.verdict, Verdict::NotDetermined(Why::ConsentNeeded));
    }
}
