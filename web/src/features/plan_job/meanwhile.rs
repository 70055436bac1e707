//! While a plan is open others may change the same job: what a draft says fact by fact, and the form put onto the newest state.
//!
//! Which changes stand beside each other and which clash is decided by [`domain::job_file::changes`].

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use domain::ids::{EntryId, JobId, PersonId};
use domain::job_file::body::{Consent, Schedule};
use domain::job_file::changes::{Clash, PlanFacts, PlanField, PlanValue, changed_by, rebase};
use domain::method::Method;
use domain::method::plan::UnitPlan;
use leptos::prelude::*;

use super::draft::{PlanDraft, consent_of_word};
use super::form::Form;
use super::view_model::{figure, hour};
use crate::features::design_sheet::view_model::rules_of_job;
use crate::features::desk::shared::kind_word;
use crate::features::desk::{DeskJob, Methods, job_here};
use crate::i18n::Words;
use crate::i18n::format::Day;
use crate::store::{JobStore, Reference};

/// What a draft says, fact by fact. What cannot be read stands as it was typed.
pub fn facts(draft: &PlanDraft, method: Option<&Method>, w: Words) -> PlanFacts {
    let mut facts = PlanFacts::default();
    facts.set_site(&draft.site.details());
    facts.set(PlanField::Consent, consent(draft));
    facts.set(PlanField::Schedule, schedule(draft));
    for (person, role) in &draft.crew {
        if let Ok(person) = person.parse() {
            facts.set(PlanField::Crew(person), Some(PlanValue::Role(*role)));
        }
    }
    let Some(method) = method else { return facts };
    for plan in &method.units {
        facts.set(PlanField::Units(plan.unit), units(draft, plan));
    }
    for field in &method.design {
        let text = draft.design.get(&field.key).map_or("", String::as_str);
        let value = match figure(field, text, true, w) {
            Ok(micro) => micro.map(PlanValue::Figure),
            Err(_) => Some(PlanValue::Unread(text.to_owned())),
        };
        facts.set(PlanField::Figure(field.key.clone()), value);
    }
    facts
}

fn consent(draft: &PlanDraft) -> Option<PlanValue> {
    let reference = draft.consent_reference.trim().to_owned();
    match consent_of_word(&draft.consent) {
        Some(state) => Some(PlanValue::Consent(Consent { state, reference })),
        None => (!reference.is_empty()).then_some(PlanValue::Unread(reference)),
    }
}

fn schedule(draft: &PlanDraft) -> Option<PlanValue> {
    let (day, start) = (draft.day.trim(), draft.start.trim());
    if day.is_empty() && start.is_empty() {
        return None;
    }
    match (Day::parse(day), hour(start)) {
        (Some(_), Some(start)) => Some(PlanValue::Schedule(Schedule { day: day.to_owned(), start })),
        _ => Some(PlanValue::Unread(format!("{day} {start}").trim().to_owned())),
    }
}

fn units(draft: &PlanDraft, plan: &UnitPlan) -> Option<PlanValue> {
    let typed = draft.units.get(kind_word(plan.unit)).cloned().unwrap_or_default();
    let count = typed.count.trim();
    if typed.model.is_empty() && (count.is_empty() || plan.least == plan.most) {
        return None;
    }
    match (typed.model.parse(), count.parse()) {
        (Ok(model), Ok(count)) => Some(PlanValue::Units { model, count }),
        _ => Some(PlanValue::Unread(format!("{count} {}", typed.model).trim().to_owned())),
    }
}

/// The plan of a job as the form shows it before anybody types.
pub fn untouched(here: &DeskJob, reference: &Reference, w: Words) -> PlanDraft {
    let rules = rules_of_job(&here.view.design, &here.rule_set).find(&reference.rule_sets);
    let asked = here.method.as_ref().map_or(&[][..], |method| &method.design);
    let mut draft = PlanDraft::of(&here.view, (rules.as_ref(), asked), w);
    draft.opened = facts(&draft, here.method.as_deref(), w);
    draft
}

/// The job as this device has it now, and by whom each fact got what it says.
#[derive(Clone, Debug, PartialEq)]
pub struct Newest {
    /// The job.
    pub here: Arc<DeskJob>,
    /// By whom.
    pub by: BTreeMap<PlanField, PersonId>,
}

/// Reads it; `None` where the store does not answer.
pub async fn newest_state(store: &JobStore, job: JobId, methods: &Methods, w: Words) -> Option<Newest> {
    let here = Arc::new(job_here(store, job, methods, w).await.ok()?);
    let file = store.load_job(job).await.ok()?.file;
    let breaches: BTreeSet<EntryId> = here.view.breaches.iter().map(|breach| breach.entry).collect();
    let by = changed_by(&file, |entry| !breaches.contains(&entry));
    Some(Newest { here, by })
}

/// Where the job has moved on since the form was opened; `Copy`.
#[derive(Clone, Copy)]
pub struct Meanwhile {
    /// The job as it is now; absent for a new one.
    pub here: RwSignal<Option<Arc<DeskJob>>>,
    /// By whom each fact got what it says.
    pub by: RwSignal<BTreeMap<PlanField, PersonId>>,
    /// What the job says, fact by fact.
    facts: RwSignal<PlanFacts>,
    /// What others changed and the form took over.
    pub taken: RwSignal<BTreeSet<PlanField>>,
    /// What a person must decide before anything is saved.
    pub clashes: Memo<Vec<Clash>>,
}

impl Meanwhile {
    /// Of a form that was just opened.
    pub fn of(form: Form, here: Option<Arc<DeskJob>>, w: Words) -> Self {
        let method = here.as_ref().and_then(|here| here.method.clone());
        let facts_now = RwSignal::new(form.opened.get_untracked());
        let clashes = Memo::new(move |_| {
            let mine = facts(&form.draft(), method.as_deref(), w);
            form.opened.with(|opened| facts_now.with(|now| rebase(opened, now, &mine).clashes))
        });
        Self {
            here: RwSignal::new(here),
            by: RwSignal::new(BTreeMap::new()),
            facts: facts_now,
            taken: RwSignal::new(BTreeSet::new()),
            clashes,
        }
    }

    /// Puts the form onto the newest state: it takes over what only others changed and keeps whatever this person typed.
    pub fn move_on(self, form: Form, newest: Newest, reference: &Reference, w: Words) {
        let Newest { here, by } = newest;
        let facts_now = untouched(&here, reference, w).opened;
        let mine = facts(&untrack(move || form.draft()), here.method.as_deref(), w);
        let rebased = form.opened.with_untracked(|opened| rebase(opened, &facts_now, &mine));
        for (field, value) in &rebased.taken {
            form.show(field, value.as_ref(), w);
        }
        if !rebased.taken.is_empty() {
            self.taken.update(|all| all.extend(rebased.taken.iter().map(|(field, _)| field.clone())));
        }
        self.by.set(by);
        self.here.set(Some(here));
        self.facts.set(facts_now);
        form.opened.set(rebased.opened);
    }

    /// Somebody has seen both values and chosen one.
    pub fn choose(self, form: Form, clash: &Clash, mine: bool, w: Words) {
        if !mine {
            form.show(&clash.field, clash.theirs.as_ref(), w);
        }
        form.opened.update(|opened| opened.set(clash.field.clone(), clash.theirs.clone()));
    }
}
