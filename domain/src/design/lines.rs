//! The checks of the sheet, apart from the place. Each function is a list of what goes where.

use super::inputs::{CHARGING, Design, EXISTING, Inverter, Joint, NEW};
use super::sheet::From::{Field, Fixed, Given, List, Maybe};
use super::sheet::{Bench, From};
use crate::electrical::checks::{LEANING, feeding_one};
use crate::electrical::rule_set::{Place, Rule, Topic};
use crate::electrical::units::{MICRO, ratio_micro};
use crate::electrical::{Verdict, judge::Why};

/// Earthing by its code.
const TT: i64 = 3 * MICRO;
const COPPER_WORKING: i64 = 70 * MICRO;

impl Bench<'_> {
    /// A figure of the rule set.
    pub(super) fn figure(&self, topic: Topic) -> Option<i64> {
        self.rules.figure(topic)
    }

    /// A figure that the last line with that key computed.
    pub(super) fn result(&self, key: &str, result: &str) -> Option<i64> {
        let line = self.lines.iter().find(|line| line.key == key)?;
        line.check()?.result(result).map(|quantity| quantity.micro)
    }

    pub(super) fn is_american(&self) -> bool {
        self.rules.place == Place::Us
    }

    pub(super) fn is_tt(&self) -> bool {
        self.design.get("earthing") == Some(TT)
    }

    /// The limit of the alternating side: of the rise where the rules have one, else of the drop.
    pub(super) fn ac_drop_rule(&self) -> Option<&'_ Rule> {
        self.rules.find(Topic::Drop, "rise").or_else(|| self.rules.find(Topic::Drop, "ac"))
    }

    /// The limit of the maker's fuse is a rating, so a series that the rules do not name counts as IEC.
    fn series(&self) -> Option<i64> {
        self.figure(Topic::SizeSeries).or(Some(MICRO))
    }

    fn stack_window(&mut self) {
        let series = self.design.in_series().map(|number| number * MICRO);
        self.run(
            "stack_window",
            "F07",
            None,
            &[
                ("modules", Given(series, &["modules"])),
                ("cells_per_module", Field("module_cells")),
                ("cell_voltage_min", Field("module_cell_min_v")),
                ("cell_voltage_max", Field("module_cell_max_v")),
                ("window_min", Field("inverter_dc_min_v")),
                ("window_max", Field("inverter_dc_max_v")),
                ("device_voltage_rating", Field("dc_device_rating_v")),
            ],
        );
    }

    /// Resistances in the way of a short circuit: every module of one string and its path outside.
    fn fault_path(&self) -> Vec<i64> {
        let (Some(series), Some(module)) = (self.design.in_series(), self.design.get("module_resistance_ohm")) else {
            return Vec::new();
        };
        let modules = usize::try_from(series.min(1_000)).unwrap_or(0);
        let mut path = vec![module; modules];
        path.extend(self.design.get("dc_path_resistance_ohm"));
        path
    }

    /// Bolted, where the strings are joined: on either side of a string's own devices all of them feed the arc.
    fn fault_of_all(&self) -> Option<i64> {
        let strings = self.design.strings();
        if let Some(one) = self.design.get("dc_fault_a") {
            return one.checked_mul(strings);
        }
        let resistance = self.fault_path().into_iter().try_fold(0_i64, i64::checked_add).filter(|sum| *sum > 0)?;
        let volts = i128::from(self.result("stack_window", "stack_voltage_max")?);
        ratio_micro(i128::from(strings) * volts * i128::from(MICRO), i128::from(resistance))
    }

    /// What every string has for itself. What only strings in parallel have is left out where there is one.
    fn dc_fuse(&mut self) {
        let strings = self.design.strings();
        let several = (strings > 1).then_some((strings, feeding_one(strings)));
        let own = [
            ("fuse_rating", Field("dc_fuse_a")),
            ("cable_rating", Field("dc_cable_rating_a")),
            ("maker_fuse_max", Field("maker_fuse_max_a")),
            ("breaking_capacity", Field("dc_breaking_a")),
            ("sharing_strings", Fixed(several.map(|(sharing, _)| sharing * MICRO))),
            ("feeding_strings", Fixed(several.map(|(_, feeding)| feeding * MICRO))),
        ];
        self.fuse("dc_fuse", own);
    }

    /// What lies between the node of several strings and the inverter; as long as nobody said what does, that is what is missing.
    fn dc_common(&mut self) {
        let strings = self.design.strings();
        if strings < 2 {
            return;
        }
        // Without a fuse of its own the cable is fed by as many fuses as there are strings.
        let all = |key: &str| self.design.get(key).and_then(|one| one.checked_mul(strings));
        let (fuse, breaking) = match self.design.joint() {
            Some(Joint::Fuse) => (Field("dc_common_fuse_a"), Field("dc_common_breaking_a")),
            Some(Joint::Cable) => {
                (Given(all("dc_fuse_a"), &["dc_fuse_a"]), Given(all("dc_breaking_a"), &["dc_breaking_a"]))
            }
            Some(Joint::AtInverter) => return,
            None => {
                self.run("dc_fuse_common", "F08", None, &[("size_series", Given(None, &["string_joint"]))]);
                return;
            }
        };
        let own = [
            ("fuse_rating", fuse),
            ("cable_rating", Field("dc_common_cable_rating_a")),
            ("maker_fuse_max", Field("dc_common_fuse_max_a")),
            ("breaking_capacity", breaking),
            ("sharing_strings", Fixed(None)),
            ("feeding_strings", Fixed(strings.checked_mul(MICRO))),
        ];
        self.fuse("dc_fuse_common", own);
        self.common_drop();
    }

    /// A fuse of the direct side by what is its own.
    fn fuse(&mut self, key: &'static str, own: [(&'static str, From); 6]) {
        let needs_path = self.design.get("dc_fault_a").is_none();
        let fault = if needs_path { List(self.fault_path(), &["dc_fault_a"]) } else { Fixed(None) };
        let mut pairs = vec![
            ("size_series", Fixed(self.series())),
            ("power", Field("inverter_w")),
            ("efficiency", Field("inverter_efficiency")),
            ("stack_voltage_min", self.stack_voltage("stack_voltage_min")),
            ("charge_current", Maybe("charge_current_a")),
            ("stack_voltage_max", self.stack_voltage("stack_voltage_max")),
            ("fuse_voltage_rating", Field("dc_device_rating_v")),
            ("fault_current", Maybe("dc_fault_a")),
            ("fault_resistance", fault),
        ];
        pairs.extend(own);
        self.run(key, "F08", None, &pairs);
    }

    /// A voltage that [`Bench::stack_window`] computed.
    pub(super) fn stack_voltage(&self, result: &str) -> From {
        Given(
            self.result("stack_window", result),
            &["modules", "module_cells", "module_cell_min_v", "module_cell_max_v"],
        )
    }

    fn dc_drop(&mut self) {
        let rule = self.rules.find(Topic::Drop, "dc").copied();
        let (class, resistance) = self.copper("dc_cable_class", "dc_cable_ohm_per_km");
        self.run(
            "dc_drop",
            "F02",
            rule.as_ref(),
            &[
                ("supply_kind", Fixed(Some(MICRO))),
                ("current", Given(self.result("dc_fuse", "current_max"), &["inverter_w", "inverter_efficiency"])),
                ("nominal_voltage", self.stack_voltage("stack_voltage_min")),
                ("conductor_size", Field("dc_cable_size_mm2")),
                ("conductor_class", class),
                ("resistance_per_km", resistance),
                ("length", Field("dc_cable_length_m")),
                ("temperature", self.dc_cable_temperature()),
                ("drop_limit", Fixed(rule.and_then(|rule| rule.value).map(|value| value.micro))),
            ],
        );
    }

    /// Class and resistance of a cable. The table of resistances is for metric sizes; where cables are sold by gauge the cable's maker must
    /// state it.
    fn copper(&self, class: &'static str, per_km: &'static str) -> (From, From) {
        if !self.is_american() {
            return (Field(class), Maybe(per_km));
        }
        (if self.design.get(per_km).is_some() { Field(class) } else { Fixed(None) }, Field(per_km))
    }

    fn dc_cable_temperature(&self) -> From {
        Fixed(self.design.get("dc_cable_temperature_c").or(Some(COPPER_WORKING)))
    }

    /// From the node on. One limit holds from the stack to the inverter, so nothing is said while it is unknown what a string's
    /// own cable takes of it.
    fn common_drop(&mut self) {
        let rule = self.rules.find(Topic::Drop, "dc").copied();
        let before = self.result("dc_drop", "drop_share");
        let current = self.result("dc_fuse_common", "current_max").filter(|_| before.is_some());
        let (class, resistance) = self.copper("dc_common_cable_class", "dc_common_cable_ohm_per_km");
        self.run(
            "dc_drop_common",
            "F02",
            rule.as_ref(),
            &[
                ("supply_kind", Fixed(Some(MICRO))),
                (
                    "current",
                    Given(
                        current,
                        &[
                            "inverter_w",
                            "inverter_efficiency",
                            "dc_cable_size_mm2",
                            "dc_cable_class",
                            "dc_cable_length_m",
                        ],
                    ),
                ),
                ("nominal_voltage", self.stack_voltage("stack_voltage_min")),
                ("conductor_size", Field("dc_common_cable_size_mm2")),
                ("conductor_class", class),
                ("resistance_per_km", resistance),
                ("length", Field("dc_common_cable_length_m")),
                ("temperature", self.dc_cable_temperature()),
                ("drop_limit", Fixed(rule.and_then(|rule| rule.value).map(|value| value.micro))),
                ("share_before", Fixed(before)),
            ],
        );
    }

    fn ac_device(&mut self) {
        self.run(
            "ac_device",
            "F08-AC",
            None,
            &[
                ("size_series", Fixed(self.series())),
                ("current", self.ac_current()),
                ("device_rating", Field("ac_breaker_a")),
                ("cable_rating", Field("ac_cable_rating_a")),
            ],
        );
    }

    fn ac_breaking(&mut self) {
        self.run(
            "ac_breaking",
            "F08-ICN",
            None,
            &[
                ("size_series", Fixed(self.series())),
                ("fault_current", Field("supply_fault_a")),
                ("breaking_capacity", Field("ac_breaking_a")),
            ],
        );
    }

    /// The house and the charging battery together, on the worst line.
    fn import(&mut self) {
        let draw = self.design.ac_current(CHARGING);
        let all = &["inverter_draw_w", "ac_nominal_v", "phases", "inverter_phases"];
        let fields: &[&str] = if self.design.has_lines() { all } else { &all[..3] };
        self.run(
            "import",
            "F08-IMPORT",
            None,
            &[
                ("size_series", Fixed(self.series())),
                ("house_demand", Field("demand_a")),
                ("draw_current", Given(draw, fields)),
                ("import_limit", Maybe("import_limit_a")),
                ("main_rating", Field("main_fuse_a")),
            ],
        );
    }

    /// What is fed while the network is away flows through the changeover unit, and the inverter alone feeds a fault behind it.
    fn island(&mut self) {
        match self.design.has_backup() {
            Some(true) => {}
            Some(false) => {
                self.settle("changeover", None, Verdict::NotApplicable(Why::NoBackup), Vec::new());
                return;
            }
            None => {
                let open = Verdict::NotDetermined(Why::RequirementOpen);
                self.settle("changeover", None, open, vec!["backup_output"]);
                return;
            }
        }
        let device = self.design.get("changeover_fuse_a").or(self.design.get("main_fuse_a"));
        self.run(
            "changeover",
            "F08-CHANGEOVER",
            None,
            &[
                ("size_series", Fixed(self.series())),
                ("device_rating", Given(device, &["main_fuse_a"])),
                ("current", self.ac_current()),
                ("changeover_rating", Field("changeover_a")),
            ],
        );
        // Breakers there have no characteristic by which a trip is certain.
        if self.is_american() {
            return;
        }
        self.run(
            "island_fault",
            "F10-ISLAND",
            None,
            &[
                ("current", self.ac_current()),
                ("island_fault", Maybe("inverter_fault_a")),
                ("breaker_type", Field("backup_breaker_type")),
                ("device_rating", Field("backup_breaker_a")),
                ("trip_table", Fixed(self.figure(Topic::TripTable))),
                ("residual_device", Field("has_backup_rcd")),
            ],
        );
    }

    pub(super) fn ac_current(&self) -> From {
        Given(self.design.ac_current(NEW), self.design.ac_fields())
    }

    fn ac_drop(&mut self) {
        let rule = self.ac_drop_rule().copied();
        let kind = if self.design.is_three_phase() { 3 } else { 2 };
        self.run(
            "ac_drop",
            "F02",
            rule.as_ref(),
            &[
                ("supply_kind", Fixed(Some(kind * MICRO))),
                ("drop_method", Fixed(Some(2 * MICRO))),
                ("current", self.ac_current()),
                ("nominal_voltage", Given(self.design.ac_voltage(), self.design.ac_fields())),
                ("conductor_size", Field("ac_cable_size_mm2")),
                ("length", Field("ac_cable_length_m")),
                ("power_factor", Maybe("ac_power_factor")),
                ("drop_limit", Fixed(rule.and_then(|rule| rule.value).map(|value| value.micro))),
            ],
        );
    }

    /// The battery's: by its own direct-current conductor, never by the alternating one beyond the inverter. What heat or the maker
    /// ask for counts where it is more: which device clears an earth fault of an unearthed battery is not certain.
    fn battery_protective_size(&mut self) {
        if self.is_american() {
            self.run(
                "pe_size",
                "F03-NEC",
                None,
                &[
                    ("device_rating", Field("dc_fuse_a")),
                    ("protective_size", Field("pe_size_mm2")),
                    ("maker_size", Maybe("pe_maker_mm2")),
                ],
            );
            return;
        }
        self.run(
            "pe_size",
            "F03",
            None,
            &[
                ("protective_kind", Field("pe_kind")),
                ("let_through", Maybe("dc_let_through_a2s")),
                ("line_size", Field("dc_cable_size_mm2")),
                ("mechanically_protected", Maybe("pe_protected")),
                ("protective_size", Field("pe_size_mm2")),
                ("maker_size", Maybe("pe_maker_mm2")),
                ("larger_counts", Fixed(Some(MICRO))),
            ],
        );
    }

    /// The inverter's, with its alternating cable: by heat where somebody gave it whole, else by the line conductor; either way is
    /// allowed.
    fn inverter_protective_size(&mut self) {
        if self.is_american() {
            self.run(
                "ac_pe_size",
                "F03-NEC",
                None,
                &[("device_rating", Field("ac_breaker_a")), ("protective_size", Field("ac_protective_core_mm2"))],
            );
            return;
        }
        let timed = self.design.get("fault_clearing_s").is_some();
        let fault = if timed { Field("supply_fault_a") } else { Fixed(None) };
        self.run(
            "ac_pe_size",
            "F03",
            None,
            &[
                ("protective_kind", Field("ac_pe_kind")),
                ("fault_current", fault),
                ("disconnection_time", Maybe("fault_clearing_s")),
                ("let_through", Maybe("let_through_a2s")),
                ("line_size", Field("ac_cable_size_mm2")),
                ("mechanically_protected", Maybe("ac_pe_protected")),
                ("protective_size", Field("ac_protective_core_mm2")),
            ],
        );
    }

    /// The loop at working temperature against the whole limit; what is measured cold has a limit of its own.
    fn loop_planned(&mut self) {
        if self.is_american() || self.is_tt() {
            return;
        }
        let rule = self.rules.about(Topic::TripTable).next().copied();
        let planned = self.planned_loop(self.design.get("ac_cable_size_mm2"));
        let mut pairs = self.loop_pairs();
        pairs.push((
            "reading",
            Given(planned, &["supply_loop_ohm", "ac_cable_size_mm2", "ac_cable_length_m", "ac_protective_core_mm2"]),
        ));
        self.run("loop_planned", "F10", rule.as_ref(), &pairs);
    }

    /// What both uses of F10 share.
    pub(super) fn loop_pairs(&self) -> Vec<(&'static str, From)> {
        vec![
            ("earth_voltage", Given(self.design.voltage_to_neutral(), &["ac_nominal_v"])),
            ("breaker_type", Field("ac_breaker_type")),
            ("device_rating", Field("ac_breaker_a")),
            ("trip_table", Fixed(self.figure(Topic::TripTable))),
            ("voltage_factor", Fixed(self.figure(Topic::VoltageFactor))),
        ]
    }

    /// Z_e + R1 + R2 with stiff copper at 70 °C; the line conductor's size is an argument so that others can be tried.
    pub(super) fn planned_loop(&self, line_size: Option<i64>) -> Option<i64> {
        let length = self.design.get("ac_cable_length_m")?;
        let core = self.design.get("ac_protective_core_mm2").or(line_size)?;
        let ohms = |size: i64| {
            let inputs = [
                ("conductor_size", size),
                ("conductor_class", 2 * MICRO),
                ("length", length),
                ("temperature", COPPER_WORKING),
            ];
            let check = crate::electrical::compute("F01", &inputs.into_iter().collect()).ok()?;
            check.result("resistance").map(|resistance| resistance.micro)
        };
        let cable = ohms(line_size?)?.checked_add(ohms(core)?)?;
        self.design.get("supply_loop_ohm")?.checked_add(cable)
    }

    /// Only where somebody gave the clearing time; the battery's branch is a final circuit.
    fn disconnection(&mut self) {
        if self.is_american() || self.design.get("fault_clearing_s").is_none() {
            return;
        }
        let system = if self.is_tt() { "tt_final" } else { "tn_final" };
        let rule = self.rules.find(Topic::Disconnection, system).copied();
        let most = rule.and_then(|rule| rule.value).map(|value| value.micro);
        self.run(
            "disconnection",
            "F10-TIME",
            rule.as_ref(),
            &[("time_limit", Fixed(most)), ("reading", Field("fault_clearing_s"))],
        );
    }

    fn rcd_type(&mut self) {
        if self.is_american() {
            return;
        }
        self.run(
            "rcd_type",
            "F11-TYPE",
            None,
            &[
                ("no_smooth_dc", Maybe("no_smooth_dc")),
                ("simple_separation", Maybe("simple_separation")),
                ("rcd_type", Field("rcd_type")),
            ],
        );
    }

    fn busbar(&mut self) {
        let rule = self.rules.about(Topic::BusbarRule).next().copied();
        let inverters: Vec<Inverter> = self.design.inverters().collect();
        let all: Option<Vec<i64>> = inverters.iter().map(|inverter| self.design.ac_current(*inverter)).collect();
        // One that is there and whose current nobody knows leaves the sum unknown.
        let currents = all.filter(|_| self.design.power(NEW).is_some()).unwrap_or_default();
        let breakers = [self.design.get("ac_breaker_a"), self.design.get("existing_breaker_a")];
        let position = if self.is_american() { Field("source_far_end") } else { Fixed(None) };
        self.run(
            "busbar",
            "F12",
            rule.as_ref(),
            &[
                ("busbar_rule", Fixed(rule.and_then(|rule| rule.value).map(|value| value.micro))),
                ("busbar_rating", Field("busbar_a")),
                ("main_rating", Field("main_fuse_a")),
                ("inverter_current", List(currents, inverter_fields(self.design))),
                ("source_breaker", List(breakers.into_iter().flatten().collect(), &["ac_breaker_a"])),
                ("panel_breaker", Maybe("panel_breakers_a")),
                ("far_end", position),
                ("control_cap", if self.is_american() { Maybe("control_cap_a") } else { Fixed(None) }),
            ],
        );
    }
}

