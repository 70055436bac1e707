//! Photos of one subject: taken, looked at, taken back.

use domain::job_file::Body;
use domain::job_file::body::{Photo as PhotoBody, Place, Retraction};
use domain::method::plan::PhotoNeed;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::ctx::Ctx;
use crate::adapters::camera::ChosenFile;
use crate::device::{Device, Fault};
use crate::features::crew::bottom::Act;
use crate::features::crew::photo::{Chooser, OpenCamera, PhotoAct, close_camera, open_camera};
use crate::features::desk::{Photo, Store};
use crate::features::job::load::{EvidenceItem, EvidenceStanding};
use crate::i18n::Words;
use crate::ports::camera::TakenPhoto;
use crate::store::Staged;
use crate::t;
use crate::ui::{Banner, Button, Look, Sheet, Tone};

/// Takes photos.
#[component]
pub fn PhotoPart(
    /// Where.
    ctx: Ctx,
    /// What.
    need: PhotoNeed,
) -> impl IntoView {
    let w = ctx.w;
    let take = move |(file, opened_ms): (ChosenFile, u64)| keep(ctx, file, opened_ms);
    let act = PhotoAct {
        label: StoredValue::new(t!(w, "step.photo.take").to_owned()),
        remember: StoredValue::new(OpenCamera::at(ctx.job, &ctx.place(), 0)),
        device: ctx.device,
        chosen: UnsyncCallback::new(take),
    };
    ctx.act.put(Act::Photo(act));
    let busy = Signal::derive(move || ctx.saving.get() == crate::device::Saving::Busy);
    let shows = need.shows.in_language(w.lang.code()).to_owned();
    view! {
        <p><b>{t!(w, "step.photo.shows")}</b>" "{shows}</p>
        <Again ctx />
        <Chooser act busy gallery=true />
    }
    .into_any()
}

fn keep(ctx: Ctx, file: ChosenFile, opened_ms: u64) {
    let Some(id) = ctx.id() else { return };
    let (place, corrects) = (ctx.place(), ctx.correcting.get_untracked());
    ctx.device.run(ctx.saving, move || ctx.written(), async move {
        let store = ctx.device.store_now().ok_or(Fault::NotOpen)?;
        let words = OpenCamera::place_words(&place);
        let entries = |taken: &TakenPhoto| {
            let body = PhotoBody { corrects, ..photo_body(place, taken) };
            vec![(id, Body::Photo(body)).into()]
        };
        store.photograph(ctx.job, &words, file, opened_ms, entries).await?;
        close_camera(ctx.device);
        Ok(())
    });
}

fn photo_body(at: Place, taken: &TakenPhoto) -> PhotoBody {
    PhotoBody {
        at,
        capture: taken.original.capture,
        original: taken.original.file.clone(),
        preview: taken.preview.as_ref().map(|preview| preview.file.clone()),
        taken_ms: taken.original.taken_ms,
        origin: taken.original.origin,
        corrects: None,
        kept_anyway: false,
    }
}

/// What the phone interrupted: a camera that was open here, or a photo whose entry was never written.
#[component]
fn Again(ctx: Ctx) -> impl IntoView {
    let w = ctx.w;
    let (open, staged) = (RwSignal::new(false), RwSignal::new(Vec::<Staged>::new()));
    spawn_local(async move {
        let (place, words) = (ctx.place(), OpenCamera::place_words(&ctx.place()));
        let found = staged_here(ctx.device, ctx, &words).await;
        let now_ms = ctx.device.store_now().map_or(0, |store| store.clock().now_ms());
        let camera = open_camera(ctx.device, now_ms).await;
        let here = camera.is_some_and(|camera| {
            camera == OpenCamera { opened_ms: camera.opened_ms, ..OpenCamera::at(ctx.job, &place, 0) }
        });
        let _ = open.try_set(here && found.is_empty());
        let _ = staged.try_set(found);
    });
    let forget = move |photo: &Staged| {
        staged.update(|all| all.retain(|own| own.hash != photo.hash));
        close_camera(ctx.device);
    };
    let label = move || ctx.card.get().map_or_else(String::new, |card| card.label);
    let camera = move || {
        open.get().then(|| {
            let dismiss = move || {
                open.set(false);
                close_camera(ctx.device);
            };
            view! {
                <Banner tone=Tone::Caution title=t!(w, "step.photo.again", label = label())>
                    <p>{t!(w, "step.photo.again_why")}</p>
                    <Button label=t!(w, "ui.close") look=Look::Quiet on_press=dismiss />
                </Banner>
            }
        })
    };
    let found = move || {
        staged
            .get()
            .into_iter()
            .map(|photo| {
                let (kept, dropped) = (photo.clone(), photo);
                let keep = move || {
                    finish(ctx, kept.clone());
                    forget(&kept);
                };
                let drop = move || {
                    let hash = dropped.hash;
                    forget(&dropped);
                    spawn_local(async move {
                        if let Some(store) = ctx.device.store_now() {
                            // Bytes that stay behind are offered once more, never lost.
                            let _ = store.discard_staged(hash).await;
                        }
                    });
                };
                view! {
                    <Banner tone=Tone::Caution title=t!(w, "step.photo.staged", label = label())>
                        <p>{t!(w, "step.photo.staged_why")}</p>
                        <Button label=t!(w, "step.photo.staged_keep") on_press=keep />
                        <Button label=t!(w, "step.photo.staged_drop") look=Look::Quiet on_press=drop />
                    </Banner>
                }
            })
            .collect_view()
    };
    view! { {camera} {found} }.into_any()
}

