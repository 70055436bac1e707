//! F15-FLOOR: pressure of a standing stack on the floor, p = 9.81·m/(w·b), in Pa.
//!
//! m in kg, width and depth of the foot in m. What the floor bears is a question for whoever knows the building:
//! homes are commonly designed for 1.5 to 2.0 kPa over an area (EN 1991-1-1), which says nothing about a single foot.
//! Without a stated capacity the verdict is "not determined".

use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F15-FLOOR", title: "check.F15-FLOOR", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 4] = [
    InputInfo::needed("mass", Unit::Kilogram),
    InputInfo::needed("width", Unit::Metre),
    InputInfo::needed("depth", Unit::Metre),
    // Stated by whoever answers for the building.
    InputInfo::optional("floor_capacity", Unit::Pascal),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let mass = gather.need("mass", 1, 10_000 * MICRO)?;
    let width = gather.need("width", 10_000, 10 * MICRO)?;
    let depth = gather.need("depth", 10_000, 10 * MICRO)?;
    let capacity = gather.maybe("floor_capacity", 1, 1_000_000_000 * MICRO)?;
    let micro = i128::from(MICRO);
    let pressure =
        quotient("mass", i128::from(mass) * 981 * micro * micro, 100 * i128::from(width) * i128::from(depth))?;
    let numbers =
        format!("p = 9.81 · {} / ({} · {}) = {} Pa", plain(mass), plain(width), plain(depth), plain(pressure));
    let source = Source { standard: "", edition: "", clause: "statics", mark: Mark::Sure };
    let mut check =
        gather.check("p = 9.81 · m / (w · b)", numbers, source).with_result("pressure", Unit::Pascal, pressure);
    if let Some(capacity) = capacity {
        check = check.with_limit(Unit::Pascal, Limit::at_most(capacity));
    }
    check.verdict = match capacity {
        None => Verdict::NotDetermined(Why::NoLimit),
        Some(capacity) if pressure > capacity => Verdict::Fail(Why::AboveMaximum),
        Some(_) => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;

    fn floor(more: &[(&str, &str)]) -> Check {
        good("F15-FLOOR", &[&[("mass", "240"), ("width", "0.60"), ("depth", "0.18")][..], more].concat())
    }

    #[test]
    fn worked_example_the_edge_and_one_past() {
        let check = floor(&[]);
        near(check.result("pressure"), "21800");
        assert_eq!(check.verdict, Verdict::NotDetermined(Why::NoLimit));
        assert_eq!(floor(&[("floor_capacity", "21800")]).verdict, Verdict::Pass);
        assert_eq!(floor(&[("floor_capacity", "21799.999999")]).verdict, Verdict::Fail(Why::AboveMaximum));
    }
}
