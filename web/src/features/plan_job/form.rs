//! The fields of the form as signals, and back to a draft.

use std::collections::BTreeMap;

use domain::ids::{JobId, PersonId};
use domain::job_file::body::{CrewRole, UnitKind};
use domain::job_file::changes::{PlanFacts, PlanField, PlanValue};
use domain::method::Method;
use leptos::prelude::*;

use super::draft::{PlanDraft, SiteText, UnitText, consent_word};
use crate::features::desk::shared::{KINDS, kind_word};
use crate::i18n::Words;

/// A design figure on the form.
#[derive(Clone, Copy)]
pub struct FigureField {
    /// As typed.
    pub text: RwSignal<String>,
    /// Looked at, though it is implausible.
    pub checked: RwSignal<bool>,
}

/// Units of one kind on the form.
#[derive(Clone, Copy)]
pub struct UnitField {
    /// Model id.
    pub model: RwSignal<String>,
    /// As typed.
    pub count: RwSignal<String>,
}

/// The form; `Copy`.
#[derive(Clone, Copy)]
pub struct Form {
    pub(super) householder: RwSignal<String>,
    pub(super) street: RwSignal<String>,
    pub(super) town: RwSignal<String>,
    pub(super) phone: RwSignal<String>,
    pub(super) email: RwSignal<String>,
    pub(super) grid_point: RwSignal<String>,
    pub(super) access: RwSignal<String>,
    pub(super) zone: RwSignal<String>,
    pub(super) method: RwSignal<String>,
    pub(super) rules: RwSignal<String>,
    pub(super) why: RwSignal<String>,
    pub(super) consent: RwSignal<String>,
    pub(super) consent_reference: RwSignal<String>,
    pub(super) day: RwSignal<String>,
    pub(super) start: RwSignal<String>,
    units: [UnitField; KINDS.len()],
    design: RwSignal<BTreeMap<String, FigureField>>,
    crew: RwSignal<BTreeMap<String, RwSignal<String>>>,
    pub(super) opened: RwSignal<PlanFacts>,
    ids: StoredValue<(String, String)>,
}

/// The word of a role on the form; empty where a person is not on the job.
const fn role_word(role: Option<CrewRole>) -> &'static str {
    match role {
        None => "",
        Some(CrewRole::Lead) => "lead",
        Some(CrewRole::Technician) => "technician",
    }
}

impl Form {
    /// A form that shows a draft.
    pub fn of(draft: PlanDraft) -> Self {
        let text = |text: &str| RwSignal::new(text.to_owned());
        let units = KINDS.map(|kind| {
            let unit = draft.units.get(kind_word(kind)).cloned().unwrap_or_default();
            UnitField { model: RwSignal::new(unit.model), count: RwSignal::new(unit.count) }
        });
        let figure = |(key, typed): (&String, &String)| {
            let checked = RwSignal::new(draft.design_checked.contains(key));
            (key.clone(), FigureField { text: text(typed), checked })
        };
        let SiteText { householder, street, town, phone, email, grid_point, access, zone } = &draft.site;
        Self {
            householder: text(householder),
            street: text(street),
            town: text(town),
            phone: text(phone),
            email: text(email),
            grid_point: text(grid_point),
            access: text(access),
            zone: text(zone),
            method: text(&draft.method),
            rules: text(&draft.rules),
            why: text(&draft.why),
            consent: text(&draft.consent),
            consent_reference: text(&draft.consent_reference),
            day: text(&draft.day),
            start: text(&draft.start),
            units,
            design: RwSignal::new(draft.design.iter().map(figure).collect()),
            crew: RwSignal::new(
                draft.crew.iter().map(|(person, role)| (person.clone(), text(role_word(Some(*role))))).collect(),
            ),
            opened: RwSignal::new(draft.opened),
            ids: StoredValue::new((draft.job, draft.site_id)),
        }
    }

    /// What stands in the form. Tracked.
    pub fn draft(self) -> PlanDraft {
        let (job, site_id) = self.ids.get_value();
        let unit = |(kind, field): (&UnitKind, &UnitField)| {
            let (model, count) = (field.model.get(), field.count.get());
            (!model.is_empty() || !count.is_empty()).then(|| (kind_word(*kind).to_owned(), UnitText { model, count }))
        };
        let design = self.design.get();
        let role = |(person, field): (&String, &RwSignal<String>)| {
            let role = match field.get().as_str() {
                "lead" => CrewRole::Lead,
                "technician" => CrewRole::Technician,
                _ => return None,
            };
            Some((person.clone(), role))
        };
        PlanDraft {
            job,
            site_id,
            site: SiteText {
                householder: self.householder.get(),
                street: self.street.get(),
                town: self.town.get(),
                phone: self.phone.get(),
                email: self.email.get(),
                grid_point: self.grid_point.get(),
                access: self.access.get(),
                zone: self.zone.get(),
            },
            method: self.method.get(),
            rules: self.rules.get(),
            units: KINDS.iter().zip(&self.units).filter_map(unit).collect(),
            design: design.iter().map(|(key, field)| (key.clone(), field.text.get())).collect(),
            design_checked: design
                .iter()
                .filter(|(_, field)| field.checked.get())
                .map(|(key, _)| key.clone())
                .collect(),
            why: self.why.get(),
            consent: self.consent.get(),
            consent_reference: self.consent_reference.get(),
            crew: self.crew.get().iter().filter_map(role).collect(),
            day: self.day.get(),
            start: self.start.get(),
            opened: self.opened.get(),
        }
    }

