//! What is typed or pasted into the catalogue, read; and how an instrument stands. Pure.

use std::collections::{BTreeMap, BTreeSet};

use domain::bounds;
use domain::design::{MODEL_FIGURES, ModelFigure, model_figure, model_figures};
use domain::electrical::{Quantity, Unit, codes};
use domain::identification::check_digit::gtin14;
use domain::job_file::body::UnitKind;
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::features::design_sheet::view_model::{Fault, figure_in};
use crate::features::desk::shared::{KINDS, kind_word};
use crate::i18n::Words;
use crate::i18n::format::Day;
use crate::store::Model;

/// A calibration that ends within so many days is told.
pub const SOON_DAYS: i64 = 30;
/// Characters of a serial at most.
const SERIAL_CHARS_MAX: u16 = 60;

/// How an instrument's calibration stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Due {
    /// Nobody wrote down until when it holds: readings with it are not determined.
    Unknown,
    /// Ended so many days ago.
    Over(i64),
    /// Ends in so many days; 0 is today, its last good day.
    Soon(i64),
    /// Holds for longer.
    Good,
}

/// How a calibration stands on a day.
pub fn due(calibration_due: &str, today: Day) -> Due {
    match Day::parse(calibration_due).map(|last| last.number() - today.number()) {
        None => Due::Unknown,
        Some(days) if days < 0 => Due::Over(-days),
        Some(days) if days <= SOON_DAYS => Due::Soon(days),
        Some(_) => Due::Good,
    }
}

/// A model as typed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct ModelText {
    /// The kind's word.
    pub kind: String,
    /// Maker.
    pub maker: String,
    /// Name.
    pub name: String,
    /// GTIN of 8, 12, 13 or 14 digits.
    pub gtin: String,
    /// What serials begin with.
    pub serial_prefix: String,
    /// Least number of characters of a serial.
    pub serial_least: String,
    /// Greatest number.
    pub serial_most: String,
    /// Figures as typed, by key; an answer by its word. Those of other kinds of units stay while somebody looks at them.
    pub figures: BTreeMap<String, String>,
    /// Keys of what the maker does not state.
    pub not_stated: BTreeSet<String>,
    /// Figures that the model has and nothing here reads, in millionths.
    pub others: BTreeMap<String, i64>,
}

/// What the server is sent.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ModelBody {
    /// Kind.
    pub kind: UnitKind,
    /// Maker.
    pub maker: String,
    /// Name.
    pub name: String,
    /// 14 digits; empty takes it away.
    pub gtin: String,
    /// Prefix of serials.
    pub serial_prefix: String,
    /// Length of serials.
    pub serial_length: (u16, u16),
    /// Figures in millionths.
    pub values: BTreeMap<String, i64>,
    /// Keys of what the maker does not state.
    pub not_stated: BTreeSet<String>,
}

/// Where something is wrong.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Spot {
    /// The text as a whole.
    Whole,
    /// A field by the API's name.
    Field(&'static str),
    /// A figure by its key.
    Figure(String),
}

/// What is wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// Needed and not there.
    Needed,
    /// A text that cannot stay as it is.
    Text(bounds::Fault),
    /// Not a GTIN with a good check digit.
    NotAGtin,
    /// None of the known kinds.
    NotAKind,
    /// Not whole numbers from 0 to 60 in order.
    NotALength,
    /// Not a number, or one of JSON that could mean units or millionths.
    NotANumber,
    /// A figure that cannot be taken.
    Figure(Fault),
    /// Nothing reads such a figure of this kind.
    NoSuchFigure,
    /// Not JSON; line and column.
    NotJson(usize, usize),
    /// Neither an object nor a list of objects.
    NotObjects,
    /// A text was expected.
    NotText,
    /// A field that nobody knows.
    UnknownField(String),
}

/// Everything that is wrong with one model.
pub type Faults = BTreeMap<Spot, Wrong>;

/// Reads a kind's word.
pub fn kind_of_word(word: &str) -> Option<UnitKind> {
    KINDS.into_iter().find(|kind| kind_word(*kind) == word)
}

