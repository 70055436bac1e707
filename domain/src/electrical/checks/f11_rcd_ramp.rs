//! F11-RAMP: the current at which a residual-current device trips when the test current rises slowly, in A.
//!
//! Sine: above 0.5 and up to 1 · I_Δn; pulsed direct current at 0°: 0.35 to 1.4; smooth direct current: 0.5 to 2
//! (IEC 61008-1:2010, IEC 62423:2009). At 10 mA the pulsed limit is 2 · I_Δn. Valid for 6 mA to 10 A.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain, quotient};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::Limit;
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F11-RAMP", title: "check.F11-RAMP", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 3] = [
    // 1 sine, 2 pulsed direct current at 0°, 3 smooth direct current.
    InputInfo::needed("waveform", Unit::Count),
    InputInfo::needed("residual_current", Unit::Ampere),
    InputInfo::optional(READING, Unit::Ampere),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let waveform = gather.whole("waveform", 1, 3)?;
    let residual = gather.need("residual_current", 6_000, 10 * MICRO)?;
    let reading = gather.reading()?;
    // Hundredths of I_Δn.
    let (low, high) = match waveform {
        1 => (50, 100),
        2 if residual <= 10_000 => (35, 200),
        2 => (35, 140),
        _ => (50, 200),
    };
    let of = |share: i64| quotient("residual_current", i128::from(residual) * i128::from(share), 100);
    // "More than half" for sine: the next millionth.
    let least = of(low)? + i64::from(waveform == 1);
    let most = of(high)?;
    let numbers = format!("{} ≤ I ≤ {} A", plain(least), plain(most));
    let source = Source {
        standard: "IEC 61008-1, IEC 62423",
        edition: "2010, 2009",
        clause: "tripping current",
        mark: Mark::Sure,
    };
    let check = gather
        .check("sine 0.5 < I/I_Δn ≤ 1; pulsed 0.35 to 1.4; smooth 0.5 to 2", numbers, source)
        .with_limit(Unit::Ampere, Limit::between(least, most));
    Ok(check.concluded(reading))
}

#[cfg(test)]
mod tests {
    use super::super::support::good;
    use super::*;
    use crate::electrical::judge::{Verdict, Why};

    fn ramp(waveform: &str, residual: &str, amperes: &str) -> Verdict {
        good("F11-RAMP", &[("waveform", waveform), ("residual_current", residual), (READING, amperes)]).verdict
    }

    #[test]
    fn the_edges_and_one_past() {
        for (waveform, low, high) in [("1", 15_001, 30_000), ("2", 10_500, 42_000), ("3", 15_000, 60_000)] {
            assert_eq!(ramp(waveform, "0.03", &plain(low)), Verdict::Pass);
            assert_eq!(ramp(waveform, "0.03", &plain(low - 1)), Verdict::Fail(Why::BelowMinimum));
            assert_eq!(ramp(waveform, "0.03", &plain(high)), Verdict::Pass);
            assert_eq!(ramp(waveform, "0.03", &plain(high + 1)), Verdict::Fail(Why::AboveMaximum));
        }
        assert_eq!(ramp("2", "0.01", "0.02"), Verdict::Pass);
        assert_eq!(ramp("2", "0.01", "0.020001"), Verdict::Fail(Why::AboveMaximum));
    }
}
