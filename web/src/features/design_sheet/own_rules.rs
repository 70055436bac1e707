//! What is typed as a firm's own limit, read; and the words of a limit. Pure.

use domain::electrical::rule_set::{Basis, Change, ChangeFault, Compared, Rule, RuleSet, Topic};
use domain::electrical::{Prefix, Quantity, Unit};

use super::view_model::{Fault, number};
use super::words::{choice, fault, field_name};
use crate::features::words::quantity;
use crate::i18n::Words;
use crate::{t, tn};

/// One limit as typed.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Typed {
    /// The firm's figure; empty where the built-in one holds.
    pub figure: String,
    /// Why.
    pub reason: String,
}

/// What is wrong with a limit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Wrong {
    /// The figure cannot be read.
    Figure(Fault),
    /// The rule set refuses it.
    Rule(ChangeFault),
}

/// What a limit says: nothing of the firm's, or a change.
///
/// # Errors
/// [`Wrong`].
pub fn read(w: Words, built_in: &RuleSet, rule: &Rule, typed: &Typed) -> Result<Option<Change>, Wrong> {
    let (Some(own), false) = (rule.value, typed.figure.trim().is_empty()) else { return Ok(None) };
    let micro = number(own.unit, typed.figure.trim(), w).map_err(Wrong::Figure)?;
    if rule.compared(micro) == Compared::Same {
        return Ok(None);
    }
    let change = Change { rule: rule.id.to_owned(), micro, reason: typed.reason.trim().to_owned() };
    built_in.adapted(1, core::slice::from_ref(&change)).map_err(Wrong::Rule)?;
    Ok(Some(change))
}

/// How a figure stands to the built-in one; `Same` while it cannot be read.
pub fn compared(w: Words, rule: &Rule, typed: &Typed) -> Compared {
    let micro = rule.value.and_then(|own| number(own.unit, typed.figure.trim(), w).ok());
    micro.map_or(Compared::Same, |micro| rule.compared(micro))
}

/// Why a limit is not taken, in a sentence.
pub fn wrong(w: Words, wrong: &Wrong) -> String {
    let words = match wrong {
        Wrong::Figure(own) => return fault(w, own),
        Wrong::Rule(ChangeFault::ReasonMissing(_)) => t!(w, "problem.rule_reason_missing"),
        Wrong::Rule(ChangeFault::ReasonTooLong(_)) => t!(w, "problem.rule_reason_long"),
        Wrong::Rule(ChangeFault::Implausible(_)) => t!(w, "problem.rule_implausible"),
        Wrong::Rule(ChangeFault::NoFigure(_)) => t!(w, "problem.rule_fixed"),
        Wrong::Rule(ChangeFault::Twice(_)) => t!(w, "problem.rule_twice"),
        Wrong::Rule(ChangeFault::NoSuchRule(_)) => t!(w, "problem.rule_unknown"),
    };
    words.to_owned()
}

/// What a limit is about, with the places for which it holds.
pub fn name(w: Words, rule: &Rule) -> String {
    let about = match (rule.topic, rule.about) {
        (Topic::EnergyUnit, _) => t!(w, "rules.energy_unit").to_owned(),
        (Topic::EnergyLocation, "") => t!(w, "rules.energy_location").to_owned(),
        (Topic::EnergyLocation, condition) => t!(w, "rules.energy_location_if", condition = field_name(w, condition)),
        (Topic::EnergyDemand, _) => t!(w, "rules.energy_demand").to_owned(),
        (Topic::Drop, "dc") => t!(w, "rules.drop_dc").to_owned(),
        (Topic::Drop, "rise") => t!(w, "rules.drop_rise").to_owned(),
        (Topic::Drop, _) => t!(w, "rules.drop_ac").to_owned(),
        (Topic::Disconnection, "tt_final") => t!(w, "rules.disconnection_tt").to_owned(),
        (Topic::Disconnection, _) => t!(w, "rules.disconnection_tn").to_owned(),
        (Topic::VoltageFactor, _) => t!(w, "rules.voltage_factor").to_owned(),
        (Topic::ColdShare, _) => t!(w, "rules.cold_share").to_owned(),
        (Topic::EarthCap, _) => t!(w, "rules.earth_cap").to_owned(),
        (Topic::NotifyThreshold, _) => t!(w, "rules.notify_threshold").to_owned(),
        (Topic::DrawThreshold, _) => t!(w, "rules.draw_threshold").to_owned(),
        (Topic::Unbalance, _) => t!(w, "rules.unbalance").to_owned(),
        (Topic::ProofSpan, _) => t!(w, "rules.proof_span").to_owned(),
        (Topic::Notice, form) => t!(w, "rules.notice", form = form),
        (_, about) => field_name(w, about),
    };
    // The same distance by what stands opposite.
    let case = rule.case.split(',').find_map(|case| match case.trim() {
        "condition_1" => Some("opposite_clear"),
        "condition_2" => Some("opposite_grounded"),
        "condition_3" => Some("opposite_live"),
        _ => None,
    });
    let about = match case {
        None => about,
        Some(word) => t!(w, "design.pair", name = about, value = choice(w, word)),
    };
    if rule.topic == Topic::Notice || rule.at.is_empty() {
        return about;
    }
    let places: Vec<String> = rule.at.split(',').map(|place| choice(w, place.trim())).collect();
    t!(w, "design.pair", name = about, value = places.join(", "))
}

