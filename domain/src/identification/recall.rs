//! Whether a unit falls under a recall notice.
//!
//! Wrongly saying "no" is the worst answer, so every doubt stays visible: look-alike serials and dates without a day
//! are *possible*, and whatever the notice cannot settle is *undecidable*, which means asking the maker.

use super::dates::Date;
use super::keys::{Serial, match_key, skeleton};
use super::label_dates::LabelDate;

/// What a notice means for one unit. The order is that of urgency, least first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RecallAnswer {
    /// The notice does not mean it.
    No,
    /// What is known does not settle it: ask the maker.
    Undecidable,
    /// It may be meant: look at the label.
    Possible,
    /// The notice means it.
    Hit,
}

/// What an answer rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Ground {
    /// The product code or the model name.
    Model,
    /// A lot.
    Lot,
    /// The production date.
    Production,
    /// A serial range.
    SerialRange,
}

/// Serials from one to another, both included.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SerialRange {
    /// First serial.
    pub from: Serial,
    /// Last serial.
    pub to: Serial,
}

/// The parts of a recall notice that decide whom it means. Within it every list is a union: a unit that any of them
/// names is meant.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Notice {
    /// Product codes, 14 digits.
    pub gtins: Vec<String>,
    /// Model names; compared without case and separators.
    pub models: Vec<String>,
    /// Lots.
    pub lots: Vec<String>,
    /// Production dates, first and last day.
    pub production: Option<(Date, Date)>,
    /// Serial ranges.
    pub ranges: Vec<SerialRange>,
}

/// What is known of a unit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Unit {
    /// Product code, 14 digits.
    pub gtin: Option<String>,
    /// Model name.
    pub model: Option<String>,
    /// Serial.
    pub serial: Option<Serial>,
    /// Lot.
    pub lot: Option<String>,
    /// Production date.
    pub production: Option<LabelDate>,
}

/// The answer with what each part of the notice said.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecallMatch {
    /// The answer.
    pub answer: RecallAnswer,
    /// Each ground that was looked at, in the order of [`Ground`].
    pub grounds: Vec<(Ground, RecallAnswer)>,
}

/// Compares one unit with one notice.
#[must_use]
pub fn judge_recall(notice: &Notice, unit: &Unit) -> RecallMatch {
    let model = model_answer(notice, unit);
    let mut grounds = vec![(Ground::Model, model)];
    if model == RecallAnswer::No {
        return RecallMatch { answer: RecallAnswer::No, grounds };
    }
    if !notice.lots.is_empty() {
        grounds.push((Ground::Lot, lot_answer(&notice.lots, unit.lot.as_deref())));
    }
    if let Some(span) = notice.production {
        grounds.push((Ground::Production, production_answer(span, unit.production)));
    }
    if !notice.ranges.is_empty() {
        let answer = match &unit.serial {
            Some(serial) => notice.ranges.iter().map(|range| in_range(serial, range)).max(),
            None => None,
        };
        grounds.push((Ground::SerialRange, answer.unwrap_or(RecallAnswer::Undecidable)));
    }
    // A notice that names only a model means all of its units.
    let narrowed = grounds[1..].iter().map(|(_, answer)| *answer).max().unwrap_or(RecallAnswer::Hit);
    let answer = match (narrowed, model) {
        (RecallAnswer::No, _) => RecallAnswer::No,
        // A sure serial on a model that is not known for sure stays a possibility; "ask the maker" does as well.
        (sure, certainty) => sure.min(certainty),
    };
    RecallMatch { answer, grounds }
}

/// Hit: the notice names it (or names no model at all). Possible: there is nothing to compare with.
fn model_answer(notice: &Notice, unit: &Unit) -> RecallAnswer {
    if notice.gtins.is_empty() && notice.models.is_empty() {
        return RecallAnswer::Hit;
    }
    let by_gtin = unit.gtin.as_ref().filter(|_| !notice.gtins.is_empty()).map(|gtin| notice.gtins.contains(gtin));
    let by_name = unit.model.as_ref().filter(|_| !notice.models.is_empty()).map(|name| {
        let name = model_key(name);
        notice.models.iter().any(|listed| model_key(listed) == name)
    });
    match (by_gtin, by_name) {
        (Some(true), _) | (_, Some(true)) => RecallAnswer::Hit,
        (Some(false), _) | (_, Some(false)) => RecallAnswer::No,
        (None, None) => RecallAnswer::Possible,
    }
}

