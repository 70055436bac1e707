//! What a set of entries says, sorted by what it is about. [`mod@super::fold`] fills it; [`crate::method::gate`] reads it.

use super::body::{
    Assignment, Body, Consent, CrewRole, DesignInputs, DeviationAsked, DeviationByVoice, DoubtCode, Drawing, Equipment,
    Finding, JobPlanned, LeftAs, ModelSnapshot, Place, Schedule, Sealed, SerialRead, SiteDetails, Slot, StopWork,
    UnitKind, VoiceAnswers,
};
use super::file::{Held, OrderKey};
use crate::ids::{EntryId, Hash32, PersonId};
use crate::method::plan::Repeat;
use std::collections::{BTreeMap, BTreeSet};

/// The latest value of something that is replaced as a whole.
#[derive(Clone, Debug)]
pub struct Latest<'a, T> {
    /// Where the entry stands.
    pub key: OrderKey,
    /// What it says.
    pub value: &'a T,
}

/// One piece of evidence, wherever it stands.
#[derive(Clone, Copy, Debug)]
pub struct Evidence<'a> {
    /// Its order.
    pub key: OrderKey,
    /// The entry.
    pub held: &'a Held,
    /// Its body.
    pub body: &'a Body,
}

/// Answers to a departure by their order: allowed or not, by whom, and the remark.
pub type Decisions = BTreeMap<OrderKey, (bool, PersonId, Option<EntryId>)>;

/// A departure and its answer.
#[derive(Clone, Debug)]
pub struct Deviation<'a> {
    /// Where the request stands.
    pub key: OrderKey,
    /// Who asks.
    pub by: PersonId,
    /// The request.
    pub asked: &'a DeviationAsked,
    /// Answers by their order: (key, allowed, who, remark). The latest counts.
    pub decisions: Decisions,
}

impl Deviation<'_> {
    /// `None` while nobody has answered.
    pub fn allowed(&self) -> Option<bool> {
        self.decisions.last_key_value().map(|(_, (allowed, _, _))| *allowed)
    }
}

/// A stop and how it was resolved.
#[derive(Clone, Debug)]
pub struct Stop {
    /// Where it stands.
    pub key: OrderKey,
    /// Who stopped.
    pub by: PersonId,
    /// The stop; where an answer to a choice stopped the work, what that answer says.
    pub stop: StopWork,
    /// An entry said so by itself, not an answer to a choice.
    pub by_itself: bool,
    /// The resolving entry, its author and its remark.
    pub resolved: Option<(EntryId, PersonId, EntryId)>,
    /// Whoever stopped took it back at once, with this entry.
    pub taken_back: Option<EntryId>,
}

impl Stop {
    /// Nobody has resolved it or taken it back.
    pub const fn is_open(&self) -> bool {
        self.resolved.is_none() && self.taken_back.is_none()
    }
}

/// What moves a job from one phase to another.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PhaseEvent {
    /// The crew left.
    Paused(LeftAs),
    /// The crew is back.
    Resumed,
    /// Handed in for review.
    Submitted,
    /// Something must be done again.
    Returned,
    /// Review passed.
    Passed,
    /// The server sealed the file.
    Sealed,
    /// Will not be done.
    Withdrawn,
}

