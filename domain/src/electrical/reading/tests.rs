//! Every messy reading of the trade notes by its row number, then what must hold for any text.

use proptest::prelude::*;

use super::*;
use crate::electrical::judge::{Limit, Verdict, Why, judge};

const ONE: i64 = 1_000_000;

fn field(id: &str) -> FieldSpec {
    FieldSpec::of(id).expect("the tests name catalogue numbers")
}

fn other(unit: Unit) -> FieldSpec {
    FieldSpec {
        unit,
        kind: QuantityKind::Other,
        entry: Prefix::One,
        sanity_min: i64::MIN,
        sanity_max: i64::MAX,
        range_top: None,
    }
}

fn parse(text: &str, field: &FieldSpec) -> ParsedReading {
    parse_reading(text, field, NumberLocale::Unknown)
}

#[track_caller]
fn value(text: &str, field: &FieldSpec, micro: i64) -> ParsedReading {
    let reading = parse(text, field);
    assert_eq!(reading.quality, Quality::Ok, "{text}");
    assert_eq!(reading.value, Some(Quantity::of(field.unit, micro)), "{text}");
    reading
}

#[test]
fn row_01_above_the_range_passes_a_lower_limit() {
    let reading = value(">999 MΩ", &field("M10"), 999 * ONE * ONE);
    assert_eq!(reading.cmp, Cmp::Greater);
    assert_eq!(judge(&reading, &Limit::at_least(ONE * ONE)), Verdict::Pass);
    assert_eq!(judge(&reading, &Limit::at_least(1000 * ONE * ONE)), Verdict::NotDetermined(Why::BoundTooWide));
}

#[test]
fn row_02_decimal_comma() {
    value("0,35 Ω", &field("M08"), 350_000);
    let reading = parse_reading("0,35 Ω", &field("M08"), NumberLocale::Point);
    assert!(reading.has(Note::OtherDecimalSign));
    assert_eq!(reading.value.map(|value| value.micro), Some(350_000));
}

#[test]
fn row_03_lone_prefix_takes_the_fields_unit() {
    assert!(value("1.2k", &field("M17"), 1200 * ONE).has(Note::UnitAssumed));
}

#[test]
fn row_04_open_circuit_fails_continuity() {
    for text in ["OL", "O.L", "OL Ω", ">OL"] {
        let reading = parse(text, &field("M08"));
        assert_eq!(reading.quality, Quality::OverRange, "{text}");
        assert_eq!(judge(&reading, &Limit::at_most(ONE)), Verdict::Fail(Why::OpenCircuit), "{text}");
    }
}

#[test]
fn row_05_over_range_insulation_needs_the_range_top() {
    let limit = Limit::at_least(ONE * ONE);
    let unknown = parse("OL", &field("M10"));
    assert_eq!(unknown.quality, Quality::OverRange);
    assert_eq!(judge(&unknown, &limit), Verdict::NotDetermined(Why::RangeTopUnknown));
    let mut known = field("M10");
    known.range_top = Some(200 * ONE * ONE);
    assert_eq!(judge(&parse("OL", &known), &limit), Verdict::Pass);
    known.range_top = Some(ONE * ONE - 1);
    assert_eq!(judge(&parse("OL MΩ", &known), &limit), Verdict::NotDetermined(Why::BoundTooWide));
}

#[test]
fn row_06_below_a_bound_passes_an_upper_limit() {
    let reading = value("<0.05 Ω", &field("M08"), 50_000);
    assert_eq!(reading.cmp, Cmp::Less);
    assert_eq!(judge(&reading, &Limit::at_most(80_000)), Verdict::Pass);
    assert_eq!(judge(&reading, &Limit::at_most(49_999)), Verdict::NotDetermined(Why::BoundTooWide));
}

#[test]
fn row_07_less_than_the_rcd_limit_asks_for_the_time() {
    let reading = value("<300 ms", &field("M13"), 300_000);
    assert!(reading.has(Note::AskExact));
    assert_eq!(judge(&reading, &Limit::at_most(300_000)), Verdict::Pass);
    assert_eq!(judge(&reading, &Limit::between(130_000, 500_000)), Verdict::NotDetermined(Why::BoundTooWide));
}

