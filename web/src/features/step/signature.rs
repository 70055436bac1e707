//! A signature drawn with a finger, under the words on the screen.

use domain::ids::{Hash32, PersonId};
use domain::job_file::Body;
use domain::job_file::body::{Drawing, Remark, Signature};
use domain::method::plan::{Confirmer, SignatureNeed};
use leptos::ev::PointerEvent;
use leptos::prelude::*;

use super::confirmation::{householder, second_person};
use super::ctx::Ctx;
use crate::adapters::pointer;
use crate::features::crew::typed::Kept;
use crate::i18n::Words;
use crate::store::NewEntry;
use crate::t;
use crate::ui::{Button, Look};

/// The field, in its own points: wide enough for a name, the same on each screen.
const SIZE: (u16, u16) = (640, 240);
/// Points that a drawing keeps at most: an entry has a limit, and a name needs a few hundred.
const POINTS_MAX: usize = 4_000;

/// Records a signature.
#[component]
pub fn SignaturePart(
    /// Where.
    ctx: Ctx,
    /// What.
    need: SignatureNeed,
) -> impl IntoView {
    let w = ctx.w;
    let (person, name) = (RwSignal::new(String::new()), RwSignal::new(String::new()));
    let drawing = RwSignal::new(Drawing { size: SIZE, strokes: Vec::new() });
    let ids = StoredValue::new((ctx.device.new_entry_id(), ctx.device.new_entry_id()));
    let typed = Memo::new(move |_| name.get());
    let kept = (need.by == Confirmer::Householder)
        .then(|| ctx.keep_typed("householder", typed, move |typed: String| name.set(typed)));
    // The very words on the screen are what is signed.
    let text = Hash32::sha256(need.label.in_language(w.lang.code()).as_bytes());
    let by = need.by;
    let ready = move || {
        let named = match by {
            Confirmer::Recorder => true,
            Confirmer::SecondPerson => person.get().parse::<PersonId>().is_ok(),
            Confirmer::Householder => !name.get().trim().is_empty(),
        };
        named && drawing.with(Drawing::is_drawn)
    };
    let save = move || {
        let (Some(id), (Some(drawn), Some(remark))) = (ctx.id(), ids.get_value()) else { return };
        let at = ctx.place();
        let mut entries: Vec<NewEntry> = vec![(drawn, Body::Drawing(drawing.get_untracked())).into()];
        let (mut signed_by, mut named_in) = (None, None);
        match by {
            Confirmer::Recorder => {}
            Confirmer::SecondPerson => signed_by = person.get_untracked().parse().ok(),
            Confirmer::Householder => {
                let said = Remark { at: Some(at.clone()), text: name.get_untracked().trim().to_owned() };
                entries.push((remark, Body::Remark(said)).into());
                named_in = Some(remark);
            }
        }
        let corrects = ctx.correcting.get_untracked();
        let signature = Signature { at, text, drawing: drawn, person: signed_by, named_in, corrects };
        entries.push((id, Body::Signature(signature)).into());
        let forget = kept.map(Kept::forgetting);
        ctx.write(entries, move || {
            name.try_set(String::new());
            if let Some(forget) = forget {
                forget();
            }
            drawing.try_update(|drawing| drawing.strokes.clear());
            ids.set_value((ctx.device.new_entry_id(), ctx.device.new_entry_id()));
        });
    };
    let sign = ctx.sign_here(t!(w, "step.signature.action"), move || !ready(), save);
    let who = match (by, hint_above(w, by)) {
        (Confirmer::SecondPerson, Some(hint)) => second_person(ctx, person, hint),
        (Confirmer::Householder, Some(hint)) => householder(ctx, name, hint),
        (Confirmer::Recorder, _) | (_, None) => ().into_any(),
    };
    view! {
        <p class="soft">{t!(w, "step.signature.explain")}</p>
        {who}
        <SignField drawing label=t!(w, "step.signature.field") />
        {move || (!drawing.with(|drawing| drawing.strokes.is_empty())).then(|| {
            let little = (!drawing.with(Drawing::is_drawn)).then(|| view! { <p class="soft" role="status">{t!(w, "step.signature.too_little")}</p> });
            view! {
                {little}
                <Button label=t!(w, "step.signature.again") look=Look::Quiet on_press=move || drawing.update(|drawing| drawing.strokes.clear()) />
            }
        })}
        {sign}
    }
    .into_any()
}

