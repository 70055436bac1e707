//! F03-NEC: least copper equipment grounding conductor by the rating of the device before it, in the US.
//!
//! NEC 2023, Table 250.122, written in mm² of the AWG sizes 14, 12, 10, 8, 6, 4, 3 (to be checked against the edition in
//! force; larger line conductors for voltage drop ask for a larger ground too). Valid from 15 to 400 A.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F03-NEC", title: "check.F03-NEC", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 3] = [
    InputInfo::needed("device_rating", Unit::Ampere),
    InputInfo::optional("protective_size", Unit::SquareMillimetre),
    // The larger counts.
    InputInfo::optional("maker_size", Unit::SquareMillimetre),
];

/// Amperes up to which the size in hundredths of mm² holds.
const GROUNDS: [(i64, i64); 7] =
    [(15, 208), (20, 331), (60, 526), (100, 837), (200, 1_330), (300, 2_115), (400, 2_667)];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let rating = gather.need("device_rating", 1, 400 * MICRO)?;
    let size = gather.maybe("protective_size", 1, 1_000 * MICRO)?;
    let maker = gather.maybe("maker_size", 1, 1_000 * MICRO)?;
    let row = GROUNDS.iter().find(|(amperes, _)| rating <= amperes * MICRO);
    let (_, hundredths) = row.ok_or(InputFault::OutOfRange { key: "device_rating" })?;
    let by_table = hundredths * MICRO / 100;
    let least = by_table.max(maker.unwrap_or(0));
    let mut numbers = format!("I_n = {} A → {} mm²", plain(rating), plain(by_table));
    if let Some(maker) = maker {
        numbers += &format!("; S_maker = {} mm²", plain(maker));
    }
    let source = Source { standard: "NEC", edition: "2023", clause: "Table 250.122", mark: Mark::Check };
    let mut check = gather
        .check("S ≥ table by I_n", numbers, source)
        .with_result("least_size", Unit::SquareMillimetre, least)
        .with_result("size_to_use", Unit::SquareMillimetre, least)
        .with_limit(Unit::SquareMillimetre, Limit::at_least(least));
    check.verdict = match size {
        None => Verdict::NotDetermined(Why::NoReading),
        Some(size) if size < least => Verdict::Fail(Why::ConductorTooSmall),
        Some(_) => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;

    #[test]
    fn the_edges_and_one_past() {
        for (amperes, least, next) in
            [("15", "2.08", "3.31"), ("20", "3.31", "5.26"), ("60", "5.26", "8.37"), ("100", "8.37", "13.3")]
        {
            near(good("F03-NEC", &[("device_rating", amperes)]).result("least_size"), least);
            let past = format!("{amperes}.000001");
            near(good("F03-NEC", &[("device_rating", &past)]).result("least_size"), next);
        }
        let beyond = run("F03-NEC", &[("device_rating", "400.000001")]);
        assert_eq!(beyond.err(), Some(InputFault::OutOfRange { key: "device_rating" }));
        let chosen = |size| good("F03-NEC", &[("device_rating", "60"), ("protective_size", size)]).verdict;
        assert_eq!(chosen("5.26"), Verdict::Pass);
        assert_eq!(chosen("5.259999"), Verdict::Fail(Why::ConductorTooSmall));
        let maker = |size| good("F03-NEC", &[("device_rating", "60"), ("maker_size", size)]);
        near(maker("8.37").result("least_size"), "8.37");
        near(maker("3.31").result("least_size"), "5.26");
    }
}