#[test]
fn row_08_no_trip_in_the_window_fails() {
    let reading = value(">300ms", &field("M13"), 300_000);
    assert!(reading.has(Note::DidNotTrip));
    assert_eq!(judge(&reading, &Limit::at_most(300_000)), Verdict::Fail(Why::AboveMaximum));
}

#[test]
fn row_09_one_sign_before_three_digits_is_ambiguous() {
    let volts = other(Unit::Volt);
    for text in ["1.234", "1,234", "1,234 V"] {
        let candidates = vec![Quantity::of(Unit::Volt, 1_234_000), Quantity::of(Unit::Volt, 1_234_000_000)];
        let reading = parse(text, &volts);
        assert_eq!(reading.quality, Quality::Ambiguous { candidates }, "{text}");
        assert_eq!(reading.value, None);
        assert_eq!(judge(&reading, &Limit::at_most(5 * ONE)), Verdict::NotDetermined(Why::AmbiguousReading));
    }
    let known = parse_reading("1.234", &volts, NumberLocale::Point);
    assert_eq!(known.value, Some(Quantity::of(Unit::Volt, 1_234_000)));
    let foreign = parse_reading("1.234", &volts, NumberLocale::Comma);
    assert!(matches!(foreign.quality, Quality::Ambiguous { .. }));
}

#[test]
fn row_10_two_signs_explain_each_other() {
    value("1.234,5 V", &other(Unit::Volt), 1_234_500_000);
    value("1,234.5 V", &other(Unit::Volt), 1_234_500_000);
}

#[test]
fn row_11_negative_module_voltage_keeps_its_sign() {
    let reading = value("-51.8 V", &field("M04"), -51_800_000);
    assert!(reading.has(Note::PolarityReversed));
    let window = Limit::between(-60 * ONE, 60 * ONE);
    assert_eq!(judge(&reading, &window), Verdict::Fail(Why::PolarityReversed));
}

#[test]
fn row_12_unit_from_the_field() {
    assert!(value("51.2", &field("M04"), 51_200_000).has(Note::UnitAssumed));
    value("250", &field("M10"), 250 * ONE * ONE);
    value("24", &field("M13"), 24_000);
}

#[test]
fn row_13_letter_among_digits_is_only_suggested() {
    let reading = parse("5l.2 V", &field("M04"));
    let suggestion = Some(Quantity::of(Unit::Volt, 51_200_000));
    assert_eq!(reading.quality, Quality::Invalid { suggestion });
    assert_eq!(reading.value, None);
    assert_eq!(judge(&reading, &Limit::at_most(60 * ONE)), Verdict::NotDetermined(Why::InvalidReading));
    let spaced = parse("1 234 V", &other(Unit::Volt));
    assert_eq!(spaced.quality, Quality::Invalid { suggestion: Some(Quantity::whole(Unit::Volt, 1234)) });
}

#[test]
fn row_14_direct_current_flag() {
    for text in ["51.2V DC", "51.2 VDC", "51.2 V d.c."] {
        assert_eq!(value(text, &field("M04"), 51_200_000).parts.current_kind, Some(CurrentKind::Direct), "{text}");
    }
    let mains = value("231 VAC", &field("M01-LN"), 231 * ONE);
    assert_eq!(mains.parts.current_kind, Some(CurrentKind::Alternating));
}

#[test]
fn row_15_zero_ohms_asks_for_nulled_leads() {
    assert!(value("0.00", &field("M08"), 0).has(Note::AskLeadsNulled));
    assert!(!value("0.01", &field("M08"), 10_000).has(Note::AskLeadsNulled));
}

#[test]
fn row_16_not_tested_is_no_pass() {
    for text in ["LIM", "N/A", "-", "n/a", "—"] {
        for id in ["M08", "M10", "M13", "M16"] {
            let reading = parse(text, &field(id));
            assert_eq!(reading.quality, Quality::NotTested, "{text}");
            assert_eq!(judge(&reading, &Limit::at_most(ONE)), Verdict::NotDetermined(Why::NotTested));
        }
    }
}

