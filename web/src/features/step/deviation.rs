//! A departure from a requirement: asked for with a reason and a photo, decided by the lead, never offered where only evidence opens.

use domain::bounds::words_left;
use domain::job_file::Body;
use domain::job_file::body::{DeviationAsked, Place, Remark};
use domain::method::gate::Answer;
use leptos::prelude::*;

use super::ctx::Ctx;
use super::telephone::TelephonePart;
use crate::adapters::camera::ChosenFile;
use crate::device::{Fault, Saving};
use crate::features::crew::moment;
use crate::features::crew::photo::{Chooser, OpenCamera, PhotoAct, close_camera};
use crate::features::crew::typed::{words_fault, words_room};
use crate::features::job::load::DeviationView;
use crate::features::words;
use crate::ports::camera::TakenPhoto;
use crate::store::Ask;
use crate::t;
use crate::ui::{Area, Banner, Button, Look, Tone};

/// The departure of a requirement and the form that asks for one.
#[component]
pub fn DeviationPart(
    /// Where.
    ctx: Ctx,
    /// Nothing but its evidence opens this step.
    stop_work: bool,
    /// Something may be recorded here now.
    #[prop(into)]
    can_record: Signal<bool>,
) -> impl IntoView {
    let w = ctx.w;
    let open = RwSignal::new(false);
    let deviation = Memo::new(move |_| ctx.card.get().and_then(|card| card.deviation));
    let wants = Memo::new(move |_| {
        ctx.card.get().is_some_and(|card| match card.answer {
            Answer::Missing { .. } | Answer::Failed { .. } | Answer::NotDetermined { .. } => true,
            Answer::Met { .. }
            | Answer::DeviationAsked { .. }
            | Answer::DeviationAllowed { .. }
            | Answer::NotApplicable => false,
        })
    });
    let undecided = Memo::new(move |_| {
        let waits = deviation.get().filter(|own| own.decision.is_none() && can_record.get() && !stop_work)?;
        let stands = ctx.card.get().is_some_and(|card| matches!(card.answer, Answer::DeviationAsked { .. }));
        stands.then_some(waits.asked)
    });
    let form = move || {
        if !wants.get() || !can_record.get() {
            return ().into_any();
        }
        if stop_work {
            return view! { <p class="soft">{t!(w, "step.deviation.never")}</p> }.into_any();
        }
        if open.get() {
            return view! { <DeviationForm ctx open /> }.into_any();
        }
        view! { <Button label=t!(w, "step.deviation.offer") look=Look::Quiet on_press=move || open.set(true) /> }
            .into_any()
    };
    view! {
        {move || deviation.get().map(|deviation| standing(ctx, &deviation))}
        {move || undecided.get().map(|asked| view! { <TelephonePart ctx asked /> })}
        {form}
    }
    .into_any()
}

fn standing(ctx: Ctx, deviation: &DeviationView) -> AnyView {
    let w = ctx.w;
    let people = ctx.device.people();
    let by = words::person(w, &people, deviation.by);
    let asked =
        t!(w, "step.deviation.asked_by", name = by, when = moment(w, deviation.at_us), reason = deviation.reason);
    let (tone, title, more) = match &deviation.decision {
        None => (Tone::Wait, t!(w, "step.deviation.waits"), None),
        Some((true, lead, said)) => (Tone::Good, t!(w, "step.deviation.allowed"), Some((*lead, said.clone()))),
        Some((false, lead, said)) => (Tone::Stop, t!(w, "step.deviation.refused"), Some((*lead, said.clone()))),
    };
    let said = more.map(|(by, said)| {
        if let Some(shown) = &deviation.by_voice {
            return words::by_voice(w, &people, by, shown, |us| moment(w, us));
        }
        let name = words::person(w, &people, by);
        match said.filter(|said| !said.is_empty()) {
            Some(said) => t!(w, "step.deviation.lead_said", name = name, words = said),
            None => t!(w, "step.deviation.lead_decided", name = name),
        }
    });
    view! {
        <Banner tone title=title>
            <p>{asked}</p>
            {said.map(|said| view! { <p>{said}</p> })}
        </Banner>
    }
    .into_any()
}

#[component]
fn DeviationForm(ctx: Ctx, open: RwSignal<bool>) -> impl IntoView {
    let w = ctx.w;
    let reason = RwSignal::new(String::new());
    let typed = Memo::new(move |_| reason.get());
    let kept = ctx.keep_typed("deviation", typed, move |typed: String| reason.set(typed));
    let ids = StoredValue::new(ctx.device.new_entry_id().zip(ctx.device.new_entry_id()));
    let ask = move |(file, opened_ms): (ChosenFile, u64)| {
        let (Some((asked, remark)), text) = (ids.get_value(), reason.get_untracked().trim().to_owned()) else { return };
        if text.is_empty() {
            return;
        }
        let at = ctx.place();
        let forget = kept.forgetting();
        let done = move || {
            reason.try_set(String::new());
            forget();
            ids.set_value(ctx.device.new_entry_id().zip(ctx.device.new_entry_id()));
            open.try_set(false);
        };
        ctx.device.run(ctx.saving, t!(w, "step.deviation.title"), done, async move {
            let store = ctx.device.store_now().ok_or(Fault::NotOpen)?;
            // A photo of a departure is no evidence of the place: it must not be offered there after a kill.
            let words = format!("deviation/{}", OpenCamera::place_words(&at));
            let entries = |taken: &TakenPhoto| {
                let words = Body::Remark(Remark { at: Some(at.clone()), text });
                vec![(remark, words).into(), (asked, asked_body(at, remark, taken)).into()]
            };
            store.photograph(ctx.job, &words, file, opened_ms, Ask::Nothing, entries).await?;
            close_camera(ctx.device);
            Ok(())
        });
    };
    let act = PhotoAct {
        label: Signal::stored(t!(w, "step.deviation.photo").to_owned()),
        remember: StoredValue::new(OpenCamera {
            requirement: format!("deviation-{}", ctx.place().requirement),
            ..OpenCamera::at(ctx.job, &ctx.place(), 0)
        }),
        device: ctx.device,
        chosen: UnsyncCallback::new(ask),
    };
    let lacks = move || reason.with(|reason| reason.trim().is_empty());
    let too_long = move || reason.with(|reason| words_left(reason) < 0);
    let busy = Signal::derive(move || lacks() || too_long() || ctx.saving.get() == Saving::Busy);
    view! {
        <div class="card sunk">
            <h3>{t!(w, "step.deviation.title")}</h3>
            <p>{t!(w, "step.deviation.explain")}</p>
            <Area label=t!(w, "step.deviation.reason") value=reason fault=words_fault(w, reason) room=words_room(w, reason) />
            {move || lacks().then(|| view! { <p class="soft">{t!(w, "step.deviation.lacks")}</p> })}
            <Chooser act busy />
            <Button label=t!(w, "ui.cancel") look=Look::Quiet on_press=move || open.set(false) />
        </div>
    }
    .into_any()
}

fn asked_body(at: Place, remark: domain::ids::EntryId, taken: &TakenPhoto) -> Body {
    Body::DeviationAsked(DeviationAsked {
        at,
        remark,
        photo: taken.original.file.clone(),
        preview: taken.preview.as_ref().map(|preview| preview.file.clone()),
    })
}
