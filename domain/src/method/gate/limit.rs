//! Where the limit of a reading comes from, and how the inputs of a check are gathered.

use super::answer::last_choice;
use super::plan::Plan;
use crate::electrical::{Check, InputFault, Inputs, Limit, compute};
use crate::job_file::body::{Body, Place, ReadingQuality, UnitKind};
use crate::job_file::record::Record;
use crate::method::plan::{CheckCall, ChoiceLimit, DesignLimit, LimitRule, ModelLimit, ReadingNeed, Repeat};

/// What is known of a limit before anything was measured.
#[derive(Clone, Debug, PartialEq)]
pub enum LimitInfo {
    /// The value is recorded without one.
    None,
    /// Known.
    Known {
        /// In millionths of the reading's unit.
        limit: Limit,
        /// Whose word it is.
        source: LimitSource,
    },
    /// The maker's figure is not in the model's data: a person must decide.
    NoMakerFigure {
        /// The key that is missing.
        key: String,
    },
    /// The check has no limit yet because inputs are missing.
    InputMissing {
        /// The check's input key.
        key: String,
    },
}

/// Whose word a limit is.
#[derive(Clone, Debug, PartialEq)]
pub enum LimitSource {
    /// The method's, citing this.
    Method(String),
    /// The maker's.
    Maker,
    /// The design's.
    Design,
    /// Computed.
    Check(Box<Check>),
}

/// The limit of a reading in this job.
pub(super) fn limit_of(record: &Record<'_>, plan: &Plan<'_>, need: &ReadingNeed, slot: u16) -> LimitInfo {
    let chosen = |own: &&ChoiceLimit| {
        let option = last_choice(record, &Place::of(&own.when.step, slot, &own.when.requirement), None);
        option.is_some_and(|option| own.when.is.iter().any(|wanted| wanted == option))
    };
    let by_choice = need.by_choice.iter().flatten().find(chosen).map(|own| &own.limit);
    match by_choice.or(need.limit.as_ref()) {
        None => LimitInfo::None,
        Some(LimitRule::Constant(constant)) => LimitInfo::Known {
            limit: Limit { at_least: constant.at_least.map(|m| m.0), at_most: constant.at_most.map(|m| m.0) },
            source: LimitSource::Method(constant.source.clone()),
        },
        Some(LimitRule::Model(model)) => maker_limit(record, model, slot),
        Some(LimitRule::Design(design)) => design_limit(record, design),
        Some(LimitRule::Check(call)) => match run(record, plan, call, slot) {
            Err(key) => LimitInfo::InputMissing { key },
            Ok(check) => check.limit.as_ref().map(|limit| limit.limit).map_or_else(
                || LimitInfo::InputMissing { key: call.check.clone() },
                |limit| LimitInfo::Known { limit, source: LimitSource::Check(Box::new(check.clone())) },
            ),
        },
    }
}

fn maker_limit(record: &Record<'_>, rule: &ModelLimit, slot: u16) -> LimitInfo {
    let model = rule.unit.map_or_else(|| record.model_of_slot(slot), |kind| record.model_of_kind(kind));
    let mut limit = Limit::default();
    for (key, side) in [(&rule.at_least, &mut limit.at_least), (&rule.at_most, &mut limit.at_most)] {
        if let Some(key) = key {
            match model.and_then(|model| model.value(key)) {
                Some(value) => *side = Some(value),
                None => return LimitInfo::NoMakerFigure { key: key.clone() },
            }
        }
    }
    LimitInfo::Known { limit, source: LimitSource::Maker }
}

fn design_limit(record: &Record<'_>, rule: &DesignLimit) -> LimitInfo {
    let mut limit = Limit::default();
    for (key, side) in [(&rule.at_least, &mut limit.at_least), (&rule.at_most, &mut limit.at_most)] {
        if let Some(key) = key {
            match record.design_value(key) {
                Some(value) => *side = Some(value),
                None => return LimitInfo::InputMissing { key: key.clone() },
            }
        }
    }
    LimitInfo::Known { limit, source: LimitSource::Design }
}

/// Runs a check with the inputs that the method names.
///
/// # Errors
/// The input key that cannot be filled yet.
pub(super) fn run(record: &Record<'_>, plan: &Plan<'_>, call: &CheckCall, slot: u16) -> Result<Check, String> {
    let mut inputs = Inputs::default();
    for input in &call.inputs {
        // An input that is not there is left out: optional ones may be, and the check itself names what it must have.
        if let Some(values) = gather(record, plan, &input.from, slot) {
            for value in values {
                inputs.push(&input.key, value);
            }
        }
    }
    compute(&call.check, &inputs).map_err(|fault| match fault {
        InputFault::UnknownCheck => call.check.clone(),
        InputFault::Missing { key } | InputFault::NotOne { key } | InputFault::OutOfRange { key } => key.to_owned(),
    })
}

/// Of these slots those that a step asks about: in a step of a stack, those of that stack.
fn slots_here(record: &Record<'_>, mut slots: Vec<u16>, slot: u16) -> Vec<u16> {
    if slot != 0 {
        let here = record.stack_of(slot);
        slots.retain(|other| here.is_none() || record.stack_of(*other) == here);
    }
    slots
}

fn gather(record: &Record<'_>, plan: &Plan<'_>, from: &str, slot: u16) -> Option<Vec<i64>> {
    let (head, rest) = from.split_once('.')?;
    match head {
        "design" => record.design_value(rest).map(|value| vec![value]),
        "constant" => rest.parse().ok().map(|value| vec![value]),
        "count" => {
            let count = slots_here(record, record.new_slots_of(unit_kind(rest)?), slot).len();
            i64::try_from(count).ok().filter(|count| *count > 0).map(|count| vec![count * 1_000_000])
        }
        "model" => match rest.split_once('.') {
            Some((kind, key)) => record.model_of_kind(unit_kind(kind)?)?.value(key).map(|value| vec![value]),
            None => record.model_of_slot(slot)?.value(rest).map(|value| vec![value]),
        },
        "reading" | "readings" | "readings-to-here" => {
            let (step, requirement) = rest.split_once('.')?;
            let index = plan.index_of(step)?;
            let slots = match (head, plan.repeat_of(index)) {
                (_, None) => vec![0],
                ("reading", Some(_)) if plan.step(index).repeat == Some(Repeat::Stack) => vec![record.stack_of(slot)?],
                ("reading", Some(_)) => vec![slot],
                (_, Some(repeat)) => slots_here(record, record.slots(repeat), slot),
            };
            let slots = slots.into_iter().filter(|s| head != "readings-to-here" || *s <= slot);
            let values: Option<Vec<i64>> =
                slots.map(|slot| reading_value(record, &Place::of(step, slot, requirement))).collect();
            values.filter(|values| !values.is_empty())
        }
        _ => None,
    }
}

fn reading_value(record: &Record<'_>, place: &Place) -> Option<i64> {
    match record.counting(place).last()?.body {
        Body::Reading(reading) if reading.quality == ReadingQuality::Ok => reading.micro,
        _ => None,
    }
}

fn unit_kind(name: &str) -> Option<UnitKind> {
    Some(match name {
        "module" => UnitKind::Module,
        "control_unit" => UnitKind::ControlUnit,
        "inverter" => UnitKind::Inverter,
        "changeover" => UnitKind::Changeover,
        "meter" => UnitKind::Meter,
        "gateway" => UnitKind::Gateway,
        _ => return None,
    })
}
