//! F07: does a series stack stay inside the inverter's window and under every DC rating?
//! U_min = N·n·u_min, U_max = N·n·u_max.
//!
//! N modules of n cells, cell voltages in V at the maker's cut-off points. Pass when U_min is not below the window and
//! U_max is neither above it nor above any isolator, fuse, cable or surge protector; without a rating of those nothing
//! passes. Arithmetic only; window and ratings are the makers'. Valid up to 1000 modules of 1000 cells.

use super::{CheckInfo, Gather, InputFault, InputInfo, plain, quotient};
use crate::electrical::check::{Check, CheckNote, Mark, Source};
use crate::electrical::judge::{Limit, Verdict, Why};
use crate::electrical::units::{MICRO, Unit};

pub(super) const INFO: CheckInfo = CheckInfo { id: "F07", title: "check.F07", inputs: &INPUTS, run };

const INPUTS: [InputInfo; 7] = [
    InputInfo::needed("modules", Unit::Count),
    InputInfo::needed("cells_per_module", Unit::Count),
    InputInfo::needed("cell_voltage_min", Unit::Volt),
    InputInfo::needed("cell_voltage_max", Unit::Volt),
    // The inverter's DC window, by its maker.
    InputInfo::optional("window_min", Unit::Volt),
    InputInfo::optional("window_max", Unit::Volt),
    InputInfo::list("device_voltage_rating", Unit::Volt, false),
];

fn run(mut gather: Gather<'_>) -> Result<Check, InputFault> {
    let modules = gather.whole("modules", 1, 1_000)?;
    let cells = gather.whole("cells_per_module", 1, 1_000)?;
    let cell_min = gather.need("cell_voltage_min", 1, 10 * MICRO)?;
    let cell_max = gather.need("cell_voltage_max", cell_min, 10 * MICRO)?;
    let window_min = gather.maybe("window_min", 1, 10_000 * MICRO)?;
    let window_max = gather.maybe("window_max", 1, 10_000 * MICRO)?;
    let rating = gather.list("device_voltage_rating", 1, 10_000 * MICRO)?.into_iter().min();

    let in_series = i128::from(modules) * i128::from(cells);
    let low = quotient("modules", in_series * i128::from(cell_min), 1)?;
    let high = quotient("modules", in_series * i128::from(cell_max), 1)?;
    let numbers = format!(
        "U_min = {modules} · {cells} · {} = {} V; U_max = {modules} · {cells} · {} = {} V",
        plain(cell_min),
        plain(low),
        plain(cell_max),
        plain(high)
    );
    let source = Source { standard: "", edition: "", clause: "", mark: Mark::Sure };
    let mut check = gather
        .check(
            "U_min = N · n · u_min ≥ window_min; U_max = N · n · u_max ≤ window_max and every rating",
            numbers,
            source,
        )
        .with_result("stack_voltage_min", Unit::Volt, low)
        .with_result("stack_voltage_max", Unit::Volt, high);
    let at_most = [window_max, rating].into_iter().flatten().min();
    if window_min.is_some() || at_most.is_some() {
        check = check.with_limit(Unit::Volt, Limit { at_least: window_min, at_most });
    }
    if rating.is_none() {
        check.notes.push(CheckNote::DeviceRatingsNotGiven);
    }
    check.verdict = if window_min.is_some_and(|least| low < least) {
        Verdict::Fail(Why::BelowWindow)
    } else if window_max.is_some_and(|most| high > most) {
        Verdict::Fail(Why::AboveWindow)
    } else if rating.is_some_and(|rating| high > rating) {
        Verdict::Fail(Why::AboveDeviceRating)
    } else if window_min.is_none() || window_max.is_none() {
        Verdict::NotDetermined(Why::NoMakerLimit)
    } else if rating.is_none() {
        Verdict::NotDetermined(Why::RatingMissing)
    } else {
        Verdict::Pass
    };
    Ok(check)
}

#[cfg(test)]
mod tests {
    use super::super::support::{good, run};
    use super::*;
    use crate::electrical::units::Quantity;

    fn stack(modules: &str, cells: &str, more: &[(&str, &str)]) -> Check {
        let mut pairs = vec![
            ("modules", modules),
            ("cells_per_module", cells),
            ("cell_voltage_min", "2.8"),
            ("cell_voltage_max", "3.6"),
        ];
        pairs.extend(more);
        good("F07", &pairs)
    }

    fn range(check: &Check) -> (String, String) {
        let text = |key| check.result(key).map_or_else(String::new, Quantity::plain);
        (text("stack_voltage_min"), text("stack_voltage_max"))
    }

    #[test]
    fn worked_examples() {
        for (modules, cells, window, expected, verdict) in [
            ("8", "16", ("350", "500"), ("358.4", "460.8"), Verdict::Pass),
            ("5", "16", ("250", "500"), ("224", "288"), Verdict::Fail(Why::BelowWindow)),
            ("13", "16", ("200", "700"), ("582.4", "748.8"), Verdict::Fail(Why::AboveWindow)),
            ("1", "16", ("40", "60"), ("44.8", "57.6"), Verdict::Pass),
            ("3", "15", ("126", "162"), ("126", "162"), Verdict::Pass),
        ] {
            let within = [("window_min", window.0), ("window_max", window.1)];
            let check = stack(modules, cells, &[&within[..], &[("device_voltage_rating", "1000")]].concat());
            assert_eq!(range(&check), (expected.0.to_string(), expected.1.to_string()));
            assert_eq!(check.verdict, verdict, "{modules}");
        }
        assert_eq!(stack("3", "15", &[]).verdict, Verdict::NotDetermined(Why::NoMakerLimit));
    }

    #[test]
    fn the_edges_and_one_past() {
        let within = |least, most, rating| {
            stack("8", "16", &[("window_min", least), ("window_max", most), ("device_voltage_rating", rating)]).verdict
        };
        assert_eq!(within("358.4", "460.8", "460.8 1000"), Verdict::Pass);
        assert_eq!(within("358.400001", "460.8", "1000"), Verdict::Fail(Why::BelowWindow));
        assert_eq!(within("358.4", "460.799999", "1000"), Verdict::Fail(Why::AboveWindow));
        assert_eq!(within("350", "500", "1000 460.799999"), Verdict::Fail(Why::AboveDeviceRating));
    }

    #[test]
    fn a_window_from_nothing_is_a_figure_that_nobody_read() {
        let of = |least| {
            let stack = [("modules", "8"), ("cells_per_module", "16"), ("cell_voltage_min", "2.8")];
            let window = [("cell_voltage_max", "3.6"), ("window_min", least), ("window_max", "500")];
            run("F07", &[&stack[..], &window].concat()).map(|_| ())
        };
        assert_eq!(of("0"), Err(InputFault::OutOfRange { key: "window_min" }));
        assert_eq!(of("350"), Ok(()));
    }

    #[test]
    fn the_limit_serves_a_stack_reading() {
        let check = stack("8", "16", &[("window_min", "350"), ("window_max", "500"), ("device_voltage_rating", "480")]);
        let limit = check.limit.map(|limit| limit.limit);
        assert_eq!(limit, Some(Limit::between(350 * MICRO, 480 * MICRO)));
        assert_eq!(check.notes, []);
        assert_eq!(stack("8", "16", &[]).notes, [CheckNote::DeviceRatingsNotGiven]);
    }
}
