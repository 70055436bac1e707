//! The catalogue. A change makes a new version; every version stays, for jobs pin them.

use std::collections::{BTreeMap, BTreeSet};

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use domain::bounds;
use domain::design::{is_possible_of_model, model_figure};
use domain::identification::check_digit::gtin14;
use domain::ids::ModelId;
use domain::job_file::body::UnitKind;
use domain::people::{Action, Ownership, Permit};
use serde::{Deserialize, Serialize};

use super::queries;
use crate::auth::Caller;
use crate::db::person::reference_changed;
use crate::db::{Db, FirmTx};
use crate::error::{ApiError, OnConstraint as _};
use crate::http::{Body, Path};
use crate::state::AppState;

/// Figures of one model at most.
const FIGURES_MAX: usize = 200;
/// Characters of a figure's key at most.
const KEY_CHARS_MAX: usize = 60;

/// `Model` of the API.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Model {
    /// Which.
    pub id: ModelId,
    /// From 1.
    pub version: u32,
    /// What it is.
    pub kind: UnitKind,
    /// Maker's name.
    pub maker: String,
    /// Model name.
    pub name: String,
    /// 14 digits with a good check digit.
    pub gtin: Option<String>,
    /// What the maker's serials begin with; empty when not known.
    pub serial_prefix: String,
    /// Least and greatest number of characters of a serial; 0 and 0 when not known.
    pub serial_length: (u16, u16),
    /// The maker's figures: millionths of the unit that the key names.
    pub values: BTreeMap<String, i64>,
    /// Keys of figures that somebody looked for and the maker does not state.
    pub not_stated: BTreeSet<String>,
    /// No longer fitted: kept, and not offered.
    pub retired: bool,
}

/// `POST /api/models`; with `PATCH` what is absent stays.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ModelChange {
    kind: Option<UnitKind>,
    maker: Option<String>,
    name: Option<String>,
    /// An empty text takes it away.
    gtin: Option<String>,
    serial_prefix: Option<String>,
    serial_length: Option<(u16, u16)>,
    values: Option<BTreeMap<String, i64>>,
    not_stated: Option<BTreeSet<String>>,
    retired: Option<bool>,
}

impl ModelChange {
    fn apply(self, to: Model) -> Result<Model, ApiError> {
        let trimmed = |text: Option<String>, before: String| text.map_or(before, |text| text.trim().to_owned());
        let gtin = match self.gtin.as_deref().map(str::trim) {
            None => to.gtin,
            Some("") => None,
            Some(typed) => Some(gtin14(typed).ok_or(ApiError::Invalid("gtin"))?),
        };
        let values = self.values.unwrap_or(to.values);
        let sound = |key: &String| (1..=KEY_CHARS_MAX).contains(&key.len()) && key.is_ascii();
        if values.len() > FIGURES_MAX || !values.keys().all(sound) {
            return Err(ApiError::Invalid("values"));
        }
        let kind = self.kind.unwrap_or(to.kind);
        if !values.iter().all(|(key, micro)| is_possible_of_model(kind, key, *micro)) {
            return Err(ApiError::Invalid("values_impossible"));
        }
        // A figure that is there is stated, and of another kind of unit nobody asks for it.
        let mut not_stated = self.not_stated.unwrap_or(to.not_stated);
        not_stated.retain(|key| !values.contains_key(key) && model_figure(kind, key).is_some());
        let maker = trimmed(self.maker, to.maker);
        bounds::name(&maker).map_err(|_| ApiError::Invalid("maker"))?;
        let name = trimmed(self.name, to.name);
        bounds::name(&name).map_err(|_| ApiError::Invalid("name"))?;
        let serial_prefix = trimmed(self.serial_prefix, to.serial_prefix);
        bounds::short(&serial_prefix, bounds::PREFIX_CHARS_MAX).map_err(|_| ApiError::Invalid("serial_prefix"))?;
        Ok(Model {
            id: to.id,
            version: to.version,
            kind,
            maker,
            name,
            gtin,
            serial_prefix,
            serial_length: self.serial_length.unwrap_or(to.serial_length),
            values,
            not_stated,
            retired: self.retired.unwrap_or(to.retired),
        })
    }
}

pub(crate) async fn load_models(tx: &mut FirmTx) -> Result<Vec<Model>, ApiError> {
    queries::latest_models(tx).await?.into_iter().map(Model::try_from).collect()
}

/// `GET /api/models`: the latest version of each.
///
/// # Errors
/// The database.
pub async fn list_models(caller: Caller, State(db): State<Db>) -> Result<Json<Vec<Model>>, ApiError> {
    let mut tx = db.begin_for(&caller).await?;
    caller.may(Action::SeeReference, Ownership::Firm)?;
    Ok(Json(load_models(&mut tx).await?))
}

