//! Puts what entries say into a record. The order of calls does not matter: every place keeps its own order.

use super::body::{Body, Choice, Finding, FindingCode, StopWork};
use super::countersigns::note;
use super::entry::Content;
use super::file::{Held, OrderKey};
use super::record::{Deviation, Evidence, Latest, PhaseEvent, Stop};
use crate::ids::{EntryId, PersonId};
use crate::method::gate::{Gate, Touched};
use crate::method::plan::Requirement;
use std::collections::BTreeMap;

/// Whether the server's own device wrote this: nobody's person stands behind it.
pub(super) fn is_by_server(held: &Held) -> bool {
    held.entry.header.author.uuid() == held.entry.header.device.uuid()
}

/// Puts what one entry says into the record.
pub(super) fn absorb<'a>(gate: &mut Gate<'_, 'a>, held: &'a Held, key: OrderKey) {
    let author = held.entry.header.author;
    if let Some(stamp) = held.stamp {
        gate.record_mut(Touched::Nothing).stamps.insert(stamp.position, stamp.time_us);
    }
    let body = match &held.entry.content {
        Content::Body(body) => body,
        Content::Unknown => {
            if held.entry.header.must_understand {
                gate.record_mut(Touched::Nothing).not_understood.insert(key.id);
            }
            return;
        }
        Content::Erased => return absorb_erased(gate, held, key.id),
        Content::Unreadable => return,
    };
    match body {
        Body::JobPlanned(plan) => {
            let record = gate.record_mut(Touched::Everything);
            if record.plan.is_none_or(|(before, _, _)| key < before) {
                record.plan = Some((key, author, plan));
            }
        }
        Body::Equipment(value) => replace(&mut gate.record_mut(Touched::Everything).equipment, key, value),
        Body::DesignInputs(value) => replace(&mut gate.record_mut(Touched::Everything).design, key, value),
        Body::Consent(value) => replace(&mut gate.record_mut(Touched::Nothing).consent, key, value),
        Body::SiteDetails(value) => replace(&mut gate.record_mut(Touched::Nothing).site, key, value),
        Body::Schedule(value) => replace(&mut gate.record_mut(Touched::Nothing).schedule, key, value),
        Body::Assignment(value) => replace(&mut gate.record_mut(Touched::Everything).crew, key, value),
        Body::Photo(_)
        | Body::Reading(_)
        | Body::Serial(_)
        | Body::Confirmation(_)
        | Body::Choice(_)
        | Body::Waited(_)
        | Body::Countersign(_)
        | Body::Signature(_)
        | Body::Words(_) => absorb_evidence(gate, held, body, key),
        Body::CountersignProof(proof) => {
            gate.record_mut(Touched::Nothing).proofs.insert(key.id, Some(proof.of));
            touch_bearer(gate, key.id);
        }
        Body::Drawing(drawing) => {
            gate.record_mut(Touched::Nothing).drawings.insert(key.id, Some(drawing));
            touch_bearer(gate, key.id);
        }
        Body::VoiceAnswers(answers) => {
            gate.record_mut(Touched::Everything).voice_answers.insert(key.id, answers);
            attach_voice(gate);
        }
        Body::VoiceAnswerShown(shown) => {
            let record = gate.record_mut(Touched::Nothing);
            record.voice_shown.entry((shown.issue, shown.at.clone())).or_default().insert(key, author);
        }
        Body::DeviationByVoice(said) => {
            gate.record_mut(Touched::Everything).voice_said.insert(key, (author, said));
            attach_voice(gate);
        }
        Body::Remark(remark) => {
            let words = (key, author, remark.at.as_ref(), remark.text.as_str());
            gate.record_mut(Touched::Nothing).remarks.insert(key.id, words);
        }
        Body::Retraction(retraction) => {
            let record = gate.record_mut(Touched::Everything);
            record.replaced.insert(retraction.target, key.id);
            attach_resolution(gate, retraction.target);
        }
        Body::CautionsRead(read) => {
            let record = gate.record_mut(Touched::Place(&read.at));
            for caution in &read.cautions {
                let slot = (read.at.step.clone(), read.at.slot, caution.clone());
                let first = record.cautions_read.entry(slot).or_insert((author, key));
                *first = if key < first.1 { (author, key) } else { *first };
            }
        }
        Body::DeviationAsked(asked) => {
            let record = gate.record_mut(Touched::Place(&asked.at));
            record.deviations.insert(key.id, Deviation { key, by: author, asked, decisions: BTreeMap::new() });
            record.asked_at.entry(&asked.at).or_default().push(key.id);
            attach_decisions(gate, key.id);
            attach_voice(gate);
        }
        Body::DeviationDecided(decided) => {
            let answer = (decided.allowed, author, decided.remark);
            let record = gate.record_mut(Touched::Everything);
            record.decisions_waiting.entry(decided.asked).or_default().insert(key, answer);
            attach_decisions(gate, decided.asked);
        }
        Body::StopWork(stop) => {
            let record = gate.record_mut(Touched::Nothing);
            let stop = stop.clone();
            let stop = Stop { key, by: author, stop, by_itself: true, resolved: None, taken_back: None };
            record.stops.insert(key.id, stop);
            attach_resolution(gate, key.id);
        }
        Body::StopResolved(resolved) => {
            let record = gate.record_mut(Touched::Nothing);
            let answer = (key.id, author, resolved.remark);
            let first = record.resolutions_waiting.entry(resolved.stop).or_insert(answer);
            *first = (*first).min(answer);
            attach_resolution(gate, resolved.stop);
        }
        Body::Returned(returned) => {
            let record = gate.record_mut(Touched::Everything);
            record.returns.entry(returned.at.clone()).or_default().insert(key, returned.remark);
            record.phases.insert(key, (PhaseEvent::Returned, author));
        }
        Body::Paused(paused) => phase(gate, key, PhaseEvent::Paused(paused.left_as), author),
        Body::Resumed(_) => {
            phase(gate, key, PhaseEvent::Resumed, author);
            went(gate, key, author, false);
        }
        Body::WentAway(_) => went(gate, key, author, true),
        Body::CameBack(_) => went(gate, key, author, false),
        Body::LockHandedOver(handed) => {
            gate.record_mut(Touched::Everything).locks_handed.insert(key, (author, handed.to));
        }
        Body::Submitted(_) => phase(gate, key, PhaseEvent::Submitted, author),
        Body::Passed(_) => phase(gate, key, PhaseEvent::Passed, author),
        Body::Withdrawn(_) => phase(gate, key, PhaseEvent::Withdrawn, author),
        Body::BreachSettled(settled) => {
            gate.record_mut(Touched::Nothing).settled.insert(settled.entry, settled.remark);
        }
        Body::PhotoAbsent(absent) => {
            gate.record_mut(Touched::Nothing).photos_absent.insert(absent.hash, absent.remark);
        }
        Body::Finding(finding) => absorb_finding(gate, held, finding),
        Body::Sealed(sealed) => {
            gate.record_mut(Touched::Nothing).seals.insert(key, sealed);
            phase(gate, key, PhaseEvent::Sealed, sealed.by);
        }
        Body::DrawnNumber(_) => {}
        // What claims to be the server's and is not says nothing.
        Body::OriginDoubt(doubt) if is_by_server(held) => {
            gate.record_mut(Touched::Nothing).origin_doubts.entry(doubt.about).or_default().insert(doubt.code);
        }
        Body::OriginDoubt(_) => {}
    }
}

