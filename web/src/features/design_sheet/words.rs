//! Words for fields, choices, checks and deadlines of the sheet.

use domain::design::{FIELDS, Field, Line, LineName, NoticeLine, OutOfForce, Section, is_asked};
use domain::electrical::rule_set::{Basis, Lapse, RuleSet};
use domain::electrical::{Prefix, Quantity, Source};

use super::view_model::{Fault, field_at, load_of};
pub use crate::features::words::choice;
use crate::features::words::{check_limit, mark, quantity, source};
use crate::i18n::{Key, Words};
use crate::{key, t, tn};

/// The names of all fields in the order of [`FIELDS`]: a new field without words does not compile.
const NAMES: [Key; FIELDS.len()] = {
    let mut names = [key!("design.field.load_w"); FIELDS.len()];
    let mut at = 0;
    while at < FIELDS.len() {
        if !is_load(FIELDS[at].key.as_bytes()) {
            names[at] = Key::in_room("design.field.", FIELDS[at].key);
        }
        at += 1;
    }
    names
};

const fn is_load(key: &[u8]) -> bool {
    key.len() > 5 && key[0] == b'l' && key[1] == b'o' && key[2] == b'a' && key[3] == b'd' && key[4] == b'_'
}

/// The name of a field; a key that is none stands as it is.
pub fn field_name(w: Words, key: &str) -> String {
    match (load_of(key), field_at(key)) {
        (Some((n, "w")), _) => t!(w, "design.field.load_w", n = n),
        (Some((n, "duty")), _) => t!(w, "design.field.load_duty", n = n),
        (Some((n, "start_w")), _) => t!(w, "design.field.load_start_w", n = n),
        (_, Some((at, _))) => w.say(NAMES[at]).to_owned(),
        (_, None) => key.replace('_', " "),
    }
}

/// A line of help, for fields that need one.
pub fn hint(key: &str) -> Option<Key> {
    let key = if load_of(key).is_some_and(|(_, part)| part == "duty") { "load_duty" } else { key };
    Some(match key {
        "phases" => key!("design.hint.phases"),
        "inverter_line" | "existing_inverter_line" => key!("design.hint.inverter_line"),
        "ac_nominal_v" => key!("design.hint.ac_nominal_v"),
        "panel_breakers_a" => key!("design.hint.panel_breakers_a"),
        "control_cap_a" => key!("design.hint.control_cap_a"),
        "supply_loop_ohm" => key!("design.hint.supply_loop_ohm"),
        "supply_fault_a" => key!("design.hint.supply_fault_a"),
        "demand_a" => key!("design.hint.demand_a"),
        "inverter_fault_a" => key!("design.hint.inverter_fault_a"),
        "strings" => key!("design.hint.strings"),
        "dc_fuse_a" | "dc_breaking_a" | "dc_cable_size_mm2" | "dc_cable_length_m" | "dc_path_resistance_ohm" => {
            key!("design.hint.one_string")
        }
        "dc_cable_class" | "dc_common_cable_class" | "pe_class" => key!("design.hint.conductor_class"),
        "dc_cable_ohm_per_km" | "dc_common_cable_ohm_per_km" | "pe_ohm_per_km" => key!("design.hint.ohm_per_km"),
        "dc_cable_temperature_c" => key!("design.hint.dc_cable_temperature_c"),
        "dc_cable_rating_a" | "dc_common_cable_rating_a" | "ac_cable_rating_a" => key!("design.hint.cable_rating_a"),
        "maker_fuse_max_a" | "no_smooth_dc" | "let_through_a2s" | "discharge_wait_s" | "dc_let_through_a2s"
        | "pe_maker_mm2" => key!("design.hint.maker_only"),
        "dc_fault_a" => key!("design.hint.dc_fault_a"),
        "dc_common_fuse_max_a" => key!("design.hint.dc_common_fuse_max_a"),
        "ac_protective_core_mm2" => key!("design.hint.ac_protective_core_mm2"),
        "ac_breaking_a" => key!("design.hint.ac_breaking_a"),
        "rcd_residual_a" => key!("design.hint.rcd_residual_a"),
        "rcd_kind" => key!("design.hint.rcd_kind"),
        "fault_clearing_s" => key!("design.hint.fault_clearing_s"),
        "maker_side_distance_m" | "maker_above_distance_m" | "maker_front_distance_m" => {
            key!("design.hint.maker_distance")
        }
        "stack_mass_kg" | "stack_gravity_height_m" => key!("design.hint.added_up"),
        "push_factor" => key!("design.hint.push_factor"),
        "wall_fixings" => key!("design.hint.wall_fixings"),
        "wall_mass_kg" => key!("design.hint.wall_mass_kg"),
        "wall_tension_n" | "wall_shear_n" => key!("design.hint.wall_resistance"),
        "changeover_a" => key!("design.hint.changeover_a"),
        "changeover_fuse_a" => key!("design.hint.changeover_fuse_a"),
        "backup_breaker_type" | "backup_breaker_a" => key!("design.hint.backup_breaker_a"),
        "health_percent" => key!("design.hint.health_percent"),
        "runtime_wanted_s" => key!("design.hint.runtime_wanted_s"),
        "load_duty" => key!("design.hint.load_duty"),
        "arc_clearing_s" => key!("design.hint.arc_clearing_s"),
        "transport_modules" => key!("design.hint.transport_modules"),
        "capacitance_f" => key!("design.hint.capacitance_f"),
        _ => return None,
    })
}

