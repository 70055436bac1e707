//! The formulas, one file each, and the one way to compute them: [`compute`] by id with named inputs.
//!
//! All arithmetic is integer in millionths; the few quotients are rounded half away from zero before anything is
//! compared. F09 and the US curve of F11 need a logarithm and a power: by `libm`, rounded once. **Never enters:** a generic figure in place of a maker's. A missing maker limit is an optional input whose
//! absence gives "not determined".
//!
//! Start with [`CheckInfo`] (what a check needs), then any `fNN_*.rs`.

mod f01_conductor_resistance;
mod f02_voltage_drop;
mod f03_adiabatic;
mod f03_ground_by_device;
mod f04_protective_earth;
mod f05_insulation;
mod f06_module_matching;
mod f07_stack_window;
mod f08_ac_breaking;
mod f08_ac_device;
mod f08_changeover;
mod f08_dc_fuse;
mod f08_import;
mod f09_discharge_wait;
mod f10_disconnection_time;
mod f10_earth_electrode;
mod f10_island_fault;
mod f10_loop_impedance;
mod f11_rcd_times;
mod f11_rcd_type;
mod f12_busbar;
mod f13_runtime;
mod f14_energy_limits;
mod f15_floor_pressure;
mod f15_stack_bracket;
mod f15_wall_fixing;
mod f16_location;
mod f17_controllable;
mod f17_grid_route;
mod f17_unbalance;
mod f18_bus_termination;
mod f19_arc_flash;
mod f20_glove_class;
mod f20_torque;
mod f20_transport_mass;
mod stack_sum;
mod supply_band;

pub(crate) use f03_adiabatic::{SIZES, next_size as next_conductor_size};
pub(crate) use f08_dc_fuse::feeding_one;
pub(crate) use f15_stack_bracket::LEANING;

use super::check::{Check, CheckLimit, Inputs, ReadingTerms, Source};
use super::judge::{Limit, Verdict, Why};
use super::reading::ParsedReading;
use super::units::{MICRO, Quantity, Unit, ratio_micro};

/// One input of a check.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct InputInfo {
    pub key: &'static str,
    /// The unit whose millionths are given. Codes and counts are [`Unit::Count`].
    pub unit: Unit,
    /// A list; else exactly one value.
    pub many: bool,
    /// Without it [`compute`] refuses; without an optional one the verdict may be "not determined".
    pub required: bool,
}

impl InputInfo {
    const fn needed(key: &'static str, unit: Unit) -> InputInfo {
        InputInfo { key, unit, many: false, required: true }
    }

    const fn optional(key: &'static str, unit: Unit) -> InputInfo {
        InputInfo { key, unit, many: false, required: false }
    }

    const fn list(key: &'static str, unit: Unit, required: bool) -> InputInfo {
        InputInfo { key, unit, many: true, required }
    }
}

/// A check that can be computed.
#[derive(Clone, Copy, Debug)]
pub struct CheckInfo {
    pub id: &'static str,
    /// Key of its title in the language files.
    pub title: &'static str,
    pub inputs: &'static [InputInfo],
    run: fn(Gather<'_>) -> Result<Check, InputFault>,
}

/// Why a check could not be computed at all, with the key of the input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InputFault {
    UnknownCheck,
    Missing {
        key: &'static str,
    },
    /// Several values where one is meant.
    NotOne {
        key: &'static str,
    },
    /// Outside the valid range of the formula or its table.
    OutOfRange {
        key: &'static str,
    },
}

/// Every check, by number.
pub fn all() -> &'static [CheckInfo] {
    const ALL: [CheckInfo; 37] = [
        f01_conductor_resistance::INFO,
        f02_voltage_drop::INFO,
        f03_adiabatic::INFO,
        f03_ground_by_device::INFO,
        f04_protective_earth::INFO,
        f05_insulation::INFO,
        f06_module_matching::INFO,
        f07_stack_window::INFO,
        f08_dc_fuse::INFO,
        f08_ac_device::INFO,
        f08_ac_breaking::INFO,
        f08_changeover::INFO,
        f08_import::INFO,
        f09_discharge_wait::INFO,
        f10_loop_impedance::INFO,
        f10_earth_electrode::INFO,
        f10_disconnection_time::INFO,
        f10_island_fault::INFO,
        f11_rcd_times::INFO,
        f11_rcd_type::INFO,
        f12_busbar::INFO,
        f13_runtime::INFO,
        f14_energy_limits::INFO,
        f15_stack_bracket::INFO,
        f15_wall_fixing::INFO,
        f15_floor_pressure::INFO,
        f16_location::INFO,
        f17_grid_route::INFO,
        f17_controllable::INFO,
        f17_unbalance::INFO,
        f18_bus_termination::INFO,
        f19_arc_flash::INFO,
        f20_transport_mass::INFO,
        f20_torque::INFO,
        f20_glove_class::INFO,
        stack_sum::INFO,
        supply_band::INFO,
    ];
    &ALL
}

