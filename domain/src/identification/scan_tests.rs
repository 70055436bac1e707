//! Whole readings: each line of the trade facts about messy scans, and what surrounds them.
#![allow(clippy::unwrap_used, reason = "a test may fail")]

use super::ScanSource::{Camera, Import, Typed, Wedge};
use super::*;

/// A reading in one line: kind, product, serial, lot, part, or why not.
fn read(raw: &str, source: ScanSource) -> String {
    let reading = read_scan(raw, source);
    assert_eq!(reading.raw, raw, "the raw text is kept");
    let mut line = format!("{:?}", reading.kind);
    for (name, value) in
        [("gtin", &reading.gtin), ("lot", &reading.lot), ("part", &reading.part), ("host", &reading.host)]
    {
        if let Some(value) = value {
            line += &format!(" {name}={value}");
        }
    }
    match serial_from(&reading) {
        Ok(serial) => line += &format!(" serial={}", serial.stored),
        Err(problem) => line += &format!(" {problem:?}"),
    }
    line
}

#[test]
fn messy_scans() {
    let cases = [
        ("]C10109521234543213211234ABC", Wedge, "ElementString gtin=09521234543213 serial=1234ABC"),
        ("(01)09521234543213(21)A1B2-C3(10)LOT7", Typed, "ElementString gtin=09521234543213 lot=LOT7 serial=A1B2-C3"),
        ("010952123454321310LOT7␝21A1B2C3", Wedge, "ElementString gtin=09521234543213 lot=LOT7 serial=A1B2C3"),
        ("010952123454321310LOT721A1B2C3", Wedge, "ElementString gtin=09521234543213 lot=LOT721A1B2C3 SeparatorLost"),
        ("010952123454321421X", Wedge, "ElementString CheckDigitWrong"),
        ("9521234543213", Typed, "Plain gtin=09521234543213 ProductNotItem"),
        (
            "https://id.gs1.org/01/09521234543213/21/A1%2FB2",
            Camera,
            "DigitalLink gtin=09521234543213 host=id.gs1.org serial=A1/B2",
        ),
        (
            "https://example.com/01/09521234543213/21/9/10/L",
            Camera,
            "DigitalLink gtin=09521234543213 lot=L host=example.com QualifierOrder",
        ),
        ("[)>␞06␝1PBX-100␝SABC123␝10D2616␞␄", Camera, "Envelope part=BX-100 serial=ABC123"),
        ("S/N: abc-12 34", Typed, "Plain serial=abc-12 34"),
        ("BX24-00015O", Typed, "Plain serial=BX24-00015O"),
        ("АВС123", Typed, "Plain NonAsciiLetters"),
        ("ＡＢＣ１２３", Typed, "Plain serial=ABC123"),
        ("1.23457E+11", Import, "Plain DestroyedNumber"),
        ("000123", Typed, "Plain serial=000123"),
        ("ABC123\r\n", Wedge, "Plain serial=ABC123"),
        ("=21+3", Typed, "Plain serial==21+3"),
        ("490154203237518", Typed, "Plain LooksLikeImei"),
        ("A4:CF:12:9B:00:1E", Camera, "Plain LooksLikeMac"),
        ("8003095212345432131001", Camera, "ElementString serial=1001"),
        ("8006095212345432130203", Camera, "ElementString gtin=09521234543213 ProductNotItem"),
    ];
    for (raw, source, expected) in cases {
        assert_eq!(read(raw, source), expected, "{raw}");
    }
}

