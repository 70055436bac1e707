//! One requirement: its name and how it stands, what was recorded, and the part that records while it is at work.

use domain::electrical::Verdict;
use domain::job_file::Body;
use domain::method::gate::Answer;
use domain::method::plan::Requirement;
use leptos::prelude::*;

use super::confirmation::{ChoicePart, ConfirmationPart};
use super::countersign::CountersignPart;
use super::ctx::Ctx;
use super::deviation::DeviationPart;
use super::photo::{PhotoPart, Thumbnails};
use super::reading::{ReadingPart, check_inputs};
use super::serial::SerialPart;
use super::signature::SignaturePart;
use super::view_model::counting;
use super::wait::WaitPart;
use super::words::WordsPart;
use crate::adapters::browser;
use crate::features::crew::moment;
use crate::features::desk::checks::{check_body, check_chip};
use crate::features::job::load::{EvidenceItem, EvidenceStanding, RequirementCard};
use crate::features::words;
use crate::t;
use crate::ui::{Button, Chip, Look};

/// One requirement of the page.
#[component]
pub fn RequirementSection(
    /// Where.
    ctx: Ctx,
    /// Its place among the step's requirements.
    index: usize,
    /// What it needs; does not change while the page stands.
    need: Requirement,
    /// Nothing but its evidence opens this step.
    stop_work: bool,
    /// Which requirement is at work.
    active: Memo<Option<usize>>,
    /// Something may be recorded here now.
    can_record: Memo<bool>,
    /// It may be something new, not only a correction.
    can_add: Memo<bool>,
) -> impl IntoView {
    let w = ctx.w;
    let label = need.label().in_language(w.lang.code()).to_owned();
    let at_work = Memo::new(move |_| can_record.get() && active.get() == Some(index));
    let answer =
        Memo::new(move |_| ctx.card.get().map(|card| (words::answer_word(&card.answer), words::answer(w, &card))));
    let look = Memo::new(move |_| {
        ctx.card.get().map(|card| (words::answer_tone(&card.answer), words::answer_icon(&card.answer)))
    });
    let chip = move || {
        let ((_, words), (tone, icon)) = answer.get().zip(look.get())?;
        Some(view! { <Chip label=words tone icon /> })
    };
    let why = Memo::new(move |_| {
        let card = ctx.card.get()?;
        ctx.job(|job| words::answer_why(w, job, &card)).flatten()
    });
    let countersigned = Memo::new(move |_| ctx.card.get()?.countersigned);
    let is_photo = matches!(need, Requirement::Photo(_));
    let is_check = matches!(need, Requirement::Check(_));
    let (id, kind) = (need.id().to_owned(), need.kind());
    let need = StoredValue::new(need);
    // What the bar acts on is in sight before it can be pressed. A photo that was taken moves what stands around it.
    let recorded = Memo::new(move |_| ctx.card.with(|card| card.as_ref().map_or(0, |card| card.evidence.len())));
    Effect::new(move |_| {
        recorded.track();
        if at_work.get() {
            let card = ctx.card_id();
            request_animation_frame(move || browser::bring_under_head(&card));
        }
    });
    let part = move || at_work.get().then(|| need.with_value(|need| part_of(ctx, need)));
    let open = move || {
        let todo = ctx
            .card
            .get()
            .is_some_and(|card| !matches!(card.answer, Answer::Met { .. } | Answer::DeviationAllowed { .. }));
        (can_record.get() && !at_work.get() && !is_check && todo).then(|| {
            view! { <Button label=t!(w, "step.do_this") on_press=move || ctx.chosen.set(Some(index)) /> }
        })
    };
    let more_photos = move || {
        let met = ctx.card.get().is_some_and(|card| card.answer.lets_through());
        (is_photo && met && can_add.get() && !at_work.get()).then(|| {
            view! { <Button label=t!(w, "step.photo.one_more") look=Look::Quiet on_press=move || ctx.chosen.set(Some(index)) /> }
        })
    };
    view! {
        <section class="card need" id=ctx.card_id() class:at-work=move || at_work.get() data-requirement=id data-kind=kind data-state=move || answer.get().map(|(word, _)| word)>
            <div class="need-head">
                <h2>{label}</h2>
                {chip}
            </div>
            {move || why.get().map(|why| view! { <p class="why">{why}</p> })}
            {move || countersigned.get().map(|state| view! { <p class="soft">{words::countersigned(w, state)}</p> })}
            {is_check.then(|| view! { {move || computed(ctx)} })}
            {is_photo.then(|| view! { <Thumbnails ctx can_record=can_add /> })}
            <Current ctx index can_record />
            {part}
            {open}
            {more_photos}
            <DeviationPart ctx stop_work can_record />
            <History ctx />
        </section>
    }
    .into_any()
}

fn part_of(ctx: Ctx, need: &Requirement) -> AnyView {
    match need.clone() {
        Requirement::Photo(need) => view! { <PhotoPart ctx need /> }.into_any(),
        Requirement::Reading(need) => view! { <ReadingPart ctx need /> }.into_any(),
        Requirement::Serial(_) => view! { <SerialPart ctx /> }.into_any(),
        Requirement::Confirmation(need) => view! { <ConfirmationPart ctx need /> }.into_any(),
        Requirement::Choice(need) => view! { <ChoicePart ctx need /> }.into_any(),
        Requirement::Wait(_) => view! { <WaitPart ctx /> }.into_any(),
        Requirement::Countersign(need) => view! { <CountersignPart ctx need /> }.into_any(),
        Requirement::Signature(need) => view! { <SignaturePart ctx need /> }.into_any(),
        Requirement::Words(_) => view! { <WordsPart ctx /> }.into_any(),
        Requirement::Check(_) => ().into_any(),
    }
}

