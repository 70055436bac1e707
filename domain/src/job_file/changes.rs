//! Two people change one plan: what each of them changed, what may be written, and where they changed the same thing.
//!
//! A plan is written in sections, each whole (an address, a crew), and people change facts of it. So a form keeps the facts with which it
//! was opened. When the job has moved on, [`rebase`] compares fact by fact: what only others changed is taken over, what only this person
//! changed stays, and what both changed differently is a clash that a person decides. What is then written is a section in which nothing
//! but this person's changes differs from the newest one.
//!
//! **Known limit.** It compares with what this device holds. Two people who both save before either device has heard of the other (one of
//! them has no network) write whole sections all the same, and the later one in the fold's order counts. Both entries stay in the job
//! file. To merge those too, a section would have to be an entry a fact: another version of those bodies.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::body::{Body, Consent, CrewRole, Equipment, Schedule, SiteDetails, UnitKind};
use super::file::JobFile;
use crate::ids::{EntryId, ModelId, PersonId};

/// One fact of a plan: what somebody changes without meaning anything else.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum PlanField {
    /// Householder's name.
    Householder,
    /// Street and house.
    Street,
    /// Town with postcode.
    Town,
    /// Telephone.
    Phone,
    /// E-mail.
    Email,
    /// Number of the connection point.
    GridPoint,
    /// How to get in.
    Access,
    /// Time zone of the site.
    Zone,
    /// The units of a kind: a count belongs to its model.
    Units(UnitKind),
    /// A design figure by its key.
    Figure(String),
    /// The network operator's word: a reference belongs to its state.
    Consent,
    /// Whether a person is on the job, and as what.
    Crew(PersonId),
    /// Day and hour: an hour belongs to its day.
    Schedule,
}

/// What a fact says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum PlanValue {
    /// Words.
    Words(String),
    /// Units of a model.
    Units {
        /// Which model.
        model: ModelId,
        /// How many.
        count: u16,
    },
    /// Millionths of the unit.
    Figure(i64),
    /// Consent.
    Consent(Consent),
    /// Role on the job.
    Role(CrewRole),
    /// Day and hour.
    Schedule(Schedule),
    /// Typed, and nobody can read it yet: like nothing but itself.
    Unread(String),
}

/// What a plan says, fact by fact; what is not in it is not said.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(from = "Vec<(PlanField, PlanValue)>", into = "Vec<(PlanField, PlanValue)>")]
pub struct PlanFacts(BTreeMap<PlanField, PlanValue>);

impl From<Vec<(PlanField, PlanValue)>> for PlanFacts {
    fn from(all: Vec<(PlanField, PlanValue)>) -> Self {
        Self(all.into_iter().collect())
    }
}

impl From<PlanFacts> for Vec<(PlanField, PlanValue)> {
    fn from(facts: PlanFacts) -> Self {
        facts.0.into_iter().collect()
    }
}

impl PlanFacts {
    /// What a field says.
    pub fn get(&self, field: &PlanField) -> Option<&PlanValue> {
        self.0.get(field)
    }

    /// Says something of a field, or nothing. Empty words say nothing.
    pub fn set(&mut self, field: PlanField, value: Option<PlanValue>) {
        match value {
            Some(PlanValue::Words(words)) if words.is_empty() => drop(self.0.remove(&field)),
            Some(value) => drop(self.0.insert(field, value)),
            None => drop(self.0.remove(&field)),
        }
    }

    /// Says an address.
    pub fn set_site(&mut self, site: &SiteDetails) {
        for (field, words) in [
            (PlanField::Householder, &site.householder),
            (PlanField::Street, &site.street),
            (PlanField::Town, &site.town),
            (PlanField::Phone, &site.phone),
            (PlanField::Email, &site.email),
            (PlanField::GridPoint, &site.grid_point),
            (PlanField::Access, &site.access),
            (PlanField::Zone, &site.zone),
        ] {
            self.set(field, Some(PlanValue::Words(words.clone())));
        }
    }

