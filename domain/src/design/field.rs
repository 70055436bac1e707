//! Every figure that a design may hold. A form is drawn from this table, so a new figure is one line here.

use super::inputs::{Design, EXISTING, Joint, NEW};
use crate::electrical::Unit;
use crate::electrical::codes::{self, YES};

/// Where a field stands on the sheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Section {
    Supply,
    Inverter,
    Modules,
    DirectSide,
    AlternatingSide,
    Earth,
    Location,
    Fixing,
    Backup,
    Work,
    Grid,
}

/// One figure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Field {
    /// The key in the job file.
    pub key: &'static str,
    /// Millionths of this; codes and counts are [`Unit::Count`].
    pub unit: Unit,
    pub section: Section,
    /// Words for the codes 1, 2, 3…; `["no", "yes"]` for 0 and 1, and of a demand from 2 on why it does not apply; empty for a
    /// number.
    pub choices: &'static [&'static str],
}

impl Field {
    /// Codes from 0 instead of from 1.
    pub fn is_yes_or_no(&self) -> bool {
        self.choices.first() == Some(&"no")
    }

    /// The word for a stored code.
    pub fn choice(&self, micro: i64) -> Option<&'static str> {
        codes::word_in(self.choices, micro)
    }

    /// Of a demand: the word for why it does not apply, where that is the answer.
    pub fn does_not_apply(&self, micro: i64) -> Option<&'static str> {
        self.choice(micro).filter(|word| self.is_yes_or_no() && !YES.contains(word))
    }
}

/// Class A is no choice where one of our rule sets holds.
const RCD_KINDS: &[&str] = codes::RCD_KINDS.split_at(6).0;
pub(super) const LOCATIONS: &[&str] =
    &["indoor", "attached_garage", "detached_garage", "outdoor_wall", "outdoor_ground"];
/// Where strings join: at the inverter's own terminals, before a common cable that their own fuses protect, before a common fuse.
const STRING_JOINTS: &[&str] = &["joint_at_inverter", "joint_cable", "joint_fuse"];
/// Loads that a sheet can list.
pub(super) const LOADS: usize = 8;

const fn number(section: Section, key: &'static str, unit: Unit) -> Field {
    Field { key, unit, section, choices: &[] }
}

