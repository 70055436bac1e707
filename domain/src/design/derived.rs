//! Figures that a method asks for and that follow from the design, for those that nobody entered.
//!
//! The phone judges by what stands in the job file, also where it lacks the firm's rules, so a figure that follows is saved with
//! the design that it follows from. Once the design changes, it must change too: what equals its own computation is taken for
//! computed ([`Following::entered`]) and made anew ([`Following::completed`]); what a person wrote otherwise stays,
//! but for how long a proof of dead holds, which a plan may only shorten.

use std::collections::BTreeMap;

use super::equipment::with_equipment;
use super::inputs::Design;
use super::place::energy_rule;
use super::sheet::{Line, Sheet, sheet};
use crate::electrical::rule_set::{PROOF_SPAN_KEY, Place, Rule, RuleSet, Topic};
use crate::electrical::units::MICRO;
use crate::job_file::body::Equipment;
use crate::method::plan::DesignField;

/// Figures of a job by key, in millionths, sorted by key.
pub type Figures = Vec<(String, i64)>;

/// Keys of the job file's design entry with their figures; what was entered by hand stays.
pub fn derived(design: &Design, rules: &RuleSet, sheet: &Sheet) -> Vec<(&'static str, i64)> {
    let all = every(design, rules, sheet).into_iter().filter_map(|(key, value)| Some((key, value?)));
    all.filter(|(key, _)| design.get(key).is_none()).collect()
}

/// All that may follow, whether it was entered or not.
fn every(design: &Design, rules: &RuleSet, sheet: &Sheet) -> [(&'static str, Option<i64>); 25] {
    let energy_limit = energy_rule(rules, design).and_then(|rule| rule.value);
    // A limit that somebody entered is a rule; where it stands must be known before anybody can say that there is none.
    let has_limit = energy_limit.is_some() || design.get("energy_limit_wh").is_some();
    let no_energy_rule = if has_limit { Some(0) } else { design.location().map(|_| MICRO) };
    let cap = rules.find(Topic::EarthCap, "main_earth").and_then(|rule| rule.value);
    let reconnect = rules.find(Topic::Protection, "reconnect delay").and_then(|rule| rule.value);
    // What is measured at a supply is held against what the place calls nominal, whatever was planned with.
    let of_supply = |topic, about| rules.find(topic, about).and_then(|rule: &Rule| Some(rule.value?.micro));
    let check = |line: &str| sheet.line(line).and_then(Line::check);
    let result = |line: &str, key: &str| check(line)?.result(key).map(|value| value.micro);
    let most = |line: &str| check(line)?.limit?.limit.at_most;
    // The strictest of the place; what was planned is another figure, which the sheet holds against the same rules.
    let holds = |rule: &&Rule| design.location().is_some_and(|location| rule.holds_at(location));
    let openings = rules.about(Topic::Distance).filter(|rule| rule.about == "opening_distance_m").filter(holds);
    let opening = openings.filter_map(|rule| Some(rule.value?.micro)).max();
    let stack = result("stack_window", "stack_voltage_max");
    [
        // ACI 318 in America, EN 1992-4 elsewhere: the codes of check F15-WALL.
        ("anchor_standard", Some(if rules.place == Place::Us { 2 * MICRO } else { MICRO })),
        ("backup_limit_w", design.get("inverter_w")),
        ("dc_nominal_v", stack),
        ("discharge_estimate_s", result("discharge", "discharge_time")),
        ("electrode_max_ohm", most("electrode")),
        ("energy_limit_wh", energy_limit.map(|limit| limit.micro)),
        ("energy_total_wh", design.energy()),
        ("fuse_breaking_a", result("dc_fuse", "fault_current")),
        ("fuse_rating_a", design.get("dc_fuse_a")),
        ("fuse_voltage_v", stack),
        // Where the electrode is the return path, the loop is bound by what the residual-current device asks of it.
        ("loop_max_ohm", most("loop_measured").or_else(|| most("electrode"))),
        ("no_energy_rule", no_energy_rule),
        ("opening_limit_m", opening),
        ("pe_cap_ohm", cap.map(|cap| cap.micro)),
        (PROOF_SPAN_KEY, rules.figure(Topic::ProofSpan)),
        ("rcd_kind", rules.figure(Topic::RcdKind)),
        ("reconnect_min_s", reconnect.map(|delay| delay.micro)),
        ("stack_gravity_height_m", design.gravity_height()),
        ("stack_mass_kg", design.stack_mass()),
        ("supply_band_high_pct", of_supply(Topic::VoltageBand, "high")),
        ("supply_band_low_pct", of_supply(Topic::VoltageBand, "low")),
        ("supply_frequency_max_hz", of_supply(Topic::FrequencyBand, "high")),
        ("supply_frequency_min_hz", of_supply(Topic::FrequencyBand, "low")),
        ("supply_line_v", of_supply(Topic::NominalVoltage, "line")),
        ("supply_neutral_v", of_supply(Topic::NominalVoltage, "neutral")),
    ]
}

/// What figures follow from: the job's units, its rules, and what its method asks for.
#[derive(Clone, Copy, Debug)]
pub struct Following<'a> {
    /// The units that are planned, with their models' figures.
    pub equipment: Option<&'a Equipment>,
    /// By which the job is designed.
    pub rules: &'a RuleSet,
    /// The figures that the method asks for; nothing else is added or left out.
    pub asked: &'a [DesignField],
}

