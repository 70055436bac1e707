//! Bytes: deterministic CBOR for entries and sync messages. The only encoding in `domain`.
//! And which form a text takes that is compared: [`text`].
//!
//! **Never enters:** meaning. What an entry means is [`crate::job_file`]; here it is only well formed or not.
//! Start with [`canonical`], then [`sync`].

pub mod canonical;
pub mod limits;
pub mod sync;
pub mod text;

/// Encodes a value whose `Encode` writes deterministic CBOR into a fresh buffer.
pub fn to_bytes<T: minicbor::Encode<()>>(value: &T) -> Vec<u8> {
    let mut out = Vec::new();
    minicbor::encode(value, &mut out).expect("writing into a Vec cannot fail");
    out
}

/// Decodes one value; anything after it is an error.
///
/// # Errors
/// Not CBOR of this shape, or bytes left over.
pub fn from_bytes<'b, T: minicbor::Decode<'b, ()>>(bytes: &'b [u8]) -> Result<T, minicbor::decode::Error> {
    let mut decoder = minicbor::Decoder::new(bytes);
    let value = decoder.decode()?;
    if decoder.position() == bytes.len() {
        Ok(value)
    } else {
        Err(minicbor::decode::Error::message("bytes after the end of the value"))
    }
}
