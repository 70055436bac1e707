//! F11: trip time of a residual-current device at a multiple of its rated current, in s.
//!
//! General type 300, 150, 40 ms at 1, 2, 5 times; selective (S) 130-500, 60-200, 50-150 ms (IEC 61008-1 and 61009-1:2010).
//! BS 7671:2018+A2:2022, 643.7 and 643.8: one alternating test at I_Δn, 300 ms. AS/NZS 3017:2022: type II 300 ms,
//! type I (10 mA) 40 ms; New Zealand asks 40 ms at 5 times (Electricity (Safety) Regulations 2010, to be checked).
//! UL 943 class A: t = (20/I)^1.43 with I in mA from 6 mA. At half the rated current none may trip. The worst of both
//! half-waves counts and is given as the reading.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F11", title: "check.F11", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 5] = [
    // 1 general (IEC), 2 selective, 3 general (BS 7671 from A2:2022), 4 type II Australia, 5 type II New Zealand,
    // 6 type I (10 mA), 7 class A (US).
    InputInfo::needed("rcd_kind", Unit::Count),
    // 0.5, 1, 2 or 5; not for class A.
    InputInfo::optional("test_multiple", Unit::Count),
    // For class A.
    InputInfo::optional("test_current", Unit::Ampere),
    // Of the test at half the rated current: 0 did not trip, 1 tripped.
    InputInfo::optional("tripped", Unit::Count),
    InputInfo::optional(READING, Unit::Second),
];

const HALF: i64 = MICRO / 2;
const CLASS_A: i64 = 7;
/// Below 6 mA a class A device need not trip.
const CLASS_A_FROM: i64 = 6_000;
const CLASS_A_MAY: i64 = 4_000;

const fn source(standard: &'static str, edition: &'static str, clause: &'static str, mark: Mark) -> Source {
    Source { standard, edition, clause, mark }
}

/// Milliseconds at 1, 2 and 5 times; `None` where the standard asks no such test.
type Row = [Option<(i64, i64)>; 3];

const fn most(milliseconds: i64) -> Option<(i64, i64)> {
    Some((0, milliseconds))
}

const ROWS: [(Row, Source); 6] = [
    ([most(300), most(150), most(40)], source("IEC 61008-1", "2010", "Table 1", Mark::Sure)),
    ([Some((130, 500)), Some((60, 200)), Some((50, 150))], source("IEC 61008-1", "2010", "Table 1", Mark::Sure)),
    ([most(300), None, None], source("BS 7671", "2018+A2:2022", "643.7, 643.8", Mark::Sure)),
    ([most(300), None, None], source("AS/NZS 3017", "2022", "type II", Mark::Sure)),
    ([most(300), None, most(40)], source("AS/NZS 3017", "2022", "type II; NZ r. 24", Mark::Check)),
    ([most(40), None, None], source("AS/NZS 3017", "2022", "type I", Mark::Sure)),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let kind = gather.whole("rcd_kind", 1, CLASS_A)?;
    let multiple = gather.maybe("test_multiple", HALF, 5 * MICRO)?;
    let current = gather.maybe("test_current", 1, MICRO)?;
    let tripped = gather.maybe_whole("tripped", 0, 1)?;
    let reading = gather.reading()?;
    if kind == CLASS_A {
        let current = current.ok_or(InputFault::Missing { key: "test_current" })?;
        return Ok(class_a(gather, current).concluded_or_quiet(reading, current));
    }
    let (row, source) = ROWS[usize::try_from(kind - 1).unwrap_or(0)];
    let multiple = multiple.ok_or(InputFault::Missing { key: "test_multiple" })?;
    let column = match multiple {
        HALF => {
            let mut check = gather.check("no trip at ½ · I_Δn", "½ · I_Δn: no trip".to_string(), source);
            check.terms.limit_missing = Some(Why::TrippedBelowRated);
            check.verdict = match (tripped, reading) {
                (Some(1), _) | (_, Some(_)) => Verdict::Fail(Why::TrippedBelowRated),
                (Some(_), None) => Verdict::Pass,
                (None, None) => Verdict::NotDetermined(Why::NoReading),
            };
            return Ok(check);
        }
        1_000_000 => row[0],
        2_000_000 => row[1],
        5_000_000 => row[2],
        _ => return Err(InputFault::OutOfRange { key: "test_multiple" }),
    };
    let times = plain(multiple);
    let Some((low, high)) = column else {
        // Not asked for by this standard: recorded, never judged.
        return Ok(gather.check("t(n · I_Δn)", format!("{times} · I_Δn: no limit"), source));
    };
    let limit = match low {
        0 => Limit::at_most(high * 1_000),
        low => Limit::between(low * 1_000, high * 1_000),
    };
    let numbers = format!("{times} · I_Δn: {} ≤ t ≤ {} s", plain(low * 1_000), plain(high * 1_000));
    Ok(gather.check("t_min ≤ t(n · I_Δn) ≤ t_max", numbers, source).with_limit(Unit::Second, limit).concluded(reading))
}

