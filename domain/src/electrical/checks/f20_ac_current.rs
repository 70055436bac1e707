//! F20-CURRENT: alternating current of a power, I = P/U on one phase, I = P/(√3·U) on three (U line to line).
//!
//! P in W at power factor 1, U in V, I in A. Arithmetic; valid to 10 MW.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient, root};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F20-CURRENT", title: "check.F20-CURRENT", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 3] = [
    InputInfo::needed("power", Unit::Watt),
    // Line to neutral on one phase, line to line on three; the whole 240 V of a split phase.
    InputInfo::needed("nominal_voltage", Unit::Volt),
    InputInfo::needed("phases", Unit::Count),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let power = gather.need("power", 0, 10_000_000 * MICRO)?;
    let voltage = gather.need("nominal_voltage", MICRO, 1_000 * MICRO)?;
    let phases = gather.whole("phases", 1, 3)?;
    /// 10^12, the scale of the root of three.
    const SCALE: i128 = 1_000_000_000_000;
    let factor = if phases == 3 { root(3 * SCALE * SCALE) } else { SCALE };
    let current = quotient("power", i128::from(power) * i128::from(MICRO) * SCALE, i128::from(voltage) * factor)?;
    let numbers = if phases == 3 {
        format!("I = {} / (√3 · {}) = {} A", plain(power), plain(voltage), plain(current))
    } else {
        format!("I = {} / {} = {} A", plain(power), plain(voltage), plain(current))
    };
    let source = Source { standard: "", edition: "", clause: "", mark: Mark::Sure };
    Ok(gather.check("I = P/U; three phases: I = P/(√3 · U)", numbers, source).with_result(
        "current",
        Unit::Ampere,
        current,
    ))
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;

    #[test]
    fn worked_examples() {
        for (power, voltage, phases, amperes) in
            [("5000", "230", "1", "21.74"), ("8000", "400", "3", "11.547"), ("7680", "240", "1", "32.0")]
        {
            let pairs = [("power", power), ("nominal_voltage", voltage), ("phases", phases)];
            near(good("F20-CURRENT", &pairs).result("current"), amperes);
        }
    }

    #[test]
    fn the_edge_and_one_past() {
        let at = |power| run("F20-CURRENT", &[("power", power), ("nominal_voltage", "230"), ("phases", "1")]);
        assert!(at("10000000").is_ok());
        assert_eq!(at("10000000.000001").err(), Some(InputFault::OutOfRange { key: "power" }));
    }
}
