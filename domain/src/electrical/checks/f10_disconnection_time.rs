//! F10-TIME: does a fault clear within the greatest disconnection time of its system? s.
//!
//! IEC 60364-4-41:2005+A1:2017, Table 41.1, for 120 V < U0 ≤ 230 V alternating: final circuits 0.4 s (TN) and 0.2 s (TT),
//! distribution 5 s and 1 s. The figure comes from the rule set; the clearing time from the device's curve or a computation.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::Limit;
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F10-TIME", title: "check.F10-TIME", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 2] =
    [InputInfo::needed("time_limit", Unit::Second), InputInfo::optional(READING, Unit::Second)];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let most = gather.need("time_limit", 1, 60 * MICRO)?;
    let reading = gather.reading()?;
    let source = Source { standard: "IEC 60364-4-41", edition: "2005+A1:2017", clause: "Table 41.1", mark: Mark::Sure };
    let check = gather.check("t ≤ t_max", format!("t_max = {} s", plain(most)), source);
    Ok(check.with_limit(Unit::Second, Limit::at_most(most)).concluded(reading))
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;
    use crate::electrical::judge::{Verdict, Why};

    #[test]
    fn the_edge_and_one_past() {
        let cleared = |seconds| good("F10-TIME", &[("time_limit", "0.4"), (READING, seconds)]).verdict;
        assert_eq!(cleared("0.4"), Verdict::Pass);
        assert_eq!(cleared("0.400001"), Verdict::Fail(Why::AboveMaximum));
        assert_eq!(good("F10-TIME", &[("time_limit", "0.2")]).verdict, Verdict::NotDetermined(Why::NoReading));
    }
}
