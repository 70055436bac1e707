//! Codes of bars: Code 128, Code 39 and ITF. Each row of a picture is a reading of its own, and the latter two carry no check, so a
//! text counts once several rows agree on it.

use std::collections::HashMap;

use rxing::common::{BitArray, GlobalHistogramBinarizer};
use rxing::oned::{Code39Reader, Code128Reader, ITFReader, OneDReader};
use rxing::{Binarizer, DecodeHints, Luma8Source, RXingResult};

use crate::Picture;

/// Rows that are looked at in a picture, from its middle outward.
const ROWS: usize = 60;
/// So many must agree: on a text that carries a check sign, and on one that does not.
const AGREE_CHECKED: u32 = 2;
const AGREE_UNCHECKED: u32 = 4;
/// Neighbouring rows of bars are alike and their grain is not.
const ROWS_TOGETHER: usize = 5;

pub(crate) fn read(picture: &Picture) -> Option<String> {
    along_rows(&picture.softened(1, ROWS_TOGETHER)).or_else(|| along_rows(&picture.turned().softened(1, ROWS_TOGETHER)))
}

fn along_rows(picture: &Picture) -> Option<String> {
    let (width, height) = (u32::try_from(picture.width()).ok()?, u32::try_from(picture.height()).ok()?);
    let source = Luma8Source::new_with_slice(picture.grey(), width, height).ok()?;
    let rows = GlobalHistogramBinarizer::new(source);
    let mut votes = HashMap::new();
    let hints = DecodeHints { AssumeGs1: Some(true), ..DecodeHints::default() };
    for row in from_the_middle(picture.height()) {
        let Ok(mut bars) = rows.get_black_row(row) else { continue };
        for _ in 0..2 {
            if let Some(text) = agreed(&mut votes, &bars, &hints) {
                return Some(text);
            }
            // A label may stand on its head.
            bars.to_mut().reverse();
        }
    }
    None
}

/// [`ROWS`] row numbers at most, evenly over the picture.
fn from_the_middle(height: usize) -> impl Iterator<Item = usize> {
    let step = height.div_ceil(ROWS).max(1);
    let middle = height / 2;
    (0..=ROWS).filter_map(move |number| {
        let away = number.div_ceil(2) * step;
        let row = if number % 2 == 0 { middle.checked_add(away)? } else { middle.checked_sub(away)? };
        (row < height).then_some(row)
    })
}

/// One more row: the text on which enough of them agree by now.
fn agreed(votes: &mut HashMap<String, u32>, bars: &BitArray, hints: &DecodeHints) -> Option<String> {
    let mut vote = |found: RXingResult, agree: u32| {
        let text = found.getText();
        let count = votes.entry(text.to_owned()).or_default();
        *count += 1;
        (*count >= agree && !text.is_empty()).then(|| text.to_owned())
    };
    if let Ok(found) = Code128Reader.decode_row(0, bars, hints) {
        return vote(found, AGREE_CHECKED);
    }
    if let Ok(found) = Code39Reader::default().decode_row(0, bars, hints) {
        return vote(found, AGREE_UNCHECKED);
    }
    let found = ITFReader::default().decode_row(0, bars, hints).ok()?;
    vote(found, AGREE_UNCHECKED)
}