#[test]
fn symbologies_and_separators() {
    let both = "ElementString gtin=09521234543213 lot=LOT7 serial=A1";
    let cases = [
        ("]d2010952123454321310LOT7\u{1d}21A1", Camera, both),
        ("]Q3010952123454321310LOT7{GS}21A1", Wedge, both),
        ("]e0010952123454321310LOT7^]21A1", Wedge, both),
        ("]J1010952123454321310LOT7|21A1", Wedge, both),
        ("]C1010952123454321310LOT7 21A1", Wedge, both),
        ("010952123454321310LOT7|21A1", Wedge, both),
        ("010952123454321310LOT7~d02921A1\t", Wedge, both),
        ("\u{1d}010952123454321310LOT7\\x1d21A1", Wedge, both),
        ("10LOT7\u{1d}010952123454321321A1", Wedge, both),
        ("]C121A1", Wedge, "ElementString serial=A1"),
        ("]C1ABC", Wedge, "ElementString UnknownIdentifier"),
        ("]C1", Wedge, "Plain Empty"),
        ("]E09521234543213", Wedge, "Plain gtin=09521234543213 ProductNotItem"),
        ("]E09521234543214", Wedge, "Plain CheckDigitWrong"),
        ("]E412345670", Wedge, "Plain gtin=00000012345670 ProductNotItem"),
        ("]C0ABC123", Wedge, "Plain serial=ABC123"),
        ("]Q1https://example.com/x", Camera, "PlainUrl host=example.com LinkNotSerial"),
        ("AB\u{1d}CD", Camera, "Plain ControlCharacters"),
        ("AB<GS>CD", Camera, "Plain ControlCharacters"),
        ("00195271411234567891", Camera, "ElementString NoSerial"),
        ("]C1800495212AB\u{1d}", Camera, "ElementString serial=95212AB"),
        ("]C102095212345432133712", Camera, "ElementString NoSerial"),
        ("https://example.com/01/09521234543214/21/1", Camera, "PlainUrl host=example.com CheckDigitWrong"),
        ("https://example.com/x/21/A1", Camera, "PlainUrl host=example.com LinkNotSerial"),
        ("[)>\u{1e}06\u{1d}SA1\u{1d}16D20260230\u{1e}\u{4}", Camera, "Envelope NotADate"),
    ];
    for (raw, source, expected) in cases {
        assert_eq!(read(raw, source), expected, "{raw}");
    }
}

#[test]
fn what_was_stripped_is_recorded() {
    let reading = read_scan(" ]C0ABC123 \r\n", Wedge);
    assert_eq!((reading.suffix.as_str(), reading.symbology.as_deref()), ("\r\n", Some("C0")));
    assert_eq!(reading.serial.as_deref(), Some("ABC123"));
    assert!(!reading.label_stripped);
    assert!(read_scan("S/N: abc-12 34", Typed).label_stripped);
    assert!(read_scan("010952123454321310LOT7␝21A1", Wedge).respelled);
    assert!(!read_scan("010952123454321310LOT7\u{1d}21A1", Wedge).respelled);
}

#[test]
fn labels_are_stripped_from_typed_text_only() {
    let cases = [
        ("S/N: abc-12 34", "abc-12 34"),
        ("s/n abc", "abc"),
        ("SN:123", "123"),
        ("SN# 123", "123"),
        ("Serial No.: 12-A", "12-A"),
        ("Seriennummer: 12-A", "12-A"),
        ("Número de serie: 12-A", "12-A"),
        ("SN12345", "SN12345"),
        ("SN 12345", "SN 12345"),
        ("Serial", "Serial"),
    ];
    for (typed, serial) in cases {
        assert_eq!(serial_from(&read_scan(typed, Typed)).unwrap().stored, serial, "{typed}");
    }
    assert_eq!(serial_from(&read_scan("SN:123", Camera)).unwrap().stored, "SN:123");
    assert_eq!(read_scan("S/N:", Typed).problem, Some(Problem::Empty));
    assert_eq!(serial_from(&read_scan("S/N: abc-12 34", Typed)).unwrap().match_key, "ABC1234");
}

#[test]
fn what_only_looks_like_something_else_may_be_confirmed() {
    for text in ["490154203237518", "A4:CF:12:9B:00:1E", "9521234543213", "0109521234543213", "8901234567890123456"] {
        let reading = read_scan(text, Typed);
        assert!(serial_from(&reading).is_err(), "{text}");
        assert_eq!(serial_as_confirmed(&reading).unwrap().stored, text);
    }
    for text in ["]E09521234543213", "]C10109521234543213", "010952123454321310LOT721A1", "010952123454321421X", "АВС"]
    {
        let reading = read_scan(text, Wedge);
        assert_eq!(serial_as_confirmed(&reading).err(), reading.problem, "{text}");
        assert!(reading.problem.is_some(), "{text}");
    }
    assert_eq!(serial_as_confirmed(&read_scan("ABC", Typed)).unwrap().stored, "ABC");
}

