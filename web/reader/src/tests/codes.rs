use rxing::common::BitMatrix;
use rxing::datamatrix::encoder::error_correction::encodeECC200;
use rxing::datamatrix::encoder::{DefaultPlacement, SymbolInfoLookup};
use rxing::{BarcodeFormat, EncodeHints};

use super::chance::Chance;
use super::scene::{LABELS, Scene, code_with, is_bars, no_margin};
use crate::{Picture, read, read_rgba};

#[test]
fn every_kind_of_label_is_read() {
    for (format, text) in LABELS {
        assert_eq!(read(&Scene::PLAIN.clear(format, text)).as_deref(), Some(text), "{format}");
    }
}

#[test]
fn a_label_may_stand_on_its_side_on_its_head_and_a_little_askew() {
    for (format, text) in LABELS {
        let degrees: &[f64] = if is_bars(format) {
            &[90.0, 180.0, 270.0, 8.0, -8.0, 97.0, 185.0]
        } else {
            &[90.0, 180.0, 270.0, 10.0, 17.0, 45.0, 290.0]
        };
        for degrees in degrees {
            let scene = Scene { degrees: *degrees, width: 960, height: 960, ..Scene::PLAIN };
            assert_eq!(read(&scene.clear(format, text)).as_deref(), Some(text), "{format} at {degrees}°");
        }
    }
}

#[test]
fn a_code_of_gs1_says_so_and_keeps_its_separators() {
    let wide = Scene { width: 1_200, height: 200, ..Scene::PLAIN };
    let bars = wide.clear(BarcodeFormat::CODE_128, "\u{f1}010952123454321310LOT7\u{f1}21A1");
    assert_eq!(read(&bars).as_deref(), Some("]C1010952123454321310LOT7\u{1d}21A1"));
    let hints = EncodeHints { Gs1Format: Some(true), ..no_margin() };
    let text = "010952123454321310LOT7";
    let square = Scene::PLAIN.of(&code_with(BarcodeFormat::QR_CODE, text, &hints), false, |value| value);
    assert_eq!(read(&square), Some(format!("]Q3{text}")));
    let square = Scene::PLAIN.of(&data_matrix_of_gs1(), false, |value| value);
    assert_eq!(read(&square).as_deref(), Some("]d2010952123454321310LOT7\u{1d}21A1"));
    for format in [BarcodeFormat::DATA_MATRIX, BarcodeFormat::QR_CODE] {
        let plain = read(&Scene::PLAIN.clear(format, "010952123454321321A1"));
        assert_eq!(plain.as_deref(), Some("010952123454321321A1"), "{format}");
    }
}

/// Put together by hand, for the library's writer knows no FNC1: that sign, pairs of digits, letters; a symbol that they just fill.
fn data_matrix_of_gs1() -> BitMatrix {
    const FNC1: u8 = 232;
    let pair = |two: u8| 130 + two;
    let mut codewords = vec![FNC1];
    codewords.extend([1, 9, 52, 12, 34, 54, 32, 13, 10].map(pair));
    codewords.extend(b"LOT7".map(|sign| sign + 1));
    codewords.push(FNC1);
    codewords.push(pair(21));
    codewords.extend(b"A1".map(|sign| sign + 1));
    let codewords: String = codewords.into_iter().map(char::from).collect();
    let symbol = SymbolInfoLookup::new().lookup(18).expect("a size").expect("a size");
    assert_eq!(symbol.getDataCapacity(), 18);
    let edge = symbol.getSymbolDataWidth().expect("one region");
    let whole = encodeECC200(&codewords, symbol).expect("checks");
    let mut placed = DefaultPlacement::new(whole, edge as usize, edge as usize);
    placed.place().expect("a place for each");
    let mut code = BitMatrix::new(edge + 2, edge + 2).expect("a square");
    for x in 0..edge + 2 {
        for y in 0..edge + 2 {
            // Two solid sides, two that alternate.
            let is_black = match (x, y) {
                (0, _) => true,
                (_, y) if y == edge + 1 => true,
                (x, 0) => x % 2 == 0,
                (x, y) if x == edge + 1 => y % 2 == 1,
                (x, y) => placed.getBit(x as usize - 1, y as usize - 1),
            };
            if is_black {
                code.set(x, y);
            }
        }
    }
    code
}

#[test]
fn as_the_browser_draws_it() {
    let picture = Scene::PLAIN.clear(BarcodeFormat::QR_CODE, "WM-1");
    let rgba: Vec<u8> = picture.grey().iter().flat_map(|grey| [*grey, *grey, *grey, 255]).collect();
    assert_eq!(read_rgba(640, 480, &rgba), "WM-1");
    assert_eq!(read_rgba(640, 481, &rgba), "");
    assert_eq!(read_rgba(0, 0, &[]), "");
}

/// Nothing is read where nothing is, and nothing stops the reader: noise, stripes, blocks and torn codes of any size.
#[test]
fn garbage_is_not_read_and_stops_nothing() {
    let mut chance = Chance::of(11);
    for round in 0..300 {
        let (width, height) = (1 + chance.next() % 200, 1 + chance.next() % 200);
        let (width, height) = (u32::try_from(width).expect("small"), u32::try_from(height).expect("small"));
        let (kind, step) = (chance.next() % 5, 1 + chance.next() % 9);
        let pixel = |at: u64, chance: &mut Chance| {
            let (x, y) = (at % u64::from(width), at / u64::from(width));
            let is_light = match kind {
                0 => chance.next().is_multiple_of(2),
                1 => x / step % 2 == 0,
                2 => y / step % 2 == 0,
                3 => (x / step + y / step) % 2 == 0,
                _ => return chance.next().to_le_bytes()[0],
            };
            if is_light { 255 } else { 0 }
        };
        let grey = (0..u64::from(width) * u64::from(height)).map(|at| pixel(at, &mut chance)).collect();
        let seen = read(&Picture::new(width, height, grey).expect("a picture"));
        assert_eq!(seen, None, "round {round}: {width}x{height} of kind {kind}, step {step}");
    }
}

#[test]
fn a_torn_code_is_read_rightly_or_not_at_all() {
    let mut chance = Chance::of(10);
    for (format, text) in LABELS {
        let whole = Scene { module: 3.0, ..Scene::PLAIN }.clear(format, text);
        let mut rightly = 0;
        for round in 0..40 {
            let mut grey = whole.grey().to_vec();
            // Scratches across the label.
            for _ in 0..(round % 8) * 3 {
                let (from, slant) = (chance.between(0.0, 640.0), chance.between(-1.5, 1.5));
                let shade = chance.next().to_le_bytes()[0];
                for y in 0..480_u32 {
                    let x = from + f64::from(y) * slant;
                    for wide in 0..3 {
                        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "in the frame")]
                        if (0.0..637.0).contains(&x) {
                            grey[y as usize * 640 + x as usize + wide] = shade;
                        }
                    }
                }
            }
            match read(&Picture::new(640, 480, grey).expect("a picture")) {
                None => {}
                Some(seen) => {
                    assert_eq!(seen, text, "{format}, round {round}");
                    rightly += 1;
                }
            }
        }
        assert!(rightly >= 10, "{format}: {rightly} of 40");
    }
}