/// Sections in the order of the form, with the id of each on the page.
pub const SECTIONS: [(Section, &str); 11] = [
    (Section::Supply, "supply"),
    (Section::Inverter, "inverter"),
    (Section::Modules, "modules"),
    (Section::DirectSide, "direct"),
    (Section::AlternatingSide, "alternating"),
    (Section::Earth, "earth"),
    (Section::Location, "location"),
    (Section::Fixing, "fixing"),
    (Section::Backup, "backup"),
    (Section::Work, "work"),
    (Section::Grid, "grid"),
];

/// The name of a section.
pub const fn section(section: Section) -> Key {
    match section {
        Section::Supply => key!("design.section.supply"),
        Section::Inverter => key!("design.section.inverter"),
        Section::Modules => key!("design.section.modules"),
        Section::DirectSide => key!("design.section.direct"),
        Section::AlternatingSide => key!("design.section.alternating"),
        Section::Earth => key!("design.section.earth"),
        Section::Location => key!("design.section.location"),
        Section::Fixing => key!("design.section.fixing"),
        Section::Backup => key!("design.section.backup"),
        Section::Work => key!("design.section.work"),
        Section::Grid => key!("design.section.grid"),
    }
}

/// A figure of a field as a person reads it.
pub fn value(w: Words, field: &Field, micro: i64) -> String {
    let word = if field.choices.is_empty() { None } else { field.choice(micro) };
    match word {
        Some(word) => choice(w, word),
        None => quantity(w, Quantity::of(field.unit, micro), Prefix::One),
    }
}

/// The name of a check or limit of the sheet.
pub fn line_name(w: Words, rules: &RuleSet, key: &str) -> String {
    match domain::design::line_name(rules, key) {
        LineName::RcdTime(multiple) => {
            t!(w, "design.line.rcd_time", multiple = multiple.replace('.', &w.decimal.sign().to_string()))
        }
        LineName::Field(key) => field_name(w, key),
        LineName::Line(key) => line_key(key).map_or_else(|| key.to_owned(), |known| w.say(known).to_owned()),
    }
}

