//! One dialog for every decision: what it does, the words that go with it, and a second look where it cannot be taken back.

use domain::ids::{EntryId, JobId};
use domain::job_file::Body;
use domain::wire::limits::REMARK_CHARS_MAX;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::view_model::{Decision, confirms};
use crate::features::desk::{Store, save_error, write};
use crate::i18n::{Key, Words, use_words};
use crate::store::SaveError;
use crate::ui::{Area, Banner, Button, Field, FieldKind, Look, Sheet, Toasts, Tone};
use crate::{key, t};

/// Asks for a decision; `Copy`.
#[derive(Clone, Copy)]
pub struct Asking {
    what: RwSignal<Option<Asked>>,
    open: RwSignal<bool>,
}

/// A decision that is being asked about. Its entries' ids are made here, so that a second tap is the same entry.
#[derive(Clone, Debug)]
struct Asked {
    decision: Decision,
    /// What it is about, in words.
    about: String,
    remark: EntryId,
    entry: EntryId,
}

impl Asking {
    /// Nothing is asked yet.
    pub fn new() -> Self {
        Self { what: RwSignal::new(None), open: RwSignal::new(false) }
    }

    /// Opens the dialog.
    pub fn ask(self, store: Store, decision: Decision, about: String) {
        let store = store.get();
        self.what.set(Some(Asked { decision, about, remark: store.new_entry_id(), entry: store.new_entry_id() }));
        self.open.set(true);
    }
}

const fn title(decision: &Decision) -> Key {
    match decision {
        Decision::Deviation { allow: true, .. } => key!("desk.ask.allow"),
        Decision::Deviation { allow: false, .. } => key!("desk.ask.refuse"),
        Decision::Stop(_) => key!("desk.ask.stop"),
        Decision::Breach(_) => key!("desk.ask.breach"),
        Decision::Return(_) => key!("desk.ask.return"),
        Decision::PhotoAbsent(_) => key!("desk.ask.photo_absent"),
        Decision::Pass => key!("desk.ask.pass"),
        Decision::Withdraw => key!("desk.ask.withdraw"),
    }
}

const fn explain(decision: &Decision) -> Key {
    match decision {
        Decision::Deviation { allow: true, .. } => key!("desk.explain.allow"),
        Decision::Deviation { allow: false, .. } => key!("desk.explain.refuse"),
        Decision::Stop(_) => key!("desk.explain.stop"),
        Decision::Breach(_) => key!("desk.explain.breach"),
        Decision::Return(_) => key!("desk.explain.return"),
        Decision::PhotoAbsent(_) => key!("desk.explain.photo_absent"),
        Decision::Pass => key!("desk.explain.pass"),
        Decision::Withdraw => key!("desk.explain.withdraw"),
    }
}

const fn act(decision: &Decision) -> Key {
    match decision {
        Decision::Deviation { allow: true, .. } => key!("desk.act.allow"),
        Decision::Deviation { allow: false, .. } => key!("desk.act.refuse"),
        Decision::Stop(_) => key!("desk.act.resolve"),
        Decision::Breach(_) => key!("desk.act.settle"),
        Decision::Return(_) => key!("desk.act.return"),
        Decision::PhotoAbsent(_) => key!("desk.act.photo_absent"),
        Decision::Pass => key!("desk.act.pass"),
        Decision::Withdraw => key!("desk.act.withdraw"),
    }
}

const fn words_label(decision: &Decision) -> Key {
    match decision {
        Decision::Stop(_) => key!("desk.words.stop"),
        Decision::Breach(_) => key!("desk.words.breach"),
        Decision::Deviation { .. }
        | Decision::Return(_)
        | Decision::PhotoAbsent(_)
        | Decision::Pass
        | Decision::Withdraw => {
            key!("desk.words.reason")
        }
    }
}

/// Why the words do not do yet.
fn words_fault(w: Words, needed: bool, words: &str) -> Option<String> {
    if words.chars().count() > REMARK_CHARS_MAX {
        return Some(t!(w, "desk.words.too_long", most = REMARK_CHARS_MAX));
    }
    (needed && words.trim().is_empty()).then(|| t!(w, "desk.words.needed").to_owned())
}

