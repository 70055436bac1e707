//! The kinds of measurement of an installation, each with the unit and prefix in which it is typed and the range outside
//! which a typing slip is likelier than a reading. The ranges are house figures and no limits.

use super::reading::{FieldSpec, QuantityKind as Kind};
use super::units::{Prefix, Unit};

/// One kind of measurement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Measurement {
    /// Number in the catalogue, with a suffix where one number has two ranges.
    pub id: &'static str,
    pub field: FieldSpec,
}

const fn row(id: &'static str, kind: Kind, unit: Unit, entry: Prefix, low: i64, high: i64) -> Measurement {
    Measurement { id, field: FieldSpec { unit, kind, entry, sanity_min: low, sanity_max: high, range_top: None } }
}

/// One thousandth and one million of a unit, in millionths.
const MILLI: i64 = 1_000;
const ONE: i64 = 1_000_000;
const KILO: i64 = 1_000_000_000;

/// Every measurement, by number.
pub const MEASUREMENTS: [Measurement; 31] = [
    row("M01-LN", Kind::SupplyVoltage, Unit::Volt, Prefix::One, 90 * ONE, 300 * ONE),
    row("M01-LL", Kind::SupplyVoltage, Unit::Volt, Prefix::One, 180 * ONE, 480 * ONE),
    row("M02", Kind::Frequency, Unit::Hertz, Prefix::One, 45 * ONE, 65 * ONE),
    row("M03", Kind::ProveDead, Unit::Volt, Prefix::One, 0, 1000 * ONE),
    row("M04", Kind::ModuleVoltage, Unit::Volt, Prefix::One, -100 * ONE, 600 * ONE),
    row("M05", Kind::StateOfCharge, Unit::Percent, Prefix::One, 0, 100 * ONE),
    row("M06", Kind::Temperature, Unit::Celsius, Prefix::One, -30 * ONE, 80 * ONE),
    row("M07", Kind::StackVoltage, Unit::Volt, Prefix::One, -1100 * ONE, 1100 * ONE),
    row("M08", Kind::Continuity, Unit::Ohm, Prefix::One, 0, 200 * ONE),
    row("M09", Kind::LeadNull, Unit::Ohm, Prefix::One, 0, ONE),
    row("M10", Kind::Insulation, Unit::Ohm, Prefix::Mega, 0, 1_000_000_000 * KILO),
    row("M11", Kind::LoopImpedance, Unit::Ohm, Prefix::One, 10 * MILLI, 2000 * ONE),
    row("M12", Kind::ProspectiveCurrent, Unit::Ampere, Prefix::Kilo, 100 * ONE, 50 * KILO),
    row("M13", Kind::RcdTime, Unit::Second, Prefix::Milli, 0, 2000 * MILLI),
    row("M14", Kind::RcdCurrent, Unit::Ampere, Prefix::Milli, MILLI, 700 * MILLI),
    row("M15", Kind::EarthElectrode, Unit::Ohm, Prefix::One, 0, 5000 * ONE),
    row("M16", Kind::Torque, Unit::NewtonMetre, Prefix::One, 200 * MILLI, 200 * ONE),
    row("M17", Kind::BusResistance, Unit::Ohm, Prefix::One, 0, 1_000_000 * ONE),
    row("M18", Kind::Clearance, Unit::Metre, Prefix::Milli, 0, 20 * ONE),
    row("M19", Kind::Level, Unit::MetrePerMetre, Prefix::Milli, 0, 50 * MILLI),
    row("M20", Kind::Power, Unit::Watt, Prefix::Kilo, -50 * KILO, 50 * KILO),
    row("M21", Kind::Power, Unit::Watt, Prefix::Kilo, -50 * KILO, 50 * KILO),
    row("M22", Kind::Duration, Unit::Second, Prefix::One, 0, 600 * ONE),
    row("M23-LN", Kind::SupplyVoltage, Unit::Volt, Prefix::One, 90 * ONE, 300 * ONE),
    row("M23-LL", Kind::SupplyVoltage, Unit::Volt, Prefix::One, 180 * ONE, 480 * ONE),
    row("M23-F", Kind::Frequency, Unit::Hertz, Prefix::One, 45 * ONE, 65 * ONE),
    row("M24", Kind::NeutralEarthVoltage, Unit::Volt, Prefix::One, 0, 300 * ONE),
    row("M25", Kind::Duration, Unit::Second, Prefix::One, 0, 900 * ONE),
    row("M26", Kind::TemperatureDifference, Unit::Kelvin, Prefix::One, 0, 150 * ONE),
    // Not in the catalogue of tests, but typed on the same screens: cable size and leakage current.
    row("X-SIZE", Kind::ConductorSize, Unit::SquareMillimetre, Prefix::One, 500 * MILLI, 300 * ONE),
    row("X-LEAK", Kind::Leakage, Unit::Ampere, Prefix::Milli, 0, ONE),
];

/// The measurement with that number.
pub fn measurement(id: &str) -> Option<&'static Measurement> {
    MEASUREMENTS.iter().find(|measurement| measurement.id == id)
}

impl FieldSpec {
    /// The field of a catalogue number.
    pub fn of(id: &str) -> Option<FieldSpec> {
        measurement(id).map(|measurement| measurement.field)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_unique_and_ranges_stand_upright() {
        for (index, one) in MEASUREMENTS.iter().enumerate() {
            assert!(one.field.sanity_min < one.field.sanity_max, "{}", one.id);
            assert!(MEASUREMENTS[index + 1..].iter().all(|other| other.id != one.id), "{}", one.id);
        }
        assert_eq!(FieldSpec::of("M10").map(|field| field.sanity_max), Some(1_000_000_000_000_000_000));
        assert_eq!(FieldSpec::of("M99"), None);
    }
}
