//! The stack in front and side view with its distances: what is there, what is asked for, and the verdict as a sign.

use super::svg::{Anchor, LINE_HEIGHT, Svg};
use super::{Design, figure};
use crate::design::sheet::{Line, Sheet};
use crate::electrical::{Prefix, Quantity, Unit, Verdict};

const LEFT_WALL: i32 = 40;
const GAP: i32 = 150;
const STACK_WIDTH: i32 = 130;
const CEILING: i32 = 50;
const ABOVE: i32 = 100;
const BASE: i32 = 14;
const CONTROL: i32 = 36;
/// All modules of a stack together have at most this height.
const MODULES_HEIGHT: i32 = 352;
const MODULE_HEIGHT: i32 = 44;
/// Below this a module is too low for its number.
const NUMBERED: i32 = 18;
const SIDE_DEPTH: i32 = 70;

/// The drawing of a design with the verdicts of its sheet.
pub fn stack_drawing(design: &Design, sheet: &Sheet) -> String {
    let mut stacks = design.stacked();
    if stacks.is_empty() {
        stacks.push(1);
    }
    let columns = i32::try_from(stacks.len()).unwrap_or(1);
    let tallest = stacks.iter().copied().max().unwrap_or(1);
    let each = MODULE_HEIGHT.min(MODULES_HEIGHT / i32::try_from(tallest.clamp(1, 352)).unwrap_or(1)).max(1);
    let tall = BASE + CONTROL + each * i32::try_from(tallest.min(352)).unwrap_or(1);
    let floor = CEILING + ABOVE + tall;
    let right_wall = LEFT_WALL + GAP * (columns + 1) + STACK_WIDTH * columns;
    let side = right_wall + 90;
    let list = side + SIDE_DEPTH + GAP + 110;
    let rules: Vec<&Line> = sheet.lines.iter().filter(|line| is_distance(line)).collect();
    let list_height = 40 + 22 * i32::try_from(rules.len()).unwrap_or(0);
    let mut svg = Svg::of(list + 420, (floor + 90).max(list_height + 40));

    room(&mut svg, LEFT_WALL, right_wall, floor);
    let mut x = LEFT_WALL + GAP;
    for (index, modules) in stacks.iter().enumerate() {
        let top = one_stack(&mut svg, x, floor, *modules, each);
        if index == 0 {
            upright(&mut svg, x + STACK_WIDTH / 2, CEILING, top, &measured(design, sheet, "above_distance_m"));
            across(&mut svg, LEFT_WALL, x, floor - 70, &measured(design, sheet, "left_distance_m"));
        }
        let last = index + 1 == stacks.len();
        let what = if last { "right_distance_m" } else { "unit_distance_m" };
        across(&mut svg, x + STACK_WIDTH, x + STACK_WIDTH + GAP, floor - 70, &measured(design, sheet, what));
        x += STACK_WIDTH + GAP;
    }
    below(&mut svg, design, LEFT_WALL + GAP, floor);
    side_view(&mut svg, design, sheet, side, floor, tall);
    for (index, line) in (0..).zip(&rules) {
        rule(&mut svg, design, list, 60 + 22 * index, line);
    }
    svg.finish()
}

/// A distance with its limit and sign, for the measure lines.
struct Measure {
    /// What is there.
    value: String,
    /// What is asked for.
    least: String,
    verdict: Option<Verdict>,
}

fn is_distance(line: &Line) -> bool {
    line.measures.is_some()
}

/// What is known of a distance: a failed check first, and the one that asks for most.
fn measured(design: &Design, sheet: &Sheet, field: &str) -> Measure {
    let value = shown(design, field);
    let lines = || sheet.lines.iter().filter(|line| line.measures == Some(field));
    let least = lines().filter_map(least_of).max();
    let failed = lines().find(|line| matches!(line.verdict(), Verdict::Fail(_)));
    let passed = lines().find(|line| line.verdict() == Verdict::Pass);
    // One question mark says it.
    let verdict = failed.or(passed).or(lines().next()).map(Line::verdict).filter(|_| design.get(field).is_some());
    Measure {
        value,
        least: least.map_or_else(String::new, |micro| format!("≥ {}", figure(Unit::Metre, micro))),
        verdict,
    }
}

