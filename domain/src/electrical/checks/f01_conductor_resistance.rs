//! F01: resistance of a conductor at a temperature, R(θ) = r20 · L/1000 · (1 + α·(θ − 20)).
//!
//! R in Ω, r20 in Ω/km at 20 °C, L one way in metres, θ in °C, α in 1/K. Greatest r20 of plain copper from
//! IEC 60228:2004, Tables 1 to 3; α 0.00393 for copper, 0.00403 for aluminium, whose r20 must be given.
//! Valid for −40 to 200 °C and up to 10 km.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F01", title: "check.F01", inputs: &INPUTS, run };

/// Inputs that describe a conductor; F04 shares them.
pub(super) const CONDUCTOR_INPUTS: [InputInfo; 6] = [
    InputInfo::needed("conductor_size", Unit::SquareMillimetre),
    // 1, 2, 5 or 6 of IEC 60228.
    InputInfo::needed("conductor_class", Unit::Count),
    InputInfo::needed("length", Unit::Metre),
    InputInfo::needed("temperature", Unit::Celsius),
    // 1 copper (taken when absent), 2 aluminium.
    InputInfo::optional("material", Unit::Count),
    // Ω per km at 20 °C by the cable's maker, in place of the table.
    InputInfo::optional("resistance_per_km", Unit::Ohm),
];

const INPUTS: [InputInfo; 6] = CONDUCTOR_INPUTS;

/// Size, r20 of class 1 and 2, r20 of class 5 and 6; thousandths of mm² and of Ω/km.
const R20: [(i64, i64, i64); 12] = [
    (1_500, 12_100, 13_300),
    (2_500, 7_410, 7_980),
    (4_000, 4_610, 4_950),
    (6_000, 3_080, 3_300),
    (10_000, 1_830, 1_910),
    (16_000, 1_150, 1_210),
    (25_000, 727, 780),
    (35_000, 524, 554),
    // The flexible conductor of 50 mm² really has the lower value.
    (50_000, 387, 386),
    (70_000, 268, 272),
    (95_000, 193, 206),
    (120_000, 153, 161),
];

/// Temperature coefficients at 20 °C in hundred-thousandths per kelvin.
const ALPHA_COPPER: i64 = 393;
const ALPHA_ALUMINIUM: i64 = 403;

/// A conductor with its resistance.
pub(super) struct Conductor {
    /// Millionths of an ohm.
    pub(super) resistance: i64,
    /// The formula with its numbers, up to the result.
    pub(super) with_numbers: String,
    pub(super) source: Source,
}

/// What [`CONDUCTOR_INPUTS`] say, before the length is put in.
pub(super) struct Wire {
    r20: i64,
    /// One way, in micrometres.
    pub(super) length: i64,
    temperature: i64,
    alpha: i64,
    /// By the conductor's maker, not by the table.
    stated: bool,
}

/// (1 + α·Δθ) is a whole number of 1/10^11: α has five decimals and Δθ six.
const PER_UNIT: i128 = 100_000_000_000;

impl Wire {
    pub(super) fn of(gather: &mut Gather<'_>) -> Result<Wire, InputFault> {
        let size = gather.need("conductor_size", 1, 1_000 * MICRO)?;
        let class = gather.whole("conductor_class", 1, 6)?;
        let length = gather.need("length", 1, 10_000 * MICRO)?;
        let temperature = gather.need("temperature", -40 * MICRO, 200 * MICRO)?;
        let copper = gather.maybe_whole("material", 1, 2)?.unwrap_or(1) == 1;
        let stated = gather.maybe("resistance_per_km", 1, 100 * MICRO)?;
        let r20 = match stated {
            Some(given) => given,
            None if copper => table_r20(size, class)?,
            None => {
                return Err(InputFault::Missing { key: "resistance_per_km" });
            }
        };
        let alpha = if copper { ALPHA_COPPER } else { ALPHA_ALUMINIUM };
        Ok(Wire { r20, length, temperature, alpha, stated: stated.is_some() })
    }

    /// Where its resistance at 20 °C comes from.
    pub(super) fn source(&self) -> Source {
        if self.stated { MAKER } else { TABLE }
    }

    fn rise(&self) -> i128 {
        PER_UNIT + i128::from(self.alpha) * i128::from(self.temperature - 20 * MICRO)
    }

    /// Millionths of an ohm per kilometre at the conductor's temperature.
    pub(super) fn per_km(&self) -> Result<i64, InputFault> {
        quotient("temperature", i128::from(self.r20) * self.rise(), PER_UNIT)
    }