impl Following<'_> {
    /// Whether a figure is there, or none is wanted: a place without a rule on stored energy has no limit to enter, and a conductor
    /// whose size stands in the table of resistances needs none by its maker.
    pub fn is_answered(figures: &[(String, i64)], key: &str) -> bool {
        let value = |key: &str| figures.iter().find(|(own, _)| own == key).map(|(_, micro)| *micro);
        let is_in_table = |size: Option<i64>, class: Option<i64>| {
            let sized = size.zip(class).map(|(size, class)| [("conductor_size", size), ("conductor_class", class)]);
            let any = [("length", MICRO), ("temperature", 20 * MICRO)];
            let inputs = sized.map(|sized| sized.into_iter().chain(any).collect());
            inputs.is_some_and(|inputs| crate::electrical::compute("F01", &inputs).is_ok())
        };
        value(key).is_some()
            || match key {
                "energy_limit_wh" => value("no_energy_rule") == Some(MICRO),
                // Few makers state capacitor and resistor, and the times on the label and by the maker count without them.
                "discharge_estimate_s" => true,
                "pe_ohm_per_km" => is_in_table(value("pe_size_mm2"), value("pe_class")),
                "dc_cable_ohm_per_km" => is_in_table(value("dc_cable_size_mm2"), value("dc_cable_class")),
                // Stranded, as the new circuit's continuity is judged.
                "ac_pe_ohm_per_km" => is_in_table(value("ac_protective_core_mm2"), Some(2 * MICRO)),
                _ => false,
            }
    }

    /// The figures without those that only follow from the others or from a model: whose value is the computed one.
    pub fn entered(&self, values: &[(String, i64)]) -> Figures {
        let computed = self.computed(values);
        values.iter().filter(|line| !computed.contains(line)).cloned().collect()
    }

    /// What follows for the keys that the method asks for, as if nobody had entered any that may follow.
    pub fn computed(&self, values: &[(String, i64)]) -> Figures {
        let is_asked = |key: &str| self.asked.iter().any(|field| field.key == key);
        let nothing = Design::new();
        let by_model = self.equipment.map(|equipment| with_equipment(&nothing, equipment)).unwrap_or_default();
        let derived = every(&nothing, self.rules, &sheet(&nothing, self.rules)).map(|(key, _)| key);
        let may_follow = |key: &str| is_asked(key) && (derived.contains(&key) || by_model.get(key).is_some());
        let rest: Figures = values.iter().filter(|(key, _)| !may_follow(key)).cloned().collect();
        let mut all = self.completed(&rest);
        all.retain(|(key, _)| may_follow(key));
        all
    }

    /// The figures with those that follow from them.
    pub fn completed(&self, entered: &[(String, i64)]) -> Figures {
        let design = Design::of_values(entered.iter().map(|(key, micro)| (key.as_str(), *micro)));
        let design = self.equipment.map_or_else(|| design.clone(), |equipment| with_equipment(&design, equipment));
        let follows = derived(&design, self.rules, &sheet(&design, self.rules));
        let mut all: BTreeMap<String, i64> = entered.iter().cloned().collect();
        for field in self.asked {
            let key = field.key.as_str();
            let computed = follows.iter().find(|(own, _)| *own == key).map(|(_, micro)| *micro);
            if let Some(micro) = design.get(key).or(computed) {
                let own = all.entry(key.to_owned()).or_insert(micro);
                // A plan may ask for the proof sooner than the rules do, never later.
                if key == PROOF_SPAN_KEY {
                    *own = (*own).min(self.rules.figure(Topic::ProofSpan).unwrap_or(*own));
                }
            }
        }
        all.into_iter().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::electrical::Unit;
    use crate::electrical::rule_set::Change;
    use crate::ids::ModelId;
    use crate::job_file::body::{ModelSnapshot, Slot, UnitKind};
    use crate::method::plan::{Micro, Text};

    fn of(place: Place, text: &str) -> Vec<(&'static str, i64)> {
        let (design, rules) = (Design::parse(text).expect("well formed"), RuleSet::of(place));
        derived(&design, &rules, &sheet(&design, &rules))
    }

    #[test]
    fn a_method_gets_what_follows() {
        let text = "modules = 8\nmodule_cells = 16\nmodule_cell_min_v = 2.8\nmodule_cell_max_v = 3.6\nmodule_wh = 2560\n\
                    module_mass_kg = 28\nlocation_kind = indoor\nac_nominal_v = 230\nac_breaker_type = b\nac_breaker_a = 32";
        let expected = [
            ("anchor_standard", 1_000_000),
            ("dc_nominal_v", 460_800_000),
            ("energy_limit_wh", 40_000_000_000),
            ("energy_total_wh", 20_480_000_000),
            ("fuse_voltage_v", 460_800_000),
            // 0.8 · 230 · 0.95 / 160
            ("loop_max_ohm", 1_092_500),
            ("no_energy_rule", 0),
            ("proof_span_s", 3_600_000_000),
            ("rcd_kind", 3_000_000),
            ("reconnect_min_s", 20_000_000),
            ("stack_mass_kg", 224_000_000),
        ];
        let of_supply = [
            ("supply_band_high_pct", 10_000_000),
            ("supply_band_low_pct", -6_000_000),
            ("supply_frequency_max_hz", 50_500_000),
            ("supply_frequency_min_hz", 49_500_000),
            ("supply_line_v", 400_000_000),
            ("supply_neutral_v", 230_000_000),
        ];
        assert_eq!(of(Place::Uk, text), [&expected[..], &of_supply].concat());
        let entered = format!("{text}\nstack_mass_kg = 250");
        assert!(of(Place::Uk, &entered).iter().all(|(key, _)| *key != "stack_mass_kg"));
        assert!(of(Place::Au, text).contains(&("pe_cap_ohm", 500_000)));
        assert!(of(Place::De, "earthing = tt\nrcd_residual_a = 0.1").contains(&("electrode_max_ohm", 500_000_000)));
        assert!(of(Place::De, "earthing = tt\nrcd_residual_a = 0.1").contains(&("loop_max_ohm", 500_000_000)));
        let neutral: Vec<&str> = of(Place::Neutral, "").into_iter().map(|(key, _)| key).collect();
        assert_eq!(
            neutral,
            [&["anchor_standard", "proof_span_s", "rcd_kind"][..], &of_supply.map(|(key, _)| key)].concat()
        );
        assert!(of(Place::Us, "").contains(&("anchor_standard", 2_000_000)));
        // 47 kΩ · 1.5 mF · ln(460.8 / 10), and no estimate where one of the three is not known.
        let capacitor = format!("{text}\nbleed_ohm = 47000\ncapacitance_f = 0.0015");
        let estimate = |text: &str| of(Place::Uk, text).into_iter().find(|(key, _)| *key == "discharge_estimate_s");
        assert_eq!(estimate(&capacitor), Some(("discharge_estimate_s", 270_041_721)));
        assert_eq!(estimate(&format!("{text}\ncapacitance_f = 0.0015")), None);
        assert!(Following::is_answered(&Vec::new(), "discharge_estimate_s"));
        // No rule is an answer once it is known where it stands, and a limit that was entered is one.
        let energy = |values: &[(&str, i64)]| {
            let (design, rules) = (Design::of_values(values.iter().copied()), RuleSet::of(Place::De));
            let all = derived(&design, &rules, &sheet(&design, &rules));
            all.into_iter().find_map(|(key, micro)| (key == "no_energy_rule").then_some(micro))
        };
        assert_eq!(energy(&[("location_kind", 1_000_000)]), Some(1_000_000));
        assert_eq!(energy(&[("energy_limit_wh", 20_000_000_000)]), Some(0));
        assert_eq!(energy(&[]), None);
        let answered = |figures: &[(&str, i64)]| {
            let figures: Figures = figures.iter().map(|(key, micro)| ((*key).to_owned(), *micro)).collect();
            Following::is_answered(&figures, "energy_limit_wh")
        };
        assert!(answered(&[("no_energy_rule", 1_000_000)]) && answered(&[("energy_limit_wh", 1)]));
        assert!(!answered(&[("no_energy_rule", 0)]) && !answered(&[]));
        // A size of the table needs no resistance by the maker; one by gauge does, and so does one that nobody gave.
        for (key, size, class) in [
            ("pe_ohm_per_km", "pe_size_mm2", Some("pe_class")),
            ("dc_cable_ohm_per_km", "dc_cable_size_mm2", Some("dc_cable_class")),
            ("ac_pe_ohm_per_km", "ac_protective_core_mm2", None),
        ] {
            let answered = |micro: i64| {
                let class = class.map(|class| (class.to_owned(), 2_000_000));
                let figures: Figures = [(size.to_owned(), micro)].into_iter().chain(class).collect();
                Following::is_answered(&figures, key)
            };
            assert!(answered(6_000_000) && !answered(5_261_000) && !Following::is_answered(&Vec::new(), key), "{key}");
        }
        // Twice the energy is for a garage of its own that resists fire; nobody takes that for granted.
        for (answer, limit) in [("", 40_000), ("has_fire_separation = 0", 40_000), ("has_fire_separation = 1", 80_000)]
        {
            let garage = format!("location_kind = detached_garage\n{answer}");
            assert!(of(Place::Uk, &garage).contains(&("energy_limit_wh", limit * 1_000_000)), "{answer}");
        }
        // What is planned is no limit: 3 m planned do not make 2.5 m wrong, nor 0.4 m planned 0.4 m right.
        for planned in ["0.4", "3"] {
            let wall = format!("location_kind = outdoor_wall\nopening_distance_m = {planned}");
            assert!(of(Place::Uk, &wall).contains(&("opening_limit_m", 1_000_000)), "{planned}");
            assert!(of(Place::Au, &wall).contains(&("opening_limit_m", 600_000)), "{planned}");
        }
    }

    /// Every place has a supply, and a measured one is judged by that of its own place.
    #[test]
    fn every_place_says_what_its_supply_should_be() {
        for (place, to_neutral, between, least, most, hertz) in [
            (Place::Us, 120, 240, "114", "126", 60),
            (Place::Uk, 230, 400, "216.2", "253", 50),
            (Place::Au, 230, 400, "216.2", "253", 50),
            (Place::Nz, 230, 400, "207", "253", 50),
            (Place::De, 230, 400, "207", "253", 50),
            (Place::Neutral, 230, 400, "207", "253", 50),
        ] {
            let all = of(place, "");
            let figure = |key: &str| all.iter().find(|(own, _)| *own == key).map(|(_, micro)| *micro).expect("derived");
            assert_eq!((figure("supply_neutral_v"), figure("supply_line_v")), (to_neutral * MICRO, between * MICRO));
            let (low, high) = (figure("supply_frequency_min_hz"), figure("supply_frequency_max_hz"));
            assert!(low < hertz * MICRO && hertz * MICRO < high && high - low <= 2 * MICRO, "{place:?}");
            let band = [
                ("nominal_voltage", figure("supply_neutral_v")),
                ("band_low", figure("supply_band_low_pct")),
                ("band_high", figure("supply_band_high_pct")),
            ];
            let check = crate::electrical::compute("SUPPLY-BAND", &band.into_iter().collect()).expect("complete");
            let limit = check.limit.expect("it has one").limit;
            let volts =
                |text: &str| crate::electrical::Quantity::parse(Unit::Volt, text, '.').map(|own| own.micro).ok();
            assert_eq!((limit.at_least, limit.at_most), (volts(least), volts(most)), "{place:?}");
        }
    }

    fn ask(key: &str) -> DesignField {
        let label = Text { en: "a".into(), de: "a".into(), es: "a".into() };
        DesignField { key: key.into(), label, unit: Unit::Count, sanity: (Micro(0), Micro(i64::MAX)), proposal: None }
    }

    #[test]
    fn a_plan_shortens_how_long_a_proof_of_dead_holds_and_never_lengthens_it() {
        let asked = [ask(PROOF_SPAN_KEY)];
        let span = |entered: Option<i64>, rules: &RuleSet| {
            let entered: Figures =
                entered.map(|seconds| (PROOF_SPAN_KEY.to_owned(), seconds * MICRO)).into_iter().collect();
            let following = Following { equipment: None, rules, asked: &asked };
            following.completed(&entered).first().map(|(_, micro)| micro / MICRO)
        };
        let built_in = RuleSet::of(Place::De);
        assert_eq!([None, Some(1_800), Some(7_200)].map(|own| span(own, &built_in)), [3_600, 1_800, 3_600].map(Some));
        let change = Change { rule: "PROOF-SPAN".into(), micro: 7_200 * MICRO, reason: "locked rooms".into() };
        let longer = built_in.adapted(1, &[change]).expect("within what is believed");
        assert_eq!([None, Some(7_200)].map(|own| span(own, &longer)), [7_200, 7_200].map(Some));
    }

    fn blank() -> ModelSnapshot {
        ModelSnapshot {
            model: ModelId::of(crate::ids::uuid_v7(1, &[0; 10])),
            version: 1,
            kind: UnitKind::Inverter,
            maker: String::new(),
            name: String::new(),
            gtin: None,
            serial_prefix: String::new(),
            serial_length: (0, 0),
            values: Vec::new(),
        }
    }

    #[test]
    fn what_follows_follows_on_and_what_was_entered_stays() {
        let figures = |text: &str| -> Figures {
            let design = Design::parse(text).expect("well formed");
            design.values().map(|(key, micro)| (key.to_owned(), micro)).collect()
        };
        let rules = RuleSet::of(Place::Uk);
        let asked = ["energy_total_wh", "loop_max_ohm", "stack_mass_kg", "opening_distance_m", "inverter_w"].map(ask);
        let model = ModelSnapshot { values: vec![("power_w".into(), 3_680_000_000)], ..blank() };
        let equipment = Equipment { models: vec![model], slots: vec![Slot { number: 1, model: 0, new: true }] };
        let following = Following { equipment: Some(&equipment), rules: &rules, asked: &asked };
        let value =
            |figures: &[(String, i64)], key: &str| figures.iter().find(|(own, _)| own == key).map(|(_, micro)| *micro);

        let first = figures("modules = 8\nmodule_wh = 2560\nmodule_mass_kg = 28\nstack_mass_kg = 250");
        let saved = following.completed(&first);
        assert_eq!(value(&saved, "energy_total_wh"), Some(20_480_000_000));
        assert_eq!(value(&saved, "stack_mass_kg"), Some(250_000_000), "entered");
        assert_eq!(value(&saved, "inverter_w"), Some(3_680_000_000), "by the model");
        assert_eq!(value(&saved, "reconnect_min_s"), None, "nobody asks for it");
        assert_eq!(following.entered(&saved), first);

        assert_eq!(value(&following.computed(&saved), "stack_mass_kg"), Some(224_000_000), "what was entered differs");

        let mut changed = following.entered(&saved);
        changed.iter_mut().filter(|(key, _)| key == "modules").for_each(|(_, micro)| *micro = 6_000_000);
        let again = following.completed(&changed);
        assert_eq!(value(&again, "energy_total_wh"), Some(15_360_000_000), "it follows the modules");
        assert_eq!(value(&again, "stack_mass_kg"), Some(250_000_000), "entered once, it stays");
    }
}
