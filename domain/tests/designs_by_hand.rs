//! Three designs, line by line, against tables that were worked out outside of the program: `tests/hand/three_designs.py` writes them
//! from the physics and the standards and reads nothing of ours.
//!
//! Every line, figure, limit, verdict and remark of the sheet stands in the table, and nothing else does.
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

use std::collections::{BTreeMap, BTreeSet};

use domain::design::{Design, Line, Outcome, Sheet, sheet};
use domain::electrical::judge::Why;
use domain::electrical::rule_set::{Basis, Place, RuleSet};
use domain::electrical::{Check, CheckNote, Quantity, Verdict, codes};

macro_rules! golden {
    ($name:literal) => {
        include_str!(concat!("golden/designs/", $name))
    };
}

/// A house: where it is, its design, its table, and what the table calls the lines that other houses do not have or have by other rules.
struct House {
    place: Place,
    design: &'static str,
    table: &'static str,
    /// Lines of the first review; those of the table may only be more.
    lines_least: usize,
    own: &'static [(&'static str, &'static str)],
}

const HOUSES: [House; 3] = [
    House {
        place: Place::Uk,
        design: golden!("hand-uk.design.txt"),
        table: golden!("hand-uk.lines.txt"),
        lines_least: 39,
        own: &[
            ("not in a room for sleeping", "UK-SLEEP"),
            ("not in a cupboard of a room for sleeping", "UK-SLEEP-OPEN"),
            ("not in an escape route", "UK-ESC"),
            ("not in a loft or void", "UK-LOFT"),
            ("distance to doors and windows", "UK-1M"),
            ("distance to exits", "UK-1M-EXIT"),
            ("distance to flammable goods", "UK-2M"),
            ("statement of conformity", "UK-STATEMENT"),
            ("devices for both directions", "UK-BIDIR"),
            ("earthing while islanded", "UK-ISLAND"),
            ("trip time at 1 × the rated residual current", "UK-RCD-1"),
        ],
    },
    House {
        place: Place::De,
        design: golden!("hand-de.design.txt"),
        table: golden!("hand-de.lines.txt"),
        lines_least: 34,
        own: &[
            ("not in an escape route", "DE-ESC"),
            ("dry and ventilated", "DE-ENV"),
            ("devices for both directions", "DE-BIDIR"),
            ("trip time at 1 × the rated residual current", "DE-RCD-1"),
            ("trip time at 2 × the rated residual current", "DE-RCD-2"),
            ("trip time at 5 × the rated residual current", "DE-RCD-5"),
        ],
    },
    House {
        place: Place::Us,
        design: golden!("hand-us.design.txt"),
        table: golden!("hand-us.lines.txt"),
        lines_least: 32,
        own: &[
            ("distance to doors and windows", "US-3FT-O"),
            ("width of the working space", "US-WS-W"),
            ("height of the working space", "US-WS-H"),
            ("depth of the working space", "US-WS-D"),
            ("not in a habitable room", "US-HAB"),
            ("not in a room for sleeping", "US-SLEEP"),
            ("not in a cupboard of a room for sleeping", "US-SLEEP-OPEN"),
            ("listed", "US-LIST"),
            ("emergency shutdown outside", "US-STOP"),
        ],
    },
];