async fn staged_here(device: Device, ctx: Ctx, words: &str) -> Vec<Staged> {
    let Some(store) = device.store_now() else { return Vec::new() };
    let mut found = store.staged_photos().await.unwrap_or_default();
    found.retain(|photo| photo.job == ctx.job && photo.place == words);
    found
}

fn finish(ctx: Ctx, staged: Staged) {
    let Some(id) = ctx.id() else { return };
    let place = ctx.place();
    ctx.device.run(ctx.saving, move || ctx.written(), async move {
        let store = ctx.device.store_now().ok_or(Fault::NotOpen)?;
        let entries = |taken: &TakenPhoto| vec![(id, Body::Photo(photo_body(place, taken))).into()];
        store.photograph_staged(staged, entries).await?;
        Ok(())
    });
}

/// The photos that count, each with a way to take it back; shown also when nothing more is needed.
#[component]
pub fn Thumbnails(
    /// Where.
    ctx: Ctx,
    /// Something may be recorded here now.
    #[prop(into)]
    can_record: Signal<bool>,
) -> impl IntoView {
    let w = ctx.w;
    let asked = RwSignal::new(None);
    let open = RwSignal::new(false);
    let retraction = StoredValue::new(ctx.device.new_entry_id());
    let photos = Memo::new(move |_| {
        let evidence = ctx.card.get().map(|card| card.evidence).unwrap_or_default();
        evidence.into_iter().filter(|item| item.standing == EvidenceStanding::Counts).collect::<Vec<_>>()
    });
    let take_back = move || {
        let (Some(target), Some(id)) = (asked.get_untracked(), retraction.get_value()) else { return };
        let body = Body::Retraction(Retraction { target, remark: None });
        ctx.device.save(ctx.job, vec![(id, body).into()], ctx.saving, move || {
            retraction.set_value(ctx.device.new_entry_id());
            open.set(false);
        });
    };
    let one = move |item: EvidenceItem| {
        let Body::Photo(photo) = item.body else { return ().into_any() };
        let Some(store) = ctx.device.store_now().map(Store::of) else { return ().into_any() };
        let label = ctx.card.get_untracked().map_or_else(String::new, |card| card.label);
        let (id, mine) = (item.id, ctx.device.person() == Some(item.by));
        let remove = move || {
            (mine && can_record.get()).then(|| {
                let press = move || {
                    asked.set(Some(id));
                    open.set(true);
                };
                view! { <Button label=t!(w, "step.photo.remove") look=Look::Quiet on_press=press /> }
            })
        };
        view! {
            <li class="thumb" data-hash=photo.original.hash.hex()>
                <Photo store job=ctx.job original=photo.original.clone() preview=photo.preview.clone() label />
                <div class="stack">
                    <span class="soft">{about(w, &photo)}</span>
                    {remove}
                </div>
            </li>
        }
        .into_any()
    };
    let acts = move || view! { <Button label=t!(w, "step.photo.remove_now") look=Look::Danger on_press=take_back /> };
    view! {
        <ul class="thumbs"><For each=move || photos.get() key=|item| item.id children=one /></ul>
        <Sheet open title=t!(w, "step.photo.remove_ask") acts=acts>
            <p>{t!(w, "step.photo.remove_what")}</p>
        </Sheet>
    }
    .into_any()
}

fn about(w: Words, photo: &PhotoBody) -> String {
    use crate::features::words::photo_origin;
    t!(w, "step.evidence.photo", origin = w.say(photo_origin(photo.origin)), size = w.bytes(photo.original.bytes))
}
