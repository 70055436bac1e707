//! F04: what a protective conductor should measure, and the pass rule R ≤ 1.10·R_exp + 0.01 Ω per joint + 0.02 Ω.
//!
//! R_exp by F01 at the temperature of the day, in Ω. The allowances are house figures; the measurement is
//! IEC 60364-6:2016, 6.4.3. A local cap (0.5 Ω for a main earth in AS/NZS 3000, about 0.05 Ω for bonding joints in UK
//! guidance) comes in as `local_cap` and the stricter limit counts. Below 0.5·R_exp − 0.02 Ω the reading is not
//! believed: another path, or leads nulled twice. Valid where F01 is, up to 100 joints.

use super::f01_conductor_resistance::{CONDUCTOR_INPUTS, conductor};
use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain, quotient};
use crate::electrical::check::{Check, CheckNote, Mark, ReadingTerms, Source};
use crate::electrical::judge::{Limit, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F04", title: "check.F04", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 10] = [
    CONDUCTOR_INPUTS[0],
    CONDUCTOR_INPUTS[1],
    CONDUCTOR_INPUTS[2],
    CONDUCTOR_INPUTS[3],
    CONDUCTOR_INPUTS[4],
    CONDUCTOR_INPUTS[5],
    InputInfo::needed("joints", Unit::Count),
    InputInfo::optional("local_cap", Unit::Ohm),
    // The recorded resistance of the leads; its presence says that they were nulled.
    InputInfo::optional("lead_null", Unit::Ohm),
    InputInfo::optional(READING, Unit::Ohm),
];

