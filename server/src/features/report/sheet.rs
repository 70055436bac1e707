//! A method as a sheet to fill in by hand: for the day on which no phone works.

use axum::extract::State;
use axum::response::Response;
use domain::electrical::{Prefix, Quantity, Unit};
use domain::method::Method;
use domain::method::plan::{LimitRule, Micro, Repeat, Requirement, Step, WaitNeed};
use domain::pack::Words;
use domain::people::{Action, Ownership};
use serde_json::{Value, json};
use std::collections::BTreeMap;

use super::{Ask, known_language, pdf_response};
use crate::auth::Caller;
use crate::error::ApiError;
use crate::http::{Path, Query};
use crate::paper::{self, Document, Template};
use crate::state::AppState;

/// `GET /api/methods/{id}/{version}/sheet.pdf?language=`.
///
/// # Errors
/// [`ApiError::NotFound`]: no such method or version.
pub async fn get_sheet(
    caller: Caller,
    State(state): State<AppState>,
    Path((id, version)): Path<(String, u32)>,
    Query(ask): Query<Ask>,
) -> Result<Response, ApiError> {
    caller.may(Action::SeeReference, Ownership::Firm)?;
    let published = state.methods.find(&state.db, &id, version).await?.ok_or(ApiError::NotFound)?;
    let language = known_language(&ask.language);
    let document = Document {
        template: Template::Sheet,
        data: data(&published.method, &paper::words(language), language),
        pictures: BTreeMap::new(),
    };
    let pdf = tokio::task::spawn_blocking(move || paper::render(&document))
        .await
        .map_err(ApiError::internal)?
        .map_err(ApiError::internal)?;
    Ok(pdf_response(pdf, &format!("sheet-{id}-{version}.pdf")))
}

fn data(method: &Method, words: &Words, language: &str) -> Value {
    let stages: Vec<Value> = method
        .stages
        .iter()
        .map(|stage| {
            let steps = method.steps.iter().filter(|step| step.stage == stage.id);
            let steps: Vec<Value> = steps.map(|step| step_data(method, step, words, language)).collect();
            json!({"title": stage.title.in_language(language), "steps": steps})
        })
        .collect();
    json!({
        "language": language,
        "title": format!("{}: {}", words.get("sheet.title"), method.title.in_language(language)),
        "method": format!("{} {}", method.id, method.version),
        "about": method.about.in_language(language),
        "job": words.get("sheet.job"),
        "name": words.get("sheet.name"),
        "page": words.get("heading.page"),
        "prevails": format!("{} {}", words.get("closing.prevails"), words.reviewed(method, language)),
        "stages": stages,
    })
}

fn step_data(method: &Method, step: &Step, words: &Words, language: &str) -> Value {
    let mut marks = Vec::new();
    if step.hold {
        marks.push(words.get("sheet.hold"));
    }
    if step.stop_work {
        marks.push(words.get("sheet.stop_work"));
    }
    match step.repeat {
        Some(Repeat::Module) => marks.push(words.get("sheet.for_each_module")),
        Some(Repeat::Unit) => marks.push(words.get("sheet.for_each_unit")),
        Some(Repeat::ExistingInverter) => marks.push(words.get("sheet.for_each_existing_inverter")),
        Some(Repeat::Stack) => marks.push(words.get("sheet.for_each_stack")),
        None => {}
    }
    if step.when.is_some() {
        marks.push(words.get("sheet.only_if"));
    }
    if step.needs_consent {
        marks.push(words.get("sheet.needs_consent"));
    }
    let cautions: Vec<&str> = step
        .cautions
        .iter()
        .filter_map(|id| method.caution(id))
        .map(|caution| caution.text.in_language(language))
        .collect();
    let needs: Vec<Value> = step
        .requirements
        .iter()
        .map(|need| json!({"label": label(need, words, language), "limit": limit(need, words, language)}))
        .collect();
    json!({
        "title": step.title.in_language(language),
        "act": step.act.in_language(language),
        "marks": marks,
        "cautions": cautions,
        "needs": needs,
    })
}

fn label(need: &Requirement, words: &Words, language: &str) -> String {
    let label = need.label().in_language(language);
    match need {
        Requirement::Photo(photo) => {
            let held = photo.held.iter().map(|held| format!(" {}", held.in_language(language)));
            format!("{label}: {}{}", photo.shows.in_language(language), held.collect::<String>())
        }
        Requirement::Choice(choice) => {
            let options: Vec<&str> = choice.options.iter().map(|option| option.label.in_language(language)).collect();
            format!("{label} ({})", options.join(" / "))
        }
        Requirement::Reading(_)
        | Requirement::Serial(_)
        | Requirement::Confirmation(_)
        | Requirement::Wait(_)
        | Requirement::Check(_)
        | Requirement::Signature(_)
        | Requirement::Words(_) => label.to_owned(),
        Requirement::Countersign(_) => format!("{label} ({})", words.get("sheet.second_person")),
    }
}

fn limit(need: &Requirement, words: &Words, language: &str) -> String {
    match need {
        Requirement::Reading(reading) => {
            let prefix = reading.field().entry;
            match &reading.limit {
                None => format!("{}{}", prefix.symbol(), reading.unit.symbol()),
                Some(LimitRule::Constant(constant)) => {
                    let show =
                        |micro: Option<Micro>| micro.map(|micro| quantity(reading.unit, micro.0, prefix, language));
                    let range = match (show(constant.at_least), show(constant.at_most)) {
                        (Some(least), Some(most)) => words.with("limit.between", &[("least", &least), ("most", &most)]),
                        (Some(least), None) => words.with("limit.at_least", &[("least", &least)]),
                        (None, Some(most)) => words.with("limit.at_most", &[("most", &most)]),
                        (None, None) => String::new(),
                    };
                    format!("{range} ({})", words.cited_by_method(&constant.source))
                }
                Some(LimitRule::Model(_)) => words.get("sheet.limit_from_maker"),
                Some(LimitRule::Design(_)) => words.get("sheet.limit_from_design"),
                Some(LimitRule::Check(call)) => words.with("sheet.limit_computed", &[("check", &call.check)]),
            }
        }
        Requirement::Check(check) => words.with("sheet.limit_computed", &[("check", &check.call.check)]),
        Requirement::Wait(WaitNeed { seconds, .. }) => {
            words.with("sheet.wait", &[("seconds", &seconds.unwrap_or(0).to_string())])
        }
        Requirement::Photo(_)
        | Requirement::Serial(_)
        | Requirement::Confirmation(_)
        | Requirement::Choice(_)
        | Requirement::Countersign(_)
        | Requirement::Signature(_)
        | Requirement::Words(_) => String::new(),
    }
}

fn quantity(unit: Unit, micro: i64, prefix: Prefix, language: &str) -> String {
    let decimal = if language == "en" { '.' } else { ',' };
    let number = Quantity::of(unit, micro).format(4, prefix, decimal);
    let number = if number.contains(decimal) {
        number.trim_end_matches('0').trim_end_matches(decimal).to_owned()
    } else {
        number
    };
    format!("{number} {}{}", prefix.symbol(), unit.symbol())
}
