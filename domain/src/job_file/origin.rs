//! What the server found doubtful about where an entry came from, as an entry of its own.

use crate::ids::EntryId;
use minicbor::{Decode, Encode};

/// What is doubtful. A forked chain is [`super::body::FindingCode::ForkedChain`].
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Encode, Decode, serde::Serialize, serde::Deserialize,
)]
#[cbor(index_only)]
#[serde(rename_all = "snake_case")]
pub enum DoubtCode {
    /// The signature is not that of its device over these bytes.
    #[n(0)]
    BadSignature,
    /// The device has a key, and nothing signed stood at this place of the chain or after it.
    #[n(1)]
    NotSigned,
    /// No such enrolment.
    #[n(2)]
    UnknownDevice,
    /// The enrolment is somebody else's.
    #[n(3)]
    NotTheirDevice,
    /// It arrived after its device was revoked, and may have been made before.
    #[n(4)]
    AfterRevocation,
    /// It says to have seen less of the job than its device had received: [`super::received`].
    #[n(5)]
    SeenLess,
}

/// An entry by the server's own device. It blocks nothing: the entry that it is about stands, and a person looks at it.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct OriginDoubt {
    /// What.
    #[n(0)]
    pub code: DoubtCode,
    /// About which entry.
    #[n(1)]
    pub about: EntryId,
}
