//! The page: loads what the form leans on, keeps the draft at every keystroke, saves in one write.

use std::sync::Arc;

use domain::electrical::rule_set::{FirmRules, Place, RuleSet, RulesName, newest};
use domain::ids::{JobId, SiteId};
use domain::job_file::body::{CrewRole, MethodRef, ModelSnapshot, Ticket};
use domain::method::Method;
use domain::people::Role;
use leptos::prelude::*;
use leptos::task::spawn_local;
use leptos_router::hooks::use_navigate;

use super::clashes::{Clashes, PANEL};
use super::draft::{PlanDraft, method_of_value, method_value};
use super::form::Form;
use super::meanwhile::{Meanwhile, facts, newest_state, untouched};
use super::sections::{
    ConsentSection, CrewSection, DaySection, DesignSection, EquipmentSection, Ground, Part, SiteSection, Summary,
    WhySection,
};
use super::view_model::{Around, Candidate, bodies_of, live_checks, read};
use crate::adapters::browser;
use crate::adapters::save_file::{is_time_zone, time_zone};
use crate::device::use_device;
use crate::features::bounds::{FaultLinks, date_of};
use crate::features::design_sheet::view_model::{rules_of_job, rules_offered};
use crate::features::desk::shared::rights;
use crate::features::desk::{
    DeskJob, Methods, Store, follow, job_here, method_of, save_error, today, with_store, write,
};
use crate::features::words::{purpose, rules_name};
use crate::i18n::{Words, use_words};
use crate::routes::Screen;
use crate::session::use_session;
use crate::store::{JobStore, Reference, SaveError};
use crate::t;
use crate::ui::{Banner, Button, Choice, Empty, Icon, LinkButton, Look, Page, Select, Tone, Waiting};

/// The page. Without a job it plans a new one.
#[component]
pub fn PlanJobPage(
    /// The job to change.
    #[prop(optional_no_strip)]
    job: Option<JobId>,
) -> impl IntoView {
    with_store(move |store| view! { <Opening store job /> }.into_any())
}

/// Everything that stands before the form is drawn.
#[derive(Clone)]
struct Opened {
    here: Option<Arc<DeskJob>>,
    reference: Arc<Reference>,
    draft: PlanDraft,
    /// The draft is from an earlier time.
    is_kept: bool,
}

fn draft_key(job: Option<JobId>) -> String {
    job.map_or_else(|| "plan/new".to_owned(), |job| format!("plan/{job}"))
}

async fn open(store: &JobStore, job: Option<JobId>, w: Words) -> Option<Opened> {
    let reference = Arc::new(store.reference().await.ok().flatten()?);
    let kept = store.draft(&draft_key(job)).await.ok().flatten();
    let mut kept: Option<PlanDraft> = kept.and_then(|bytes| serde_json::from_slice(&bytes).ok());
    let here = match job {
        Some(job) => Some(Arc::new(job_here(store, job, &Methods::default(), w).await.ok()?)),
        None => None,
    };
    if job.is_none()
        && let Some(planned) = kept.as_ref().and_then(|draft| draft.job.parse::<JobId>().ok())
        && store.load_job(planned).await.is_ok_and(|loaded| !loaded.file.is_empty())
    {
        // It was saved, and the page ended before the draft could go.
        kept = None;
    }
    let is_kept = kept.is_some();
    let draft = kept.unwrap_or_else(|| match &here {
        Some(here) => untouched(here, &reference, w),
        None => new_draft(store, &reference),
    });
    Some(Opened { here, reference, draft, is_kept })
}

fn new_draft(store: &JobStore, reference: &Reference) -> PlanDraft {
    let mut draft = PlanDraft {
        job: store.new_job_id().to_string(),
        site_id: store.new_entry_id().to_string(),
        ..PlanDraft::default()
    };
    draft.site.zone = time_zone();
    let me = store.who().person;
    let leads = reference.person(me).is_some_and(|person| person.roles.contains(&Role::Lead));
    if leads {
        draft.crew.insert(me.to_string(), CrewRole::Lead);
    }
    if let [only] = latest_methods(reference).as_slice() {
        draft.method = method_value(&only.id, only.version);
    }
    // A firm that has rules of its own works by them; where it has several, a person says by which.
    if let [only] = newest(&reference.rule_sets).as_slice() {
        draft.rules = only.named().map(RulesName::label).unwrap_or_default();
    }
    draft
}