/// Millionths of an ohm.
const PER_JOINT: i64 = 10_000;
const INSTRUMENT: i64 = 20_000;
/// Share of the expected resistance, in hundredths.
const SHARE_ALLOWED: i128 = 110;
const SHARE_BELIEVED: i128 = 50;

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let conductor = conductor(&mut gather)?;
    let joints = gather.whole("joints", 0, 100)?;
    let cap = gather.maybe("local_cap", 1, 10_000 * MICRO)?;
    let null = gather.maybe("lead_null", 0, MICRO)?;
    let reading = gather.reading()?;

    let expected = i128::from(conductor.resistance);
    let ruled = quotient("length", expected * SHARE_ALLOWED, 100)? + joints * PER_JOINT + INSTRUMENT;
    let limit = cap.map_or(ruled, |cap| cap.min(ruled));
    let believed = quotient("length", expected * SHARE_BELIEVED, 100)? - INSTRUMENT;
    let numbers = format!(
        "R_exp = {}; limit = 1.10 · {} + {joints} · 0.01 + 0.02 = {} Ω",
        conductor.with_numbers,
        plain(conductor.resistance),
        plain(ruled)
    );
    let source = Source { standard: "IEC 60364-6", edition: "2016", clause: "6.4.3", mark: Mark::House };
    let mut check = gather
        .check("R ≤ 1.10 · R_exp + 0.01 · joints + 0.02 Ω; R_exp = r20 · L/1000 · (1 + α · (θ − 20))", numbers, source)
        .with_result("expected", Unit::Ohm, conductor.resistance)
        .with_limit(Unit::Ohm, Limit::at_most(limit));
    check.terms = ReadingTerms {
        doubtful_below: (believed > 0).then_some(believed),
        zero_needs_null: null.is_none(),
        ..ReadingTerms::default()
    };
    if limit < ruled {
        check.notes.push(CheckNote::LocalCapUsed);
    } else {
        check.house = &[Why::AboveMaximum];
    }
    Ok(check.concluded(reading))
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;
    use crate::electrical::judge::Verdict;
    use crate::electrical::reading::{Cmp, ParsedReading};
    use crate::electrical::units::Quantity;

    type Wire<'a> = (&'a str, &'a str, &'a str, &'a str);

    fn earth(wire: Wire<'_>, more: &[(&str, &str)]) -> Check {
        let (size, length, temperature, joints) = wire;
        let mut pairs = vec![
            ("conductor_size", size),
            ("conductor_class", "2"),
            ("length", length),
            ("temperature", temperature),
            ("joints", joints),
        ];
        pairs.extend(more);
        good("F04", &pairs)
    }

    fn most(check: &Check) -> Option<Quantity> {
        check.limit.and_then(|limit| limit.limit.at_most).map(|micro| Quantity::of(Unit::Ohm, micro))
    }

    const SIX: Wire<'static> = ("6", "12", "20", "2");
    const SHORT: Wire<'static> = ("16", "3", "10", "2");
    const THIN: Wire<'static> = ("2.5", "18", "25", "4");

    #[test]
    fn worked_examples() {
        for (wire, expected, limit, readings) in [
            (SIX, "0.0370", "0.0807", vec![("0.05", Verdict::Pass), ("0.12", Verdict::Fail(Why::AboveMaximum))]),
            (("10", "6", "30", "2"), "0.0114", "0.0526", vec![("0.03", Verdict::Pass)]),
            (
                THIN,
                "0.1360",
                "0.2096",
                vec![
                    ("0.35", Verdict::Fail(Why::AboveMaximum)),
                    ("0.14", Verdict::Pass),
                    ("0.03", Verdict::NotDetermined(Why::SuspiciouslyLow)),
                ],
            ),
            (SHORT, "0.00331", "0.0436", vec![("0.00", Verdict::NotDetermined(Why::NullNotRecorded))]),
        ] {
            let check = earth(wire, &[]);
            near(check.result("expected"), expected);
            near(most(&check), limit);
            assert_eq!(check.verdict, Verdict::NotDetermined(Why::NoReading));
            for (reading, verdict) in readings {
                assert_eq!(earth(wire, &[(READING, reading)]).verdict, verdict, "{wire:?} {reading}");
            }
        }
        let nulled = earth(SHORT, &[(READING, "0.00"), ("lead_null", "0.21")]);
        assert_eq!(nulled.verdict, Verdict::Pass);
    }

    #[test]
    fn the_edges_and_one_past() {
        assert_eq!(most(&earth(SIX, &[])).map(|limit| limit.micro), Some(80_656));
        assert_eq!(earth(SIX, &[(READING, "0.080656")]).verdict, Verdict::Pass);
        assert_eq!(earth(SIX, &[(READING, "0.080657")]).verdict, Verdict::Fail(Why::AboveMaximum));
        let believed = earth(THIN, &[]).terms.doubtful_below;
        assert_eq!(believed, Some(48_001));
        assert_eq!(earth(THIN, &[(READING, "0.048001")]).verdict, Verdict::Pass);
        assert_eq!(earth(THIN, &[(READING, "0.048")]).verdict, Verdict::NotDetermined(Why::SuspiciouslyLow));
    }

    #[test]
    fn a_local_cap_only_tightens() {
        let tight = earth(SIX, &[("local_cap", "0.05"), (READING, "0.06")]);
        assert_eq!(tight.verdict, Verdict::Fail(Why::AboveMaximum));
        assert_eq!(tight.notes, [CheckNote::LocalCapUsed]);
        let loose = earth(SIX, &[("local_cap", "0.5"), (READING, "0.12")]);
        assert_eq!((loose.verdict, loose.notes.len()), (Verdict::Fail(Why::AboveMaximum), 0));
    }

    #[test]
    fn signs_are_minded() {
        let less = |micro| ParsedReading { cmp: Cmp::Less, ..ParsedReading::exact(Quantity::of(Unit::Ohm, micro)) };
        assert_eq!(earth(SIX, &[]).judge_reading(&less(50_000)), Verdict::Pass);
        assert_eq!(earth(THIN, &[]).judge_reading(&less(200_000)), Verdict::NotDetermined(Why::SuspiciouslyLow));
        let volts = ParsedReading::exact(Quantity::of(Unit::Volt, 50_000));
        assert_eq!(earth(SIX, &[]).judge_reading(&volts), Verdict::NotDetermined(Why::UnitMismatch));
    }
}