/// What is said above the field of whoever signs; who signs for themselves is known.
fn hint_above(w: Words, by: Confirmer) -> Option<&'static str> {
    match by {
        Confirmer::Recorder => None,
        Confirmer::SecondPerson => Some(t!(w, "step.signature.who_hint")),
        Confirmer::Householder => Some(t!(w, "step.signature.householder_hint")),
    }
}

#[component]
fn SignField(drawing: RwSignal<Drawing>, label: &'static str) -> impl IntoView {
    let down = StoredValue::new(false);
    let add = move |event: &PointerEvent, begins: bool| {
        let Some(point) = pointer::at_in(event, SIZE) else { return };
        drawing.update(|drawing| {
            if drawing.strokes.iter().map(Vec::len).sum::<usize>() >= POINTS_MAX {
                return;
            }
            match drawing.strokes.last_mut() {
                Some(stroke) if !begins => {
                    if stroke.last() != Some(&point) {
                        stroke.push(point);
                    }
                }
                _ => drawing.strokes.push(vec![point]),
            }
        });
    };
    let begin = move |event: PointerEvent| {
        event.prevent_default();
        pointer::capture(&event);
        down.set_value(true);
        add(&event, true);
    };
    let go = move |event: PointerEvent| {
        if down.get_value() {
            event.prevent_default();
            add(&event, false);
        }
    };
    let end = move |_: PointerEvent| down.set_value(false);
    view! {
        <svg class="sign-field" viewBox=format!("0 0 {} {}", SIZE.0, SIZE.1) role="img" aria-label=label
            on:pointerdown=begin on:pointermove=go on:pointerup=end on:pointercancel=end>
            <line class="sign-line" x1="30" x2="610" y1="190" y2="190" />
            <path class="ink" d=move || drawing.with(path_of) />
        </svg>
    }
    .into_any()
}

/// The lines of a drawing as the path of an SVG.
pub fn path_of(drawing: &Drawing) -> String {
    let mut path = String::new();
    for stroke in &drawing.strokes {
        for (at, (x, y)) in stroke.iter().enumerate() {
            path.push(if at == 0 { 'M' } else { 'L' });
            path.push_str(&format!("{x} {y}"));
        }
        if let [(x, y)] = stroke.as_slice() {
            // A dot of the pen, as over an i.
            path.push_str(&format!("L{x} {y}"));
        }
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::i18n::{Decimal, Lang};

    #[test]
    fn above_a_signature_nobody_reads_that_there_is_none() {
        for (lang, without) in
            [(Lang::En, "without a signature"), (Lang::De, "ohne Unterschrift"), (Lang::Es, "sin firma")]
        {
            let w = Words { lang, decimal: Decimal::Point };
            assert!(t!(w, "step.confirm.householder_hint").contains(without), "{lang:?}");
            for by in [Confirmer::SecondPerson, Confirmer::Householder] {
                assert!(!hint_above(w, by).unwrap_or(without).contains(without), "{by:?} in {lang:?}");
            }
            assert_eq!(hint_above(w, Confirmer::Recorder), None);
        }
    }

    #[test]
    fn strokes_become_one_path_and_a_dot_is_seen() {
        let drawing = Drawing { size: SIZE, strokes: vec![vec![(1, 2), (3, 4)], vec![(9, 9)]] };
        assert_eq!(path_of(&drawing), "M1 2L3 4M9 9L9 9");
        assert_eq!(path_of(&Drawing::default()), "");
    }
}
