//! The single-line diagram: network, main fuse, meter, assembly, the battery's branch, other sources, loads, protective
//! conductors. Designations follow IEC 81346-2: F protection, P measuring, Q switching, T converting, G supplying, W cables.

use super::svg::{Anchor, LINE_HEIGHT, Svg};
use super::{Design, figure, symbols};
use crate::design::inputs::{EXISTING, Inverter, Joint, NEW};
use crate::design::sheet::Sheet;
use crate::electrical::Unit;

/// Columns of the battery's branch.
const NETWORK: i32 = 60;
const MAIN_FUSE: i32 = 170;
const METER: i32 = 280;
const BUSBAR: i32 = 370;
const BREAKER: i32 = 460;
const RCD: i32 = 590;
const AC_CABLE: i32 = 720;
const CONVERTER: i32 = 850;
const DC_SWITCH: i32 = 970;
const DC_FUSE: i32 = 1090;
const DC_CABLE: i32 = 1220;
const STACKS: i32 = 1360;
const STACK_STEP: i32 = 170;
/// Room for the fuse and the cable of a string, left of its modules.
const TAP: i32 = 380;
/// Between the protective conductors of the inverter and of the battery.
const EARTH_STEP: i32 = 32;
/// Rows; text stands above its row.
const ROW: i32 = 130;
const ROW_STEP: i32 = 130;
const MODULE_STEP: i32 = 44;
const MODULES_SHOWN: i64 = 12;

/// The diagram of a design with what its sheet computed.
pub fn single_line(design: &Design, sheet: &Sheet) -> String {
    let stacks = design.stacked();
    let tallest = stacks.iter().copied().max().unwrap_or(1).min(MODULES_SHOWN);
    let columns = i32::try_from(stacks.len().max(1)).unwrap_or(1);
    let battery_bottom = ROW + 40 + MODULE_STEP * i32::try_from(tallest).unwrap_or(1) + 20;
    let existing = design.get("existing_inverter_w").is_some();
    let rows = if existing { 3 } else { 2 };
    let loads_row = ROW + ROW_STEP * (rows - 1);
    let earth_line = battery_bottom.max(loads_row + 50 + EARTH_STEP) + 40;
    let mut svg = Svg::of(column(design, columns - 1) + 110, earth_line + 70);

    supply(&mut svg, design);
    svg.thick(BUSBAR, ROW - 40, BUSBAR, loads_row + 30);
    label(&mut svg, BUSBAR, ROW - 50, vec!["-X1".to_owned(), amperes(design, "busbar_a")]);
    battery_branch(&mut svg, design, sheet);
    if existing {
        other_source(&mut svg, design, ROW + ROW_STEP);
    }
    svg.line(BUSBAR, loads_row, BREAKER - symbols::REACH, loads_row);
    symbols::loads(&mut svg, BREAKER, loads_row);
    batteries(&mut svg, design, &stacks);
    protective(&mut svg, design, loads_row, earth_line, columns, &stacks);
    svg.finish()
}

/// Designation and figures over a symbol; empty ones are left out.
fn label(svg: &mut Svg, x: i32, y: i32, lines: Vec<String>) {
    let lines: Vec<String> = lines.into_iter().filter(|line| !line.is_empty()).collect();
    svg.above(x, y, &lines);
}

/// Where the modules of a stack stand.
fn column(design: &Design, index: i32) -> i32 {
    let tap = if is_parallel(design) { TAP } else { 0 };
    STACKS + tap + (STACK_STEP + tap) * index
}

fn amperes(design: &Design, key: &str) -> String {
    design.get(key).map_or_else(String::new, |micro| figure(Unit::Ampere, micro))
}

/// Section and length, each on a line of its own.
fn cable_lines(design: &Design, name: &str, size: &str, length: &str) -> Vec<String> {
    let of = |key: &str, unit| design.get(key).map_or_else(String::new, |micro| figure(unit, micro));
    vec![name.to_owned(), of(size, Unit::SquareMillimetre), of(length, Unit::Metre)]
}

