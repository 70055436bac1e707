//! The figures of a design by key.

use std::collections::BTreeMap;

use super::field::{LOADS, LOCATIONS, field};
use crate::electrical::units::{MICRO, Quantity};

/// What is known of a design; a field that nobody filled in is absent.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(transparent)]
pub struct Design(BTreeMap<String, i64>);

/// Where strings in parallel join, and so what lies between that node and the inverter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Joint {
    /// At the inverter's own terminals: nothing.
    AtInverter,
    /// A cable that the strings' own fuses protect together.
    Cable,
    /// A fuse of its own, and its cable.
    Fuse,
}

/// The fields of one inverter.
#[derive(Clone, Copy, Debug)]
pub(super) struct Inverter {
    pub(super) power: &'static str,
    pub(super) phases: &'static str,
    pub(super) line: &'static str,
}

pub(super) const NEW: Inverter = Inverter { power: "inverter_w", phases: "inverter_phases", line: "inverter_line" };
pub(super) const EXISTING: Inverter =
    Inverter { power: "existing_inverter_w", phases: "existing_inverter_phases", line: "existing_inverter_line" };

/// What the new inverter draws while it charges, on the lines that it feeds.
pub(super) const CHARGING: Inverter = Inverter { power: "inverter_draw_w", ..NEW };

impl Design {
    pub fn new() -> Design {
        Design::default()
    }