/// The dialog; stands once on the page.
#[component]
pub fn DecisionSheet(
    /// What is asked.
    asking: Asking,
    /// The store.
    store: Store,
    /// The job.
    job: JobId,
    /// What stands against passing, drawn inside the question about it.
    against: ViewFn,
    /// Passing is possible now.
    #[prop(into)]
    can_pass: Signal<bool>,
    /// Something about the design wants a reason from whoever passes.
    #[prop(into)]
    wants_reason: Signal<bool>,
) -> impl IntoView {
    let w = use_words();
    let toasts = expect_context::<Toasts>();
    let (words, number) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let (tried, busy) = (RwSignal::new(false), RwSignal::new(false));
    let failed = RwSignal::new(None::<SaveError>);
    Effect::new(move |_| {
        if asking.open.get() {
            words.set(String::new());
            number.set(String::new());
            tried.set(false);
            failed.set(None);
        }
    });
    let short = job.short();
    let own_short = StoredValue::new(short.clone());
    let ready = move |asked: &Asked| match asked.decision {
        Decision::Pass => can_pass.get_untracked(),
        Decision::Withdraw => own_short.with_value(|short| confirms(&number.get_untracked(), short)),
        Decision::Deviation { .. }
        | Decision::Stop(_)
        | Decision::Breach(_)
        | Decision::Return(_)
        | Decision::PhotoAbsent(_) => true,
    };
    let needs_words = move |decision: &Decision| {
        decision.needs_words() || (*decision == Decision::Pass && wants_reason.get_untracked())
    };
    let decide = move || {
        let Some(asked) = asking.what.get_untracked() else { return };
        tried.set(true);
        let said = words.get_untracked();
        if words_fault(w, needs_words(&asked.decision), &said).is_some() || !ready(&asked) {
            return;
        }
        let bodies = asked.decision.bodies(&said, asked.remark);
        let entries = bodies.into_iter().map(|body| match &body {
            Body::Remark(_) => (Some(asked.remark), body),
            _ => (Some(asked.entry), body),
        });
        let (store, entries) = (store.get(), entries.collect::<Vec<_>>());
        busy.set(true);
        failed.set(None);
        spawn_local(async move {
            let outcome = write(&store, job, entries).await;
            let _ = busy.try_set(false);
            match outcome {
                Ok(()) => {
                    let _ = asking.open.try_set(false);
                    toasts.say(t!(w, "desk.saved"));
                }
                Err(error) => {
                    let _ = failed.try_set(Some(error));
                }
            }
        });
    };
    let body = move || {
        let Some(asked) = asking.what.get() else { return ().into_any() };
        let decision = asked.decision.clone();
        let fault =
            Signal::derive(move || tried.get().then(|| words_fault(w, needs_words(&decision), &words.get())).flatten());
        let number_fault = Signal::derive(move || {
            let wrong = own_short.with_value(|short| !confirms(&number.get(), short));
            (tried.get() && wrong).then(|| t!(w, "desk.words.number_wrong").to_owned())
        });
        let middle = match &asked.decision {
            Decision::Pass => {
                let against = against.clone();
                let reason = move || {
                    wants_reason.get().then(|| {
                        view! { <Area label=t!(w, "desk.words.design") value=words fault /> }
                    })
                };
                view! { {move || against.run()} {reason} }.into_any()
            }
            Decision::Withdraw => {
                let label = t!(w, "desk.words.number", number = short);
                view! { <Field label kind=FieldKind::Exact value=number fault=number_fault /> }.into_any()
            }
            Decision::Deviation { .. }
            | Decision::Stop(_)
            | Decision::Breach(_)
            | Decision::Return(_)
            | Decision::PhotoAbsent(_) => {
                view! { <Area label=w.say(words_label(&asked.decision)) value=words fault /> }.into_any()
            }
        };
        view! {
            {(!asked.about.is_empty()).then(|| view! { <p><b>{asked.about.clone()}</b></p> })}
            <p>{w.say(explain(&asked.decision))}</p>
            {middle}
            {move || failed.get().map(|error| view! { <Banner tone=Tone::Stop><p>{save_error(w, &error)}</p></Banner> })}
        }
        .into_any()
    };
    let acts = move || {
        asking.what.get().map(move |asked| {
            let danger = matches!(asked.decision, Decision::Withdraw | Decision::Deviation { allow: false, .. });
            let look = if danger { Look::Danger } else { Look::Main };
            let is_pass = asked.decision == Decision::Pass;
            let shut = Signal::derive(move || is_pass && !can_pass.get());
            view! { <Button label=w.say(act(&asked.decision)) look busy disabled=shut on_press=decide /> }
        })
    };
    let heading = move || asking.what.get().map_or("", |asked| w.say(title(&asked.decision)));
    view! { <Sheet open=asking.open title=heading acts=acts>{body.clone()}</Sheet> }
}