#[test]
fn row_17_the_worst_of_two_angles() {
    let reading = value("24ms 0° / 38ms 180°", &field("M13"), 38_000);
    assert!(reading.has(Note::WorstOfTwo));
    assert_eq!(reading.parts.at_0_degrees, Some(Quantity::of(Unit::Second, 24_000)));
    assert_eq!(reading.parts.at_180_degrees, Some(Quantity::of(Unit::Second, 38_000)));
    assert_eq!(judge(&reading, &Limit::at_most(40_000)), Verdict::Pass);
    assert_eq!(judge(&reading, &Limit::at_most(37_999)), Verdict::Fail(Why::AboveMaximum));

    assert_eq!(value("180° 38 ms / 0° 24 ms", &field("M13"), 38_000).parts, reading.parts);
    value("24/38 ms", &field("M13"), 38_000);
    value("24 ms 0º", &field("M13"), 24_000);
    let no_trip = value(">300ms 0° / 300ms 180°", &field("M13"), 300_000);
    assert_eq!(judge(&no_trip, &Limit::at_most(300_000)), Verdict::Fail(Why::AboveMaximum));
    assert!(matches!(parse("24ms 0° / 38ms 0°", &field("M13")).quality, Quality::Invalid { .. }));
    assert_eq!(parse("24ms 0° / N/A", &field("M13")).quality, Quality::NotTested);
}

#[test]
fn row_18_test_voltage_beside_the_reading() {
    for text in ["500V/250MΩ", "250 MΩ @ 500 V", "500 V / 250"] {
        let reading = value(text, &field("M10"), 250 * ONE * ONE);
        assert_eq!(reading.parts.test_voltage, Some(Quantity::whole(Unit::Volt, 500)), "{text}");
    }
    let over = parse("1kV / >999 MΩ", &field("M10"));
    assert_eq!((over.cmp, over.parts.test_voltage), (Cmp::Greater, Some(Quantity::whole(Unit::Volt, 1000))));
    assert!(matches!(parse("500/250", &field("M10")).quality, Quality::Invalid { .. }));
}

#[test]
fn row_19_capitals_hide_the_prefix() {
    assert!(value("1.5 MOHM", &field("M10"), 1_500_000 * ONE).has(Note::PrefixFromField));
    let candidates = vec![Quantity::of(Unit::Ohm, 1_500), Quantity::of(Unit::Ohm, 1_500_000 * ONE)];
    assert_eq!(parse("1.5 MOHM", &field("M08")).quality, Quality::Ambiguous { candidates });
    value("1.5 Mohm", &other(Unit::Ohm), 1_500_000 * ONE);
    value("1.5 mohm", &field("M08"), 1_500);
    assert!(matches!(parse("250m", &field("M10")).quality, Quality::Ambiguous { .. }));
}

#[test]
fn row_20_case_decides() {
    value("5 mΩ", &other(Unit::Ohm), 5_000);
    value("5 MΩ", &other(Unit::Ohm), 5_000_000 * ONE);
    assert_eq!(parse("5 MΩ", &field("M08")).quality, Quality::OutsideSanity);
}

#[test]
fn row_21_width_and_twin_signs() {
    value("０．３５Ω", &field("M08"), 350_000);
    value("0.35 \u{2126}", &field("M08"), 350_000);
    value("0.35 \u{3a9}", &field("M08"), 350_000);
    value("5 \u{b5}F", &other(Unit::Farad), 5);
    value("5 \u{3bc}F", &other(Unit::Farad), 5);
}

#[test]
fn row_22_typographic_minus() {
    value("\u{2212}0.4", &other(Unit::Volt), -400_000);
}

#[test]
fn row_23_two_points_are_no_number() {
    assert_eq!(parse("0.35.1", &field("M08")).quality, Quality::Invalid { suggestion: None });
}

#[test]
fn row_24_torque_in_pound_inches() {
    assert!(value("106 in-lb", &field("M16"), 11_976_392).has(Note::Converted));
    value("9 ft·lb", &field("M16"), 12_202_362);
    value("44.25 lbf·in", &field("M16"), 4_999_579);
    value("12 Nm", &field("M16"), 12 * ONE);
    value("12 N·m", &field("M16"), 12 * ONE);
    value("12 N.m", &field("M16"), 12 * ONE);
}

#[test]
fn row_25_conductor_sizes() {
    assert!(value("6AWG", &field("X-SIZE"), 13_301_768).has(Note::Awg));
    value("2/0 AWG", &field("X-SIZE"), 67_430_882);
    for text in ["10sqmm", "10 mm2", "10 mm²", "10"] {
        value(text, &field("X-SIZE"), 10 * ONE);
    }
    assert!(matches!(parse("99 AWG", &field("X-SIZE")).quality, Quality::Invalid { .. }));
}