const fn choice(section: Section, key: &'static str, choices: &'static [&'static str]) -> Field {
    Field { key, unit: Unit::Count, section, choices }
}

const fn yes(section: Section, key: &'static str) -> Field {
    choice(section, key, YES)
}

/// A demand that is made in a case only: beside no and yes, what is there where it is not given.
const fn demand(key: &'static str, choices: &'static [&'static str]) -> Field {
    choice(Location, key, choices)
}

use Section::{
    AlternatingSide as Ac, Backup, DirectSide as Dc, Earth, Fixing, Grid, Inverter, Location, Modules, Supply, Work,
};

/// All fields, in the order of the form.
pub const FIELDS: &[Field] = &[
    choice(Supply, "earthing", &["tn_s", "tn_c_s", "tt", "men", "us_service"]),
    // Of the supply: 1, 2 of a split phase, 3; each inverter has its own.
    number(Supply, "phases", Unit::Count),
    // Line to neutral; the whole 240 V of a split phase.
    number(Supply, "ac_nominal_v", Unit::Volt),
    number(Supply, "main_fuse_a", Unit::Ampere),
    number(Supply, "busbar_a", Unit::Ampere),
    number(Supply, "panel_breakers_a", Unit::Ampere),
    yes(Supply, "source_far_end"),
    // Where a power control system keeps the sources below their rating.
    number(Supply, "control_cap_a", Unit::Ampere),
    number(Supply, "supply_loop_ohm", Unit::Ohm),
    number(Supply, "supply_fault_a", Unit::Ampere),
    // Of the house without the battery, on its worst line.
    number(Supply, "demand_a", Unit::Ampere),
    number(Supply, "import_limit_a", Unit::Ampere),
    number(Supply, "existing_inverter_w", Unit::Watt),
    choice(Supply, "existing_inverter_phases", codes::INVERTER_PHASES),
    choice(Supply, "existing_inverter_line", codes::LINE_CONDUCTORS),
    number(Supply, "existing_breaker_a", Unit::Ampere),
    yes(Supply, "has_balancing"),
    number(Inverter, "inverter_w", Unit::Watt),
    choice(Inverter, "inverter_phases", codes::INVERTER_PHASES),
    choice(Inverter, "inverter_line", codes::LINE_CONDUCTORS),
    number(Inverter, "inverter_peak_w", Unit::Watt),
    number(Inverter, "inverter_efficiency", Unit::Percent),
    number(Inverter, "inverter_dc_min_v", Unit::Volt),
    number(Inverter, "inverter_dc_max_v", Unit::Volt),
    number(Inverter, "charge_current_a", Unit::Ampere),
    number(Inverter, "inverter_draw_w", Unit::Watt),
    number(Inverter, "inverter_standby_w", Unit::Watt),
    number(Inverter, "inverter_fault_a", Unit::Ampere),
    yes(Inverter, "no_smooth_dc"),
    yes(Inverter, "simple_separation"),
    yes(Inverter, "type_tested"),
    number(Inverter, "capacitance_f", Unit::Farad),
    number(Inverter, "bleed_ohm", Unit::Ohm),
    number(Inverter, "discharge_wait_s", Unit::Second),
    number(Modules, "modules", Unit::Count),
    // Standing beside each other.
    number(Modules, "stacks", Unit::Count),
    // In parallel; 1 when absent.
    number(Modules, "strings", Unit::Count),
    number(Modules, "module_wh", Unit::WattHour),
    number(Modules, "module_cells", Unit::Count),
    number(Modules, "module_cell_min_v", Unit::Volt),
    number(Modules, "module_cell_max_v", Unit::Volt),
    number(Modules, "module_resistance_ohm", Unit::Ohm),
    number(Modules, "module_mass_kg", Unit::Kilogram),
    number(Modules, "module_width_m", Unit::Metre),
    number(Modules, "module_depth_m", Unit::Metre),
    number(Modules, "module_height_m", Unit::Metre),
    number(Modules, "base_height_m", Unit::Metre),
    number(Modules, "control_height_m", Unit::Metre),
    number(Modules, "control_mass_kg", Unit::Kilogram),
    // Fuse, cable and fault current below are those of one string, up to the node where strings join.
    number(Dc, "dc_cable_size_mm2", Unit::SquareMillimetre),
    number(Dc, "dc_cable_class", Unit::Count),
    // By the cable's maker, for sizes outside IEC 60228.
    number(Dc, "dc_cable_ohm_per_km", Unit::Ohm),
    number(Dc, "dc_cable_length_m", Unit::Metre),
    number(Dc, "dc_cable_temperature_c", Unit::Celsius),
    // By a named source that stands in the job file's remark; no table ships with us.
    number(Dc, "dc_cable_rating_a", Unit::Ampere),
    number(Dc, "dc_cable_joints", Unit::Count),
    number(Dc, "dc_fuse_a", Unit::Ampere),
    number(Dc, "maker_fuse_max_a", Unit::Ampere),
    number(Dc, "dc_device_rating_v", Unit::Volt),
    number(Dc, "dc_breaking_a", Unit::Ampere),
    number(Dc, "dc_fault_a", Unit::Ampere),
    // Of the string's own fuse, at its fault current.
    number(Dc, "dc_let_through_a2s", Unit::AmpereSquaredSecond),
    number(Dc, "dc_path_resistance_ohm", Unit::Ohm),
    // From the node to the inverter, asked for where there are several strings.
    choice(Dc, "string_joint", STRING_JOINTS),
    number(Dc, "dc_common_cable_size_mm2", Unit::SquareMillimetre),
    number(Dc, "dc_common_cable_class", Unit::Count),
    number(Dc, "dc_common_cable_ohm_per_km", Unit::Ohm),
    number(Dc, "dc_common_cable_length_m", Unit::Metre),
    number(Dc, "dc_common_cable_rating_a", Unit::Ampere),
    number(Dc, "dc_common_fuse_a", Unit::Ampere),
    number(Dc, "dc_common_fuse_max_a", Unit::Ampere),
    number(Dc, "dc_common_breaking_a", Unit::Ampere),
    number(Ac, "ac_cable_size_mm2", Unit::SquareMillimetre),
    number(Ac, "ac_cable_length_m", Unit::Metre),
    number(Ac, "ac_cable_rating_a", Unit::Ampere),
    number(Ac, "ac_power_factor", Unit::Count),
    choice(Ac, "ac_pe_kind", codes::PROTECTIVE_KINDS),
    number(Ac, "ac_protective_core_mm2", Unit::SquareMillimetre),
    yes(Ac, "ac_pe_protected"),
    choice(Ac, "ac_breaker_type", codes::BREAKER_TYPES),
    number(Ac, "ac_breaker_a", Unit::Ampere),
    number(Ac, "ac_breaking_a", Unit::Ampere),
    choice(Ac, "rcd_type", codes::RCD_TYPES),
    number(Ac, "rcd_residual_a", Unit::Ampere),
    // Whose trip times hold, where it is not what the rules take; the codes of check F11.
    choice(Ac, "rcd_kind", RCD_KINDS),
    // The battery's, from the stack to the main earthing terminal; the inverter's lies in its alternating cable.
    choice(Earth, "pe_kind", codes::PROTECTIVE_KINDS),
    number(Earth, "pe_size_mm2", Unit::SquareMillimetre),
    number(Earth, "pe_class", Unit::Count),
    number(Earth, "pe_ohm_per_km", Unit::Ohm),
    number(Earth, "pe_length_m", Unit::Metre),
    number(Earth, "pe_joints", Unit::Count),
    yes(Earth, "pe_protected"),
    number(Earth, "pe_maker_mm2", Unit::SquareMillimetre),
    number(Earth, "pe_cap_ohm", Unit::Ohm),
    number(Earth, "fault_clearing_s", Unit::Second),
    number(Earth, "let_through_a2s", Unit::AmpereSquaredSecond),
    number(Earth, "ambient_c", Unit::Celsius),
    choice(Location, "location_kind", LOCATIONS),
    number(Location, "energy_elsewhere_wh", Unit::WattHour),
    yes(Location, "in_habitable_room"),
    yes(Location, "in_sleeping_room"),
    yes(Location, "opens_to_sleeping_room"),
    yes(Location, "in_void"),
    yes(Location, "in_escape_route"),
    yes(Location, "under_stairs"),
    number(Location, "opening_distance_m", Unit::Metre),
    number(Location, "exit_distance_m", Unit::Metre),
    number(Location, "appliance_distance_m", Unit::Metre),
    number(Location, "above_distance_m", Unit::Metre),
    choice(Location, "above_kind", &["item_above", "surface_above", "nothing_above"]),
    number(Location, "flammable_distance_m", Unit::Metre),
    number(Location, "unit_distance_m", Unit::Metre),
    number(Location, "left_distance_m", Unit::Metre),
    number(Location, "right_distance_m", Unit::Metre),
    number(Location, "working_depth_m", Unit::Metre),
    number(Location, "working_width_m", Unit::Metre),
    number(Location, "working_height_m", Unit::Metre),
    choice(Location, "opposite_kind", &["opposite_clear", "opposite_grounded", "opposite_live"]),
    number(Location, "maker_side_distance_m", Unit::Metre),
    number(Location, "maker_above_distance_m", Unit::Metre),
    number(Location, "maker_front_distance_m", Unit::Metre),
    // A test report for less distance: 1 attached, 2 accepted by the authority.
    choice(Location, "distance_exception", codes::EXCEPTIONS),
    yes(Location, "has_fire_detection"),
    yes(Location, "has_fire_separation"),
    demand("has_gypsum_lining", &["no", "yes", "walls_finished"]),
    demand("has_vehicle_barrier", &["no", "yes", "no_vehicle_reaches"]),
    demand("has_wall_barrier", &["no", "yes", "wall_non_combustible", "no_room_behind"]),
    yes(Location, "has_dry_ventilation"),
    demand("has_gas_zone_clear", &["no", "yes", "no_gas_on_site"]),
    yes(Location, "has_listing"),
    yes(Location, "has_conformity_statement"),
    yes(Location, "has_bidirectional_devices"),
    yes(Location, "has_island_earthing"),
    yes(Location, "has_neutral_continuity"),
    yes(Location, "has_emergency_disconnect"),
    number(Fixing, "stack_mass_kg", Unit::Kilogram),
    number(Fixing, "stack_gravity_height_m", Unit::Metre),
    number(Fixing, "bracket_height_m", Unit::Metre),
    number(Fixing, "bracket_capacity_n", Unit::Newton),
    number(Fixing, "push_factor", Unit::Count),
    number(Fixing, "floor_capacity_pa", Unit::Pascal),
    number(Fixing, "wall_mass_kg", Unit::Kilogram),
    number(Fixing, "wall_gravity_m", Unit::Metre),
    number(Fixing, "wall_lever_m", Unit::Metre),
    number(Fixing, "wall_fixings", Unit::Count),
    number(Fixing, "wall_tension_n", Unit::Newton),
    number(Fixing, "wall_shear_n", Unit::Newton),
    yes(Fixing, "wall_anchor_tested"),
    number(Fixing, "wall_embedment_m", Unit::Metre),
    number(Fixing, "wall_edge_m", Unit::Metre),
    number(Fixing, "wall_spacing_m", Unit::Metre),
    // Feeds something while the network is away; loads on the list say so too.
    yes(Backup, "backup_output"),
    number(Backup, "changeover_a", Unit::Ampere),
    // Before the changeover unit; the main fuse when absent.
    number(Backup, "changeover_fuse_a", Unit::Ampere),
    // The largest one behind it.
    choice(Backup, "backup_breaker_type", codes::BREAKER_TYPES),
    number(Backup, "backup_breaker_a", Unit::Ampere),
    yes(Backup, "has_backup_rcd"),
    number(Backup, "health_percent", Unit::Percent),
    number(Backup, "reserve_percent", Unit::Percent),
    number(Backup, "floor_percent", Unit::Percent),
    number(Backup, "runtime_wanted_s", Unit::Second),
    number(Backup, "load_1_w", Unit::Watt),
    number(Backup, "load_1_duty", Unit::Percent),
    number(Backup, "load_1_start_w", Unit::Watt),
    number(Backup, "load_2_w", Unit::Watt),
    number(Backup, "load_2_duty", Unit::Percent),
    number(Backup, "load_2_start_w", Unit::Watt),
    number(Backup, "load_3_w", Unit::Watt),
    number(Backup, "load_3_duty", Unit::Percent),
    number(Backup, "load_3_start_w", Unit::Watt),
    number(Backup, "load_4_w", Unit::Watt),
    number(Backup, "load_4_duty", Unit::Percent),
    number(Backup, "load_4_start_w", Unit::Watt),
    number(Backup, "load_5_w", Unit::Watt),
    number(Backup, "load_5_duty", Unit::Percent),
    number(Backup, "load_5_start_w", Unit::Watt),
    number(Backup, "load_6_w", Unit::Watt),
    number(Backup, "load_6_duty", Unit::Percent),
    number(Backup, "load_6_start_w", Unit::Watt),
    number(Backup, "load_7_w", Unit::Watt),
    number(Backup, "load_7_duty", Unit::Percent),
    number(Backup, "load_7_start_w", Unit::Watt),
    number(Backup, "load_8_w", Unit::Watt),
    number(Backup, "load_8_duty", Unit::Percent),
    number(Backup, "load_8_start_w", Unit::Watt),
    number(Work, "arc_clearing_s", Unit::Second),
    number(Work, "arc_distance_m", Unit::Metre),
    yes(Work, "arc_enclosed"),
    choice(Work, "glove_class", codes::GLOVE_CLASSES),
    // Modules carried in one vehicle; all of them when absent.
    number(Work, "transport_modules", Unit::Count),
    yes(Grid, "notify_planned"),
    yes(Grid, "consent_given"),
];

/// The fields of a section, in the order of the form.
pub fn fields(section: Section) -> impl Iterator<Item = &'static Field> {
    FIELDS.iter().filter(move |field| field.section == section)
}

/// The field with that key.
pub fn field(key: &str) -> Option<&'static Field> {
    FIELDS.iter().find(|field| field.key == key)
}