/// Computes one check. The key `reading` (where a check has it) is the measured value and always optional: without it
/// the check gives its limit and "no reading".
///
/// # Errors
/// A required input is missing, doubled or outside the formula's valid range.
pub fn compute(id: &str, inputs: &Inputs) -> Result<Check, InputFault> {
    let info = all().iter().find(|info| info.id == id).ok_or(InputFault::UnknownCheck)?;
    (info.run)(Gather { info, inputs, used: Vec::new() })
}

/// Key of the measured value.
const READING: &str = "reading";

/// Takes inputs out of the map, holds them to their ranges and remembers them for the printed check.
struct Gather<'a> {
    info: &'static CheckInfo,
    inputs: &'a Inputs,
    used: Vec<(&'static str, Quantity)>,
}

impl Gather<'_> {
    fn unit(&self, key: &'static str) -> Unit {
        let input = self.info.inputs.iter().find(|input| input.key == key);
        input.expect("every check lists the inputs that it takes").unit
    }

    /// All values of a list, each within the range.
    fn list(&mut self, key: &'static str, low: i64, high: i64) -> Result<Vec<i64>, InputFault> {
        let values = self.inputs.list(key);
        if values.iter().any(|value| !(low..=high).contains(value)) {
            return Err(InputFault::OutOfRange { key });
        }
        let unit = self.unit(key);
        self.used.extend(values.iter().map(|micro| (key, Quantity::of(unit, *micro))));
        Ok(values.to_vec())
    }

    fn maybe(&mut self, key: &'static str, low: i64, high: i64) -> Result<Option<i64>, InputFault> {
        match self.list(key, low, high)?.as_slice() {
            [] => Ok(None),
            [value] => Ok(Some(*value)),
            _ => Err(InputFault::NotOne { key }),
        }
    }

    fn need(&mut self, key: &'static str, low: i64, high: i64) -> Result<i64, InputFault> {
        self.maybe(key, low, high)?.ok_or(InputFault::Missing { key })
    }

    /// A whole number, given in millionths like everything.
    fn maybe_whole(&mut self, key: &'static str, low: i64, high: i64) -> Result<Option<i64>, InputFault> {
        match self.maybe(key, low * MICRO, high * MICRO)? {
            Some(micro) if micro % MICRO != 0 => Err(InputFault::OutOfRange { key }),
            micro => Ok(micro.map(|micro| micro / MICRO)),
        }
    }

    fn whole(&mut self, key: &'static str, low: i64, high: i64) -> Result<i64, InputFault> {
        self.maybe_whole(key, low, high)?.ok_or(InputFault::Missing { key })
    }

    /// The measured value may be anything.
    fn reading(&mut self) -> Result<Option<ParsedReading>, InputFault> {
        let unit = self.unit(READING);
        let micro = self.maybe(READING, i64::MIN, i64::MAX)?;
        Ok(micro.map(|micro| ParsedReading::exact(Quantity::of(unit, micro))))
    }

    /// The check so far: nothing compared yet.
    fn check(self, formula: &'static str, with_numbers: String, source: Source) -> Check {
        Check {
            id: self.info.id,
            title: self.info.title,
            inputs: self.used,
            formula,
            with_numbers,
            results: Vec::new(),
            limit: None,
            terms: ReadingTerms::default(),
            notes: Vec::new(),
            source,
            house: &[],
            verdict: Verdict::NotApplicable(Why::NothingToCompare),
        }
    }
}

impl Check {
    fn with_result(mut self, key: &'static str, unit: Unit, micro: i64) -> Check {
        self.results.push((key, Quantity::of(unit, micro)));
        self
    }

    fn with_limit(mut self, unit: Unit, limit: Limit) -> Check {
        self.limit = Some(CheckLimit { unit, limit });
        self
    }

    /// The last step of a check on a reading.
    fn concluded(mut self, reading: Option<ParsedReading>) -> Check {
        self.verdict = match reading {
            Some(reading) => self.judge_reading(&reading),
            None => Verdict::NotDetermined(self.terms.limit_missing.unwrap_or(Why::NoReading)),
        };
        self
    }
}

/// Digits of millionths for a formula with numbers.
fn plain(micro: i64) -> String {
    Quantity::of(Unit::Count, micro).plain()
}