impl ModelText {
    /// A model that is there, to be changed.
    pub fn of(model: &Model, w: Words) -> Self {
        let length = |length: u16| if length == 0 { String::new() } else { length.to_string() };
        Self {
            kind: kind_word(model.kind).to_owned(),
            maker: model.maker.clone(),
            name: model.name.clone(),
            gtin: model.gtin.clone().unwrap_or_default(),
            serial_prefix: model.serial_prefix.clone(),
            serial_least: length(model.serial_length.0),
            serial_most: length(model.serial_length.1),
            figures: stated(model).map(|(figure, micro)| (figure.key.to_owned(), text_of(figure, micro, w))).collect(),
            not_stated: model.not_stated.clone(),
            others: others(model).map(|(key, micro)| (key.to_owned(), micro)).collect(),
        }
    }

    /// Reads all of it.
    ///
    /// # Errors
    /// Everything that is wrong at once, so that nobody mends one field a try.
    pub fn read(&self, decimal: char) -> Result<ModelBody, Faults> {
        let mut faults = Faults::new();
        let kind = kind_of_word(&self.kind);
        if kind.is_none() {
            faults.insert(Spot::Field("kind"), Wrong::NotAKind);
        }
        let maker = needed("maker", &self.maker, &mut faults);
        let name = needed("name", &self.name, &mut faults);
        let gtin = gtin(&self.gtin, &mut faults);
        if let Err(fault) = bounds::short(&self.serial_prefix, bounds::PREFIX_CHARS_MAX) {
            faults.insert(Spot::Field("serial_prefix"), Wrong::Text(fault));
        }
        let serial_length = length(&self.serial_least, &self.serial_most, &mut faults);
        let mut values = self.others.clone();
        let mut not_stated = BTreeSet::new();
        for figure in kind.into_iter().flat_map(model_figures) {
            if self.not_stated.contains(figure.key) {
                not_stated.insert(figure.key.to_owned());
                continue;
            }
            match read_figure(figure, self.figures.get(figure.key).map_or("", String::as_str), decimal) {
                Ok(Some(micro)) => {
                    values.insert(figure.key.to_owned(), micro);
                }
                Ok(None) => {}
                Err(fault) => {
                    faults.insert(Spot::Figure(figure.key.to_owned()), Wrong::Figure(fault));
                }
            }
        }
        match kind {
            Some(kind) if faults.is_empty() => {
                let serial_prefix = self.serial_prefix.trim().to_owned();
                Ok(ModelBody { kind, maker, name, gtin, serial_prefix, serial_length, values, not_stated })
            }
            _ => Err(faults),
        }
    }
}

/// Reads one figure as typed; nothing where the box is empty.
///
/// # Errors
/// [`Fault`].
pub fn read_figure(figure: &ModelFigure, text: &str, decimal: char) -> Result<Option<i64>, Fault> {
    // Files have answers as numbers.
    let text = match text.trim() {
        "0" if figure.is_answer => "no",
        "1" if figure.is_answer => "yes",
        text => text,
    };
    figure_in(figure.unit, figure.choices(), figure.unit == Unit::Count, text, decimal)
}

/// A figure as [`read_figure`] reads it.
fn text_of(figure: &ModelFigure, micro: i64, w: Words) -> String {
    match word_of(figure, micro) {
        Some(word) => word.to_owned(),
        None => w.number_short(micro),
    }
}

/// The answer that stands for a stored figure, where it is an answer.
pub fn word_of(figure: &ModelFigure, micro: i64) -> Option<&'static str> {
    if figure.is_answer { codes::word_in(figure.choices(), micro) } else { None }
}

/// What a model states of what is asked, in the order of the form.
pub fn stated(model: &Model) -> impl Iterator<Item = (&'static ModelFigure, i64)> {
    model_figures(model.kind).filter_map(|figure| Some((figure, *model.values.get(figure.key)?)))
}

/// What is asked of a model and neither stated nor known to be stated nowhere.
pub fn open(model: &Model) -> impl Iterator<Item = &'static ModelFigure> {
    model_figures(model.kind)
        .filter(|figure| !model.values.contains_key(figure.key) && !model.not_stated.contains(figure.key))
}

/// What a model states and nothing here reads.
pub fn others(model: &Model) -> impl Iterator<Item = (&str, i64)> {
    let unread = model.values.iter().filter(|(key, _)| model_figure(model.kind, key).is_none());
    unread.map(|(key, micro)| (key.as_str(), *micro))
}

