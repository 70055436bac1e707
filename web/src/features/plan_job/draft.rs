//! What a lead has typed so far. All of it is text as typed, so that nothing is lost whatever it is.

use std::collections::{BTreeMap, BTreeSet};

use domain::design::Following;
use domain::electrical::rule_set::RuleSet;
use domain::job_file::body::{ConsentState, CrewRole, SiteDetails};
use domain::job_file::changes::PlanFacts;
use domain::method::Method;
use domain::method::plan::DesignField;
use serde::{Deserialize, Serialize};

use crate::features::desk::shared::kind_word;
use crate::features::job::load::JobView;
use crate::i18n::Words;

/// A plan in the making; kept on this device at every keystroke.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct PlanDraft {
    /// Id of a new job, given when the form opens, so that a plan that was saved cannot be saved as a second job; empty for a job that
    /// is there.
    pub job: String,
    /// Id of a new job's site.
    pub site_id: String,
    /// Site, as typed.
    pub site: SiteText,
    /// `id@version` of the chosen method; empty while none is chosen.
    pub method: String,
    /// Label of the rules of a new job; empty for the neutral ones.
    pub rules: String,
    /// Units by kind, by the kind's word.
    pub units: BTreeMap<String, UnitText>,
    /// Design figures by key.
    pub design: BTreeMap<String, String>,
    /// Keys of figures outside what is plausible that the lead has looked at: ticked by a hand on this form and by nothing else.
    pub design_checked: BTreeSet<String>,
    /// Why it goes to a crew though checks of its design fail.
    pub why: String,
    /// Consent: the state's word; empty while nothing is known.
    pub consent: String,
    /// The operator's reference.
    pub consent_reference: String,
    /// Role by person id; a person who is not here is not on the job.
    pub crew: BTreeMap<String, CrewRole>,
    /// `YYYY-MM-DD` or empty.
    pub day: String,
    /// `HH:MM` or empty.
    pub start: String,
    /// What the job said when the form was opened, or when the form last took over what others changed; empty for a new job.
    pub opened: PlanFacts,
}

/// The site as typed.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct SiteText {
    /// Name of the householder.
    pub householder: String,
    /// Street and house.
    pub street: String,
    /// Town with postcode.
    pub town: String,
    /// Telephone.
    pub phone: String,
    /// E-mail.
    pub email: String,
    /// Connection point.
    pub grid_point: String,
    /// How to get in.
    pub access: String,
    /// IANA time zone.
    pub zone: String,
}

/// Units of one kind.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct UnitText {
    /// Model id; empty while none is chosen.
    pub model: String,
    /// How many, as typed.
    pub count: String,
}

impl SiteText {
    /// Blanks at the ends mean nothing.
    pub fn details(&self) -> SiteDetails {
        let trimmed = |text: &String| text.trim().to_owned();
        SiteDetails {
            householder: trimmed(&self.householder),
            street: trimmed(&self.street),
            town: trimmed(&self.town),
            phone: trimmed(&self.phone),
            email: trimmed(&self.email),
            grid_point: trimmed(&self.grid_point),
            access: trimmed(&self.access),
            zone: trimmed(&self.zone),
        }
    }

    fn of(details: &SiteDetails) -> Self {
        let details = details.clone();
        Self {
            householder: details.householder,
            street: details.street,
            town: details.town,
            phone: details.phone,
            email: details.email,
            grid_point: details.grid_point,
            access: details.access,
            zone: details.zone,
        }
    }
}

impl PlanDraft {
    /// The plan of a job that is there, to be changed. What only follows from other figures stays out: it follows again.
    pub fn of(view: &JobView, (rules, asked): (Option<&RuleSet>, &[DesignField]), w: Words) -> Self {
        let mut draft = Self { site: SiteText::of(&view.site), ..Self::default() };
        if let Some((id, version)) = &view.method {
            draft.method = method_value(id, *version);
        }
        if let Some(equipment) = &view.equipment {
            for slot in &equipment.slots {
                let Some(model) = equipment.models.get(usize::from(slot.model)) else { continue };
                let unit = draft.units.entry(kind_word(model.kind).to_owned()).or_default();
                unit.model = model.model.to_string();
                let before: u16 = unit.count.parse().unwrap_or(0);
                unit.count = (before + 1).to_string();
            }
        }
        let equipment = view.equipment.as_ref();
        let following = rules.map(|rules| Following { equipment, rules, asked });
        let figures = following.map_or_else(|| view.design.clone(), |following| following.entered(&view.design));
        draft.design = figures.iter().map(|(key, micro)| (key.clone(), w.number_short(*micro))).collect();
        if let Some(consent) = &view.consent {
            consent_word(consent.state).clone_into(&mut draft.consent);
            draft.consent_reference.clone_from(&consent.reference);
        }
        draft.crew = view.crew.iter().map(|assigned| (assigned.person.to_string(), assigned.role)).collect();
        if let Some(schedule) = &view.schedule {
            draft.day.clone_from(&schedule.day);
            draft.start.clone_from(&schedule.start);
        }
        draft
    }

    /// Fills in what the method proposes where nothing was typed.
    pub fn propose(&mut self, method: &Method, w: Words) {
        for field in &method.design {
            if let Some(proposal) = field.proposal {
                self.design.entry(field.key.clone()).or_insert_with(|| w.number_short(proposal.0));
            }
        }
        for plan in &method.units {
            let unit = self.units.entry(kind_word(plan.unit).to_owned()).or_default();
            if unit.count.is_empty() && plan.least == plan.most {
                unit.count = plan.least.to_string();
            }
        }
    }
}

/// The value of a method in a list of choices.
pub fn method_value(id: &str, version: u32) -> String {
    format!("{id}@{version}")
}

/// The other way round.
pub fn method_of_value(value: &str) -> Option<(&str, u32)> {
    let (id, version) = value.rsplit_once('@')?;
    Some((id, version.parse().ok()?))
}

/// The word of a state of consent.
pub const fn consent_word(state: ConsentState) -> &'static str {
    match state {
        ConsentState::Waiting => "waiting",
        ConsentState::Granted => "granted",
        ConsentState::NotNeeded => "not_needed",
        ConsentState::Refused => "refused",
    }
}

/// Every state of consent.
pub const CONSENTS: [ConsentState; 4] =
    [ConsentState::Waiting, ConsentState::Granted, ConsentState::NotNeeded, ConsentState::Refused];

/// The state of a word.
pub fn consent_of_word(word: &str) -> Option<ConsentState> {
    CONSENTS.into_iter().find(|state| consent_word(*state) == word)
}
