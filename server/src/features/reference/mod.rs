//! Instruments, models, methods and rule sets: what a device holds to work offline. All of it at once: [`get_reference`].
//!
//! A job pins what it uses, so a change here never changes an old job.

mod instruments;
mod models;
mod queries;

use axum::Json;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use domain::electrical::rule_set::FirmRules;
use domain::ids::{Hash32, hex};
use domain::people::{Action, Ownership};
use serde::Serialize;

pub use instruments::{Instrument, add_instrument, change_instrument, list_instruments};
pub(crate) use instruments::{insert_instrument, load_instruments};
pub use models::{Model, add_model, change_model, list_models};
pub(crate) use models::{insert_model, load_models};

use crate::auth::Caller;
use crate::auth::pins::PinKey;
use crate::db::Db;
use crate::db::person::{Person, reference_version};
use crate::error::ApiError;
use crate::firms;
use crate::http::{Cbor, Path};
use crate::methods::Methods;
use crate::rule_sets::load_rule_sets;
use crate::state::AppState;

/// `GET /api/reference`.
#[derive(Serialize)]
pub struct Reference {
    version: i64,
    firm: firms::Firm,
    people: Vec<Person>,
    instruments: Vec<Instrument>,
    models: Vec<Model>,
    methods: Vec<MethodLine>,
    /// All versions: a job names one of them.
    rule_sets: Vec<FirmRules>,
    /// What phones seal PINs to: an uncompressed P-256 point, hexadecimal.
    pin_key: String,
}

/// A method in the list.
#[derive(Serialize)]
pub struct MethodLine {
    id: String,
    version: u32,
    hash: Hash32,
    title: Title,
}

/// Its name in each language.
#[derive(Serialize)]
pub struct Title {
    en: String,
    de: String,
    es: String,
}

/// `GET /api/reference`. The version is read first: what changes while the rest is read is fetched again by the next
/// pull's number, never missed.
///
/// # Errors
/// The database.
pub async fn get_reference(caller: Caller, State(state): State<AppState>) -> Result<Json<Reference>, ApiError> {
    let AppState { db, methods, config, .. } = state;
    let mut tx = db.begin_for(&caller).await?;
    caller.may(Action::SeeReference, Ownership::Firm)?;
    let version = reference_version(&mut tx).await?;
    let lines = methods.all().into_iter().map(|published| {
        let title = &published.method.title;
        MethodLine {
            id: published.method.id.clone(),
            version: published.method.version,
            hash: published.hash,
            title: Title { en: title.en.clone(), de: title.de.clone(), es: title.es.clone() },
        }
    });
    Ok(Json(Reference {
        version,
        firm: firms::load_firm(&mut tx).await?,
        people: firms::visible_people(&mut tx, &caller).await?,
        instruments: instruments::load_instruments(&mut tx).await?,
        models: models::load_models(&mut tx).await?,
        methods: lines.collect(),
        rule_sets: load_rule_sets(&mut tx).await?,
        pin_key: hex(PinKey::of_firm(&config.token_secret, caller.firm).public()),
    }))
}

/// `GET /api/methods/{id}/{version}`. A published version never changes, so a device may keep it for ever.
///
/// # Errors
/// [`ApiError::NotFound`].
pub async fn get_method(
    caller: Caller,
    State(db): State<Db>,
    State(methods): State<Methods>,
    Path((id, version)): Path<(String, u32)>,
) -> Result<Response, ApiError> {
    drop(db.begin_for(&caller).await?);
    caller.may(Action::SeeReference, Ownership::Firm)?;
    let published = methods.find(&db, &id, version).await?.ok_or(ApiError::NotFound)?;
    let for_ever = [(header::CACHE_CONTROL, "private, max-age=31536000, immutable")];
    Ok((for_ever, Cbor(published.cbor.clone())).into_response())
}