/// The sorted content of a job file.
#[derive(Clone, Debug, Default)]
pub struct Record<'a> {
    /// Opens the file; the first one counts.
    pub plan: Option<(OrderKey, PersonId, &'a JobPlanned)>,
    /// Latest equipment.
    pub equipment: Option<Latest<'a, Equipment>>,
    /// Latest design.
    pub design: Option<Latest<'a, DesignInputs>>,
    /// Latest consent.
    pub consent: Option<Latest<'a, Consent>>,
    /// Latest site details.
    pub site: Option<Latest<'a, SiteDetails>>,
    /// Latest schedule.
    pub schedule: Option<Latest<'a, Schedule>>,
    /// Latest crew.
    pub crew: Option<Latest<'a, Assignment>>,
    /// Evidence by place, each list in fold order. Replaced evidence stays in it.
    pub evidence: BTreeMap<Place, Vec<Evidence<'a>>>,
    /// What was replaced, and by which entry.
    pub replaced: BTreeMap<EntryId, EntryId>,
    /// Words by entry.
    pub remarks: BTreeMap<EntryId, (OrderKey, PersonId, Option<&'a Place>, &'a str)>,
    /// Departures by the id of their request.
    pub deviations: BTreeMap<EntryId, Deviation<'a>>,
    /// Which of them were asked for at a place.
    pub(super) asked_at: BTreeMap<&'a Place, Vec<EntryId>>,
    /// Answers by the request that they name: the request may be taken in after them.
    pub(crate) decisions_waiting: BTreeMap<EntryId, Decisions>,
    /// Resolutions by the stop that they name.
    pub(crate) resolutions_waiting: BTreeMap<EntryId, (EntryId, PersonId, EntryId)>,
    /// Stops by id.
    pub stops: BTreeMap<EntryId, Stop>,
    /// Places to be done again: by place, when and with which remark.
    pub returns: BTreeMap<Place, BTreeMap<OrderKey, EntryId>>,
    /// Records at steps that switch on which were not let through: they count for nothing, and power came all the same.
    pub power_refused: BTreeSet<OrderKey>,
    /// Cautions read: (step, slot, caution), by whom and when first.
    pub cautions_read: BTreeMap<(String, u16, String), (PersonId, OrderKey)>,
    /// Moves between phases.
    pub phases: BTreeMap<OrderKey, (PhaseEvent, PersonId)>,
    /// Who left the others on site (true) or came back to them (false).
    pub whereabouts: BTreeMap<OrderKey, (PersonId, bool)>,
    /// Locks that changed hands: from whom, to whom.
    pub locks_handed: BTreeMap<OrderKey, (PersonId, PersonId)>,
    /// Places in which a photo's bytes stand, in fold order.
    pub photo_places: BTreeMap<Hash32, BTreeMap<OrderKey, Place>>,
    /// Photos that will not come.
    pub photos_absent: BTreeMap<Hash32, EntryId>,
    /// Entries of newer apps that shut the gates.
    pub not_understood: BTreeSet<EntryId>,
    /// The server's findings.
    pub findings: BTreeMap<EntryId, &'a Finding>,
    /// What the server doubts about where entries came from.
    pub origin_doubts: BTreeMap<EntryId, BTreeSet<DoubtCode>>,
    /// Breaches that a lead has dealt with, and the remark.
    pub settled: BTreeMap<EntryId, EntryId>,
    /// Sealed PINs: the countersignature that each belongs to; `None` once its body was erased.
    pub proofs: BTreeMap<EntryId, Option<EntryId>>,
    /// What the server said of countersignatures.
    pub pins: BTreeMap<EntryId, bool>,
    /// Drawings; `None` once the body was erased.
    pub drawings: BTreeMap<EntryId, Option<&'a Drawing>>,
    /// Photos whose very bytes stood in another job of the firm before, and the entry there.
    pub copies: BTreeMap<EntryId, EntryId>,
    /// Hashes of answers for departures by voice.
    pub voice_answers: BTreeMap<EntryId, &'a VoiceAnswers>,
    /// Answers that were shown to a lead: (batch, place), when and to whom.
    pub voice_shown: BTreeMap<(EntryId, Place), BTreeMap<OrderKey, PersonId>>,
    /// Departures allowed by voice, whether or not their answers are right.
    pub(crate) voice_said: BTreeMap<OrderKey, (PersonId, &'a DeviationByVoice)>,
    /// The server's seals.
    pub seals: BTreeMap<OrderKey, &'a Sealed>,
    /// Server time by position, of what is in this record.
    pub(crate) stamps: BTreeMap<u64, u64>,
}

/// What is known of a countersignature.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CountersignState {
    /// Counts, until the server has opened the proof.
    ToBeConfirmed,
    /// The server found the right PIN.
    Confirmed,
    /// The server found a wrong one.
    Wrong,
}

impl<'a> Record<'a> {
    /// What the server said of a countersignature.
    pub fn countersign_state(&self, entry: EntryId) -> CountersignState {
        match self.pins.get(&entry) {
            None => CountersignState::ToBeConfirmed,
            Some(true) => CountersignState::Confirmed,
            Some(false) => CountersignState::Wrong,
        }
    }