/// A proof or drawing that comes after what bears it changes how that stands.
fn touch_bearer(gate: &mut Gate<'_, '_>, part: EntryId) {
    let bears = |body: &Body| match body {
        Body::Countersign(countersign) => countersign.proof == part,
        Body::Signature(signature) => signature.drawing == part,
        _ => false,
    };
    let places = gate.record().evidence.iter();
    let place =
        places.filter(|(_, all)| all.iter().any(|evidence| bears(evidence.body))).map(|(place, _)| place).next();
    if let Some(place) = place.cloned() {
        gate.record_mut(Touched::Place(&place));
    }
}

/// A body that was erased still stands for what needed it.
fn absorb_erased(gate: &mut Gate<'_, '_>, held: &Held, id: EntryId) {
    let record = gate.record_mut(Touched::Everything);
    match held.entry.header.kind {
        Body::COUNTERSIGN_PROOF => {
            record.proofs.insert(id, None);
        }
        Body::DRAWING => {
            record.drawings.insert(id, None);
        }
        _ => {}
    }
}

fn absorb_finding<'a>(gate: &mut Gate<'_, 'a>, held: &'a Held, finding: &'a Finding) {
    let by_server = is_by_server(held);
    let record = gate.record_mut(if by_server { Touched::Everything } else { Touched::Nothing });
    record.findings.insert(held.entry.header.id, finding);
    if !by_server {
        return;
    }
    match finding.code {
        // Of two jobs with the same bytes, the photo that was entered later is the copy: ids carry the time.
        FindingCode::PhotoElsewhere => {
            if let Some(other) = finding.other.filter(|other| *other < finding.about) {
                let first = record.copies.entry(finding.about).or_insert(other);
                *first = (*first).min(other);
            }
        }
        FindingCode::CountersignConfirmed | FindingCode::CountersignWrong => note(&mut record.pins, finding),
        FindingCode::SerialElsewhere | FindingCode::ForkedChain | FindingCode::PreviewDiffers => {}
    }
}