fn computed(ctx: Ctx) -> Option<AnyView> {
    let w = ctx.w;
    let check = ctx.card.get()?.check?;
    let chip = check_chip(w, &check);
    let what = matches!(check.verdict, Verdict::Fail(_)).then(|| view! { <p>{t!(w, "step.check.what_now")}</p> });
    Some(
        view! {
            <div class="row">{chip}<span>{words::check_title(w, &check)}</span></div>
            {check_inputs(w, &check)}
            {check_body(w, &check)}
            {what}
        }
        .into_any(),
    )
}

/// What counts now, in one line, with a way to correct it for whoever recorded it.
#[component]
fn Current(ctx: Ctx, index: usize, can_record: Memo<bool>) -> impl IntoView {
    let w = ctx.w;
    let item = Memo::new(move |_| {
        let card = ctx.card.get()?;
        // Photos are shown as pictures.
        counting(&card)
            .filter(|item| !matches!(item.body, Body::Photo(_)))
            .map(|item| (line(ctx, &card, item), item.id, item.by))
    });
    move || {
        let (line, id, by) = item.get()?;
        let mine = ctx.device.person() == Some(by);
        let correcting = move || ctx.correcting.get() == Some(id);
        let correct = move || {
            ctx.correcting.set(Some(id));
            ctx.chosen.set(Some(index));
        };
        let leave = move || {
            ctx.correcting.set(None);
            ctx.chosen.set(None);
        };
        let button = move || match (mine && can_record.get(), correcting()) {
            (true, false) => {
                view! { <Button label=t!(w, "step.correct") look=Look::Quiet on_press=correct /> }.into_any()
            }
            (true, true) => view! {
                <p class="soft">{t!(w, "step.correcting")}</p>
                <Button label=t!(w, "step.correct_not") look=Look::Quiet on_press=leave />
            }
            .into_any(),
            (false, _) => ().into_any(),
        };
        Some(view! {
            <div class="recorded">
                <p>{line}</p>
                {button}
            </div>
        })
    }
}

/// What, who, when, and whether the server has it.
fn line(ctx: Ctx, card: &RequirementCard, item: &EvidenceItem) -> String {
    let w = ctx.w;
    let people = ctx.device.people();
    let what = match &item.body {
        Body::Confirmation(confirmation) => confirmed_by(ctx, confirmation, item),
        Body::Countersign(countersign) => {
            let name = words::person(w, &people, countersign.person);
            t!(w, "step.evidence.countersigned_by", name = name)
        }
        _ => words::evidence(w, card, item),
    };
    let who = words::person(w, &people, item.by);
    let here = if item.stamped { t!(w, "step.evidence.with_server") } else { t!(w, "step.evidence.only_here") };
    t!(w, "step.evidence.line", what = what, who = who, when = moment(w, item.at_us), here = here)
}

fn confirmed_by(ctx: Ctx, confirmation: &domain::job_file::body::Confirmation, item: &EvidenceItem) -> String {
    let w = ctx.w;
    let named = confirmation.named_in.and_then(|remark| {
        ctx.job(|job| job.remarks.iter().find(|own| own.id == remark).map(|own| own.text.clone())).flatten()
    });
    let name = match (confirmation.person, named) {
        (Some(person), _) => words::person(w, &ctx.device.people(), person),
        (None, Some(name)) if !name.is_empty() => name,
        (None, _) => words::person(w, &ctx.device.people(), item.by),
    };
    t!(w, "step.evidence.confirmed_by", name = name)
}

/// Everything that does not count any more: nothing that somebody recorded disappears.
#[component]
fn History(ctx: Ctx) -> impl IntoView {
    let w = ctx.w;
    let lines = Memo::new(move |_| {
        let Some(card) = ctx.card.get() else { return Vec::new() };
        let last = counting(&card).map(|item| item.id);
        let is_photo = matches!(card.need, Requirement::Photo(_));
        let shown = |item: &&EvidenceItem| match item.standing {
            // An earlier reading that counts and was followed by another one belongs here as well.
            EvidenceStanding::Counts => !is_photo && Some(item.id) != last,
            EvidenceStanding::Corrected
            | EvidenceStanding::TakenBack
            | EvidenceStanding::BeforeReturn
            | EvidenceStanding::Ended
            | EvidenceStanding::Breach
            | EvidenceStanding::Late => true,
        };
        card.evidence.iter().filter(shown).map(|item| (item.standing, line(ctx, &card, item))).collect::<Vec<_>>()
    });
    let one = move |(standing, line): (EvidenceStanding, String)| {
        let word = match standing {
            EvidenceStanding::Counts => t!(w, "step.evidence.earlier"),
            other => w.say(words::standing(other)),
        };
        let struck = standing != EvidenceStanding::Counts;
        view! { <li><span class="soft">{word}</span>" "<span class:struck=struck>{line}</span></li> }
    };
    move || {
        let lines = lines.get();
        (!lines.is_empty()).then(|| {
            view! {
                <details class="history">
                    <summary>{crate::tn!(w, "step.history", lines.len())}</summary>
                    <ul class="stack">{lines.into_iter().map(one).collect_view()}</ul>
                </details>
            }
        })
    }
}
