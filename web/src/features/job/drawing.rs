//! The stack, drawn: modules from the bottom up, the unit that manages them on top, what stands beside at its side. A unit is filled
//! once its serial is known.

use domain::job_file::body::UnitKind;
use leptos::ev::KeyboardEvent;
use leptos::prelude::*;
use leptos_router::NavigateOptions;
use leptos_router::hooks::use_navigate;

use super::load::{JobView, UnitView};
use super::view_model::drawing;
use crate::features::words;
use crate::i18n::{Key, Words, use_words};
use crate::routes::Screen;
use crate::{key, t};

const WIDTH: i32 = 356;
const COLUMN: i32 = 206;
const BESIDE_X: i32 = 218;
const BESIDE_WIDTH: i32 = WIDTH - BESIDE_X - 2;
const UNIT: i32 = 58;
const GAP: i32 = 6;
const FLOOR: i32 = 14;
/// Words begin here where a stripe of paint stands before them, and here where there is none.
const AFTER_PAINT: i32 = 34;
const AT_EDGE: i32 = 12;
/// From a slot's number to the words behind it.
const AFTER_SLOT: i32 = 24;
/// Between the end of words and the edge of their unit.
const MARGIN: i32 = 8;
/// As large as words are where they have room, and as small as they may become.
const LARGE: i32 = 18;
const SMALL: i32 = 13;

/// Draws the units of a job.
pub fn draw(job: &JobView) -> Option<AnyView> {
    let w = use_words();
    let (column, beside) = drawing(job);
    if column.is_empty() && beside.is_empty() {
        return None;
    }
    let rows = i32::try_from(column.len().max(beside.len())).unwrap_or(1);
    let height = rows * (UNIT + GAP) + FLOOR;
    let floor = height - FLOOR / 2;
    let from_floor =
        |index: usize, count: usize| floor - GAP / 2 - i32::try_from(count - index).unwrap_or(1) * (UNIT + GAP) + GAP;
    let place = |units: &[&UnitView], x: i32, width: i32| {
        let count = units.len();
        let one = |(index, unit): (usize, &&UnitView)| unit_at(w, job, unit, (x, from_floor(index, count), width));
        units.iter().enumerate().map(one).collect_view()
    };
    let known = job.units.iter().filter(|unit| unit.new && unit.serial.is_some()).count();
    let all = job.units.iter().filter(|unit| unit.new).count();
    Some(
        view! {
            <figure class="drawing">
                <svg viewBox=format!("0 0 {WIDTH} {height}") role="group" aria-label=t!(w, "job.drawing.label")>
                    {place(&column, 2, COLUMN)}
                    {place(&beside, BESIDE_X, BESIDE_WIDTH)}
                    <path class="floor" d=format!("M0 {floor}H{WIDTH}")></path>
                </svg>
                <figcaption class="soft">{t!(w, "job.drawing.known", known = known, all = all)}</figcaption>
            </figure>
        }
        .into_any(),
    )
}

fn unit_at(w: Words, job: &JobView, unit: &UnitView, (x, y, width): (i32, i32, i32)) -> AnyView {
    let name = words::unit_in_slot(w, unit.kind, unit.slot);
    let (class, state) = match (&unit.serial, unit.serial_bad, unit.new) {
        (Some(serial), _, _) => ("unit known", serial.clone()),
        (None, true, _) => ("unit bad", t!(w, "job.drawing.bad").to_owned()),
        (None, false, true) => ("unit", t!(w, "job.drawing.missing").to_owned()),
        (None, false, false) => ("unit existing", t!(w, "job.drawing.existing").to_owned()),
    };
    let label = t!(w, "job.drawing.unit", unit = name, model = unit.model.name, state = state);
    let target = unit.serial_step.and_then(|index| job.steps.get(index));
    let href = target.map(|step| Screen::Step(job.job, step.id.clone(), step.slot).href());
    let clickable = href.is_some();
    let navigate = use_navigate();
    let go = move || {
        if let Some(href) = &href {
            navigate(href, NavigateOptions::default());
        }
    };
    let by_key = go.clone();
    let [slot, kind, state] = lines(w, unit, &state, width);
    view! {
        <g
            class=class
            transform=format!("translate({x} {y})")
            role=if clickable { "link" } else { "img" }
            tabindex=clickable.then_some("0")
            aria-label=label
            data-slot=unit.slot
            data-known=unit.serial.is_some().to_string()
            on:click=move |_| go()
            on:keydown=move |event: KeyboardEvent| {
                if event.key() == "Enter" {
                    by_key();
                }
            }
        >
            <rect width=width height=UNIT rx="4"></rect>
            <path class="paint" d=format!("M18 -3h9l-9 {h}h-9z", h = UNIT + 6)></path>
            <text class="slot" x=slot.x y="24" font-size=slot.size>{slot.words}</text>
            <text class="kind" x=kind.x y="24" font-size=kind.size>{kind.words}</text>
            <text class="serial-text" x=state.x y="47" font-size=state.size>{state.words}</text>
        </g>
    }
    .into_any()
}

