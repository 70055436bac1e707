//! SUPPLY-BAND: is the supply voltage within its band around the nominal? V.
//!
//! U_n·(1 + low/100) ≤ U ≤ U_n·(1 + high/100), both ends inclusive. The band comes from the rule set: −6 and +10 % in the
//! UK and Australia, ±10 % in Europe and IEC 60038, ±5 % in the US (range A).

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain, quotient};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::Limit;
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "SUPPLY-BAND", title: "check.SUPPLY-BAND", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 4] = [
    InputInfo::needed("nominal_voltage", Unit::Volt),
    // Negative.
    InputInfo::needed("band_low", Unit::Percent),
    InputInfo::needed("band_high", Unit::Percent),
    InputInfo::optional(READING, Unit::Volt),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let hundred = 100 * i128::from(MICRO);
    let nominal = gather.need("nominal_voltage", MICRO, 1_000 * MICRO)?;
    let low = gather.need("band_low", -50 * MICRO, 0)?;
    let high = gather.need("band_high", 0, 50 * MICRO)?;
    let reading = gather.reading()?;
    let end = |share: i64| quotient("nominal_voltage", i128::from(nominal) * (hundred + i128::from(share)), hundred);
    let (least, most) = (end(low)?, end(high)?);
    let numbers = format!(
        "{} · (1 + {} %) = {} V; {} · (1 + {} %) = {} V",
        plain(nominal),
        plain(low),
        plain(least),
        plain(nominal),
        plain(high),
        plain(most)
    );
    let source = Source { standard: "", edition: "", clause: "rule set", mark: Mark::Check };
    let check = gather.check("U_n · (1 + low) ≤ U ≤ U_n · (1 + high)", numbers, source);
    Ok(check.with_limit(Unit::Volt, Limit::between(least, most)).concluded(reading))
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;
    use crate::electrical::judge::{Verdict, Why};

    #[test]
    fn the_edges_and_one_past() {
        let measured = |volts| {
            let band = [("nominal_voltage", "230"), ("band_low", "-6"), ("band_high", "10"), (READING, volts)];
            good("SUPPLY-BAND", &band).verdict
        };
        assert_eq!(measured("216.2"), Verdict::Pass);
        assert_eq!(measured("216.199999"), Verdict::Fail(Why::BelowMinimum));
        assert_eq!(measured("253"), Verdict::Pass);
        assert_eq!(measured("253.000001"), Verdict::Fail(Why::AboveMaximum));
    }
}
