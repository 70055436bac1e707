//! The page: follows the job, keeps the draft at every keystroke, computes anew, saves one entry.

use std::sync::Arc;

use domain::bounds;
use domain::design::{Design, Figures};
use domain::electrical::rule_set::{FirmRules, RuleSet, RulesName};
use domain::ids::JobId;
use domain::job_file::body::{Body, DesignInputs, Remark};
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::asked::{asked_part, following};
use super::built::built_part;
use super::drawings::{single_line_part, stack_part};
use super::editions::editions_banner;
use super::form::{Around, Form, rules_part, sections};
use super::results::{Ground, checks_part, limits_part, missing_part, notices_part, standing, suggestions_part};
use super::state::{DesignState, note_of_fails};
use super::view_model::{SheetDraft, compute, other_version, rules_of_job, values_to_save, with_models};
use super::words::{SECTIONS, section};
use crate::adapters::{browser, performance};
use crate::device::use_device;
use crate::features::bounds::FaultLinks;
use crate::features::crew::typed::{keep_words, words_fault, words_room};
use crate::features::desk::shared::{is_handed_over, rights};
use crate::features::desk::{DeskJob, Store, follow_job, save_error, with_store, write};
use crate::i18n::{Words, use_words};
use crate::key;
use crate::routes::Screen;
use crate::session::use_session;
use crate::store::{JobStore, SaveError};
use crate::ui::{Area, Banner, Button, Caution, Empty, Icon, LinkButton, Look, Page, Sheet, Toasts, Tone, Waiting};
use crate::{t, tn};

/// Under this name a benchmark finds each computation in the browser's timeline.
const MEASURE: &str = "design-recompute";

/// The page.
#[component]
pub fn DesignSheetPage(
    /// Which job.
    job: JobId,
) -> impl IntoView {
    with_store(move |store| view! { <Opening store job /> }.into_any())
}

fn draft_key(job: JobId) -> String {
    format!("design/{job}")
}

type Here = Signal<Option<Arc<DeskJob>>>;

#[component]
fn Opening(store: Store, job: JobId) -> impl IntoView {
    let w = use_words();
    let here: Here = follow_job(&store.get(), job, w).into();
    let known = Memo::new(move |_| here.with(|here| here.as_ref().map(|here| here.known)));
    let draft = RwSignal::new(None::<SheetDraft>);
    let attempt = RwSignal::new(0_u32);
    let opener = store.get();
    spawn_local(async move {
        // Where it cannot be noted the job is still shown as far as it is here.
        let _ = opener.open_job(job, true).await;
    });
    let reader = store.get();
    Effect::new(move |_| {
        attempt.track();
        let reader = reader.clone();
        spawn_local(async move {
            let kept = reader.draft(&draft_key(job)).await.ok().flatten();
            let kept = kept.and_then(|bytes| serde_json::from_slice::<SheetDraft>(&bytes).ok()).unwrap_or_default();
            let _ = draft.try_set(Some(kept));
        });
    });
    let discard = UnsyncCallback::new(move |()| {
        let store = store.get();
        spawn_local(async move {
            // Where it cannot be dropped it comes back: nothing is lost.
            let _ = store.delete_draft(&draft_key(job)).await;
            let _ = draft.try_set(None);
            let _ = attempt.try_update(|attempt| *attempt += 1);
        });
    });
    let device = use_device();
    // Rules that this device does not hold yet come with the reference data; until then nothing is judged.
    let absent = Memo::new(move |_| {
        let named = here.with(|here| here.as_ref().map(|here| rules_of_job(&here.view.design, &here.rule_set)))?;
        named.find(&device.rule_sets()).is_none().then(|| named.label())
    });
    move || match (known.get(), draft.get()) {
        (Some(true), Some(_)) if absent.with(Option::is_some) => {
            let label = absent.get().unwrap_or_default();
            let empty =
                view! { <Empty words=t!(w, "design.rules_absent", label = label) icon=Icon::Wait /> }.into_any();
            around(w, job, empty)
        }
        (Some(true), Some(draft)) => sheet_view(w, store, job, here, draft, discard),
        (Some(false), _) => {
            let empty = view! { <Empty words=t!(w, "desk.not_here") icon=Icon::Wait /> }.into_any();
            around(w, job, empty)
        }
        (None, _) | (Some(true), None) => around(w, job, view! { <Waiting /> }.into_any()),
    }
}

