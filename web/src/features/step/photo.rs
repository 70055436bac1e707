//! Photos of one subject: taken, looked at, taken back.

use domain::job_file::Body;
use domain::job_file::body::{Photo as PhotoBody, Place, Retraction};
use domain::method::gate::Answer;
use domain::method::plan::PhotoNeed;
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::ctx::Ctx;
use super::staged::{Again, StagedHere};
use crate::adapters::camera::ChosenFile;
use crate::device::Fault;
use crate::features::crew::bottom::Act;
use crate::features::crew::photo::{Chooser, OpenCamera, PhotoAct, close_camera};
use crate::features::desk::{Photo, Store};
use crate::features::job::load::{EvidenceItem, EvidenceStanding, JobView};
use crate::i18n::Words;
use crate::ports::camera::TakenPhoto;
use crate::store::{Ask, Other, PhotographError};
use crate::t;
use crate::ui::{Button, Chip, Look, Sheet, Tone};

/// Takes photos.
#[component]
pub fn PhotoPart(
    /// Where.
    ctx: Ctx,
    /// What.
    need: PhotoNeed,
) -> impl IntoView {
    let w = ctx.w;
    let staged = StagedHere::default();
    let take = move |(file, opened_ms): (ChosenFile, u64)| keep(ctx, staged, file, opened_ms);
    let doubtful = Memo::new(move |_| staged.is_doubtful());
    let nth = Memo::new(move |_| match ctx.card.get()?.answer {
        Answer::Missing { have, want } if want > 1 => Some((have + 1, want)),
        _ => None,
    });
    let label = Signal::derive(move || match (doubtful.get(), nth.get()) {
        (true, _) => t!(w, "step.photo.doubt.again").to_owned(),
        (false, Some((n, all))) => t!(w, "step.photo.take_nth", n = n, all = all),
        (false, None) => t!(w, "step.photo.take").to_owned(),
    });
    spawn_local(async move {
        if let (Ask::For { others, .. }, Some(store)) = (asked_of(ctx), ctx.device.store_now()) {
            store.learn_likenesses(others).await;
        }
    });
    let act = PhotoAct {
        label,
        remember: StoredValue::new(OpenCamera::at(ctx.job, &ctx.place(), 0)),
        device: ctx.device,
        chosen: UnsyncCallback::new(take),
    };
    ctx.act.put(Act::Photo(act));
    let busy = Signal::derive(move || ctx.saving.get() == crate::device::Saving::Busy);
    let shows = need.shows.in_language(w.lang.code()).to_owned();
    let held =
        need.held.as_ref().map(|held| view! { <p class="soft">{held.in_language(w.lang.code()).to_owned()}</p> });
    view! {
        <p><b>{t!(w, "step.photo.shows")}</b>" "{shows}</p>
        {held}
        <Again ctx staged />
        <Chooser act busy gallery=true />
    }
    .into_any()
}

/// So many photos are compared with a new one: each is unpacked once a page, and a phone has other things to do.
const OTHERS_MAX: usize = 40;

/// Photos that count at other places of the job: first those of the same subject, which are mixed up most easily, then the latest.
pub(super) fn others(view: &JobView, at: &Place) -> Vec<Other> {
    let elsewhere = view.steps.iter().flat_map(|step| &step.requirements).filter(|card| card.place != *at);
    let counting = elsewhere.flat_map(|card| &card.evidence).filter(|item| item.standing == EvidenceStanding::Counts);
    let mut all: Vec<(bool, u64, Other)> = counting
        .filter_map(|item| {
            let Body::Photo(photo) = &item.body else { return None };
            let is_other_subject = (&photo.at.step, &photo.at.requirement) != (&at.step, &at.requirement);
            let (original, preview) = (photo.original.hash, photo.preview.as_ref()?.hash);
            Some((is_other_subject, item.at_us, Other { at: photo.at.clone(), original, preview }))
        })
        .collect();
    all.sort_by_key(|(is_other_subject, at_us, _)| (*is_other_subject, std::cmp::Reverse(*at_us)));
    all.truncate(OTHERS_MAX);
    all.into_iter().map(|(_, _, other)| other).collect()
}

/// What a photo is measured against here.
pub(super) fn asked_of(ctx: Ctx) -> Ask {
    let at = ctx.place();
    let others = ctx.now(|view| others(view, &at)).unwrap_or_default();
    Ask::For { at, others }
}

fn keep(ctx: Ctx, staged: StagedHere, file: ChosenFile, opened_ms: u64) {
    let Some(id) = ctx.id() else { return };
    let (place, corrects, ask) = (ctx.place(), ctx.correcting.get_untracked(), asked_of(ctx));
    ctx.device.run(ctx.saving, what_of(ctx), move || ctx.written(), async move {
        let store = ctx.device.store_now().ok_or(Fault::NotOpen)?;
        let words = OpenCamera::place_words(&place);
        let entries = |taken: &TakenPhoto| {
            let body = PhotoBody { corrects, ..photo_body(place, taken) };
            vec![(id, Body::Photo(body)).into()]
        };
        let doubtful = match store.photograph(ctx.job, &words, file, opened_ms, ask, entries).await {
            Ok(_) => None,
            Err(PhotographError::Doubtful(photo)) => Some(*photo),
            Err(error) => return Err(error.into()),
        };
        close_camera(ctx.device);
        let kept = doubtful.is_none();
        // The new one is on the disk by now, so the one that it was taken in place of may go.
        staged.put_in_place_of_doubtful(&store, doubtful).await;
        if kept { Ok(()) } else { Err(Fault::Doubtful) }
    });
}

/// "Way out: photo".
pub(super) fn what_of(ctx: Ctx) -> String {
    t!(ctx.w, "device.save.photo_of", what = ctx.what())
}

pub(super) fn photo_body(at: Place, taken: &TakenPhoto) -> PhotoBody {
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
        ctx.device.save(ctx.job, vec![(id, body).into()], ctx.saving, ctx.what(), move || {
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
                    {photo.kept_anyway.then(|| view! { <Chip label=t!(w, "desk.kept_anyway") tone=Tone::Caution /> })}
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
