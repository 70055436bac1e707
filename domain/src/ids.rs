//! Names of things: one type an id, so that two ids cannot be mixed up.

use core::fmt;
use minicbor::{Decode, Decoder, Encode, Encoder, decode, encode};
use uuid::Uuid;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        #[serde(transparent)]
        pub struct $name(Uuid);

        impl $name {
            /// Wraps an id that was made elsewhere.
            pub const fn of(id: Uuid) -> Self { Self(id) }
            /// The bare UUID, for the database and for addresses.
            pub const fn uuid(self) -> Uuid { self.0 }
            /// Six characters for people to say aloud: the end of the id, where its random part is.
            pub fn short(self) -> String {
                let text = self.0.simple().to_string();
                text[text.len() - 6..].to_uppercase()
            }
        }
        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result { self.0.hyphenated().fmt(f) }
        }
        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result { write!(f, "{}({})", stringify!($name), self.0) }
        }
        impl core::str::FromStr for $name {
            type Err = uuid::Error;
            fn from_str(text: &str) -> Result<Self, uuid::Error> { Uuid::parse_str(text).map(Self) }
        }
        impl<C> Encode<C> for $name {
            fn encode<W: encode::Write>(&self, e: &mut Encoder<W>, _: &mut C) -> Result<(), encode::Error<W::Error>> {
                e.bytes(self.0.as_bytes())?;
                Ok(())
            }
        }
        impl<'b, C> Decode<'b, C> for $name {
            fn decode(d: &mut Decoder<'b>, _: &mut C) -> Result<Self, decode::Error> {
                let bytes = d.bytes()?;
                Uuid::from_slice(bytes).map(Self).map_err(|_| decode::Error::message("an id has 16 bytes"))
            }
        }
    )*};
}

ids! {
    /// The company that uses the system: the tenant boundary.
    FirmId;
    /// One job: a visit or a series of visits to a site with one purpose.
    JobId;
    /// One immutable fact in a job file (UUIDv7).
    EntryId;
    /// One enrolment: a person on a browser profile.
    DeviceId;
    /// Someone at the firm.
    PersonId;
    /// An address where work happens.
    SiteId;
    /// A meter or torque wrench.
    InstrumentId;
    /// A catalogue item.
    ModelId;
    /// A capture on a device: made before the camera opens, so that a retry is the same photo.
    CaptureId;
}

/// Makes a UUIDv7 from a time and ten random bytes, both given by the caller.
///
/// ```
/// let id = domain::ids::uuid_v7(1_767_225_600_000, &[7; 10]);
/// assert_eq!(id.get_version_num(), 7);
/// ```
pub const fn uuid_v7(unix_ms: u64, random: &[u8; 10]) -> Uuid {
    uuid::Builder::from_unix_timestamp_millis(unix_ms, random).into_uuid()
}

/// SHA-256 of the exact bytes of a file, or of a domain-prefixed header.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Hash32([u8; 32]);

impl Hash32 {
    /// Stands where there is nothing before: the `prev` of a device's first entry in a job.
    pub const NONE: Self = Self([0; 32]);

    /// Wraps 32 bytes.
    pub const fn of(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }
    /// The bytes.
    pub const fn bytes(&self) -> &[u8; 32] {
        &self.0
    }
    /// SHA-256 of these bytes, without any prefix: the name of a photo.
    pub fn sha256(bytes: &[u8]) -> Self {
        use sha2::Digest;
        Self(sha2::Sha256::digest(bytes).into())
    }
    /// Lower-case hex, 64 characters.
    pub fn hex(&self) -> String {
        hex(&self.0)
    }
    /// The same in sixteen groups of four, for eyes that compare.
    pub fn grouped(&self) -> String {
        let hex = self.hex();
        (0..hex.len()).step_by(4).map(|at| &hex[at..at + 4]).collect::<Vec<_>>().join(" ")
    }
    /// Reads 64 hex characters; `None` for anything else.
    pub fn from_hex(text: &str) -> Option<Self> {
        from_hex(text)?.try_into().ok().map(Self)
    }
}

/// Lower-case hex, two characters a byte.
pub fn hex(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    bytes.iter().flat_map(|b| [DIGITS[usize::from(b >> 4)] as char, DIGITS[usize::from(b & 15)] as char]).collect()
}

/// Reads hex of either case; `None` for anything else.
pub fn from_hex(text: &str) -> Option<Vec<u8>> {
    let digit = |byte: u8| char::from(byte).to_digit(16).and_then(|digit| u8::try_from(digit).ok());
    let pairs = text.as_bytes().chunks(2).map(|pair| match pair {
        [high, low] => Some(digit(*high)? * 16 + digit(*low)?),
        _ => None,
    });
    pairs.collect()
}

impl fmt::Debug for Hash32 {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Hash32({}…)", &self.hex()[..8])
    }
}
impl fmt::Display for Hash32 {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.hex())
    }
}
impl serde::Serialize for Hash32 {
    fn serialize<S: serde::Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        s.serialize_str(&self.hex())
    }
}
impl<'de> serde::Deserialize<'de> for Hash32 {
    fn deserialize<D: serde::Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let text = String::deserialize(d)?;
        Self::from_hex(&text).ok_or_else(|| serde::de::Error::custom("64 hex characters expected"))
    }
}
impl<C> Encode<C> for Hash32 {
    fn encode<W: encode::Write>(&self, e: &mut Encoder<W>, _: &mut C) -> Result<(), encode::Error<W::Error>> {
        e.bytes(&self.0)?;
        Ok(())
    }
}
impl<'b, C> Decode<'b, C> for Hash32 {
    fn decode(d: &mut Decoder<'b>, _: &mut C) -> Result<Self, decode::Error> {
        d.bytes()?.try_into().map(Self).map_err(|_| decode::Error::message("a hash has 32 bytes"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hex_round_trips_and_refuses_the_rest() {
        let hash = Hash32::sha256(b"abc");
        assert_eq!(hash.hex(), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_eq!(Hash32::from_hex(&hash.hex()), Some(hash));
        assert_eq!(Hash32::from_hex("zz"), None);
        assert_eq!((from_hex("00fF"), from_hex("00f")), (Some(vec![0, 255]), None));
        assert_eq!(Hash32::from_hex(&"g".repeat(64)), None);
    }
}
