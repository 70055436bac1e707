//! Every formula against worked examples, its edges and one value past them (`golden/formulas.txt`), and against a second
//! way to reach the same figure: back through the physics, by a series, by equilibrium, never the same code twice.
#![allow(clippy::unwrap_used, reason = "a test that panics has failed")]

use std::collections::BTreeMap;

use domain::electrical::{Check, InputFault, Inputs, Quantity, Unit, all, compute};
use proptest::prelude::*;

const CASES: &str = include_str!("golden/formulas.txt");
const CASES_LEAST: usize = 120;
const MICRO: f64 = 1e6;

fn micro(text: &str) -> i64 {
    Quantity::parse(Unit::Count, text, '.').unwrap().micro
}

/// `length=10 reading=0.05,0.06`.
fn inputs(text: &str) -> Inputs {
    let mut inputs = Inputs::new();
    for pair in text.split_whitespace() {
        let (key, values) = pair.split_once('=').unwrap();
        for value in values.split(',') {
            inputs.push(key, micro(value));
        }
    }
    inputs
}

/// Holds one expectation: `key=value` within half a percent, else a verdict or the kind of fault.
fn hold(line: &str, outcome: &Result<Check, InputFault>, expected: &str) {
    let check = match outcome {
        Ok(check) => check,
        Err(fault) => {
            assert!(format!("{fault:?}").starts_with(expected), "{line}: {fault:?}");
            return;
        }
    };
    let Some((key, value)) = expected.split_once('=') else {
        assert_eq!(format!("{:?}", check.verdict), expected, "{line}");
        return;
    };
    let got = if key == "most" {
        check.limit.and_then(|limit| limit.limit.at_most)
    } else {
        check.result(key).map(|quantity| quantity.micro)
    };
    let (got, value) = (got.unwrap_or_else(|| panic!("{line}: no {key}")), micro(value));
    assert!((got - value).abs() <= (value.abs() / 200).max(1), "{line}: {key} is {got}");
}

#[test]
fn the_table_of_cases() {
    let mut counted: BTreeMap<&str, [usize; 2]> = BTreeMap::new();
    let mut figures = 0;
    for line in CASES.lines().filter(|line| !line.starts_with('#') && !line.is_empty()) {
        let parts: Vec<&str> = line.split(" | ").collect();
        let [formula, kind, given, expectations] = parts[..] else { panic!("{line}") };
        let outcome = compute(formula, &inputs(given));
        for expected in expectations.split_whitespace() {
            hold(line, &outcome, expected);
            figures += 1;
        }
        counted.entry(formula).or_default()[usize::from(kind == "edge")] += 1;
        assert!(kind == "edge" || kind == "example", "{line}");
    }
    println!("{:<12} {:>8} {:>6}", "formula", "examples", "edges");
    for info in all() {
        let [examples, edges] = counted.get(info.id).copied().unwrap_or_default();
        println!("{:<12} {examples:>8} {edges:>6}", info.id);
        assert!(examples >= 1 && edges >= 1, "{} has {examples} examples and {edges} edges", info.id);
    }
    let cases: usize = counted.values().flatten().sum();
    println!("{cases} cases, {figures} figures and verdicts");
    assert!(cases >= CASES_LEAST);
    assert_eq!(counted.len(), all().len());
}

/// A result in whole units.
fn figure(check: &Check, key: &str) -> f64 {
    check.result(key).unwrap_or_else(|| panic!("{} has no {key}", check.id)).micro as f64 / MICRO
}

fn computed(id: &str, pairs: &[(&str, f64)]) -> Check {
    let mut inputs = Inputs::new();
    for (key, value) in pairs {
        inputs.push(key, libm::round(value * MICRO) as i64);
    }
    compute(id, &inputs).unwrap_or_else(|fault| panic!("{id} {pairs:?}: {fault:?}"))
}

/// Equal within a relative slack, or within a few of the millionths that are kept.
#[track_caller]
fn same(first: f64, second: f64, relative: f64) {
    let slack = (first.abs().max(second.abs()) * relative).max(3e-6);
    assert!((first - second).abs() <= slack, "{first} is not {second}");
}