fn model_key(name: &str) -> String {
    use unicode_normalization::UnicodeNormalization;
    let normal: String = name.nfkc().collect();
    match_key(&normal.to_uppercase()).replace('_', "")
}

fn lot_answer(lots: &[String], lot: Option<&str>) -> RecallAnswer {
    let Some(lot) = lot.map(model_key) else {
        return RecallAnswer::Undecidable;
    };
    let folded = skeleton(&lot);
    lots.iter()
        .map(|listed| {
            let listed = model_key(listed);
            if listed == lot {
                RecallAnswer::Hit
            } else if skeleton(&listed) == folded {
                RecallAnswer::Possible
            } else {
                RecallAnswer::No
            }
        })
        .max()
        .unwrap_or(RecallAnswer::No)
}

fn production_answer((first, last): (Date, Date), made: Option<LabelDate>) -> RecallAnswer {
    let Some(Ok((earliest, latest))) = made.map(LabelDate::span) else {
        return RecallAnswer::Undecidable;
    };
    if first > last {
        return RecallAnswer::Undecidable;
    }
    if first <= earliest && latest <= last {
        RecallAnswer::Hit
    } else if latest < first || last < earliest {
        RecallAnswer::No
    } else {
        RecallAnswer::Possible
    }
}

/// Whether a serial lies in a range: by its key, and by its skeleton, where a hit is only a possibility.
///
/// ```
/// use domain::identification::{Serial, recall::{RecallAnswer, SerialRange, in_range}};
/// let serial = |text| Serial::of(text).unwrap();
/// let range = SerialRange { from: serial("BX24-000100"), to: serial("BX24-000250") };
/// assert_eq!(in_range(&serial("BX24-000250"), &range), RecallAnswer::Hit);
/// assert_eq!(in_range(&serial("BX24-0250"), &range), RecallAnswer::Undecidable);
/// ```
#[must_use]
pub fn in_range(serial: &Serial, range: &SerialRange) -> RecallAnswer {
    let exact = key_in_range(&serial.match_key, &range.from.match_key, &range.to.match_key);
    if exact == RecallAnswer::Hit {
        return exact;
    }
    match key_in_range(&serial.skeleton, &range.from.skeleton, &range.to.skeleton) {
        RecallAnswer::Hit => RecallAnswer::Possible,
        RecallAnswer::No | RecallAnswer::Undecidable | RecallAnswer::Possible => exact,
    }
}

fn key_in_range(key: &str, from: &str, to: &str) -> RecallAnswer {
    let (Some((from_prefix, from_run)), Some((to_prefix, to_run))) = (split_run(from), split_run(to)) else {
        return RecallAnswer::Undecidable;
    };
    // Runs of equal length compare as texts the way they compare as numbers, however long they are.
    if from_prefix != to_prefix || from_run.len() != to_run.len() || from_run > to_run {
        return RecallAnswer::Undecidable;
    }
    match split_run(key) {
        None => RecallAnswer::Undecidable,
        Some((prefix, _)) if prefix != from_prefix => RecallAnswer::No,
        Some((_, run)) if run.len() != from_run.len() => RecallAnswer::Undecidable,
        Some((_, run)) if (from_run..=to_run).contains(&run) => RecallAnswer::Hit,
        Some(_) => RecallAnswer::No,
    }
}

