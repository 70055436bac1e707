//! F06: are modules alike enough to be joined? Spread of voltage and charge against the maker's limits, and for
//! parallel joining the first equalising current I_eq ≈ ΔU / (R1 + R2 + R_cable).
//!
//! U in V, R in Ω with contacts, I in A, charge in %. There is no standard figure: every limit is the maker's, and
//! without one the verdict is "not determined", also where no charge could be read. Series stacks have no equalising current. Valid up to 256 modules.

use super::{CheckInfo, Gather, InputFault, InputInfo, joined, plain, quotient, sum};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F06", title: "check.F06", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 7] = [
    // 1 parallel, 2 series.
    InputInfo::needed("arrangement", Unit::Count),
    InputInfo::list("module_voltage", Unit::Volt, true),
    // By the maker.
    InputInfo::optional("voltage_spread_max", Unit::Volt),
    InputInfo::list("module_soc", Unit::Percent, false),
    // By the maker.
    InputInfo::optional("soc_spread_max", Unit::Percent),
    // Inner resistances of the two modules and the cable between them.
    InputInfo::list("resistance", Unit::Ohm, false),
    // Of module, breaker and cable; the lowest counts.
    InputInfo::list("current_max", Unit::Ampere, false),
];

const MODULES_MAX: usize = 256;

/// Everything that decides, in millionths.
struct Facts {
    parallel: bool,
    modules: usize,
    reversed: bool,
    spread: i64,
    spread_max: Option<i64>,
    soc_spread: Option<i64>,
    soc_spread_max: Option<i64>,
    current: Option<i64>,
    current_max: Option<i64>,
}

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let parallel = gather.whole("arrangement", 1, 2)? == 1;
    let voltages = gather.list("module_voltage", -2_000 * MICRO, 2_000 * MICRO)?;
    let spread = spread("module_voltage", &voltages)?.ok_or(InputFault::Missing { key: "module_voltage" })?;
    let spread_max = gather.maybe("voltage_spread_max", 0, 2_000 * MICRO)?;
    let soc_spread = {
        let charges = gather.list("module_soc", 0, 100 * MICRO)?;
        self::spread("module_soc", &charges)?
    };
    let soc_spread_max = gather.maybe("soc_spread_max", 0, 100 * MICRO)?;
    let resistances = gather.list("resistance", 0, 1_000 * MICRO)?;
    let resistance = sum("resistance", &resistances)?;
    let current_max = gather.list("current_max", 1, 100_000 * MICRO)?.into_iter().min();
    let current = if parallel && resistance > 0 {
        Some(quotient("resistance", i128::from(spread) * i128::from(MICRO), i128::from(resistance))?)
    } else {
        None
    };
    let mut numbers = format!("ΔU = max − min of ({}) = {} V", joined(&voltages, ", "), plain(spread));
    if let Some(current) = current {
        numbers += &format!("; I_eq = {} / ({}) = {} A", plain(spread), joined(&resistances, " + "), plain(current));
    }
    let facts = Facts {
        parallel,
        modules: voltages.len(),
        reversed: voltages.iter().any(|voltage| *voltage < 0),
        spread,
        spread_max,
        soc_spread,
        soc_spread_max,
        current,
        current_max,
    };
    let source = Source { standard: "", edition: "", clause: "", mark: Mark::House };
    let check = gather
        .check("ΔU = U_max − U_min ≤ maker; I_eq = ΔU / (R1 + R2 + R_cable) ≤ lowest rating", numbers, source)
        .with_result("voltage_spread", Unit::Volt, spread);
    Ok(concluded(check, &facts))
}

/// Adds what was computed and compares it.
fn concluded(mut check: Check, facts: &Facts) -> Check {
    if let Some(soc_spread) = facts.soc_spread {
        check = check.with_result("soc_spread", Unit::Percent, soc_spread);
    }
    if let Some(current) = facts.current {
        check = check.with_result("equalising_current", Unit::Ampere, current);
    }
    if let Some(spread_max) = facts.spread_max {
        check = check.with_limit(Unit::Volt, Limit::at_most(spread_max));
    }
    if facts.soc_spread.is_none() && facts.soc_spread_max.is_none() {
        check.notes.push(CheckNote::SocNotCompared);
    }
    check.verdict = verdict(facts);
    check
}

/// Greatest less smallest; `None` for an empty list.
fn spread(key: &'static str, values: &[i64]) -> Result<Option<i64>, InputFault> {
    if values.len() > MODULES_MAX {
        return Err(InputFault::OutOfRange { key });
    }
    Ok(values.iter().max().zip(values.iter().min()).map(|(high, low)| high - low))
}

