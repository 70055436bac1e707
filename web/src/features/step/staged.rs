//! Photos that are on this device and are not evidence yet: the phone ended the page in between, or they are blurred, dark or like
//! another one and a person decides. They lie in the store, so that the question comes back after a kill.

use domain::evidence::warning::Warning;
use domain::job_file::Body;
use domain::job_file::body::Photo as PhotoBody;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::ctx::Ctx;
use super::photo::{asked_of, photo_body, what_of};
use crate::adapters::{browser, photo};
use crate::device::{Fault, Saving};
use crate::features::crew::photo::{OpenCamera, close_camera, open_camera};
use crate::features::words;
use crate::ports::camera::TakenPhoto;
use crate::store::{Ask, JobStore, PhotographError, Staged};
use crate::t;
use crate::ui::{Banner, Button, Look, Tone};

/// Those of one place.
#[derive(Clone, Copy, Default)]
pub struct StagedHere(RwSignal<Vec<Staged>>);

impl StagedHere {
    /// A person is asked about one of them. Tracked.
    pub fn is_doubtful(self) -> bool {
        self.0.with(|all| all.iter().any(|photo| !photo.warnings.is_empty()))
    }

    /// A new photo was taken, and is doubtful itself or not: those that were go.
    pub async fn put_in_place_of_doubtful(self, store: &JobStore, new: Option<Staged>) {
        let hash = new.as_ref().map(|new| new.hash);
        // A page that is gone leaves them in the store, where they are asked about again.
        let old = self.0.try_update(|all| {
            let (old, mut stay): (Vec<_>, Vec<_>) = all.drain(..).partition(|photo| !photo.warnings.is_empty());
            stay.retain(|photo| Some(photo.hash) != hash);
            stay.extend(new);
            *all = stay;
            old
        });
        for photo in old.unwrap_or_default() {
            if Some(photo.hash) != hash {
                // Bytes that stay behind are offered once more, never lost.
                let _ = store.discard_staged(photo.hash).await;
            }
        }
    }

    fn put(self, photo: Staged) {
        self.0.try_update(|all| match all.iter_mut().find(|own| own.hash == photo.hash) {
            Some(own) => *own = photo,
            None => all.push(photo),
        });
    }

    fn forget(self, photo: &Staged) {
        self.0.try_update(|all| all.retain(|own| own.hash != photo.hash));
    }
}

/// What the phone interrupted and what a person should look at: a camera that was open here, or a photo without an entry.
#[component]
pub fn Again(ctx: Ctx, staged: StagedHere) -> impl IntoView {
    let w = ctx.w;
    let open = RwSignal::new(false);
    spawn_local(async move {
        let (place, words) = (ctx.place(), OpenCamera::place_words(&ctx.place()));
        let Some(store) = ctx.device.store_now() else { return };
        let mut found = store.staged_photos().await.unwrap_or_default();
        found.retain(|photo| photo.job == ctx.job && photo.place == words);
        let camera = open_camera(ctx.device, store.clock().now_ms()).await;
        let here = camera.is_some_and(|camera| {
            camera == OpenCamera { opened_ms: camera.opened_ms, ..OpenCamera::at(ctx.job, &place, 0) }
        });
        let _ = open.try_set(here && found.is_empty());
        found.into_iter().for_each(|photo| staged.put(photo));
    });
    let camera = move || {
        open.get().then(|| {
            let dismiss = move || {
                open.set(false);
                close_camera(ctx.device);
            };
            view! {
                <Banner tone=Tone::Caution title=t!(w, "step.photo.again", label = label(ctx))>
                    <p>{t!(w, "step.photo.again_why")}</p>
                    <Button label=t!(w, "ui.close") look=Look::Quiet on_press=dismiss />
                </Banner>
            }
        })
    };
    let found = move || {
        let one = |photo: Staged| match photo.warnings.is_empty() {
            true => view! { <Interrupted ctx staged photo /> }.into_any(),
            false => view! { <Doubtful ctx staged photo /> }.into_any(),
        };
        staged.0.get().into_iter().map(one).collect_view()
    };
    view! { {camera} {found} }.into_any()
}

fn label(ctx: Ctx) -> String {
    ctx.card.get().map_or_else(String::new, |card| card.label)
}

