//! F20-GLOVE: does the class of insulating gloves cover the voltage? V.
//!
//! IEC 60903:2014: class 00 to 500 V AC and 750 V DC, class 0 to 1000 V AC and 1500 V DC. Gloves are one measure among
//! others and the test date printed on them must not have passed; this compares the class alone.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F20-GLOVE", title: "check.F20-GLOVE", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 3] = [
    InputInfo::needed("nominal_voltage", Unit::Volt),
    // 0 alternating, 1 direct.
    InputInfo::needed("direct", Unit::Count),
    // 1 class 00, 2 class 0.
    InputInfo::optional("glove_class", Unit::Count),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let voltage = gather.need("nominal_voltage", 0, 10_000 * MICRO)?;
    let direct = gather.whole("direct", 0, 1)? == 1;
    let class = gather.maybe_whole("glove_class", 1, 2)?;
    let most = class.map(|class| match (class, direct) {
        (1, false) => 500 * MICRO,
        (1, true) => 750 * MICRO,
        (_, false) => 1_000 * MICRO,
        (_, true) => 1_500 * MICRO,
    });
    let numbers = format!("{} ≤ {} V", plain(voltage), most.map_or_else(|| "?".to_string(), plain));
    let source = Source { standard: "IEC 60903", edition: "2014", clause: "classes", mark: Mark::Sure };
    let mut check = gather.check("U ≤ U_class", numbers, source);
    if let Some(most) = most {
        check = check.with_limit(Unit::Volt, Limit::at_most(most));
    }
    check.verdict = match most {
        None => Verdict::NotDetermined(Why::NoReading),
        Some(most) if voltage > most => Verdict::Fail(Why::VoltageRatingTooLow),
        Some(_) => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;

    #[test]
    fn the_edges_and_one_past() {
        for (class, direct, most) in [("1", "0", 500), ("1", "1", 750), ("2", "0", 1_000), ("2", "1", 1_500)] {
            let worn = |micro: i64| {
                let volts = plain(micro);
                good("F20-GLOVE", &[("nominal_voltage", &volts), ("direct", direct), ("glove_class", class)]).verdict
            };
            assert_eq!(worn(most * MICRO), Verdict::Pass);
            assert_eq!(worn(most * MICRO + 1), Verdict::Fail(Why::VoltageRatingTooLow));
        }
        let none = good("F20-GLOVE", &[("nominal_voltage", "400"), ("direct", "1")]).verdict;
        assert_eq!(none, Verdict::NotDetermined(Why::NoReading));
    }
}
