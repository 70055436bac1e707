//! Data to paper: a template, its data as JSON and its pictures give the bytes of a PDF. The same input gives the same
//! bytes.
//!
//! **Never enters:** what a document says. [`domain::pack`] decides that; here it is only placed.
//! Start with [`render`].

mod world;

use std::collections::BTreeMap;

use domain::pack::Words;
use typst::diag::SourceDiagnostic;
use typst::layout::PagedDocument;

/// Templates of this program.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Template {
    /// Verification report.
    Report,
    /// A method as a sheet to fill in by hand.
    Sheet,
}

impl Template {
    const fn source(self) -> &'static str {
        match self {
            Self::Report => include_str!("report.typ"),
            Self::Sheet => include_str!("sheet.typ"),
        }
    }
}

/// What a template needs.
pub struct Document {
    /// Which template.
    pub template: Template,
    /// Read by the template as `data.json`.
    pub data: serde_json::Value,
    /// JPEG bytes by the file name that the data uses.
    pub pictures: BTreeMap<String, Vec<u8>>,
}

/// Why there is no PDF.
#[derive(Debug, thiserror::Error)]
pub enum PaperError {
    /// The template or a picture is wrong.
    #[error("the document could not be laid out: {0}")]
    Layout(String),
}

/// Lays a document out. Takes seconds for a report with many pictures: call it in a blocking task.
///
/// # Errors
/// [`PaperError`] with what the layout said.
pub fn render(document: &Document) -> Result<Vec<u8>, PaperError> {
    let pdf = lay_out(document)
        .and_then(|pages| typst_pdf::pdf(&pages, &typst_pdf::PdfOptions::default()).map_err(|all| said(&all)));
    // Layout results are memoised by the library; a server that never forgets them would grow with every report.
    comemo::evict(0);
    pdf
}

/// The pages, before they are a file.
fn lay_out(document: &Document) -> Result<PagedDocument, PaperError> {
    typst::compile(&world::PaperWorld::of(document)).output.map_err(|all| said(&all))
}

fn said(errors: &[SourceDiagnostic]) -> PaperError {
    PaperError::Layout(errors.iter().map(|error| error.message.to_string()).collect::<Vec<_>>().join("; "))
}

/// Names of figures, design fields, choices and checks: on paper as on the screen, so they stand in one file.
const AS_ON_SCREEN: [&str; 4] = ["figure.", "design.choice.", "design.field.", "design.line."];

/// The words of paper documents; English where a language has none.
pub fn words(language: &str) -> Words {
    let (own, screen) = match language {
        "de" => (include_str!("../../locales/de.json"), include_str!("../../../web/locales/de.json")),
        "es" => (include_str!("../../locales/es.json"), include_str!("../../../web/locales/es.json")),
        _ => (include_str!("../../locales/en.json"), include_str!("../../../web/locales/en.json")),
    };
    let read = |text| -> BTreeMap<String, String> {
        serde_json::from_str(text).expect("the language files are checked by a test")
    };
    let mut words = read(screen);
    words.retain(|key, _| AS_ON_SCREEN.iter().any(|room| key.starts_with(room)));
    words.extend(read(own));
    Words::of(words)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that panics has failed")]
    use typst::layout::{Frame, FrameItem};

    use super::*;

    #[test]
    fn every_language_has_the_same_words() {
        let english: Vec<String> = words("en").keys().map(str::to_owned).collect();
        for language in ["de", "es"] {
            let other: Vec<String> = words(language).keys().map(str::to_owned).collect();
            assert_eq!(english, other, "{language}");
        }
    }

    /// A report with so many steps.
    fn report(steps: usize, words: &Words) -> Document {
        let step = serde_json::json!({"title": "Step", "state": "done",
            "lines": [{"label": "l", "value": "1 V", "limit": "≤ 2 V", "verdict": "pass", "who": "me", "replaced": false}],
            "checks": [{"inputs": "", "formula": "F", "with_numbers": "1", "results": "1", "limit": "2", "source": "s"}],
            "photos": [{"hash": "00", "caption": "c", "arrived": false}]});
        let data = serde_json::json!({
            "language": "en",
            "words": {"none": "None.", "page": words.get("heading.page"), "photo_absent": "absent", "photo_no_view": "no view"},
            "report": {
                "title": "Report", "job": "ABC", "facts": [["Firm", "Ours"]], "standing": ["Not finished"],
                "units": {"head": ["a"], "rows": [["1"]]}, "design": {"head": [], "rows": []},
                "sheet": {"rules": "By uk 1", "editions": ["An edition has ended"], "loosened": ["Wider"], "lines": [
                    {"name": "Drop", "verdict": "pass", "open": "", "check":
                        {"inputs": "length = 1 m", "formula": "F", "with_numbers": "1", "results": "1", "limit": "2", "source": "s"}},
                    {"name": "Fuse", "verdict": "not determined", "open": "Missing: rating", "check": null}], "limits": []},
                "stages": [{"title": "Stage", "steps": vec![step; steps]}],
                "exceptions": {"head": ["k"], "rows": []}, "closing": ["End"],
                "headings": {"units": "U", "design": "D", "sheet": "S", "limits": "L", "work": "W", "exceptions": "E", "closing": "C",
                    "line": ["1", "2", "3", "4", "5"]}
            },
            "pictures": {}
        });
        Document { template: Template::Report, data, pictures: BTreeMap::new() }
    }

    /// A sheet with so many steps.
    fn sheet(steps: usize, words: &Words) -> Document {
        let step = serde_json::json!({"title": "Step", "act": "Do it.", "marks": [], "cautions": ["Hot"], "needs": []});
        let data = serde_json::json!({
            "language": "en", "title": "Sheet", "method": "m 1", "about": "About", "job": "Job", "name": "Name",
            "page": words.get("heading.page"), "prevails": "End", "stages": [{"title": "Stage", "steps": vec![step; steps]}],
        });
        Document { template: Template::Sheet, data, pictures: BTreeMap::new() }
    }

    #[test]
    fn the_same_report_is_the_same_bytes() {
        let document = report(1, &words("en"));
        let first = render(&document).unwrap();
        assert!(first.starts_with(b"%PDF-"));
        assert_eq!(first, render(&document).unwrap());
    }

    /// What a reader finds on a page, from top to bottom.
    fn text_of(frame: &Frame) -> String {
        let items = frame.items().map(|(_, item)| match item {
            FrameItem::Text(text) => text.text.to_string(),
            FrameItem::Group(group) => text_of(&group.frame),
            _ => String::new(),
        });
        items.collect()
    }

    #[test]
    fn every_page_says_which_of_how_many_it_is() {
        for (language, first, last) in [
            ("en", "Page 1 of {pages}", "Page {pages} of {pages}"),
            ("de", "Seite 1 von {pages}", "Seite {pages} von {pages}"),
            ("es", "Página 1 de {pages}", "Página {pages} de {pages}"),
        ] {
            let words = words(language);
            for document in [report(20, &words), sheet(80, &words)] {
                let pages = lay_out(&document).unwrap().pages;
                assert!(pages.len() > 2, "{} pages", pages.len());
                for (page, said) in [(pages.first(), first), (pages.last(), last)] {
                    let (text, said) =
                        (text_of(&page.unwrap().frame), said.replace("{pages}", &pages.len().to_string()));
                    assert!(text.ends_with(&said), "{:?} {language}: no \"{said}\" in {text}", document.template);
                }
            }
        }
        comemo::evict(0);
    }
}
