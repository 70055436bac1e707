//! F15-WALL: tension and shear on the anchors of a wall-hung unit, and both together against the anchor's resistance.
//!
//! W = 9.81·m, T_top = W·e/z, N = T_top/(n/2), V = W/n, all times 1.35 for a permanent load (EN 1990:2002), in N; e is
//! the distance of the centre of gravity from the wall, z the height between the top row and the lower bearing line, in
//! m; half of the n anchors are in the top row. Passes by N/N_Rd + V/V_Rd ≤ 1.2 or (N/N_Rd)^1.5 + (V/V_Rd)^1.5 ≤ 1, each
//! share ≤ 1 (EN 1992-4:2018, concrete). By ACI 318-19 the first alone holds, and a permanent load counts 1.4 times. The resistances are the anchor maker's for this wall,
//! and hold with an edge of at least 1.5·h_ef and a spacing of 3·h_ef. Valid for an even number of anchors.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient, root};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F15-WALL", title: "check.F15-WALL", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 12] = [
    InputInfo::needed("mass", Unit::Kilogram),
    InputInfo::needed("gravity_distance", Unit::Metre),
    InputInfo::needed("lever", Unit::Metre),
    InputInfo::needed("fixings", Unit::Count),
    // 1 EN 1992-4 (taken when absent), 2 ACI 318.
    InputInfo::optional("anchor_standard", Unit::Count),
    // That of the standard when absent.
    InputInfo::optional("load_factor", Unit::Count),
    // By the anchor's maker for this wall.
    InputInfo::optional("tension_resistance", Unit::Newton),
    InputInfo::optional("shear_resistance", Unit::Newton),
    // 1: the anchor's approval names this kind of wall.
    InputInfo::optional("anchor_tested", Unit::Count),
    // Without them nobody knows whether the resistances hold.
    InputInfo::needed("embedment", Unit::Metre),
    InputInfo::needed("edge_distance", Unit::Metre),
    InputInfo::needed("spacing", Unit::Metre),
];

/// Hundredths of a newton per kilogram.
const GRAVITY: i128 = 981;
const LINEAR_MAX: i64 = 1_200_000;

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const METRES_MAX: i64 = 10 * MICRO;
    const NEWTONS_MAX: i64 = 1_000_000 * MICRO;
    let mass = gather.need("mass", 1, 10_000 * MICRO)?;
    let distance = gather.need("gravity_distance", 1_000, METRES_MAX)?;
    let lever = gather.need("lever", 10_000, METRES_MAX)?;
    let fixings = gather.whole("fixings", 2, 100)?;
    let american = gather.maybe_whole("anchor_standard", 1, 2)? == Some(2);
    let usual = if american { 1_400_000 } else { 1_350_000 };
    let factor = gather.maybe("load_factor", MICRO, 10 * MICRO)?.unwrap_or(usual);
    let tension_resistance = gather.maybe("tension_resistance", MICRO, NEWTONS_MAX)?;
    let shear_resistance = gather.maybe("shear_resistance", MICRO, NEWTONS_MAX)?;
    let tested = gather.maybe_whole("anchor_tested", 0, 1)?;
    if fixings % 2 != 0 {
        return Err(InputFault::OutOfRange { key: "fixings" });
    }
    let embedment = gather.need("embedment", 1_000, METRES_MAX)?;
    let edge = gather.need("edge_distance", 0, METRES_MAX)?;
    let spacing = gather.need("spacing", 0, METRES_MAX)?;
    let weight = quotient("mass", i128::from(mass) * GRAVITY, 100)?;
    let top = quotient("lever", i128::from(weight) * i128::from(distance), i128::from(lever))?;
    let designed = |force: i64, anchors: i64| {
        quotient("load_factor", i128::from(force) * i128::from(factor), i128::from(MICRO) * i128::from(anchors))
    };
    let tension = designed(top, fixings / 2)?;
    let shear = designed(weight, fixings)?;
    let numbers = format!(
        "W = 9.81 · {} = {} N; T = {} · {} / {} = {} N; N = {} · {} / {} = {} N; V = {} · {} / {fixings} = {} N",
        plain(mass),
        plain(weight),
        plain(weight),
        plain(distance),
        plain(lever),
        plain(top),
        plain(factor),
        plain(top),
        fixings / 2,
        plain(tension),
        plain(factor),
        plain(weight),
        plain(shear)
    );
    let (formula, source) = if american {
        let source = Source { standard: "ACI 318", edition: "2019", clause: "17.8", mark: Mark::Check };
        ("N/φN_n + V/φV_n ≤ 1.2; each ≤ 1; N = 1.4 · W · e/z / (n/2), V = 1.4 · W/n", source)
    } else {
        let source = Source { standard: "EN 1992-4", edition: "2018", clause: "7.2.3", mark: Mark::Sure };
        (
            "N/N_Rd + V/V_Rd ≤ 1.2, or with exponent 1.5 ≤ 1; each ≤ 1; N = 1.35 · W · e/z / (n/2), V = 1.35 · W/n",
            source,
        )
    };
    let mut check = gather
        .check(formula, numbers, source)
        .with_result("weight", Unit::Newton, weight)
        .with_result("tension", Unit::Newton, tension)
        .with_result("shear", Unit::Newton, shear)
        .with_limit(Unit::Count, Limit::at_most(LINEAR_MAX));
    let Some((by_tension, by_shear)) = tension_resistance.zip(shear_resistance) else {
        check.verdict = Verdict::NotDetermined(Why::NoMakerLimit);
        return Ok(check);
    };
    let near = |value: i64, tenths: i64| value < embedment * tenths / 10;
    let doubt = if tested != Some(1) {
        Some(Why::AnchorNotTested)
    } else if near(edge, 15) || near(spacing, 30) {
        Some(Why::AnchorSpacing)
    } else {
        None
    };
    interaction(check, (tension, by_tension), (shear, by_shear), american, doubt)
}