/// The distance that is there, or a question mark.
fn shown(design: &Design, field: &str) -> String {
    design.get(field).map_or_else(|| "?".to_owned(), |micro| figure(Unit::Metre, micro))
}

fn least_of(line: &Line) -> Option<i64> {
    line.check()?.limit?.limit.at_least
}

/// A tick, a cross, a question mark; drawn, for not every font has them.
fn sign(svg: &mut Svg, x: i32, y: i32, verdict: Verdict) {
    match verdict {
        Verdict::Pass => svg.poly(&[(x - 6, y - 5), (x - 2, y), (x + 6, y - 11)]),
        Verdict::Fail(_) => {
            svg.line(x - 6, y - 11, x + 6, y);
            svg.line(x - 6, y, x + 6, y - 11);
        }
        Verdict::NotDetermined(_) => svg.text(x, y, Anchor::Middle, "?"),
        Verdict::NotApplicable(_) => svg.text(x, y, Anchor::Middle, "–"),
    }
}

/// Ceiling, side walls and floor, hatched outside.
fn room(svg: &mut Svg, left: i32, right: i32, floor: i32) {
    svg.poly(&[(left, floor), (left, CEILING), (right, CEILING), (right, floor)]);
    svg.line(left - 20, floor, right + 20, floor);
    for y in (CEILING..floor).step_by(24) {
        svg.thin(left - 12, y + 12, left, y);
        svg.thin(right, y + 12, right + 12, y);
    }
    for x in (left..right).step_by(24) {
        svg.thin(x, CEILING, x + 12, CEILING - 12);
    }
    for x in (left - 20..right + 20).step_by(24) {
        svg.thin(x, floor + 12, x + 12, floor);
    }
}

/// Base, modules numbered from the floor, control unit. Gives its top.
fn one_stack(svg: &mut Svg, x: i32, floor: i32, modules: i64, each: i32) -> i32 {
    svg.rect(x + 8, floor - BASE, STACK_WIDTH - 16, BASE);
    let mut y = floor - BASE;
    for slot in 1..=modules.clamp(0, 352) {
        y -= each;
        svg.rect(x, y, STACK_WIDTH, each);
        if each >= NUMBERED {
            svg.text(x + STACK_WIDTH / 2, y + each / 2 + 5, Anchor::Middle, &slot.to_string());
        }
    }
    svg.rect(x, y - CONTROL, STACK_WIDTH, CONTROL);
    svg.circle(x + 20, y - CONTROL / 2, 5);
    y - CONTROL
}

/// A measure from x1 to x2: figure and sign above the line, what is asked for below.
fn across(svg: &mut Svg, x1: i32, x2: i32, y: i32, measure: &Measure) {
    svg.thin(x1 + 2, y, x2 - 2, y);
    svg.arrow(x1 + 2, y, -1, 0);
    svg.arrow(x2 - 2, y, 1, 0);
    let middle = (x1 + x2) / 2;
    svg.text(middle - 8, y - 8, Anchor::Middle, &measure.value);
    if let Some(verdict) = measure.verdict {
        sign(svg, middle + 48, y - 8, verdict);
    }
    svg.text(middle, y + LINE_HEIGHT, Anchor::Middle, &measure.least);
}