    /// The serial that counts in a slot, whatever the gate thinks of it.
    pub fn serial_of_slot(&self, slot: u16) -> Option<&'a SerialRead> {
        let places = self.evidence.keys().filter(|place| place.slot == slot);
        places.filter_map(|place| self.counting(place).last().copied()).find_map(|evidence| match evidence.body {
            Body::Serial(read) => Some(read),
            _ => None,
        })
    }

    /// The stack that a unit belongs to, named by the slot of its control unit: a stack's modules are numbered before
    /// its control unit, and units after the last control unit belong to the last stack. `None` without control units.
    pub fn stack_of(&self, slot: u16) -> Option<u16> {
        let stacks = self.slots(Repeat::Stack);
        stacks.iter().copied().find(|stack| *stack >= slot).or_else(|| stacks.last().copied())
    }

    /// Server time at which a position was given, or that of the last one before it that is held here.
    pub(crate) fn stamped_by(&self, position: u64) -> Option<u64> {
        self.stamps.range(..=position).next_back().map(|(_, time_us)| *time_us)
    }

    /// Whether the answer that a lead gave by voice is right and was not used before, by the request that it answers.
    pub(crate) fn allowed_by_voice(&self) -> BTreeMap<EntryId, Decisions> {
        let mut used: BTreeSet<(EntryId, &Place)> = BTreeSet::new();
        let mut allowed: BTreeMap<EntryId, Decisions> = BTreeMap::new();
        for (key, (by, said)) in &self.voice_said {
            let Some(deviation) = self.deviations.get(&said.asked) else { continue };
            let right = self.voice_answers.get(&said.issue).is_some_and(|batch| {
                let hash = crate::people::voice::seal_of(said.proof);
                batch.answers.iter().any(|answer| answer.at == deviation.asked.at && answer.hash == hash)
            });
            if right && used.insert((said.issue, &deviation.asked.at)) {
                allowed.entry(said.asked).or_default().insert(*key, (true, *by, None));
            }
        }
        allowed
    }

    /// Where the decision that counts was given by voice: when its answer was shown and to whom, as far as that is here.
    pub fn by_voice(&self, asked: EntryId) -> Option<Vec<(u64, PersonId)>> {
        let deviation = self.deviations.get(&asked)?;
        let (_, said) = self.voice_said.get(deviation.decisions.last_key_value()?.0)?;
        let shown = self.voice_shown.get(&(said.issue, deviation.asked.at.clone()));
        Some(shown.into_iter().flatten().map(|(key, person)| (key.at, *person)).collect())
    }

    /// Slots of the units that a step is repeated for, ascending.
    pub fn slots(&self, repeat: Repeat) -> Vec<u16> {
        match repeat {
            Repeat::Module => self.new_slots_of(UnitKind::Module),
            Repeat::Stack => self.new_slots_of(UnitKind::ControlUnit),
            Repeat::Unit => self.slots_where(|slot, _| slot.new),
            Repeat::ExistingInverter => {
                self.slots_where(|slot, model| !slot.new && model.is_some_and(|model| model.kind == UnitKind::Inverter))
            }
        }
    }

    /// Slots of new units of a kind, ascending.
    pub fn new_slots_of(&self, kind: UnitKind) -> Vec<u16> {
        self.slots_where(|slot, model| slot.new && model.is_some_and(|model| model.kind == kind))
    }

    fn slots_where(&self, wanted: impl Fn(&Slot, Option<&ModelSnapshot>) -> bool) -> Vec<u16> {
        let Some(equipment) = &self.equipment else { return Vec::new() };
        let models = &equipment.value.models;
        let is_wanted = |slot: &&Slot| wanted(slot, models.get(usize::from(slot.model)));
        let mut slots: Vec<u16> = equipment.value.slots.iter().filter(is_wanted).map(|slot| slot.number).collect();
        slots.sort_unstable();
        slots
    }

    /// The pinned model of the unit in a slot.
    pub fn model_of_slot(&self, slot: u16) -> Option<&'a super::body::ModelSnapshot> {
        let equipment = self.equipment.as_ref()?.value;
        let slot = equipment.slots.iter().find(|s| s.number == slot)?;
        equipment.models.get(usize::from(slot.model))
    }

    /// The pinned model of the first unit of a kind.
    pub fn model_of_kind(&self, kind: UnitKind) -> Option<&'a super::body::ModelSnapshot> {
        self.equipment.as_ref()?.value.models.iter().find(|model| model.kind == kind)
    }

    /// A figure of the design.
    pub fn design_value(&self, key: &str) -> Option<i64> {
        self.design.as_ref()?.value.values.iter().find(|(k, _)| k == key).map(|(_, value)| *value)
    }

    /// The role of a person on this job; the planner counts as a lead.
    pub fn role_of(&self, person: PersonId) -> Option<CrewRole> {
        if self.plan.is_some_and(|(_, planner, _)| planner == person) {
            return Some(CrewRole::Lead);
        }
        let crew = self.crew.as_ref()?;
        crew.value.crew.iter().filter(|assigned| assigned.person == person).map(|assigned| assigned.role).min()
    }

    /// Stops that nobody has resolved.
    pub fn open_stops(&self) -> impl Iterator<Item = EntryId> + '_ {
        self.stops.iter().filter(|(_, stop)| stop.is_open()).map(|(id, _)| *id)
    }

    /// The last move between phases.
    pub fn last_phase(&self) -> Option<PhaseEvent> {
        self.phases.last_key_value().map(|(_, (event, _))| *event)
    }

    /// Whether a person has left the others on site and not come back.
    pub fn is_away(&self, person: PersonId) -> bool {
        self.was_away(person, None)
    }

    fn was_away(&self, person: PersonId, before: Option<OrderKey>) -> bool {
        let then = |at: &OrderKey| before.is_none_or(|before| *at < before);
        let last = self.whereabouts.iter().rev().find(|(at, (who, _))| *who == person && then(at));
        last.is_some_and(|(_, (_, is_away))| *is_away)
    }

    /// Whether somebody of the crew stays when this person leaves, before an entry or now: they have recorded something here, for who never
    /// did may not have come, and have not left themselves.
    pub fn somebody_stays(&self, without: PersonId, before: Option<OrderKey>) -> bool {
        let then = |at: OrderKey| before.is_none_or(|before| at < before);
        let mut others = self.recorders().into_iter().filter(|(who, since)| *who != without && then(*since));
        others.any(|(who, _)| self.role_of(who).is_some() && !self.was_away(who, before))
    }

    /// Who has recorded evidence of this job, and when first.
    fn recorders(&self) -> BTreeMap<PersonId, OrderKey> {
        let mut first = BTreeMap::new();
        for evidence in self.evidence.values().flatten() {
            let at = first.entry(evidence.held.entry.header.author).or_insert(evidence.key);
            *at = evidence.key.min(*at);
        }
        first
    }

    /// Evidence at a place that counts: not replaced and not older than a return of its place or step.
    pub fn counting(&self, place: &Place) -> Vec<Evidence<'a>> {
        self.counting_since(place, None)
    }

    /// The same, and not older than what ended it.
    pub fn counting_since(&self, place: &Place, ended: Option<OrderKey>) -> Vec<Evidence<'a>> {
        let since = self.returned_since(place);
        self.evidence.get(place).map_or_else(Vec::new, |all| {
            all.iter()
                .filter(|evidence| !self.replaced.contains_key(&evidence.key.id))
                .filter(|evidence| since.is_none_or(|since| evidence.key > since))
                .filter(|evidence| ended.is_none_or(|ended| first_said(all, evidence) > ended))
                .copied()
                .collect()
        })
    }

    /// The last return that covers a place.
    pub fn returned_since(&self, place: &Place) -> Option<OrderKey> {
        let whole = Place::of(&place.step, place.slot, "");
        [place, &whole]
            .into_iter()
            .filter_map(|place| self.returns.get(place))
            .filter_map(|returns| returns.last_key_value().map(|(key, _)| *key))
            .max()
    }

    /// The latest departure asked for at a place since it was last returned.
    pub fn deviation_at(&self, place: &Place) -> Option<(EntryId, &Deviation<'a>)> {
        let since = self.returned_since(place);
        let asked = self.asked_at.get(place).into_iter().flatten();
        asked
            .filter_map(|id| self.deviations.get_key_value(id))
            .filter(|(_, deviation)| since.is_none_or(|since| deviation.key > since))
            .max_by_key(|(_, deviation)| deviation.key)
            .map(|(id, deviation)| (*id, deviation))
    }
}

/// The key of what evidence corrects, however often; its own where it corrects nothing: a correction says better what was done before.
fn first_said(all: &[Evidence<'_>], evidence: &Evidence<'_>) -> OrderKey {
    let (mut key, mut corrects) = (evidence.key, evidence.body.corrects());
    // What it corrects came before it; else a chain could lead round in a circle.
    while let Some(before) = corrects.and_then(|id| all.iter().find(|one| one.key.id == id && one.key < key)) {
        (key, corrects) = (before.key, before.body.corrects());
    }
    key
}