    /// The figures of a job file's design entry. Keys that this version does not know are kept.
    pub fn of_values<'a>(values: impl IntoIterator<Item = (&'a str, i64)>) -> Design {
        Design(values.into_iter().map(|(key, micro)| (key.to_owned(), micro)).collect())
    }

    /// Sorted by key, as the job file wants them.
    pub fn values(&self) -> impl Iterator<Item = (&str, i64)> {
        self.0.iter().map(|(key, micro)| (key.as_str(), *micro))
    }

    /// In millionths of the field's unit.
    pub fn get(&self, key: &str) -> Option<i64> {
        self.0.get(key).copied()
    }

    pub fn set(&mut self, key: &str, micro: i64) -> &mut Design {
        self.0.insert(key.to_owned(), micro);
        self
    }

    pub fn clear(&mut self, key: &str) -> &mut Design {
        self.0.remove(key);
        self
    }

    /// Lines `key = 12.5` or `key = word`, `#` for remarks; for fixtures and files.
    ///
    /// # Errors
    /// The first line that names no field or gives no value of it.
    pub fn parse(text: &str) -> Result<Design, String> {
        let mut design = Design::new();
        for line in text.lines().map(str::trim).filter(|line| !line.is_empty() && !line.starts_with('#')) {
            let (key, value) = line.split_once('=').ok_or_else(|| line.to_owned())?;
            let (key, value) = (key.trim(), value.trim());
            let known = field(key).ok_or_else(|| line.to_owned())?;
            let micro = match known.choices.iter().position(|choice| *choice == value) {
                Some(index) => i64::try_from(index + usize::from(!known.is_yes_or_no())).unwrap_or(0) * MICRO,
                None => Quantity::parse(known.unit, value, '.').map_err(|_| line.to_owned())?.micro,
            };
            design.set(key, micro);
        }
        Ok(design)
    }

    /// A whole number, if it is one.
    pub(super) fn whole(&self, key: &str) -> Option<i64> {
        self.get(key).filter(|micro| micro % MICRO == 0).map(|micro| micro / MICRO)
    }

    /// The word for the kind of location.
    pub(super) fn location(&self) -> Option<&'static str> {
        let index = usize::try_from(self.whole("location_kind")?).ok()?.checked_sub(1)?;
        LOCATIONS.get(index).copied()
    }

    /// Strings in parallel.
    pub(super) fn strings(&self) -> i64 {
        self.whole("strings").unwrap_or(1).max(1)
    }

    /// `None` for a single string, and where nobody said it.
    pub(super) fn joint(&self) -> Option<Joint> {
        match self.whole("string_joint").filter(|_| self.strings() > 1)? {
            1 => Some(Joint::AtInverter),
            2 => Some(Joint::Cable),
            3 => Some(Joint::Fuse),
            _ => None,
        }
    }

    /// Modules one after the other.
    pub(super) fn in_series(&self) -> Option<i64> {
        let modules = self.whole("modules").filter(|modules| *modules > 0)?;
        let strings = self.strings();
        (modules % strings == 0).then_some(modules / strings)
    }

    /// How many modules each stack holds; the first ones take what does not divide.
    pub(super) fn stacked(&self) -> Vec<i64> {
        let modules = self.whole("modules").unwrap_or(0).clamp(0, 1_000);
        let stacks = self.whole("stacks").unwrap_or(1).clamp(1, 8);
        (0..stacks).map(|stack| modules / stacks + i64::from(stack < modules % stacks)).filter(|n| *n > 0).collect()
    }

    /// Of all modules.
    pub(super) fn energy(&self) -> Option<i64> {
        self.whole("modules")?.checked_mul(self.get("module_wh")?)
    }

    /// Of the tallest stack with its control unit: as given, else added up.
    pub(super) fn stack_mass(&self) -> Option<i64> {
        self.get("stack_mass_kg").or_else(|| {
            let modules = self.stacked().into_iter().max()?;
            let modules = modules.checked_mul(self.get("module_mass_kg")?)?;
            modules.checked_add(self.get("control_mass_kg").unwrap_or(0))
        })
    }

    /// Of the tallest stack, with base and control unit.
    pub(super) fn stack_height(&self) -> Option<i64> {
        let modules = self.stacked().into_iter().max()?.checked_mul(self.get("module_height_m")?)?;
        modules
            .checked_add(self.get("base_height_m").unwrap_or(0))?
            .checked_add(self.get("control_height_m").unwrap_or(0))
    }

    /// As given, else half of the height.
    pub(super) fn gravity_height(&self) -> Option<i64> {
        self.get("stack_gravity_height_m").or_else(|| self.stack_height().map(|height| height / 2))
    }

    /// Phases of the supply; two are a split phase.
    fn supply_phases(&self) -> Option<i64> {
        self.whole("phases").filter(|phases| (1..=3).contains(phases))
    }

    /// Whether the supply has several line conductors, so that an inverter may use one or all of them.
    pub(super) fn has_lines(&self) -> bool {
        self.supply_phases().is_some_and(|phases| phases > 1)
    }

    pub(super) fn has_three_lines(&self) -> bool {
        self.supply_phases() == Some(3)
    }

    /// Phases of an inverter; a supply of a single one leaves no choice.
    pub(super) fn inverter_phases(&self, inverter: Inverter) -> Option<i64> {
        match self.supply_phases()? {
            1 => Some(1),
            _ => self.whole(inverter.phases).filter(|phases| (1..=3).contains(phases)),
        }
    }

    /// The inverters of the premises that are planned or there, the new one first.
    pub(super) fn inverters(&self) -> impl Iterator<Item = Inverter> + '_ {
        [NEW, EXISTING].into_iter().filter(|inverter| self.power(*inverter).is_some())
    }

    /// Rated power of an inverter. One of nothing is a figure that nobody read, or an inverter that is not there.
    pub(super) fn power(&self, inverter: Inverter) -> Option<i64> {
        self.get(inverter.power).filter(|power| *power > 0)
    }

    /// Which line conductor an inverter of a single phase is on. Nobody said it: the other's, for that is the worst.
    pub(super) fn line_of(&self, inverter: Inverter) -> i64 {
        let said = |one: Inverter| self.whole(one.line).filter(|line| (1..=3).contains(line));
        said(inverter).or_else(|| [NEW, EXISTING].into_iter().find_map(said)).unwrap_or(1)
    }

    /// Whether the new inverter loads three line conductors alike.
    pub(super) fn is_three_phase(&self) -> bool {
        self.supply_phases() == Some(3) && self.inverter_phases(NEW) == Some(3)
    }

    /// Half of a split phase, whose whole voltage the design has.
    pub(super) fn voltage_to_neutral(&self) -> Option<i64> {
        let nominal = self.get("ac_nominal_v")?;
        Some(if self.supply_phases() == Some(2) { nominal / 2 } else { nominal })
    }

    /// At which the new inverter's current flows: to neutral, or across a split phase.
    pub(super) fn ac_voltage(&self) -> Option<i64> {
        if self.inverter_phases(NEW)? == 1 { self.voltage_to_neutral() } else { self.get("ac_nominal_v") }
    }

    /// Output current of an inverter per conductor.
    pub(super) fn ac_current(&self, inverter: Inverter) -> Option<i64> {
        // Charging from the sun alone draws nothing, and that is a figure.
        let draws_nothing = inverter.power == CHARGING.power && self.get(inverter.power) == Some(0);
        let power = if draws_nothing { 0 } else { self.power(inverter)? };
        let phases = self.inverter_phases(inverter)?;
        let voltage = if phases == 1 { self.voltage_to_neutral()? } else { self.get("ac_nominal_v")? };
        let conductors = if (self.supply_phases()?, phases) == (3, 3) { 3 } else { 1 };
        let top = i128::from(power) * i128::from(MICRO);
        crate::electrical::units::ratio_micro(top, i128::from(voltage) * conductors)
    }

    /// Whether anything is fed while the network is away; `None` while nobody said so.
    pub(super) fn has_backup(&self) -> Option<bool> {
        if self.loads().next().is_some() {
            return Some(true);
        }
        self.get("backup_output").map(|said| said == MICRO)
    }

    /// What [`Design::ac_current`] and [`Design::ac_voltage`] of the new inverter follow from.
    pub(super) fn ac_fields(&self) -> &'static [&'static str] {
        let all = &["inverter_w", "ac_nominal_v", "phases", "inverter_phases"];
        if self.has_lines() { all } else { &all[..3] }
    }

    /// Numbers of the loads that are listed.
    pub(super) fn loads(&self) -> impl Iterator<Item = usize> + '_ {
        (1..=LOADS).filter(|load| self.get(&format!("load_{load}_w")).is_some())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_becomes_figures() {
        let design =
            Design::parse("# a house\nmodules = 7\nstacks = 2\nearthing = tt\ntype_tested = yes\nmodule_wh = 2560\n");
        let design = design.expect("it is well formed");
        assert_eq!(design.get("earthing"), Some(3_000_000));
        assert_eq!(design.get("type_tested"), Some(MICRO));
        assert_eq!(design.stacked(), [4, 3]);
        assert_eq!(design.energy(), Some(17_920_000_000));
        assert_eq!(Design::parse("height = 3"), Err("height = 3".to_owned()));
        assert_eq!(Design::parse("modules = many"), Err("modules = many".to_owned()));
    }

    #[test]
    fn strings_divide_the_modules() {
        let of = |text| Design::parse(text).expect("well formed").in_series();
        assert_eq!(of("modules = 8"), Some(8));
        assert_eq!(of("modules = 8\nstrings = 2"), Some(4));
        assert_eq!(of("modules = 7\nstrings = 2"), None);
        assert_eq!(of("stacks = 1"), None);
    }

    #[test]
    fn what_is_not_given_is_added_up() {
        let design = Design::parse(
            "modules = 5\nstacks = 2\nmodule_mass_kg = 40\ncontrol_mass_kg = 12\nmodule_height_m = 0.3\nbase_height_m = 0.1",
        );
        let mut design = design.expect("well formed");
        assert_eq!(design.stack_mass(), Some(132_000_000));
        assert_eq!(design.gravity_height(), Some(500_000));
        design.set("stack_mass_kg", 150_000_000);
        assert_eq!(design.stack_mass(), Some(150_000_000));
    }

    #[test]
    fn an_inverter_has_phases_of_its_own() {
        let of = |text: &str| {
            let design = Design::parse(&format!("inverter_w = 4800\n{text}")).expect("well formed");
            (design.ac_current(NEW).map(|micro| micro / 1_000), design.ac_voltage())
        };
        let volts = |volts: i64| Some(volts * MICRO);
        assert_eq!(of("phases = 1\nac_nominal_v = 240"), (Some(20_000), volts(240)));
        assert_eq!(of("phases = 3\nac_nominal_v = 230\ninverter_phases = one_phase"), (Some(20_869), volts(230)));
        assert_eq!(of("phases = 3\nac_nominal_v = 230\ninverter_phases = three_phases"), (Some(6_956), volts(230)));
        assert_eq!(of("phases = 2\nac_nominal_v = 240\ninverter_phases = split_phase"), (Some(20_000), volts(240)));
        assert_eq!(of("phases = 2\nac_nominal_v = 240\ninverter_phases = one_phase"), (Some(40_000), volts(120)));
        assert_eq!(of("phases = 3\nac_nominal_v = 230"), (None, None), "nobody said which");
    }

    #[test]
    fn a_line_that_nobody_named_is_the_worst() {
        let of = |text: &str| {
            let design = Design::parse(text).expect("well formed");
            [design.line_of(NEW), design.line_of(EXISTING)]
        };
        assert_eq!(of(""), [1, 1]);
        assert_eq!(of("existing_inverter_line = l2"), [2, 2]);
        assert_eq!(of("existing_inverter_line = l2\ninverter_line = l3"), [3, 2]);
    }

    #[test]
    fn absurd_figures_do_not_overflow() {
        let mut design = Design::new();
        for key in ["modules", "module_wh", "module_mass_kg", "module_height_m", "inverter_w", "ac_nominal_v", "phases"]
        {
            design.set(key, i64::MAX - i64::MAX % MICRO);
        }
        assert_eq!((design.energy(), design.ac_current(NEW)), (None, None));
        assert_eq!(design.stack_height(), None);
    }
}
