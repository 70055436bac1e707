//! The messy readings of the trade notes, each as typed by somebody who writes points, somebody who writes commas, and
//! somebody of whom nobody knows it.

use super::*;

const ONE: i64 = 1_000_000;
const LOCALES: [NumberLocale; 3] = [NumberLocale::Unknown, NumberLocale::Point, NumberLocale::Comma];

fn field(id: &str) -> FieldSpec {
    FieldSpec::of(id).expect("the tests name catalogue numbers")
}

/// Row, text, field, and the value in millionths: it is the same for all three.
const SAME: [(u8, &str, &str, i64); 29] = [
    (1, ">999 MΩ", "M10", 999 * ONE * ONE),
    (2, "0,35 Ω", "M08", 350_000),
    (3, "1.2k", "M17", 1_200 * ONE),
    (6, "<0.05 Ω", "M08", 50_000),
    (7, "<300 ms", "M13", 300_000),
    (8, ">300ms", "M13", 300_000),
    (11, "-51.8 V", "M04", -51_800_000),
    (12, "51.2", "M04", 51_200_000),
    (14, "51.2V DC", "M04", 51_200_000),
    (15, "0.00", "M08", 0),
    (17, "24ms 0° / 38ms 180°", "M13", 38_000),
    (18, "500V/250MΩ", "M10", 250 * ONE * ONE),
    (19, "1.5 MOHM", "M10", 1_500_000 * ONE),
    (20, "5 mΩ", "M08", 5_000),
    (20, "5 MΩ", "M10", 5 * ONE * ONE),
    (21, "０．３５Ω", "M08", 350_000),
    (21, "0.35\u{2126}", "M08", 350_000),
    (21, "0.35\u{3a9}", "M08", 350_000),
    (22, "−0.4", "M04", -400_000),
    (24, "106 in-lb", "M16", 11_976_392),
    (25, "10sqmm", "X-SIZE", 10 * ONE),
    (25, "10 mm2", "X-SIZE", 10 * ONE),
    (27, "68F", "M06", 20 * ONE),
    (30, "1 1/2 in", "M18", 38_100),
    (31, "3' 0\"", "M18", 914_400),
    (32, "230±2 V", "M01-LN", 230 * ONE),
    (33, "16,5 mA", "X-LEAK", 16_500),
    (58, "59", "M17", 59 * ONE),
    (2, "0.35 Ω", "M08", 350_000),
];

#[test]
fn the_value_does_not_depend_on_the_persons_sign() {
    for (row, text, id, micro) in SAME {
        for locale in LOCALES {
            let reading = parse_reading(text, &field(id), locale);
            assert_eq!(reading.quality, Quality::Ok, "row {row} {text} {locale:?}");
            assert_eq!(reading.value.map(|value| value.micro), Some(micro), "row {row} {text} {locale:?}");
        }
    }
}

#[test]
fn two_signs_explain_each_other_to_everybody() {
    let mut volts = field("M04");
    (volts.sanity_min, volts.sanity_max) = (i64::MIN, i64::MAX);
    for text in ["1.234,5 V", "1,234.5 V"] {
        for locale in LOCALES {
            let reading = parse_reading(text, &volts, locale);
            assert_eq!(reading.value.map(|value| value.micro), Some(1_234_500_000), "row 10 {text} {locale:?}");
        }
    }
}

#[test]
fn a_factor_of_a_thousand_is_asked_for_unless_it_is_the_persons_own_sign() {
    let mut volts = field("M04");
    (volts.sanity_min, volts.sanity_max) = (i64::MIN, i64::MAX);
    for (text, own) in [("1.234", NumberLocale::Point), ("1,234", NumberLocale::Comma)] {
        for locale in LOCALES {
            let reading = parse_reading(text, &volts, locale);
            if locale == own {
                assert_eq!(reading.value.map(|value| value.micro), Some(1_234_000), "row 9 {text} {locale:?}");
            } else {
                assert!(matches!(reading.quality, Quality::Ambiguous { .. }), "row 9 {text} {locale:?}");
                assert_eq!(reading.value, None);
            }
        }
    }
}

#[test]
fn what_is_no_value_is_none_in_any_language() {
    for (row, text, id) in [
        (4, "OL", "M08"),
        (5, "OL", "M10"),
        (13, "5l.2 V", "M04"),
        (16, "LIM", "M08"),
        (16, "N/A", "M08"),
        (16, "-", "M08"),
        (19, "1.5 MOHM", "M08"),
        (23, "0.35.1", "M08"),
        (26, "10kW", "M04"),
        (28, "03/04/2026", "M04"),
        (56, "SOC 3O%", "M05"),
        (59, "inf", "M08"),
        (59, "∞", "M08"),
        (59, "1999 (blinking)", "M08"),
    ] {
        for locale in LOCALES {
            let reading = parse_reading(text, &field(id), locale);
            assert_ne!(reading.quality, Quality::Ok, "row {row} {text} {locale:?}");
            assert_eq!(reading.value, None, "row {row} {text} {locale:?}");
        }
    }
    for locale in LOCALES {
        assert_ne!(parse_reading("105 %", &field("M05"), locale).quality, Quality::Ok, "row 57");
    }
}
