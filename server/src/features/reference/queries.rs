//! The tables `instruments` and `models`.

use domain::ids::{InstrumentId, ModelId};
use uuid::Uuid;

use super::instruments::Instrument;
use super::models::Model;
use crate::db::FirmTx;

pub(super) struct InstrumentRow {
    pub(super) id: Uuid,
    pub(super) kind: String,
    pub(super) label: String,
    pub(super) serial: String,
    pub(super) calibration_due: String,
    pub(super) retired: bool,
}

pub(super) async fn instruments(tx: &mut FirmTx) -> Result<Vec<InstrumentRow>, sqlx::Error> {
    sqlx::query_as!(
        InstrumentRow,
        "select id, kind, label, serial, calibration_due, retired from instruments
         where firm_id = $1 order by retired, kind, label, id",
        tx.firm().uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn lock_instrument(tx: &mut FirmTx, id: InstrumentId) -> Result<Option<InstrumentRow>, sqlx::Error> {
    sqlx::query_as!(
        InstrumentRow,
        "select id, kind, label, serial, calibration_due, retired from instruments
         where firm_id = $1 and id = $2 for update",
        tx.firm().uuid(),
        id.uuid(),
    )
    .fetch_optional(&mut **tx)
    .await
}

pub(super) async fn insert_instrument(tx: &mut FirmTx, new: &Instrument, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into instruments (firm_id, id, kind, label, serial, calibration_due, retired, changed_us)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        tx.firm().uuid(),
        new.id.uuid(),
        new.kind,
        new.label,
        new.serial,
        new.calibration_due,
        new.retired,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn update_instrument(tx: &mut FirmTx, new: &Instrument, now_us: i64) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "update instruments
         set kind = $3, label = $4, serial = $5, calibration_due = $6, retired = $7, changed_us = $8
         where firm_id = $1 and id = $2",
        tx.firm().uuid(),
        new.id.uuid(),
        new.kind,
        new.label,
        new.serial,
        new.calibration_due,
        new.retired,
        now_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) struct ModelRow {
    pub(super) id: Uuid,
    pub(super) version: i32,
    pub(super) kind: String,
    pub(super) maker: String,
    pub(super) name: String,
    pub(super) gtin: Option<String>,
    pub(super) serial_prefix: String,
    pub(super) serial_least: i32,
    pub(super) serial_most: i32,
    pub(super) figures: serde_json::Value,
    pub(super) not_stated: serde_json::Value,
    pub(super) retired: bool,
}

pub(super) async fn latest_models(tx: &mut FirmTx) -> Result<Vec<ModelRow>, sqlx::Error> {
    sqlx::query_as!(
        ModelRow,
        "select m.id, m.version, m.kind, m.maker, m.name, m.gtin, m.serial_prefix, m.serial_least, m.serial_most,
           m.figures, m.not_stated, m.retired
         from models m
         where m.firm_id = $1
           and m.version = (select max(n.version) from models n where n.firm_id = m.firm_id and n.id = m.id)
         order by m.retired, m.kind, m.maker, m.name, m.id",
        tx.firm().uuid(),
    )
    .fetch_all(&mut **tx)
    .await
}

pub(super) async fn latest_model(tx: &mut FirmTx, id: ModelId) -> Result<Option<ModelRow>, sqlx::Error> {
    sqlx::query_as!(
        ModelRow,
        "select id, version, kind, maker, name, gtin, serial_prefix, serial_least, serial_most, figures, not_stated,
           retired
         from models where firm_id = $1 and id = $2 order by version desc limit 1",
        tx.firm().uuid(),
        id.uuid(),
    )
    .fetch_optional(&mut **tx)
    .await
}

/// What a row needs beyond the model's own fields.
pub(super) struct ModelColumns {
    pub(super) version: i32,
    pub(super) kind: String,
    pub(super) figures: serde_json::Value,
    pub(super) not_stated: serde_json::Value,
    pub(super) changed_us: i64,
}

pub(super) async fn insert_model(tx: &mut FirmTx, model: &Model, columns: &ModelColumns) -> Result<(), sqlx::Error> {
    sqlx::query!(
        "insert into models (firm_id, id, version, kind, maker, name, gtin, serial_prefix, serial_least, serial_most,
           figures, not_stated, retired, changed_us)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)",
        tx.firm().uuid(),
        model.id.uuid(),
        columns.version,
        columns.kind,
        model.maker,
        model.name,
        model.gtin,
        model.serial_prefix,
        i32::from(model.serial_length.0),
        i32::from(model.serial_length.1),
        columns.figures,
        columns.not_stated,
        model.retired,
        columns.changed_us,
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