fn around(w: Words, job: JobId, content: AnyView) -> AnyView {
    view! { <Page title=t!(w, "design.title") back=Screen::JobDesk(job) wide=true>{content}</Page> }.into_any()
}

fn sheet_view(
    w: Words,
    store: Store,
    job: JobId,
    here: Here,
    draft: SheetDraft,
    discard: UnsyncCallback<()>,
) -> AnyView {
    let Some(opened) = here.get_untracked() else { return ().into_any() };
    let of_job = rules_of_job(&opened.view.design, &opened.rule_set);
    let device = use_device();
    let own_rules = Memo::new(move |_| device.rule_sets());
    let entered = Memo::new(move |_| {
        here.with(|here| here.as_ref().map(|here| entered_of(here, &own_rules.get())).unwrap_or_default())
    });
    let design = &entered.get_untracked();
    let draft = draft.without_saved(design, of_job, w);
    let is_kept = RwSignal::new(!draft.is_empty());
    let form = Form::of(design, of_job, &draft, w);
    let rules = Memo::new(move |_| chosen_rules(form.rules(), of_job, &own_rules.get()));
    let other = rules.with_untracked(|rules| other_version(design, rules));
    let session = use_session();
    let me = store.get().who().person;
    let shut = Memo::new(move |_| {
        let roles = session.profile().map(|profile| profile.person.roles).unwrap_or_default();
        here.with(|here| here.as_ref().is_none_or(|here| !rights(&here.view, me, &roles).plan))
    });
    let equipment = Memo::new(move |_| here.with(|here| here.as_ref().and_then(|here| here.view.equipment.clone())));
    let models = Memo::new(move |_| equipment.with(|own| with_models(&Design::new(), own.as_ref())));
    let computed = Memo::new(move |_| {
        let design = equipment.with(|own| with_models(&form.design(), own.as_ref()));
        rules.with(|rules| Arc::new(performance::measured(MEASURE, || compute(design, rules))))
    });
    keep_draft(&store.get(), form, job);
    let fields = Around { w, form, rules, models, shut: shut.into() };
    let ground = Ground { around: fields, computed, all_open: RwSignal::new(false) };
    let kept = move || {
        is_kept.get().then(|| {
            view! {
                <Banner title=t!(w, "plan.kept_title")>
                    <p>{t!(w, "plan.kept")}</p>
                    <div><Button label=t!(w, "plan.discard") on_press=discard /></div>
                </Banner>
            }
        })
    };
    let read_only = move || shut.get().then(|| view! { <Banner><p>{t!(w, "design.read_only")}</p></Banner> });
    let print = move || {
        // On paper nobody can open a row or unfold a part.
        ground.all_open.set(true);
        browser::unfold("details.sheet-part");
        browser::print_soon();
    };
    let bottom = bottom(ground, store, job, here, is_kept);
    view! {
        <Page title=title(w, job, here) back=Screen::JobDesk(job) wide=true bottom=bottom>
            <div class="design-sheet stack loose">
                <Caution text=key!("design.caution") />
                {editions_banner(ground, here)}
                {read_only}
                {kept}
                <div class="row no-print">
                    {jumps(w)}
                    <LinkButton label=t!(w, "design.tests") href=Screen::TestSheet(job).href() icon=Icon::List />
                    <Button label=t!(w, "design.print") icon=Icon::Document on_press=print />
                </div>
                {columns(ground, here, entered, rules_part(fields, other, of_job, own_rules.into()))}
                {single_line_part(ground)}
                {stack_part(ground)}
            </div>
        </Page>
    }
    .into_any()
}

/// The job's figures without those that follow from others; those follow again when the sheet is saved.
pub(super) fn entered_of(here: &DeskJob, own: &[FirmRules]) -> Figures {
    let figures = &here.view.design;
    let rules = rules_of_job(figures, &here.rule_set).find(own);
    rules.map_or_else(|| figures.clone(), |rules| following(here, &rules).entered(figures))
}