/// `POST /api/models`.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::Invalid`] with the field.
pub async fn add_model(
    caller: Caller,
    State(state): State<AppState>,
    Body(body): Body<ModelChange>,
) -> Result<(StatusCode, Json<Model>), ApiError> {
    let mut tx = state.db.begin_for(&caller).await?;
    let permit = caller.may(Action::ChangeModels, Ownership::Firm)?;
    let empty = Model {
        id: ModelId::of(state.clock.new_id()),
        version: 1,
        kind: body.kind.ok_or(ApiError::Invalid("kind"))?,
        maker: String::new(),
        name: String::new(),
        gtin: None,
        serial_prefix: String::new(),
        serial_length: (0, 0),
        values: BTreeMap::new(),
        not_stated: BTreeSet::new(),
        retired: false,
    };
    let model = body.apply(empty)?;
    insert_model(&mut tx, permit, &model, state.clock.now_us()).await?;
    tx.commit().await?;
    Ok((StatusCode::CREATED, Json(model)))
}

/// `PATCH /api/models/{id}`: makes the next version.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::NotFound`], [`ApiError::Invalid`] with the field, `changed_meanwhile`.
pub async fn change_model(
    caller: Caller,
    State(state): State<AppState>,
    Path(id): Path<ModelId>,
    Body(body): Body<ModelChange>,
) -> Result<Json<Model>, ApiError> {
    let mut tx = state.db.begin_for(&caller).await?;
    let permit = caller.may(Action::ChangeModels, Ownership::Firm)?;
    let before = Model::try_from(queries::latest_model(&mut tx, id).await?.ok_or(ApiError::NotFound)?)?;
    let version = before.version + 1;
    let after = Model { version, ..body.apply(before)? };
    insert_model(&mut tx, permit, &after, state.clock.now_us()).await?;
    tx.commit().await?;
    Ok(Json(after))
}

/// Adds a version.
///
/// # Errors
/// [`ApiError::Invalid`] with the field; `changed_meanwhile` when this version is there already.
pub(crate) async fn insert_model(tx: &mut FirmTx, _: Permit, model: &Model, now_us: i64) -> Result<(), ApiError> {
    let columns = queries::ModelColumns {
        version: i32::try_from(model.version).map_err(ApiError::internal)?,
        kind: word_of(model.kind)?,
        figures: serde_json::to_value(&model.values).map_err(ApiError::internal)?,
        not_stated: serde_json::to_value(&model.not_stated).map_err(ApiError::internal)?,
        changed_us: now_us,
    };
    queries::insert_model(tx, model, &columns).await.on_constraint(answer_of)?;
    reference_changed(tx).await
}

fn answer_of(constraint: &str) -> Option<ApiError> {
    match constraint {
        "models_pkey" => Some(ApiError::Conflict("changed_meanwhile")),
        "models_maker_length" => Some(ApiError::Invalid("maker")),
        "models_name_length" => Some(ApiError::Invalid("name")),
        "models_gtin_form" => Some(ApiError::Invalid("gtin")),
        "models_prefix_length" => Some(ApiError::Invalid("serial_prefix")),
        "models_serial_length" => Some(ApiError::Invalid("serial_length")),
        _ => None,
    }
}

/// The word of a kind in rows; the API uses the same.
fn word_of(kind: UnitKind) -> Result<String, ApiError> {
    match serde_json::to_value(kind).map_err(ApiError::internal)? {
        serde_json::Value::String(word) => Ok(word),
        other => Err(ApiError::internal(anyhow::anyhow!("a kind of unit became {other}"))),
    }
}

impl TryFrom<queries::ModelRow> for Model {
    type Error = ApiError;

    fn try_from(row: queries::ModelRow) -> Result<Self, ApiError> {
        Ok(Self {
            id: ModelId::of(row.id),
            version: u32::try_from(row.version).map_err(ApiError::internal)?,
            kind: serde_json::from_value(serde_json::Value::String(row.kind)).map_err(ApiError::internal)?,
            maker: row.maker,
            name: row.name,
            gtin: row.gtin,
            serial_prefix: row.serial_prefix,
            serial_length: (
                u16::try_from(row.serial_least).map_err(ApiError::internal)?,
                u16::try_from(row.serial_most).map_err(ApiError::internal)?,
            ),
            values: serde_json::from_value(row.figures).map_err(ApiError::internal)?,
            not_stated: serde_json::from_value(row.not_stated).map_err(ApiError::internal)?,
            retired: row.retired,
        })
    }
}