/// Both forces against their resistances, alone and together.
fn interaction(
    mut check: Check,
    pull: (i64, i64),
    push: (i64, i64),
    american: bool,
    doubt: Option<Why>,
) -> Result<Check, InputFault> {
    let share = |(force, resistance): (i64, i64)| {
        quotient("tension_resistance", i128::from(force) * i128::from(MICRO), i128::from(resistance))
    };
    let (pull, push) = (share(pull)?, share(push)?);
    let linear = pull.saturating_add(push);
    check.with_numbers += &format!("; {} + {} = {}", plain(pull), plain(push), plain(linear));
    check = check.with_result("interaction", Unit::Count, linear);
    let mut by_curve = false;
    if !american {
        let curved = three_halves(pull)?.saturating_add(three_halves(push)?);
        check.with_numbers += &format!("; ^1.5: {}", plain(curved));
        check = check.with_result("interaction_curved", Unit::Count, curved);
        by_curve = curved <= MICRO;
    }
    check.verdict = if pull > MICRO || push > MICRO || (linear > LINEAR_MAX && !by_curve) {
        Verdict::Fail(Why::Overloaded)
    } else {
        doubt.map_or(Verdict::Pass, Verdict::NotDetermined)
    };
    Ok(check)
}

/// x^1.5 in millionths.
fn three_halves(share: i64) -> Result<i64, InputFault> {
    // √(x·10^6) has x in millionths, so one more factor brings 10^-12; the square root is taken of x·10^18.
    let square_root = root(i128::from(share) * 1_000_000_000_000_000_000);
    quotient("tension_resistance", i128::from(share) * square_root, 1_000_000_000_000)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;

    type Unit4<'a> = (&'a str, &'a str, &'a str, &'a str);

    /// Far from every edge and every other anchor.
    const STANDS: [(&str, &str); 3] = [("embedment", "0.05"), ("edge_distance", "0.075"), ("spacing", "0.15")];

    fn figures<'a>(unit: Unit4<'a>) -> [(&'a str, &'a str); 4] {
        [("mass", unit.0), ("gravity_distance", unit.1), ("lever", unit.2), ("fixings", unit.3)]
    }

    fn wall(unit: Unit4<'_>, more: &[(&str, &str)]) -> Check {
        good("F15-WALL", &[&figures(unit)[..], &STANDS, more].concat())
    }

    const SIXTY: Unit4<'static> = ("60", "0.12", "0.8", "4");

    #[test]
    fn worked_examples() {
        for (unit, weight, plain_forces, forces) in [
            (SIXTY, "588.6", ("44.1", "147.2"), ("59.6", "198.7")),
            (("45", "0.10", "0.5", "4"), "441.5", ("44.1", "110.4"), ("59.6", "149.0")),
            (("120", "0.15", "1.2", "6"), "1177.2", ("49.1", "196.2"), ("66.2", "264.9")),
        ] {
            let check = wall(unit, &[]);
            near(check.result("weight"), weight);
            near(check.result("tension"), forces.0);
            near(check.result("shear"), forces.1);
            let unfactored = wall(unit, &[("load_factor", "1")]);
            near(unfactored.result("tension"), plain_forces.0);
            near(unfactored.result("shear"), plain_forces.1);
            assert_eq!(check.verdict, Verdict::NotDetermined(Why::NoMakerLimit));
        }
    }

    fn held(tension: &str, shear: &str) -> Check {
        let anchor = [("tension_resistance", tension), ("shear_resistance", shear), ("anchor_tested", "1")];
        wall(SIXTY, &anchor)
    }

    #[test]
    fn worked_interactions() {
        for (tension, shear, linear, curved, verdict) in [
            ("2000", "3000", "0.096", "0.0222", Verdict::Pass),
            ("120", "350", "1.064", "0.778", Verdict::Pass),
            ("60", "250", "1.788", "1.699", Verdict::Fail(Why::Overloaded)),
        ] {
            let check = held(tension, shear);
            near(check.result("interaction"), linear);
            near(check.result("interaction_curved"), curved);
            assert_eq!(check.verdict, verdict);
        }
    }

    #[test]
    fn the_edges_and_one_past() {
        // N = 59.59575 N, V = 198.6525 N: tension alone at its resistance, shear negligible.
        assert_eq!(held("59.59575", "1000000").verdict, Verdict::Pass);
        assert_eq!(held("59.5957", "1000000").verdict, Verdict::Fail(Why::Overloaded));
        let placed = |edge, spacing| {
            let anchor = [("tension_resistance", "2000"), ("shear_resistance", "3000"), ("anchor_tested", "1")];
            let stands = [("embedment", "0.05"), ("edge_distance", edge), ("spacing", spacing)];
            good("F15-WALL", &[&figures(SIXTY)[..], &anchor, &stands].concat()).verdict
        };
        assert_eq!(placed("0.075", "0.15"), Verdict::Pass);
        assert_eq!(placed("0.074999", "0.15"), Verdict::NotDetermined(Why::AnchorSpacing));
        assert_eq!(placed("0.075", "0.149999"), Verdict::NotDetermined(Why::AnchorSpacing));
        let odd = [("mass", "60"), ("gravity_distance", "0.1"), ("lever", "1"), ("fixings", "3")];
        assert_eq!(run("F15-WALL", &odd).err(), Some(InputFault::OutOfRange { key: "fixings" }));
    }

    /// 0.63 and 0.6 of the resistances: 1.23 together, by the exponent 0.965.
    #[test]
    fn by_aci_the_sum_alone_holds() {
        let anchor = [("tension_resistance", "98.1"), ("shear_resistance", "343.4"), ("anchor_tested", "1")];
        let by = |more: &[(&str, &str)]| wall(SIXTY, &[&anchor[..], more].concat());
        assert_eq!(by(&[("load_factor", "1.4")]).verdict, Verdict::Pass);
        let aci = by(&[("anchor_standard", "2")]);
        assert_eq!((aci.verdict, aci.source.standard), (Verdict::Fail(Why::Overloaded), "ACI 318"));
        near(aci.result("tension"), "61.8");
        assert_eq!(aci.result("interaction_curved"), None);
    }

    #[test]
    fn where_the_anchors_stand_must_be_said() {
        for left_out in 0..STANDS.len() {
            let mut pairs = [&figures(SIXTY)[..], &STANDS].concat();
            let (key, _) = pairs.remove(4 + left_out);
            assert!(
                matches!(run("F15-WALL", &pairs), Err(InputFault::Missing { key: missing }) if missing == key),
                "{key}"
            );
        }
    }

    #[test]
    fn an_anchor_for_another_wall_is_no_pass() {
        let anchor = [("tension_resistance", "2000"), ("shear_resistance", "3000")];
        assert_eq!(wall(SIXTY, &anchor).verdict, Verdict::NotDetermined(Why::AnchorNotTested));
        let not = [anchor[0], anchor[1], ("anchor_tested", "0")];
        assert_eq!(wall(SIXTY, &not).verdict, Verdict::NotDetermined(Why::AnchorNotTested));
    }
}
