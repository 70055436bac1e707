//! F08-IMPORT: does the supply bear the house and the charging battery at once? I = I_house + I_charge ≤ I_n, in A on the worst line.
//!
//! I_B ≤ I_n of IEC 60364-4-43:2008, 433.1, for the supply's own fuse; NEC 2023, 230.90. The demand of the house is what its designer
//! found, after diversity. A system that limits the import lowers the battery's part, never the house's:
//! I = max(I_house, min(I_house + I_charge, I_limit)).

use super::{CheckInfo, Gather, InputFault, InputInfo, plain, sum};
use crate::electrical::check::{Check, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F08-IMPORT", title: "check.F08-IMPORT", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 5] = [
    // 1 IEC, 2 NEC.
    InputInfo::needed("size_series", Unit::Count),
    InputInfo::needed("house_demand", Unit::Ampere),
    InputInfo::needed("draw_current", Unit::Ampere),
    InputInfo::optional("import_limit", Unit::Ampere),
    InputInfo::optional("main_rating", Unit::Ampere),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const AMPERES_MAX: i64 = 100_000 * MICRO;
    let nec = gather.whole("size_series", 1, 2)? == 2;
    let house = gather.need("house_demand", 0, AMPERES_MAX)?;
    let draw = gather.need("draw_current", 0, AMPERES_MAX)?;
    let cap = gather.maybe("import_limit", 0, AMPERES_MAX)?;
    let main = gather.maybe("main_rating", 1, AMPERES_MAX)?;
    let both = sum("draw_current", &[house, draw])?;
    let import = cap.map_or(both, |cap| house.max(both.min(cap)));
    let mut numbers = format!("{} + {} = {} A", plain(house), plain(draw), plain(both));
    if let Some(cap) = cap {
        numbers += &format!("; max({}, min({}, {})) = {} A", plain(house), plain(both), plain(cap), plain(import));
    }
    let source = if nec {
        Source { standard: "NEC", edition: "2023", clause: "230.90", mark: Mark::Check }
    } else {
        Source { standard: "IEC 60364-4-43", edition: "2008", clause: "433.1", mark: Mark::Sure }
    };
    let mut check = gather
        .check("I = max(I_house, min(I_house + I_charge, I_limit)) ≤ I_n", numbers, source)
        .with_result("import_current", Unit::Ampere, import);
    if let Some(main) = main {
        check = check.with_limit(Unit::Ampere, Limit::at_most(main));
    }
    check.verdict = match main {
        None => Verdict::NotDetermined(Why::RatingMissing),
        Some(main) if import > main => Verdict::Fail(Why::Overloaded),
        Some(_) => Verdict::Pass,
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;

    fn import(house: &str, draw: &str, more: &[(&str, &str)]) -> Check {
        let pairs = [("size_series", "1"), ("house_demand", house), ("draw_current", draw), ("main_rating", "63")];
        good("F08-IMPORT", &[&pairs[..], more].concat())
    }

    #[test]
    fn the_edge_and_one_past() {
        assert_eq!(import("47", "16", &[]).verdict, Verdict::Pass);
        assert_eq!(import("47", "16.000001", &[]).verdict, Verdict::Fail(Why::Overloaded));
        let bare = good("F08-IMPORT", &[("size_series", "1"), ("house_demand", "1"), ("draw_current", "1")]);
        assert_eq!(bare.verdict, Verdict::NotDetermined(Why::RatingMissing));
    }

    #[test]
    fn a_limit_of_the_import_lowers_the_battery_and_not_the_house() {
        for (house, draw, limit, current, verdict) in [
            ("50", "30", "60", "60", Verdict::Pass),
            ("50", "5", "60", "55", Verdict::Pass),
            ("62", "30", "60", "62", Verdict::Pass),
            ("64", "30", "60", "64", Verdict::Fail(Why::Overloaded)),
        ] {
            let check = import(house, draw, &[("import_limit", limit)]);
            near(check.result("import_current"), current);
            assert_eq!(check.verdict, verdict, "{house} {draw} {limit}");
        }
    }
}
