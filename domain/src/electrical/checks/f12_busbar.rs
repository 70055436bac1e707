//! F12: does a busbar or assembly bear the supply and the source together?
//!
//! NEC 705.12(B), load side, I_inv the inverter's continuous output (edition 2023; 2026 to be checked):
//! (1) I_main + 1.25·I_inv ≤ busbar; or (2) ≤ 1.20·busbar with the source breaker at the far end and marked so;
//! or (3) the sum of all breakers but the main ≤ busbar: those of the loads are given, those of the sources are added here, each
//! at its rating and never below 1.25·I_inv. A power control system (705.13) may cap I_inv.
//! BS 7671, 551.7.2 (renumbered in A4, to be checked) and IEC: I_nA ≥ I_n + I_g(s), with the rating of the source's
//! protective device, never below its output. All in A.

use super::{CheckInfo, Gather, InputFault, InputInfo, joined, plain, quotient, sum};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F12", title: "check.F12", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 8] = [
    // 1 NEC, 2 IEC and BS 7671.
    InputInfo::needed("busbar_rule", Unit::Count),
    InputInfo::needed("busbar_rating", Unit::Ampere),
    // Main breaker, or the fuse before the assembly.
    InputInfo::needed("main_rating", Unit::Ampere),
    // Continuous output of each inverter.
    InputInfo::list("inverter_current", Unit::Ampere, true),
    InputInfo::list("source_breaker", Unit::Ampere, false),
    // NEC (3): the breakers of the loads; main and sources are not among them.
    InputInfo::list("panel_breaker", Unit::Ampere, false),
    // 1: the source breaker is at the far end from the main.
    InputInfo::optional("far_end", Unit::Count),
    // Cap of a power control system.
    InputInfo::optional("control_cap", Unit::Ampere),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    const AMPERES_MAX: i64 = 100_000 * MICRO;
    let nec = gather.whole("busbar_rule", 1, 2)? == 1;
    let busbar = gather.need("busbar_rating", 1, AMPERES_MAX)?;
    let main = gather.need("main_rating", 1, AMPERES_MAX)?;
    let inverters = gather.list("inverter_current", 0, AMPERES_MAX)?;
    let breakers = gather.list("source_breaker", 1, AMPERES_MAX)?;
    let panel = gather.list("panel_breaker", 1, AMPERES_MAX)?;
    let far_end = gather.maybe_whole("far_end", 0, 1)?;
    let cap = gather.maybe("control_cap", 0, AMPERES_MAX)?;
    if inverters.is_empty() {
        return Err(InputFault::Missing { key: "inverter_current" });
    }
    let output = sum("inverter_current", &inverters)?;
    let output = cap.map_or(output, |cap| cap.min(output));
    let protected = sum("source_breaker", &breakers)?;
    if !nec {
        return assembly(gather, busbar, main, output, &breakers, protected);
    }
    let continuous = quotient("inverter_current", i128::from(output) * 125, 100)?;
    let total = sum("main_rating", &[main, continuous])?;
    let stretched = quotient("busbar_rating", i128::from(busbar) * 120, 100)?;
    let largest = quotient("busbar_rating", i128::from((stretched - main).max(0)) * 100, 125)?;
    let all = sum("panel_breaker", &[sum("panel_breaker", &panel)?, protected.max(continuous)])?;
    let mut numbers = format!(
        "{} + 1.25 · {} = {} A; busbar {} A; 1.20 · {} = {} A",
        plain(main),
        plain(output),
        plain(total),
        plain(busbar),
        plain(busbar),
        plain(stretched)
    );
    if !panel.is_empty() {
        let sources = plain(protected.max(continuous));
        numbers += &format!("; {} + {sources} = {} A", joined(&panel, " + "), plain(all));
    }
    let source = Source { standard: "NEC", edition: "2023", clause: "705.12(B)", mark: Mark::Sure };
    let mut check = gather
        .check(
            "I_main + 1.25 · ΣI_inv ≤ I_bus, or ≤ 1.20 · I_bus at the far end, or ΣI_breakers ≤ I_bus",
            numbers,
            source,
        )
        .with_result("busbar_load", Unit::Ampere, total)
        .with_result("source_breaker_least", Unit::Ampere, continuous)
        .with_result("inverter_current_max", Unit::Ampere, largest)
        .with_limit(Unit::Ampere, Limit::at_most(stretched));
    if !panel.is_empty() {
        check = check.with_result("breaker_sum", Unit::Ampere, all);
    }
    let by_sum = !panel.is_empty() && all <= busbar;
    check.verdict = if !breakers.is_empty() && protected < continuous {
        Verdict::Fail(Why::FuseTooSmall)
    } else if total <= busbar || by_sum {
        Verdict::Pass
    } else if total > stretched || far_end == Some(0) {
        Verdict::Fail(Why::BusbarOverloaded)
    } else if far_end.is_none() {
        Verdict::NotDetermined(Why::PositionUnknown)
    } else {
        check.notes.push(CheckNote::FarEndOnly);
        Verdict::Pass
    };
    Ok(check)
}