    /// Takes a section in: it replaces what was said before of the same things.
    fn take(&mut self, body: &Body) {
        match body {
            Body::SiteDetails(site) => self.set_site(site),
            Body::Consent(consent) => self.set(PlanField::Consent, Some(PlanValue::Consent(consent.clone()))),
            Body::Schedule(schedule) => self.set(PlanField::Schedule, Some(PlanValue::Schedule(schedule.clone()))),
            Body::Assignment(assignment) => {
                self.0.retain(|field, _| !matches!(field, PlanField::Crew(_)));
                for assigned in &assignment.crew {
                    self.set(PlanField::Crew(assigned.person), Some(PlanValue::Role(assigned.role)));
                }
            }
            Body::Equipment(equipment) => {
                self.0.retain(|field, _| !matches!(field, PlanField::Units(_)));
                for (kind, model, count) in units(equipment) {
                    self.set(PlanField::Units(kind), Some(PlanValue::Units { model, count }));
                }
            }
            Body::DesignInputs(design) => {
                self.0.retain(|field, _| !matches!(field, PlanField::Figure(_)));
                for (key, micro) in &design.values {
                    self.set(PlanField::Figure(key.clone()), Some(PlanValue::Figure(*micro)));
                }
            }
            _ => {}
        }
    }
}

/// Model and count of each kind; of several models of one kind the last.
fn units(equipment: &Equipment) -> Vec<(UnitKind, ModelId, u16)> {
    let mut counts: BTreeMap<UnitKind, (ModelId, u16)> = BTreeMap::new();
    for slot in &equipment.slots {
        let Some(model) = equipment.models.get(usize::from(slot.model)) else { continue };
        let own = counts.entry(model.kind).or_insert((model.model, 0));
        *own = (model.model, own.1 + 1);
    }
    counts.into_iter().map(|(kind, (model, count))| (kind, model, count)).collect()
}

/// Two people changed the same fact differently.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Clash {
    /// Which.
    pub field: PlanField,
    /// What the job says now.
    pub theirs: Option<PlanValue>,
    /// What the form says.
    pub mine: Option<PlanValue>,
}

/// A form on the newest state of its job.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Rebased {
    /// With what the form counts as opened from now on; where there is a clash, still with what it was.
    pub opened: PlanFacts,
    /// What only others changed: the form takes it.
    pub taken: Vec<(PlanField, Option<PlanValue>)>,
    /// What a person must decide.
    pub clashes: Vec<Clash>,
}

/// Puts a form that was `opened` on one state of the job and now says `mine` onto the `newest` state.
pub fn rebase(opened: &PlanFacts, newest: &PlanFacts, mine: &PlanFacts) -> Rebased {
    let mut out = Rebased { opened: opened.clone(), ..Rebased::default() };
    let fields: BTreeSet<&PlanField> = opened.0.keys().chain(newest.0.keys()).collect();
    for field in fields {
        let (before, now, own) = (opened.get(field), newest.get(field), mine.get(field));
        if now == before {
            continue;
        }
        if own != before && own != now {
            out.clashes.push(Clash { field: field.clone(), theirs: now.cloned(), mine: own.cloned() });
            continue;
        }
        if own == before {
            out.taken.push((field.clone(), now.cloned()));
        }
        out.opened.set(field.clone(), now.cloned());
    }
    out
}