/// What can be chosen for a new job; the neutral rules are what holds where nobody chooses.
fn rules_choices(w: Words, own: &[FirmRules]) -> Vec<Choice> {
    let neutral = RulesName::built_in(Place::Neutral);
    let word = |name: RulesName| if name == neutral { String::new() } else { name.label() };
    rules_offered(own, neutral).into_iter().map(|name| Choice::new(word(name), rules_name(w, name))).collect()
}

/// The newest version of each method.
fn latest_methods(reference: &Reference) -> Vec<MethodRef> {
    let mut all = reference.method_refs();
    all.sort_by(|a, b| (&a.id, core::cmp::Reverse(a.version)).cmp(&(&b.id, core::cmp::Reverse(b.version))));
    all.dedup_by(|later, first| later.id == first.id);
    all
}

#[component]
fn Opening(store: Store, job: Option<JobId>) -> impl IntoView {
    let w = use_words();
    let opened = RwSignal::new(None::<Opened>);
    let attempt = RwSignal::new(0_u32);
    // Until reference data has come the page waits for it; afterwards a change of it must not throw away the form.
    let device = use_device();
    let reader = store.get();
    Effect::new(move |_| {
        attempt.track();
        if device.reference().is_none() || opened.with_untracked(Option::is_some) {
            return;
        }
        let reader = reader.clone();
        spawn_local(async move {
            if let Some(found) = open(&reader, job, w).await {
                let _ = opened.try_set(Some(found));
            }
        });
    });
    let back = job.map_or(Screen::CrewPlan, Screen::JobDesk);
    let title = if job.is_some() { t!(w, "plan.change_title") } else { t!(w, "plan.new_title") };
    let discard = move || {
        let store = store.get();
        spawn_local(async move {
            // Where it cannot be dropped it comes back: nothing is lost.
            let _ = store.delete_draft(&draft_key(job)).await;
            let _ = opened.try_set(None);
            let _ = attempt.try_update(|attempt| *attempt += 1);
        });
    };
    move || match opened.get() {
        None => view! {
            <Page title=title back=back.clone() wide=true>
                <p class="soft">{t!(w, "plan.waiting_reference")}</p>
                <Waiting />
            </Page>
        }
        .into_any(),
        Some(found) => view! { <PlanForm store job found discard /> }.into_any(),
    }
}

/// By which rules the job is designed, once they are on this device.
fn rules_chosen(form: Form, here: Option<&DeskJob>) -> Memo<Option<RuleSet>> {
    let device = use_device();
    let of_job = here.map(|here| rules_of_job(&here.view.design, &here.rule_set));
    Memo::new(move |_| {
        let chosen = || RulesName::parse(&form.rules.get()).unwrap_or(RulesName::built_in(Place::Neutral));
        of_job.unwrap_or_else(chosen).find(&device.rule_sets())
    })
}

fn candidates(reference: &Reference) -> Vec<Candidate> {
    let mut people: Vec<Candidate> = reference
        .people
        .iter()
        .filter(|person| person.active)
        .map(|person| Candidate {
            person: person.id,
            name: person.display_name.clone(),
            can_lead: person.roles.contains(&Role::Lead) || person.roles.contains(&Role::Owner),
            can_work: person.roles.contains(&Role::Technician) || person.roles.contains(&Role::Lead),
            tickets: person
                .tickets
                .iter()
                .map(|t| Ticket { kind: t.kind.clone(), expires: t.expires.clone() })
                .collect(),
        })
        .filter(|person| person.can_lead || person.can_work)
        .collect();
    people.sort_by_key(|person| (person.can_lead, person.name.to_lowercase()));
    people
}

fn models_of(reference: &Reference, here: Option<&DeskJob>) -> Vec<ModelSnapshot> {
    let pinned =
        here.and_then(|here| here.view.equipment.clone()).map(|equipment| equipment.models).unwrap_or_default();
    let listed = reference.models.iter().filter(|model| !model.retired).map(crate::store::Model::snapshot);
    pinned.into_iter().chain(listed).collect()
}

