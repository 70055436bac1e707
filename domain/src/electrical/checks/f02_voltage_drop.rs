//! F02: voltage drop (or rise) along a cable, and its share of the nominal voltage.
//!
//! Direct current: ΔU = 2·I·L·r(θ)/1000. Alternating current, one phase: ΔU = 2·I·L·(r·cos φ + x·sin φ)/1000, three
//! balanced phases the same with factor 1, line to neutral. r in Ω/km by F01, x in Ω/km, L one way in m, I in A.
//! With `drop_method` 2 the form of IEC 60364-5-52:2009, Annex G: u = b·(ρ1·L/S·cos φ + λ·L·sin φ)·I,
//! ρ1 = 0.0225 Ω·mm²/m (Cu) or 0.036 (Al), λ = 0.08 mΩ/m. The limit comes from the rule set, as a share in %.
//! `share_before` in % is added to u, where one limit holds for two cables one after the other.
//! Valid for 0 < cos φ ≤ 1, up to 10 km and 100 kA.

use super::f01_conductor_resistance::{CONDUCTOR_INPUTS, Wire};
use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient, root, sum};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F02", title: "check.F02", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 14] = [
    // 1 direct current, 2 one phase, 3 three phases (line to neutral).
    InputInfo::needed("supply_kind", Unit::Count),
    InputInfo::needed("current", Unit::Ampere),
    // The nominal voltage: of the stack, or line to neutral.
    InputInfo::needed("nominal_voltage", Unit::Volt),
    // 1 by F01 (taken when absent), 2 Annex G.
    InputInfo::optional("drop_method", Unit::Count),
    CONDUCTOR_INPUTS[0],
    InputInfo::optional("conductor_class", Unit::Count),
    CONDUCTOR_INPUTS[2],
    InputInfo::optional("temperature", Unit::Celsius),
    CONDUCTOR_INPUTS[4],
    CONDUCTOR_INPUTS[5],
    // cos φ; 1 when absent.
    InputInfo::optional("power_factor", Unit::Count),
    // Ω/km; 0.08 when absent.
    InputInfo::optional("reactance_per_km", Unit::Ohm),
    InputInfo::optional("drop_limit", Unit::Percent),
    // Of the cable before this one, where one limit holds for both.
    InputInfo::optional("share_before", Unit::Percent),
];

/// 0.08 Ω/km, λ of Annex G.
const REACTANCE: i64 = 80_000;
/// ρ1 in 10^-4 Ω·mm²/m.
const RHO_COPPER: i64 = 225;
const RHO_ALUMINIUM: i64 = 360;

