//! Codes of small squares: QR and DataMatrix. Both mend a part of what was misread and check the rest.

use rxing::common::HybridBinarizer;
use rxing::datamatrix::DataMatrixReader;
use rxing::qrcode::cpp_port::QrReader;
use rxing::{
    BinaryBitmap, DecodeHints, Luma8Source, RXingResult, RXingResultMetadataType, RXingResultMetadataValue, Reader,
};

use crate::Picture;

/// What a carrier calls itself where its text follows the rules of GS1.
const OF_GS1: [&str; 2] = ["]d2", "]Q3"];

pub(crate) fn read(picture: &Picture) -> Option<String> {
    let (width, height) = (u32::try_from(picture.width()).ok()?, u32::try_from(picture.height()).ok()?);
    let source = Luma8Source::new_with_slice(picture.grey(), width, height).ok()?;
    let mut bits = BinaryBitmap::new(HybridBinarizer::new(source));
    let hints = DecodeHints { TryHarder: Some(true), ..DecodeHints::default() };
    let found = QrReader.decode_with_hints(&mut bits, &hints);
    let found = found.or_else(|_| DataMatrixReader.decode_with_hints(&mut bits, &hints)).ok()?;
    let text = found.getText();
    (!text.is_empty()).then(|| format!("{}{text}", of_gs1(&found).unwrap_or_default()))
}

fn of_gs1(found: &RXingResult) -> Option<&str> {
    let said = found.getRXingResultMetadata().get(&RXingResultMetadataType::SYMBOLOGY_IDENTIFIER)?;
    let RXingResultMetadataValue::SymbologyIdentifier(said) = said else { return None };
    OF_GS1.contains(&said.as_str()).then_some(said)
}
