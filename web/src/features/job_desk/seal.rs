//! The seal of a job: what stands in the way, the seals that were made, and making the next.

use std::sync::Arc;

use domain::ids::{Hash32, JobId, PersonId};
use domain::job_file::Body;
use domain::people::{Action, Ownership, may};
use domain::seal::ready::Obstacle;
use leptos::prelude::*;
use leptos::task::spawn_local;
use serde::Deserialize;

use super::steps::Around;
use super::view_model::Decision;
use crate::adapters::fetch::{Call, use_api};
use crate::features::desk::{DeskJob, DownloadButton, moment};
use crate::features::job::load::AfterSeal;
use crate::features::words::{entry_kind, person};
use crate::i18n::{Words, use_words};
use crate::refusal::Refusal;
use crate::session::use_session;
use crate::ui::{Banner, Button, Look, Sheet, Toasts, Tone};
use crate::{t, tn};

/// Signs of a hash that tell one photo from another.
const HASH_SIGNS: usize = 8;

#[derive(Clone, Debug, Default, PartialEq, Eq, Deserialize)]
struct Standing {
    seals: Vec<Made>,
    obstacles: Vec<Obstacle>,
    later: usize,
    can_seal: bool,
}

#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
struct Made {
    number: u32,
    sealed_us: u64,
    entries: usize,
    key: String,
    by: PersonId,
}

/// The panel. It shows nothing before the review has passed.
#[component]
pub fn SealPanel(
    /// What is around it.
    around: Around,
    /// The job.
    here: Signal<Option<Arc<DeskJob>>>,
) -> impl IntoView {
    let (w, api, session) = (use_words(), use_api(), use_session());
    let job = around.job;
    let passed = Memo::new(move |_| here.with(|here| here.as_ref().is_some_and(|here| here.view.phase.has_passed())));
    let after = Memo::new(move |_| {
        here.with(|here| here.as_ref().map(|here| here.view.after_seal.clone()).unwrap_or_default())
    });
    let standing = RwSignal::new(None::<Standing>);
    let open = RwSignal::new(false);
    let revision = around.store.get().revision();
    let look = move || {
        spawn_local(async move {
            if let Ok(found) = api.get::<Standing>(format!("/api/jobs/{job}/seals")).await {
                let _ = standing.try_set(Some(found));
            }
        });
    };
    Effect::new(move |_| {
        revision.track();
        if passed.get() {
            look();
        }
    });
    let may_seal = move || {
        let roles = session.profile().map(|profile| profile.person.roles).unwrap_or_default();
        may(&roles, Action::SealJob, Ownership::Firm).is_some()
    };
    let panel = move || {
        let found = standing.get().filter(|_| passed.get())?;
        let next = next(w, &found, may_seal(), open);
        let seals = found.seals.iter().rev().map(|made| seal_line(w, job, made, &around)).collect_view();
        let in_the_way = in_the_way(w, &found.obstacles, around);
        Some(view! {
            <section class="card" aria-labelledby="seal-title" data-testid="seal-panel">
                <h2 id="seal-title">{t!(w, "desk.seal.title")}</h2>
                <p class="soft">{t!(w, "desk.seal.explain")}</p>
                {(found.later > 0).then(|| view! { <Banner tone=Tone::Caution><p>{tn!(w, "desk.seal.later", found.later)}</p></Banner> })}
                {late_list(w, &after.get(), &around)}
                {in_the_way}
                {next}
                <ul class="stack">{seals}</ul>
            </section>
        })
    };
    view! {
        {panel}
        <SealSheet open job done=look />
    }
}

fn next(w: Words, found: &Standing, may_seal: bool, open: RwSignal<bool>) -> Option<AnyView> {
    if !found.can_seal {
        return Some(
            view! { <Banner tone=Tone::Caution><p>{t!(w, "problem.seal_key_missing")}</p></Banner> }.into_any(),
        );
    }
    if !found.obstacles.is_empty() || !may_seal {
        return None;
    }
    let label = if found.seals.is_empty() { t!(w, "desk.seal.act") } else { t!(w, "desk.seal.again") };
    Some(view! { <Button label look=Look::Main on_press=move || open.set(true) /> }.into_any())
}

fn seal_line(w: Words, job: JobId, made: &Made, around: &Around) -> AnyView {
    let who = person(w, &around.names.get(), made.by);
    let (number, when) = (made.number, moment(w, made.sealed_us));
    let line = t!(w, "desk.seal.one", number = number, when = when, who = who, entries = made.entries);
    view! {
        <li class="stack">
            <p>{line}</p>
            <p class="soft">{t!(w, "desk.seal.key")}" "<code class="fingerprint" dir="ltr">{made.key.clone()}</code></p>
            <DownloadButton
                label=t!(w, "desk.seal.download", number = number)
                path=format!("/api/jobs/{job}/seals/{number}/pack")
                file=format!("witnessmark-{}-seal-{number}.zip", job.short())
            />
        </li>
    }
    .into_any()
}

