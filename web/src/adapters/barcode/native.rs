//! The browser's own reader (`BarcodeDetector`). Some browsers have it in name only and some know but a few kinds of code, so it is
//! taken once it has read a picture that is known and says that it knows every kind that labels carry.

use std::cell::Cell;

use js_sys::{Array, Object, Promise, Reflect};
use wasm_bindgen::prelude::*;

use super::frame::Frame;
use super::within;

/// Kinds of code that labels of units carry.
const FORMATS: [&str; 5] = ["data_matrix", "qr_code", "code_128", "code_39", "itf"];
/// Some phones fetch their reader first; nobody waits for that.
const PROOF_MS: u32 = 2_000;
/// A look that takes longer has failed.
const LOOK_MS: u32 = 5_000;

/// What the known picture says.
pub const KNOWN_TEXT: &str = "WITNESSMARK";
/// Its modules, a QR code: a row a number, black where a bit is set.
const KNOWN: [u32; 21] = [
    0b1_1111_1100_0101_0111_1111,
    0b1_0000_0101_0101_0100_0001,
    0b1_0111_0101_0110_0101_1101,
    0b1_0111_0100_0001_0101_1101,
    0b1_0111_0101_1111_0101_1101,
    0b1_0000_0101_1100_0100_0001,
    0b1_1111_1101_0101_0111_1111,
    0b0_0000_0001_0000_0000_0000,
    0b1_1010_0110_0111_0111_0110,
    0b0_1011_1000_0010_1000_1111,
    0b0_1101_1101_0010_1110_0011,
    0b1_0110_0010_1001_1100_1000,
    0b0_0011_1101_0110_0110_0000,
    0b0_0000_0001_0100_1101_1010,
    0b1_1111_1101_1011_0110_1111,
    0b1_0000_0100_0100_0100_1100,
    0b1_0111_0100_0101_1100_0001,
    0b1_0111_0101_1000_1100_1011,
    0b1_0111_0100_1010_1101_0101,
    0b1_0000_0101_1011_0011_1101,
    0b1_1111_1101_0100_1000_1000,
];
/// Edge of a module, and white around the code in modules.
const MODULE: u32 = 6;
const QUIET: u32 = 4;

#[wasm_bindgen]
extern "C" {
    #[wasm_bindgen(js_name = BarcodeDetector)]
    pub type Detector;
    #[wasm_bindgen(constructor, catch, js_class = "BarcodeDetector")]
    fn new(options: &Object) -> Result<Detector, JsValue>;
    #[wasm_bindgen(static_method_of = Detector, catch, js_class = "BarcodeDetector", js_name = getSupportedFormats)]
    fn supported_formats() -> Result<Promise, JsValue>;
    #[wasm_bindgen(method, catch)]
    fn detect(this: &Detector, picture: &JsValue) -> Result<Promise, JsValue>;
}

thread_local! {
    /// What came of the proof; asked once a page.
    static PROVEN: Cell<Option<bool>> = const { Cell::new(None) };
}

/// The browser's reader, if it can be relied on.
pub async fn proven() -> Option<Detector> {
    if PROVEN.get() == Some(false) || !Reflect::has(&js_sys::global(), &"BarcodeDetector".into()).ok()? {
        return None;
    }
    let detector = make()?;
    if PROVEN.get().is_none() {
        PROVEN.set(Some(prove(&detector).await));
    }
    (PROVEN.get() == Some(true)).then_some(detector)
}

fn make() -> Option<Detector> {
    let formats: Array = FORMATS.iter().map(|format| JsValue::from_str(format)).collect();
    let options = Object::new();
    Reflect::set(&options, &"formats".into(), &formats).ok()?;
    Detector::new(&options).ok()
}

async fn prove(detector: &Detector) -> bool {
    let knows_all = async {
        let known = within(PROOF_MS, &Detector::supported_formats().ok()?).await?;
        let known = known.dyn_into::<Array>().ok()?;
        Some(FORMATS.iter().all(|format| known.includes(&JsValue::from_str(format), 0)))
    };
    if knows_all.await != Some(true) {
        return false;
    }
    let Some(picture) = known_picture() else { return false };
    detector.read_within(PROOF_MS, picture.picture()).await.as_deref() == Some(KNOWN_TEXT)
}

/// A picture of which it is known what there is to be read.
pub fn known_picture() -> Option<Frame> {
    let modules = u32::try_from(KNOWN.len()).ok()?;
    let edge = (modules + 2 * QUIET) * MODULE;
    let frame = Frame::white(edge, edge)?;
    for (y, row) in (0..).zip(KNOWN) {
        for x in (0..modules).filter(|x| row >> (modules - 1 - x) & 1 == 1) {
            frame.blacken((x + QUIET) * MODULE, (y + QUIET) * MODULE, MODULE);
        }
    }
    Some(frame)
}

impl Detector {
    /// The text of the first code in it.
    pub async fn read(&self, picture: &JsValue) -> Option<String> {
        self.read_within(LOOK_MS, picture).await
    }

    async fn read_within(&self, ms: u32, picture: &JsValue) -> Option<String> {
        let codes = within(ms, &self.detect(picture).ok()?).await?.dyn_into::<Array>().ok()?;
        let text = Reflect::get(&codes.get(0), &"rawValue".into()).ok()?.as_string()?;
        (!text.is_empty()).then_some(text)
    }
}