/// Every key of the form once, whatever the kind.
pub fn keys() -> BTreeSet<&'static str> {
    MODEL_FIGURES.iter().map(|figure| figure.key).collect()
}

fn needed(field: &'static str, text: &str, faults: &mut Faults) -> String {
    match bounds::name(text) {
        Ok(()) => {}
        Err(bounds::Fault::Needed) => {
            faults.insert(Spot::Field(field), Wrong::Needed);
        }
        Err(fault) => {
            faults.insert(Spot::Field(field), Wrong::Text(fault));
        }
    }
    text.trim().to_owned()
}

fn gtin(text: &str, faults: &mut Faults) -> String {
    let text = text.trim();
    if text.is_empty() {
        return String::new();
    }
    gtin14(text).unwrap_or_else(|| {
        faults.insert(Spot::Field("gtin"), Wrong::NotAGtin);
        String::new()
    })
}

fn length(least: &str, most: &str, faults: &mut Faults) -> (u16, u16) {
    let read = |text: &str| if text.trim().is_empty() { Some(0) } else { text.trim().parse::<u16>().ok() };
    match (read(least), read(most)) {
        // One length alone means exactly this one.
        (Some(least), Some(0)) if least <= SERIAL_CHARS_MAX => (least, least),
        (Some(least), Some(most)) if least <= most && most <= SERIAL_CHARS_MAX => (least, most),
        _ => {
            faults.insert(Spot::Field("serial_length"), Wrong::NotALength);
            (0, 0)
        }
    }
}

/// Reads pasted JSON: one model or a list, in the form of the API. A figure may be a whole number (millionths, as the API has it) or
/// decimal text with a point (`"3.65"`, in whole units).
///
/// # Errors
/// For each model by its number from 1 what is wrong; number 0 is the text as a whole.
pub fn read_json(text: &str) -> Result<Vec<ModelBody>, Vec<(usize, Faults)>> {
    let whole = |wrong| vec![(0, Faults::from([(Spot::Whole, wrong)]))];
    let value: Value =
        serde_json::from_str(text).map_err(|error| whole(Wrong::NotJson(error.line(), error.column())))?;
    let items = match value {
        Value::Array(items) if !items.is_empty() => items,
        object @ Value::Object(_) => vec![object],
        _ => return Err(whole(Wrong::NotObjects)),
    };
    let mut bodies = Vec::new();
    let mut wrong = Vec::new();
    for (number, item) in (1..).zip(&items) {
        match model_of(item) {
            Ok(body) => bodies.push(body),
            Err(faults) => wrong.push((number, faults)),
        }
    }
    if wrong.is_empty() { Ok(bodies) } else { Err(wrong) }
}

fn model_of(item: &Value) -> Result<ModelBody, Faults> {
    let Value::Object(fields) = item else { return Err(Faults::from([(Spot::Whole, Wrong::NotObjects)])) };
    let mut faults = Faults::new();
    let mut text = ModelText::default();
    for (name, value) in fields {
        let into = match name.as_str() {
            "kind" => Some(("kind", &mut text.kind)),
            "maker" => Some(("maker", &mut text.maker)),
            "name" => Some(("name", &mut text.name)),
            "gtin" => Some(("gtin", &mut text.gtin)),
            "serial_prefix" => Some(("serial_prefix", &mut text.serial_prefix)),
            "serial_length" => {
                match value.as_array().map(|pair| pair.iter().map(Value::as_u64).collect::<Vec<_>>()).as_deref() {
                    Some([Some(least), Some(most)]) => {
                        (text.serial_least, text.serial_most) = (least.to_string(), most.to_string());
                    }
                    _ => {
                        faults.insert(Spot::Field("serial_length"), Wrong::NotALength);
                    }
                }
                None
            }
            "values" => {
                figures_of(value, &mut text.figures, &mut faults);
                None
            }
            "not_stated" => {
                match value.as_array().map(|keys| keys.iter().map(Value::as_str).collect::<Option<Vec<_>>>()) {
                    Some(Some(keys)) => text.not_stated = keys.into_iter().map(str::to_owned).collect(),
                    _ => {
                        faults.insert(Spot::Field("not_stated"), Wrong::NotText);
                    }
                }
                None
            }
            // What an export of the API carries and what is not ours to set.
            "id" | "version" | "retired" => None,
            other => {
                faults.insert(Spot::Figure(other.to_owned()), Wrong::UnknownField(other.to_owned()));
                None
            }
        };
        if let Some((field, into)) = into {
            match value {
                Value::String(own) => into.clone_from(own),
                Value::Null if field == "gtin" => {}
                _ => {
                    faults.insert(Spot::Field(field), Wrong::NotText);
                }
            }
        }
    }
    if let Some(kind) = kind_of_word(&text.kind) {
        for key in text.figures.keys().chain(&text.not_stated).filter(|key| model_figure(kind, key).is_none()) {
            faults.insert(Spot::Figure(key.clone()), Wrong::NoSuchFigure);
        }
    }
    match text.read('.') {
        Ok(body) if faults.is_empty() => Ok(body),
        Ok(_) => Err(faults),
        Err(more) => {
            for (spot, wrong) in more {
                faults.entry(spot).or_insert(wrong);
            }
            Err(faults)
        }
    }
}