/// Resistance of a kilometre in use, and how it was found.
struct PerKm {
    resistance: i64,
    length: i64,
    with_numbers: String,
    source: Source,
}

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let kind = gather.whole("supply_kind", 1, 3)?;
    let current = gather.need("current", 0, 100_000 * MICRO)?;
    let nominal = gather.need("nominal_voltage", MICRO, 10_000 * MICRO)?;
    let annex = gather.maybe_whole("drop_method", 1, 2)? == Some(2);
    let wire = if annex { annex_g(&mut gather)? } else { by_table(&mut gather)? };
    let cosine = gather.maybe("power_factor", 1, MICRO)?.unwrap_or(MICRO);
    let reactance = gather.maybe("reactance_per_km", 0, 100 * MICRO)?.unwrap_or(REACTANCE);
    let limit = gather.maybe("drop_limit", 0, 100 * MICRO)?;
    let before = gather.maybe("share_before", 0, 1_000_000 * MICRO)?;

    let factor = if kind == 3 { 1 } else { 2 };
    let micro = i128::from(MICRO);
    // Millionths of an ohm per kilometre, twice scaled.
    let impedance = if kind == 1 {
        i128::from(wire.resistance) * micro
    } else {
        let sine = root(micro * micro - i128::from(cosine) * i128::from(cosine));
        i128::from(wire.resistance) * i128::from(cosine) + i128::from(reactance) * sine
    };
    let ampere_metres = i128::from(current) * i128::from(wire.length);
    let drop = quotient("current", factor * ampere_metres * (impedance / micro), 1_000 * micro * micro)?;
    let own = quotient("nominal_voltage", i128::from(drop) * 100 * micro, i128::from(nominal))?;
    let percent = before.map_or(Ok(own), |before| sum("share_before", &[before, own]))?;
    let mut numbers = wire.with_numbers;
    if kind == 1 {
        numbers += &format!("; ΔU = 2 · {} · {} · {}/1000", plain(current), plain(wire.length), plain(wire.resistance));
    } else {
        numbers += &format!(
            "; ΔU = {factor} · {} · {} · ({} · {} + {} · sin φ)/1000",
            plain(current),
            plain(wire.length),
            plain(wire.resistance),
            plain(cosine),
            plain(reactance)
        );
    }
    numbers += &format!(" = {} V; {} / {} = {} %", plain(drop), plain(drop), plain(nominal), plain(own));
    if let Some(before) = before {
        numbers += &format!("; {} + {} = {} %", plain(before), plain(own), plain(percent));
    }
    let formula = match (annex, kind) {
        (_, 1) => "ΔU = 2 · I · L · r(θ)/1000; u = ΔU/U",
        (true, _) => "ΔU = b · (ρ1 · L/S · cos φ + λ · L · sin φ) · I; u = ΔU/U0",
        (false, _) => "ΔU = b · I · L · (r(θ) · cos φ + x · sin φ)/1000; u = ΔU/U0",
    };
    let mut check = gather.check(formula, numbers, wire.source).with_result("drop", Unit::Volt, drop).with_result(
        "drop_share",
        Unit::Percent,
        percent,
    );
    if kind == 1 {
        check =
            check.with_result("loss", Unit::Watt, quotient("current", i128::from(drop) * i128::from(current), micro)?);
    }
    check.verdict = match limit {
        None => Verdict::NotDetermined(Why::NoLimit),
        Some(most) if percent > most => Verdict::Fail(Why::DropTooHigh),
        Some(_) => Verdict::Pass,
    };
    Ok(if let Some(most) = limit { check.with_limit(Unit::Percent, Limit::at_most(most)) } else { check })
}

const ANNEX_G: Source = Source { standard: "IEC 60364-5-52", edition: "2009", clause: "Annex G", mark: Mark::Sure };

fn by_table(gather: &mut Gather<'_>) -> Result<PerKm, InputFault> {
    let wire = Wire::of(gather)?;
    let resistance = wire.per_km()?;
    let with_numbers = format!("r = {} = {} Ω/km", wire.per_km_numbers(), plain(resistance));
    Ok(PerKm { resistance, length: wire.length, with_numbers, source: wire.source() })
}

