//! A serial number: scanned, or typed twice.

use leptos::prelude::*;

use super::ctx::Ctx;
use super::scan::Scan;
use super::view_model::{SerialDraft, serial_body, serial_preview};
use crate::t;
use crate::ui::{Banner, CheckRow, Field, FieldKind, Tone};

/// Records a serial.
#[component]
pub fn SerialPart(
    /// Where.
    ctx: Ctx,
) -> impl IntoView {
    let w = ctx.w;
    let (raw, again) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let (scanned, confirmed) = (RwSignal::new(String::new()), RwSignal::new(false));
    let draft = Memo::new(move |_| {
        let raw = raw.get();
        // Text that was changed after the scan was typed.
        let from_scan = !raw.is_empty() && raw == scanned.get();
        SerialDraft { scanned: from_scan, again: again.get(), confirmed: confirmed.get(), raw }
    });
    let kept = ctx.keep_typed("serial", draft, move |draft: SerialDraft| {
        if draft.scanned {
            scanned.set(draft.raw.clone());
        }
        raw.set(draft.raw);
        again.set(draft.again);
        confirmed.set(draft.confirmed);
    });
    let slot = ctx.place().slot;
    let preview = move |draft: &SerialDraft| {
        ctx.job(|job| {
            let model = job.units.iter().find(|unit| unit.slot == slot).map(|unit| &unit.model);
            serial_preview(w, job, slot, model, draft)
        })
        .unwrap_or_default()
    };
    let seen = Memo::new(move |_| preview(&draft.get()));
    let tell = move |raw: String| preview(&SerialDraft { raw, scanned: true, ..SerialDraft::default() });
    let taken = move |text: String| {
        scanned.set(text.clone());
        raw.set(text);
    };
    let save = move || {
        let draft = draft.get_untracked();
        let corrects = ctx.correcting.get_untracked();
        let (Some(id), Some(body)) = (ctx.id(), serial_body(&ctx.place(), &draft, corrects)) else { return };
        let forget = kept.forgetting();
        ctx.write(vec![(id, body).into()], move || {
            for text in [raw, again, scanned] {
                text.try_set(String::new());
            }
            confirmed.try_set(false);
            forget();
        });
    };
    ctx.act.press(t!(w, "step.serial.action"), move || !seen.with(|seen| seen.ready), save);
    let fault = Signal::derive(move || seen.with(|seen| seen.fault.clone()));
    let differs =
        Signal::derive(move || seen.with(|seen| seen.differs).then(|| t!(w, "step.serial.differs").to_owned()));
    let model = ctx.now(|job| {
        job.units
            .iter()
            .find(|unit| unit.slot == slot)
            .map(|unit| t!(w, "step.serial.of_model", maker = unit.model.maker, model = unit.model.name))
    });
    view! {
        <p class="soft">{model.flatten()}</p>
        <Scan tell taken />
        <Field label=t!(w, "step.serial.first") kind=FieldKind::Exact value=raw fault />
        {move || seen.with(|seen| seen.may_confirm).then(|| {
            view! { <CheckRow label=t!(w, "step.serial.it_is") checked=confirmed /> }
        })}
        {move || seen.with(|seen| seen.wants_again).then(|| {
            view! { <Field label=t!(w, "step.serial.again") hint=t!(w, "step.serial.again_hint") kind=FieldKind::Exact value=again fault=differs /> }
        })}
        {move || seen.with(|seen| seen.warning.clone()).map(|words| view! { <Banner tone=Tone::Caution><p>{words}</p></Banner> })}
    }
    .into_any()
}