/// A figure of a limit as a person reads it; deadlines in days or months.
pub fn shown(w: Words, rule: &Rule, micro: i64) -> String {
    let Some(own) = rule.value else { return String::new() };
    let count = micro / 1_000_000;
    match rule.basis {
        Some(Basis::Months) => tn!(w, "rules.months", count),
        Some(Basis::BusinessDays) => tn!(w, "rules.business_days", count),
        Some(Basis::Days | Basis::Before) => tn!(w, "rules.days", count),
        None => quantity(w, Quantity::of(own.unit, micro), Prefix::One),
    }
}

/// The sign of a limit's unit.
pub fn unit_of(rule: &Rule) -> &'static str {
    match rule.value.map(|value| value.unit) {
        None | Some(Unit::Count) => "",
        Some(unit) => unit.symbol(),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests may")]
    use super::*;
    use domain::electrical::rule_set::Place;

    fn typed(figure: &str, reason: &str) -> Typed {
        Typed { figure: figure.to_owned(), reason: reason.to_owned() }
    }

    #[test]
    fn what_is_typed_is_a_change_nothing_or_wrong() {
        let (w, uk) = (Words::default(), RuleSet::of(Place::Uk));
        let rule = *uk.rule("UK-1M").unwrap();
        let read = |figure: &str, reason: &str| read(w, &uk, &rule, &typed(figure, reason));
        assert_eq!(read(" ", "said"), Ok(None));
        assert_eq!(read("1.0 m", ""), Ok(None), "the same figure is no change");
        assert_eq!(read("150 cm", "").unwrap().unwrap().micro, 1_500_000);
        assert_eq!(read("0.9", " "), Err(Wrong::Rule(ChangeFault::ReasonMissing("UK-1M".to_owned()))));
        assert_eq!(read("0.9", " agreed ").unwrap().unwrap().reason, "agreed");
        assert_eq!(read("much", ""), Err(Wrong::Figure(Fault::Unreadable)));
        assert!(matches!(read("3 kg", ""), Err(Wrong::Figure(Fault::OtherUnit(_)))));
        assert!(matches!(read("1500", ""), Err(Wrong::Rule(ChangeFault::Implausible(_)))), "millimetres, perhaps");
        let stands = |figure: &str| compared(w, &rule, &typed(figure, ""));
        assert_eq!((stands("2"), stands("0.5"), stands("x")), (Compared::Stricter, Compared::Looser, Compared::Same));
    }

    #[test]
    fn every_limit_of_every_place_has_a_name_and_a_figure() {
        let w = Words::default();
        for place in Place::ALL {
            let set = RuleSet::of(place);
            let names: Vec<String> = set.adjustable().map(|rule| name(w, rule)).collect();
            assert!(names.len() >= 3, "{place:?}");
            for (at, rule) in set.adjustable().enumerate() {
                assert!(!names[at + 1..].contains(&names[at]), "{} twice", names[at]);
                assert!(!names[at].contains('_'), "{}", names[at]);
                assert!(!shown(w, rule, rule.value.unwrap().micro).is_empty(), "{}", rule.id);
            }
        }
    }
}