fn line_key(key: &str) -> Option<Key> {
    Some(match key {
        "stack_window" => key!("design.line.stack_window"),
        "dc_fuse" => key!("design.line.dc_fuse"),
        "dc_drop" => key!("design.line.dc_drop"),
        "dc_fuse_common" => key!("design.line.dc_fuse_common"),
        "dc_drop_common" => key!("design.line.dc_drop_common"),
        "ac_device" => key!("design.line.ac_device"),
        "ac_breaking" => key!("design.line.ac_breaking"),
        "ac_drop" => key!("design.line.ac_drop"),
        "pe_size" => key!("design.line.pe_size"),
        "ac_pe_size" => key!("design.line.ac_pe_size"),
        "loop_planned" => key!("design.line.loop_planned"),
        "rcd_type" => key!("design.line.rcd_type"),
        "busbar" => key!("design.line.busbar"),
        "import" => key!("design.line.import"),
        "changeover" => key!("design.line.changeover"),
        "island_fault" => key!("design.line.island_fault"),
        "bracket" => key!("design.line.bracket"),
        "floor" => key!("design.line.floor"),
        "wall" => key!("design.line.wall"),
        "arc" => key!("design.line.arc"),
        "gloves" => key!("design.line.gloves"),
        "transport" => key!("design.line.transport"),
        "runtime" => key!("design.line.runtime"),
        "grid_route" => key!("design.line.grid_route"),
        "controllable" => key!("design.line.controllable"),
        "unbalance" => key!("design.line.unbalance"),
        "energy" => key!("design.line.energy"),
        "location" => key!("design.line.location"),
        "maker_left" => key!("design.line.maker_left"),
        "maker_right" => key!("design.line.maker_right"),
        "maker_above" => key!("design.line.maker_above"),
        "maker_front" => key!("design.line.maker_front"),
        "discharge" => key!("design.line.discharge"),
        "pe_continuity" => key!("design.line.pe_continuity"),
        "electrode" => key!("design.line.electrode"),
        "loop_measured" => key!("design.line.loop_measured"),
        "supply_voltage" => key!("design.line.supply_voltage"),
        "bus_termination" => key!("design.line.bus_termination"),
        "disconnection" => key!("design.line.disconnection"),
        "insulation_comms" => key!("design.line.insulation_comms"),
        "insulation_dc" => key!("design.line.insulation_dc"),
        "insulation_ac" => key!("design.line.insulation_ac"),
        _ => return None,
    })
}

/// Standard, edition, clause and how certain it is.
pub fn cited(w: Words, from: Source) -> String {
    let cited = if from.standard.is_empty() && from.clause == "maker" {
        t!(w, "reason.source.maker").to_owned()
    } else {
        source(w, from)
    };
    match mark(from.mark) {
        Some(key) => format!("{cited} ({})", w.say(key)),
        None => cited,
    }
}

/// What is wrong with a field, in a sentence.
pub fn fault(w: Words, fault: &Fault) -> String {
    let show = |value: &Quantity| quantity(w, *value, Prefix::One);
    match fault {
        Fault::Unreadable => t!(w, "plan.fault.unreadable").to_owned(),
        Fault::Ambiguous(candidates) => {
            let all: Vec<String> = candidates.iter().map(show).collect();
            t!(w, "plan.fault.ambiguous", values = all.join(" / "))
        }
        Fault::OtherUnit(Some(meant)) => t!(w, "plan.fault.other_unit_meant", value = show(meant)),
        Fault::OtherUnit(None) => t!(w, "plan.fault.other_unit").to_owned(),
        Fault::NotExact => t!(w, "plan.fault.not_exact").to_owned(),
        Fault::Impossible(least, most) => {
            t!(w, "plan.fault.impossible", least = show(least), most = show(most))
        }
        Fault::NotWhole => t!(w, "design.fault.whole").to_owned(),
        Fault::NoSuchChoice(text) => t!(w, "design.fault.choice", text = text),
    }
}

