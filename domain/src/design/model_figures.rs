//! Every figure that a manufacturer states of a unit and that something here reads. A form is drawn from this table, so a new figure is
//! one line here.

use crate::bounds::is_possible;
use crate::electrical::codes::YES;
use crate::electrical::units::Unit;
use crate::job_file::body::UnitKind;

/// One figure of one kind of unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ModelFigure {
    /// What it is a figure of.
    pub kind: UnitKind,
    /// The key in the model and in the job file.
    pub key: &'static str,
    /// Millionths of this; counts and answers are [`Unit::Count`].
    pub unit: Unit,
    /// An answer: 0 is no, 1 is yes.
    pub is_answer: bool,
    /// The field of the sheet that it fills where nobody wrote something else.
    pub fills: Option<&'static str>,
    /// A reading or a wait on site is held against it.
    pub on_site: bool,
}

const fn of(kind: UnitKind, key: &'static str, unit: Unit) -> ModelFigure {
    ModelFigure { kind, key, unit, is_answer: false, fills: None, on_site: false }
}

impl ModelFigure {
    const fn fills(self, field: &'static str) -> Self {
        Self { fills: Some(field), ..self }
    }

    const fn on_site(self) -> Self {
        Self { on_site: true, ..self }
    }

    const fn yes_or_no(self) -> Self {
        Self { is_answer: true, ..self }
    }

    /// `["no", "yes"]` for 0 and 1; empty for a number.
    pub const fn choices(&self) -> &'static [&'static str] {
        if self.is_answer { YES } else { &[] }
    }

    /// Ids of the checks that read it, on the sheet and in the built-in methods. Beside the table, which the first screen of a phone
    /// carries: only a form asks.
    pub fn checks(&self) -> impl Iterator<Item = &'static str> {
        let ids = match (self.kind, self.key) {
            (Module, "energy_wh") => "F13 F14",
            (Module, "cells") => "F02 F05 F07 F08 F09 F19 F20-GLOVE",
            (Module, "cell_min") => "F02 F07 F08",
            (Module, "cell_max") => "F05 F07 F08 F09 F19 F20-GLOVE",
            (Module, "resistance_ohm") | (ControlUnit, "fault_a") => "F08 F19",
            (Module, "spread_max" | "soc_spread_max") => "F06",
            (Module, "mass_kg") => "F15 F15-FLOOR F20",
            (Module, "width_m") => "F15-FLOOR",
            (Module, "depth_m") | (ControlUnit, "mass_kg") => "F15 F15-FLOOR",
            (Module, "height_m") | (ControlUnit, "height_m" | "bracket_capacity_n") => "F15",
            (Module, "clearance_side_m" | "clearance_top_m" | "clearance_front_m") => "F16",
            (ControlUnit, "device_rating_v") => "F07 F08",
            (ControlUnit, "fuse_a") => "F03-NEC F08",
            (ControlUnit, "fuse_max_a" | "breaking_a") => "F08",
            (Inverter, "power_w") => "F02 F08 F08-AC F08-CHANGEOVER F10-ISLAND F12 F13 F17 F17-UNBALANCE",
            (Inverter, "peak_w" | "standby_w") => "F13",
            (Inverter, "draw_w") => "F08-IMPORT F17-DRAW",
            (Inverter, "efficiency") => "F02 F08 F13",
            (Inverter, "charge_current_a") => "F02 F08",
            (Inverter, "dc_min" | "dc_max") => "F07",
            (Inverter, "no_smooth_dc" | "simple_separation") => "F11-TYPE",
            (Inverter, "type_tested") => "F17",
            (Inverter, "discharge_wait_s") => "F09",
            (Inverter, "mass_kg") => "F15-WALL",
            (_, key) if key.starts_with("torque_") => "F20-TORQUE",
            _ => "",
        };
        ids.split_whitespace()
    }
}

use UnitKind::{Changeover, ControlUnit, Inverter, Module};

