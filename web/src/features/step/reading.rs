//! A measured value: what is typed is kept with every keystroke, read at once, compared at once, and shown as it was understood.

use domain::job_file::Body;
use domain::job_file::body::{InstrumentSnapshot, Remark};
use domain::method::gate::{LimitInfo, LimitSource};
use domain::method::plan::ReadingNeed;
use leptos::prelude::*;

use super::ctx::Ctx;
use super::view_model::{
    ReadingDraft, ReadingPreview, ReadingQuestion, instrument_id, last_instrument, limit_line, needs_voltage, preview,
    reading_body,
};
use crate::features::crew::today;
use crate::features::crew::typed::Kept;
use crate::features::desk::checks::check_body;
use crate::features::words;
use crate::i18n::Words;
use crate::store::NewEntry;
use crate::t;
use crate::ui::{Area, CheckRow, Choice, Field, FieldKind, Glyph, Icon, RadioRows, Select, Tone};

/// What is typed, one signal a box.
#[derive(Clone, Copy)]
struct Typed {
    raw: RwSignal<String>,
    instrument: RwSignal<String>,
    /// The instrument that the form proposed.
    proposed: RwSignal<String>,
    voltage: RwSignal<String>,
    chosen: RwSignal<String>,
    keep: RwSignal<bool>,
    not_tested: RwSignal<bool>,
    reason: RwSignal<String>,
}

impl Typed {
    fn new() -> Self {
        let text = || RwSignal::new(String::new());
        Self {
            raw: text(),
            instrument: text(),
            proposed: text(),
            voltage: text(),
            chosen: text(),
            keep: RwSignal::new(false),
            not_tested: RwSignal::new(false),
            reason: text(),
        }
    }

    fn draft(self) -> ReadingDraft {
        ReadingDraft {
            raw: self.raw.get(),
            instrument: self.instrument.get(),
            voltage: self.voltage.get(),
            chosen: self.chosen.get().parse().ok(),
            keep: self.keep.get(),
            not_tested: self.not_tested.get(),
            reason: self.reason.get(),
        }
    }

    fn set(self, draft: ReadingDraft) {
        self.raw.set(draft.raw);
        self.instrument.set(draft.instrument);
        self.voltage.set(draft.voltage);
        self.chosen.set(draft.chosen.map_or_else(String::new, |at| at.to_string()));
        self.keep.set(draft.keep);
        self.not_tested.set(draft.not_tested);
        self.reason.set(draft.reason);
    }
}

/// One reading that is being typed: what is asked for, what stands in its boxes, and what that means.
#[derive(Clone, Copy)]
pub(super) struct Row {
    pub(super) ctx: Ctx,
    need: StoredValue<ReadingNeed>,
    typed: Typed,
    draft: Memo<ReadingDraft>,
    kept: Kept,
    used: Memo<Option<InstrumentSnapshot>>,
    limit: Memo<LimitInfo>,
    seen: Memo<ReadingPreview>,
}

impl Row {
    fn new(ctx: Ctx, need: ReadingNeed, typed: Typed) -> Self {
        let w = ctx.w;
        let need = StoredValue::new(need);
        // Another text is another question.
        Effect::new(move |before: Option<String>| {
            let raw = typed.raw.get();
            if before.is_some_and(|before| before != raw) {
                typed.keep.set(false);
                typed.chosen.set(String::new());
            }
            raw
        });
        let draft = Memo::new(move |_| typed.draft());
        let by_hand = Memo::new(move |_| draft.get().by_hand(&typed.proposed.get()));
        // The box of the instrument may be shared: a draft that names none leaves it as it is.
        let kept = ctx.keep_typed("reading", by_hand, move |draft: ReadingDraft| {
            let instrument =
                if draft.instrument.is_empty() { typed.instrument.get_untracked() } else { draft.instrument };
            typed.set(ReadingDraft { instrument, ..draft });
        });
        let used = Memo::new(move |_| {
            let id = instrument_id(&typed.instrument.get())?;
            let reference = ctx.device.reference()?;
            reference.instruments.iter().find(|own| own.id == id).map(crate::store::Instrument::snapshot)
        });
        let limit = Memo::new(move |_| ctx.card.get().map_or(LimitInfo::None, |card| card.limit));
        let seen = Memo::new(move |_| {
            let (draft, used, limit) = (draft.get(), used.get(), limit.get());
            need.with_value(|need| preview(w, need, &limit, &draft, used.as_ref(), &today().iso()))
        });
        Self { ctx, need, typed, draft, kept, used, limit, seen }
    }