/// An answer to a choice that stops all work, wherever the method says so.
fn absorb_trigger(gate: &mut Gate<'_, '_>, author: PersonId, choice: &Choice, key: OrderKey) {
    let Some(step) = gate.plan().index_of(&choice.at.step) else { return };
    let Some(Requirement::Choice(need)) = gate.plan().step(step).requirement(&choice.at.requirement) else { return };
    let option = need.options.iter().find(|option| option.id == choice.option);
    let Some(cause) = option.and_then(|option| option.stops) else { return };
    let stop = StopWork { cause, at: Some(choice.at.clone()), remark: None };
    let stop = Stop { key, by: author, stop, by_itself: false, resolved: None, taken_back: None };
    gate.record_mut(Touched::Nothing).stops.insert(key.id, stop);
    attach_resolution(gate, key.id);
}

fn absorb_evidence<'a>(gate: &mut Gate<'_, 'a>, held: &'a Held, body: &'a Body, key: OrderKey) {
    let Some(place) = body.evidence_place() else { return };
    // A correction, a serial or a photo may change what stands at another place.
    let local = body.corrects().is_none() && !matches!(body, Body::Serial(_));
    let repeated_photo = match body {
        Body::Photo(photo) => gate.record().photo_places.contains_key(&photo.original.hash),
        _ => false,
    };
    let touched = if local && !repeated_photo { Touched::Place(place) } else { Touched::Everything };
    if let Body::Choice(choice) = body {
        absorb_trigger(gate, held.entry.header.author, choice, key);
    }
    let record = gate.record_mut(touched);
    let list = record.evidence.entry(place.clone()).or_default();
    let at = list.partition_point(|evidence| evidence.key < key);
    list.insert(at, Evidence { key, held, body });
    if let Some(target) = body.corrects() {
        record.replaced.insert(target, key.id);
    }
    if let Body::Photo(photo) = body {
        record.photo_places.entry(photo.original.hash).or_default().insert(key, place.clone());
    }
}

fn replace<'a, T>(latest: &mut Option<Latest<'a, T>>, key: OrderKey, value: &'a T) {
    if latest.as_ref().is_none_or(|before| before.key < key) {
        *latest = Some(Latest { key, value });
    }
}

fn phase(gate: &mut Gate<'_, '_>, key: OrderKey, event: PhaseEvent, author: PersonId) {
    // Leaving the site ends proofs of dead.
    let touched = if matches!(event, PhaseEvent::Paused(_)) { Touched::Everything } else { Touched::Nothing };
    gate.record_mut(touched).phases.insert(key, (event, author));
}

fn went(gate: &mut Gate<'_, '_>, key: OrderKey, author: PersonId, is_away: bool) {
    gate.record_mut(Touched::Everything).whereabouts.insert(key, (author, is_away));
}

fn attach_decisions(gate: &mut Gate<'_, '_>, asked: EntryId) {
    let record = gate.record_mut(Touched::Nothing);
    if let (Some(deviation), Some(waiting)) = (record.deviations.get_mut(&asked), record.decisions_waiting.get(&asked))
    {
        deviation.decisions = waiting.clone();
        attach_voice(gate);
    }
}

/// Answers by voice are weighed anew whenever one of their parts comes in, since parts come in any order.
fn attach_voice(gate: &mut Gate<'_, '_>) {
    if gate.record().voice_said.is_empty() {
        return;
    }
    let record = gate.record_mut(Touched::Everything);
    let mut by_voice = record.allowed_by_voice();
    for (asked, deviation) in &mut record.deviations {
        deviation.decisions = record.decisions_waiting.get(asked).cloned().unwrap_or_default();
        deviation.decisions.extend(by_voice.remove(asked).unwrap_or_default());
    }
}

fn attach_resolution(gate: &mut Gate<'_, '_>, stop: EntryId) {
    let record = gate.record_mut(Touched::Nothing);
    let Some(own) = record.stops.get_mut(&stop) else { return };
    own.resolved = record.resolutions_waiting.get(&stop).copied();
    // An answer that stopped the work may be corrected; the stop stays until somebody has looked.
    own.taken_back = record.replaced.get(&stop).copied().filter(|_| own.by_itself);
}