/// A list for a formula with numbers.
fn joined(values: &[i64], sign: &str) -> String {
    values.iter().map(|value| plain(*value)).collect::<Vec<_>>().join(sign)
}

/// Sum within `i64`; the ranges of the inputs keep a real one far below.
fn sum(key: &'static str, values: &[i64]) -> Result<i64, InputFault> {
    let total: i128 = values.iter().map(|value| i128::from(*value)).sum();
    i64::try_from(total).map_err(|_| InputFault::OutOfRange { key })
}

/// A rounded quotient, or the input that made it too large.
fn quotient(key: &'static str, num: i128, den: i128) -> Result<i64, InputFault> {
    ratio_micro(num, den).ok_or(InputFault::OutOfRange { key })
}

/// Whole square root, rounded down; 0 for what is negative.
fn root(value: i128) -> i128 {
    value.max(0).isqrt()
}

/// Resistances side by side: 1/Σ(1/R), in millionths of an ohm; `None` for an empty list or a short.
fn parallel(values: &[i64]) -> Option<i64> {
    /// Conductances are counted in this part of 1/µΩ, so that a teraohm still has digits.
    const SCALE: i128 = 1_000_000_000_000_000_000_000_000_000_000;
    if values.is_empty() || values.iter().any(|value| *value <= 0) {
        return None;
    }
    let conductance: i128 = values.iter().map(|value| SCALE / i128::from(*value)).sum();
    ratio_micro(SCALE, conductance)
}

#[cfg(test)]
mod support {
    use super::*;

    /// Values in whole units and millionths: `("length", 12.0)` would be a float, so tests write decimal text.
    pub(super) fn run(id: &str, pairs: &[(&str, &str)]) -> Result<Check, InputFault> {
        let micro = |text: &str| Quantity::parse(Unit::Count, text, '.').expect("tests write decimals").micro;
        let mut inputs = Inputs::new();
        for (key, values) in pairs {
            for value in values.split_whitespace() {
                inputs.push(key, micro(value));
            }
        }
        compute(id, &inputs)
    }

    pub(super) fn good(id: &str, pairs: &[(&str, &str)]) -> Check {
        run(id, pairs).expect("the test's inputs are complete")
    }

    /// Within half a percent, the tolerance of the printed examples.
    #[track_caller]
    pub(super) fn near(micro: Option<Quantity>, expected: &str) {
        let got = micro.expect("the check has that result").micro;
        let expected = Quantity::parse(Unit::Count, expected, '.').expect("tests write decimals").micro;
        let slack = (expected.abs() / 200).max(1);
        assert!((got - expected).abs() <= slack, "{} is not {}", plain(got), plain(expected));
    }
}

#[cfg(test)]
mod tests {
    use super::support::run;
    use super::*;

    #[test]
    fn ids_and_keys_are_unique() {
        for (index, info) in all().iter().enumerate() {
            assert!(all()[index + 1..].iter().all(|other| other.id != info.id), "{}", info.id);
            for (place, input) in info.inputs.iter().enumerate() {
                assert!(info.inputs[place + 1..].iter().all(|other| other.key != input.key), "{}", input.key);
            }
        }
    }

    #[test]
    fn every_required_input_is_missed_and_named() {
        for info in all() {
            let Some(first) = info.inputs.iter().find(|input| input.required) else {
                continue;
            };
            assert_eq!(run(info.id, &[]).err(), Some(InputFault::Missing { key: first.key }), "{}", info.id);
        }
        assert_eq!(run("F99", &[]).err(), Some(InputFault::UnknownCheck));
    }

    #[test]
    fn extreme_inputs_are_refused_or_answered_but_never_overflow() {
        for info in all() {
            for value in [i64::MIN, -1, 0, 1, MICRO, i64::MAX] {
                let inputs: Inputs = info
                    .inputs
                    .iter()
                    .flat_map(|input| [(input.key, value)].repeat(1 + usize::from(input.many)))
                    .collect();
                if let Ok(check) = compute(info.id, &inputs) {
                    assert!(!check.with_numbers.is_empty());
                }
            }
        }
    }

    #[test]
    fn parallel_resistances() {
        let mega = |value: i64| value * MICRO * MICRO;
        let together = parallel(&[mega(200), mega(150), mega(100)]);
        assert_eq!(together.map(|micro| micro / MICRO), Some(46_153_846));
        assert_eq!(parallel(&[120 * MICRO, 120 * MICRO]), Some(60 * MICRO));
        assert_eq!(parallel(&[]), None);
        assert_eq!(parallel(&[0, 5]), None);
    }
}