#[test]
fn row_26_power_in_an_energy_field() {
    let reading = parse("10kW", &other(Unit::WattHour));
    let suggestion = Some(Quantity::whole(Unit::WattHour, 10_000));
    assert_eq!(reading.quality, Quality::UnitMismatch { found: Unit::Watt, suggestion });
    assert_eq!(judge(&reading, &Limit::at_most(ONE)), Verdict::NotDetermined(Why::UnitMismatch));
    value("10 kWh", &other(Unit::WattHour), 10_000 * ONE);
}

#[test]
fn row_27_fahrenheit() {
    value("68F", &field("M06"), 20 * ONE);
    value("20 °F", &field("M06"), -6_666_667);
    value("25 °C", &field("M06"), 25 * ONE);
    value("18 °F", &field("M26"), 10 * ONE);
}

#[test]
fn row_28_a_date_is_no_reading() {
    for id in ["M04", "M08", "M10", "M13", "M18", "M22"] {
        assert!(matches!(parse("03/04/2026", &field(id)).quality, Quality::Invalid { .. }), "{id}");
        assert!(matches!(parse("2026-04-03", &field(id)).quality, Quality::Invalid { .. }), "{id}");
    }
}

#[test]
fn row_29_hours_and_minutes() {
    let time = other(Unit::Second);
    value("12 h 30", &time, 45_000 * ONE);
    value("12h30min", &time, 45_000 * ONE);
    value("1 min 20 s", &time, 80 * ONE);
    value("90 s", &time, 90 * ONE);
    let candidates = vec![Quantity::whole(Unit::Second, 750), Quantity::whole(Unit::Second, 45_000)];
    assert_eq!(parse("12:30", &time).quality, Quality::Ambiguous { candidates });
}

#[test]
fn row_30_fractions_of_an_inch() {
    value("1 1/2 in", &field("M18"), 38_100);
    value("1½ in", &field("M18"), 38_100);
    value("3/4\"", &field("M18"), 19_050);
    value("1.5 in", &field("M18"), 38_100);
    assert!(matches!(parse("1 1/0 in", &field("M18")).quality, Quality::Invalid { .. }));
}

#[test]
fn row_31_feet_and_inches() {
    value("3' 0\"", &field("M18"), 914_400);
    value("3′ 0″", &field("M18"), 914_400);
    value("3 ft 2 in", &field("M18"), 965_200);
    value("3 ft", &field("M18"), 914_400);
    value("600", &field("M18"), 600_000);
}

#[test]
fn row_32_tolerance() {
    let reading = value("230±2 V", &field("M01-LN"), 230 * ONE);
    assert_eq!(reading.parts.tolerance, Some(Quantity::whole(Unit::Volt, 2)));
    let share = value("230 V ± 1 %", &field("M01-LN"), 230 * ONE);
    assert_eq!(share.parts.tolerance, Some(Quantity::of(Unit::Volt, 2_300_000)));
}

#[test]
fn row_33_milliampere_with_comma() {
    value("16,5 mA", &field("X-LEAK"), 16_500);
}

#[test]
fn row_55_cells_are_kept_one_by_one() {
    let cells = parse_reading_list(&"3.3V\n".repeat(15), &other(Unit::Volt), NumberLocale::Point);
    let mut values: Vec<Quantity> = cells.iter().filter_map(|cell| cell.value).collect();
    values.push(Quantity::of(Unit::Volt, 3_312_000));
    assert_eq!(values.len(), 16);
    assert_eq!(spread(&values), Some(Quantity::of(Unit::Volt, 12_000)));
    assert_eq!(spread(&[]), None);
    let counted = parse("3.3V × 16", &other(Unit::Volt));
    assert!(counted.has(Note::SeveralValues) && counted.value.is_none());
}

#[test]
fn row_56_letter_o_in_a_state_of_charge() {
    let suggestion = Some(Quantity::whole(Unit::Percent, 30));
    assert_eq!(parse("SOC 3O%", &field("M05")).quality, Quality::Invalid { suggestion });
    value("SOC 30%", &field("M05"), 30 * ONE);
}