fn supply(svg: &mut Svg, design: &Design) {
    symbols::network(svg, NETWORK, ROW);
    let earthing = design.get("earthing").and_then(|code| crate::design::field("earthing")?.choice(code));
    let earthing = match earthing {
        Some("tn_s") => "TN-S",
        Some("tn_c_s") => "TN-C-S",
        Some("tt") => "TT",
        Some("men") => "MEN",
        Some(_) | None => "",
    };
    let [conductors, voltage] = supply_words(design);
    label(svg, NETWORK + 8, ROW - 34, vec![conductors, voltage, earthing.to_owned()]);
    svg.line(NETWORK + 50, ROW, MAIN_FUSE - symbols::REACH, ROW);
    symbols::fuse(svg, MAIN_FUSE, ROW);
    label(svg, MAIN_FUSE, ROW - 34, vec!["-F1".to_owned(), amperes(design, "main_fuse_a")]);
    svg.line(MAIN_FUSE + symbols::REACH, ROW, METER - symbols::REACH, ROW);
    symbols::meter(svg, METER, ROW);
    label(svg, METER, ROW - 34, vec!["-P1".to_owned()]);
    svg.line(METER + symbols::REACH, ROW, BUSBAR, ROW);
}

/// Live conductors and voltage as IEC 61293 writes them. Of a split phase the design has the whole voltage between its two lines,
/// and the neutral lies half-way.
fn supply_words(design: &Design) -> [String; 2] {
    let phases = design.whole("phases").unwrap_or(1).clamp(1, 3);
    let volts = |micro: i64| figure(Unit::Volt, micro);
    let nominal = design.get("ac_nominal_v");
    let is_split = phases == 2 || phases == 1 && word(design, "earthing") == "us_service";
    match nominal {
        Some(whole) if is_split => {
            let half = volts(whole / 2);
            let half = half.split(|c: char| c.is_whitespace()).next().unwrap_or_default();
            ["2/N ~".to_owned(), format!("{half}/{}", volts(whole))]
        }
        Some(micro) => [format!("{phases}/N ~"), volts(micro)],
        None => [format!("{}/N ~", if is_split { 2 } else { phases }), String::new()],
    }
}

fn battery_branch(svg: &mut Svg, design: &Design, sheet: &Sheet) {
    svg.line(BUSBAR, ROW, BREAKER - symbols::REACH, ROW);
    symbols::breaker(svg, BREAKER, ROW);
    let kind = word(design, "ac_breaker_type").to_uppercase();
    let rating = amperes(design, "ac_breaker_a");
    let breaker = if kind.is_empty() || rating.is_empty() { rating } else { format!("{kind} · {rating}") };
    label(svg, BREAKER, ROW - 34, vec!["-Q1".to_owned(), breaker]);
    svg.line(BREAKER + symbols::REACH, ROW, RCD - 40, ROW);
    residual_current(svg, design);
    svg.line(RCD + 40, ROW, AC_CABLE - 50, ROW);
    // Live ones, neutral and protective conductor.
    let conductors = match design.inverter_phases(NEW) {
        Some(1) => "3",
        Some(2) => "4",
        Some(_) => "5",
        None => "",
    };
    symbols::cable(svg, AC_CABLE, ROW, conductors);
    label(svg, AC_CABLE, ROW - 34, cable_lines(design, "-W1", "ac_cable_size_mm2", "ac_cable_length_m"));
    svg.line(AC_CABLE + 50, ROW, CONVERTER - 40, ROW);
    symbols::converter(svg, CONVERTER, ROW);
    let power = design.get("inverter_w").map_or_else(String::new, kilowatts);
    label(svg, CONVERTER, ROW - 38, vec!["-T1".to_owned(), power, line_word(design, NEW)]);
    svg.line(CONVERTER + 40, ROW, DC_SWITCH - symbols::REACH, ROW);
    symbols::switch_disconnector(svg, DC_SWITCH, ROW);
    let volts = design.get("dc_device_rating_v").map_or_else(String::new, |micro| figure(Unit::Volt, micro));
    label(svg, DC_SWITCH, ROW - 34, vec!["-Q2".to_owned(), volts]);
    direct_path(svg, design);
    label(svg, column(design, 0), ROW - 34, battery_lines(design, sheet));
}