fn class_a(gather: Gather<'_>, current: i64) -> Check {
    let source = source("UL 943", "", "class A", Mark::Sure);
    // I in mA; libm gives the same bits natively and in wasm, and the result is rounded once.
    let most = libm::round(libm::pow(20_000.0 / current as f64, 1.43) * MICRO as f64) as i64;
    let numbers = format!("t = (20 / {})^1.43 = {} s", plain(current * 1_000), plain(most));
    let check = gather.check("t ≤ (20 mA / I)^1.43 s from 6 mA; no trip below 4 mA", numbers, source);
    if current < CLASS_A_FROM {
        return check;
    }
    check.with_result("trip_time_max", Unit::Second, most).with_limit(Unit::Second, Limit::at_most(most))
}

impl Check {
    /// Below 4 mA a trip is a failure, from 4 to 6 mA anything goes, above the curve decides.
    fn concluded_or_quiet(mut self, reading: Option<crate::electrical::reading::ParsedReading>, current: i64) -> Check {
        if current >= CLASS_A_FROM {
            return self.concluded(reading);
        }
        self.verdict = match reading {
            Some(_) if current < CLASS_A_MAY => Verdict::Fail(Why::TrippedBelowRated),
            Some(_) | None => Verdict::NotApplicable(Why::NothingToCompare),
        };
        self
    }
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;
    use crate::electrical::reading::{Cmp, ParsedReading};
    use crate::electrical::units::Quantity;

    fn trip(kind: &str, multiple: &str, seconds: &str) -> Verdict {
        let pairs = [("rcd_kind", kind), ("test_multiple", multiple), (READING, seconds)];
        good("F11", &pairs).verdict
    }

    #[test]
    fn worked_examples() {
        assert_eq!(trip("1", "1", "0.028"), Verdict::Pass);
        let one = good("F11", &[("rcd_kind", "1"), ("test_multiple", "1")]);
        let over = ParsedReading { cmp: Cmp::Greater, ..ParsedReading::exact(Quantity::of(Unit::Second, 300_000)) };
        assert_eq!(one.judge_reading(&over), Verdict::Fail(Why::AboveMaximum));
        assert_eq!(trip("2", "1", "0.095"), Verdict::Fail(Why::BelowMinimum));
        // Worst of 24 ms (0°) and 38 ms (180°).
        assert_eq!(trip("1", "5", "0.038"), Verdict::Pass);
        let half = |tripped| good("F11", &[("rcd_kind", "1"), ("test_multiple", "0.5"), ("tripped", tripped)]).verdict;
        assert_eq!(half("1"), Verdict::Fail(Why::TrippedBelowRated));
        assert_eq!(half("0"), Verdict::Pass);
        for (milliamperes, seconds) in [("0.006", "5.59"), ("0.020", "1.00"), ("0.264", "0.025")] {
            near(good("F11", &[("rcd_kind", "7"), ("test_current", milliamperes)]).result("trip_time_max"), seconds);
        }
    }

    #[test]
    fn the_edges_and_one_past() {
        for (kind, multiple, low, high) in [
            ("1", "1", None, 300_000),
            ("1", "2", None, 150_000),
            ("1", "5", None, 40_000),
            ("2", "1", Some(130_000), 500_000),
            ("2", "2", Some(60_000), 200_000),
            ("2", "5", Some(50_000), 150_000),
            ("3", "1", None, 300_000),
            ("4", "1", None, 300_000),
            ("5", "5", None, 40_000),
            ("6", "1", None, 40_000),
        ] {
            assert_eq!(trip(kind, multiple, &plain(high)), Verdict::Pass);
            assert_eq!(trip(kind, multiple, &plain(high + 1)), Verdict::Fail(Why::AboveMaximum));
            if let Some(low) = low {
                assert_eq!(trip(kind, multiple, &plain(low)), Verdict::Pass);
                assert_eq!(trip(kind, multiple, &plain(low - 1)), Verdict::Fail(Why::BelowMinimum));
            }
        }
        for (kind, multiple) in [("3", "2"), ("3", "5"), ("4", "5"), ("6", "5")] {
            assert_eq!(trip(kind, multiple, "0.03"), Verdict::NotApplicable(Why::NothingToCompare));
        }
        let odd = run("F11", &[("rcd_kind", "1"), ("test_multiple", "3")]);
        assert_eq!(odd.err(), Some(InputFault::OutOfRange { key: "test_multiple" }));
    }

    #[test]
    fn class_a_below_its_curve() {
        let at = |amperes, reading: &[(&'static str, &'static str)]| {
            good("F11", &[&[("rcd_kind", "7"), ("test_current", amperes)][..], reading].concat()).verdict
        };
        assert_eq!(at("0.003999", &[(READING, "1")]), Verdict::Fail(Why::TrippedBelowRated));
        assert_eq!(at("0.004", &[(READING, "1")]), Verdict::NotApplicable(Why::NothingToCompare));
        assert_eq!(at("0.006", &[(READING, "5")]), Verdict::Pass);
        assert_eq!(at("0.006", &[(READING, "6")]), Verdict::Fail(Why::AboveMaximum));
    }
}
