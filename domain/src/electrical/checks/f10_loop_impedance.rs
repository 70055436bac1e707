//! F10: greatest earth-fault loop impedance for which the device opens in time, Z_s = U0·C_min/I_a.
//!
//! U0 line to earth in V (230, never 400), I_a in A: 5, 10, 20 times the rating for types B, C, D
//! (IEC 60364-4-41:2005+A1:2017, 411.4.4; BS 7671, Table 41.3, with C_min 0.95), or 4, 7.5, 12.5 times
//! (AS/NZS 3000:2018, Table 8.1). `trip_current` replaces the multiple for other devices. A cold measurement is held
//! to a share of it: 80 % by UK habit, two thirds in IEC 60364-6:2016; the rule set says which. Z in Ω.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain, quotient};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::Limit;
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F10", title: "check.F10", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 8] = [
    // Line to earth.
    InputInfo::needed("earth_voltage", Unit::Volt),
    // 1 type B, 2 type C, 3 type D.
    InputInfo::optional("breaker_type", Unit::Count),
    InputInfo::optional("device_rating", Unit::Ampere),
    // In place of type and rating.
    InputInfo::optional("trip_current", Unit::Ampere),
    // 1 IEC and BS 7671 (taken when absent), 2 AS/NZS 3000.
    InputInfo::optional("trip_table", Unit::Count),
    // C_min; 1 when absent.
    InputInfo::optional("voltage_factor", Unit::Count),
    // Share of the limit that a cold measurement may reach; 100 when absent.
    InputInfo::optional("cold_share", Unit::Percent),
    InputInfo::optional(READING, Unit::Ohm),
];

/// Multiples in tenths of the rating, by type.
pub(super) const MULTIPLES: [[i64; 3]; 2] = [[50, 100, 200], [40, 75, 125]];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let voltage = gather.need("earth_voltage", MICRO, 1_000 * MICRO)?;
    let kind = gather.maybe_whole("breaker_type", 1, 3)?;
    let rating = gather.maybe("device_rating", 1, 10_000 * MICRO)?;
    let given = gather.maybe("trip_current", 1, 1_000_000 * MICRO)?;
    let australian = gather.maybe_whole("trip_table", 1, 2)? == Some(2);
    let factor = gather.maybe("voltage_factor", MICRO / 2, MICRO)?.unwrap_or(MICRO);
    let share = gather.maybe("cold_share", MICRO, 100 * MICRO)?.unwrap_or(100 * MICRO);
    let reading = gather.reading()?;

    let (current, how) = match (given, kind, rating) {
        (Some(given), ..) => (given, plain(given)),
        (None, Some(kind), Some(rating)) => {
            let multiple = MULTIPLES[usize::from(australian)][usize::try_from(kind - 1).unwrap_or(0)];
            let current = quotient("device_rating", i128::from(rating) * i128::from(multiple), 10)?;
            (current, format!("{} · {}", plain(multiple * MICRO / 10), plain(rating)))
        }
        (None, None, _) => return Err(InputFault::Missing { key: "breaker_type" }),
        (None, Some(_), None) => return Err(InputFault::Missing { key: "device_rating" }),
    };
    let greatest = quotient("earth_voltage", i128::from(voltage) * i128::from(factor), i128::from(current))?;
    let cold = quotient("cold_share", i128::from(greatest) * i128::from(share), 100 * i128::from(MICRO))?;
    let numbers = format!(
        "I_a = {how} = {} A; Z_s = {} · {} / {} = {} Ω; {} % of it = {} Ω",
        plain(current),
        plain(voltage),
        plain(factor),
        plain(current),
        plain(greatest),
        plain(share),
        plain(cold)
    );
    let source = if australian {
        Source { standard: "AS/NZS 3000", edition: "2018", clause: "Table 8.1", mark: Mark::Sure }
    } else if factor == MICRO {
        Source { standard: "IEC 60364-4-41", edition: "2005+A1:2017", clause: "411.4.4", mark: Mark::Sure }
    } else {
        Source { standard: "BS 7671", edition: "2018", clause: "411.4.4, Table 41.3", mark: Mark::Sure }
    };
    let check = gather
        .check("Z_s = U0 · C_min / I_a; measured cold ≤ share · Z_s", numbers, source)
        .with_result("trip_current", Unit::Ampere, current)
        .with_result("loop_max", Unit::Ohm, greatest)
        .with_result("loop_max_cold", Unit::Ohm, cold)
        .with_limit(Unit::Ohm, Limit::at_most(cold));
    Ok(check.concluded(reading))
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near, run};
    use super::*;
    use crate::electrical::judge::{Verdict, Why};

    fn device(kind: &str, rating: &str, more: &[(&str, &str)]) -> Check {
        let pairs = [("earth_voltage", "230"), ("breaker_type", kind), ("device_rating", rating)];
        good("F10", &[&pairs[..], more].concat())
    }

    const UK: [(&str, &str); 2] = [("voltage_factor", "0.95"), ("cold_share", "80")];

    #[test]
    fn worked_examples() {
        for (kind, rating, uk, cold, iec) in [
            ("1", "6", "7.283", "5.827", "7.667"),
            ("1", "32", "1.366", "1.093", "1.438"),
            ("1", "40", "1.093", "0.874", "1.150"),
            ("2", "16", "1.366", "1.093", "1.438"),
            ("2", "20", "1.093", "0.874", "1.150"),
            ("3", "16", "0.683", "0.546", "0.719"),
        ] {
            let british = device(kind, rating, &UK);
            near(british.result("loop_max"), uk);
            near(british.result("loop_max_cold"), cold);
            near(device(kind, rating, &[]).result("loop_max"), iec);
        }
        for (kind, rating, ohms) in [("1", "32", "1.797"), ("2", "20", "1.533")] {
            near(device(kind, rating, &[("trip_table", "2")]).result("loop_max"), ohms);
        }
    }

    #[test]
    fn the_edges_and_one_past() {
        // 230 · 0.95 / 160 = 1.365625; 80 % = 1.0925
        let measured = |ohms| device("1", "32", &[&UK[..], &[(READING, ohms)]].concat()).verdict;
        assert_eq!(measured("1.0925"), Verdict::Pass);
        assert_eq!(measured("1.092501"), Verdict::Fail(Why::AboveMaximum));
        assert_eq!(device("1", "32", &UK).verdict, Verdict::NotDetermined(Why::NoReading));
    }

    #[test]
    fn a_fuse_has_its_own_trip_current() {
        let fuse = good("F10", &[("earth_voltage", "230"), ("trip_current", "320")]);
        near(fuse.result("loop_max"), "0.71875");
        let missing = run("F10", &[("earth_voltage", "230"), ("breaker_type", "1")]);
        assert_eq!(missing.err(), Some(InputFault::Missing { key: "device_rating" }));
    }
}