/// The rules of a choice. One that is not on this device (an old draft names it) falls back to the job's, which is there.
fn chosen_rules(chosen: RulesName, of_job: RulesName, own: &[FirmRules]) -> RuleSet {
    chosen.find(own).or_else(|| of_job.find(own)).unwrap_or_else(|| RuleSet::of(of_job.place))
}

/// What is typed, and beside it what follows.
fn columns(ground: Ground, here: Here, entered: Memo<Figures>, rules: AnyView) -> AnyView {
    view! {
        <div class="two-columns sheet-columns">
            <div class="stack loose">{rules}{sections(ground.around)}</div>
            <div class="stack loose">
                {built_part(ground, here)}
                {checks_part(ground)}
                {missing_part(ground)}
                {suggestions_part(ground)}
                {notices_part(ground)}
                {limits_part(ground)}
                {asked_part(ground, here, entered)}
            </div>
        </div>
    }
    .into_any()
}

fn title(w: Words, job: JobId, here: Here) -> impl Fn() -> String {
    move || {
        let site = here.with(|here| here.as_ref().map(|here| here.view.site.clone()).unwrap_or_default());
        let name = if site.householder.is_empty() { site.town } else { site.householder };
        let of = if name.is_empty() { t!(w, "crew.job_number", number = job.short()) } else { name };
        t!(w, "design.pair", name = t!(w, "design.title"), value = of)
    }
}

/// To the parts of a long page.
fn jumps(w: Words) -> AnyView {
    let mut targets: Vec<(&'static str, &'static str)> = vec![
        ("checks", t!(w, "design.checks")),
        ("suggestions", t!(w, "design.suggest")),
        ("single-line", t!(w, "design.single_line")),
        ("stack", t!(w, "design.stack_drawing")),
        ("rules", t!(w, "design.rules")),
    ];
    for (own, id) in SECTIONS {
        targets.push((id, w.say(section(own))));
    }
    let links: Vec<AnyView> = targets
        .into_iter()
        .map(|(id, name)| {
            view! {
                <a class="to-field" href=format!("#{id}") on:click=move |event| {
                    event.prevent_default();
                    browser::focus(id);
                }>{name}</a>
            }
            .into_any()
        })
        .collect();
    view! { <nav class="fill missing" aria-label=t!(w, "design.jump")>{links}</nav> }.into_any()
}