fn annex_g(gather: &mut Gather<'_>) -> Result<PerKm, InputFault> {
    let size = gather.need("conductor_size", 1_000, 1_000 * MICRO)?;
    let length = gather.need("length", 1, 10_000 * MICRO)?;
    let copper = gather.maybe_whole("material", 1, 2)?.unwrap_or(1) == 1;
    let (rho, rho_text) = if copper { (RHO_COPPER, "0.0225") } else { (RHO_ALUMINIUM, "0.036") };
    // ρ1 per metre times 1000 m; 10^-4 Ω·mm²/m over µmm² to µΩ/km.
    let resistance = quotient(
        "conductor_size",
        i128::from(rho) * i128::from(MICRO) * i128::from(MICRO) * 1_000,
        10_000 * i128::from(size),
    )?;
    let with_numbers = format!("ρ1/S = 1000 · {rho_text}/{} = {} Ω/km", plain(size), plain(resistance));
    Ok(PerKm { resistance, length, with_numbers, source: ANNEX_G })
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;

    #[test]
    fn worked_examples_of_direct_current() {
        for (current, size, length, temperature, volts, drop, percent) in [
            ("100", "35", "2", "70", "51.2", "0.2651", "0.518"),
            ("25", "4", "8", "70", "400", "2.369", "0.592"),
            ("180", "70", "1.5", "60", "48", "0.1700", "0.354"),
        ] {
            let check = good(
                "F02",
                &[
                    ("supply_kind", "1"),
                    ("current", current),
                    ("nominal_voltage", volts),
                    ("conductor_size", size),
                    ("conductor_class", "5"),
                    ("length", length),
                    ("temperature", temperature),
                ],
            );
            near(check.result("drop"), drop);
            near(check.result("drop_share"), percent);
            assert_eq!(check.verdict, Verdict::NotDetermined(Why::NoLimit));
            if current == "100" {
                near(check.result("loss"), "26.5");
            }
        }
    }

    fn annex(kind: &str, current: &str, size: &str, length: &str, cosine: &str, limit: &str) -> Check {
        good(
            "F02",
            &[
                ("supply_kind", kind),
                ("drop_method", "2"),
                ("current", current),
                ("nominal_voltage", "230"),
                ("conductor_size", size),
                ("length", length),
                ("power_factor", cosine),
                ("drop_limit", limit),
            ],
        )
    }

    #[test]
    fn worked_examples_of_annex_g() {
        for (kind, current, size, length, cosine, drop, percent) in [
            ("2", "32", "6", "20", "1", "4.800", "2.087"),
            ("2", "21.7", "4", "35", "1", "8.544", "3.715"),
            ("3", "16", "4", "30", "1", "2.700", "1.174"),
            ("3", "14.5", "2.5", "40", "0.9", "4.718", "2.051"),
        ] {
            let check = annex(kind, current, size, length, cosine, "5");
            near(check.result("drop"), drop);
            near(check.result("drop_share"), percent);
            assert_eq!(check.verdict, Verdict::Pass);
        }
    }

    #[test]
    fn the_edges_and_one_past() {
        // 2 · 32 · 20 · 3.75 / 1000 = 4.8 V; 4.8/230 = 2.086957 %
        assert_eq!(annex("2", "32", "6", "20", "1", "2.086957").verdict, Verdict::Pass);
        assert_eq!(annex("2", "32", "6", "20", "1", "2.086956").verdict, Verdict::Fail(Why::DropTooHigh));
        let missing = run("F02", &[("supply_kind", "1"), ("current", "1"), ("nominal_voltage", "48"), ("length", "1")]);
        assert_eq!(missing.err(), Some(InputFault::Missing { key: "conductor_size" }));
    }

    #[test]
    fn two_cables_in_a_row_share_one_limit() {
        let behind = |before| {
            let feed = [("supply_kind", "2"), ("drop_method", "2"), ("current", "32"), ("nominal_voltage", "230")];
            let wire = [("conductor_size", "6"), ("length", "20"), ("drop_limit", "2.5"), ("share_before", before)];
            good("F02", &[&feed[..], &wire].concat())
        };
        // 2.086957 % of its own.
        assert_eq!(behind("0.413043").verdict, Verdict::Pass);
        assert_eq!(behind("0.413044").verdict, Verdict::Fail(Why::DropTooHigh));
        let check = behind("0.5");
        near(check.result("drop_share"), "2.586957");
        assert!(check.with_numbers.ends_with("; 0.5 + 2.086957 = 2.586957 %"), "{}", check.with_numbers);
    }

    #[test]
    fn it_can_be_redone_by_hand() {
        let check = annex("2", "32", "6", "20", "1", "5");
        assert_eq!(
            check.with_numbers,
            "ρ1/S = 1000 · 0.0225/6 = 3.75 Ω/km; ΔU = 2 · 32 · 20 · (3.75 · 1 + 0.08 · sin φ)/1000 = 4.8 V; \
             4.8 / 230 = 2.086957 %"
        );
    }
}