/// All of them, by kind, in the order of the form.
pub const MODEL_FIGURES: &[ModelFigure] = &[
    of(Module, "energy_wh", Unit::WattHour).fills("module_wh"),
    of(Module, "cells", Unit::Count).fills("module_cells"),
    of(Module, "cell_min", Unit::Volt).fills("module_cell_min_v").on_site(),
    of(Module, "cell_max", Unit::Volt).fills("module_cell_max_v").on_site(),
    of(Module, "resistance_ohm", Unit::Ohm).fills("module_resistance_ohm"),
    of(Module, "ocv_min", Unit::Volt).on_site(),
    of(Module, "ocv_max", Unit::Volt).on_site(),
    of(Module, "spread_max", Unit::Volt),
    of(Module, "soc_spread_max", Unit::Percent),
    of(Module, "temp_min", Unit::Celsius).on_site(),
    of(Module, "temp_max", Unit::Celsius).on_site(),
    of(Module, "mass_kg", Unit::Kilogram).fills("module_mass_kg"),
    of(Module, "width_m", Unit::Metre).fills("module_width_m"),
    of(Module, "depth_m", Unit::Metre).fills("module_depth_m"),
    of(Module, "height_m", Unit::Metre).fills("module_height_m"),
    of(Module, "clearance_side_m", Unit::Metre).fills("maker_side_distance_m").on_site(),
    of(Module, "clearance_top_m", Unit::Metre).fills("maker_above_distance_m").on_site(),
    of(Module, "clearance_front_m", Unit::Metre).fills("maker_front_distance_m").on_site(),
    of(Module, "torque_link_nm_min", Unit::NewtonMetre),
    of(Module, "torque_link_nm_max", Unit::NewtonMetre),
    of(ControlUnit, "device_rating_v", Unit::Volt).fills("dc_device_rating_v"),
    of(ControlUnit, "fuse_a", Unit::Ampere).fills("dc_fuse_a"),
    of(ControlUnit, "fuse_max_a", Unit::Ampere).fills("maker_fuse_max_a"),
    of(ControlUnit, "breaking_a", Unit::Ampere).fills("dc_breaking_a"),
    of(ControlUnit, "fault_a", Unit::Ampere).fills("dc_fault_a"),
    of(ControlUnit, "stack_difference_max", Unit::Volt).on_site(),
    of(ControlUnit, "mass_kg", Unit::Kilogram).fills("control_mass_kg"),
    of(ControlUnit, "height_m", Unit::Metre).fills("control_height_m"),
    of(ControlUnit, "bracket_capacity_n", Unit::Newton).fills("bracket_capacity_n"),
    of(ControlUnit, "torque_bracket_nm_min", Unit::NewtonMetre),
    of(ControlUnit, "torque_bracket_nm_max", Unit::NewtonMetre),
    of(ControlUnit, "torque_dc_nm_min", Unit::NewtonMetre),
    of(ControlUnit, "torque_dc_nm_max", Unit::NewtonMetre),
    of(ControlUnit, "torque_pe_nm_min", Unit::NewtonMetre),
    of(ControlUnit, "torque_pe_nm_max", Unit::NewtonMetre),
    of(Inverter, "power_w", Unit::Watt).fills("inverter_w"),
    of(Inverter, "peak_w", Unit::Watt).fills("inverter_peak_w"),
    of(Inverter, "draw_w", Unit::Watt).fills("inverter_draw_w"),
    of(Inverter, "standby_w", Unit::Watt).fills("inverter_standby_w"),
    of(Inverter, "efficiency", Unit::Percent).fills("inverter_efficiency"),
    of(Inverter, "charge_current_a", Unit::Ampere).fills("charge_current_a"),
    of(Inverter, "dc_min", Unit::Volt).fills("inverter_dc_min_v").on_site(),
    of(Inverter, "dc_max", Unit::Volt).fills("inverter_dc_max_v").on_site(),
    of(Inverter, "pv_min_v", Unit::Volt).on_site(),
    of(Inverter, "pv_max_v", Unit::Volt).on_site(),
    of(Inverter, "no_smooth_dc", Unit::Count).yes_or_no().fills("no_smooth_dc"),
    of(Inverter, "simple_separation", Unit::Count).yes_or_no().fills("simple_separation"),
    of(Inverter, "type_tested", Unit::Count).yes_or_no().fills("type_tested"),
    of(Inverter, "discharge_wait_s", Unit::Second).fills("discharge_wait_s").on_site(),
    of(Inverter, "mass_kg", Unit::Kilogram),
    of(Inverter, "clearance_side_m", Unit::Metre).on_site(),
    of(Inverter, "clearance_top_m", Unit::Metre).on_site(),
    of(Inverter, "clearance_bottom_m", Unit::Metre).on_site(),
    of(Inverter, "clearance_front_m", Unit::Metre).on_site(),
    of(Inverter, "torque_ac_nm_min", Unit::NewtonMetre),
    of(Inverter, "torque_ac_nm_max", Unit::NewtonMetre),
    of(Inverter, "torque_dc_nm_min", Unit::NewtonMetre),
    of(Inverter, "torque_dc_nm_max", Unit::NewtonMetre),
    of(Inverter, "torque_bracket_nm_min", Unit::NewtonMetre),
    of(Inverter, "torque_bracket_nm_max", Unit::NewtonMetre),
    of(Changeover, "transfer_time_max_s", Unit::Second).on_site(),
    of(Changeover, "torque_ac_nm_min", Unit::NewtonMetre),
    of(Changeover, "torque_ac_nm_max", Unit::NewtonMetre),
];

