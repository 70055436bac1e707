//! Countersignatures and what the server said of them, whether or not they count.

use super::absorb::is_by_server;
use super::body::{Body, CountersignProof, Finding, FindingCode};
use super::file::JobFile;
use crate::ids::{EntryId, PersonId};
use std::collections::BTreeMap;

/// A countersignature that the server has not decided.
#[derive(Clone, Copy, Debug)]
pub struct Undecided<'a> {
    /// The countersignature.
    pub countersign: EntryId,
    /// Whose PIN it says to be under it.
    pub person: PersonId,
    /// The entry with the proof.
    pub proof_entry: EntryId,
    /// The sealed PIN. That it belongs here is for whoever opens it to see.
    pub proof: &'a CountersignProof,
}

/// Those whose proof is here and was not erased; also those that do not count in the job, for they are somebody's word all the same.
pub fn undecided(file: &JobFile) -> Vec<Undecided<'_>> {
    let decided = decisions(file);
    let open = file.iter().filter(|held| !decided.contains_key(&held.entry.header.id));
    open.filter_map(|held| {
        let Some(Body::Countersign(countersign)) = held.entry.body() else { return None };
        let Some(Body::CountersignProof(proof)) = file.get(countersign.proof)?.entry.body() else { return None };
        let (person, proof_entry) = (countersign.person, countersign.proof);
        Some(Undecided { countersign: held.entry.header.id, person, proof_entry, proof })
    })
    .collect()
}

/// What the server said, by the entry that it is about: whether the PIN was right. A wrong one beats a right one, for only one of
/// them can be a mistake that hurts nobody.
pub(super) fn decisions(file: &JobFile) -> BTreeMap<EntryId, bool> {
    let mut decisions = BTreeMap::new();
    for held in file.iter().filter(|held| is_by_server(held)) {
        if let Some(Body::Finding(finding)) = held.entry.body() {
            note(&mut decisions, finding);
        }
    }
    decisions
}

/// Adds what a finding of the server says of a PIN, if it says anything.
pub(super) fn note(decisions: &mut BTreeMap<EntryId, bool>, finding: &Finding) {
    match finding.code {
        FindingCode::CountersignConfirmed => {
            decisions.entry(finding.about).or_insert(true);
        }
        FindingCode::CountersignWrong => {
            decisions.insert(finding.about, false);
        }
        FindingCode::SerialElsewhere
        | FindingCode::PhotoElsewhere
        | FindingCode::ForkedChain
        | FindingCode::PreviewDiffers => {}
    }
}