/// Up to the modules of a single string, or to the node where several join: only what all of them have in common.
fn direct_path(svg: &mut Svg, design: &Design) {
    let (fuse, cable) = if !is_parallel(design) {
        (Some(("-F3", "dc_fuse_a")), Some(("-W2", "dc_cable_size_mm2", "dc_cable_length_m")))
    } else {
        let common = ("-W4", "dc_common_cable_size_mm2", "dc_common_cable_length_m");
        match design.joint() {
            Some(Joint::Fuse) => (Some(("-F4", "dc_common_fuse_a")), Some(common)),
            Some(Joint::Cable) => (None, Some(common)),
            Some(Joint::AtInverter) | None => (None, None),
        }
    };
    svg.line(DC_SWITCH + symbols::REACH, ROW, DC_FUSE - symbols::REACH, ROW);
    match fuse {
        Some((name, rating)) => {
            symbols::fuse(svg, DC_FUSE, ROW);
            label(svg, DC_FUSE, ROW - 34, vec![name.to_owned(), amperes(design, rating)]);
        }
        None => svg.line(DC_FUSE - symbols::REACH, ROW, DC_FUSE + symbols::REACH, ROW),
    }
    svg.line(DC_FUSE + symbols::REACH, ROW, DC_CABLE - 50, ROW);
    match cable {
        Some((name, size, length)) => {
            symbols::cable(svg, DC_CABLE, ROW, "2");
            label(svg, DC_CABLE, ROW - 34, cable_lines(design, name, size, length));
        }
        None => svg.line(DC_CABLE - 50, ROW, DC_CABLE + 50, ROW),
    }
    let end = if is_parallel(design) { column(design, 0) - TAP } else { STACKS };
    svg.line(DC_CABLE + 50, ROW, end, ROW);
}

/// The fuse and the cable of one string, from the node to its modules; the next string's row is close below, so all words stand
/// above.
fn string_tap(svg: &mut Svg, design: &Design, number: i64, x: i32, y: i32) {
    let node = x - TAP;
    let (fuse, cable) = (node + 70, node + 225);
    svg.line(node, y, fuse - symbols::REACH, y);
    symbols::fuse(svg, fuse, y);
    svg.line(fuse + symbols::REACH, y, x, y);
    let rated = vec![format!("-F3.{number}"), amperes(design, "dc_fuse_a")];
    let laid = cable_lines(design, &format!("-W2.{number}"), "dc_cable_size_mm2", "dc_cable_length_m");
    for (mut parts, middle) in [(rated, fuse), (laid, cable)] {
        parts.retain(|part| !part.is_empty());
        svg.text(middle, y - 11, Anchor::Middle, &parts.join(" · "));
    }
}

/// Left out where none is planned, as in a US house.
fn residual_current(svg: &mut Svg, design: &Design) {
    let kind = word(design, "rcd_type").to_uppercase();
    let residual = design.get("rcd_residual_a");
    if kind.is_empty() && residual.is_none() {
        svg.line(RCD - 40, ROW, RCD + 40, ROW);
        return;
    }
    symbols::residual_current(svg, RCD, ROW);
    let residual = residual
        .map_or_else(String::new, |micro| format!("IΔn {} mA", figure(Unit::Count, micro.saturating_mul(1_000))));
    label(svg, RCD, ROW - 34, vec!["-F2".to_owned(), kind, residual]);
}

fn battery_lines(design: &Design, sheet: &Sheet) -> Vec<String> {
    let energy =
        design.energy().map_or_else(String::new, |micro| format!("{} kWh", figure(Unit::Count, micro / 1_000)));
    let window = sheet.line("stack_window").and_then(|line| line.check());
    let volts = window.and_then(|check| {
        let (low, high) = (check.result("stack_voltage_min")?, check.result("stack_voltage_max")?);
        Some(format!("{}–{} V", figure(Unit::Count, low.micro), figure(Unit::Count, high.micro)))
    });
    vec!["-G1".to_owned(), energy, volts.unwrap_or_default()]
}

fn word(design: &Design, key: &str) -> &'static str {
    design.get(key).and_then(|code| crate::design::field(key)?.choice(code)).unwrap_or("")
}

