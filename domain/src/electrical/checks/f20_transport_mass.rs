//! F20: may lithium batteries go by road under the small-load rule? Mass of the articles without packing ≤ 333 kg.
//!
//! ADR 2025, 1.1.3.6: UN 3480 is transport category 2, 3 points a kilogram, 1000 points for the vehicle, so 333 kg, limit
//! inclusive; `other_points` are those of other goods aboard. Above it the full rules of the road apply. Damaged or
//! defective batteries do not use this threshold at all: ask the safety adviser (special provision 376). kg.

use super::{CheckInfo, Gather, InputFault, InputInfo, joined, plain, sum};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F20", title: "check.F20", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 3] = [
    InputInfo::list("article_mass", Unit::Kilogram, true),
    InputInfo::optional("other_points", Unit::Count),
    // 1: damaged or defective.
    InputInfo::optional("damaged", Unit::Count),
];

/// Three points a kilogram; category 2 alone may reach 333 kg, 999 points.
const POINTS_PER_KG: i64 = 3;
const POINTS_MAX: i64 = 1_000 * MICRO;
const MASS_MAX: i64 = 333 * MICRO;

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let masses = gather.list("article_mass", 0, 100_000 * MICRO)?;
    let others = gather.maybe("other_points", 0, 1_000_000 * MICRO)?.unwrap_or(0);
    let damaged = gather.maybe_whole("damaged", 0, 1)? == Some(1);
    if masses.is_empty() {
        return Err(InputFault::Missing { key: "article_mass" });
    }
    let mass = sum("article_mass", &masses)?;
    let points = sum("article_mass", &[mass.saturating_mul(POINTS_PER_KG), others])?;
    let numbers = format!(
        "m = {} = {} kg; 3 · {} + {} = {}",
        joined(&masses, " + "),
        plain(mass),
        plain(mass),
        plain(others),
        plain(points)
    );
    let source = Source { standard: "ADR", edition: "2025", clause: "1.1.3.6", mark: Mark::Sure };
    let mut check = gather
        .check("Σm ≤ 333 kg; 3 · Σm + others ≤ 1000", numbers, source)
        .with_result("transport_mass", Unit::Kilogram, mass)
        .with_result("transport_points", Unit::Count, points)
        .with_limit(Unit::Kilogram, Limit::at_most(MASS_MAX));
    check.verdict = if damaged {
        Verdict::NotDetermined(Why::DamagedGoods)
    } else if mass > MASS_MAX || points > POINTS_MAX {
        check.notes.push(CheckNote::FullTransportRules);
        Verdict::NotDetermined(Why::ExtraRequirement)
    } else {
        Verdict::Pass
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;

    fn load(masses: &str, more: &[(&str, &str)]) -> Check {
        good("F20", &[&[("article_mass", masses)][..], more].concat())
    }

    #[test]
    fn worked_examples() {
        let six = load(&"48.5 ".repeat(6), &[]);
        near(six.result("transport_mass"), "291");
        assert_eq!(six.verdict, Verdict::Pass);
        let seven = load(&"48.5 ".repeat(7), &[]);
        near(seven.result("transport_mass"), "339.5");
        assert_eq!(seven.verdict, Verdict::NotDetermined(Why::ExtraRequirement));
        assert_eq!(seven.notes, [CheckNote::FullTransportRules]);
    }

    #[test]
    fn the_edges_and_one_past() {
        assert_eq!(load("333", &[]).verdict, Verdict::Pass);
        assert_eq!(load("333.000001", &[]).verdict, Verdict::NotDetermined(Why::ExtraRequirement));
        assert_eq!(load("300", &[("other_points", "100")]).verdict, Verdict::Pass);
        let mixed = load("300", &[("other_points", "100.000001")]).verdict;
        assert_eq!(mixed, Verdict::NotDetermined(Why::ExtraRequirement));
        assert_eq!(load("10", &[("damaged", "1")]).verdict, Verdict::NotDetermined(Why::DamagedGoods));
    }
}