/// The same upright, with its text to the right.
fn upright(svg: &mut Svg, x: i32, y1: i32, y2: i32, measure: &Measure) {
    svg.thin(x, y1 + 2, x, y2 - 2);
    svg.arrow(x, y1 + 2, 0, -1);
    svg.arrow(x, y2 - 2, 0, 1);
    let middle = (y1 + y2) / 2;
    svg.text(x + 12, middle - 3, Anchor::Start, &measure.value);
    if let Some(verdict) = measure.verdict {
        sign(svg, x + 86, middle - 3, verdict);
    }
    svg.text(x + 12, middle + LINE_HEIGHT - 3, Anchor::Start, &measure.least);
}

/// Width, mass and energy under the first stack.
fn below(svg: &mut Svg, design: &Design, x: i32, floor: i32) {
    let of = |micro: Option<i64>, unit| micro.map(|micro| figure(unit, micro));
    let parts = [of(design.get("module_width_m"), Unit::Metre), of(design.stack_mass(), Unit::Kilogram)];
    let text = parts.into_iter().flatten().collect::<Vec<_>>().join(" · ");
    svg.text(x + STACK_WIDTH / 2, floor + 34, Anchor::Middle, &text);
    if let Some(energy) = design.energy() {
        let text = format!("Σ {} kWh", figure(Unit::Count, energy / 1_000));
        svg.text(x + STACK_WIDTH / 2, floor + 34 + LINE_HEIGHT, Anchor::Middle, &text);
    }
}

/// The stack from its side: wall, bracket, centre of gravity, free space in front.
fn side_view(svg: &mut Svg, design: &Design, sheet: &Sheet, wall: i32, floor: i32, tall: i32) {
    svg.line(wall, CEILING, wall, floor);
    for y in (CEILING..floor).step_by(24) {
        svg.thin(wall - 12, y + 12, wall, y);
    }
    let front = wall + 12 + SIDE_DEPTH;
    let end = front + GAP;
    svg.line(wall - 12, floor, end + 12, floor);
    for x in (wall - 12..end + 12).step_by(24) {
        svg.thin(x, floor + 12, x + 12, floor);
    }
    svg.rect(wall + 12, floor - tall, SIDE_DEPTH, tall);
    let height = design.stack_height().filter(|height| *height > 0);
    let at = |micro: Option<i64>, otherwise: i32| match (micro, height) {
        (Some(micro), Some(height)) => {
            let share = i128::from(micro.max(0)) * i128::from(tall) / i128::from(height);
            floor - i32::try_from(share.min(i128::from(tall))).unwrap_or(tall)
        }
        (Some(_), None) | (None, _) => floor - otherwise,
    };
    let bracket = at(design.get("bracket_height_m"), tall - 10);
    svg.thick(wall, bracket, wall + 14, bracket);
    let gravity = at(design.gravity_height(), tall / 2);
    let centre = wall + 12 + SIDE_DEPTH / 2;
    svg.circle(centre, gravity, 8);
    svg.line(centre - 8, gravity, centre + 8, gravity);
    svg.line(centre, gravity - 8, centre, gravity + 8);
    across(svg, front, end, floor - 70, &measured(design, sheet, "working_depth_m"));
    if let Some(force) = sheet.line("bracket").and_then(Line::check).and_then(|check| check.result("bracket_force")) {
        // What pulls the bracket out of the wall.
        svg.thin(wall + 14, bracket, wall + 54, bracket);
        svg.arrow(wall + 58, bracket, 1, 0);
        let newtons = Quantity::of(Unit::Newton, force.micro).format(0, Prefix::One, '.');
        svg.text(wall + 16, floor - tall - 10, Anchor::Start, &format!("{newtons} N"));
    }
    let parts = [design.get("module_depth_m"), design.stack_height()];
    let text = parts.into_iter().flatten().map(|micro| figure(Unit::Metre, micro)).collect::<Vec<_>>().join(" × ");
    svg.text(centre, floor + 34, Anchor::Middle, &text);
}