/// What the tables call the lines of every sheet.
const LINES: [(&str, &str); 34] = [
    ("stack in the inverter's window", "stack_window"),
    ("DC fuse", "dc_fuse"),
    ("drop on the DC cable", "dc_drop"),
    ("AC breaker", "ac_device"),
    ("breaking capacity of the AC breaker", "ac_breaking"),
    ("drop or rise on the AC cable", "ac_drop"),
    ("battery's protective conductor", "pe_size"),
    ("inverter's protective conductor", "ac_pe_size"),
    ("loop as planned", "loop_planned"),
    ("disconnection time", "disconnection"),
    ("type of the RCD", "rcd_type"),
    ("board", "busbar"),
    ("house and charging battery on the supply fuse", "import"),
    ("energy of the place", "energy"),
    ("left of the stack, by its maker", "maker_left"),
    ("right of the stack, by its maker", "maker_right"),
    ("above the stack, by its maker", "maker_above"),
    ("in front of the stack, by its maker", "maker_front"),
    ("bracket of the stack", "bracket"),
    ("pressure on the floor", "floor"),
    ("wall anchors", "wall"),
    ("heat of an arc", "arc"),
    ("class of the gloves", "gloves"),
    ("mass on the road", "transport"),
    ("changeover unit", "changeover"),
    ("fault while islanded", "island_fault"),
    ("how long the loads run", "runtime"),
    ("route with the network operator", "grid_route"),
    ("unbalance between the phases", "unbalance"),
    ("controllable by the operator", "controllable"),
    ("supply voltage", "supply_voltage"),
    ("continuity of the battery's protective conductor", "pe_continuity"),
    ("earth electrode", "electrode"),
    ("loop, measured cold", "loop_measured"),
];
const MORE_LINES: [(&str, &str); 5] = [
    ("insulation of the DC cable", "insulation_dc"),
    ("insulation of the AC cable", "insulation_ac"),
    ("insulation of the data line", "insulation_comms"),
    ("termination of the data line", "bus_termination"),
    ("wait before touching terminals", "discharge"),
];

/// Lines of a sheet that have none in the table, each with its reason. There is none.
const LEFT_OUT: [(&str, &str); 0] = [];

/// What the tables call the figures.
const FIGURES: [(&str, &str); 45] = [
    ("reading", "there"),
    ("stack_voltage_min", "least voltage"),
    ("stack_voltage_max", "greatest voltage"),
    ("current_max", "greatest current"),
    ("rating_min", "least rating"),
    ("next_size", "next size"),
    ("fault_current", "fault current"),
    ("drop", "drop"),
    ("drop_share", "share"),
    ("loss", "loss"),
    ("least_size", "least size"),
    ("size_to_use", "size to use"),
    ("rcd_type_least", "least type"),
    ("busbar_load", "load of the board"),
    ("source_breaker_least", "least source breaker"),
    ("inverter_current_max", "greatest inverter current"),
    ("breaker_sum", "sum of the breakers"),
    ("import_current", "import"),
    ("location_energy", "energy here"),
    ("largest_unit", "largest unit"),
    ("distance_least", "least distance"),
    ("weight", "weight"),
    ("bracket_force", "bracket force"),
    ("signed_force", "turning force"),
    ("tipping_factor", "tipping factor"),
    ("pressure", "pressure"),
    ("tension", "pull"),
    ("shear", "shear"),
    ("interaction", "both shares"),
    ("arc_heat", "heat"),
    ("transport_mass", "mass"),
    ("transport_points", "points"),
    ("island_current", "island fault current"),
    ("trip_current", "tripping current"),
    ("loop_max", "greatest loop"),
    ("loop_max_cold", "greatest loop cold"),
    ("usable_energy", "usable energy"),
    ("average_power", "average power"),
    ("runtime", "runtime"),
    ("phase_current", "current on the worst line"),
    ("unbalance", "single-phase power"),
    ("drawn_total", "drawn power"),
    ("electrode_max", "greatest electrode"),
    ("test_voltage", "test voltage"),
    ("discharge_time", "time"),
];
const MORE_FIGURES: [(&str, &str); 3] = [("expected", "expected"), ("energy", "stored energy"), ("wait", "wait")];

fn name_of(key: &str) -> &str {
    let known = FIGURES.iter().chain(&MORE_FIGURES).find(|(own, _)| *own == key);
    known.map_or(key, |(_, name)| name)
}

/// A quantity as the tables have it; a type of a residual-current device by its letters.
fn shown(check: &Check, quantity: Quantity) -> String {
    match codes::limited_by(check.id).and_then(|figure| codes::word(figure, quantity.micro)) {
        Some(word) => format!("type {}", codes::designation(word)),
        None => quantity.to_string(),
    }
}

