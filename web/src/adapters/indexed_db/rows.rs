//! Rows to objects of the browser and back: key columns as text and numbers, the rest as bytes.

use crate::ports::local_store::JobRow;
use domain::ids::{EntryId, JobId};
use domain::tray::{Delivery, EntryRow, PhotoDelivery, PhotoKey, PhotoRow};
use js_sys::{Object, Reflect, Uint8Array};
use wasm_bindgen::prelude::*;

/// A row of entries as the browser hands it out. Read by glue that knows the names: a page reads hundreds of them with each tap, and
/// a name made of text each time would cost more than the row.
#[wasm_bindgen]
extern "C" {
    type Row;
    #[wasm_bindgen(method, getter, structural)]
    fn id(this: &Row) -> JsValue;
    #[wasm_bindgen(method, getter, structural)]
    fn job(this: &Row) -> JsValue;
    #[wasm_bindgen(method, getter, structural)]
    fn row(this: &Row) -> JsValue;
}

fn set(object: &Object, key: &str, value: &JsValue) {
    Reflect::set(object, &key.into(), value).expect("a fresh object takes any property");
}

fn get(object: &JsValue, key: &str) -> Option<JsValue> {
    Reflect::get(object, &key.into()).ok().filter(|value| !value.is_undefined() && !value.is_null())
}

fn text(object: &JsValue, key: &str) -> Option<String> {
    get(object, key)?.as_string()
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole numbers far below 2^53")]
fn number(object: &JsValue, key: &str) -> u64 {
    get(object, key).and_then(|value| value.as_f64()).map_or(0, |value| value.max(0.0) as u64)
}

/// Bytes out of a value of a store.
pub(super) fn bytes_of(value: &JsValue) -> Option<Vec<u8>> {
    value.dyn_ref::<Uint8Array>().map(Uint8Array::to_vec)
}

/// Bytes as a value of a store.
pub(super) fn value_of(bytes: &[u8]) -> JsValue {
    Uint8Array::from(bytes).into()
}

pub(super) fn entry_object(id: EntryId, job: JobId, row: &EntryRow) -> JsValue {
    let object = Object::new();
    set(&object, "id", &id.to_string().into());
    set(&object, "job", &job.to_string().into());
    match row.delivery {
        Delivery::Confirmed => {}
        Delivery::Waiting { .. } | Delivery::Held(_) | Delivery::Aside(_) => set(&object, "open", &1.into()),
    }
    set(&object, "row", &value_of(&row.to_bytes()));
    object.into()
}

/// `None` for a row that this app cannot read: a newer app's, or damaged. It is left where it is.
pub(super) fn entry_of(object: &JsValue) -> Option<(EntryId, JobId, EntryRow)> {
    let object: &Row = object.dyn_ref::<Object>()?.unchecked_ref();
    let row = EntryRow::read(&bytes_of(&object.row())?).ok()?;
    Some((object.id().as_string()?.parse().ok()?, object.job().as_string()?.parse().ok()?, row))
}

pub(super) fn photo_key(key: &PhotoKey) -> String {
    format!("{}.{}", key.job, key.hash)
}

pub(super) fn photo_object(row: &PhotoRow) -> JsValue {
    let object = Object::new();
    set(&object, "key", &photo_key(&row.key()).into());
    set(&object, "job", &row.job.to_string().into());
    set(&object, "hash", &row.file.hash.hex().into());
    match row.delivery {
        PhotoDelivery::Confirmed { .. } => {}
        PhotoDelivery::Waiting { .. } | PhotoDelivery::Aside(_) => set(&object, "open", &1.into()),
    }
    set(&object, "row", &value_of(&row.to_bytes()));
    object.into()
}

pub(super) fn photo_of(object: &JsValue) -> Option<PhotoRow> {
    let object: &Row = object.dyn_ref::<Object>()?.unchecked_ref();
    PhotoRow::read(&bytes_of(&object.row())?).ok()
}

#[allow(clippy::cast_precision_loss, reason = "whole numbers far below 2^53")]
pub(super) fn job_object(row: &JobRow) -> JsValue {
    let object = Object::new();
    set(&object, "job", &row.job.to_string().into());
    set(&object, "position", &(row.position as f64).into());
    set(&object, "asked", &row.asked.into());
    set(&object, "opened_ms", &(row.opened_ms as f64).into());
    object.into()
}

pub(super) fn job_of(object: &JsValue) -> Option<JobRow> {
    Some(JobRow {
        job: text(object, "job")?.parse().ok()?,
        position: number(object, "position"),
        asked: get(object, "asked").and_then(|value| value.as_bool()).unwrap_or(false),
        opened_ms: number(object, "opened_ms"),
    })
}
