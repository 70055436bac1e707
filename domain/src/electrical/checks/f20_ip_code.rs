//! F20-IP: do both digits of an enclosure's IP code reach what the place asks for?
//!
//! IEC 60529:1989+A2:2013: first digit 0 to 6 for solids, second 0 to 9 for water. An X is "not stated", not zero: the
//! digit is left out and the verdict is "not determined".

use super::{CheckInfo, Gather, InputFault, InputInfo};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F20-IP", title: "check.F20-IP", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 4] = [
    InputInfo::needed("solids_asked", Unit::Count),
    InputInfo::needed("water_asked", Unit::Count),
    InputInfo::optional("solids", Unit::Count),
    InputInfo::optional("water", Unit::Count),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let solids_asked = gather.whole("solids_asked", 0, 6)?;
    let water_asked = gather.whole("water_asked", 0, 9)?;
    let solids = gather.maybe_whole("solids", 0, 6)?;
    let water = gather.maybe_whole("water", 0, 9)?;
    let digit = |value: Option<i64>| value.map_or_else(|| "X".to_string(), |value| value.to_string());
    let numbers = format!("IP{}{} ≥ IP{solids_asked}{water_asked}", digit(solids), digit(water));
    let source = Source { standard: "IEC 60529", edition: "1989+A2:2013", clause: "5, 6", mark: Mark::Sure };
    let mut check = gather.check("each digit ≥ the digit asked for", numbers, source).with_result(
        "ip_asked",
        Unit::Count,
        (10 * solids_asked + water_asked) * MICRO,
    );
    let below = |value: Option<i64>, asked: i64| value.is_some_and(|value| value < asked);
    check.verdict = if below(solids, solids_asked) || below(water, water_asked) {
        Verdict::Fail(Why::BelowMinimum)
    } else if solids.is_none() && solids_asked > 0 || water.is_none() && water_asked > 0 {
        Verdict::NotDetermined(Why::RatingMissing)
    } else {
        Verdict::Pass
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, run};
    use super::*;

    fn code(solids: &str, water: &str) -> Verdict {
        good("F20-IP", &[("solids_asked", "5"), ("water_asked", "4"), ("solids", solids), ("water", water)]).verdict
    }

    #[test]
    fn the_edges_and_one_past() {
        assert_eq!(code("6", "5"), Verdict::Pass);
        assert_eq!(code("5", "4"), Verdict::Pass);
        assert_eq!(code("4", "4"), Verdict::Fail(Why::BelowMinimum));
        assert_eq!(code("5", "3"), Verdict::Fail(Why::BelowMinimum));
        let wide = run("F20-IP", &[("solids_asked", "7"), ("water_asked", "0")]);
        assert_eq!(wide.err(), Some(InputFault::OutOfRange { key: "solids_asked" }));
    }

    #[test]
    fn not_stated_is_not_zero() {
        assert_eq!(code("", "4"), Verdict::NotDetermined(Why::RatingMissing));
        assert_eq!(code("", "3"), Verdict::Fail(Why::BelowMinimum));
        let unasked = good("F20-IP", &[("solids_asked", "0"), ("water_asked", "4"), ("water", "5")]);
        assert_eq!(unasked.verdict, Verdict::Pass);
    }
}