fn figures_of(value: &Value, into: &mut BTreeMap<String, String>, faults: &mut Faults) {
    let Value::Object(figures) = value else {
        faults.insert(Spot::Field("values"), Wrong::NotObjects);
        return;
    };
    for (key, figure) in figures {
        match figure {
            Value::String(text) => {
                into.insert(key.clone(), text.clone());
            }
            Value::Number(number) => match number.as_i64() {
                Some(micro) => {
                    into.insert(key.clone(), Quantity::of(Unit::Count, micro).plain());
                }
                // A number with a fraction could mean units or millionths: nothing is guessed.
                None => {
                    faults.insert(Spot::Figure(key.clone()), Wrong::NotANumber);
                }
            },
            Value::Null | Value::Bool(_) | Value::Array(_) | Value::Object(_) => {
                faults.insert(Spot::Figure(key.clone()), Wrong::NotANumber);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]
    use super::*;

    fn day(text: &str) -> Day {
        Day::parse(text).unwrap()
    }

    #[test]
    fn the_last_good_day_still_counts() {
        let today = day("2026-11-25");
        assert_eq!(due("2026-11-25", today), Due::Soon(0));
        assert_eq!(due("2026-11-24", today), Due::Over(1));
        assert_eq!(due("2026-12-25", today), Due::Soon(30));
        assert_eq!(due("2026-12-26", today), Due::Good);
        assert_eq!(due("", today), Due::Unknown);
        assert_eq!(due("soon", today), Due::Unknown);
    }

    fn typed() -> ModelText {
        ModelText {
            kind: "module".into(),
            maker: " Brisa ".into(),
            name: "M 5".into(),
            gtin: "9521234567899".into(),
            serial_prefix: "BR".into(),
            serial_least: "12".into(),
            serial_most: String::new(),
            figures: texts(&[("cells", "16"), ("cell_max", "3,65"), ("temp_min", "-10")]),
            ..ModelText::default()
        }
    }

    fn texts(figures: &[(&str, &str)]) -> BTreeMap<String, String> {
        figures.iter().map(|(key, text)| ((*key).to_owned(), (*text).to_owned())).collect()
    }

    #[test]
    fn a_typed_model_is_read_in_the_persons_decimals_and_units() {
        let mut text = typed();
        text.gtin = String::new();
        let body = text.read(',').unwrap();
        assert_eq!(body.maker, "Brisa");
        assert_eq!(body.serial_length, (12, 12));
        assert_eq!(
            body.values,
            [("cell_max", 3_650_000), ("cells", 16_000_000), ("temp_min", -10_000_000)]
                .map(|(k, v)| (k.to_owned(), v))
                .into()
        );
        text.figures =
            texts(&[("width_m", "600 mm"), ("energy_wh", "5.1 kWh"), ("cells", "16.5"), ("mass_kg", "40 A")]);
        let faults = text.read('.').unwrap_err();
        assert_eq!(faults[&Spot::Figure("cells".into())], Wrong::Figure(Fault::NotWhole));
        assert!(matches!(faults[&Spot::Figure("mass_kg".into())], Wrong::Figure(Fault::OtherUnit(_))));
        assert_eq!(faults.len(), 2);
        text.figures.retain(|key, _| key.ends_with("_m") || key.ends_with("_wh"));
        assert_eq!(text.read('.').unwrap().values["width_m"], 600_000);
    }

    #[test]
    fn what_is_not_stated_and_what_another_kind_has_is_kept_apart() {
        let mut text = typed();
        text.gtin = String::new();
        text.figures = texts(&[("cells", "16"), ("dc_min", "120"), ("cell_min", "2.5")]);
        text.not_stated = ["cell_min", "dc_max"].map(str::to_owned).into();
        text.others = [("colour".to_owned(), 3)].into();
        let body = text.read('.').unwrap();
        assert_eq!(body.values, [("cells", 16_000_000), ("colour", 3)].map(|(k, v)| (k.to_owned(), v)).into());
        assert_eq!(body.not_stated, ["cell_min".to_owned()].into());
        text.kind = "inverter".into();
        let body = text.read('.').unwrap();
        assert_eq!((body.values["dc_min"], body.not_stated), (120_000_000, ["dc_max".to_owned()].into()));
        text.figures = texts(&[("type_tested", "yes"), ("no_smooth_dc", "no")]);
        let body = text.read('.').unwrap();
        assert_eq!((body.values["type_tested"], body.values["no_smooth_dc"]), (1_000_000, 0));
    }

    #[test]
    fn everything_wrong_is_said_at_once() {
        let text = ModelText {
            kind: "boat".into(),
            gtin: "123".into(),
            serial_least: "9".into(),
            serial_most: "3".into(),
            ..ModelText::default()
        };
        assert_eq!(text.read('.').unwrap_err().len(), 5);
    }

    #[test]
    fn what_cannot_be_is_refused_in_words_and_a_comma_is_a_comma() {
        let mut text = typed();
        text.gtin = String::new();
        text.figures = texts(&[("cell_min", "-2.5"), ("mass_kg", "-120"), ("temp_min", "-20"), ("cells", "16,0,1")]);
        let faults = text.read('.').unwrap_err();
        let impossible = |key: &str| matches!(faults[&Spot::Figure(key.into())], Wrong::Figure(Fault::Impossible(..)));
        assert!(impossible("cell_min") && impossible("mass_kg"), "{faults:?}");
        assert!(!faults.contains_key(&Spot::Figure("temp_min".into())), "below zero is a temperature like any other");
        assert!(faults.contains_key(&Spot::Figure("cells".into())));
        text.maker = "x".repeat(121);
        let faults = text.read('.').unwrap_err();
        assert_eq!(faults[&Spot::Field("maker")], Wrong::Text(bounds::Fault::TooLong(120)));
    }

    #[test]
    fn pasted_json_is_read_and_its_faults_are_placed() {
        let good = r#"{"kind":"inverter","maker":"Brisa","name":"I","values":{"dc_min":350000000,"dc_max":"500.5","type_tested":1000000},"not_stated":["peak_w"]}"#;
        let body = &read_json(good).unwrap()[0];
        assert_eq!((body.values["dc_min"], body.values["dc_max"]), (350_000_000, 500_500_000));
        assert_eq!((body.values["type_tested"], &body.not_stated), (1_000_000, &["peak_w".to_owned()].into()));
        assert!(matches!(read_json("{").unwrap_err()[0].1[&Spot::Whole], Wrong::NotJson(1, _)));
        assert_eq!(read_json("3").unwrap_err()[0].1[&Spot::Whole], Wrong::NotObjects);
        let list = format!(
            r#"[{good}, {{"kind":"inverter","maker":7,"name":"I","colour":"red","values":{{"dc_min":1.5,"window_min":1}}}}]"#
        );
        let wrong = read_json(&list).unwrap_err();
        assert_eq!(wrong[0].0, 2);
        assert_eq!(wrong[0].1[&Spot::Field("maker")], Wrong::NotText);
        assert_eq!(wrong[0].1[&Spot::Figure("dc_min".into())], Wrong::NotANumber);
        assert_eq!(wrong[0].1[&Spot::Figure("window_min".into())], Wrong::NoSuchFigure);
        assert_eq!(wrong[0].1[&Spot::Figure("colour".into())], Wrong::UnknownField("colour".into()));
    }
}