#[component]
fn PlanForm(
    store: Store,
    job: Option<JobId>,
    found: Opened,
    #[prop(into)] discard: UnsyncCallback<()>,
) -> impl IntoView {
    let (w, session) = (use_words(), use_session());
    let navigate = use_navigate();
    let Opened { here, reference, draft, is_kept } = found;
    let roles = session.profile_now().map(|profile| profile.person.roles).unwrap_or_default();
    let me = store.get().who().person;
    let own = here.as_ref().map(|here| rights(&here.view, me, &roles));
    let allowed = own.is_none_or(|own| own.plan || own.site);
    let site_only = own.is_some_and(|own| !own.plan);
    let site = draft.site_id.parse::<SiteId>().unwrap_or_else(|_| SiteId::of(store.get().new_entry_id().uuid()));
    let form = Form::of(draft);
    let tried = RwSignal::new(false);
    let people = candidates(&reference);
    let models = models_of(&reference, here.as_deref());
    let method = chosen_method(&store.get(), form, here.clone(), &reference, w);
    let meanwhile = Meanwhile::of(form, here.clone(), w);
    if let Some(job) = job {
        follow_newest(&store.get(), job, (form, meanwhile), Arc::clone(&reference), w);
    }

    let around = StoredValue::new((people.clone(), models.clone()));
    let rules = rules_chosen(form, here.as_deref());
    let now = today();
    let reading = Memo::new(move |_| {
        let draft = form.draft();
        let method = method.get();
        let rules = rules.get();
        let here = meanwhile.here.get();
        around.with_value(|(people, models)| {
            let around = Around {
                method: method.as_ref().map(|(method, reference)| (&**method, reference)),
                models,
                rules: rules.as_ref(),
                people,
                before: here.as_ref().map(|here| &here.view),
                slots_ever: here.as_ref().map_or(0, |here| here.slots_ever),
                site,
                is_zone: is_time_zone,
                today: date_of(now),
            };
            let mut reading = read(&draft, around, w);
            if site_only {
                reading.keep_site();
            }
            reading
        })
    });
    let checks = Memo::new(move |_| {
        let Some((method, reference)) = method.get() else { return Vec::new() };
        let mut bodies =
            meanwhile.here.with(|here| here.as_ref().map(|here| bodies_of(&here.view)).unwrap_or_default());
        reading.with(|reading| bodies.extend(reading.bodies.iter().cloned()));
        live_checks(&method, &reference, &bodies, w)
    });
    keep_draft(&store.get(), form, job, here.as_ref().and_then(|here| here.method.clone()), w);
    let ground = Ground { form, reading, tried, left: RwSignal::default() };

    let (busy, failed) = (RwSignal::new(false), RwSignal::new(None::<SaveError>));
    let of_save = Arc::clone(&reference);
    let save = move || {
        tried.set(true);
        if reading.with_untracked(|reading| !reading.faults.is_empty()) {
            browser::focus_wrong_soon();
            return;
        }
        let Some(target) = job.or_else(|| form.job()) else { return };
        let (store, navigate, reference) = (store.get(), navigate.clone(), Arc::clone(&of_save));
        busy.set(true);
        failed.set(None);
        spawn_local(async move {
            if let Some(job) = job
                && let Some(newest) = newest_state(&store, job, &Methods::default(), w).await
                && busy.try_get_untracked().is_some()
            {
                meanwhile.move_on(form, newest, &reference, w);
            }
            // Where the page is gone by now, what was typed is a draft.
            let Some(clashes) = meanwhile.clashes.try_get_untracked() else { return };
            let Some(reading) = reading.try_get_untracked() else { return };
            if !clashes.is_empty() || !reading.faults.is_empty() {
                busy.set(false);
                if clashes.is_empty() {
                    browser::focus_wrong_soon();
                } else {
                    browser::focus(PANEL);
                }
                return;
            }
            let bodies = reading.bodies.into_iter().map(|body| (None, body)).collect::<Vec<_>>();
            let outcome = if bodies.is_empty() { Ok(()) } else { write(&store, target, bodies).await };
            let _ = busy.try_set(false);
            match outcome {
                Ok(()) => {
                    // A draft that stays is recognised by its job's id.
                    let _ = store.delete_draft(&draft_key(job)).await;
                    navigate(&Screen::JobDesk(target).href(), Default::default());
                }
                Err(error) => {
                    let _ = failed.try_set(Some(error));
                }
            }
        });
    };
    let back = job.map_or(Screen::CrewPlan, Screen::JobDesk);
    if !allowed {
        return view! {
            <Page title=t!(w, "plan.change_title") back=back.clone()>
                <Empty words=t!(w, "desk.not_lead_here") icon=Icon::Lock>
                    <LinkButton label=t!(w, "ui.back") href=back.href() />
                </Empty>
            </Page>
        }
        .into_any();
    }
    let is_new = job.is_none();
    let of_clashes = models.clone();
    let with_method = {
        let models = models.clone();
        move || {
            method.get().filter(|_| !site_only).map(|(method, _)| {
                view! {
                    <EquipmentSection ground method=Arc::clone(&method) models=models.clone() />
                    <DesignSection ground method />
                }
            })
        }
    };
    let problems = move || {
        let count = reading.with(|reading| reading.faults.len());
        (tried.get() && count > 0).then(|| view! { <FaultLinks count /> })
    };
    let undecided = move || {
        let count = meanwhile.clashes.with(Vec::len);
        (count > 0).then(|| view! { <Banner tone=Tone::Caution><p>{crate::tn!(w, "plan.clashes", count)}</p></Banner> })
    };
    let bottom = move || {
        let label = if is_new { t!(w, "plan.save_new") } else { t!(w, "plan.save_changes") };
        let save = save.clone();
        view! {
            {problems}
            {undecided}
            {move || failed.get().map(|error| view! { <Banner tone=Tone::Stop><p>{save_error(w, &error)}</p></Banner> })}
            <Button label look=Look::Main busy on_press=save />
        }
    };
    let title = if is_new { t!(w, "plan.new_title") } else { t!(w, "plan.change_title") };
    view! {
        <Page title back wide=true bottom=bottom>
            {is_kept.then(|| view! {
                <Banner title=t!(w, "plan.kept_title")>
                    <p>{t!(w, "plan.kept")}</p>
                    <div><Button label=t!(w, "plan.discard") on_press=move || discard.run(()) /></div>
                </Banner>
            })}
            <Clashes form meanwhile reference=Arc::clone(&reference) models=of_clashes />
            {job.map(|job| view! {
                <div class="row">
                    <p class="fill">{t!(w, "design.of_plan")}</p>
                    <LinkButton label=t!(w, "design.open") href=Screen::DesignSheet(job).href() icon=Icon::List />
                </div>
            })}
            <div class="two-columns plan">
                <div class="stack loose">
                    <SiteSection ground />
                    {(!site_only).then(|| view! { <MethodSection ground reference=Arc::clone(&reference) method is_new /> })}
                    {with_method}
                    <ConsentSection ground />
                    {(!site_only).then(|| view! {
                        <CrewSection ground people today=today() />
                        <DaySection ground />
                        <WhySection ground />
                    })}
                </div>
                <Summary ground checks />
            </div>
        </Page>
    }
    .into_any()
}

