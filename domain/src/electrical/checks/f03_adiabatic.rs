//! F03: least protective conductor that bears the fault, S ≥ √(I²·t)/k.
//!
//! S in mm², I in A, t in s up to 5 s, k of IEC 60364-5-54:2011, Tables A.54.2 to A.54.5 (BS 7671, 543.1.3). Below
//! 0.1 s and for current-limiting devices the device's own I²t (A²s) takes the place of I²·t. Where no fault figures
//! are given the table 54.2 by line conductor decides: up to 16 the same, up to 35 16, above half. A separate
//! conductor has at least 2.5 mm² protected against damage and 4 mm² without. Sizes 1.5 to 120 mm².
//!
//! Heat may take the place of the table where the device that clears the fault is known for certain. With `larger_counts` it may
//! only add to it, and the line conductor must be given. What the maker asks for is never undercut.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient, root};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F03", title: "check.F03", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 9] = [
    // 1 separate, PVC; 2 separate, XLPE; 3 core of the cable, PVC; 4 core, XLPE; 5 steel armour, PVC; 6 armour, XLPE;
    // 7 separate aluminium, PVC; 8 separate aluminium, XLPE.
    InputInfo::needed("protective_kind", Unit::Count),
    InputInfo::optional("fault_current", Unit::Ampere),
    InputInfo::optional("disconnection_time", Unit::Second),
    InputInfo::optional("let_through", Unit::AmpereSquaredSecond),
    InputInfo::optional("line_size", Unit::SquareMillimetre),
    // 1: laid so that it cannot be damaged.
    InputInfo::optional("mechanically_protected", Unit::Count),
    InputInfo::optional("protective_size", Unit::SquareMillimetre),
    InputInfo::optional("maker_size", Unit::SquareMillimetre),
    // 1: of heat and table the larger.
    InputInfo::optional("larger_counts", Unit::Count),
];

const K: [i64; 8] = [143, 176, 115, 143, 51, 46, 95, 116];

/// Standard cross-sections in thousandths of mm².
pub(crate) const SIZES: [i64; 12] =
    [1_500, 2_500, 4_000, 6_000, 10_000, 16_000, 25_000, 35_000, 50_000, 70_000, 95_000, 120_000];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const SIZE_MAX: i64 = 1_000 * MICRO;
    let kind = gather.whole("protective_kind", 1, 8)?;
    let fault = gather.maybe("fault_current", 1, 1_000_000 * MICRO)?;
    let time = gather.maybe("disconnection_time", 1, 5 * MICRO)?;
    let let_through = gather.maybe("let_through", 1, 1_000_000_000_000 * MICRO)?;
    let line = gather.maybe("line_size", 1, SIZE_MAX)?;
    let protected = gather.maybe_whole("mechanically_protected", 0, 1)? == Some(1);
    let size = gather.maybe("protective_size", 1, SIZE_MAX)?;
    let maker = gather.maybe("maker_size", 1, SIZE_MAX)?;
    let larger = gather.maybe_whole("larger_counts", 0, 1)? == Some(1);

    let k = K[usize::try_from(kind - 1).map_err(|_| InputFault::OutOfRange { key: "protective_kind" })?];
    let too_fast = let_through.is_none() && time.is_some_and(|time| time < MICRO / 10);
    // I²t in 10^-18 A²s.
    let heat = match (let_through, fault, time) {
        (Some(given), ..) => Some(i128::from(given) * i128::from(MICRO) * i128::from(MICRO)),
        (None, Some(fault), Some(time)) => Some(i128::from(fault) * i128::from(fault) * i128::from(time)),
        (None, ..) => None,
    };
    // √heat is in 10^-9.
    let by_heat = heat.map(|heat| quotient("fault_current", root(heat), 1_000 * i128::from(k))).transpose()?;
    let by_table = line.map(table);
    let separate = matches!(kind, 1 | 2 | 7 | 8);
    let minimum = if !separate {
        0
    } else if protected {
        2_500_000
    } else {
        4_000_000
    };
    let by_table = match (larger, by_table) {
        (true, None) => return Err(InputFault::Missing { key: "line_size" }),
        (false, Some(_)) if by_heat.is_some() => None,
        (_, by_table) => by_table,
    };
    let Some(computed) = by_heat.max(by_table) else {
        return Err(InputFault::Missing { key: if fault.is_none() { "fault_current" } else { "disconnection_time" } });
    };
    let asked = computed.max(maker.unwrap_or(0));
    let least = asked.max(minimum);
    let table_numbers = by_table.map(|size| format!("S_line = {} mm² → {} mm²", plain(line.unwrap_or(0)), plain(size)));
    let heat_numbers = by_heat.map(|size| match let_through {
        Some(heat) => format!("√{} / {k} = {} mm²", plain(heat), plain(size)),
        None => {
            format!("√({}² · {}) / {k} = {} mm²", plain(fault.unwrap_or(0)), plain(time.unwrap_or(0)), plain(size))
        }
    });
    let maker_numbers = maker.map(|size| format!("S_maker = {} mm²", plain(size)));
    let parts: Vec<String> = [table_numbers, heat_numbers, maker_numbers].into_iter().flatten().collect();
    let numbers = parts.join("; ");
    let clause = if by_heat == Some(computed) { "543.1.2" } else { "Table 54.2" };
    let source = Source { standard: "IEC 60364-5-54", edition: "2011", clause, mark: Mark::Sure };
    let mut check = gather
        .check("S ≥ √(I² · t) / k, or the device's I²t; else by the line conductor", numbers, source)
        .with_result("least_size", Unit::SquareMillimetre, asked)
        .with_limit(Unit::SquareMillimetre, Limit::at_least(least));
    if let Some(next) = next_size(asked) {
        check = check.with_result("next_size", Unit::SquareMillimetre, next);
    }
    if let Some(next) = next_size(least) {
        check = check.with_result("size_to_use", Unit::SquareMillimetre, next);
    }
    if minimum > asked {
        check.notes.push(CheckNote::MechanicalMinimumUsed);
    }
    check.verdict = match size {
        Some(size) if size < least => Verdict::Fail(Why::ConductorTooSmall),
        _ if too_fast => Verdict::NotDetermined(Why::LetThroughNeeded),
        None => Verdict::NotDetermined(Why::NoReading),
        Some(_) => Verdict::Pass,
    };
    Ok(check)
}