fn figures(line: &Line) -> String {
    let Some(check) = line.check() else { return "-".to_owned() };
    let reading = check.inputs.iter().filter(|(key, _)| *key == "reading");
    let all: Vec<String> = (reading.chain(&check.results))
        .map(|(key, value)| format!("{} = {}", name_of(key), shown(check, *value)))
        .collect();
    if all.is_empty() { "-".to_owned() } else { all.join("; ") }
}

fn limit(line: &Line) -> String {
    let Some((check, own)) = line.check().and_then(|check| Some((check, check.limit?))) else { return "-".to_owned() };
    let show = |micro| shown(check, Quantity::of(own.unit, micro));
    match (own.limit.at_least, own.limit.at_most) {
        (Some(low), Some(high)) => format!("{} to {}", show(low), show(high)),
        (Some(low), None) => format!("at least {}", show(low)),
        // From 1.2 on protection is asked for, so the limit itself is too much.
        (None, Some(high)) if check.id == "F19" => format!("below {}", show(high + 1)),
        (None, Some(high)) => format!("at most {}", show(high)),
        (None, None) => "-".to_owned(),
    }
}

fn verdict(line: &Line) -> String {
    let word = match line.verdict() {
        Verdict::Pass => "pass",
        Verdict::Fail(Why::DropTooHigh) => "fail: drop too large",
        Verdict::Fail(Why::BusbarOverloaded) => "fail: board overloaded",
        Verdict::Fail(Why::ConsentNeeded) => "fail: consent first",
        Verdict::Fail(Why::TooClose) => "fail: too close",
        Verdict::NotDetermined(Why::NoReading) => "to be measured",
        Verdict::NotDetermined(Why::ArcProtectionNeeded) => "open: arc-rated protection",
        Verdict::NotDetermined(Why::ExtraRequirement) => "open: further demand",
        Verdict::NotDetermined(Why::ConsentNeeded) => "open: consent first",
        Verdict::NotApplicable(Why::NoBackup) => "does not apply: no backup",
        Verdict::NotApplicable(Why::NoRuleHere) => "does not apply: no rule here",
        other => return format!("{other:?}"),
    };
    let house = if line.fails_by_house_figure() { " (house figure)" } else { "" };
    format!("{word}{house}")
}

fn remark(line: &Line) -> String {
    let notes: Vec<String> = line.check().map_or(&[][..], |check| &check.notes[..]).iter().map(note).collect();
    if notes.is_empty() { "-".to_owned() } else { notes.join(", ") }
}

fn note(note: &CheckNote) -> String {
    match note {
        CheckNote::BreakerDoesNotTrip => "the breaker does not trip, the RCD must".to_owned(),
        CheckNote::TipsWithoutBracket => "tips without its bracket".to_owned(),
        CheckNote::ClearingTimeAssumed => "2 s taken".to_owned(),
        other => format!("{other:?}"),
    }
}

/// What the sheet says, by the table's names: figures, limit, verdict and remark.
fn of_sheet(house: &House, sheet: &Sheet) -> BTreeMap<String, [String; 4]> {
    let named = LINES.iter().chain(&MORE_LINES).chain(house.own);
    let names: BTreeMap<&str, &str> = named.map(|(name, key)| (*key, *name)).collect();
    let mut all = BTreeMap::new();
    for line in sheet.lines.iter().chain(&sheet.limits).filter(|line| LEFT_OUT.iter().all(|(key, _)| *key != line.key))
    {
        assert!(!matches!(line.outcome, Outcome::Missing | Outcome::OutOfRange(_)), "{}: {:?}", line.key, line.outcome);
        let name = names.get(line.key).copied().unwrap_or(line.key).to_owned();
        assert!(all.insert(name, [figures(line), limit(line), verdict(line), remark(line)]).is_none(), "{}", line.key);
    }
    for notice in &sheet.notices {
        let when = match (notice.basis, notice.count) {
            (Basis::Before, _) => "before".to_owned(),
            (Basis::Months, 1) => "1 month".to_owned(),
            (Basis::Days, days) => format!("{days} days"),
            (basis, count) => format!("{basis:?} {count}"),
        };
        let none = || "-".to_owned();
        all.insert(format!("paper: {}", notice.form), [none(), when, none(), none()]);
    }
    all
}

