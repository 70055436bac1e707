//! A serial number: scanned where the browser can, else typed twice.

use leptos::prelude::*;
use leptos::task::spawn_local;

use super::ctx::Ctx;
use super::view_model::{SerialDraft, serial_body, serial_preview};
use crate::adapters::barcode::{self, NothingRead};
use crate::t;
use crate::ui::{Banner, Button, CheckRow, Field, FieldKind, Icon, Sheet, Tone};

const VIDEO: &str = "scan-view";

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
    ctx.keep_typed("serial", draft, move |draft: SerialDraft| {
        if draft.scanned {
            scanned.set(draft.raw.clone());
        }
        raw.set(draft.raw);
        again.set(draft.again);
        confirmed.set(draft.confirmed);
    });
    let slot = ctx.place().slot;
    let seen = Memo::new(move |_| {
        let draft = draft.get();
        ctx.job(|job| {
            let model = job.units.iter().find(|unit| unit.slot == slot).map(|unit| &unit.model);
            serial_preview(w, job, slot, model, &draft)
        })
        .unwrap_or_default()
    });
    let save = move || {
        let draft = draft.get_untracked();
        let corrects = ctx.correcting.get_untracked();
        let (Some(id), Some(body)) = (ctx.id(), serial_body(&ctx.place(), &draft, corrects)) else { return };
        ctx.write(vec![(id, body).into()], move || {
            for text in [raw, again, scanned] {
                text.try_set(String::new());
            }
            confirmed.try_set(false);
            ctx.device.keep_draft(ctx.draft_key("serial"), String::new());
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
        {barcode::is_there().then(|| view! { <Scan raw scanned /> })}
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

/// The camera as a scanner.
#[component]
fn Scan(raw: RwSignal<String>, scanned: RwSignal<String>) -> impl IntoView {
    let w = crate::i18n::use_words();
    let open = RwSignal::new(false);
    let trouble = RwSignal::new(None::<NothingRead>);
    let start = move || {
        trouble.set(None);
        open.set(true);
        spawn_local(async move {
            // The dialog draws its picture first.
            gloo_timers::future::TimeoutFuture::new(50).await;
            let read = barcode::read(VIDEO, move || open.try_get_untracked().unwrap_or(false)).await;
            match read {
                Ok(text) => {
                    scanned.try_set(text.clone());
                    raw.try_set(text);
                }
                Err(nothing) if open.try_get_untracked() == Some(true) => {
                    trouble.try_set(Some(nothing));
                }
                Err(_) => {}
            }
            open.try_set(false);
        });
    };
    let told = move || {
        trouble.get().map(|nothing| match nothing {
            NothingRead::NoCamera => t!(w, "step.serial.no_camera"),
            NothingRead::NoCode => t!(w, "step.serial.no_code"),
        })
    };
    view! {
        <Button label=t!(w, "step.serial.scan") icon=Icon::Scan on_press=start />
        {move || told().map(|words| view! { <p class="soft" role="status">{words}</p> })}
        <Sheet open title=t!(w, "step.serial.scan_title")>
            <video id=VIDEO class="scan" playsinline muted></video>
            <p class="soft">{t!(w, "step.serial.scan_hint")}</p>
        </Sheet>
    }
    .into_any()
}