/// The page ended before the photo was recorded.
#[component]
fn Interrupted(ctx: Ctx, staged: StagedHere, photo: Staged) -> impl IntoView {
    let w = ctx.w;
    let (kept, dropped) = (photo.clone(), photo);
    let keep = move || finish(ctx, staged, kept.clone(), asked_of(ctx));
    let drop = move || {
        let hash = dropped.hash;
        staged.forget(&dropped);
        close_camera(ctx.device);
        spawn_local(async move {
            if let Some(store) = ctx.device.store_now() {
                // Bytes that stay behind are offered once more, never lost.
                let _ = store.discard_staged(hash).await;
            }
        });
    };
    view! {
        <Banner tone=Tone::Caution title=t!(w, "step.photo.staged", label = label(ctx))>
            <p>{t!(w, "step.photo.staged_why")}</p>
            <Button label=t!(w, "step.photo.staged_keep") on_press=keep />
            <Button label=t!(w, "step.photo.staged_drop") look=Look::Quiet on_press=drop />
        </Banner>
    }
    .into_any()
}

/// Something about the photo should be looked at. Taking it again is the main action of the page, so it is not repeated here.
#[component]
fn Doubtful(ctx: Ctx, staged: StagedHere, photo: Staged) -> impl IntoView {
    let w = ctx.w;
    let kept = photo.clone();
    let keep = move || finish(ctx, staged, kept.clone(), Ask::Nothing);
    let busy = Signal::derive(move || ctx.saving.get() == Saving::Busy);
    // Why it was not recorded must not stand below the edge of a small screen.
    let id = format!("doubt-{}", photo.hash);
    let seen = id.clone();
    request_animation_frame(move || browser::bring_into_sight(&seen));
    let told = photo.warnings.iter().map(|warning| view! { <p>{said(ctx, warning)}</p> }).collect_view();
    view! {
        <div class="question" id=id>
            <Banner tone=Tone::Caution title=t!(w, "step.photo.doubt.look", label = label(ctx))>
                {told}
                <Picture ctx photo />
                <p class="soft">{t!(w, "step.photo.doubt.marked")}</p>
                <Button label=t!(w, "step.photo.doubt.keep") disabled=busy on_press=keep />
            </Banner>
        </div>
    }
    .into_any()
}

fn said(ctx: Ctx, warning: &Warning) -> String {
    let w = ctx.w;
    match warning {
        Warning::Blurred => t!(w, "step.photo.doubt.blurred").to_owned(),
        Warning::Dark => t!(w, "step.photo.doubt.dark").to_owned(),
        Warning::TooBright => t!(w, "step.photo.doubt.too_bright").to_owned(),
        Warning::NotShown => t!(w, "step.photo.doubt.not_shown").to_owned(),
        Warning::Cut => t!(w, "step.photo.doubt.cut").to_owned(),
        Warning::LooksLike(at) => {
            let step = ctx.now(|view| words::place(w, view, at)).unwrap_or_else(|| at.step.clone());
            t!(w, "step.photo.doubt.looks_like", step = step)
        }
    }
}

/// The photo itself: nobody should have to decide about a picture from memory. Drawn from the browser's own memory.
#[component]
fn Picture(ctx: Ctx, photo: Staged) -> impl IntoView {
    let address = RwSignal::new(None::<String>);
    spawn_local(async move {
        let Some(store) = ctx.device.store_now() else { return };
        let Ok(Some(bytes)) = store.photo_bytes(photo.hash).await else { return };
        let Some(made) = photo::address_of(&bytes, photo.media()) else { return };
        if let Some(unseen) = address.try_set(Some(made)).flatten() {
            photo::let_go(&unseen);
        }
    });
    on_cleanup(move || {
        if let Some(shown) = address.try_get_untracked().flatten() {
            photo::let_go(&shown);
        }
    });
    let picture = move |address: String| view! { <div class="thumb"><div class="photo large"><img src=address alt=label(ctx) /></div></div> };
    (move || address.get().map(picture)).into_any()
}

/// A staged photo becomes evidence, unless what it is asked makes a person look at it first.
fn finish(ctx: Ctx, staged: StagedHere, photo: Staged, ask: Ask) {
    let Some(id) = ctx.id() else { return };
    let (place, corrects) = (ctx.place(), ctx.correcting.get_untracked());
    let kept_anyway = ask == Ask::Nothing;
    ctx.device.run(ctx.saving, what_of(ctx), move || ctx.written(), async move {
        let store = ctx.device.store_now().ok_or(Fault::NotOpen)?;
        let entries = |taken: &TakenPhoto| {
            let body = PhotoBody { corrects, kept_anyway, ..photo_body(place, taken) };
            vec![(id, Body::Photo(body)).into()]
        };
        match store.photograph_staged(photo.clone(), ask, entries).await {
            Ok(_) => staged.forget(&photo),
            Err(PhotographError::Doubtful(photo)) => {
                staged.put(*photo);
                return Err(Fault::Doubtful);
            }
            Err(error) => return Err(error.into()),
        }
        close_camera(ctx.device);
        Ok(())
    });
}