pub(super) fn electrical(bench: &mut Bench<'_>) {
    bench.stack_window();
    bench.dc_fuse();
    bench.dc_drop();
    bench.dc_common();
    bench.ac_device();
    bench.ac_breaking();
    bench.ac_drop();
    bench.battery_protective_size();
    bench.inverter_protective_size();
    bench.loop_planned();
    bench.disconnection();
    bench.rcd_type();
    bench.busbar();
    bench.import();
}

/// Bracket, floor and wall.
pub(super) fn mechanical(bench: &mut Bench<'_>) {
    const MASS: &[&str] = &["module_mass_kg", "modules"];
    const HEIGHT: &[&str] = &["module_height_m", "modules"];
    let wall = bench.design.get("wall_mass_kg").is_some();
    if !wall {
        bench.run(
            "bracket",
            "F15",
            None,
            &[
                ("mass", Given(bench.design.stack_mass(), MASS)),
                ("gravity_height", Given(bench.design.gravity_height(), HEIGHT)),
                ("depth", Field("module_depth_m")),
                ("bracket_height", Field("bracket_height_m")),
                ("push_factor", Fixed(bench.design.get("push_factor").or(Some(LEANING)))),
                ("bracket_capacity", Field("bracket_capacity_n")),
            ],
        );
        bench.run(
            "floor",
            "F15-FLOOR",
            None,
            &[
                ("mass", Given(bench.design.stack_mass(), MASS)),
                ("width", Field("module_width_m")),
                ("depth", Field("module_depth_m")),
                ("floor_capacity", Field("floor_capacity_pa")),
            ],
        );
        return;
    }
    bench.run(
        "wall",
        "F15-WALL",
        None,
        &[
            ("mass", Field("wall_mass_kg")),
            ("gravity_distance", Field("wall_gravity_m")),
            ("lever", Field("wall_lever_m")),
            ("fixings", Field("wall_fixings")),
            ("anchor_standard", Fixed(bench.is_american().then_some(2 * MICRO))),
            ("tension_resistance", Field("wall_tension_n")),
            ("shear_resistance", Field("wall_shear_n")),
            ("anchor_tested", Field("wall_anchor_tested")),
            // The resistances hold only that far from an edge and from each other.
            ("embedment", Field("wall_embedment_m")),
            ("edge_distance", Field("wall_edge_m")),
            ("spacing", Field("wall_spacing_m")),
        ],
    );
}