/// The main action with what belongs to it; nothing for those who only read.
fn bottom(ground: Ground, store: Store, job: JobId, here: Here, is_kept: RwSignal<bool>) -> impl Fn() -> AnyView {
    let (w, form) = (ground.around.w, ground.around.form);
    let (toasts, device) = (expect_context::<Toasts>(), use_device());
    let (busy, failed) = (RwSignal::new(false), RwSignal::new(None::<SaveError>));
    let tried = RwSignal::new(false);
    let faults = Memo::new(move |_| form.faults());
    let asked = asked_why(ground, here);
    let (asking, words) = (RwSignal::new(false), keep_words(device, format!("design-why/{job}"), Some(job)));
    let note = move || asked.with(|fails| note_of_fails(w, fails, &words.text.get()));
    let save = move || {
        tried.set(true);
        let Some(now) = here.get_untracked() else { return };
        if faults.get_untracked() > 0 {
            browser::focus_wrong_soon();
            return;
        }
        let before = entered_of(&now, &device.rule_sets());
        let values = ground.around.rules.with_untracked(|rules| {
            let entered = values_to_save(&before, form.touched().into_iter(), rules);
            following(&now, rules).completed(&entered)
        });
        if values == now.view.design {
            toasts.say(t!(w, "design.unchanged"));
            return;
        }
        let is_asked = !asked.with_untracked(Vec::is_empty);
        if is_asked && !asking.get_untracked() {
            asking.set(true);
            return;
        }
        let design = Body::DesignInputs(DesignInputs { values });
        let entries = match words.ids().filter(|_| is_asked) {
            Some((act, remark)) => {
                let text = untrack(note);
                vec![(Some(remark), Body::Remark(Remark { at: None, text })), (Some(act), design)]
            }
            None => vec![(None, design)],
        };
        let store = store.get();
        busy.set(true);
        failed.set(None);
        spawn_local(async move {
            let outcome = write(&store, job, entries).await;
            let _ = busy.try_set(false);
            match outcome {
                Ok(()) => {
                    if is_asked {
                        words.saved()();
                        let _ = asking.try_set(false);
                    }
                    form.settle();
                    let _ = is_kept.try_set(false);
                    // A draft that stays is recognised: it says what the job says.
                    let _ = store.delete_draft(&draft_key(job)).await;
                    toasts.say(t!(w, "design.saved"));
                }
                Err(error) => {
                    let _ = failed.try_set(Some(error));
                }
            }
        });
    };
    let shut = ground.around.shut;
    move || {
        if shut.get() {
            return standing(ground);
        }
        let problems = move || {
            let count = faults.get();
            (tried.get() && count > 0).then(|| view! { <FaultLinks count /> })
        };
        let told =
            move || failed.get().map(|error| view! { <Banner tone=Tone::Stop><p>{save_error(w, &error)}</p></Banner> });
        let title = move || asked.with(|fails| tn!(w, "desk.against.design_fails", fails.len()));
        let names = move || asked.get().into_iter().map(|name| view! { <li>{name}</li> }).collect_view();
        let acts = move || {
            let unset = Signal::derive(move || !words.is_typed() || bounds::words(&note()).is_err());
            view! { <Button label=t!(w, "design.save") look=Look::Main disabled=unset busy on_press=save /> }
        };
        view! {
            {problems}
            {told}
            <div role="status">{standing(ground)}</div>
            {words.told_when_shut(w, asking)}
            <Button label=t!(w, "design.save") look=Look::Main busy on_press=save />
            <Sheet open=asking title=title acts=acts>
                <ul class="stack bullets">{names}</ul>
                {words.told_when_brought_back(w)}
                <Area label=t!(w, "desk.words.design") value=words.text fault=words_fault(w, words.text) room=words_room(w, words.text) />
            </Sheet>
        }
        .into_any()
    }
}

/// Checks that fail with what stands on the sheet, where a crew has the job and was not told of all of them: then a lead says why it goes
/// ahead. Empty while nobody need be asked.
fn asked_why(ground: Ground, here: Here) -> Memo<Vec<String>> {
    let (w, device) = (ground.around.w, use_device());
    let told = Memo::new(move |_| {
        here.with(|here| {
            let here = here.as_ref().filter(|here| is_handed_over(&here.view.crew, here.view.schedule.is_some()))?;
            Some(DesignState::of(w, here, &device.rule_sets()).fails)
        })
    });
    Memo::new(move |_| {
        let Some(told) = told.get() else { return Vec::new() };
        let fails = ground
            .around
            .rules
            .with(|rules| ground.computed.with(|now| DesignState::of_lines(w, rules, &now.sheet.lines).fails));
        if fails.iter().all(|name| told.contains(name)) { Vec::new() } else { fails }
    })
}

/// Writes the draft at every change, one write at a time; the last one counts.
fn keep_draft(store: &JobStore, form: Form, job: JobId) {
    let store = store.clone();
    let waiting = StoredValue::new_local(None::<Vec<u8>>);
    let busy = StoredValue::new_local(false);
    Effect::new(move |before: Option<SheetDraft>| {
        let draft = form.draft();
        if before.as_ref().is_none_or(|before| *before == draft) {
            // Nothing was typed yet.
            return draft;
        }
        waiting.set_value(serde_json::to_vec(&draft).ok());
        if !busy.get_value() {
            busy.set_value(true);
            let store = store.clone();
            spawn_local(async move {
                while let Some(bytes) = waiting.try_update_value(Option::take).flatten() {
                    // A device that is full says so at the save; the form is still on the screen.
                    let _ = store.put_draft(&draft_key(job), bytes).await;
                }
                let _ = busy.try_set_value(false);
            });
        }
        draft
    });
}
