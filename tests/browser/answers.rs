//! What a careful technician would find on site: a good answer for each requirement of the built-in method.

use std::collections::BTreeMap;
use std::path::Path;

use anyhow::{Context as _, Result};
use domain::method::Method;
use domain::method::load::from_toml;
use domain::method::plan::{ChoiceNeed, Requirement};

/// Units that the tests plan: places 1 and 2 are modules, 3 is the control unit, 4 the inverter that is there.
pub const MODULES: u16 = 2;

/// The method as its file says it.
pub fn built_in_method() -> Result<Method> {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../server/methods/series-stack-floor.toml");
    let text = std::fs::read_to_string(&file).with_context(|| file.display().to_string())?;
    from_toml(&text).map_err(|error| anyhow::anyhow!("{error}"))
}

/// Design figures as the lead types them. What the method proposes is left as it is.
pub const DESIGN: &[(&str, &str)] = &[
    ("energy_total_wh", "10240"),
    ("energy_limit_wh", "20000"),
    ("dc_device_rating_v", "600"),
    ("dc_nominal_v", "117"),
    ("dc_cable_length_m", "5"),
    ("pe_length_m", "12"),
    ("loop_max_ohm", "1.5"),
    ("export_limit_w", "5000"),
    ("opening_distance_m", "1"),
    ("stack_mass_kg", "120"),
    ("stack_gravity_height_m", "0.6"),
    ("bracket_height_m", "1"),
];

/// Choices that are not the first good one: these switch on every step that a choice can switch on.
const CHOICES: &[(&str, &str)] = &[
    ("site-conditions/place", "outdoors"),
    ("site-conditions/floor", "uneven"),
    ("site-conditions/wall", "hollow"),
    ("find-sources/phases", "three"),
    ("find-sources/pv", "yes"),
    ("find-sources/other", "lockable"),
    ("ac-side/rcd", "fitted"),
];

/// Readings that do not depend on the place; by step and requirement, then by requirement alone.
const READINGS: &[(&str, &str)] = &[
    ("instruments/lead-null", "0.2"),
    ("stop-inverter/power", "0"),
    ("lock-list/locks", "4"),
    ("prove-tester-before/source", "230"),
    ("prove-tester-after/source", "230"),
    ("prove-dead-ac", "0"),
    ("prove-dead-phases", "0"),
    ("prove-dead-dc", "0"),
    ("module-charge/soc", "31"),
    ("module-charge/temperature", "19"),
    ("position-base/level", "1"),
    ("wall-bracket/torque", "10"),
    ("secure-stack/torque", "10"),
    ("clearances/side", "400"),
    ("clearances/top", "500"),
    ("clearances/front", "1000"),
    ("clearances/opening", "2500"),
    ("pe-stack/torque", "4"),
    ("link-module/torque", "5.5"),
    ("link-control-unit/torque", "5.5"),
    ("dc-cable-test/test-voltage", "500"),
    ("dc-cable-test/plus", "0.03"),
    ("dc-cable-test/minus", "0.03"),
    ("dc-cable-test", "200"),
    ("connect-dc", "2.8"),
    ("bus-termination/resistance", "60"),
    ("pe-continuity/resistance", "0.05"),
    ("pe-continuity-module/resistance", "0.05"),
    ("ac-insulation/test-voltage", "500"),
    ("ac-insulation/live-e", "200"),
    ("dc-polarity/inverter", "0"),
    ("battery-on", "3.3"),
    ("supply/voltage", "231"),
    ("supply/frequency", "50"),
    ("supply/loop", "0.8"),
    ("rcd-test/trip-time", "28"),
    ("charge-discharge/charge", "3"),
    ("charge-discharge/discharge", "3"),
    ("charge-discharge/current", "13"),
    ("loss-of-grid/stop-time", "0.4"),
    ("loss-of-grid/reconnect-time", "65"),
    ("export-limit/setting", "5"),
    ("export-limit/highest", "4.8"),
    ("battery-settings/min-soc", "10"),
];

/// What the meter shows, typed in the unit of the box.
pub fn reading(step: &str, slot: u16, requirement: &str) -> Result<String> {
    let of_module = |slot: u16| 521 + i32::from(slot);
    let tenths = |value: i32| format!("{}.{}", value / 10, value % 10);
    let sum = |modules: u16| tenths((1..=modules).map(of_module).sum());
    match (step, requirement) {
        ("module-voltage", "ocv") => return Ok(tenths(of_module(slot))),
        ("link-module", "voltage") => return Ok(sum(slot)),
        ("dc-polarity", "stack") | ("dc-at-inverter", "voltage") => return Ok(sum(MODULES)),
        _ => {}
    }
    let exact = format!("{step}/{requirement}");
    let table: BTreeMap<&str, &str> = READINGS.iter().copied().collect();
    let found = table.get(exact.as_str()).or_else(|| table.get(step));
    Ok((*found.with_context(|| format!("no answer is known for the reading {exact}"))?).to_owned())
}

/// The words of the choice to make.
pub fn choice(method: &Method, step: &str, requirement: &str) -> Result<String> {
    let need = choice_need(method, step, requirement)?;
    let exact = format!("{step}/{requirement}");
    let wanted = CHOICES.iter().find(|(place, _)| *place == exact).map(|(_, option)| *option);
    let option = need.options.iter().find(|option| wanted.map_or(!option.fails, |wanted| option.id == wanted));
    Ok(option.with_context(|| format!("no good choice at {exact}"))?.label.en.clone())
}

/// The words of one option.
pub fn option_words(method: &Method, step: &str, requirement: &str, option: &str) -> Result<String> {
    let need = choice_need(method, step, requirement)?;
    let found = need.options.iter().find(|own| own.id == option);
    Ok(found.with_context(|| format!("{step}/{requirement} has no option {option}"))?.label.en.clone())
}

fn choice_need<'a>(method: &'a Method, step: &str, requirement: &str) -> Result<&'a ChoiceNeed> {
    let found = method.steps.iter().find(|own| own.id == step).and_then(|own| {
        own.requirements.iter().find_map(|need| match need {
            Requirement::Choice(choice) if choice.id == requirement => Some(choice),
            _ => None,
        })
    });
    found.with_context(|| format!("the method has no choice {step}/{requirement}"))
}

/// The label of a unit: what the maker of its model prints.
pub fn serial(slot: u16) -> Result<String> {
    let (prefix, digits) = match slot {
        1..=MODULES => ("KCM5", 10),
        3 => ("KCH1", 10),
        4 => ("OW8", 9),
        other => anyhow::bail!("no unit stands in place {other}"),
    };
    Ok(format!("{prefix}{:0digits$}", 4_071_900 + u32::from(slot) * 37))
}
