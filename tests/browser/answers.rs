//! The built-in method of the whole job, the figures that its plan needs, and the words of its choices.

use anyhow::{Context as _, Result};
use domain::method::Method;
use domain::method::load::compose;
use domain::method::plan::{ChoiceNeed, Requirement};

use crate::built_in::FILES;

/// Units that the tests plan: places 1 and 2 are modules, 3 is the control unit, 4 the inverter that is there.
pub const MODULES: u16 = 2;

/// The method as its file says it.
pub fn built_in_method() -> Result<Method> {
    let composed = compose("series-stack-floor.toml", FILES);
    Ok(composed.map_err(|fault| anyhow::anyhow!("{fault}"))?.method)
}

/// Design figures as the lead types them. What the method proposes is left as it is, and what follows from the units and the rules
/// follows: whose trip times hold.
pub const DESIGN: &[(&str, &str)] = &[
    ("energy_total_wh", "10240"),
    ("energy_limit_wh", "20000"),
    ("dc_device_rating_v", "600"),
    ("dc_nominal_v", "117"),
    ("dc_cable_length_m", "5"),
    ("pe_length_m", "12"),
    ("loop_max_ohm", "1.5"),
    ("export_limit_w", "5000"),
    ("opening_limit_m", "1"),
    ("stack_mass_kg", "120"),
    ("stack_gravity_height_m", "0.6"),
    ("bracket_height_m", "1"),
];

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
