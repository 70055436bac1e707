//! F05: least insulation resistance and its test voltage by the voltage of the circuit. Ω and V.
//!
//! Circuits: IEC 60364-6:2016, Table 6.1 (SELV and PELV 250 V and 0.5 MΩ; up to 500 V: 500 V and 1 MΩ; above: 1000 V
//! and 1 MΩ). With something sensitive that cannot be unplugged: live conductors joined, 250 V to earth, still 1 MΩ
//! (6.4.3.3, to be checked). PV arrays: IEC 62446-1:2016+A1:2018 at 1.25 times the open-circuit voltage. Batteries: the
//! maker first, and never below 100 Ω per volt (IEC 62485-2, to be checked). Sheathed heating elements:
//! AS/NZS 3000, 8.3.6. Valid up to 1500 V.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain, quotient};
use crate::electrical::check::{Check, CheckNote, Mark, ReadingTerms, Source};
use crate::electrical::judge::{Limit, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F05", title: "check.F05", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 7] = [
    // 1 circuit (AC, or DC cable with both ends unplugged), 2 SELV or PELV, 3 PV array, 4 battery to its case,
    // 5 sheathed heating element.
    InputInfo::needed("circuit_kind", Unit::Count),
    // Of the circuit; for a PV array the open-circuit voltage at standard conditions.
    InputInfo::needed("nominal_voltage", Unit::Volt),
    // 1: something sensitive stays connected and the reason is recorded.
    InputInfo::optional("sensitive_connected", Unit::Count),
    // 1: the maker allows an insulation tester on the battery.
    InputInfo::optional("maker_allows", Unit::Count),
    InputInfo::optional("maker_minimum", Unit::Ohm),
    InputInfo::optional("test_voltage", Unit::Volt),
    InputInfo::optional(READING, Unit::Ohm),
];

const VOLTS: i64 = MICRO;
/// Extra-low voltage ends here for direct current; above it the row of SELV and PELV holds for nothing.
const EXTRA_LOW_MAX: i64 = 120 * VOLTS;
const MEGOHM: i64 = MICRO * MICRO;
const HALF_MEGOHM: i64 = MEGOHM / 2;
/// Sheathed heating elements, 0.01 MΩ.
const HEATER_MINIMUM: i64 = MEGOHM / 100;
/// Ohms per volt of a battery.
const BATTERY_OHM_PER_VOLT: i64 = 100;

/// What one row of the tables asks for.
struct Rule {
    /// Microvolts; `None` where the maker chooses.
    test_voltage: Option<i64>,
    /// Micro-ohms; `None` where only the maker can say.
    minimum: Option<i64>,
    source: Source,
}

const fn source(standard: &'static str, edition: &'static str, clause: &'static str, mark: Mark) -> Source {
    Source { standard, edition, clause, mark }
}

const CIRCUITS: Source = source("IEC 60364-6", "2016", "Table 6.1", Mark::Sure);
const ARRAYS: Source = source("IEC 62446-1", "2016+A1:2018", "insulation resistance", Mark::Sure);
const BATTERIES: Source = source("IEC 62485-2", "2010", "insulation resistance", Mark::Check);
const HEATERS: Source = source("AS/NZS 3000", "2018", "8.3.6", Mark::Sure);