/// ln by the series of the inverse hyperbolic tangent, after taking out factors of two.
fn ln_by_series(mut x: f64) -> f64 {
    let mut twos = 0.0;
    while x > 1.5 {
        x /= 2.0;
        twos += 1.0;
    }
    while x < 0.75 {
        x *= 2.0;
        twos -= 1.0;
    }
    let series = |x: f64| {
        let z = (x - 1.0) / (x + 1.0);
        let (mut term, mut sum, mut odd) = (z, 0.0, 1.0);
        while odd < 80.0 {
            sum += term / odd;
            term *= z * z;
            odd += 2.0;
        }
        2.0 * sum
    };
    series(x) + twos * series(2.0)
}

const SIZES: [f64; 12] = [1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0, 120.0];

fn size() -> impl Strategy<Value = f64> {
    (0..SIZES.len()).prop_map(|index| SIZES[index])
}

fn class() -> impl Strategy<Value = f64> {
    prop_oneof![Just(1.0), Just(2.0), Just(5.0), Just(6.0)]
}

fn wire(size: f64, class: f64, length: f64, temperature: f64) -> [(&'static str, f64); 4] {
    [("conductor_size", size), ("conductor_class", class), ("length", length), ("temperature", temperature)]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

    /// The correction of IEC 60228, (234.5 + θ)/254.5, is the same line through another pair of points.
    #[test]
    fn f01_by_the_inferred_zero(size in size(), class in class(), length in 1.0..1000.0f64, heat in -20.0..120.0f64) {
        let warm = figure(&computed("F01", &wire(size, class, length, heat)), "resistance");
        let cold = figure(&computed("F01", &wire(size, class, length, 20.0)), "resistance");
        same(warm, cold * (234.5 + heat) / 254.5, 3e-4);
    }

    /// Twice the length is two conductors in a row.
    #[test]
    fn f01_in_a_row(size in size(), class in class(), first in 1.0..500.0f64, second in 1.0..500.0f64) {
        let ohms = |length| figure(&computed("F01", &wire(size, class, length, 35.0)), "resistance");
        same(ohms(first) + ohms(second), ohms(first + second), 1e-6);
    }

    /// The drop is what the loss takes from the power: P = 2·I²·R and ΔU = P/I.
    #[test]
    fn f02_by_the_loss(size in size(), length in 1.0..50.0f64, amperes in 1.0..200.0f64, heat in 0.0..90.0f64) {
        let wire = wire(size, 5.0, length, heat);
        let ohms = figure(&computed("F01", &wire), "resistance");
        let feed = [("supply_kind", 1.0), ("current", amperes), ("nominal_voltage", 400.0)];
        let check = computed("F02", &[&feed[..], &wire[..]].concat());
        // F01 keeps whole micro-ohms.
        let slack = 1e-6 / ohms + 1e-6;
        same(figure(&check, "loss"), 2.0 * amperes * amperes * ohms, slack);
        same(figure(&check, "drop"), figure(&check, "loss") / amperes, 1e-6);
    }

    /// The phasor drop of Annex G, projected: |U0| − |U0 − I·Z| differs from r·cos φ + x·sin φ only in the second order.
    #[test]
    fn f02_by_phasors(size in size(), length in 1.0..60.0f64, amperes in 1.0..32.0f64, cosine in 0.5..1.0f64) {
        let pairs = [
            ("supply_kind", 3.0), ("drop_method", 2.0), ("current", amperes), ("nominal_voltage", 230.0),
            ("conductor_size", size), ("length", length), ("power_factor", cosine),
        ];
        let drop = figure(&computed("F02", &pairs), "drop");
        let (r, x) = (0.0225 * length / size, 0.08e-3 * length);
        let sine = libm::sqrt(1.0 - cosine * cosine);
        // The sending end, seen along the receiving voltage.
        let (along, across) = (amperes * (r * cosine + x * sine), amperes * (x * cosine - r * sine));
        let sending = libm::sqrt((230.0 + along) * (230.0 + along) + across * across);
        let second_order = across * across / (2.0 * 230.0);
        prop_assert!((sending - 230.0 - drop).abs() <= second_order + 1e-3, "{sending} {drop}");
    }

    /// Back from the size to the heat: k²·S² is the let-through that was asked for.
    #[test]
    fn f03_back_to_the_heat(kind in 1..=8i32, amperes in 50.0..10_000.0f64, seconds in 0.1..5.0f64) {
        let k = [143.0, 176.0, 115.0, 143.0, 51.0, 46.0, 95.0, 116.0][kind as usize - 1];
        let pairs = [("protective_kind", f64::from(kind)), ("fault_current", amperes), ("disconnection_time", seconds)];
        let least = figure(&computed("F03", &pairs), "least_size");
        same(k * k * least * least, amperes * amperes * seconds, 3e-5);
        let heat = [("protective_kind", f64::from(kind)), ("let_through", amperes * amperes * seconds)];
        same(figure(&computed("F03", &heat), "least_size"), least, 1e-5);
    }

    /// The limit grows with each joint by its allowance and nothing else.
    #[test]
    fn f04_by_joints(size in size(), length in 1.0..60.0f64, joints in 0..20i32) {
        let most = |joints: i32| {
            let more = [("joints", f64::from(joints))];
            computed("F04", &[&wire(size, 2.0, length, 20.0)[..], &more].concat()).limit.unwrap().limit.at_most.unwrap()
        };
        prop_assert_eq!(most(joints + 1) - most(joints), 10_000);
        let bare = most(0) as f64 / MICRO - 0.02;
        same(bare / 1.1, figure(&computed("F01", &wire(size, 2.0, length, 20.0)), "resistance"), 1e-6);
    }

    /// The current that flows takes the whole voltage difference over the resistances, one after the other.
    #[test]
    fn f06_by_kirchhoff(low in 40.0..50.0f64, spread in 0.01..3.0f64, r in prop::collection::vec(0.001..0.1f64, 3)) {
        let mut pairs = vec![("arrangement", 1.0), ("module_voltage", low), ("module_voltage", low + spread)];
        pairs.extend(r.iter().map(|ohms| ("resistance", *ohms)));
        let current = figure(&computed("F06", &pairs), "equalising_current");
        let dropped: f64 = r.iter().map(|ohms| current * ohms).sum();
        same(dropped, spread, 1e-3);
    }

    /// A stack is as many modules one after the other.
    #[test]
    fn f07_module_by_module(modules in 1..40i32, cells in 1..40i32, low in 2.0..3.0f64, high in 3.1..4.3f64) {
        let pairs = [
            ("modules", f64::from(modules)), ("cells_per_module", f64::from(cells)),
            ("cell_voltage_min", low), ("cell_voltage_max", high),
        ];
        let check = computed("F07", &pairs);
        let mut total = 0.0;
        for _ in 0..modules * cells {
            total += libm::round(high * MICRO) / MICRO;
        }
        same(figure(&check, "stack_voltage_max"), total, 1e-9);
    }

    /// Power balance: what the battery gives at the lowest voltage, less the losses, is the output.
    #[test]
    fn f08_by_power(watts in 500.0..20_000.0f64, efficiency in 80.0..100.0f64, volts in 40.0..600.0f64) {
        let pairs = [("size_series", 1.0), ("power", watts), ("efficiency", efficiency), ("stack_voltage_min", volts)];
        let check = computed("F08", &pairs);
        same(figure(&check, "current_max") * volts * efficiency / 100.0, watts, 1e-5);
        same(figure(&check, "rating_min") * 0.8, figure(&check, "current_max"), 1e-5);
    }

    /// ln by its series; and the capacitor stepped down in small pieces of its time constant reaches the threshold.
    #[test]
    fn f09_by_series_and_by_steps(volts in 61.0..1_000.0f64, ohms in 1_000.0..200_000.0f64, microfarads in 10.0..5_000.0f64) {
        let farads = libm::round(microfarads) / MICRO;
        let check = computed("F09", &[("start_voltage", volts), ("bleed_resistance", ohms), ("capacitance", farads)]);
        let seconds = figure(&check, "discharge_time");
        same(seconds, ohms * farads * ln_by_series(volts / 60.0), 1e-6);
        let steps = 20_000;
        let share = seconds / f64::from(steps) / (ohms * farads);
        let mut left = volts;
        for _ in 0..steps {
            // The implicit midpoint: second order, so that the pieces need not be tiny.
            left *= (1.0 - share / 2.0) / (1.0 + share / 2.0);
        }
        same(left, 60.0, 1e-3);
    }

    /// At the greatest loop impedance exactly the tripping current flows.
    #[test]
    fn f10_by_the_fault_current(kind in 1..=3i32, rating in 6.0..125.0f64, factor in 0.9..1.0f64) {
        let pairs = [
            ("earth_voltage", 230.0), ("breaker_type", f64::from(kind)), ("device_rating", rating), ("voltage_factor", factor),
        ];
        let check = computed("F10", &pairs);
        let times = [5.0, 10.0, 20.0][kind as usize - 1];
        same(230.0 * factor / figure(&check, "loop_max"), times * rating, 2e-5);
    }

    /// Logarithms on both sides of the curve.
    #[test]
    fn f11_class_a_by_logarithms(milliamperes in 6.0..300.0f64) {
        let amperes = libm::round(milliamperes * 1_000.0) / MICRO;
        let seconds = figure(&computed("F11", &[("rcd_kind", 7.0), ("test_current", amperes)]), "trip_time_max");
        same(ln_by_series(seconds), 1.43 * ln_by_series(0.020 / amperes), 2e-4);
    }

    /// The largest inverter that the panel reports is the largest that it lets pass.
    #[test]
    fn f12_by_trying(busbar in 60.0..400.0f64, part in 0.5..1.0f64) {
        let main = libm::round(busbar * part);
        let busbar = libm::round(busbar);
        let panel = |amperes: f64| {
            computed("F12", &[
                ("busbar_rule", 1.0), ("busbar_rating", busbar), ("main_rating", main), ("inverter_current", amperes),
                ("far_end", 1.0),
            ])
        };
        let largest = figure(&panel(1.0), "inverter_current_max");
        prop_assert_eq!(format!("{:?}", panel(largest - 0.000_002).verdict), "Pass");
        prop_assert_eq!(format!("{:?}", panel(largest + 0.000_002).verdict), "Fail(BusbarOverloaded)");
    }

    /// The energy spent second by second at the average power is the usable energy; and usable energy is what is left of
    /// the whole after each loss is taken away in turn.
    #[test]
    fn f13_by_spending(
        energy in 1_000.0..50_000.0f64, health in 50.0..100.0f64, start in 50.0..100.0f64, floor in 0.0..40.0f64,
        loads in prop::collection::vec((10.0..900.0f64, 5.0..100.0f64), 1..5),
    ) {
        let mut pairs = vec![
            ("energy_nominal", energy), ("health", health), ("charge_start", start), ("charge_floor", floor),
            ("efficiency", 94.0), ("inverter_power", 10_000.0), ("standby_power", 30.0),
        ];
        for (power, duty) in &loads {
            pairs.extend([("load_power", *power), ("load_duty", *duty)]);
        }
        let check = computed("F13", &pairs);
        let lost = energy * (1.0 - health / 100.0);
        let reach = (energy - lost) - (energy - lost) * (1.0 - start / 100.0) - (energy - lost) * floor / 100.0;
        same(figure(&check, "usable_energy"), reach - reach * 0.06, 1e-6);
        let spent: f64 = loads.iter().map(|(power, duty)| power * duty / 100.0 * figure(&check, "runtime") / 3_600.0).sum();
        same(spent + 30.0 * figure(&check, "runtime") / 3_600.0, figure(&check, "usable_energy"), 1e-6);
    }

    /// Moments about the front edge: the bracket and half the depth of the weight hold what the push turns.
    #[test]
    fn f15_by_moments(mass in 50.0..400.0f64, height in 0.3..1.2f64, depth in 0.1..0.4f64, at in 0.8..2.0f64, push in 0.0..0.6f64) {
        // Whole millimetres, so that the millionths kept are exact.
        let [mass, height, depth, at, push] = [mass, height, depth, at, push].map(|x| libm::round(x * 1e3) / 1e3);
        let pairs = [
            ("mass", mass), ("gravity_height", height), ("depth", depth), ("bracket_height", at), ("push_factor", push),
        ];
        let check = computed("F15", &pairs);
        let weight = figure(&check, "weight");
        same(figure(&check, "signed_force") * at + weight * depth / 2.0, push * weight * height, 2e-5);
    }

    /// The anchors together carry the weight, and their couple turns against it; x^1.5 squared is x cubed.
    #[test]
    fn f15_wall_by_equilibrium(mass in 10.0..200.0f64, out in 0.05..0.3f64, lever in 0.2..1.5f64, rows in 1..6i32) {
        let pairs = [
            ("mass", mass), ("gravity_distance", out), ("lever", lever), ("fixings", f64::from(2 * rows)),
            ("load_factor", 1.0), ("tension_resistance", 900.0), ("shear_resistance", 1_100.0),
            ("embedment", 0.05), ("edge_distance", 0.075), ("spacing", 0.15),
        ];
        let check = computed("F15-WALL", &pairs);
        same(figure(&check, "shear") * f64::from(2 * rows), mass * 9.81, 1e-5);
        same(figure(&check, "tension") * f64::from(rows) * lever, mass * 9.81 * out, 2e-5);
        let (pull, push) = (figure(&check, "tension") / 900.0, figure(&check, "shear") / 1_100.0);
        let curved = libm::sqrt(pull * pull * pull) + libm::sqrt(push * push * push);
        same(figure(&check, "interaction_curved"), curved, 1e-4);
    }

    /// A quarter of the foot under a quarter of the stack presses the same.
    #[test]
    fn f15_floor_by_quarters(mass in 20.0..400.0f64, width in 0.2..1.0f64, depth in 0.1..0.6f64) {
        let whole = figure(&computed("F15-FLOOR", &[("mass", mass), ("width", width), ("depth", depth)]), "pressure");
        let part = [("mass", mass / 4.0), ("width", width / 2.0), ("depth", depth / 2.0)];
        same(figure(&computed("F15-FLOOR", &part), "pressure"), whole, 2e-4);
    }

    /// The currents of the phases carry the power back.
    #[test]
    fn f17_by_power(watts in 100.0..30_000.0f64) {
        let current = |phases: f64| {
            let pairs = [("phases", phases), ("nominal_voltage", 230.0), ("inverter_power", watts)];
            figure(&computed("F17", &pairs), "phase_current")
        };
        same(current(3.0) * 3.0 * 230.0, watts, 1e-4);
        same(current(1.0) * 230.0, watts, 1e-4);
    }

    /// Two and two: parallel resistances by product over sum.
    #[test]
    fn f18_two_and_two(ohms in prop::collection::vec(10.0..1_000.0f64, 1..6)) {
        let pairs: Vec<(&str, f64)> = ohms.iter().map(|ohms| ("terminator", *ohms)).collect();
        let together = ohms.iter().copied().reduce(|one, other| one * other / (one + other)).unwrap();
        same(figure(&computed("F18", &pairs), "expected"), together, 1e-5);
    }

    /// In other dimensions: the arc's joules over the surface of metres, turned to calories a square centimetre.
    #[test]
    fn f19_in_joules(volts in 40.0..1_000.0f64, amperes in 100.0..8_000.0f64, seconds in 0.01..2.0f64, metres in 0.3..1.0f64) {
        let pairs = [
            ("stack_voltage_max", volts), ("fault_current", amperes), ("clearing_time", seconds), ("working_distance", metres),
        ];
        let heat = figure(&computed("F19", &pairs), "arc_heat");
        // IE = 0.01·U·I·t/D² with D in cm is energy·k/m², k = 10^-2·10^-4.
        let joules = volts * amperes / 2.0 * seconds;
        same(heat, joules * 1e-6 / (metres * metres), 2e-4);
    }

    /// The points of a load are those of its parts.
    #[test]
    fn f20_by_points(masses in prop::collection::vec(1.0..60.0f64, 1..8)) {
        let pairs: Vec<(&str, f64)> = masses.iter().map(|mass| ("article_mass", *mass)).collect();
        let each: f64 = masses.iter().map(|mass| figure(&computed("F20", &[("article_mass", *mass)]), "transport_points")).sum();
        same(figure(&computed("F20", &pairs), "transport_points"), each, 1e-6);
    }
}