/// What can hurt those who do the work.
pub(super) fn work(bench: &mut Bench<'_>) {
    let fault = bench.fault_of_all();
    bench.run(
        "arc",
        "F19",
        None,
        &[
            ("stack_voltage_max", bench.stack_voltage("stack_voltage_max")),
            ("fault_current", Given(fault, &["dc_fault_a"])),
            ("clearing_time", Maybe("arc_clearing_s")),
            ("working_distance", Maybe("arc_distance_m")),
            ("enclosed", Maybe("arc_enclosed")),
        ],
    );
    bench.run(
        "gloves",
        "F20-GLOVE",
        None,
        &[
            ("nominal_voltage", bench.stack_voltage("stack_voltage_max")),
            ("direct", Fixed(Some(MICRO))),
            ("glove_class", Field("glove_class")),
        ],
    );
    let carried = bench.design.whole("transport_modules").or_else(|| bench.design.whole("modules"));
    let masses: Vec<i64> = match (carried, bench.design.get("module_mass_kg")) {
        (Some(count), Some(mass)) => vec![mass; usize::try_from(count.clamp(0, 1_000)).unwrap_or(0)],
        (None, _) | (_, None) => Vec::new(),
    };
    // A law of some places: elsewhere batteries travel by other rules.
    match bench.rules.about(Topic::TransportMass).next().copied() {
        Some(rule) => {
            let masses = List(masses, &["modules", "module_mass_kg"]);
            bench.run("transport", "F20", Some(&rule), &[("article_mass", masses)]);
        }
        None => bench.settle("transport", None, Verdict::NotApplicable(Why::NoRuleHere), Vec::new()),
    }
}

