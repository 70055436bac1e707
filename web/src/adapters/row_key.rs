//! [`Sealer`] on the browser's own ciphers: AES-GCM with a key that the browser never gives out.
//!
//! The key lies in the database that it is for, as a key of the browser and not as bytes. Ciphers run outside the main thread;
//! many small ones are begun together and awaited once.

use std::cell::RefCell;
use std::rc::Rc;

use domain::tray::sealed::SEALED_MARK;
use js_sys::{Array, ArrayBuffer, Object, Promise, Reflect, Uint8Array};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{CryptoKey, SubtleCrypto};

use super::file_bytes::FileBytes;
use super::indexed_db::IndexedDb;
use crate::ports::Later;
use crate::ports::sealer::Sealer;

const NUMBER_BYTES: usize = 12;
/// Before the cipher's own bytes.
const HEAD_BYTES: usize = SEALED_MARK.len() + NUMBER_BYTES;
const KEY_BITS: u32 = 256;

/// The key of one database's rows.
pub struct RowKey {
    db: Rc<IndexedDb>,
    /// As it stood in the database that was opened so many times.
    key: RefCell<Option<(u32, CryptoKey)>>,
}

impl RowKey {
    /// Name among the keys of a database.
    pub const NAME: &str = "rows";

    /// The key of this database; found or made when it is first needed.
    pub fn of(db: Rc<IndexedDb>) -> Self {
        Self { db, key: RefCell::default() }
    }

    async fn key(&self, is_made: bool) -> Option<CryptoKey> {
        let held = self.key.borrow().clone();
        if let Some((_, key)) = held.filter(|(opened, _)| *opened == self.db.times_opened()) {
            return Some(key);
        }
        let kept = match self.db.key(Self::NAME).await.ok()? {
            Some(kept) => kept,
            None if is_made => self.db.put_key_once(Self::NAME, &make().await.ok()?).await.ok()?,
            None => return None,
        };
        let key: CryptoKey = kept.dyn_into().ok()?;
        self.key.replace(Some((self.db.times_opened(), key.clone())));
        Some(key)
    }

    async fn sealed(&self, plain: Vec<FileBytes>) -> Option<Vec<FileBytes>> {
        let (subtle, key) = (subtle()?, self.key(true).await?);
        let (heads, begun) = (Array::new(), Array::new());
        for bytes in plain {
            let number = number()?;
            let sealing = subtle.encrypt_with_object_and_buffer_source(&how(&number), &key, &bytes.buffer());
            begun.push(sealing.ok()?.as_ref());
            heads.push(&number);
        }
        let done: Array = JsFuture::from(Promise::all(&begun)).await.ok()?.dyn_into().ok()?;
        let one = |(number, sealed): (JsValue, JsValue)| {
            let sealed = Uint8Array::new(sealed.unchecked_ref::<ArrayBuffer>());
            let at = |bytes: usize| u32::try_from(bytes).expect("a few");
            let whole = Uint8Array::new_with_length(at(HEAD_BYTES) + sealed.length());
            whole.set(&Uint8Array::from(SEALED_MARK.as_slice()), 0);
            whole.set(number.unchecked_ref::<Uint8Array>(), at(SEALED_MARK.len()));
            whole.set(&sealed, at(HEAD_BYTES));
            FileBytes::of_buffer(whole.buffer())
        };
        Some(heads.iter().zip(done.iter()).map(one).collect())
    }

    async fn opened(&self, sealed: &[FileBytes]) -> Option<Vec<Option<FileBytes>>> {
        let (subtle, key) = (subtle()?, self.key(false).await?);
        let begun = Array::new();
        for bytes in sealed {
            let head = bytes.head(HEAD_BYTES);
            let opening = head.get(SEALED_MARK.len()..HEAD_BYTES).and_then(|number| {
                let number = Uint8Array::from(number);
                let cipher = bytes.view(u32::try_from(HEAD_BYTES).ok()?);
                subtle.decrypt_with_object_and_buffer_source(&how(&number), &key, &cipher).ok()
            });
            begun.push(opening.as_ref().map_or(&JsValue::UNDEFINED, AsRef::as_ref));
        }
        // One that does not open must not shut the others.
        let done: Array = JsFuture::from(Promise::all_settled(&begun)).await.ok()?.dyn_into().ok()?;
        let one = |settled: JsValue| {
            let value = Reflect::get(&settled, &"value".into()).ok()?;
            value.dyn_into::<ArrayBuffer>().ok().map(FileBytes::of_buffer)
        };
        Some(done.iter().map(one).collect())
    }
}

impl Sealer for RowKey {
    fn seal(&self, plain: Vec<FileBytes>) -> Later<'_, Option<Vec<FileBytes>>> {
        Box::pin(self.sealed(plain))
    }

    fn open(&self, sealed: Vec<FileBytes>) -> Later<'_, Vec<Option<FileBytes>>> {
        Box::pin(async move { self.opened(&sealed).await.unwrap_or_else(|| vec![None; sealed.len()]) })
    }
}

async fn make() -> Result<JsValue, JsValue> {
    let subtle = subtle().ok_or(JsValue::NULL)?;
    let how = Object::new();
    Reflect::set(&how, &"name".into(), &"AES-GCM".into())?;
    Reflect::set(&how, &"length".into(), &KEY_BITS.into())?;
    let uses = Array::of2(&"encrypt".into(), &"decrypt".into());
    JsFuture::from(subtle.generate_key_with_object(&how, false, &uses)?).await
}

/// AES-GCM with this number.
fn how(number: &Uint8Array) -> Object {
    let how = Object::new();
    for (name, value) in [("name", &JsValue::from("AES-GCM")), ("iv", number.as_ref())] {
        // A plain object of our own takes every field.
        let _ = Reflect::set(&how, &name.into(), value);
    }
    how
}

fn number() -> Option<Uint8Array> {
    let mut random = [0; NUMBER_BYTES];
    getrandom::fill(&mut random).ok()?;
    Some(Uint8Array::from(random.as_slice()))
}

fn subtle() -> Option<SubtleCrypto> {
    let subtle = web_sys::window()?.crypto().ok()?.subtle();
    // Over plain http there is none, whatever the type says.
    Some(subtle).filter(|subtle| !subtle.is_undefined())
}
