//! Who stands behind a confirmation, a countersignature or a signature.

use super::answer::{Answer, FailWhy, holds_on};
use crate::ids::{EntryId, PersonId};
use crate::job_file::body;
use crate::job_file::record::{Evidence, Record};
use crate::method::plan::{Confirmer, CountersignNeed};

/// Why the person who is named does not do; `None` when they do.
pub(super) fn wrong_person(
    record: &Record<'_>,
    evidence: &Evidence<'_>,
    person: Option<PersonId>,
    named_in: Option<EntryId>,
    by: Confirmer,
) -> Option<FailWhy> {
    match by {
        Confirmer::Recorder => None,
        Confirmer::SecondPerson => {
            let author = evidence.held.entry.header.author;
            let named = person.filter(|person| *person != author && record.role_of(*person).is_some());
            named.is_none().then_some(FailWhy::SecondPersonNeeded)
        }
        Confirmer::Householder => named_in.is_none().then_some(FailWhy::HouseholderNeeded),
    }
}

/// Met while the server has not said otherwise: [`Record::countersign_state`] tells whether it has said anything.
pub(super) fn countersign(
    record: &Record<'_>,
    evidence: &Evidence<'_>,
    countersign: &body::Countersign,
    need: &CountersignNeed,
) -> Answer {
    let id = evidence.key.id;
    let person = countersign.person;
    let author = evidence.held.entry.header.author;
    let proven = match record.proofs.get(&countersign.proof) {
        Some(Some(of)) => *of == id,
        // The server erases a proof once it has decided.
        Some(None) => true,
        None => false,
    };
    let fault = if person == author || record.role_of(person).is_none() {
        Some(FailWhy::SecondPersonNeeded)
    } else if let Some(kind) = need.ticket.as_ref().filter(|kind| !holds_ticket(record, person, kind, evidence.key.at))
    {
        Some(FailWhy::TicketNeeded(kind.clone()))
    } else if record.pins.get(&id) == Some(&false) {
        Some(FailWhy::PinWrong)
    } else {
        (!proven).then_some(FailWhy::PinProofMissing)
    };
    fault.map_or_else(|| Answer::Met { by: vec![id] }, |why| Answer::Failed { by: Some(id), why })
}

/// A ticket counts as it was written in at assignment; an empty last day means that it does not end.
fn holds_ticket(record: &Record<'_>, person: PersonId, kind: &str, at_us: u64) -> bool {
    let crew = record.crew.iter().flat_map(|crew| &crew.value.crew);
    crew.filter(|assigned| assigned.person == person)
        .flat_map(|assigned| &assigned.tickets)
        .any(|ticket| ticket.kind == kind && (ticket.expires.is_empty() || holds_on(at_us, &ticket.expires)))
}

pub(super) fn signature(
    record: &Record<'_>,
    evidence: &Evidence<'_>,
    signature: &body::Signature,
    by: Confirmer,
) -> Answer {
    let id = evidence.key.id;
    let drawn = match record.drawings.get(&signature.drawing) {
        Some(Some(drawing)) => drawing.is_drawn(),
        // Erased at somebody's wish: that it was there is still known.
        Some(None) => true,
        None => false,
    };
    let fault = wrong_person(record, evidence, signature.person, signature.named_in, by)
        .or_else(|| (!drawn).then_some(FailWhy::NotDrawn));
    fault.map_or_else(|| Answer::Met { by: vec![id] }, |why| Answer::Failed { by: Some(id), why })
}