/// The fields by which [`is_asked`] decides.
pub const DECIDING: &[&str] =
    &["strings", "string_joint", "phases", "inverter_phases", "existing_inverter_w", "existing_inverter_phases"];

/// Whether a field says something about this design; the others need not be shown.
pub fn is_asked(design: &Design, key: &str) -> bool {
    match key {
        "inverter_phases" => design.has_lines(),
        "has_balancing" => design.has_three_lines(),
        "inverter_line" => design.has_lines() && design.inverter_phases(NEW) == Some(1),
        "existing_inverter_phases" => design.has_lines() && design.get(EXISTING.power).is_some(),
        "existing_inverter_line" => {
            design.has_lines() && design.get(EXISTING.power).is_some() && design.inverter_phases(EXISTING) == Some(1)
        }
        "string_joint" => design.strings() > 1,
        "dc_common_fuse_a" | "dc_common_breaking_a" => design.joint() == Some(Joint::Fuse),
        _ if key.starts_with("dc_common_") => matches!(design.joint(), Some(Joint::Cable | Joint::Fuse)),
        _ => true,
    }
}

/// The number of a load and which of its figures; `None` for a field of anything else.
pub fn load_of(key: &str) -> Option<(usize, &str)> {
    let (number, part) = key.strip_prefix("load_")?.split_once('_')?;
    Some((number.parse().ok()?, part))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_unique_and_loads_complete() {
        for (index, one) in FIELDS.iter().enumerate() {
            assert!(FIELDS[index + 1..].iter().all(|other| other.key != one.key), "{} twice", one.key);
        }
        for load in 1..=LOADS {
            for part in ["w", "duty", "start_w"] {
                assert!(field(&format!("load_{load}_{part}")).is_some());
            }
        }
        assert!(field(&format!("load_{}_w", LOADS + 1)).is_none());
    }

    #[test]
    fn what_says_nothing_about_a_design_is_not_asked_for() {
        let asked = |text: &str| {
            let design = Design::parse(text).expect("well formed");
            ["string_joint", "dc_common_cable_size_mm2", "dc_common_fuse_a"].map(|key| is_asked(&design, key))
        };
        assert_eq!(asked("strings = 1\nstring_joint = joint_fuse"), [false, false, false]);
        assert_eq!(asked("strings = 2"), [true, false, false]);
        assert_eq!(asked("strings = 2\nstring_joint = joint_at_inverter"), [true, false, false]);
        assert_eq!(asked("strings = 2\nstring_joint = joint_cable"), [true, true, false]);
        assert_eq!(asked("strings = 2\nstring_joint = joint_fuse"), [true, true, true]);
        let phases = |text: &str| {
            let design = Design::parse(text).expect("well formed");
            ["inverter_phases", "inverter_line", "existing_inverter_phases"].map(|key| is_asked(&design, key))
        };
        assert_eq!(phases("phases = 1\nexisting_inverter_w = 2000"), [false, false, false]);
        assert_eq!(phases("phases = 3"), [true, false, false]);
        assert_eq!(phases("phases = 3\ninverter_phases = one_phase\nexisting_inverter_w = 2000"), [true, true, true]);
        assert!(is_asked(&Design::new(), "dc_fuse_a"));
        let full = Design::of_values(FIELDS.iter().map(|field| (field.key, 3_000_000)));
        let few = Design::of_values(DECIDING.iter().map(|key| (*key, 3_000_000)));
        for field in FIELDS {
            assert_eq!(is_asked(&full, field.key), is_asked(&few, field.key), "{}", field.key);
        }
    }

    #[test]
    fn codes_have_words() {
        let earthing = field("earthing").expect("it is there");
        assert_eq!(earthing.choice(2_000_000), Some("tn_c_s"));
        assert_eq!(earthing.choice(0), None);
        let yes = field("type_tested").expect("it is there");
        assert_eq!((yes.choice(0), yes.choice(1_000_000), yes.choice(2_000_000)), (Some("no"), Some("yes"), None));
        let wall = field("has_wall_barrier").expect("it is there");
        let said = [0, 1_000_000, 2_000_000, 4_000_000].map(|micro| wall.does_not_apply(micro));
        assert_eq!(said, [None, None, Some("wall_non_combustible"), None]);
        assert_eq!(earthing.does_not_apply(3_000_000), None, "no demand");
    }
}