/// One line of the list: sign, rule, figure, what is asked for.
fn rule(svg: &mut Svg, design: &Design, x: i32, y: i32, line: &Line) {
    sign(svg, x, y, line.verdict());
    let maker = match line.key {
        "maker_left" => "M ←",
        "maker_right" => "M →",
        "maker_above" => "M ↑",
        _ => "M",
    };
    svg.text(x + 20, y, Anchor::Start, line.rule.map_or(maker, |(id, _)| id));
    let value = line.measures.map_or_else(String::new, |field| shown(design, field));
    svg.text(x + 240, y, Anchor::End, &value);
    let least = least_of(line).map_or_else(String::new, |micro| format!("≥ {}", figure(Unit::Metre, micro)));
    svg.text(x + 340, y, Anchor::End, &least);
}

#[cfg(test)]
mod tests {
    use super::super::single_line;
    use super::*;
    use crate::design::sheet;
    use crate::electrical::rule_set::{Place, RuleSet};

    fn both(modules: i64, stacks: i64) -> [String; 2] {
        let mut design = Design::parse(
            "module_wh = 2560
module_width_m = 0.6
module_depth_m = 0.18
module_height_m = 0.3
module_mass_kg = 30
             location_kind = outdoor_wall
opening_distance_m = 0.9
left_distance_m = 0.2
maker_side_distance_m = 0.1",
        )
        .expect("well formed");
        design.set("modules", modules * 1_000_000).set("stacks", stacks * 1_000_000);
        let sheet = sheet(&design, &RuleSet::of(Place::Uk));
        [single_line(&design, &sheet), stack_drawing(&design, &sheet)]
    }

    /// Where text begins and ends, roughly: nine units a sign is more than a sans-serif of fifteen takes.
    fn boxes(svg: &str) -> Vec<(i32, i32, i32, i32, String)> {
        svg.split("<text ")
            .skip(1)
            .map(|part| {
                let attribute =
                    |name: &str| part.split(&format!("{name}=\"")).nth(1).and_then(|rest| rest.split('"').next());
                let number = |name: &str| attribute(name).and_then(|text| text.parse::<i32>().ok()).expect("a number");
                let text = part.split('>').nth(1).and_then(|rest| rest.split('<').next()).expect("text").to_owned();
                let width = i32::try_from(text.replace("&lt;", "<").chars().count()).expect("short") * 9;
                let (x, y) = (number("x"), number("y"));
                let left = match attribute("text-anchor") {
                    Some("start") => x,
                    Some("middle") => x - width / 2,
                    _ => x - width,
                };
                (left, y - 13, left + width, y + 3, text)
            })
            .filter(|(.., text)| !text.is_empty())
            .collect()
    }

    #[test]
    fn no_text_lies_on_another_and_all_is_inside() {
        for (modules, stacks) in
            (1..=8).flat_map(|modules| [(modules, 1), (modules, 2)]).chain([(12, 1), (16, 2), (40, 1)])
        {
            for svg in both(modules, stacks) {
                let edge: Vec<i32> = svg
                    .split("viewBox=\"")
                    .nth(1)
                    .and_then(|rest| rest.split('"').next())
                    .map_or_else(Vec::new, |text| text.split(' ').filter_map(|number| number.parse().ok()).collect());
                let all = boxes(&svg);
                for (index, one) in all.iter().enumerate() {
                    assert!(one.0 >= 0 && one.1 >= 0 && one.2 <= edge[2] && one.3 <= edge[3], "{one:?} {edge:?}");
                    for other in &all[index + 1..] {
                        let apart = one.2 <= other.0 || other.2 <= one.0 || one.3 <= other.1 || other.3 <= one.1;
                        assert!(apart, "{modules} in {stacks}: {one:?} on {other:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn every_module_is_drawn_and_a_failure_crossed() {
        let [_, five] = both(5, 2);
        assert_eq!(five.matches("<rect").count(), 5 + 2 * 2 + 1);
        assert!(five.contains("UK-1M") && five.contains("0.9 m") && five.contains("≥ 1 m"));
    }
}