fn rule_for(kind: i64, voltage: i64, reduced: bool) -> Rule {
    let rule = |volts: i64, minimum, source| Rule { test_voltage: Some(volts * VOLTS), minimum: Some(minimum), source };
    match kind {
        2 => rule(250, HALF_MEGOHM, CIRCUITS),
        3 if voltage < 120 * VOLTS => rule(250, HALF_MEGOHM, ARRAYS),
        3 if voltage <= 500 * VOLTS => rule(500, MEGOHM, ARRAYS),
        3 if voltage <= 1000 * VOLTS => rule(1000, MEGOHM, ARRAYS),
        3 => rule(1500, MEGOHM, Source { mark: Mark::Check, ..ARRAYS }),
        4 => Rule { test_voltage: None, minimum: None, source: BATTERIES },
        5 => rule(500, HEATER_MINIMUM, HEATERS),
        _ if voltage > 500 * VOLTS => rule(1000, MEGOHM, CIRCUITS),
        _ if reduced => rule(250, MEGOHM, source("IEC 60364-6", "2016", "6.4.3.3", Mark::Check)),
        _ => rule(500, MEGOHM, CIRCUITS),
    }
}

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let kind = gather.whole("circuit_kind", 1, 5)?;
    let nominal = gather.need("nominal_voltage", 1, if kind == 2 { EXTRA_LOW_MAX } else { 1500 * VOLTS })?;
    let sensitive = gather.maybe_whole("sensitive_connected", 0, 1)? == Some(1);
    let allowed = gather.maybe_whole("maker_allows", 0, 1)? == Some(1);
    let maker_minimum = gather.maybe("maker_minimum", 0, i64::MAX)?;
    let used = gather.maybe("test_voltage", 0, 5000 * VOLTS)?;
    let reading = gather.reading()?;

    let system = if kind == 3 { quotient("nominal_voltage", i128::from(nominal) * 125, 100)? } else { nominal };
    let reduced = sensitive && kind == 1 && nominal <= 500 * VOLTS;
    let rule = rule_for(kind, system, reduced);
    let floor = if kind == 4 { nominal * BATTERY_OHM_PER_VOLT } else { 0 };
    let minimum = match (rule.minimum, maker_minimum) {
        (Some(minimum), maker) => Some(minimum.max(maker.unwrap_or(0))),
        (None, Some(maker)) if allowed => Some(maker.max(floor)),
        (None, _) => None,
    };
    let numbers = numbers_for(kind, nominal, system, floor, rule.test_voltage, minimum);
    let mut check = gather.check(
        "R ≥ R_min(U); PV: U = 1.25 · U_oc; battery: R_min = max(maker, 100 Ω/V · U)",
        numbers,
        rule.source,
    );
    if let Some(test_voltage) = rule.test_voltage {
        check = check.with_result("test_voltage", Unit::Volt, test_voltage);
    }
    if kind == 4 {
        check = check.with_result("floor", Unit::Ohm, floor);
    }
    if let Some(minimum) = minimum {
        check = check.with_limit(Unit::Ohm, Limit::at_least(minimum));
    }
    let missing = if allowed { Why::NoMakerLimit } else { Why::MakerMustAllow };
    check.terms = ReadingTerms {
        test_voltage_at_least: rule.test_voltage,
        test_voltage_recorded: used,
        floor: (kind == 4 && allowed).then_some(floor),
        limit_missing: minimum.is_none().then_some(missing),
        ..ReadingTerms::default()
    };
    if reduced {
        check.notes.push(CheckNote::ReducedTestVoltage);
    }
    Ok(check.concluded(reading))
}

