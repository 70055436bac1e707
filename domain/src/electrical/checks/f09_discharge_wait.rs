//! F09: how long a capacitor takes to fall below the touch threshold, t = R·C·ln(U0/U_th), and its energy E = ½·C·U².
//!
//! U in V, R in Ω, C in F, t in s, E in J. Threshold 60 V within 5 s, else a label with the delay (IEC 60204-1:2016,
//! 6.2.4; NFPA 79, 6.5.1); NEC 460.6 asks 50 V in one minute. An estimate only: the wait is the larger of this and the
//! maker's time, never shorter, and the voltage test decides, for the bleeder may be open. Without a maker's time the
//! verdict is "not determined".

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain, quotient};
use crate::electrical::check::{Check, Mark, ReadingTerms, Source};
use crate::electrical::judge::{Limit, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F09", title: "check.F09", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 6] = [
    InputInfo::needed("start_voltage", Unit::Volt),
    InputInfo::needed("bleed_resistance", Unit::Ohm),
    InputInfo::needed("capacitance", Unit::Farad),
    // 60 V when absent.
    InputInfo::optional("threshold_voltage", Unit::Volt),
    InputInfo::optional("maker_wait", Unit::Second),
    // The time that was waited.
    InputInfo::optional(READING, Unit::Second),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let voltage = gather.need("start_voltage", 0, 10_000 * MICRO)?;
    let resistance = gather.need("bleed_resistance", 1, 100_000_000 * MICRO)?;
    let capacitance = gather.need("capacitance", 0, MICRO)?;
    let threshold = gather.maybe("threshold_voltage", MICRO, 1_000 * MICRO)?.unwrap_or(60 * MICRO);
    let maker = gather.maybe("maker_wait", 0, 86_400 * MICRO)?;
    let reading = gather.reading()?;

    let seconds = discharge(voltage, threshold, resistance, capacitance)?;
    let micro = i128::from(MICRO);
    let squared = i128::from(capacitance) * i128::from(voltage) * i128::from(voltage);
    let energy = quotient("capacitance", squared, 2 * micro * micro)?;
    let wait = maker.map(|maker| maker.max(seconds));
    let numbers = format!(
        "t = {} · {} · ln({} / {}) = {} s; E = ½ · {} · {}² = {} J",
        plain(resistance),
        plain(capacitance),
        plain(voltage),
        plain(threshold),
        plain(seconds),
        plain(capacitance),
        plain(voltage),
        plain(energy)
    );
    let source = Source { standard: "IEC 60204-1", edition: "2016", clause: "6.2.4", mark: Mark::Sure };
    let mut check = gather
        .check("t = R · C · ln(U0 / U_th), 0 if U0 ≤ U_th; E = ½ · C · U0²; wait ≥ max(maker, t)", numbers, source)
        .with_result("discharge_time", Unit::Second, seconds)
        .with_result("energy", Unit::Joule, energy);
    if let Some(wait) = wait {
        check = check.with_result("wait", Unit::Second, wait).with_limit(Unit::Second, Limit::at_least(wait));
    }
    check.terms =
        ReadingTerms { limit_missing: wait.is_none().then_some(Why::NoMakerLimit), ..ReadingTerms::default() };
    Ok(check.concluded(reading))
}

/// Microseconds, rounded once; `libm` gives the same bits natively and in wasm.
fn discharge(voltage: i64, threshold: i64, resistance: i64, capacitance: i64) -> Result<i64, InputFault> {
    if voltage <= threshold {
        return Ok(0);
    }
    // 10^-12 s, exact in a double up to 2^53, far finer than the millionths kept.
    let time_constant = (i128::from(resistance) * i128::from(capacitance)) as f64 / MICRO as f64;
    let seconds = libm::round(time_constant * libm::log(voltage as f64 / threshold as f64));
    if seconds < 1e15 { Ok(seconds as i64) } else { Err(InputFault::OutOfRange { key: "bleed_resistance" }) }
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;
    use crate::electrical::judge::Verdict;

    fn capacitor(volts: &str, ohms: &str, farads: &str, more: &[(&str, &str)]) -> Check {
        let pairs = [("start_voltage", volts), ("bleed_resistance", ohms), ("capacitance", farads)];
        good("F09", &[&pairs[..], more].concat())
    }

    #[test]
    fn worked_examples() {
        for (volts, ohms, farads, seconds, joules) in [
            ("400", "47000", "0.0015", "133.7", "120"),
            ("600", "100000", "0.001", "230.3", "180"),
            ("850", "68000", "0.002", "360.5", "722.5"),
            ("400", "20000", "0.0011", "41.7", "88"),
            ("58", "47000", "0.0015", "0", "2.523"),
        ] {
            let check = capacitor(volts, ohms, farads, &[]);
            near(check.result("discharge_time"), seconds);
            near(check.result("energy"), joules);
            assert_eq!(check.verdict, Verdict::NotDetermined(Why::NoMakerLimit));
        }
    }

    #[test]
    fn the_edges_and_one_past() {
        let time = |volts| capacitor(volts, "47000", "0.0015", &[]).result("discharge_time").map(|time| time.micro);
        assert_eq!(time("60"), Some(0));
        assert!(time("60.000001") > Some(0));
        let waited =
            |maker, waited| capacitor("58", "47000", "0.0015", &[("maker_wait", maker), (READING, waited)]).verdict;
        assert_eq!(waited("300", "300"), Verdict::Pass);
        assert_eq!(waited("300", "299.999999"), Verdict::Fail(Why::BelowMinimum));
    }

    #[test]
    fn the_computation_only_lengthens_the_makers_time() {
        let wait = |maker| capacitor("400", "47000", "0.0015", &[("maker_wait", maker)]).result("wait");
        near(wait("60"), "133.7");
        near(wait("300"), "300");
        let unknown = capacitor("400", "47000", "0.0015", &[(READING, "10000")]);
        assert_eq!(unknown.verdict, Verdict::NotDetermined(Why::NoMakerLimit));
    }
}