/// Those of a kind, in the order of the form.
pub fn model_figures(kind: UnitKind) -> impl Iterator<Item = &'static ModelFigure> {
    MODEL_FIGURES.iter().filter(move |figure| figure.kind == kind)
}

/// One of a kind by its key; `None` where nothing reads such a figure.
pub fn model_figure(kind: UnitKind, key: &str) -> Option<&'static ModelFigure> {
    model_figures(kind).find(|figure| figure.key == key)
}

/// Can a manufacturer state this at all? A figure that nothing reads is at least no less than nothing.
pub fn is_possible_of_model(kind: UnitKind, key: &str, micro: i64) -> bool {
    let known = model_figure(kind, key);
    let is_answer = known.is_some_and(|figure| figure.is_answer);
    let unit = known.map_or(Unit::Count, |figure| figure.unit);
    is_possible(unit, micro) && (!is_answer || micro == 0 || micro == crate::electrical::units::MICRO)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::electrical::units::MICRO;
    use std::collections::BTreeSet;

    #[test]
    fn a_key_stands_once_and_fills_a_field_of_its_own_unit() {
        let mut keys = BTreeSet::new();
        let mut filled = BTreeSet::new();
        for figure in MODEL_FIGURES {
            assert!(keys.insert((figure.kind, figure.key)), "{} twice", figure.key);
            let Some(field) = figure.fills else { continue };
            let of_sheet = crate::design::field(field).map(|field| (field.unit, field.choices));
            assert_eq!(of_sheet, Some((figure.unit, figure.choices())), "{field}");
            assert!(filled.insert(field), "{field} is filled twice");
        }
        assert_eq!(model_figures(UnitKind::Meter).count() + model_figures(UnitKind::Gateway).count(), 0);
    }

    #[test]
    fn a_figure_is_bounded_by_what_it_is() {
        let can = |kind, key, micro| is_possible_of_model(kind, key, micro);
        assert!(can(Module, "temp_min", -10 * MICRO), "a temperature may lie below zero");
        assert!(!can(Module, "temp_min", -9_999 * MICRO));
        assert!(!can(Module, "cell_min", -2_500_000));
        assert!(!can(Module, "width_m", 100_001 * MICRO));
        assert!(can(Inverter, "type_tested", MICRO) && can(Inverter, "type_tested", 0));
        assert!(!can(Inverter, "type_tested", 2 * MICRO), "yes, no and nothing else");
        assert!(!can(Module, "colour", -1) && can(Module, "colour", 1));
    }
}
