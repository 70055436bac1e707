//! Bodies by which somebody besides the recorder vouches: countersignature, signature, a lead's word by telephone.
//!
//! **Never enters:** a PIN, or an answer that a lead reads out. Both are here as proofs only.

use super::body::Place;
use crate::ids::{EntryId, Hash32, PersonId};
use minicbor::{Decode, Encode};

/// A second person's word for a statement.
///
/// The PIN is never here: [`CountersignProof`] holds it sealed, so that it can be erased without the countersignature.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Countersign {
    /// Where.
    #[n(0)]
    pub at: Place,
    /// SHA-256 of the statement as shown, in the language shown.
    #[n(1)]
    pub statement: Hash32,
    /// Who countersigns.
    #[n(2)]
    pub person: PersonId,
    /// The entry that holds the sealed proof; it is written before this one.
    #[n(3)]
    pub proof: EntryId,
    /// The entry that this one replaces.
    #[n(4)]
    pub corrects: Option<EntryId>,
}

/// The PIN, sealed to the server's public key.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct CountersignProof {
    /// The countersignature that it belongs to; a proof counts for no other.
    #[n(0)]
    pub of: EntryId,
    /// SHA-256 of the server's public key that it is sealed to.
    #[n(1)]
    pub key: Hash32,
    /// Ephemeral public key and sealed bytes, as [`crate::people::pin`] lays them out.
    #[n(2)]
    pub sealed: minicbor::bytes::ByteVec,
}

/// A drawn signature under a text. Evidence, not a qualified electronic signature.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Signature {
    /// Where.
    #[n(0)]
    pub at: Place,
    /// SHA-256 of the text on the screen, in the language shown.
    #[n(1)]
    pub text: Hash32,
    /// The entry that holds the drawing; it is written before this one.
    #[n(2)]
    pub drawing: EntryId,
    /// Who signs, when it is another person of the crew.
    #[n(3)]
    pub person: Option<PersonId>,
    /// The remark that holds the name, when it is somebody outside the firm.
    #[n(4)]
    pub named_in: Option<EntryId>,
    /// The entry that this one replaces.
    #[n(5)]
    pub corrects: Option<EntryId>,
}

/// Lines drawn with a finger; erasable.
#[derive(Clone, Debug, Default, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct Drawing {
    /// Width and height of the field, in the unit of the points.
    #[n(0)]
    pub size: (u16, u16),
    /// Lines without lifting the finger, each point as (across, down).
    #[n(1)]
    pub strokes: Vec<Vec<(u16, u16)>>,
}

/// Answers by which a lead may allow a departure over the telephone, as slow salted hashes; by the server's device.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct VoiceAnswers {
    /// 16 random bytes.
    #[n(0)]
    pub salt: minicbor::bytes::ByteVec,
    /// Rounds of the slow hash.
    #[n(1)]
    pub rounds: u32,
    /// One for each place from which a departure may be allowed.
    #[n(2)]
    pub answers: Vec<VoiceAnswer>,
}

/// The hash of one answer.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct VoiceAnswer {
    /// For which requirement and slot.
    #[n(0)]
    pub at: Place,
    /// [`crate::people::voice::seal_of`] the answer's proof.
    #[n(1)]
    pub hash: Hash32,
}

/// An answer was shown to a lead.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct VoiceAnswerShown {
    /// Out of which batch.
    #[n(0)]
    pub issue: EntryId,
    /// For which place.
    #[n(1)]
    pub at: Place,
}

/// A lead has allowed a departure by voice.
#[derive(Clone, Debug, PartialEq, Eq, Encode, Decode)]
#[cbor(map)]
pub struct DeviationByVoice {
    /// Which request.
    #[n(0)]
    pub asked: EntryId,
    /// Out of which batch the answer is.
    #[n(1)]
    pub issue: EntryId,
    /// [`crate::people::voice::proof_of`] the answer: only who has heard it can have computed this.
    #[n(2)]
    pub proof: Hash32,
}

impl Drawing {
    /// Points that a signature has at least; a tap or a short line is none.
    pub const POINTS_MIN: usize = 8;

    /// Whether there is ink enough for a signature: points, and a twentieth of the field across.
    pub fn is_drawn(&self) -> bool {
        let points = || self.strokes.iter().flatten();
        let across = points().map(|(x, _)| *x).max().unwrap_or(0) - points().map(|(x, _)| *x).min().unwrap_or(0);
        points().count() >= Self::POINTS_MIN && u32::from(across) * 20 >= u32::from(self.size.0.max(1))
    }
}