    /// Shows another value of one fact, in all of its fields.
    pub fn show(self, field: &PlanField, value: Option<&PlanValue>, w: Words) {
        let words = || match value {
            Some(PlanValue::Words(words)) => words.clone(),
            _ => String::new(),
        };
        match field {
            PlanField::Householder => self.householder.set(words()),
            PlanField::Street => self.street.set(words()),
            PlanField::Town => self.town.set(words()),
            PlanField::Phone => self.phone.set(words()),
            PlanField::Email => self.email.set(words()),
            PlanField::GridPoint => self.grid_point.set(words()),
            PlanField::Access => self.access.set(words()),
            PlanField::Zone => self.zone.set(words()),
            PlanField::Consent => {
                let (state, reference) = match value {
                    Some(PlanValue::Consent(consent)) => (consent_word(consent.state), consent.reference.clone()),
                    _ => ("", String::new()),
                };
                self.consent.set(state.to_owned());
                self.consent_reference.set(reference);
            }
            PlanField::Schedule => {
                let (day, start) = match value {
                    Some(PlanValue::Schedule(schedule)) => (schedule.day.clone(), schedule.start.clone()),
                    _ => (String::new(), String::new()),
                };
                self.day.set(day);
                self.start.set(start);
            }
            PlanField::Crew(person) => {
                let role = match value {
                    Some(PlanValue::Role(role)) => Some(*role),
                    _ => None,
                };
                self.role(*person).set(role_word(role).to_owned());
            }
            PlanField::Units(kind) => {
                let (model, count) = match value {
                    Some(PlanValue::Units { model, count }) => (model.to_string(), count.to_string()),
                    _ => (String::new(), String::new()),
                };
                let unit = self.unit(*kind);
                unit.model.set(model);
                unit.count.set(count);
            }
            PlanField::Figure(key) => {
                let own = self.figure(key);
                let text = match value {
                    Some(PlanValue::Figure(micro)) => w.number_short(*micro),
                    _ => String::new(),
                };
                own.checked.set(false);
                own.text.set(text);
            }
        }
    }

    /// Ids of a new job.
    pub fn job(self) -> Option<JobId> {
        self.ids.with_value(|(job, _)| job.parse().ok())
    }

    /// The fields of a kind.
    pub fn unit(self, kind: UnitKind) -> UnitField {
        let at = KINDS.iter().position(|own| *own == kind).unwrap_or(0);
        self.units[at]
    }

    /// The field of a design figure; made when it is first asked for. Not tracked: a screen asks while it is being built.
    pub fn figure(self, key: &str) -> FigureField {
        if let Some(field) = self.design.with_untracked(|all| all.get(key).copied()) {
            return field;
        }
        let field = FigureField { text: RwSignal::new(String::new()), checked: RwSignal::new(false) };
        self.design.update(|all| {
            all.insert(key.to_owned(), field);
        });
        field
    }

    /// The role of a person.
    pub fn role(self, person: PersonId) -> RwSignal<String> {
        let person = person.to_string();
        if let Some(field) = self.crew.with_untracked(|all| all.get(&person).copied()) {
            return field;
        }
        let field = RwSignal::new(String::new());
        self.crew.update(|all| {
            all.insert(person, field);
        });
        field
    }

    /// Fills in what a method proposes, where nothing was typed.
    pub fn propose(self, method: &Method, w: Words) {
        let mut draft = untrack(move || self.draft());
        let before = draft.clone();
        // A figure that somebody emptied on purpose is not the same as one that nobody has seen yet.
        draft.propose(method, w);
        for (key, text) in &draft.design {
            if !before.design.contains_key(key) {
                self.figure(key).text.set(text.clone());
            }
        }
        for (kind, field) in KINDS.iter().zip(&self.units) {
            let proposed = draft.units.get(kind_word(*kind)).map(|unit| unit.count.clone()).unwrap_or_default();
            if field.count.with_untracked(String::is_empty) && !proposed.is_empty() {
                field.count.set(proposed);
            }
        }
    }
}