/// What stands before the digits at the end, and these digits; `None` when it does not end in a digit.
fn split_run(key: &str) -> Option<(&str, &str)> {
    let prefix = key.trim_end_matches(|c: char| c.is_ascii_digit());
    let run = &key[prefix.len()..];
    (!run.is_empty()).then_some((prefix, run))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may fail")]
mod tests {
    use super::*;
    use RecallAnswer::{Hit, No, Possible, Undecidable};

    fn serial(text: &str) -> Serial {
        Serial::of(text).unwrap()
    }

    fn range(from: &str, to: &str) -> SerialRange {
        SerialRange { from: serial(from), to: serial(to) }
    }

    #[test]
    fn serial_ranges() {
        let plain = ("BX24-000100", "BX24-000250");
        let cases = [
            ("BX24-000250", plain, Hit),
            ("BX24-000100", plain, Hit),
            ("bx24 000 175", plain, Hit),
            ("BX24-000099", plain, No),
            ("BX24-000251", plain, No),
            ("BX24-0250", plain, Undecidable),
            ("BX25-000150", plain, No),
            ("CX24-000150", plain, No),
            ("BX24-00015O", plain, Possible),
            ("8X24-000150", plain, Possible),
            ("BX24-00025I", plain, Undecidable),
            ("BX24-00015A", plain, Undecidable),
            ("BX24-000150", ("BX24-000100", "BX25A-000250"), Undecidable),
            ("BX24-000150", ("BX24-000100", "BX24-0002500"), Undecidable),
            ("BX24-000150", ("BX24-000250", "BX24-000100"), Undecidable),
            ("BX24-000150", ("BX24-A", "BX24-Z"), Undecidable),
            ("0150", ("0100", "0200"), Hit),
            (
                "99999999999999999999999999999999150",
                ("99999999999999999999999999999999100", "99999999999999999999999999999999200"),
                Hit,
            ),
        ];
        for (text, (from, to), answer) in cases {
            assert_eq!(in_range(&serial(text), &range(from, to)), answer, "{text} in {from}..{to}");
        }
    }

    #[test]
    fn a_notice_is_a_union_within_its_model() {
        let date = |text: &str| Date::parse(text).unwrap();
        let notice = Notice {
            gtins: vec!["09521234543213".into()],
            models: vec!["Demo Module 5".into()],
            lots: vec!["LOT-0".into()],
            production: Some((date("2026-02-10"), date("2026-04-30"))),
            ranges: vec![range("BX24-000100", "BX24-000250")],
        };
        let unit = |serial_text: &str, lot: Option<&str>, made: Option<LabelDate>| Unit {
            gtin: None,
            model: Some("DEMO-MODULE 5".into()),
            serial: Some(serial(serial_text)),
            lot: lot.map(str::to_owned),
            production: made,
        };
        let month = |month| Some(LabelDate::Month { year: 2026, month });
        let cases = [
            (unit("BX24-000999", Some("lot0"), month(6)), Hit),
            (unit("BX24-000999", Some("LOTO"), month(6)), Possible),
            (unit("BX24-000999", Some("LOT9"), month(3)), Hit),
            (unit("BX24-000999", Some("LOT9"), month(2)), Possible),
            (unit("BX24-000999", Some("LOT9"), month(6)), No),
            (unit("BX24-000999", None, month(6)), Undecidable),
            (unit("BX24-000150", Some("LOT9"), month(6)), Hit),
            (Unit { model: Some("Demo Module 6".into()), ..unit("BX24-000150", None, None) }, No),
            (Unit { model: None, ..unit("BX24-000150", None, None) }, Possible),
            (Unit { gtin: Some("09521234543213".into()), model: None, ..unit("BX24-000150", None, None) }, Hit),
            (Unit { gtin: Some("09527000134357".into()), model: None, ..unit("BX24-000150", None, None) }, No),
            (Unit { serial: None, ..unit("X1", Some("LOT9"), month(6)) }, Undecidable),
        ];
        for (unit, answer) in cases {
            assert_eq!(judge_recall(&notice, &unit).answer, answer, "{unit:?}");
        }
        let whole_model = Notice { models: vec!["demo module 5".into()], ..Notice::default() };
        let all = judge_recall(&whole_model, &unit("X1", None, None));
        assert_eq!((all.answer, all.grounds), (Hit, vec![(Ground::Model, Hit)]));
    }

    proptest::proptest! {
        #[test]
        fn every_serial_of_a_range_is_a_hit(low in 0u32..500_000, width in 0u32..500_000, step in 0u32..500_000) {
            let name = |n: u32| format!("QX-{n:07}");
            let inside = low + step.min(width);
            let range = range(&name(low), &name(low + width));
            proptest::prop_assert_eq!(in_range(&serial(&name(inside)), &range), Hit);
            proptest::prop_assert_eq!(in_range(&serial(&name(low + width + 1)), &range), No);
        }
    }
}