fn numbers_for(
    kind: i64,
    nominal: i64,
    system: i64,
    floor: i64,
    test_voltage: Option<i64>,
    minimum: Option<i64>,
) -> String {
    let least = minimum.map_or_else(|| "R_min = ? (maker)".to_string(), |micro| format!("R_min = {} Ω", plain(micro)));
    let test = test_voltage.map_or_else(|| "?".to_string(), plain);
    match kind {
        3 => format!("U = 1.25 · {} = {} V; U_test = {test} V; {least}", plain(nominal), plain(system)),
        4 => format!("100 · {} = {} Ω; {least}", plain(nominal), plain(floor)),
        _ => format!("U = {} V; U_test = {test} V; {least}", plain(nominal)),
    }
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, run};
    use super::*;
    use crate::electrical::judge::Verdict;
    use crate::electrical::reading::{FieldSpec, NumberLocale, parse_reading};
    use crate::electrical::units::Quantity;

    fn circuit(kind: &str, nominal: &str, more: &[(&str, &str)]) -> Check {
        let mut pairs = vec![("circuit_kind", kind), ("nominal_voltage", nominal)];
        pairs.extend(more);
        good("F05", &pairs)
    }

    fn least(check: &Check) -> Option<i64> {
        check.limit.and_then(|limit| limit.limit.at_least)
    }

    #[test]
    fn worked_examples() {
        let tested =
            |kind, nominal, volts, ohms| circuit(kind, nominal, &[("test_voltage", volts), (READING, ohms)]).verdict;
        assert_eq!(tested("1", "230", "500", "800000"), Verdict::Fail(Why::BelowMinimum));
        assert_eq!(tested("2", "24", "250", "600000"), Verdict::Pass);
        assert_eq!(tested("1", "410", "500", "999000000"), Verdict::Pass);
        assert_eq!(tested("1", "800", "1000", "1000000"), Verdict::Pass);
        assert_eq!(tested("1", "230", "250", "5000000"), Verdict::NotDetermined(Why::TestVoltageTooLow));
        let spd = circuit("1", "230", &[("sensitive_connected", "1"), ("test_voltage", "250"), (READING, "2100000")]);
        assert_eq!((spd.verdict, spd.notes.as_slice()), (Verdict::Pass, &[CheckNote::ReducedTestVoltage][..]));
    }

    #[test]
    fn the_edges_and_one_past() {
        let one_below = circuit("1", "800", &[("test_voltage", "1000"), (READING, "999999.999999")]);
        assert_eq!(one_below.verdict, Verdict::Fail(Why::BelowMinimum));
        for (kind, nominal, test_voltage, minimum) in [
            ("1", "500", "500", MEGOHM),
            ("1", "500.000001", "1000", MEGOHM),
            ("2", "50", "250", HALF_MEGOHM),
            ("3", "95.999999", "250", HALF_MEGOHM),
            ("3", "96", "500", MEGOHM),
            ("3", "400", "500", MEGOHM),
            ("3", "400.000001", "1000", MEGOHM),
            ("3", "800", "1000", MEGOHM),
            ("3", "800.000001", "1500", MEGOHM),
            ("5", "230", "500", HEATER_MINIMUM),
        ] {
            let check = circuit(kind, nominal, &[]);
            assert_eq!(least(&check), Some(minimum), "{kind} {nominal}");
            assert_eq!(check.result("test_voltage").map(Quantity::plain).as_deref(), Some(test_voltage), "{nominal}");
            assert_eq!(check.verdict, Verdict::NotDetermined(Why::NoReading));
        }
        let unsaid = circuit("1", "230", &[(READING, "5000000")]);
        assert_eq!(unsaid.verdict, Verdict::NotDetermined(Why::TestVoltageMissing));
    }

    #[test]
    fn the_test_voltage_comes_with_the_reading_or_apart() {
        let field = FieldSpec::of("M10").expect("the catalogue has insulation");
        let read = |text| parse_reading(text, &field, NumberLocale::Point);
        let open = circuit("1", "230", &[]);
        assert_eq!(open.judge_reading(&read("500V/250MΩ")), Verdict::Pass);
        assert_eq!(open.judge_reading(&read("250V/250MΩ")), Verdict::NotDetermined(Why::TestVoltageTooLow));
        assert_eq!(open.judge_reading(&read("250")), Verdict::NotDetermined(Why::TestVoltageMissing));
        let recorded = circuit("1", "230", &[("test_voltage", "500")]);
        assert_eq!(recorded.judge_reading(&read(">999 MΩ")), Verdict::Pass);
        assert_eq!(recorded.judge_reading(&read("0.8")), Verdict::Fail(Why::BelowMinimum));
    }

    #[test]
    fn a_battery_is_its_makers_business() {
        let reading = (READING, "2000000");
        let silent = circuit("4", "51.2", &[reading]);
        assert_eq!(silent.verdict, Verdict::NotDetermined(Why::MakerMustAllow));
        assert_eq!(silent.result("floor").map(Quantity::plain).as_deref(), Some("5120"));
        let no_figure = circuit("4", "409.6", &[("maker_allows", "1"), reading]);
        assert_eq!(no_figure.verdict, Verdict::NotDetermined(Why::NoMakerLimit));
        assert_eq!(no_figure.result("floor").map(Quantity::plain).as_deref(), Some("40960"));
        let below_floor = circuit("4", "409.6", &[("maker_allows", "1"), (READING, "40959.999999")]);
        assert_eq!(below_floor.verdict, Verdict::Fail(Why::BelowMinimum));
        let figure = [("maker_allows", "1"), ("maker_minimum", "1000000"), reading];
        assert_eq!(circuit("4", "51.2", &figure).verdict, Verdict::Pass);
        let low_figure = circuit("4", "409.6", &[("maker_allows", "1"), ("maker_minimum", "1000")]);
        assert_eq!(least(&low_figure), Some(40_960 * MICRO));
        let forbidden = circuit("4", "51.2", &[("maker_minimum", "1000000"), reading]);
        assert_eq!(forbidden.verdict, Verdict::NotDetermined(Why::MakerMustAllow));
    }

    #[test]
    fn the_row_of_extra_low_voltage_ends_at_120_v() {
        let at = |volts| run("F05", &[("circuit_kind", "2"), ("nominal_voltage", volts)]).map(|_| ());
        assert_eq!(at("120"), Ok(()));
        assert_eq!(at("120.000001"), Err(InputFault::OutOfRange { key: "nominal_voltage" }));
        assert_eq!(at("230"), Err(InputFault::OutOfRange { key: "nominal_voltage" }));
    }
}
