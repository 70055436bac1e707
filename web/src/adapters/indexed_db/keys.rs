//! Keys of the browser, beside the rows that they are for.

use super::schema::KEYS;
use super::store::IndexedDb;
use super::transaction::{Mode, Transaction};
use crate::ports::local_store::StoreError;
use wasm_bindgen::JsValue;

impl IndexedDb {
    /// A key of the browser.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn key(&self, name: &str) -> Result<Option<JsValue>, StoreError> {
        self.again(async |db| {
            let tx = Transaction::begin(db, &[KEYS], Mode::Read)?;
            let key = tx.get(KEYS, name)?.await?;
            Ok(Some(key).filter(|key| !key.is_undefined()))
        })
        .await
    }

    /// Keeps a key unless there is one of that name, and gives the one that is there then.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn put_key_once(&self, name: &str, key: &JsValue) -> Result<JsValue, StoreError> {
        self.again(async |db| {
            let tx = Transaction::begin(db, &[KEYS], Mode::Evidence)?;
            let there = tx.get(KEYS, name)?.await?;
            if !there.is_undefined() {
                return Ok(there);
            }
            tx.put(KEYS, key, Some(name))?;
            tx.commit().await?;
            Ok(key.clone())
        })
        .await
    }

    /// How often the database was opened. What was read before the last time may be of one that is gone.
    pub fn times_opened(&self) -> u32 {
        let is_open = self.handle.borrow().as_ref().is_some_and(|handle| !handle.is_dead.get());
        self.opened.get() + u32::from(!is_open)
    }

    /// Drops a key; what it alone opens is gone.
    ///
    /// # Errors
    /// [`StoreError`].
    pub async fn drop_key(&self, name: &str) -> Result<(), StoreError> {
        self.again(async |db| {
            let tx = Transaction::begin(db, &[KEYS], Mode::Evidence)?;
            tx.delete(KEYS, name)?;
            tx.commit().await
        })
        .await
    }
}
