//! F18: resistance between the data lines of a bus with its power off: two 120 Ω ends side by side are 60 Ω.
//!
//! Passes from 54 to 66 Ω, a house figure of ±10 %. The same share around 120 Ω (one end missing) and 40 Ω (three
//! terminators), 0 to 5 Ω (short) and more than 1 kΩ (none, or an open cable) names the likely cause of a failure.
//! R_total = 1/Σ(1/R). The nominal 120 Ω is ISO 11898-2:2016.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, parallel, plain};
use crate::electrical::check::{Cause, Check, Mark, ReadingTerms, Source};
use crate::electrical::judge::{Limit, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F18", title: "check.F18", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 2] = [
    // The known terminators, to show what they should measure.
    InputInfo::list("terminator", Unit::Ohm, false),
    InputInfo::optional(READING, Unit::Ohm),
];

const LOWEST: i64 = 54 * MICRO;
const HIGHEST: i64 = 66 * MICRO;

const CAUSES: [Cause; 5] = [
    Cause { from: 0, to: 5 * MICRO, why: Why::ShortCircuit },
    Cause { from: 36 * MICRO, to: 44 * MICRO, why: Why::TooManyTerminators },
    Cause { from: 108 * MICRO, to: 132 * MICRO, why: Why::TerminatorMissing },
    Cause { from: 1_000 * MICRO + 1, to: i64::MAX, why: Why::NoTerminators },
    Cause { from: i64::MIN, to: i64::MAX, why: Why::CauseUnknown },
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let terminators = gather.list("terminator", 1, 1_000_000 * MICRO)?;
    let reading = gather.reading()?;
    let expected = parallel(&terminators);
    let numbers = match expected {
        Some(expected) => {
            let parts: Vec<String> = terminators.iter().map(|value| format!("1/{}", plain(*value))).collect();
            format!("R = 1 / ({}) = {} Ω; 54 ≤ R ≤ 66", parts.join(" + "), plain(expected))
        }
        None => "R = 1 / (1/120 + 1/120) = 60 Ω; 54 ≤ R ≤ 66".to_string(),
    };
    let source = Source { standard: "ISO 11898-2", edition: "2016", clause: "termination; ±10 %", mark: Mark::House };
    let mut check =
        gather.check("R = 1 / Σ(1/R_i)", numbers, source).with_limit(Unit::Ohm, Limit::between(LOWEST, HIGHEST));
    if let Some(expected) = expected {
        check = check.with_result("expected", Unit::Ohm, expected);
    }
    check.terms = ReadingTerms { causes: &CAUSES, ..ReadingTerms::default() };
    // Only where the band itself decides; a short or a missing terminator is one by any figure.
    check.house = &[Why::CauseUnknown];
    Ok(check.concluded(reading))
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;
    use crate::electrical::judge::Verdict;
    use crate::electrical::reading::{FieldSpec, NumberLocale, parse_reading};

    fn measured(ohms: &str) -> Verdict {
        good("F18", &[(READING, ohms)]).verdict
    }

    #[test]
    fn worked_examples() {
        for (ohms, why) in [
            ("120", Why::TerminatorMissing),
            ("40", Why::TooManyTerminators),
            ("0", Why::ShortCircuit),
            ("5", Why::ShortCircuit),
            ("5000", Why::NoTerminators),
            ("80", Why::CauseUnknown),
            ("1000", Why::CauseUnknown),
            ("1000.000001", Why::NoTerminators),
            ("20", Why::CauseUnknown),
        ] {
            assert_eq!(measured(ohms), Verdict::Fail(why), "{ohms}");
        }
        for ohms in ["59", "60"] {
            assert_eq!(measured(ohms), Verdict::Pass, "{ohms}");
        }
        let three = good("F18", &[("terminator", "120 120 100")]);
        near(three.result("expected"), "37.5");
        assert!(matches!(measured("37.5"), Verdict::Fail(_)));
    }

    #[test]
    fn the_edges_and_one_past() {
        assert_eq!(measured("54"), Verdict::Pass);
        assert_eq!(measured("53.999999"), Verdict::Fail(Why::CauseUnknown));
        assert_eq!(measured("66"), Verdict::Pass);
        assert_eq!(measured("66.000001"), Verdict::Fail(Why::CauseUnknown));
        assert_eq!(good("F18", &[]).verdict, Verdict::NotDetermined(Why::NoReading));
    }

    #[test]
    fn an_open_bus_on_the_display() {
        let field = FieldSpec::of("M17").expect("the catalogue has the bus");
        let reading = parse_reading("OL", &field, NumberLocale::Point);
        assert_eq!(good("F18", &[]).judge_reading(&reading), Verdict::Fail(Why::OpenCircuit));
    }
}
