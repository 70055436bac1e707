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
use crate::i18n::{Words, use_words};
use crate::routes::Screen;
use crate::t;

const WIDTH: i32 = 324;
const COLUMN: i32 = 206;
const BESIDE_X: i32 = 222;
const BESIDE_WIDTH: i32 = WIDTH - BESIDE_X - 2;
const UNIT: i32 = 58;
const GAP: i32 = 6;
const FLOOR: i32 = 14;
/// So many characters of a serial fit into a unit; its end is what differs.
const SERIAL_SHOWN: usize = 15;

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
    let short = shortened(&state);
    let words = if width > BESIDE_WIDTH { w.say(words::unit_kind(unit.kind)) } else { short_kind(w, unit.kind) };
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
            <text class="slot" x="34" y="24">{unit.slot}</text>
            <text class="kind" x="58" y="24">{words}</text>
            <text class="serial-text" x="34" y="47">{short}</text>
        </g>
    }
    .into_any()
}

/// The units beside have little room.
fn short_kind(w: Words, kind: UnitKind) -> &'static str {
    match kind {
        UnitKind::Inverter => t!(w, "job.drawing.inverter"),
        UnitKind::Module | UnitKind::ControlUnit | UnitKind::Changeover | UnitKind::Meter | UnitKind::Gateway => "",
    }
}

fn shortened(text: &str) -> String {
    let count = text.chars().count();
    if count <= SERIAL_SHOWN {
        return text.to_owned();
    }
    let end: String = text.chars().skip(count - SERIAL_SHOWN + 1).collect();
    format!("…{end}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_serial_keeps_its_end() {
        assert_eq!(shortened("KM48-000123"), "KM48-000123");
        let short = shortened("ABCDEFGHIJ0123456789");
        assert_eq!(short.chars().count(), SERIAL_SHOWN);
        assert!(short.starts_with('…') && short.ends_with("0123456789"), "{short}");
    }
}
