//! Words for what is wrong with a model, and for the state of a calibration.

use super::view_model::{Due, Spot, Wrong};
use crate::features::bounds;
use crate::i18n::Words;
use crate::ui::Tone;
use crate::{t, tn};

/// What is wrong, in a sentence.
pub fn wrong(w: Words, wrong: &Wrong) -> String {
    match wrong {
        Wrong::Needed => t!(w, "ui.required").to_owned(),
        Wrong::Text(fault) => bounds::told(w, *fault),
        Wrong::Impossible => t!(w, "catalogue.wrong.impossible").to_owned(),
        Wrong::NotAGtin => t!(w, "catalogue.wrong.gtin").to_owned(),
        Wrong::NotAKind => t!(w, "catalogue.wrong.kind").to_owned(),
        Wrong::NotALength => t!(w, "catalogue.wrong.length").to_owned(),
        // A comma and a point are told apart by what the person has chosen: the sentence shows it.
        Wrong::NotANumber => t!(w, "catalogue.wrong.number", example = format!("2{}5", w.decimal.sign())),
        Wrong::Twice => t!(w, "catalogue.wrong.twice").to_owned(),
        Wrong::NotAKey => t!(w, "catalogue.wrong.key").to_owned(),
        Wrong::TooMany(most) => t!(w, "catalogue.wrong.too_many", most = most),
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