/// I_nA ≥ I_n + I_g(s).
fn assembly(
    gather: Gather<'_>,
    rating: i64,
    main: i64,
    output: i64,
    breakers: &[i64],
    protected: i64,
) -> Result<Check, InputFault> {
    let total = sum("main_rating", &[main, protected.max(output)])?;
    let generators = if breakers.is_empty() { plain(output) } else { joined(breakers, " + ") };
    let numbers = format!("{} + {generators} = {} A ≤ {} A", plain(main), plain(total), plain(rating));
    let source = Source { standard: "", edition: "", clause: "rule set", mark: Mark::Check };
    let mut check = gather
        .check("I_nA ≥ I_n + ΣI_g(s)", numbers, source)
        .with_result("busbar_load", Unit::Ampere, total)
        .with_limit(Unit::Ampere, Limit::at_most(rating));
    check.verdict = if !breakers.is_empty() && protected < output {
        Verdict::Fail(Why::FuseTooSmall)
    } else if total > rating {
        Verdict::Fail(Why::BusbarOverloaded)
    } else if breakers.is_empty() {
        Verdict::NotDetermined(Why::RatingMissing)
    } else {
        Verdict::Pass
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, near};
    use super::*;

    fn panel(busbar: &str, main: &str, output: &str, more: &[(&str, &str)]) -> Check {
        let pairs =
            [("busbar_rule", "1"), ("busbar_rating", busbar), ("main_rating", main), ("inverter_current", output)];
        good("F12", &[&pairs[..], more].concat())
    }

    #[test]
    fn worked_examples_of_the_panel() {
        let far = [("far_end", "1")];
        for (busbar, main, output, total, verdict) in [
            ("200", "200", "32", "240", Verdict::Pass),
            ("200", "200", "40", "250", Verdict::Fail(Why::BusbarOverloaded)),
            ("200", "175", "48", "235", Verdict::Pass),
            ("125", "100", "24", "130", Verdict::Pass),
            ("225", "200", "48", "260", Verdict::Pass),
        ] {
            let check = panel(busbar, main, output, &far);
            near(check.result("busbar_load"), total);
            assert_eq!(check.verdict, verdict, "{busbar} {main} {output}");
            let at_the_main = panel(busbar, main, output, &[("far_end", "0")]);
            assert_eq!(at_the_main.verdict, Verdict::Fail(Why::BusbarOverloaded));
        }
        for (busbar, main, largest) in [("200", "200", "32"), ("200", "175", "52"), ("125", "100", "40")] {
            near(panel(busbar, main, "1", &[]).result("inverter_current_max"), largest);
        }
    }

    #[test]
    fn worked_examples_of_the_assembly() {
        for (rating, main, source, verdict) in [
            ("100", "100", "16", Verdict::Fail(Why::BusbarOverloaded)),
            ("100", "63", "16", Verdict::Pass),
            ("100", "80", "20", Verdict::Pass),
        ] {
            let check = good(
                "F12",
                &[
                    ("busbar_rule", "2"),
                    ("busbar_rating", rating),
                    ("main_rating", main),
                    ("inverter_current", "16"),
                    ("source_breaker", source),
                ],
            );
            assert_eq!(check.verdict, verdict);
        }
    }

    #[test]
    fn the_edges_and_one_past() {
        let far = [("far_end", "1")];
        assert_eq!(panel("200", "200", "32", &far).notes, [CheckNote::FarEndOnly]);
        assert_eq!(panel("200", "200", "32.000001", &far).verdict, Verdict::Fail(Why::BusbarOverloaded));
        assert_eq!(panel("200", "160", "32", &[]).verdict, Verdict::Pass);
        assert_eq!(panel("200", "160", "32.000001", &[]).verdict, Verdict::NotDetermined(Why::PositionUnknown));
        // 1.25 · 40 A of the source come on top, whether its breaker is known or not.
        let summed = |breakers| panel("200", "200", "40", &[("panel_breaker", breakers)]).verdict;
        assert_eq!(summed("60 90"), Verdict::Pass);
        assert_eq!(summed("60 91"), Verdict::Fail(Why::BusbarOverloaded));
        let with_its_own = |loads| panel("200", "200", "40", &[("panel_breaker", loads), ("source_breaker", "60")]);
        assert_eq!(with_its_own("140").verdict, Verdict::Pass);
        assert_eq!(with_its_own("190").verdict, Verdict::Fail(Why::BusbarOverloaded), "250 A on 200 A");
        assert!(
            with_its_own("190").with_numbers.ends_with("; 190 + 60 = 250 A"),
            "{}",
            with_its_own("190").with_numbers
        );
        let breaker = |amperes| panel("200", "150", "32", &[("source_breaker", amperes)]).verdict;
        assert_eq!(breaker("40"), Verdict::Pass);
        assert_eq!(breaker("39.999999"), Verdict::Fail(Why::FuseTooSmall));
        assert_eq!(panel("200", "200", "48", &[("far_end", "1"), ("control_cap", "32")]).verdict, Verdict::Pass);
    }

    #[test]
    fn an_assembly_wants_the_device_of_the_source() {
        let source = |more: &[(&'static str, &'static str)]| {
            let pairs =
                [("busbar_rule", "2"), ("busbar_rating", "100"), ("main_rating", "63"), ("inverter_current", "16")];
            good("F12", &[&pairs[..], more].concat()).verdict
        };
        assert_eq!(source(&[]), Verdict::NotDetermined(Why::RatingMissing));
        assert_eq!(source(&[("source_breaker", "37")]), Verdict::Pass);
        assert_eq!(source(&[("source_breaker", "37.000001")]), Verdict::Fail(Why::BusbarOverloaded));
        assert_eq!(source(&[("source_breaker", "15.999999")]), Verdict::Fail(Why::FuseTooSmall));
    }
}