/// What lies between the supply and the loads that go on without it, and how long those that are listed run from the reserve.
pub(super) fn backup(bench: &mut Bench<'_>) {
    bench.island();
    let design = bench.design;
    let part = |load: usize, part: &str| design.get(&format!("load_{load}_{part}"));
    let loads: Vec<usize> = design.loads().collect();
    if loads.is_empty() {
        return;
    }
    let powers: Vec<i64> = loads.iter().filter_map(|load| part(*load, "w")).collect();
    let duties = loads.iter().map(|load| part(*load, "duty").unwrap_or(100 * MICRO)).collect();
    // All others running while the worst one starts.
    let running = powers.iter().fold(0_i64, |sum, power| sum.saturating_add(*power));
    let rise = |load: &usize| Some(part(*load, "start_w")?.saturating_sub(part(*load, "w")?));
    let surge = loads.iter().filter_map(rise).max().map(|rise| running.saturating_add(rise.max(0)));
    bench.run(
        "runtime",
        "F13",
        None,
        &[
            ("energy_nominal", Given(design.energy(), &["modules", "module_wh"])),
            ("health", Fixed(design.get("health_percent").or(Some(100 * MICRO)))),
            ("charge_start", Field("reserve_percent")),
            ("charge_floor", Field("floor_percent")),
            ("efficiency", Field("inverter_efficiency")),
            ("load_power", List(powers, &[])),
            ("load_duty", List(duties, &[])),
            ("standby_power", Maybe("inverter_standby_w")),
            ("inverter_power", Field("inverter_w")),
            ("inverter_peak", Maybe("inverter_peak_w")),
            ("surge_power", Fixed(surge)),
            ("runtime_wanted", Maybe("runtime_wanted_s")),
        ],
    );
}