/// Of a single phase on several: the line that somebody named.
fn line_word(design: &Design, inverter: Inverter) -> String {
    let is_single = design.has_lines() && design.inverter_phases(inverter) == Some(1);
    if is_single { word(design, inverter.line).to_uppercase() } else { String::new() }
}

fn kilowatts(micro: i64) -> String {
    format!("{} kW", figure(Unit::Count, micro / 1_000))
}

/// A source that was there before.
fn other_source(svg: &mut Svg, design: &Design, row: i32) {
    svg.line(BUSBAR, row, BREAKER - symbols::REACH, row);
    symbols::breaker(svg, BREAKER, row);
    label(svg, BREAKER, row - 34, vec!["-Q3".to_owned(), amperes(design, "existing_breaker_a")]);
    svg.line(BREAKER + symbols::REACH, row, RCD - 40, row);
    symbols::converter(svg, RCD, row);
    let power = design.get("existing_inverter_w").map_or_else(String::new, kilowatts);
    label(svg, RCD, row - 38, vec!["-T2".to_owned(), power, line_word(design, EXISTING)]);
}

fn is_parallel(design: &Design) -> bool {
    design.strings() > 1
}

/// One column of modules for each stack. Strings hang on a common conductor; a single string goes on into the next stack.
fn batteries(svg: &mut Svg, design: &Design, stacks: &[i64]) {
    let parallel = is_parallel(design);
    let in_series = design.in_series().unwrap_or(1).max(1);
    let mut strings = 0;
    for (index, modules) in (0..).zip(stacks) {
        let x = column(design, index);
        let shown = i32::try_from((*modules).min(MODULES_SHOWN)).unwrap_or(1);
        let (top, bottom) = (ROW + 40, ROW + 40 + MODULE_STEP * shown);
        if !parallel {
            svg.line(x, ROW, x, top);
        }
        let mut lowest = ROW;
        for module in 0..shown {
            let y = top + MODULE_STEP * module;
            let begins = i64::from(module) % in_series == 0;
            if parallel && begins {
                strings += 1;
                string_tap(svg, design, strings, x, y + 2);
                lowest = y + 2;
            }
            symbols::battery(svg, x, y + MODULE_STEP / 2);
            let ends = (i64::from(module) + 1) % in_series == 0 && parallel;
            if module + 1 < shown && !ends {
                svg.line(x, y + MODULE_STEP - 2, x, y + MODULE_STEP + 2);
            }
            // Slots count from the bottom.
            let slot = if *modules > MODULES_SHOWN { String::new() } else { (shown - module).to_string() };
            svg.text(x + 30, y + MODULE_STEP / 2 + 5, Anchor::Middle, &slot);
        }
        if parallel {
            svg.line(x - TAP, ROW, x - TAP, lowest);
        }
        if *modules > MODULES_SHOWN {
            svg.text(x + 32, top + LINE_HEIGHT, Anchor::Start, &format!("× {modules}"));
        }
        let (left, right) = (x - 32, x + 46);
        svg.dashed(&[(left, top - 12), (right, top - 12), (right, bottom + 12), (left, bottom + 12), (left, top - 12)]);
        if usize::try_from(index).unwrap_or(0) + 1 < stacks.len() {
            let next = column(design, index + 1);
            if parallel {
                svg.dot(x - TAP, ROW);
                svg.line(x - TAP, ROW, next - TAP, ROW);
            } else {
                svg.poly(&[(x, bottom - 2), (x, bottom + 24), (x + 85, bottom + 24), (x + 85, ROW), (next, ROW)]);
            }
        }
    }
}