#[test]
fn patterns_of_other_numbers() {
    let cases = [
        ("a4-cf-12-9b-00-1e", Some(Problem::LooksLikeMac)),
        ("a4cf.129b.001e", Some(Problem::LooksLikeMac)),
        ("A4:CF:12:9B:00", None),
        ("49 015420 323751 8", Some(Problem::LooksLikeImei)),
        ("490154203237519", None),
        ("8901234567890123456", Some(Problem::LooksLikeIccid)),
        ("89012345678901234567", Some(Problem::LooksLikeIccid)),
        ("8801234567890123456", None),
        ("212345678992", Some(Problem::ProductNotItem)),
        ("09527000134357", Some(Problem::ProductNotItem)),
        ("09527000134358", None),
        ("12345670", None),
    ];
    for (text, problem) in cases {
        assert_eq!(read_scan(text, Typed).problem, problem, "{text}");
    }
}

#[test]
fn dates_and_pieces() {
    let reading = read_scan("https://example.com/p/01/09521234543213/10/LOT7/21/A1?11=260415", Camera);
    let made = reading.production.unwrap().resolve(2026).unwrap();
    assert_eq!(made.span().unwrap().0.to_string(), "2026-04-15");
    assert_eq!((reading.lot.as_deref(), reading.serial.as_deref()), (Some("LOT7"), Some("A1")));

    let reading = read_scan("[)>␞06␝1PBX-100␝SABC123␝10D2616␞␄", Camera);
    assert_eq!(reading.production, None, "10D does not say that it is the production date");
    let week = ScanDate::Week { year: 26, week: 16 };
    assert_eq!(reading.dates, [NamedDate { meaning: DateMeaning::Unstated, date: week }]);

    let reading = read_scan("8006095212345432130203", Camera);
    assert_eq!(reading.piece, Some((2, 3)));
    assert_eq!(read_scan("800609521234543213020321S1", Camera).problem, Some(Problem::FieldFormat));
}

#[test]
fn a_serial_that_could_hide_a_lot_is_marked() {
    assert!(read_scan("010952123454321321A1B2C310LOT7", Wedge).doubtful_end);
    assert!(!read_scan("010952123454321321A1B2C3", Wedge).doubtful_end);
    assert!(!read_scan("010952123454321321A1B2C310LOT7\u{1d}", Wedge).doubtful_end);
}

#[test]
fn nothing_and_too_much() {
    for raw in ["", " ", "\r\n", "\t"] {
        assert_eq!(read_scan(raw, Wedge).problem, Some(Problem::Empty), "{raw:?}");
    }
    let long = "A".repeat(SCAN_BYTES_MAX + 1);
    assert_eq!(read_scan(&long, Camera).problem, Some(Problem::TooLong));
    assert_eq!(read_scan("A\0B", Camera).problem, Some(Problem::ControlCharacters));
}

proptest::proptest! {
    #[test]
    fn any_bytes_are_answered(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..120)) {
        let text = String::from_utf8_lossy(&bytes);
        for source in [Camera, Wedge, Typed, Import] {
            let reading = read_scan(&text, source);
            proptest::prop_assert_eq!(&reading.raw, &text);
            let _ = serial_from(&reading);
            let _ = serial_as_confirmed(&reading);
        }
    }

    #[test]
    fn text_near_the_grammars_is_answered(
        head in "(\\]C1|\\]E0|01|00|8003|8006|\\(01\\)|https://a/01/|\\[\\)>\u{1e}06\u{1d}|S/N: ?|)",
        tail in "(09521234543213)?(\\PC|[\u{4}\u{1d}\u{1e}0-9A-Z/()?=&%]){0,60}",
    ) {
        for source in [Camera, Wedge, Typed, Import] {
            let reading = read_scan(&format!("{head}{tail}"), source);
            // Whatever counts as a serial is made of what was scanned, up to full-width forms and percent signs.
            if let Ok(serial) = serial_from(&reading) {
                proptest::prop_assert!(reading.problem.is_none());
                proptest::prop_assert!(!serial.match_key.is_empty());
            }
        }
    }
}