/// What the currents of all inverters follow from.
fn inverter_fields(design: &Design) -> &'static [&'static str] {
    let all = &["inverter_w", "ac_nominal_v", "phases", "inverter_phases", "existing_inverter_phases"];
    match (design.has_lines(), design.power(EXISTING).is_some()) {
        (true, true) => all,
        (true, false) => &all[..4],
        (false, _) => &all[..3],
    }
}

/// Which route the network operator wants.
pub(super) fn grid(bench: &mut Bench<'_>) {
    let threshold = bench.rules.about(Topic::NotifyThreshold).next().copied();
    let consent = bench.rules.about(Topic::Notice).find(|rule| rule.basis.is_some()).copied();
    let design = bench.design;
    let inverters: Vec<Inverter> = design.inverters().collect();
    let all: Option<Vec<i64>> = inverters.iter().map(|one| design.inverter_phases(*one)).collect();
    let phases: Vec<i64> = all.filter(|_| design.power(NEW).is_some()).unwrap_or_default();
    let known =
        if phases.is_empty() { Vec::new() } else { inverters.iter().filter_map(|one| design.power(*one)).collect() };
    let codes = |codes: Vec<i64>| List(codes.into_iter().map(|code| code * MICRO).collect(), &[]);
    let lines: Vec<i64> = inverters.iter().map(|one| design.line_of(*one)).collect();
    let tested = if threshold.is_some() { Field("type_tested") } else { Maybe("type_tested") };
    bench.run(
        "grid_route",
        "F17",
        threshold.or(consent).as_ref(),
        &[
            ("phases", Field("phases")),
            ("nominal_voltage", Field("ac_nominal_v")),
            ("inverter_power", List(known.clone(), inverter_fields(design))),
            ("inverter_phases", codes(phases.clone())),
            ("inverter_line", codes(lines.clone())),
            ("notify_threshold", Fixed(threshold.and_then(|rule| rule.value).map(|value| value.micro))),
            ("type_tested", tested),
            ("notify_planned", Maybe("notify_planned")),
            ("consent", Maybe("consent_given")),
        ],
    );
    if let Some(rule) = bench.rules.about(Topic::Unbalance).next().copied().filter(|_| design.has_three_lines()) {
        bench.run(
            "unbalance",
            "F17-UNBALANCE",
            Some(&rule),
            &[
                ("inverter_power", List(known, inverter_fields(design))),
                ("inverter_phases", codes(phases)),
                ("inverter_line", codes(lines)),
                ("unbalance_limit", Fixed(rule.value.map(|value| value.micro))),
                ("balanced", Field("has_balancing")),
            ],
        );
    }
    if let Some(rule) = bench.rules.about(Topic::DrawThreshold).next().copied() {
        bench.run(
            "controllable",
            "F17-DRAW",
            Some(&rule),
            &[
                ("drawn_power", Field("inverter_draw_w")),
                ("draw_threshold", Fixed(rule.value.map(|value| value.micro))),
            ],
        );
    }
}