/// An edition that does not hold on the day of the job, and what to do.
pub fn out_of_force(w: Words, one: &OutOfForce) -> String {
    let (standard, edition) = (one.standard, one.edition);
    match one.lapse {
        Lapse::Withdrawn(day) => {
            let day = w.day_text(&day.to_string());
            t!(w, "design.edition_withdrawn", standard = standard, edition = edition, day = day)
        }
        Lapse::NotYet(day) => {
            let day = w.day_text(&day.to_string());
            t!(w, "design.edition_not_yet", standard = standard, edition = edition, day = day)
        }
    }
}

/// Until when a notice is due.
pub fn deadline(w: Words, notice: &NoticeLine) -> String {
    let n = notice.count;
    match notice.basis {
        Basis::Before => t!(w, "design.notice.before").to_owned(),
        Basis::Days | Basis::BusinessDays if n == 0 => t!(w, "design.notice.same_day").to_owned(),
        Basis::Days => tn!(w, "design.notice.days", n),
        Basis::BusinessDays => tn!(w, "design.notice.business_days", n),
        Basis::Months => tn!(w, "design.notice.months", n),
    }
}

const OF_SINGLE_LINE: [&str; 30] = [
    "earthing",
    "phases",
    "ac_nominal_v",
    "main_fuse_a",
    "busbar_a",
    "existing_inverter_w",
    "existing_inverter_phases",
    "existing_inverter_line",
    "ac_breaker_type",
    "ac_breaker_a",
    "rcd_type",
    "rcd_residual_a",
    "ac_cable_size_mm2",
    "ac_cable_length_m",
    "inverter_w",
    "inverter_phases",
    "inverter_line",
    "dc_cable_size_mm2",
    "dc_cable_length_m",
    "dc_fuse_a",
    "modules",
    "stacks",
    "strings",
    "string_joint",
    "dc_common_fuse_a",
    "dc_common_cable_size_mm2",
    "dc_common_cable_length_m",
    "ac_protective_core_mm2",
    "pe_size_mm2",
    "pe_length_m",
];
const OF_STACK: [&str; 6] =
    ["modules", "stacks", "module_height_m", "module_width_m", "module_depth_m", "bracket_height_m"];

/// What the single-line diagram shows, in words.
pub fn single_line_in_words(w: Words, design: &domain::design::Design) -> Vec<String> {
    figures_in_words(w, design, &OF_SINGLE_LINE)
}

fn figures_in_words(w: Words, design: &domain::design::Design, keys: &[&str]) -> Vec<String> {
    let mut all = Vec::new();
    for key in keys {
        if let (Some((_, field)), Some(micro), true) = (field_at(key), design.get(key), is_asked(design, key)) {
            all.push(t!(w, "design.pair", name = field_name(w, key), value = value(w, field, micro)));
        }
    }
    all
}

/// What the stack drawing shows, in words: the stack, then each distance with its limit and verdict.
pub fn stack_in_words(w: Words, rules: &RuleSet, design: &domain::design::Design, lines: &[Line]) -> Vec<String> {
    let mut all = figures_in_words(w, design, &OF_STACK);
    for line in lines {
        let Some((_, field)) = line.measures.and_then(field_at) else { continue };
        let there =
            design.get(field.key).map_or_else(|| t!(w, "design.not_known").to_owned(), |micro| value(w, field, micro));
        let asked = line.check().and_then(|check| check_limit(w, check));
        let verdict = w.say(verdict(line.verdict()));
        let parts: Vec<String> = [Some(there), asked, Some(verdict.to_owned())].into_iter().flatten().collect();
        all.push(t!(w, "design.pair", name = line_name(w, rules, line.key), value = parts.join(", ")));
    }
    all
}

/// The word of a verdict.
pub const fn verdict(verdict: domain::electrical::Verdict) -> Key {
    use domain::electrical::Verdict;
    match verdict {
        Verdict::Pass => key!("plan.verdict.pass"),
        Verdict::Fail(_) => key!("plan.verdict.fail"),
        Verdict::NotDetermined(_) => key!("plan.verdict.not_determined"),
        Verdict::NotApplicable(_) => key!("plan.verdict.not_applicable"),
    }
}