    /// `4.95 · (1 + 0.00393 · (70 − 20))`.
    pub(super) fn per_km_numbers(&self) -> String {
        format!("{} · (1 + 0.00{} · ({} − 20))", plain(self.r20), self.alpha, plain(self.temperature))
    }
}

const TABLE: Source = Source { standard: "IEC 60228", edition: "2004", clause: "Tables 1-3", mark: Mark::Sure };
const MAKER: Source = Source { standard: "", edition: "", clause: "maker", mark: Mark::Sure };

/// Reads [`CONDUCTOR_INPUTS`] and applies the formula.
pub(super) fn conductor(gather: &mut Gather<'_>) -> Result<Conductor, InputFault> {
    let wire = Wire::of(gather)?;
    let cold = i128::from(wire.r20) * i128::from(wire.length);
    let resistance = quotient("length", cold * wire.rise(), 1_000 * i128::from(MICRO) * PER_UNIT)?;
    let with_numbers = format!(
        "{} · {}/1000 · (1 + 0.00{} · ({} − 20)) = {} Ω",
        plain(wire.r20),
        plain(wire.length),
        wire.alpha,
        plain(wire.temperature),
        plain(resistance)
    );
    Ok(Conductor { resistance, with_numbers, source: wire.source() })
}

/// Millionths of an ohm per kilometre.
fn table_r20(size: i64, class: i64) -> Result<i64, InputFault> {
    let row = R20.iter().find(|(thousandths, ..)| thousandths * 1_000 == size);
    let (_, stiff, flexible) = row.ok_or(InputFault::OutOfRange { key: "conductor_size" })?;
    match class {
        1 | 2 => Ok(stiff * 1_000),
        5 | 6 => Ok(flexible * 1_000),
        _ => Err(InputFault::OutOfRange { key: "conductor_class" }),
    }
}

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let conductor = conductor(&mut gather)?;
    let source = conductor.source;
    let numbers = format!("R = {}", conductor.with_numbers);
    let check = gather.check("R = r20 · L/1000 · (1 + α · (θ − 20))", numbers, source);
    Ok(check.with_result("resistance", Unit::Ohm, conductor.resistance))
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;
    use crate::electrical::judge::{Verdict, Why};

    fn wire<'a>(size: &'a str, class: &'a str, length: &'a str, temperature: &'a str) -> [(&'a str, &'a str); 4] {
        [("conductor_size", size), ("conductor_class", class), ("length", length), ("temperature", temperature)]
    }

    #[test]
    fn worked_examples() {
        for (size, class, length, temperature, expected) in [
            ("4", "5", "10", "20", "0.04950"),
            ("4", "5", "10", "70", "0.05923"),
            ("16", "2", "12.5", "30", "0.01494"),
            ("35", "5", "3", "90", "0.002119"),
            ("6", "2", "25", "5", "0.07246"),
        ] {
            let check = good("F01", &wire(size, class, length, temperature));
            near(check.result("resistance"), expected);
            assert_eq!(check.verdict, Verdict::NotApplicable(Why::NothingToCompare));
        }
    }

    #[test]
    fn it_can_be_redone_by_hand() {
        let check = good("F01", &wire("4", "5", "10", "70"));
        assert_eq!(check.with_numbers, "R = 4.95 · 10/1000 · (1 + 0.00393 · (70 − 20)) = 0.059227 Ω");
        assert_eq!(check.inputs.len(), 4);
    }

    #[test]
    fn the_fifty_is_lower_when_flexible() {
        let stiff = good("F01", &wire("50", "2", "1000", "20")).result("resistance");
        let flexible = good("F01", &wire("50", "5", "1000", "20")).result("resistance");
        assert!(flexible < stiff);
    }

    #[test]
    fn outside_the_table_and_range() {
        let fault = |pairs: &[(&str, &str)]| run("F01", pairs).err();
        assert_eq!(fault(&wire("3", "2", "5", "20")), Some(InputFault::OutOfRange { key: "conductor_size" }));
        assert_eq!(fault(&wire("4", "3", "5", "20")), Some(InputFault::OutOfRange { key: "conductor_class" }));
        assert_eq!(fault(&wire("4", "2", "5", "200.000001")), Some(InputFault::OutOfRange { key: "temperature" }));
        assert_eq!(fault(&wire("4", "2", "5 6", "20")), Some(InputFault::NotOne { key: "length" }));
        let mut aluminium = wire("16", "2", "10", "70").to_vec();
        aluminium.push(("material", "2"));
        assert_eq!(fault(&aluminium), Some(InputFault::Missing { key: "resistance_per_km" }));
        aluminium.push(("resistance_per_km", "1.91"));
        // 1.91 · 0.01 · (1 + 0.00403 · 50)
        near(good("F01", &aluminium).result("resistance"), "0.022949");
    }
}
