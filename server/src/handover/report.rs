//! The verification report of a job as PDF.

use std::collections::{BTreeMap, BTreeSet};

use domain::electrical::rule_set::FirmRules;
use domain::ids::{FirmId, Hash32, JobId, PersonId};
use domain::job_file::{JobFile, fold};
use domain::method::gate::Plan;
use domain::pack::{Context, Report, SealContext};
use jiff::tz::TimeZone;

use super::arrived;
use crate::auth::Caller;
use crate::db::FirmTx;
use crate::error::ApiError;
use crate::firms;
use crate::job_files::cut;
use crate::methods::Published;
use crate::paper::{self, Document, Template};
use crate::photos::media::Media;
use crate::photos::view::upright_jpeg;
use crate::rule_sets::load_rule_sets;
use crate::state::AppState;

/// What the report needs besides the job file.
pub struct Outside {
    language: &'static str,
    /// The firm's name.
    pub firm: String,
    own_rules: Vec<FirmRules>,
    /// Names of the firm's people.
    pub names: BTreeMap<PersonId, String>,
    /// Photos of the job that are in the store.
    pub arrived: BTreeMap<Hash32, Media>,
    /// What is said of seals.
    pub seal: SealContext,
}

impl Outside {
    /// Reads it.
    ///
    /// # Errors
    /// The database.
    pub async fn load(tx: &mut FirmTx, caller: &Caller, job: JobId, language: &str) -> Result<Self, ApiError> {
        let people = firms::visible_people(tx, caller).await?;
        Ok(Self {
            language: known_language(language),
            firm: firms::load_firm(tx).await?.name,
            own_rules: load_rule_sets(tx).await?,
            names: people.into_iter().map(|person| (person.id, person.display_name)).collect(),
            arrived: arrived(tx, job).await?,
            seal: SealContext::default(),
        })
    }
}

/// The report as PDF. Pictures and layout take seconds: no transaction is held over them.
///
/// # Errors
/// The photo store does not answer, or the layout failed.
pub async fn pdf(
    state: &AppState,
    firm: FirmId,
    file: &JobFile,
    method: &Published,
    job: JobId,
    outside: &Outside,
) -> Result<Vec<u8>, ApiError> {
    let report = assemble(file, method, job, outside);
    let pictures = pictures(state, firm, &report, &outside.arrived).await?;
    let document = document(&report, pictures, outside.language);
    tokio::task::spawn_blocking(move || paper::render(&document))
        .await
        .map_err(ApiError::internal)?
        .map_err(ApiError::internal)
}

/// A language of ours; English for every other.
pub fn known_language(asked: &str) -> &'static str {
    match asked {
        "de" => "de",
        "es" => "es",
        _ => "en",
    }
}

fn assemble(file: &JobFile, method: &Published, job: JobId, outside: &Outside) -> Report {
    let plan = Plan::of(&method.method);
    let mut state = fold(file, &plan);
    let zone = state.gate.record().site.as_ref().map_or("", |latest| latest.value.zone.as_str());
    let zone = TimeZone::get(zone).unwrap_or(TimeZone::UTC);
    let words = paper::words(outside.language);
    let unknown = |id: PersonId| id.short();
    let context = Context {
        words: &words,
        language: outside.language,
        decimal: if outside.language == "en" { '.' } else { ',' },
        firm: &outside.firm,
        own_rules: &outside.own_rules,
        person: &|id| outside.names.get(&id).cloned().unwrap_or_else(|| unknown(id)),
        when: &|us| local_time(&zone, us),
        seal: outside.seal,
        arrived: &|hash| outside.arrived.contains_key(hash),
    };
    Report::assemble(&mut state, &job.short(), &context)
}

/// `2026-03-02 14:05 CET`: unambiguous in every language.
fn local_time(zone: &TimeZone, us: u64) -> String {
    jiff::Timestamp::from_microsecond(cut(us))
        .map(|instant| instant.to_zoned(zone.clone()).strftime("%Y-%m-%d %H:%M %Z").to_string())
        .unwrap_or_default()
}

async fn pictures(
    state: &AppState,
    firm: FirmId,
    report: &Report,
    arrived: &BTreeMap<Hash32, Media>,
) -> Result<BTreeMap<Hash32, Vec<u8>>, ApiError> {
    let store = state.photo_store();
    let mut pictures = BTreeMap::new();
    let wanted: BTreeSet<Hash32> =
        report.stages.iter().flat_map(|s| &s.steps).flat_map(|s| &s.photos).map(|photo| photo.hash).collect();
    for hash in wanted {
        let Some(media) = arrived.get(&hash) else { continue };
        match upright_jpeg(&store, firm, hash, *media).await {
            Ok(jpeg) => {
                pictures.insert(hash, jpeg.to_vec());
            }
            // The report says that the photo is kept and cannot be shown.
            Err(ApiError::NoView) => {}
            Err(other) => return Err(other),
        }
    }
    Ok(pictures)
}

fn document(report: &Report, pictures: BTreeMap<Hash32, Vec<u8>>, language: &str) -> Document {
    let words = paper::words(language);
    let names: BTreeMap<String, String> =
        pictures.keys().map(|hash| (hash.hex(), format!("{}.jpg", hash.hex()))).collect();
    let data = serde_json::json!({
        "language": language,
        "words": {
            "none": words.get("heading.none"),
            "page": words.get("heading.page"),
            "photo_absent": words.get("photo.absent"),
            "photo_no_view": words.get("photo.no_view"),
        },
        "report": report,
        "pictures": names,
    });
    let pictures = pictures.into_iter().map(|(hash, jpeg)| (format!("{}.jpg", hash.hex()), jpeg)).collect();
    Document { template: Template::Report, data, pictures }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test that panics has failed")]
    use std::collections::BTreeSet;

    use domain::design::{Design, FIELDS, sheet};
    use domain::electrical::all;
    use domain::electrical::rule_set::{Place, RuleSet};

    use super::*;

    #[test]
    fn what_the_design_sheet_names_has_words_on_paper() {
        let words = paper::words("en");
        let known: BTreeSet<&str> = words.keys().collect();
        let mut missing = BTreeSet::new();
        let mut ask = |key: String| {
            if !known.contains(key.as_str()) {
                missing.insert(key);
            }
        };
        for field in FIELDS.iter().filter(|field| !field.key.starts_with("load_")) {
            ask(format!("design.field.{}", field.key));
        }
        for part in ["w", "duty", "start_w"] {
            ask(format!("design.field.load_{part}"));
        }
        for input in all().iter().flat_map(|check| check.inputs) {
            ask(format!("figure.{}", input.key));
        }
        let designs = ["uk-terrace", "us-garage", "au-garage"].map(|name| {
            let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../domain/tests/golden/designs");
            Design::parse(&std::fs::read_to_string(format!("{folder}/{name}.design.txt")).unwrap()).unwrap()
        });
        for rules in Place::ALL.map(RuleSet::of) {
            for sheet in designs.iter().map(|design| sheet(design, &rules)) {
                for line in sheet.lines.iter().chain(&sheet.limits) {
                    if rules.rule(line.key).is_none() {
                        ask(format!("design.line.{}", line.key));
                    }
                    line.check()
                        .into_iter()
                        .flat_map(|check| &check.results)
                        .for_each(|(key, _)| ask(format!("figure.{key}")));
                }
            }
        }
        assert_eq!(missing, BTreeSet::new());
    }
}
