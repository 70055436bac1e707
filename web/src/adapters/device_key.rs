//! [`Signer`] on the browser's own ciphers: a P-256 pair whose private half the browser never gives out.
//!
//! It is made once for an enrolment and lies in the person's database as a key of the browser, not as bytes. Signing runs
//! outside the main thread.

use std::cell::RefCell;
use std::rc::Rc;

use gloo_timers::future::TimeoutFuture;
use js_sys::{Array, ArrayBuffer, Object, Promise, Reflect, Uint8Array};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{CryptoKey, SubtleCrypto};

use super::indexed_db::IndexedDb;
use crate::ports::Later;
use crate::ports::signer::Signer;
use domain::ids::DeviceId;

/// Who waits longer for a signature saves without one: work is never lost over it.
const SIGNS_WITHIN_MS: u32 = 2_000;
const PRIVATE: &str = "private";
const PUBLIC: &str = "public";

/// The key of an enrolment.
pub struct DeviceKey {
    db: Rc<IndexedDb>,
    name: String,
    /// As it stood in the database that was opened so many times.
    pair: RefCell<Option<(u32, Pair)>>,
}

#[derive(Clone)]
struct Pair {
    private: CryptoKey,
    public: Vec<u8>,
}

impl DeviceKey {
    /// The key of this enrolment; found or made when it is first needed.
    pub fn of(db: Rc<IndexedDb>, device: DeviceId) -> Self {
        Self { db, name: format!("sign/{device}"), pair: RefCell::default() }
    }

    async fn pair(&self) -> Option<Pair> {
        let held = self.pair.borrow().clone();
        if let Some((_, pair)) = held.filter(|(opened, _)| *opened == self.db.times_opened()) {
            return Some(pair);
        }
        let kept = match self.db.key(&self.name).await.ok()? {
            Some(kept) => kept,
            // Of two windows that make one at the same time, both use the one that was kept first.
            None => self.db.put_key_once(&self.name, &make().await.ok()?).await.ok()?,
        };
        let pair = pair_of(&kept)?;
        self.pair.replace(Some((self.db.times_opened(), pair.clone())));
        Some(pair)
    }

    async fn signed(&self, texts: Vec<Vec<u8>>) -> Option<Vec<Vec<u8>>> {
        let private = self.pair().await?.private;
        let subtle = subtle().ok()?;
        let how = dict(&[("name", "ECDSA".into()), ("hash", "SHA-256".into())]);
        // All are begun before the first is awaited.
        let begun: Option<Vec<Promise>> = texts
            .iter()
            .map(|text| {
                subtle.sign_with_object_and_js_u8_array(&how, &private, &Uint8Array::from(text.as_slice())).ok()
            })
            .collect();
        let mut signatures = Vec::new();
        for signature in begun? {
            signatures.push(bytes(&JsFuture::from(signature).await.ok()?));
        }
        Some(signatures)
    }
}

impl Signer for DeviceKey {
    fn sign(&self, texts: Vec<Vec<u8>>) -> Later<'_, Option<Vec<Vec<u8>>>> {
        Box::pin(in_time(self.signed(texts)))
    }

    fn public(&self) -> Later<'_, Option<Vec<u8>>> {
        Box::pin(async { Some(self.pair().await?.public) })
    }
}

async fn in_time<T>(work: impl Future<Output = Option<T>>) -> Option<T> {
    let (mut work, mut limit) = (core::pin::pin!(work), core::pin::pin!(TimeoutFuture::new(SIGNS_WITHIN_MS)));
    core::future::poll_fn(|context| {
        if let core::task::Poll::Ready(done) = work.as_mut().poll(context) {
            return core::task::Poll::Ready(done);
        }
        limit.as_mut().poll(context).map(|()| None)
    })
    .await
}

/// A pair as it is kept.
async fn make() -> Result<JsValue, JsValue> {
    let subtle = subtle()?;
    let curve = dict(&[("name", "ECDSA".into()), ("namedCurve", "P-256".into())]);
    let uses = Array::of1(&"sign".into());
    let made = JsFuture::from(subtle.generate_key_with_object(&curve, false, &uses)?).await?;
    let public: CryptoKey = Reflect::get(&made, &"publicKey".into())?.dyn_into()?;
    let public = JsFuture::from(subtle.export_key("raw", &public)?).await?;
    let private = Reflect::get(&made, &"privateKey".into())?;
    Ok(dict(&[(PRIVATE, private), (PUBLIC, Uint8Array::new(&public).into())]).into())
}

fn pair_of(kept: &JsValue) -> Option<Pair> {
    let own = |half: &str| Reflect::get(kept, &half.into()).ok();
    Some(Pair { private: own(PRIVATE)?.dyn_into().ok()?, public: own(PUBLIC)?.dyn_into::<Uint8Array>().ok()?.to_vec() })
}

fn subtle() -> Result<SubtleCrypto, JsValue> {
    let crypto = web_sys::window().ok_or(JsValue::NULL)?.crypto()?;
    // Over plain http there is none, whatever the type says.
    let subtle = crypto.subtle();
    if subtle.is_undefined() { Err(JsValue::NULL) } else { Ok(subtle) }
}

fn bytes(buffer: &JsValue) -> Vec<u8> {
    Uint8Array::new(buffer.unchecked_ref::<ArrayBuffer>()).to_vec()
}

fn dict(fields: &[(&str, JsValue)]) -> Object {
    let object = Object::new();
    for (name, value) in fields {
        // A plain object of our own takes every field.
        let _ = Reflect::set(&object, &(*name).into(), value);
    }
    object
}