/// The table, without its formulas, which are for people.
fn of_table(text: &str) -> BTreeMap<String, [String; 4]> {
    let mut all = BTreeMap::new();
    for row in text.lines().filter(|row| !row.starts_with('#')) {
        let cells: Vec<&str> = row.split(" | ").collect();
        let [name, _, figures, limit, verdict, remark] = cells[..] else { panic!("{row}") };
        let rest = [figures, limit, verdict, remark].map(str::to_owned);
        assert!(all.insert(name.to_owned(), rest).is_none(), "{name} twice");
    }
    all
}

/// Names of the lines of which only one side knows or that differ, with what both say.
fn differences(house: &House, design: &Design, table: &str) -> Vec<String> {
    let (ours, theirs) = (of_sheet(house, &sheet(design, &RuleSet::of(house.place))), of_table(table));
    let names: BTreeSet<&String> = ours.keys().chain(theirs.keys()).collect();
    let unequal = names.into_iter().filter(|name| ours.get(*name) != theirs.get(*name));
    unequal.map(|name| format!("{name}: sheet {:?}, by hand {:?}", ours.get(name), theirs.get(name))).collect()
}

fn design(house: &House) -> Design {
    Design::parse(house.design).unwrap()
}

#[test]
fn every_line_is_what_it_is_by_hand() {
    for house in &HOUSES {
        let found = differences(house, &design(house), house.table);
        assert!(found.is_empty(), "{:?}: {found:#?}", house.place);
        let table = of_table(house.table);
        let lines = table.keys().filter(|name| !name.starts_with("paper: ")).count();
        let figures: usize = table.values().map(|[figures, ..]| figures.matches(" = ").count()).sum();
        println!("{:?}: {lines} lines, {figures} figures, {} papers", house.place, table.len() - lines);
        assert!(lines >= house.lines_least, "{:?}: {lines}", house.place);
    }
}

/// The comparison sees a millimetre of cable, an ampere of a limit, a verdict, a line too few and a line too many.
#[test]
fn a_single_difference_is_found() {
    for house in &HOUSES {
        let found = |key: &str, micro: i64| {
            let mut other = design(house);
            other.set(key, micro);
            differences(house, &other, house.table)
                .iter()
                .map(|one| one.split(':').next().unwrap().to_owned())
                .collect()
        };
        let longer = design(house).get("ac_cable_length_m").unwrap() + 1_000;
        let moved: Vec<String> = found("ac_cable_length_m", longer);
        assert!(moved.contains(&"drop or rise on the AC cable".to_owned()), "{moved:?}");
        let weaker = design(house).get("ac_cable_rating_a").unwrap() - 1_000_000;
        assert_eq!(found("ac_cable_rating_a", weaker), ["AC breaker"], "{:?}", house.place);
        assert_eq!(found("ac_breaking_a", 1_000_000), ["breaking capacity of the AC breaker"], "{:?}", house.place);
        let fewer: String =
            house.table.lines().filter(|row| !row.starts_with("board |")).map(|row| row.to_owned() + "\n").collect();
        assert_eq!(differences(house, &design(house), &fewer).len(), 1);
        let more = format!("{}a line that no sheet has | - | - | - | pass | -\n", house.table);
        assert_eq!(differences(house, &design(house), &more).len(), 1);
    }
}

/// Behind a main of 175 A the panel bears 11.4 kW at the far end: 175 + 59.375 = 234.375 A.
#[test]
fn a_smaller_main_mends_the_panel() {
    let house = &HOUSES[2];
    let mut smaller = design(house);
    smaller.set("main_fuse_a", 175_000_000);
    let sheet = sheet(&smaller, &RuleSet::of(house.place));
    let board = sheet.line("busbar").unwrap();
    assert_eq!(board.check().unwrap().result("busbar_load").map(Quantity::plain).as_deref(), Some("234.375"));
    assert_eq!(board.verdict(), Verdict::Pass);
}
