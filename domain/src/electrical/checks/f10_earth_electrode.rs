//! F10-TT: greatest resistance of an earth electrode behind a residual-current device, R_A·I_Δn ≤ 50 V.
//!
//! R_A in Ω with its conductor, I_Δn in A. IEC 60364-4-41:2005+A1:2017, 411.5.3. Above 200 Ω the electrode may not be
//! stable (note of BS 7671); that is a remark and no failure.

use super::{CheckInfo, Gather, InputFault, InputInfo, READING, plain, quotient};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::Limit;
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F10-TT", title: "check.F10-TT", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 3] = [
    InputInfo::needed("residual_current", Unit::Ampere),
    // 50 V when absent.
    InputInfo::optional("touch_voltage", Unit::Volt),
    InputInfo::optional(READING, Unit::Ohm),
];

const STABLE_TO: i64 = 200 * MICRO;

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let residual = gather.need("residual_current", 1_000, 10 * MICRO)?;
    let touch = gather.maybe("touch_voltage", MICRO, 120 * MICRO)?.unwrap_or(50 * MICRO);
    let reading = gather.reading()?;
    let most = quotient("residual_current", i128::from(touch) * i128::from(MICRO), i128::from(residual))?;
    let numbers = format!("R_A = {} / {} = {} Ω", plain(touch), plain(residual), plain(most));
    let source = Source { standard: "IEC 60364-4-41", edition: "2005+A1:2017", clause: "411.5.3", mark: Mark::Sure };
    let mut check = gather
        .check("R_A ≤ 50 V / I_Δn", numbers, source)
        .with_result("electrode_max", Unit::Ohm, most)
        .with_limit(Unit::Ohm, Limit::at_most(most));
    if reading.as_ref().and_then(|reading| reading.value).is_some_and(|value| value.micro > STABLE_TO) {
        check.notes.push(CheckNote::ElectrodeUnstable);
    }
    Ok(check.concluded(reading))
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;
    use crate::electrical::judge::{Verdict, Why};

    #[test]
    fn worked_examples() {
        for (residual, ohms) in [("0.03", "1667"), ("0.1", "500"), ("0.3", "167")] {
            near(good("F10-TT", &[("residual_current", residual)]).result("electrode_max"), ohms);
        }
    }

    #[test]
    fn the_edges_and_one_past() {
        let measured = |ohms| good("F10-TT", &[("residual_current", "0.1"), (READING, ohms)]);
        assert_eq!(measured("500").verdict, Verdict::Pass);
        assert_eq!(measured("500.000001").verdict, Verdict::Fail(Why::AboveMaximum));
        assert_eq!(measured("200").notes, []);
        assert_eq!(measured("200.000001").notes, [CheckNote::ElectrodeUnstable]);
    }
}