/// What arrived after the newest seal, as far as it is on this device.
fn late_list(w: Words, after: &[AfterSeal], around: &Around) -> Option<AnyView> {
    let names = around.names.get();
    let line = |own: &AfterSeal| {
        let what = own.body.as_ref().map_or_else(|| t!(w, "desk.unreadable"), |body| w.say(entry_kind(body)));
        let words = match &own.body {
            Some(Body::Remark(remark)) => Some(view! { <p><q dir="auto">{remark.text.clone()}</q></p> }),
            _ => None,
        };
        view! {
            <li>
                <b>{what}</b>
                {words}
                <p class="soft">{t!(w, "desk.who_when", who = person(w, &names, own.by), when = moment(w, own.at_us))}</p>
            </li>
        }
    };
    (!after.is_empty()).then(|| view! { <ul class="stack">{after.iter().map(line).collect_view()}</ul> }.into_any())
}

/// Everything that stands in the way; that nothing is new is no obstacle that anybody has to clear.
fn in_the_way(w: Words, obstacles: &[Obstacle], around: Around) -> Option<AnyView> {
    let breaches = obstacles.iter().filter(|one| matches!(one, Obstacle::Breach { .. })).count();
    let line = |obstacle: &Obstacle| match obstacle {
        Obstacle::NotPassed => Some(view! { <li>{t!(w, "desk.seal.not_passed")}</li> }.into_any()),
        Obstacle::NeedsNewer => Some(view! { <li>{t!(w, "desk.seal.needs_newer")}</li> }.into_any()),
        Obstacle::Photo { photo, .. } => Some(photo_line(w, *photo, around)),
        Obstacle::Breach { .. } | Obstacle::NothingNew => None,
    };
    let mut lines: Vec<AnyView> = obstacles.iter().filter_map(line).collect();
    if breaches > 0 {
        lines.insert(0, view! { <li>{tn!(w, "desk.against.breaches", breaches)}</li> }.into_any());
    }
    (!lines.is_empty()).then(|| {
        view! {
            <Banner tone=Tone::Stop title=t!(w, "desk.seal.in_the_way")><ul class="stack bullets">{lines}</ul></Banner>
        }
        .into_any()
    })
}

fn photo_line(w: Words, photo: Hash32, around: Around) -> AnyView {
    let hash = photo.hex();
    let about = t!(w, "desk.seal.photo", hash = &hash[..HASH_SIGNS]);
    let asked = about.clone();
    let absent = move || {
        let asked = asked.clone();
        around.site.get().then(|| {
            view! {
                <button type="button" class="act quiet small" on:click=move |_| around.asking.ask(around.store, Decision::PhotoAbsent(photo), asked.clone())>
                    {t!(w, "desk.act.photo_absent")}
                </button>
            }
        })
    };
    view! { <li>{about}" "{absent}</li> }.into_any()
}

/// The second look: a seal cannot be taken back.
#[component]
fn SealSheet(
    /// Shown.
    open: RwSignal<bool>,
    /// The job.
    job: JobId,
    /// Called when there is a new seal.
    done: impl Fn() + Copy + Send + Sync + 'static,
) -> impl IntoView {
    let (w, api) = (use_words(), use_api());
    let toasts = expect_context::<Toasts>();
    let busy = RwSignal::new(false);
    let failed = RwSignal::new(None::<Refusal>);
    Effect::new(move |_| {
        if open.get() {
            failed.set(None);
        }
    });
    let seal = move || {
        busy.set(true);
        failed.set(None);
        spawn_local(async move {
            let ask = serde_json::json!({ "language": w.lang.code() });
            let call = Call::new("POST", format!("/api/jobs/{job}/seal")).json(&ask).patient();
            let answer = api.send(call).await.and_then(|answer| answer.json::<Made>());
            let _ = busy.try_set(false);
            match answer {
                Ok(made) => {
                    let _ = open.try_set(false);
                    toasts.say(t!(w, "desk.seal.done", number = made.number));
                }
                Err(refusal) => {
                    let _ = failed.try_set(Some(refusal));
                }
            }
            done();
        });
    };
    let body = move || {
        view! {
            <p>{t!(w, "desk.seal.ask_explain")}</p>
            <p>{t!(w, "desk.seal.explain")}</p>
            {move || failed.get().map(|refusal| view! { <Banner tone=Tone::Stop><p>{refusal.tell(w)}</p></Banner> })}
        }
        .into_any()
    };
    let acts = move || view! { <Button label=t!(w, "desk.seal.act") look=Look::Main busy on_press=seal /> };
    view! { <Sheet open title=t!(w, "desk.seal.ask") acts=acts>{body}</Sheet> }
}