    /// Among several that share an instrument.
    pub(super) fn beside(self, need: ReadingNeed, ctx: Ctx) -> Self {
        let (instrument, proposed) = (self.typed.instrument, self.typed.proposed);
        Self::new(ctx, need, Typed { instrument, proposed, ..Typed::new() })
    }

    /// The first of several, or one alone.
    pub(super) fn first(need: ReadingNeed, ctx: Ctx) -> Self {
        let row = Self::new(ctx, need, Typed::new());
        propose_instrument(row.ctx, row.need, row.typed, row.kept);
        row
    }

    /// Nothing was typed yet.
    pub(super) fn is_empty(self) -> bool {
        self.typed.raw.with(|raw| raw.trim().is_empty())
    }

    /// What stands there can be written.
    pub(super) fn is_ready(self) -> bool {
        self.seen.with(|seen| seen.value.is_some())
    }

    /// The entry as it would be written; none while something is missing.
    pub(super) fn entry(self) -> Option<NewEntry> {
        let (id, value, draft) = (self.ctx.id()?, self.seen.get_untracked().value?, self.draft.get_untracked());
        let corrects = self.ctx.correcting.get_untracked();
        let instrument = self.used.get_untracked().filter(|_| !draft.not_tested);
        let at = self.ctx.place();
        Some((id, self.need.with_value(|need| reading_body(&at, need, &draft, &value, instrument, corrects))).into())
    }

    /// What follows once its entry is on the disk: the boxes are empty, and the draft goes.
    pub(super) fn written(self) -> impl FnOnce() + 'static {
        let forget = self.kept.forgetting();
        move || {
            if self.typed.raw.try_get_untracked().is_some() {
                let instrument = self.typed.instrument.get_untracked();
                self.typed.set(ReadingDraft { instrument, ..ReadingDraft::default() });
            }
            forget();
        }
    }

    /// Which instrument, where one is asked for.
    pub(super) fn instrument_box(self) -> Option<AnyView> {
        instruments(self.ctx, self.need, self.typed)
    }

    /// Box, question, limit and verdict under this label.
    pub(super) fn draw(self, label: String) -> AnyView {
        let w = self.ctx.w;
        view! {
            {value_box(self, label)}
            {limit_part(self.ctx, self.need, self.limit)}
            <div class="verdicts" aria-live="polite">{move || verdict(w, &self.seen.get())}</div>
        }
        .into_any()
    }
}

/// Records a reading.
#[component]
pub fn ReadingPart(
    /// Where.
    ctx: Ctx,
    /// What.
    need: ReadingNeed,
) -> impl IntoView {
    let w = ctx.w;
    let row = Row::first(need, ctx);
    let Row { need, typed, draft, limit, seen, .. } = row;
    let remark_id = StoredValue::new(ctx.device.new_entry_id());
    let save = move || {
        let Some(entry) = row.entry() else { return };
        let draft = draft.get_untracked();
        let mut entries: Vec<NewEntry> = Vec::new();
        if draft.not_tested
            && let Some(remark) = remark_id.get_value()
        {
            let text = draft.reason.trim().to_owned();
            entries.push((remark, Body::Remark(Remark { at: Some(ctx.place()), text })).into());
        }
        entries.push(entry);
        let written = row.written();
        ctx.write(entries, move || {
            remark_id.set_value(ctx.device.new_entry_id());
            written();
        });
    };
    ctx.act.press(t!(w, "step.reading.action"), move || seen.with(|seen| seen.value.is_none()), save);
    view! {
        {limit_part(ctx, need, limit)}
        {move || (!typed.not_tested.get()).then(|| boxes(row))}
        <CheckRow label=t!(w, "step.reading.not_tested") checked=typed.not_tested />
        {move || typed.not_tested.get().then(|| view! { <Area label=t!(w, "step.reading.reason") value=typed.reason /> })}
        <div class="verdicts" aria-live="polite">{move || verdict(w, &seen.get())}</div>
    }
    .into_any()
}