/// Puts the form onto each newer state of the job as soon as this device has it.
fn follow_newest(
    store: &JobStore,
    job: JobId,
    (form, meanwhile): (Form, Meanwhile),
    reference: Arc<Reference>,
    w: Words,
) {
    let into = RwSignal::new(None);
    let (reader, methods) = (store.clone(), Methods::default());
    follow(store.revision(), into, move || {
        let (store, methods) = (reader.clone(), Methods::clone(&methods));
        async move { newest_state(&store, job, &methods, w).await }
    });
    Effect::new(move |_| {
        if let Some(newest) = into.get() {
            meanwhile.move_on(form, newest, &reference, w);
        }
    });
}

type Chosen = RwSignal<Option<(Arc<Method>, MethodRef)>>;

/// Follows the choice: reads the method from the store and fills in what it proposes.
fn chosen_method(store: &JobStore, form: Form, here: Option<Arc<DeskJob>>, reference: &Reference, w: Words) -> Chosen {
    let chosen = RwSignal::new(None);
    let refs = reference.method_refs();
    let (store, methods) = (store.clone(), Methods::default());
    let revision = store.revision();
    Effect::new(move |_| {
        // A method may still be on its way when it is chosen.
        revision.track();
        let value = form.method.get();
        if let Some(here) = &here {
            if let (Some(method), Some(reference)) = (&here.method, &here.method_ref)
                && chosen.with_untracked(Option::is_none)
            {
                chosen.set(Some((Arc::clone(method), reference.clone())));
            }
            return;
        }
        let Some((id, version)) = method_of_value(&value) else {
            chosen.set(None);
            return;
        };
        if chosen.with_untracked(|own| own.as_ref().is_some_and(|(_, own)| own.id == id && own.version == version)) {
            return;
        }
        let Some(wanted) = refs.iter().find(|own| own.id == id && own.version == version).cloned() else { return };
        let (store, methods) = (store.clone(), methods.clone());
        spawn_local(async move {
            let found = method_of(&store, &wanted, &methods).await.ok().flatten();
            if let Some(method) = &found {
                form.propose(method, w);
            }
            let _ = chosen.try_set(found.map(|method| (method, wanted)));
        });
    });
    chosen
}