/// A certain failure comes before anything missing.
fn verdict(facts: &Facts) -> Verdict {
    let exceeds = |value: Option<i64>, most: Option<i64>| value.zip(most).is_some_and(|(value, most)| value > most);
    if facts.reversed {
        return Verdict::Fail(Why::PolarityReversed);
    }
    if facts.modules < 2 {
        return Verdict::NotApplicable(Why::SingleModule);
    }
    if exceeds(Some(facts.spread), facts.spread_max) {
        return Verdict::Fail(Why::AboveMaximum);
    }
    if exceeds(facts.soc_spread, facts.soc_spread_max) {
        return Verdict::Fail(Why::SocSpread);
    }
    if exceeds(facts.current, facts.current_max) {
        return Verdict::Fail(Why::CurrentTooHigh);
    }
    // A flat curve of voltage hides a difference of charge, so without its limit the voltages alone decide nothing.
    if facts.spread_max.is_none() || facts.soc_spread_max.is_none() {
        return Verdict::NotDetermined(Why::NoMakerLimit);
    }
    if facts.soc_spread_max.is_some() && facts.soc_spread.is_none() {
        return Verdict::NotDetermined(Why::NoReading);
    }
    if facts.parallel && (facts.current.is_none() || facts.current_max.is_none()) {
        return Verdict::NotDetermined(Why::CurrentNotEstimated);
    }
    Verdict::Pass
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;

    /// Charges that are alike enough.
    const CHARGED: [(&str, &str); 2] = [("module_soc", "50 51"), ("soc_spread_max", "5")];

    fn modules(arrangement: &str, voltages: &str, more: &[(&str, &str)]) -> Check {
        let mut pairs = vec![("arrangement", arrangement), ("module_voltage", voltages)];
        pairs.extend(more);
        good("F06", &pairs)
    }

    #[test]
    fn worked_examples() {
        for (voltages, resistance, expected) in [
            ("51.0 51.5", "0.020 0.020 0.002", "11.9"),
            ("51.0 51.1", "0.042", "2.38"),
            ("51.0 53.4", "0.033", "72.7"),
            ("51.0 51.05", "0.017", "2.94"),
        ] {
            let check = modules("1", voltages, &[("resistance", resistance)]);
            near(check.result("equalising_current"), expected);
            assert_eq!(check.verdict, Verdict::NotDetermined(Why::NoMakerLimit));
        }
        // The maker's voltage limit counts even where the current would do.
        let limits = [CHARGED, [("resistance", "0.042"), ("current_max", "25 40 63")]].concat();
        let limits = [&limits[..], &[("voltage_spread_max", "0.2")]].concat();
        assert_eq!(modules("1", "51.0 51.5", &limits).verdict, Verdict::Fail(Why::AboveMaximum));
        assert_eq!(modules("1", "51.0 51.2", &limits).verdict, Verdict::Pass);
        assert_eq!(modules("1", "51.0 51.200001", &limits).verdict, Verdict::Fail(Why::AboveMaximum));
    }

    #[test]
    fn the_current_has_its_own_edge() {
        // 0.2 V over 42 mΩ are 4.761905 A.
        let at = |most| {
            let limits = [("resistance", "0.042"), ("voltage_spread_max", "0.2"), ("current_max", most)];
            modules("1", "51.0 51.2", &[&CHARGED[..], &limits].concat()).verdict
        };
        assert_eq!(at("4.761905"), Verdict::Pass);
        assert_eq!(at("4.761904"), Verdict::Fail(Why::CurrentTooHigh));
        let unknown = modules("1", "51.0 51.1", &[&CHARGED[..], &[("voltage_spread_max", "0.2")]].concat());
        assert_eq!(unknown.verdict, Verdict::NotDetermined(Why::CurrentNotEstimated));
    }

    #[test]
    fn series_stacks_compare_spreads_only() {
        let eight = "51.2 51.2 51.3 51.2 51.25 51.2 51.2 51.2";
        let alike = [&CHARGED[..], &[("voltage_spread_max", "0.1")]].concat();
        assert_eq!(modules("2", eight, &alike).verdict, Verdict::Pass);
        let voltages_only = modules("2", eight, &[("voltage_spread_max", "0.1")]);
        assert_eq!(voltages_only.verdict, Verdict::NotDetermined(Why::NoMakerLimit));
        assert_eq!(voltages_only.notes, [CheckNote::SocNotCompared]);
        let charged = |soc, most: &[(&str, &str)]| {
            let mut more = vec![("voltage_spread_max", "0.1"), ("module_soc", soc)];
            more.extend(most);
            modules("2", "51.2 51.3", &more).verdict
        };
        assert_eq!(charged("50 55", &[("soc_spread_max", "5")]), Verdict::Pass);
        assert_eq!(charged("50 55.1", &[("soc_spread_max", "5")]), Verdict::Fail(Why::SocSpread));
        assert_eq!(charged("50 55", &[]), Verdict::NotDetermined(Why::NoMakerLimit));
        let unread = modules("2", "51.2 51.3", &[("voltage_spread_max", "0.1"), ("soc_spread_max", "5")]);
        assert_eq!(unread.verdict, Verdict::NotDetermined(Why::NoReading));
    }

    #[test]
    fn sixteen_cells_by_spread_not_average() {
        let cells = format!("{} 3.312", "3.3 ".repeat(15));
        let check = modules("2", &cells, &[&CHARGED[..], &[("voltage_spread_max", "0.012")]].concat());
        assert_eq!((check.verdict, check.inputs.len()), (Verdict::Pass, 21));
        let tight = modules("2", &cells, &[("voltage_spread_max", "0.011999")]);
        assert_eq!(tight.verdict, Verdict::Fail(Why::AboveMaximum));
    }

    #[test]
    fn odd_sets() {
        assert_eq!(modules("2", "51.2", &[]).verdict, Verdict::NotApplicable(Why::SingleModule));
        assert_eq!(modules("2", "51.2 -51.2", &[]).verdict, Verdict::Fail(Why::PolarityReversed));
        assert_eq!(run("F06", &[("arrangement", "2")]).err(), Some(InputFault::Missing { key: "module_voltage" }));
    }
}