/// The instrument that this person used last for the same kind of reading is most likely the one in their hand.
fn propose_instrument(ctx: Ctx, need: StoredValue<ReadingNeed>, typed: Typed, kept: Kept) {
    Effect::new(move |_| {
        let Some(reference) = ctx.device.reference().filter(|_| kept.is_read()) else { return };
        let Some(kind) = need.with_value(|need| need.instrument.clone()) else { return };
        if !typed.instrument.with_untracked(String::is_empty) {
            return;
        }
        let before = ctx.now(|job| last_instrument(job, &kind, ctx.device.person())).flatten();
        let mut of_kind = reference.instruments_of(&kind);
        let only = of_kind.next().filter(|_| of_kind.next().is_none()).map(|own| own.id);
        if let Some(id) = before.or(only) {
            typed.proposed.set(id.to_string());
            typed.instrument.set(id.to_string());
        }
    });
}

fn limit_part(ctx: Ctx, need: StoredValue<ReadingNeed>, limit: Memo<LimitInfo>) -> impl IntoView {
    let w = ctx.w;
    move || {
        let limit = limit.get();
        let line = need.with_value(|need| limit_line(w, need, &limit))?;
        let computed = match &limit {
            LimitInfo::Known { source: LimitSource::Check(check), .. } => Some(view! {
                <details class="computation">
                    <summary>{t!(w, "step.reading.computation", title = words::check_title(w, check))}</summary>
                    {check_inputs(w, check)}
                    {check_body(w, check)}
                </details>
            }),
            LimitInfo::Known { source: LimitSource::Maker | LimitSource::Design | LimitSource::Method(_), .. }
            | LimitInfo::None
            | LimitInfo::NoMakerFigure { .. }
            | LimitInfo::InputMissing { .. } => None,
        };
        Some(view! { <p class="limit">{line}</p> {computed} })
    }
}

/// What went into a computed comparison, one line each.
pub fn check_inputs(w: Words, check: &domain::electrical::Check) -> AnyView {
    let line = |(name, value): &(&'static str, domain::electrical::Quantity)| {
        let value = words::figure_value(w, name, *value);
        view! { <li>{t!(w, "step.check.input", name = words::figure(w, name), value = value)}</li> }
    };
    view! { <ul class="stack inputs">{check.inputs.iter().map(line).collect_view()}</ul> }.into_any()
}

fn boxes(row: Row) -> AnyView {
    let w = row.ctx.w;
    let voltage = row.need.with_value(needs_voltage).then(|| {
        view! { <Field label=t!(w, "step.reading.voltage") kind=FieldKind::Number value=row.typed.voltage unit="V" /> }
    });
    view! {
        {row.instrument_box()}
        {value_box(row, t!(w, "step.reading.value").to_owned())}
        {voltage}
    }
    .into_any()
}

