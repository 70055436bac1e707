//! Meters and torque wrenches with the last day of their calibration.

use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use domain::bounds;
use domain::ids::InstrumentId;
use domain::people::{Action, Ownership, Permit};
use serde::{Deserialize, Serialize};

use super::queries;
use crate::auth::Caller;
use crate::db::person::{is_near_day, reference_changed};
use crate::db::{Db, FirmTx};
use crate::error::{ApiError, OnConstraint as _};
use crate::http::{Body, Path};
use crate::state::AppState;

/// `Instrument` of the API.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Instrument {
    /// Which.
    pub id: InstrumentId,
    /// What it measures: a word that method files use.
    pub kind: String,
    /// What the firm calls it.
    pub label: String,
    /// The maker's serial; may be empty.
    pub serial: String,
    /// Last good day, `YYYY-MM-DD`; empty when not known.
    pub calibration_due: String,
    /// No longer in use: kept, and not offered.
    pub retired: bool,
}

/// `POST /api/instruments`; with `PATCH` what is absent stays.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InstrumentChange {
    kind: Option<String>,
    label: Option<String>,
    serial: Option<String>,
    calibration_due: Option<String>,
    retired: Option<bool>,
}

impl InstrumentChange {
    fn apply(self, to: Instrument) -> Instrument {
        let trimmed = |text: Option<String>, before: String| text.map_or(before, |text| text.trim().to_owned());
        Instrument {
            id: to.id,
            kind: trimmed(self.kind, to.kind),
            label: trimmed(self.label, to.label),
            serial: trimmed(self.serial, to.serial),
            calibration_due: trimmed(self.calibration_due, to.calibration_due),
            retired: self.retired.unwrap_or(to.retired),
        }
    }
}

pub(crate) async fn load_instruments(tx: &mut FirmTx) -> Result<Vec<Instrument>, ApiError> {
    Ok(queries::instruments(tx).await?.into_iter().map(Instrument::from).collect())
}

/// `GET /api/instruments`.
///
/// # Errors
/// The database.
pub async fn list_instruments(caller: Caller, State(db): State<Db>) -> Result<Json<Vec<Instrument>>, ApiError> {
    let mut tx = db.begin_for(&caller).await?;
    caller.may(Action::SeeReference, Ownership::Firm)?;
    Ok(Json(load_instruments(&mut tx).await?))
}

/// `POST /api/instruments`.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::Invalid`] with the field.
pub async fn add_instrument(
    caller: Caller,
    State(state): State<AppState>,
    Body(body): Body<InstrumentChange>,
) -> Result<(StatusCode, Json<Instrument>), ApiError> {
    let mut tx = state.db.begin_for(&caller).await?;
    let permit = caller.may(Action::ChangeInstruments, Ownership::Firm)?;
    let empty = Instrument {
        id: InstrumentId::of(state.clock.new_id()),
        kind: String::new(),
        label: String::new(),
        serial: String::new(),
        calibration_due: String::new(),
        retired: false,
    };
    let instrument = body.apply(empty);
    insert_instrument(&mut tx, permit, &instrument, state.clock.now_us()).await?;
    tx.commit().await?;
    Ok((StatusCode::CREATED, Json(instrument)))
}

/// `PATCH /api/instruments/{id}`.
///
/// # Errors
/// [`ApiError::NotPermitted`], [`ApiError::NotFound`], [`ApiError::Invalid`] with the field.
pub async fn change_instrument(
    caller: Caller,
    State(state): State<AppState>,
    Path(id): Path<InstrumentId>,
    Body(body): Body<InstrumentChange>,
) -> Result<Json<Instrument>, ApiError> {
    let mut tx = state.db.begin_for(&caller).await?;
    caller.may(Action::ChangeInstruments, Ownership::Firm)?;
    let before = queries::lock_instrument(&mut tx, id).await?.map(Instrument::from).ok_or(ApiError::NotFound)?;
    let after = body.apply(before);
    let now_us = state.clock.now_us();
    check(&after, now_us)?;
    queries::update_instrument(&mut tx, &after, now_us).await.on_constraint(answer_of)?;
    reference_changed(&mut tx).await?;
    tx.commit().await?;
    Ok(Json(after))
}

/// Adds one.
///
/// # Errors
/// [`ApiError::Invalid`] with the field, or the database.
pub(crate) async fn insert_instrument(
    tx: &mut FirmTx,
    _: Permit,
    instrument: &Instrument,
    now_us: i64,
) -> Result<(), ApiError> {
    check(instrument, now_us)?;
    queries::insert_instrument(tx, instrument, now_us).await.on_constraint(answer_of)?;
    reference_changed(tx).await
}

fn check(instrument: &Instrument, now_us: i64) -> Result<(), ApiError> {
    let Instrument { kind, label, serial, calibration_due, .. } = instrument;
    if kind.is_empty() || bounds::short(kind, bounds::SHORT_CHARS_MAX).is_err() {
        return Err(ApiError::Invalid("kind"));
    }
    bounds::name(label).map_err(|_| ApiError::Invalid("label"))?;
    bounds::short(serial, bounds::SHORT_CHARS_MAX).map_err(|_| ApiError::Invalid("serial"))?;
    if calibration_due.is_empty() || is_near_day(calibration_due, now_us) {
        Ok(())
    } else {
        Err(ApiError::Invalid("calibration_due"))
    }
}

fn answer_of(constraint: &str) -> Option<ApiError> {
    match constraint {
        "instruments_kind_length" => Some(ApiError::Invalid("kind")),
        "instruments_label_length" => Some(ApiError::Invalid("label")),
        "instruments_serial_length" => Some(ApiError::Invalid("serial")),
        "instruments_due_is_day" => Some(ApiError::Invalid("calibration_due")),
        _ => None,
    }
}

impl From<queries::InstrumentRow> for Instrument {
    fn from(row: queries::InstrumentRow) -> Self {
        Self {
            id: InstrumentId::of(row.id),
            kind: row.kind,
            label: row.label,
            serial: row.serial,
            calibration_due: row.calibration_due,
            retired: row.retired,
        }
    }
}