/// By whom each fact got what it says now. `counts`: whether an entry does; a breach says nothing.
pub fn changed_by(file: &JobFile, counts: impl Fn(EntryId) -> bool) -> BTreeMap<PlanField, PersonId> {
    let keys = file.order_keys();
    let mut entries: Vec<_> = file.iter().filter(|held| counts(held.entry.header.id)).collect();
    entries.sort_by_key(|held| keys.get(&held.entry.header.id).copied());
    let mut by = BTreeMap::new();
    let mut facts = PlanFacts::default();
    for held in entries {
        let Some(body) = held.entry.body() else { continue };
        let before = facts.clone();
        facts.take(body);
        let fields: BTreeSet<&PlanField> = before.0.keys().chain(facts.0.keys()).collect();
        for field in fields.into_iter().filter(|field| before.get(field) != facts.get(field)) {
            by.insert(field.clone(), held.entry.header.author);
        }
    }
    by
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::{DeviceId, FirmId, JobId, uuid_v7};
    use crate::job_file::body::{Assigned, Assignment, ConsentState, DesignInputs, ModelSnapshot, Slot};
    use crate::job_file::{ChainHead, Draft, Entry};

    fn words(text: &str) -> Option<PlanValue> {
        Some(PlanValue::Words(text.into()))
    }

    fn site(email: &str, access: &str) -> SiteDetails {
        SiteDetails { street: "Quay 3".into(), email: email.into(), access: access.into(), ..SiteDetails::default() }
    }

    fn facts(site: &SiteDetails) -> PlanFacts {
        let mut facts = PlanFacts::default();
        facts.set_site(site);
        facts
    }

    #[test]
    fn what_others_corrected_stays_when_another_field_is_changed() {
        let opened = facts(&site("old@home.example", "ring"));
        let newest = facts(&site("new@home.example", "ring"));
        let mine = facts(&site("old@home.example", "back door"));
        let rebased = rebase(&opened, &newest, &mine);
        assert_eq!(rebased.clashes, []);
        assert_eq!(rebased.taken, [(PlanField::Email, words("new@home.example"))]);
        // The form now differs from what it counts as opened with in its own change alone.
        assert_eq!(rebased.opened, newest);
    }

    #[test]
    fn the_same_field_changed_differently_is_a_clash_until_somebody_decides() {
        let opened = facts(&site("old@home.example", "ring"));
        let newest = facts(&site("new@home.example", "ring"));
        let mine = facts(&site("mine@home.example", "ring"));
        let rebased = rebase(&opened, &newest, &mine);
        let clash =
            Clash { field: PlanField::Email, theirs: words("new@home.example"), mine: words("mine@home.example") };
        assert_eq!(rebased.clashes, [clash]);
        assert_eq!(rebased.taken, []);
        assert_eq!(rebased.opened, opened);
        // Asked again it clashes again, and not once the newest was seen.
        assert_eq!(rebase(&rebased.opened, &newest, &mine).clashes.len(), 1);
        assert_eq!(rebase(&newest, &newest, &mine), Rebased { opened: newest.clone(), ..Rebased::default() });
        // Somebody changes it once more: that is news.
        let newer = facts(&site("newer@home.example", "ring"));
        assert_eq!(rebase(&newest, &newer, &mine).clashes[0].theirs, words("newer@home.example"));
    }

    #[test]
    fn the_same_correction_by_two_is_no_clash_and_what_is_emptied_is_a_change() {
        let opened = facts(&site("old@home.example", "ring"));
        let newest = facts(&site("new@home.example", ""));
        let same = rebase(&opened, &newest, &newest);
        assert_eq!((same.taken, same.clashes, same.opened), (Vec::new(), Vec::new(), newest.clone()));
        let rebased = rebase(&opened, &newest, &opened);
        assert_eq!(rebased.taken, [(PlanField::Email, words("new@home.example")), (PlanField::Access, None)]);
        let mine = facts(&site("", "ring twice"));
        let clashes = rebase(&opened, &newest, &mine).clashes;
        assert_eq!(
            clashes.iter().map(|own| (own.theirs.clone(), own.mine.clone())).collect::<Vec<_>>(),
            [(words("new@home.example"), None), (None, words("ring twice")),]
        );
    }

    #[test]
    fn what_cannot_be_read_is_never_overwritten() {
        let (mut opened, mut newest, mut mine) = (PlanFacts::default(), PlanFacts::default(), PlanFacts::default());
        let field = PlanField::Figure("window_min".into());
        opened.set(field.clone(), Some(PlanValue::Figure(1)));
        mine.set(field.clone(), Some(PlanValue::Unread("3 x".into())));
        newest.set(field.clone(), Some(PlanValue::Figure(1)));
        assert_eq!(rebase(&opened, &newest, &mine).taken, []);
        newest.set(field, Some(PlanValue::Figure(2)));
        assert_eq!(rebase(&opened, &newest, &mine).clashes.len(), 1);
    }

    #[test]
    fn facts_come_back_from_a_draft() {
        let mut all = facts(&site("a@home.example", ""));
        all.set(PlanField::Crew(person(1)), Some(PlanValue::Role(CrewRole::Lead)));
        all.set(PlanField::Units(UnitKind::Module), Some(PlanValue::Units { model: model(1), count: 3 }));
        let text = serde_json::to_string(&all).expect("facts are JSON");
        assert_eq!(serde_json::from_str::<PlanFacts>(&text).expect("the same facts"), all);
    }

    fn person(number: u8) -> PersonId {
        PersonId::of(uuid_v7(1, &[number; 10]))
    }

    fn model(number: u8) -> ModelId {
        ModelId::of(uuid_v7(2, &[number; 10]))
    }

    /// A file in which people say these things one after the other, each on a device of their own.
    fn file_of(said: Vec<(u8, Body)>) -> JobFile {
        let (mut file, mut heads) = (JobFile::default(), BTreeMap::new());
        for (number, (author, body)) in (1_u8..).zip(said) {
            let head = heads.entry(author).or_insert(ChainHead::START);
            let draft = Draft {
                id: EntryId::of(uuid_v7(u64::from(number), &[number; 10])),
                firm: FirmId::of(uuid_v7(0, &[1; 10])),
                job: JobId::of(uuid_v7(0, &[2; 10])),
                author: person(author),
                device: DeviceId::of(uuid_v7(0, &[author; 10])),
                salt: [0; 16],
                body,
            };
            let entry = Entry::write(draft, *head, 0, u64::from(number), head.hlc);
            *head = entry.as_head();
            file.absorb(entry, None);
        }
        file
    }

    #[test]
    fn who_changed_a_fact_is_who_wrote_its_newest_value() {
        let crew = |people: &[u8]| {
            let worker = |own: &u8| Assigned { person: person(*own), role: CrewRole::Technician, tickets: Vec::new() };
            Body::Assignment(Assignment { crew: people.iter().map(worker).collect() })
        };
        let module = ModelSnapshot {
            model: model(1),
            version: 1,
            kind: UnitKind::Module,
            maker: String::new(),
            name: String::new(),
            gtin: None,
            serial_prefix: String::new(),
            serial_length: (0, 0),
            values: Vec::new(),
        };
        let slot = |number| Slot { number, model: 0, new: true };
        let design = |values: &[(&str, i64)]| {
            Body::DesignInputs(DesignInputs { values: values.iter().map(|(key, own)| ((*key).into(), *own)).collect() })
        };
        let file = file_of(vec![
            (1, Body::SiteDetails(site("old@home.example", "ring"))),
            (1, Body::Consent(Consent { state: ConsentState::Granted, reference: "N-1".into() })),
            (1, Body::Equipment(Equipment { models: vec![module.clone()], slots: vec![slot(1)] })),
            (1, crew(&[7])),
            (1, design(&[("a", 1), ("b", 1)])),
            (2, Body::SiteDetails(site("new@home.example", "ring"))),
            (3, Body::SiteDetails(site("new@home.example", "back door"))),
            (2, Body::Equipment(Equipment { models: vec![module], slots: vec![slot(1), slot(2)] })),
            (3, crew(&[7, 8])),
            (2, design(&[("a", 2), ("b", 1)])),
            (3, Body::Schedule(Schedule { day: "2026-12-01".into(), start: "08:30".into() })),
        ]);
        let by = changed_by(&file, |_| true);
        for (field, author) in [
            (PlanField::Street, 1),
            (PlanField::Email, 2),
            (PlanField::Access, 3),
            (PlanField::Consent, 1),
            (PlanField::Units(UnitKind::Module), 2),
            (PlanField::Crew(person(7)), 1),
            (PlanField::Crew(person(8)), 3),
            (PlanField::Figure("a".into()), 2),
            (PlanField::Figure("b".into()), 1),
            (PlanField::Schedule, 3),
        ] {
            assert_eq!(by.get(&field), Some(&person(author)), "{field:?}");
        }
        // What does not count changes nothing.
        let breach = EntryId::of(uuid_v7(6, &[6; 10]));
        assert_eq!(changed_by(&file, |id| id != breach).get(&PlanField::Email), Some(&person(3)));
    }
}