#[test]
fn row_57_more_than_full_is_invalid() {
    let reading = parse("105 %", &field("M05"));
    assert_eq!(reading.quality, Quality::Invalid { suggestion: None });
    assert!(reading.has(Note::Impossible));
    value("100 %", &field("M05"), 100 * ONE);
}

#[test]
fn nobody_can_confirm_what_physics_refuses() {
    for (text, field) in
        [("-0.2 Ω", other(Unit::Ohm)), ("9999 °C", other(Unit::Celsius)), ("-3 Hz", other(Unit::Hertz))]
    {
        let reading = parse(text, &FieldSpec { sanity_min: 0, sanity_max: ONE, ..field });
        assert_eq!(reading.quality, Quality::Invalid { suggestion: None }, "{text}");
        assert!(reading.has(Note::Impossible) && reading.value.is_none(), "{text}");
    }
    let against = parse("-48 V", &FieldSpec { sanity_min: 0, sanity_max: ONE, ..other(Unit::Volt) });
    assert_eq!(against.quality, Quality::OutsideSanity, "leads the wrong way round are asked about");
}

#[test]
fn row_58_bus_of_two_terminators() {
    let reading = value("59", &field("M17"), 59 * ONE);
    assert_eq!(judge(&reading, &Limit::between(54 * ONE, 66 * ONE)), Verdict::Pass);
}

#[test]
fn row_59_over_range_spellings() {
    for text in ["inf", "∞", "1999 (blinking)", "OVLD"] {
        let reading = parse(text, &field("M15"));
        assert_eq!((reading.quality, reading.value), (Quality::OverRange, None), "{text}");
    }
}

#[test]
fn sanity_ranges_keep_the_value_and_include_their_ends() {
    value("300", &field("M01-LN"), 300 * ONE);
    let slip = parse("2300 V", &field("M01-LN"));
    assert_eq!((slip.quality.clone(), slip.value), (Quality::OutsideSanity, Some(Quantity::whole(Unit::Volt, 2300))));
    assert_eq!(judge(&slip, &Limit::at_least(0)), Verdict::NotDetermined(Why::OutsideSanity));
}

#[test]
fn wrong_units_and_nonsense_give_no_value() {
    for (text, id) in [("5 V", "M08"), ("5 Ω", "M04"), ("5 A", "M16"), ("5 mm", "M19")] {
        assert!(matches!(parse(text, &field(id)).quality, Quality::UnitMismatch { .. }), "{text}");
    }
    for text in ["", "  ", "abc", "1e3", "5 V 6", "10⁵", "--5", "5..V", "0L", "5 of 6", "=", ">", "V"] {
        let reading = parse(text, &field("M04"));
        assert!(matches!(reading.quality, Quality::Invalid { .. }) && reading.value.is_none(), "{text:?}: {reading:?}");
    }
}

#[test]
fn a_stored_reading_gets_its_remarks_again() {
    let field = field("M04");
    let typed = parse("-51.8 V", &field);
    let recalled = ParsedReading::recall(&field, typed.value, typed.cmp, typed.quality.clone());
    assert_eq!(recalled, typed);
}

proptest! {
    #[test]
    fn any_text_has_an_answer(text in "\\PC{0,24}", index in 0_usize..31) {
        let field = crate::electrical::catalogue::MEASUREMENTS[index].field;
        let reading = parse(&text, &field);
        // A value without doubt is one in the field's unit and range.
        if reading.quality == Quality::Ok {
            let value = reading.value.expect("an ok reading has a value");
            prop_assert_eq!(value.unit, field.unit);
            prop_assert!((field.sanity_min..=field.sanity_max).contains(&value.micro));
        }
    }

    #[test]
    fn number_like_text_has_an_answer(text in "[-+<>0-9.,/ °'\"mkMVΩhin%lO±:]{0,16}", index in 0_usize..31) {
        let field = crate::electrical::catalogue::MEASUREMENTS[index].field;
        let _ = parse(&text, &field);
    }

    #[test]
    fn digits_with_the_persons_sign_read_back(whole in 0_i64..100, thousandths in 0_i64..1000) {
        let text = format!("{whole},{thousandths:03} V");
        let reading = parse_reading(&text, &other(Unit::Volt), NumberLocale::Comma);
        prop_assert_eq!(reading.value.map(|value| value.micro), Some(whole * ONE + thousandths * 1000));
    }
}
