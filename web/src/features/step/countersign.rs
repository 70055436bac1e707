//! A second person's word for a statement, by their own PIN on this phone.

use std::collections::BTreeMap;

use domain::ids::{Hash32, PersonId, hex};
use domain::job_file::Body;
use domain::job_file::body::{Countersign, CountersignProof};
use domain::method::plan::CountersignNeed;
use domain::people::pin::{SLIPS_MAX, SlipCheck, Typed};
use leptos::prelude::*;
use leptos::task::spawn_local;

use super::confirmation::second_person;
use super::ctx::Ctx;
use crate::adapters::pin_seal;
use crate::t;
use crate::ui::{Banner, Field, FieldKind, Tone};

/// Records a countersignature.
#[component]
pub fn CountersignPart(
    /// Where.
    ctx: Ctx,
    /// What.
    need: CountersignNeed,
) -> impl IntoView {
    let w = ctx.w;
    let (person, pin) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let fault = RwSignal::new(None::<String>);
    let sealing = RwSignal::new(false);
    // Slips by person and PIN; they outlive the page, or leaving it would be another five tries.
    let slips = RwSignal::new(BTreeMap::<String, u8>::new());
    let kept = Memo::new(move |_| slips.get());
    let slips_kept = ctx.keep_typed("slips", kept, move |before| slips.set(before));
    // Held here: the proof names the countersignature and is written before it.
    let proof_id = StoredValue::new(ctx.device.new_entry_id());
    let statement = Hash32::sha256(need.label.in_language(w.lang.code()).as_bytes());

    let check = Memo::new(move |_| check_of(ctx, &person.get()));
    let used = Memo::new(move |_| {
        check.get().map_or(0, |check| slips.with(|slips| slips.get(&name_of(check)).copied().unwrap_or(0)))
    });
    let ready = move || check.get().is_some() && used.get() < SLIPS_MAX && !sealing.get();
    let save = move || {
        let (Some(check), Some(id), Some(proof)) = (check.get_untracked(), ctx.id(), proof_id.get_value()) else {
            return;
        };
        let Ok(who) = person.get_untracked().parse::<PersonId>() else { return };
        match check.look(&pin.get_untracked()) {
            Typed::NotAPin => return fault.set(Some(t!(w, "step.countersign.not_a_pin").to_owned())),
            Typed::Slip => {
                slips.update(|slips| *slips.entry(name_of(check)).or_default() += 1);
                pin.set(String::new());
                let left = SLIPS_MAX.saturating_sub(used.get_untracked());
                return fault.set(Some(t!(w, "step.countersign.slip", n = left)));
            }
            Typed::ToBeConfirmed => {}
        }
        let Some(public) = ctx.device.reference().and_then(|reference| reference.pin_key()) else {
            return fault.set(Some(t!(w, "step.countersign.no_key").to_owned()));
        };
        fault.set(None);
        sealing.set(true);
        let (typed, at, corrects) = (pin.get_untracked(), ctx.place(), ctx.correcting.get_untracked());
        spawn_local(async move {
            let sealed = pin_seal::seal(&public, &typed, id, who).await;
            let _ = sealing.try_set(false);
            let Some(sealed) = sealed else {
                let _ = fault.try_set(Some(t!(w, "step.countersign.not_sealed").to_owned()));
                return;
            };
            let proof_body = CountersignProof { of: id, key: Hash32::sha256(&public), sealed: sealed.into() };
            let countersign = Countersign { at, statement, person: who, proof, corrects };
            let entries =
                vec![(proof, Body::CountersignProof(proof_body)).into(), (id, Body::Countersign(countersign)).into()];
            let forget = slips_kept.forgetting();
            ctx.write(entries, move || {
                pin.try_set(String::new());
                person.try_set(String::new());
                slips.try_set(BTreeMap::new());
                forget();
                proof_id.set_value(ctx.device.new_entry_id());
            });
        });
    };
    let sign = ctx.sign_here(t!(w, "step.countersign.action"), move || !ready(), save);
    Effect::new(move |_| {
        person.track();
        fault.set(None);
        pin.set(String::new());
    });
    let below = move || {
        if person.with(String::is_empty) {
            return ().into_any();
        }
        match (check.get(), used.get() >= SLIPS_MAX) {
            (None, _) => {
                view! { <Banner tone=Tone::Caution><p>{t!(w, "step.countersign.no_pin")}</p></Banner> }.into_any()
            }
            (Some(_), true) => {
                view! { <Banner tone=Tone::Stop><p>{t!(w, "step.countersign.slips_over")}</p></Banner> }.into_any()
            }
            (Some(_), false) => view! {
                <Field label=t!(w, "step.countersign.pin") value=pin kind=FieldKind::Pin fault hint=t!(w, "step.countersign.pin_hint") />
            }
            .into_any(),
        }
    };
    view! {
        <p class="soft">{t!(w, "step.countersign.explain")}</p>
        {need.ticket.map(|kind| view! { <p>{t!(w, "step.countersign.ticket", kind = kind)}</p> })}
        {second_person(ctx, person, t!(w, "step.countersign.who_hint"))}
        {below}
        {sign}
    }
    .into_any()
}

fn check_of(ctx: Ctx, person: &str) -> Option<SlipCheck> {
    let id = person.parse::<PersonId>().ok()?;
    ctx.device.reference()?.person(id)?.pin
}

/// A new PIN has another salt, and with it slips of its own.
fn name_of(check: SlipCheck) -> String {
    hex(&check.salt[..4])
}
