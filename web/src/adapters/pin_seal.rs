//! Seals a PIN to the firm's key with the browser's own ciphers, as [`domain::people::pin`] lays it out.

use domain::ids::{EntryId, PersonId};
use domain::people::pin;
use js_sys::{Array, ArrayBuffer, Object, Reflect, Uint8Array};
use wasm_bindgen::{JsCast, JsValue};
use wasm_bindgen_futures::JsFuture;
use web_sys::{CryptoKey, SubtleCrypto};

/// The sealed PIN. `None`: not a PIN, not a key, or a browser without these ciphers (over plain http).
pub async fn seal(public: &[u8], typed: &str, countersign: EntryId, person: PersonId) -> Option<Vec<u8>> {
    let plain = pin::plain(typed)?;
    seal_with(public, &plain, &pin::bound_to(countersign, person)).await.ok()
}

async fn seal_with(public: &[u8], plain: &[u8], info: &[u8]) -> Result<Vec<u8>, JsValue> {
    let subtle = web_sys::window().ok_or(JsValue::NULL)?.crypto()?.subtle();
    let curve = dict(&[("name", "ECDH".into()), ("namedCurve", "P-256".into())]);
    let pair = JsFuture::from(subtle.generate_key_with_object(&curve, false, &uses("deriveBits"))?).await?;
    let own = |half: &str| Reflect::get(&pair, &half.into())?.dyn_into::<CryptoKey>();
    let ephemeral = bytes(JsFuture::from(subtle.export_key("raw", &own("publicKey")?)?).await?);
    let theirs = import(&subtle, public, &curve, &Array::new().into()).await?;
    let agreement = dict(&[("name", "ECDH".into()), ("public", theirs.into())]);
    let shared = bits(&subtle, &agreement, &own("privateKey")?).await?;
    let source = import(&subtle, &shared, &dict(&[("name", "HKDF".into())]), &uses("deriveBits")).await?;
    let salt = [ephemeral.as_slice(), public].concat();
    let derivation = dict(&[
        ("name", "HKDF".into()),
        ("hash", "SHA-256".into()),
        ("salt", Uint8Array::from(salt.as_slice()).into()),
        ("info", Uint8Array::from(info).into()),
    ]);
    let key = bits(&subtle, &derivation, &source).await?;
    let cipher = dict(&[("name", "AES-GCM".into()), ("iv", Uint8Array::new_with_length(12).into())]);
    let key = import(&subtle, &key, &cipher, &uses("encrypt")).await?;
    let text = Uint8Array::from(plain);
    let sealed = subtle.encrypt_with_object_and_buffer_source(&cipher, &key, &text)?;
    let sealed = bytes(JsFuture::from(sealed).await?);
    Ok([ephemeral, sealed].concat())
}

async fn import(subtle: &SubtleCrypto, raw: &[u8], of: &Object, uses: &JsValue) -> Result<CryptoKey, JsValue> {
    let raw = Uint8Array::from(raw);
    JsFuture::from(subtle.import_key_with_object("raw", &raw, of, false, uses)?).await?.dyn_into()
}

async fn bits(subtle: &SubtleCrypto, how: &Object, key: &CryptoKey) -> Result<Vec<u8>, JsValue> {
    Ok(bytes(JsFuture::from(subtle.derive_bits_with_object(how, key, 256)?).await?))
}

fn bytes(buffer: JsValue) -> Vec<u8> {
    Uint8Array::new(buffer.unchecked_ref::<ArrayBuffer>()).to_vec()
}

fn uses(word: &str) -> JsValue {
    Array::of1(&word.into()).into()
}

fn dict(fields: &[(&str, JsValue)]) -> Object {
    let object = Object::new();
    for (name, value) in fields {
        // A plain object of our own takes every field.
        let _ = Reflect::set(&object, &(*name).into(), value);
    }
    object
}