/// Table 54.2, equal material.
fn table(line: i64) -> i64 {
    const SIXTEEN: i64 = 16_000_000;
    if line <= SIXTEEN {
        line
    } else if line <= 35_000_000 {
        SIXTEEN
    } else {
        line / 2
    }
}

/// The first standard size that suffices, in millionths of mm².
pub(crate) fn next_size(least: i64) -> Option<i64> {
    SIZES.iter().map(|size| size * 1_000).find(|size| *size >= least)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;
    use crate::electrical::units::Quantity;

    fn plain_result(check: &Check, key: &str) -> String {
        check.result(key).map_or_else(String::new, Quantity::plain)
    }

    #[test]
    fn worked_examples() {
        for (kind, fault, time, least, next) in [
            ("1", "1000", "0.1", "2.21", "2.5"),
            ("3", "3000", "0.4", "16.50", "25"),
            ("1", "5000", "0.2", "15.64", "16"),
            ("2", "800", "5", "10.16", "16"),
        ] {
            let pairs = [("protective_kind", kind), ("fault_current", fault), ("disconnection_time", time)];
            let check = good("F03", &pairs);
            near(check.result("least_size"), least);
            assert_eq!(plain_result(&check, "next_size"), next);
            assert_eq!(check.verdict, Verdict::NotDetermined(Why::NoReading));
        }
        let limited = |protected| {
            good("F03", &[("protective_kind", "1"), ("let_through", "30000"), ("mechanically_protected", protected)])
        };
        near(limited("1").result("least_size"), "1.21");
        assert_eq!(plain_result(&limited("1"), "next_size"), "1.5");
        assert_eq!(plain_result(&limited("1"), "size_to_use"), "2.5");
        assert_eq!(plain_result(&limited("0"), "size_to_use"), "4");
        assert_eq!(limited("0").notes, [CheckNote::MechanicalMinimumUsed]);
    }

    #[test]
    fn the_table_by_line_conductor() {
        for (line, least) in [("6", "6"), ("16", "16"), ("16.000001", "16"), ("35", "16"), ("50", "25"), ("95", "47.5")]
        {
            let check = good("F03", &[("protective_kind", "3"), ("line_size", line)]);
            assert_eq!(plain_result(&check, "least_size"), least, "{line}");
        }
    }

    #[test]
    fn the_larger_of_table_heat_and_maker_counts_where_it_is_asked_for() {
        let asked = |more: &[(&str, &str)]| {
            let pairs = [("protective_kind", "1"), ("line_size", "35"), ("larger_counts", "1")];
            plain_result(&good("F03", &[&pairs[..], more].concat()), "least_size")
        };
        assert_eq!(asked(&[]), "16");
        // √30000 / 143 = 1.2; √9000000 / 143 = 20.98
        assert_eq!(asked(&[("let_through", "30000")]), "16");
        assert_eq!(asked(&[("let_through", "9000000")]), "20.979021");
        assert_eq!(asked(&[("maker_size", "25")]), "25");
        assert_eq!(asked(&[("maker_size", "10")]), "16");
        let no_line = [("protective_kind", "1"), ("let_through", "30000"), ("larger_counts", "1")];
        assert_eq!(run("F03", &no_line).err(), Some(InputFault::Missing { key: "line_size" }));
        // Elsewhere either way is allowed, and heat alone decides.
        let either = good("F03", &[("protective_kind", "3"), ("line_size", "35"), ("let_through", "30000")]);
        near(either.result("least_size"), "1.506");
        let numbers = good("F03", &[&no_line[..], &[("line_size", "35"), ("maker_size", "10")]].concat()).with_numbers;
        assert_eq!(numbers, "S_line = 35 mm² → 16 mm²; √30000 / 143 = 1.211224 mm²; S_maker = 10 mm²");
    }

    #[test]
    fn the_edges_and_one_past() {
        let chosen = |size| {
            let fault = [("protective_kind", "3"), ("fault_current", "1150"), ("disconnection_time", "1")];
            good("F03", &[&fault[..], &[("protective_size", size)]].concat()).verdict
        };
        // √(1150² · 1) / 115 = 10
        assert_eq!(chosen("10"), Verdict::Pass);
        assert_eq!(chosen("9.999999"), Verdict::Fail(Why::ConductorTooSmall));
        let timed = |time| {
            let pairs = [("protective_kind", "1"), ("fault_current", "100"), ("disconnection_time", time)];
            run("F03", &[&pairs[..], &[("protective_size", "16")]].concat()).map(|check| check.verdict)
        };
        assert_eq!(timed("0.1"), Ok(Verdict::Pass));
        assert_eq!(timed("0.099999"), Ok(Verdict::NotDetermined(Why::LetThroughNeeded)));
        assert_eq!(timed("5"), Ok(Verdict::Pass));
        assert_eq!(timed("5.000001"), Err(InputFault::OutOfRange { key: "disconnection_time" }));
    }
}