/// The box of the value, how it was understood, and what is asked back.
fn value_box(row: Row, label: String) -> AnyView {
    let (w, typed, seen) = (row.ctx.w, row.typed, row.seen);
    let unit = row.need.with_value(|need| format!("{}{}", need.field().entry.symbol(), need.unit.symbol()));
    let fault = Signal::derive(move || seen.with(|seen| seen.fault.clone()));
    let understood = move || {
        let seen = seen.get();
        let value = seen.understood?;
        let notes = seen.notes.iter().map(|note| view! { <p class="soft">{w.say(*note)}</p> }).collect_view();
        Some(view! {
            <p class="understood" data-understood=value.clone()>{t!(w, "step.reading.understood", value = value)}</p>
            {notes}
        })
    };
    let field = if unit.is_empty() {
        view! { <Field label=label kind=FieldKind::Number value=typed.raw fault /> }
    } else {
        view! { <Field label=label kind=FieldKind::Number value=typed.raw fault unit=unit /> }
    };
    view! {
        {field}
        <div aria-live="polite">{understood}</div>
        {move || question(w, typed, seen.with(|seen| seen.question.clone()))}
    }
    .into_any()
}

fn instruments(ctx: Ctx, need: StoredValue<ReadingNeed>, typed: Typed) -> Option<AnyView> {
    let w = ctx.w;
    let kind = need.with_value(|need| need.instrument.clone())?;
    let label = t!(w, "step.reading.instrument", kind = words::instrument_kind(w, &kind));
    let choices = Signal::derive(move || {
        let today = today().iso();
        let line = |own: &crate::store::Instrument| match own.calibration_due.as_deref().filter(|due| !due.is_empty()) {
            None => t!(w, "step.instrument.unknown", label = own.label),
            Some(due) if due < today.as_str() => {
                t!(w, "step.instrument.ended", label = own.label, day = w.day_text(due))
            }
            Some(due) => t!(w, "step.instrument.valid", label = own.label, day = w.day_text(due)),
        };
        let mut choices = vec![Choice::new("", t!(w, "step.instrument.choose"))];
        if let Some(reference) = ctx.device.reference() {
            choices.extend(reference.instruments_of(&kind).map(|own| Choice::new(own.id.to_string(), line(own))));
        }
        choices
    });
    let none =
        move || (choices.with(Vec::len) == 1).then(|| view! { <p class="soft">{t!(w, "step.instrument.none")}</p> });
    Some(view! { <Select label=label value=typed.instrument choices />{none} }.into_any())
}

fn question(w: Words, typed: Typed, question: Option<ReadingQuestion>) -> Option<AnyView> {
    Some(match question? {
        ReadingQuestion::Which(candidates) => {
            let choices =
                candidates.into_iter().enumerate().map(|(at, value)| Choice::new(at.to_string(), value)).collect();
            view! { <RadioRows label=t!(w, "step.reading.which") value=typed.chosen choices /> }.into_any()
        }
        ReadingQuestion::Meant(text) => {
            let words = t!(w, "step.reading.meant", value = text);
            let take = move |_| typed.raw.set(text.clone());
            view! { <button type="button" class="act" on:click=take>{words}</button> }.into_any()
        }
        ReadingQuestion::Implausible(value, range) => view! {
            <CheckRow
                label=t!(w, "step.reading.keep", value = value)
                hint=t!(w, "step.reading.implausible", range = range)
                checked=typed.keep
            />
        }
        .into_any(),
    })
}

fn verdict(w: Words, seen: &ReadingPreview) -> AnyView {
    let verdict = seen.verdict.clone().map(|(tone, words)| {
        let (class, icon) = match tone {
            Tone::Good => ("verdict good", Icon::Tick),
            Tone::Stop => ("verdict stop", Icon::Cross),
            Tone::Plain | Tone::Wait | Tone::Caution => ("verdict caution", Icon::Question),
        };
        let what = (tone == Tone::Stop).then(|| view! { <p>{t!(w, "step.reading.what_now")}</p> });
        view! {
            <div class=class>
                <Glyph icon />
                <div class="stack"><p><b>{words}</b></p>{what}</div>
            </div>
        }
    });
    let lacks = seen.lacks.map(|key| view! { <p class="soft">{w.say(key)}</p> });
    view! { {verdict} {lacks} }.into_any()
}
