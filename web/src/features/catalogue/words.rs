//! Words for what is wrong with a model, and for the state of a calibration.

use domain::design::ModelFigure;
use domain::electrical::{Prefix, Quantity};

use super::view_model::{Due, Spot, Wrong, word_of};
use crate::features::bounds;
use crate::features::design_sheet::words::fault as figure_fault;
use crate::features::words::{check_name, choice, quantity};
use crate::i18n::Words;
use crate::ui::Tone;
use crate::{t, tn};

/// What is wrong, in a sentence.
pub fn wrong(w: Words, wrong: &Wrong) -> String {
    match wrong {
        Wrong::Needed => t!(w, "ui.required").to_owned(),
        Wrong::Text(fault) => bounds::told(w, *fault),
        Wrong::NotAGtin => t!(w, "catalogue.wrong.gtin").to_owned(),
        Wrong::NotAKind => t!(w, "catalogue.wrong.kind").to_owned(),
        Wrong::NotALength => t!(w, "catalogue.wrong.length").to_owned(),
        // A comma and a point are told apart by what the person has chosen: the sentence shows it.
        Wrong::NotANumber => t!(w, "catalogue.wrong.number", example = format!("2{}5", w.decimal.sign())),
        Wrong::Figure(fault) => figure_fault(w, fault),
        Wrong::NoSuchFigure => t!(w, "catalogue.wrong.no_such_figure").to_owned(),
        Wrong::NotJson(line, column) => t!(w, "catalogue.wrong.json", line = line, column = column),
        Wrong::NotObjects => t!(w, "catalogue.wrong.objects").to_owned(),
        Wrong::NotText => t!(w, "catalogue.wrong.text").to_owned(),
        Wrong::UnknownField(_) => t!(w, "catalogue.wrong.unknown_field").to_owned(),
    }
}

/// One line: where and what.
pub fn wrong_line(w: Words, spot: &Spot, what: &Wrong) -> String {
    let what = match what {
        // JSON has a point, whatever the person writes elsewhere.
        Wrong::NotANumber => t!(w, "catalogue.wrong.number", example = "2.5"),
        what => wrong(w, what),
    };
    match spot {
        Spot::Whole => what,
        Spot::Field(name) => format!("{name}: {what}"),
        Spot::Figure(name) => format!("{name}: {what}"),
    }
}

/// What reads a figure, in words.
pub fn readers(w: Words, figure: &ModelFigure) -> String {
    let on_site = figure.on_site.then(|| t!(w, "catalogue.on_site"));
    let all: Vec<&str> = figure.checks().map(|id| check_name(w, id)).chain(on_site).collect();
    t!(w, "catalogue.read_by", checks = all.join(" · "))
}

/// A stored figure as a person reads it.
pub fn value(w: Words, figure: &ModelFigure, micro: i64) -> String {
    match word_of(figure, micro) {
        Some(word) => choice(w, word),
        None => quantity(w, Quantity::of(figure.unit, micro), Prefix::One),
    }
}

/// A calibration in words, with its weight.
pub fn due(w: Words, due: Due) -> (String, Tone) {
    match due {
        Due::Unknown => (t!(w, "catalogue.due.unknown").to_owned(), Tone::Caution),
        Due::Over(days) => (tn!(w, "catalogue.due.over", days), Tone::Stop),
        Due::Soon(0) => (t!(w, "catalogue.due.today").to_owned(), Tone::Caution),
        Due::Soon(days) => (tn!(w, "catalogue.due.soon", days), Tone::Caution),
        Due::Good => (t!(w, "catalogue.due.good").to_owned(), Tone::Good),
    }
}