/// The main earthing terminal, the electrode and the protective conductors to every enclosure.
fn protective(svg: &mut Svg, design: &Design, loads_row: i32, line: i32, columns: i32, stacks: &[i64]) {
    let own = line - EARTH_STEP;
    svg.dashed(&[(BUSBAR, loads_row + 30), (BUSBAR, line)]);
    let last = column(design, columns - 1) - 20;
    svg.dashed(&[(BUSBAR, line), (if stacks.is_empty() { CONVERTER } else { last }, line)]);
    svg.dot(BUSBAR, line);
    symbols::earth(svg, BUSBAR, line);
    // The inverter's runs with its alternating cable, and the battery's is another one.
    svg.dashed(&[(BUSBAR, own), (CONVERTER, own), (CONVERTER, ROW + 26)]);
    svg.dot(BUSBAR, own);
    for (index, modules) in (0..).zip(stacks) {
        let shown = i32::try_from((*modules).min(MODULES_SHOWN)).unwrap_or(1);
        let x = column(design, index) - 20;
        svg.dashed(&[(x, line), (x, ROW + 40 + MODULE_STEP * shown + 12)]);
    }
    for (name, size, length, row) in
        [("-W1 PE", "ac_protective_core_mm2", "ac_cable_length_m", own), ("-W3 PE", "pe_size_mm2", "pe_length_m", line)]
    {
        let mut parts = cable_lines(design, name, size, length);
        parts.retain(|part| !part.is_empty());
        svg.text((BUSBAR + CONVERTER) / 2, row - 8, Anchor::Middle, &parts.join(" · "));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_string_has_its_fuse_and_the_node_stands_behind_them() {
        let drawn = |text: &str| {
            let design = Design::parse(text).expect("well formed");
            let rules = crate::electrical::rule_set::RuleSet::of(crate::electrical::rule_set::Place::De);
            single_line(&design, &crate::design::sheet(&design, &rules))
        };
        let one = drawn("modules = 6\ndc_fuse_a = 50\nstring_joint = joint_fuse");
        assert!(one.contains(">-F3<") && !one.contains("-F3.1") && !one.contains("-F4"), "{one}");
        let two = "modules = 6\nstacks = 2\nstrings = 2\ndc_fuse_a = 50\ndc_cable_size_mm2 = 10\n\
                   dc_common_fuse_a = 100\nstring_joint =";
        let fused = drawn(&format!("{two} joint_fuse"));
        for words in [">-F3.1 · 50 A<", ">-F3.2 · 50 A<", ">-W2.2 · 10 mm²<", ">-F4<", ">100 A<", ">-W4<"] {
            assert!(fused.contains(words), "{words}: {fused}");
        }
        let earthed = drawn("modules = 6\nac_protective_core_mm2 = 4\npe_size_mm2 = 16\npe_length_m = 9");
        assert!(earthed.contains(">-W1 PE · 4 mm²<") && earthed.contains(">-W3 PE · 16 mm² · 9 m<"), "{earthed}");
        let bare = drawn(&format!("{two} joint_at_inverter"));
        assert!(bare.contains("-F3.2") && !bare.contains("-F4") && !bare.contains("-W4"), "{bare}");
    }

    #[test]
    fn the_cable_of_an_inverter_has_its_own_conductors() {
        let drawn = |text: &str| {
            let design = Design::parse(&format!("phases = 3\n{text}")).expect("well formed");
            let rules = crate::electrical::rule_set::RuleSet::of(crate::electrical::rule_set::Place::De);
            single_line(&design, &crate::design::sheet(&design, &rules))
        };
        let single = drawn("inverter_phases = one_phase\ninverter_line = l2");
        assert!(single.contains(">3<") && !single.contains(">5<") && single.contains(">L2<"), "{single}");
        let three = drawn("inverter_phases = three_phases\ninverter_line = l2");
        assert!(three.contains(">5<") && !three.contains(">L2<"), "{three}");
    }

    #[test]
    fn a_supply_is_written_as_its_conductors_and_voltages() {
        let of = |text: &str| supply_words(&Design::parse(text).expect("well formed")).join(" ");
        assert_eq!(of("phases = 1\nac_nominal_v = 240\nearthing = us_service"), "2/N ~ 120/240 V");
        assert_eq!(of("phases = 1\nac_nominal_v = 230\nearthing = tt"), "1/N ~ 230 V");
        assert_eq!(of("phases = 3\nac_nominal_v = 230"), "3/N ~ 230 V");
        assert_eq!(of("earthing = us_service"), "2/N ~ ");
        assert_eq!(of("phases = 2\nac_nominal_v = 240"), "2/N ~ 120/240 V");
        assert_eq!(of(""), "1/N ~ ");
    }
}