/// Words on a unit, as large as their room lets them be.
#[derive(Debug)]
struct Line {
    x: i32,
    size: i32,
    words: String,
}

/// Slot, kind and state of a unit of this width.
fn lines(w: Words, unit: &UnitView, state: &str, width: i32) -> [Line; 3] {
    let in_column = width > BESIDE_WIDTH;
    let left = if in_column || unit.serial.is_some() { AFTER_PAINT } else { AT_EDGE };
    let kind = w.say(short_kind(unit.kind));
    // What stands beside is one of its kind nearly always: only a second one has a number.
    let (slot, kind, kind_at) = match (in_column, unit.slot) {
        (true, slot) => (slot.to_string(), kind.to_owned(), left + AFTER_SLOT),
        (false, 0 | 1) => (String::new(), kind.to_owned(), left),
        (false, slot) => (String::new(), format!("{kind} {slot}"), left),
    };
    [Line::fitted(slot, left, width), Line::fitted(kind, kind_at, width), Line::fitted(state.to_owned(), left, width)]
}

impl Line {
    /// Smaller where the room is small; what is still too long keeps its end, for that is where serials differ.
    fn fitted(words: String, x: i32, width: i32) -> Self {
        let room = width - x - MARGIN;
        let count = i32::try_from(words.chars().count()).unwrap_or(i32::MAX);
        let size = (SMALL..=LARGE).rev().find(|size| taken(count, *size) <= room).unwrap_or(SMALL);
        let most = (0..count).rev().find(|most| taken(*most, size) <= room).unwrap_or_default();
        let words = if taken(count, size) <= room {
            words
        } else {
            let end: String = words.chars().skip(usize::try_from(count - most + 1).unwrap_or_default()).collect();
            format!("…{end}")
        };
        Self { x, size, words }
    }
}

/// Room for so many characters: six tenths of their height each, as letters of fixed width take, and most others less.
const fn taken(count: i32, size: i32) -> i32 {
    count.saturating_mul(size).saturating_mul(6) / 10
}

/// Short, for little room; the whole name is read out.
const fn short_kind(kind: UnitKind) -> Key {
    match kind {
        UnitKind::Module => key!("job.drawing.module"),
        UnitKind::ControlUnit => key!("job.drawing.control"),
        UnitKind::Inverter => key!("job.drawing.inverter"),
        UnitKind::Changeover => key!("job.drawing.changeover"),
        UnitKind::Meter => key!("job.drawing.meter"),
        UnitKind::Gateway => key!("job.drawing.gateway"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::i18n::{Decimal, Lang};

    #[test]
    fn a_long_serial_keeps_its_end() {
        assert_eq!(Line::fitted("KM48-000123".into(), AFTER_PAINT, COLUMN).words, "KM48-000123");
        let long = Line::fitted("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789".into(), AFTER_PAINT, COLUMN);
        assert!(long.words.starts_with('…') && long.words.ends_with("0123456789"), "{long:?}");
    }

    #[test]
    fn no_words_run_over_the_edge_of_their_unit_in_any_language() {
        const KINDS: [UnitKind; 6] = [
            UnitKind::Module,
            UnitKind::ControlUnit,
            UnitKind::Inverter,
            UnitKind::Changeover,
            UnitKind::Meter,
            UnitKind::Gateway,
        ];
        for lang in Lang::ALL {
            let w = Words { lang, decimal: Decimal::Point };
            let states = [
                t!(w, "job.drawing.bad"),
                t!(w, "job.drawing.missing"),
                t!(w, "job.drawing.existing"),
                "SN-2026-000000123456789",
            ];
            let second = KINDS
                .iter()
                .filter(|kind| !matches!(kind, UnitKind::Module | UnitKind::ControlUnit))
                .map(|kind| format!("{} 2", w.say(short_kind(*kind))));
            let rooms = [
                (COLUMN, AFTER_PAINT, states.map(str::to_owned).to_vec()),
                (COLUMN, AFTER_PAINT + AFTER_SLOT, KINDS.map(|kind| w.say(short_kind(kind)).to_owned()).to_vec()),
                (BESIDE_WIDTH, AT_EDGE, states.map(str::to_owned).to_vec()),
                (BESIDE_WIDTH, AFTER_PAINT, second.collect()),
            ];
            for (width, x, all) in rooms {
                for words in all {
                    let line = Line::fitted(words.clone(), x, width);
                    let count = i32::try_from(line.words.chars().count()).expect("short");
                    assert!(line.x + taken(count, line.size) + MARGIN <= width, "{lang:?} {line:?} in {width}");
                    // A word of ours is never cut.
                    assert!(line.words == words || words.starts_with("SN"), "{lang:?} {words}: {line:?}");
                }
            }
        }
    }
}