/// Writes the draft at every change, one write at a time; the last one counts. What only follows the job is no draft.
fn keep_draft(store: &JobStore, form: Form, job: Option<JobId>, method: Option<Arc<Method>>, w: Words) {
    let store = store.clone();
    let waiting = StoredValue::new_local(None::<Option<Vec<u8>>>);
    let busy = StoredValue::new_local(false);
    Effect::new(move |before: Option<PlanDraft>| {
        let draft = form.draft();
        if before.as_ref().is_none_or(|before| *before == draft) {
            // Nothing was typed yet.
            return draft;
        }
        let is_own = job.is_none() || facts(&draft, method.as_deref(), w) != draft.opened;
        waiting.set_value(if is_own { serde_json::to_vec(&draft).ok().map(Some) } else { Some(None) });
        if !busy.get_value() {
            busy.set_value(true);
            let store = store.clone();
            spawn_local(async move {
                while let Some(bytes) = waiting.try_update_value(Option::take).flatten() {
                    // A device that is full says so at the save; the form is still on the screen.
                    let _ = match bytes {
                        Some(bytes) => store.put_draft(&draft_key(job), bytes).await,
                        None => store.delete_draft(&draft_key(job)).await,
                    };
                }
                let _ = busy.try_set_value(false);
            });
        }
        draft
    });
}

/// By which plan of work, and so what for.
#[component]
fn MethodSection(ground: Ground, reference: Arc<Reference>, method: Chosen, is_new: bool) -> impl IntoView {
    let w = use_words();
    let form = ground.form;
    let lines = latest_methods(&reference);
    let mut choices = vec![Choice::new("", t!(w, "plan.choose"))];
    for own in &lines {
        let title = reference.methods.iter().find(|line| line.id == own.id && line.version == own.version);
        let title = title.map_or(own.id.as_str(), |line| line.title(w.lang.code()));
        choices.push(Choice::new(
            method_value(&own.id, own.version),
            t!(w, "plan.method_version", title = title, version = own.version),
        ));
    }
    let none = lines.is_empty();
    let device = use_device();
    // A version that comes while the form is open can be chosen at once.
    let rules = Memo::new(move |_| device.rule_sets());
    let rules = Signal::derive(move || rules.with(|own| rules_choices(w, own)));
    let choices = StoredValue::new(choices);
    let fault = Signal::derive(move || {
        let fault = ground.reading.with(|reading| reading.faults.get(&super::view_model::FieldId::Method).cloned())?;
        ground.tried.get().then(|| super::words::fault(w, &fault, None))
    });
    let told = move || match method.get() {
        Some((method, _)) => {
            let about = method.about.in_language(w.lang.code()).to_owned();
            let title = method.title.in_language(w.lang.code()).to_owned();
            view! {
                {(!is_new).then(|| view! { <p><b>{title}</b></p> })}
                <p>{t!(w, "plan.purpose", purpose = w.say(purpose(method.purpose)))}</p>
                <p class="soft">{about}</p>
            }
            .into_any()
        }
        None if form.method.with(String::is_empty) => ().into_any(),
        None => view! { <p class="soft">{t!(w, "plan.method_not_here")}</p> }.into_any(),
    };
    view! {
        <Part id="method" title=t!(w, "plan.method")>
            {is_new.then(|| view! {
                <Select label=t!(w, "plan.method_field") value=form.method choices=Signal::derive(move || choices.get_value()) fault />
            })}
            {is_new.then(|| view! {
                <Select label=t!(w, "plan.rules_field") hint=t!(w, "plan.rules_hint") value=form.rules choices=rules />
            })}
            {(!is_new).then(|| view! { <p class="soft">{t!(w, "plan.method_pinned")}</p> })}
            {none.then(|| view! { <p class="soft">{t!(w, "plan.no_methods")}</p> })}
            {told}
        </Part>
    }
}
